"""``coppermend removal``: how to get a part out without new harm."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend.cli import print_json
from coppermend.cli.shop import JSON, margin, shop, shop_and_case
from coppermend.core.rework.removal import Bench, RemovalPlan
from coppermend.services import planlists
from coppermend.services.plans import note_plan
from coppermend.services.removal import removal_for_case, removal_for_package


@click.group("removal")
def removal_command() -> None:
    """Taking parts out: which joints draw the heat away, in which order to work, what to shield, what is at risk."""


@removal_command.command("plan")
@click.argument("where", metavar="PACKAGE|CASE")
@click.argument("part", metavar="PART")
@margin("Work area round the pins.")
@click.option("--tip-c", type=float, default=Bench().tip_c, show_default=True, help="The iron's tip in degC.")
@click.option(
    "--preheat-c", type=float, default=Bench().preheat_c, show_default=True, help="The preheated board in degC."
)
@click.option(
    "--liquidus-c",
    type=float,
    default=Bench().liquidus_c,
    show_default=True,
    help="Where the old solder is all liquid, in degC.",
)
@click.option(
    "--film",
    "film_w_m2k",
    type=float,
    default=Bench().film_w_m2k,
    show_default=True,
    help="Heat lost to the air by each face, W/m2K.",
)
@click.option("--note", "noted_in", metavar="CASE", help="Keep the plan in a case: its record shows it.")
@JSON
@click.pass_context
def removal_plan(
    ctx: click.Context,
    where: str,
    part: str,
    margin_mm: float,
    tip_c: float,
    preheat_c: float,
    liquidus_c: float,
    film_w_m2k: float,
    noted_in: str | None,
    as_json: bool,
) -> None:
    """Plan the removal of PART: its pins ranked by thermal resistance, an order, neighbours to shield, copper under it, the work area afterwards."""
    bench = Bench(tip_c=tip_c, preheat_c=preheat_c, liquidus_c=liquidus_c, film_w_m2k=film_w_m2k)
    if where == "demo" or Path(where).exists():
        plan = removal_for_package(shop(ctx), where, part, bench, margin_mm)
    else:
        made, case = shop_and_case(ctx, where)
        plan = removal_for_case(made, case, part, bench, margin_mm)
    keep = planlists.removal_lists(plan)
    if noted_in is not None:
        note_plan(*shop_and_case(ctx, noted_in), planlists.removal_words(plan), keep)
    if as_json:
        print_json({**plan.as_dict(), "plan": keep})
        return
    for line in plan_lines(plan, margin_mm):
        click.echo(line)
    if noted_in is not None:
        click.echo("Noted in the case.")


def plan_lines(plan: RemovalPlan, margin_mm: float) -> list[str]:
    """The plan in words."""
    lines = [f"Careful: {one.words} [{one.source}]" for one in plan.itself]
    lines.append(f"{plan.part}: {len(plan.pins)} pins, the joint whose heat runs away fastest first")
    for pin in sorted(plan.pins, key=lambda one: one.rank):
        lines.append(
            f"  {pin.rank:3}. pin {pin.number:>4}  {pin.k_per_w:6.1f} K/W  {pin.watts:4.1f} W  {pin.need}: {'; '.join(pin.reasons)}"
        )
    lines.append(f"Order (heat met at the worst moment {100 * plan.peak_share:.0f} % of going pin by pin):")
    lines.append(f"  {' '.join(plan.order)}")
    lines.append(
        "Shield or take out:"
        if plan.shield
        else "Nothing else that heat harms stands near."
        if plan.itself
        else "Nothing that heat harms stands near."
    )
    lines += [f"  {one.part}: {one.what}, {one.gap_mm:.1f} mm away; {one.do}" for one in plan.shield]
    if plan.under:
        lines.append("Under it, on its own side (no scraping, no levering):")
        lines += [f"  {one.mm:5.1f} mm of {one.words}" for one in plan.under]
    kinds: dict[str, int] = {}
    for risk in plan.at_risk:
        kinds[risk.kind] = kinds.get(risk.kind, 0) + 1
    counted = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
    lines.append(f"At risk afterwards: {len(plan.at_risk)} sites ({counted})")
    lines.append(
        f"  when the part is out: coppermend area add CASE --part {plan.part} --margin {margin_mm:g} --kind rework --severity {plan.severity}"
    )
    lines.append("Steps:")
    lines += [f"  {one.topic}: {one.words} [{one.source}]" for one in plan.steps]
    lines += [f"Note: {one}" for one in plan.notes]
    bench = plan.bench
    lines.append(
        f"Assumed: room {bench.room_c:g}, tip {bench.tip_c:g}, preheat {bench.preheat_c:g} degC; joint worked {bench.above_k:g} K above {bench.liquidus_c:g} degC; "
        f"small tip {bench.small_tip_k_per_w:g} K/W, big tip {bench.big_tip_k_per_w:g} K/W; air {bench.film_w_m2k:g} W/m2K a face; "
        f"a joint keeps {100 * bench.kept:.0f} % of its heat until the next"
    )
    lines += [f"Rests on: {one}" for one in plan.rests_on]
    return lines
