"""``coppermend wire``: patch wires by gauge, the wires that restore a net, and the checks that prove one."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop, shop_and_case
from coppermend.core.rework.gauge import gauge, onderdonk_a
from coppermend.core.rework.routes_cut import cut_words
from coppermend.core.rework.rules import WIRE_ASSUMED
from coppermend.core.rework.wires import STRIP_MM, Wire, WirePlan
from coppermend.services import planlists
from coppermend.services.laying import Laying, box_typed
from coppermend.services.plans import note_plan
from coppermend.services.proofs import proof_for_wire
from coppermend.services.wires import Laid, plan_for_case, plan_for_package


@click.group("wire")
def wire_command() -> None:
    """Patch wires: what a gauge is good for, which wires restore a net, which checks prove one."""


@wire_command.command("gauge")
@click.option("--awg", type=int, required=True, help="Gauge number, 0 to 40 (30 is wrap wire).")
@click.option("--length-mm", type=float, required=True, help="Length in mm.")
@JSON
def gauge_command(awg: int, length_mm: float, as_json: bool) -> None:
    """Resistance and fusing currents of a length of copper wire at 20 degC."""
    found = gauge(awg, length_mm)
    if as_json:
        print_json(found.as_dict())
        return
    click.echo(
        f"{found.awg} AWG, {found.length_mm:g} mm: diameter {found.diameter_mm:.4f} mm, section {found.section_mm2:.4f} mm2"
    )
    click.echo(f"resistance     {found.resistance_ohm * 1e3:.2f} milliohm at 20 degC (real wire within 2 to 3 %)")
    click.echo(f"fuses at about {found.preece_a:.1f} A steady in free air (Preece)")
    click.echo(f"fuses at about {found.onderdonk_a:.1f} A within one second (Onderdonk)")
    slow = onderdonk_a(found.awg, 5.0)
    click.echo(
        f"Within five seconds Onderdonk gives {slow:.1f} A, {'less' if slow < found.preece_a else 'more'} than Preece's steady current: "
        "an order of magnitude, not a rating."
    )


@wire_command.command("plan")
@click.argument("where", metavar="CASE|PACKAGE")
@click.option("--net", required=True, help="The net to restore.")
@click.option(
    "--broken",
    multiple=True,
    metavar="SITE",
    help="A broken site's id. In a case the readings name them; a bare package needs them.",
)
@click.option(
    "--need", multiple=True, metavar="POINT", help="A point that must be joined again. Default: every pin of the net."
)
@click.option("--side", type=click.Choice(["c", "s"]), help="Keep to ends on one side.")
@click.option(
    "--current-a", type=float, default=0.0, help="Current that the net carries, in ampere, where it is known."
)
@click.option(
    "--cut",
    multiple=True,
    metavar="SITE|X,Y/SIDE",
    help="A track to cut on purpose (a run's id, or a place on it), and wire round.",
)
@click.option("--allow", multiple=True, metavar="PART", help="A part whose ground a wire may cross after all.")
@click.option(
    "--keep-out", multiple=True, metavar="'X,Y X,Y[/SIDE]'", help="A box where no wire may lie: two corners in mm."
)
@click.option("--no-scrape", is_flag=True, help="No wire ends on a bared track.")
@click.option("--straight", is_flag=True, help="Straight wires, whatever lies between.")
@click.option("--note", "noted_in", metavar="CASE", help="Keep the plan in a case: its record shows it.")
@JSON
@click.pass_context
def plan_command(
    ctx: click.Context,
    where: str,
    net: str,
    broken: tuple[str, ...],
    need: tuple[str, ...],
    side: str | None,
    current_a: float,
    cut: tuple[str, ...],
    allow: tuple[str, ...],
    keep_out: tuple[str, ...],
    no_scrape: bool,
    straight: bool,
    noted_in: str | None,
    as_json: bool,
) -> None:
    """Propose the patch wires that restore a net, led along the board round parts, test lands, mounting holes and the edge; the least set first."""
    laying = Laying(straight, not no_scrape, allow, tuple(box_typed(one) for one in keep_out), cut)
    if where == "demo" or Path(where).exists():
        laid = plan_for_package(
            shop(ctx), where, net, broken, need, side=side or "", current_a=current_a, laying=laying
        )
    else:
        made, case = shop_and_case(ctx, where)
        laid = plan_for_case(made, case, net, broken, need, side=side or "", current_a=current_a, laying=laying)
    plans = laid.plans
    keep = planlists.wire_lists(laid)
    if noted_in is not None:
        note_plan(*shop_and_case(ctx, noted_in), planlists.wire_words(laid), keep)
    if as_json:
        print_json(
            {
                "net": plans[0].net_name,
                "cuts": [one.as_dict() for one in laid.cuts],
                "plans": [plan.as_dict() for plan in plans],
                "plan": keep,
            }
        )
    else:
        _print_cuts(laid)
        _print_plans(plans)
        if noted_in is not None:
            click.echo("Noted in the case.")
    if not plans[0].restores:
        ctx.exit(1)


def _print_cuts(laid: Laid) -> None:
    """The cuts, before the wires."""
    for one in laid.cuts:
        click.echo(f"Cut {one.words}")
        click.echo(f"      when it is done: note CASE cut {one.x_mm:.2f},{one.y_mm:.2f}/{one.side}")
    if laid.cuts:
        click.echo(f"   {cut_words(laid.cuts)}")


def _way(wire: Wire) -> str:
    """A wire's way for the note, "" for a straight one."""
    return "" if len(wire.path) < 3 else " way=" + ";".join(f"{x:.2f},{y:.2f}" for x, y in wire.path)


