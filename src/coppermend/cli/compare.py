"""``coppermend compare readings``: diode-mode and ohms readings of like pins, and against another board."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.files import file_bytes
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.compare.like import ALPHA, Group
from coppermend.core.findings import refuse
from coppermend.services.cases import find_case
from coppermend.services.compare import CAUTION, THEN, ReadingsCompared, compare_readings
from coppermend.services.passivework import passives_view


@click.group("compare")
def compare_command() -> None:
    """Comparisons with the power off: which pin reads otherwise than its like."""


@compare_command.command("parts")
@CASE
@JSON
@click.pass_context
def parts_command(ctx: click.Context, case: str, as_json: bool) -> None:
    """Small parts with value and tolerance, their usual faults, and what ohms read across them say. Status 1 when one is at fault.

    In circuit what lies in parallel only lowers a reading: across a resistor more than its value is the resistor's own fault, less says nothing. Power off.
    """
    made, known = shop_and_case(ctx, case)
    view = passives_view(made, known, bootstrap.device_book(ctx.find_root().obj.get("store")))
    if as_json:
        print_json(view)
    else:
        for one in view["parts"]:
            value = (
                "value not read"
                if one["value"] is None
                else f"{_printed(one['value'], UNITS[one['kind']])}, {one['tolerance_percent']:g} %"
            )
            click.echo(f"{one['ref']:6} {one['kind']:12} {value}; {', '.join(one['faults'])}")
            for read in one["read"]:
                click.echo(f"       {read['words']}")
        click.echo(f"Mind: {CAUTION}")
    if any(read["bad"] for one in view["parts"] for read in one["read"]):
        ctx.exit(1)


def _printed(value: float, unit: str) -> str:
    """A value with its prefix, as parts lists have it.

    >>> _printed(2.2e-05, "F"), _printed(4700.0, "ohm"), _printed(0.0, "ohm")
    ('22 µF', '4.7 kohm', '0 ohm')
    """
    for scale, prefix in ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p")):
        if abs(value) >= scale * 0.9995:
            return f"{value / scale:.4g} {prefix}{unit}"
    return f"{value:g} {unit}"


UNITS = {
    "resistor": "ohm", "network": "ohm", "ceramic": "F", "electrolytic": "F", "tantalum": "F", "coil": "", "fuse": "A", "crystal": "Hz", "regulator": "V",
}  # fmt: skip


@compare_command.command("readings")
@CASE
@click.option(
    "--against", "other", default="", metavar="CASE", help="Another case of the same board. Default: its latest three."
)
@click.option("--good", type=click.Path(path_type=Path), help="A good board's list instead: U1.14, 0.612V a line.")
@click.option(
    "--alpha", type=float, default=ALPHA, show_default=True, help="Chance of calling one of a sound group odd."
)
@JSON
@click.pass_context
def readings_command(ctx: click.Context, case: str, other: str, good: Path | None, alpha: float, as_json: bool) -> None:
    """Compare a case's diode and ohms readings: like pins (D0 to D7) with each other, and with another board of this type.

    Of another case nobody knows whether its board was sound: a difference is between the two, and this board's where its like pins or a third board say
    so; the list of a board known good (--good) decides by itself. Readings of a pin against ground or a rail count, the first tip named being the red
    one; of each pin the latest. Status 1 when a pin is odd. Odd pins weigh the case's suspects.
    """
    if other and good is not None:
        raise refuse("CLI-006", "--against and --good are two questions.", "Ask one after the other.")
    made, known = shop_and_case(ctx, case)
    book = bootstrap.device_book(ctx.find_root().obj.get("store"))
    text = None if good is None else file_bytes(good).decode("utf-8-sig", "replace")
    found = compare_readings(
        made,
        known,
        book,
        other=find_case(made, other) if other else "",
        good=text,
        good_name="" if good is None else good.name,
        alpha=alpha,
    )
    if as_json:
        print_json(found.as_dict())
    else:
        _print(found)
    if found.odd:
        ctx.exit(1)


def _print(found: ReadingsCompared) -> None:
    click.echo(f"Mind: {CAUTION}")
    for group in (*found.like, *found.against):
        _print_group(group)
    for _, words in found.unused[:10]:
        click.echo(f"Not compared: {words}.")
    for finding in found.findings:
        click.echo(finding.line())
    if found.differ:
        click.echo(f"Different from another board, which of the two is odd is not known: {', '.join(found.differ)}.")
    click.echo(f"Odd: {', '.join(found.odd) or 'none'}." + (f" Next: {THEN}" if found.odd else ""))


def _print_group(group: Group) -> None:
    tip = "red" if group.red else "black"
    click.echo(f"{group.name}, {group.kind} against {group.reference}, {tip} tip on the pin: {group.words}")
    for one in group.members:
        unit = "V" if group.kind == "diode" else "ohm"
        value = "overload" if one.value is None else f"{one.value:.4g} {unit}"
        chance = "" if one.p is None else f" (chance {one.p:.1g})"
        click.echo(
            f"  {one.pin:8} {one.net:8} {value:>12}"
            + (f"  ODD: {one.words}{chance}" if one.odd else f"  {one.words}" if one.words else "")
        )
