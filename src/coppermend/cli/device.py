"""``coppermend device``: what the device book says of a chip."""

from __future__ import annotations

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.devices.model import Chip
from coppermend.devices.views import chip_as_dict, needs_words


@click.group(name="device")
def device_command() -> None:
    """The device book: chips, their pins and what these need."""


@device_command.command(name="show")
@click.argument("printed", metavar="TYPE")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_obj
def show_command(obj: dict[str, str | None], printed: str, as_json: bool) -> int:
    """Print a chip by what stands on it (74LS00, MC6821P, D4164C-15): its pins, supply, clock and reset rules."""
    chip = bootstrap.device_book(obj["store"]).get(printed)
    if as_json:
        print_json({"asked": printed, **chip_as_dict(chip)})
    else:
        _print(chip)
    return 0


@device_command.command(name="list")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_obj
def list_command(obj: dict[str, str | None], as_json: bool) -> int:
    """Print the types that the device book has."""
    book = bootstrap.device_book(obj["store"])
    if as_json:
        rows = [{"type": one.type, "title": one.title, "package": one.package} for one in book.chips.values()]
        print_json({"chips": rows, "digest": book.digest})
    else:
        for one in book.chips.values():
            click.echo(f"{one.type:12} {one.package:8} {one.title}")
    return 0


@device_command.command(name="infer")
@click.argument("case", metavar="CASE")
@click.argument("part", metavar="PART")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def infer_command(ctx: click.Context, case: str, part: str, as_json: bool) -> None:
    """What the pins of a chip without a data sheet are, from the netlist and its neighbours, and what they read on boards that work.

    Prints an entry for your own device book (TOML), to be read over and corrected.
    """
    from coppermend.cli.shop import shop_and_case
    from coppermend.services.customchips import custom_chip

    made, found = shop_and_case(ctx, case)
    view = custom_chip(made, found, bootstrap.device_book(ctx.find_root().obj.get("store")), part)
    if as_json:
        print_json(view)
        return
    for pin in view["pins"]:
        read = "; ".join(r["words"] for r in pin["read"])
        click.echo(
            f"{pin['number']:>4}  {pin['net']:12} {pin['kind']:14} {pin['why']}{f'; elsewhere {read}' if read else ''}"
        )
    click.echo(view["note"])
    click.echo(view["entry"])


def _print(chip: Chip) -> None:
    click.echo(f"{chip.type}  {chip.title}  ({chip.package}, {chip.family.name})")
    for pin in chip.pins:
        click.echo(f"{pin.number:4}  {pin.name:12} {pin.kind.value:15} {needs_words(chip, pin)}".rstrip())
    for name, rail in chip.rails.items():
        click.echo(f"supply {name}: {rail.nominal_v:g} V ± {rail.tolerance_percent:g} %")
    for name, rail in chip.makes.items():
        click.echo(f"makes {name}: {rail.nominal_v:g} V ± {rail.tolerance_percent:g} %")
    for rule, value in chip.rules.items():
        click.echo(f"{rule}: {value:g}")
    if chip.typical_w is not None:
        warmer = (
            "" if chip.theta_k_per_w is None else f", about {chip.typical_w * chip.theta_k_per_w:.0f} K above the air"
        )
        click.echo(f"usual dissipation {1000 * chip.typical_w:.0f} mW{warmer}")
    if chip.note:
        click.echo(chip.note)
    click.echo(f"source: {chip.source}\nhow sure: {chip.sure}")
