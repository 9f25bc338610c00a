"""``coppermend short``: where two nets touch that should not."""

from __future__ import annotations

import click

from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.belief.ohmic import FOUR_WIRE, two_wire
from coppermend.core.rework.supply import METER_MV, MOST_A
from coppermend.services import planlists
from coppermend.services.plans import note_plan
from coppermend.services.shorts import ShortAnswer, locate_short
from coppermend.services.supply import supply_plan


@click.group("short")
def short_command() -> None:
    """Shorts: where two nets touch that should not, from ohms readings."""


@short_command.command("locate")
@CASE
@click.option(
    "--between", nargs=2, metavar="NET NET", help="The two nets. Default: those of the last reading that shows a short."
)
@click.option(
    "--meter",
    type=click.Choice(["four-wire", "two-wire"]),
    help="What the next reading is taken with. Default: as the last one.",
)
@click.option(
    "--step",
    "step_ohm",
    type=click.FloatRange(1e-5, 10.0),
    default=0.01,
    metavar="OHM",
    help="Last digit of a two-wire meter. Default 0.01.",
)
@JSON
@click.pass_context
def short_locate(
    ctx: click.Context, case: str, between: tuple[str, str] | None, meter: str | None, step_ohm: float, as_json: bool
) -> None:
    """Say where the short of a case is, how sure that is, and which reading to take next. Status 1 while it is not located."""
    made, found = shop_and_case(ctx, case)
    instrument = None if meter is None else FOUR_WIRE if meter == "four-wire" else two_wire(step_ohm)
    answer = locate_short(made, found, between or None, instrument)
    if as_json:
        print_json(answer.as_dict())
    else:
        _print(answer)
    if answer.state != "located":
        ctx.exit(1)


@short_command.command("supply")
@CASE
@click.option(
    "--between", nargs=2, metavar="NET NET", help="The two nets. Default: those of the last reading that shows a short."
)
@click.option("--step-mv", type=float, default=METER_MV, show_default=True, help="Last digit of the millivolt meter.")
@click.option(
    "--most-a", type=float, default=MOST_A, show_default=True, help="What the supply gives at most, in ampere."
)
@click.option("--note", "noted", is_flag=True, help="Keep the plan in the case: its record shows it.")
@JSON
@click.pass_context
def short_supply(
    ctx: click.Context,
    case: str,
    between: tuple[str, str] | None,
    step_mv: float,
    most_a: float,
    noted: bool,
    as_json: bool,
) -> None:
    """Plan the voltage-drop method: supply limits that spare tracks and chips, feed points, drops to expect, what warms."""
    made, found = shop_and_case(ctx, case)
    plan = supply_plan(made, found, between or None, step_mv, most_a)
    keep = planlists.supply_lists(plan)
    if noted:
        note_plan(made, found, planlists.supply_words(plan), keep)
    if as_json:
        print_json({**plan.as_dict(), "plan": keep})
        return
    click.echo(f"Short between {plan.net_a} and {plan.net_b}, likeliest at {plan.place}")
    click.echo(f"Supply: {plan.open_v:g} V open at most, current limit {plan.limit.words}")
    click.echo(plan.feed_words)
    click.echo(f"Expected between the clips: {plan.expected_v * 1e3:.1f} mV")
    for line in plan.words:
        click.echo(line)
    for one in plan.drops:
        beyond = "" if one.on_the_way else "  (at the short or beyond it)"
        click.echo(f"  {one.drop_mv:8.2f} mV  {one.net}: {one.words}{beyond}")
    for net, how in zip((plan.net_a, plan.net_b), plan.note_words, strict=True):
        click.echo(f"Note each of {net}: note CASE {how}")
    click.echo("What this rests on:")
    for line in plan.assumed:
        click.echo(f"  {line}")
    for line in plan.cautions:
        click.echo(f"Mind: {line}")
    if noted:
        click.echo("Noted in the case.")


def _print(answer: ShortAnswer) -> None:
    click.echo(f"Short between {answer.net_a} and {answer.net_b}: {answer.words}")
    for place in answer.places:
        click.echo(f"  {100 * place.p:5.1f} %  {place.words}, gap {place.gap_mm:.2f} mm")
    for one in answer.readings:
        click.echo(f"  read: {one}")
    for one in answer.left_out:
        click.echo(f"  left out: {one}")
    for one in answer.notes:
        click.echo(one)
    if answer.next is not None:
        click.echo(f"Next: {answer.next.words}")
        click.echo(
            f"      position now within {answer.next.sd_now_mm:g} mm (one standard deviation), then {answer.next.sd_after_mm:g} mm expected"
        )
        click.echo(f"      note CASE {answer.next.note_words}")
    for line in answer.assumed:
        click.echo(f"Rests on: {line}")
    click.echo(f"Mind: {answer.caution}")
