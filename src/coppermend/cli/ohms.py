"""``coppermend ohms``: a stretch with too much resistance, and proof by ohms where there are two ways round."""

from __future__ import annotations

import click

from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.belief.ohmic import FOUR_WIRE, Instrument, two_wire
from coppermend.services.ohms import locate_excess_for_case, ways_for_case

NET = click.option("--net", required=True, help="The net.")
METER = click.option(
    "--meter",
    type=click.Choice(["four-wire", "two-wire"]),
    help="What is read with. Default: as the last reading, else four-wire.",
)
STEP = click.option(
    "--step",
    "step_ohm",
    type=click.FloatRange(1e-5, 10.0),
    default=0.01,
    metavar="OHM",
    help="Last digit of a two-wire meter. Default 0.01.",
)


def _instrument(meter: str | None, step_ohm: float) -> Instrument | None:
    return None if meter is None else FOUR_WIRE if meter == "four-wire" else two_wire(step_ohm)


@click.group("ohms")
def ohms_command() -> None:
    """Ohms where a beep is not enough: partial opens, and stretches with two ways round."""


@ohms_command.command("locate")
@CASE
@NET
@METER
@STEP
@JSON
@click.pass_context
def ohms_locate(ctx: click.Context, case: str, net: str, meter: str | None, step_ohm: float, as_json: bool) -> None:
    """Say which stretch of a net has too much resistance, and which reading to take next. Status 1 while it is not told."""
    made, found = shop_and_case(ctx, case)
    answer = locate_excess_for_case(made, found, net, _instrument(meter, step_ohm))
    if as_json:
        print_json(answer.as_dict())
    else:
        click.echo(answer.words)
        for words, p, ohm in answer.stretches:
            much = "no reading runs through it yet" if ohm is None else f"{ohm:.3g} ohm too much"
            click.echo(f"  {100 * p:5.1f} %  {words}: {much}")
        for one in answer.readings:
            click.echo(f"  read: {one}")
        if answer.next:
            click.echo(f"Next: {answer.next}")
        for one in answer.assumed:
            click.echo(f"Rests on: {one}")
    if answer.state not in ("located", "sound"):
        ctx.exit(1)


@ohms_command.command("ways")
@CASE
@NET
@METER
@STEP
@JSON
@click.pass_context
def ohms_ways(ctx: click.Context, case: str, net: str, meter: str | None, step_ohm: float, as_json: bool) -> None:
    """List the readings that prove stretches with two ways round, which a beep cannot."""
    made, found = shop_and_case(ctx, case)
    answer = ways_for_case(made, found, net, _instrument(meter, step_ohm))
    if as_json:
        print_json(answer.as_dict())
        return
    if not answer.rows and not answer.others:
        click.echo(f"Net {answer.net} has no stretch with two ways round.")
    for row in answer.rows:
        known = "" if row.p_broken is None else f"; broken with P {row.p_broken:.3f} after the reading taken"
        coarse = "" if row.fine_enough else " (this instrument is too coarse here)"
        click.echo(f"{row.stretch}\n  {row.words}{coarse}{known}")
    for words in answer.others:
        click.echo(words)
    for words in answer.assumed:
        click.echo(f"Rests on: {words}")
