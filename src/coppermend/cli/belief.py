"""``coppermend belief``: what the belief makes of given readings."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.core.findings import Place, refuse
from coppermend.services.explain import explain, read_readings


@click.group(name="belief")
def belief_command() -> None:
    """What readings say about the copper, for checking it outside."""


@belief_command.command(name="explain")
@click.option("--board", "package", required=True, metavar="PACKAGE", help="Folder, zip, or demo.")
@click.option(
    "--socket", default="", metavar="REF", help="Part whose socket was changed. Default: the largest socketed part."
)
@click.option("--machine", default=None, metavar="FILE", help="JSON with more damaged zones (work_areas).")
@click.option(
    "--truth", default=None, metavar="FILE", help="A truth file; only checked, the belief is not told what it says."
)
@click.option("--readings", required=True, metavar="FILE", help='JSON: a list of [point, point, "closed"|"open"|ohms].')
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def explain_command(
    package: str, socket: str, machine: str | None, truth: str | None, readings: str, as_json: bool
) -> int:
    """Print the posterior of every site that the readings speak of, the log evidence and the error bound."""
    setting = bootstrap.practice_setting(package, socket, machine)
    if truth is not None:
        from coppermend.services.practice import patient_of

        patient_of(setting, 0, 0, truth_text=_text(truth), truth_name=truth)
    found = explain(setting, read_readings(_text(readings), readings))
    if as_json:
        print_json(found)
        return 0
    bound = found["error_bound"]
    click.echo("exact" if bound == 0.0 else f"no probability is off by more than {bound:.1e}")
    for row in found["sites"][:40]:
        click.echo(f"{100 * row['p']:8.3f} %  (before {100 * row['prior']:.2f} %)  {row['net']}  {row['site']}")
    for one in found["conflicts"]:
        click.echo(f"conflict: {one['words']} Read {one['again'][0]} to {one['again'][1]} again.")
    for a, b, _ in found["unknown"]:
        click.echo(f"set aside: {a} to {b}: this board has no such point.")
    return 0


def _text(path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as err:
        raise refuse(
            "BLF-011", f"The file cannot be read: {err}.", "Name a JSON file in UTF-8.", Place(file=path)
        ) from None