def _print_plans(plans: tuple[WirePlan, ...]) -> None:
    """The plans in words; rules and cautions once."""
    if plans[0].kind == "whole":
        for note in plans[0].notes:
            click.echo(note)
        return
    for number, plan in enumerate(plans, 1):
        if not plan.wires and not plan.restores:
            click.echo(f"{number}. net {plan.net_name}: no wire can be laid")
        else:
            short = "" if plan.restores else "; it does not restore the whole net"
            click.echo(
                f"{number}. {plan.kind}: net {plan.net_name}, {len(plan.wires)} wire(s), cost {plan.cost_mm:.0f} mm{short}"
            )
        for wire in plan.wires:
            click.echo(f"   {wire.words}")
            if wire.bends:
                corners = "; ".join(f"{x:.1f}, {y:.1f}" for x, y in wire.path[1:-1])
                click.echo(f"      its way: {wire.route_mm:.0f} mm along the board, bends at {corners}")
            if wire.dots:
                click.echo(f"      fix it at {'; '.join(f'{x:.1f}, {y:.1f}' for x, y in wire.dots)}")
            click.echo(f"      {wire.gauge_reason}")
            click.echo(f"      {wire.insulation}")
            for note in wire.notes:
                click.echo(f"      {note}")
            click.echo(
                f"      when it is in: note CASE patch {wire.a.point} {wire.b.point} {wire.gauge.awg}awg {wire.cut_mm:.0f}mm{_way(wire)}"
            )
        for note in plan.notes:
            click.echo(f"   {note}")
    if plans[0].wires:
        click.echo("Cutting list (first way):")
        for number, wire in enumerate(plans[0].wires, 1):
            click.echo(
                f"   {number}. {wire.gauge.awg} AWG, {wire.cut_mm:.0f} mm, insulated, {STRIP_MM:g} mm bared at each end"
                f"{', one end longer for its lap' if max(wire.a.lap_mm, wire.b.lap_mm) > 0 else ''}"
            )
    click.echo("Rules:")
    for rule in plans[0].rules:
        click.echo(f"   {rule.topic}: {rule.words} [{rule.source}]")
    click.echo("What this rests on:")
    for assumed in WIRE_ASSUMED:
        click.echo(f"   {assumed}")
    click.echo("Mind:")
    for caution in plans[0].cautions:
        click.echo(f"   {caution}")


@wire_command.command("prove")
@CASE
@click.option(
    "--entry", default="", help="The wire's number as note printed it, or its entry's id. Default: the last wire."
)
@JSON
@click.pass_context
def prove_command(ctx: click.Context, case: str, entry: str, as_json: bool) -> None:
    """List the checks that prove a patch wire: the bridge, what lies beyond it, isolation from its neighbours. Status 1 where none is left or the wire reads open."""
    made, found = shop_and_case(ctx, case)
    first, *beside = proof_for_wire(made, found, entry)
    if as_json:
        print_json([one.as_dict() for one in first.checks])
        ctx.exit(1 if first.why_none or first.reads_open else 0)
    click.echo(f"Wire no. {first.number}, {first.between[0]} to {first.between[1]}:")
    if first.why_none:
        click.echo(first.why_none.replace("CASE", case).replace("NUMBER", str(first.number)))
    for each in (first, *beside):
        if each.reads_open:
            click.echo(f"{each.reads_open[:1].upper()}{each.reads_open[1:]}.")
    for one in first.checks:
        click.echo(
            f"{one.purpose:9} {one.point_a}  to  {one.point_b}  {'must' if one.proves else 'should'} be {one.expect}. {one.reason.replace('CASE', case)}"
        )
    for other in beside:
        for one in other.checks:
            if not one.proves:
                click.echo(f"Wire no. {other.number}, {other.between[0]} to {other.between[1]}: {one.reason}")
    ctx.exit(1 if first.why_none or first.reads_open else 0)
