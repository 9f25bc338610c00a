"""``coppermend expect``: what every pin of a board should do when it is switched on."""

from __future__ import annotations

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.services.expect import expect_as_dict, expect_for_board


@click.command("expect")
@click.argument("package", metavar="PACKAGE")
@click.option("--part", default="", metavar="REF", help="Only this part's pins.")
@click.option(
    "--machine", default=None, metavar="FILE", help="The machine's own file (TOML); the demonstration machine has one."
)
@click.option("--checklist", is_flag=True, help="The order in which a bench looks, instead of pins by part.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_obj
def expect_command(
    obj: dict[str, str | None], package: str, part: str, machine: str | None, checklist: bool, as_json: bool
) -> int:
    """Print what each chip pin of a board should show: rails, clocks with frequency, resets, levels, selects and their addresses."""
    board = bootstrap.open_board(package)
    book = bootstrap.device_book(obj["store"])
    answer = expect_for_board(board, book, bootstrap.machine_model(package, machine), part)
    if as_json:
        print_json(expect_as_dict(answer, part))
        return 0
    if checklist:
        for item in answer.checklist:
            click.echo(f"{item.step:11} {item.pin or item.net:8} {item.words}".rstrip())
        return 0
    selects = {one.pin: one for one in answer.selects}
    for pin in answer.pins:
        extra = f"; active for {selects[pin.pin].words()}" if pin.pin in selects else ""
        click.echo(f"{pin.pin:8} {pin.name:10} {pin.net:10} {pin.words}{extra}".rstrip())
    for finding in answer.findings:
        click.echo(finding.line())
    return 0
