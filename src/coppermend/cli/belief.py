"""``coppermend belief``: what the belief makes of given readings."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.core.findings import Place, refuse
from coppermend.core.units import chance_words
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
    """Print the posterior of every site that the readings speak of and the error bound. Status 1 when a reading had to be set aside."""
    setting = bootstrap.practice_setting(package, socket, machine)
    if truth is not None:
        from coppermend.services.practice import patient_of

        patient_of(setting, 0, 0, truth_text=_text(truth), truth_name=truth)
    found = explain(setting, read_readings(_text(readings), readings))
    if as_json:
        print_json(found)
        return 1 if found["set_aside"] else 0
    bound = found["error_bound"]
    if not found["used"]:
        click.echo("no reading could be used: nothing is said about this board")
    else:
        click.echo("exact" if bound == 0.0 else f"no probability is off by more than {bound:.1e}")
    for row in found["sites"][:40]:
        click.echo(f"{100 * row['p']:8.3f} %  (before {100 * row['prior']:.2f} %)  {row['net']}  {row['site']}")
    for one in found["conflicts"]:
        click.echo(f"conflict: {one['words']} Read {one['again'][0]} to {one['again'][1]} again.")
    for one in found["shorts"]:
        if one["last_closed"] or one["p"] > 0.5:
            click.echo(_short_words(one))
    for one in found["set_aside"]:
        click.echo(f"set aside: reading {one['reading']}, {one['points'][0]} to {one['points'][1]}: {one['why']}")
    return 1 if found["set_aside"] else 0


def _short_words(one: dict[str, Any]) -> str:
    """A closed reading between copper that the map keeps apart, in a sentence."""
    (a, b), (net_a, net_b) = one["points"], one["nets"]
    many = f"{one['readings']} reading" + ("s" if one["readings"] > 1 else "")
    return (
        f"possible short: {a} [{net_a}] and {b} [{net_b}] are apart on the map; {chance_words(one['p'])} that they touch, after {many}. "
        "Read it once more; if it stays closed, look for a bridge."
    )


def _text(path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as err:
        why = (err.strerror or type(err).__name__) if isinstance(err, OSError) else "it is not UTF-8"
        raise refuse(
            "BLF-011", f"The file cannot be read: {why}.", "Name a JSON file in UTF-8.", Place(file=path)
        ) from None
