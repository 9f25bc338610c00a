"""``coppermend alloy``: what a joint melts at when a low-melting alloy is fed, how much to feed, how to clean it again."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.shop import JSON, shop_and_case
from coppermend.core.findings import refuse
from coppermend.core.rework.alloy.answer import Melt
from coppermend.core.rework.alloy.composition import read_alloy
from coppermend.core.rework.alloy.dose import BISMUTH_LIMIT_WT, WICK_LEAVES
from coppermend.core.rework.alloy.joint import Joint, joint
from coppermend.core.units import BOARD_THICKNESS_MM
from coppermend.services import alloys, plans
from coppermend.services.alloyassumed import melt_assumed
from coppermend.services.heatcautions import NOT_KNOWN, cautions_on_board

PIN_WORDS = f"{alloys.PIN_MM[0]}x{alloys.PIN_MM[1]}"


@click.group("alloy")
def alloy_command() -> None:
    """Solder alloys: what a mixture melts at, how much to feed for removal, how to clean the joint again."""


@alloy_command.command("mix")
@click.option("--base", required=True, metavar="ALLOY", help="The old solder by mass, such as Sn63Pb37.")
@click.option("--add", required=True, metavar="ALLOY", help="The alloy fed to it, such as Sn42Bi58.")
@click.option("--share", type=float, help="The added alloy's part of the whole joint by mass, 0 to 1.")
@click.option("--base-mg", type=float, help="Or: the old solder's mass in mg.")
@click.option("--add-mg", type=float, help="And: the added alloy's mass in mg.")
@JSON
def mix_command(
    base: str, add: str, share: float | None, base_mg: float | None, add_mg: float | None, as_json: bool
) -> None:
    """Composition, solidus, liquidus and heat of melting of a joint to which an alloy is fed."""
    found = alloys.mixture(base, add, alloys.share_of(share, base_mg, add_mg))
    if as_json:
        print_json(found.as_dict())
        return
    click.echo(f"{found.alloy.name} (% by mass), {100 * found.share:.1f} % of it {read_alloy(add).name}")
    for line in _melt_lines(found.melt):
        click.echo(line)
    _say("Mind:", found.warnings)
    _say("What this rests on:", melt_assumed(found.melt))


def _melt_lines(melt: Melt) -> list[str]:
    lines = [
        f"begins to melt at {melt.solidus_c:.0f} degC (give or take {melt.solidus_off_c:g})",
        f"all liquid above  {melt.liquidus_c:.0f} degC (give or take {melt.liquidus_off_c:g})",
    ]
    if melt.enthalpy_j_g is not None:
        lines.append(f"heat of melting   {melt.enthalpy_j_g:.0f} J/g")
    if melt.table is not None:
        lines.append(f"published: {melt.table.solidus_c:g} to {melt.table.liquidus_c:g} degC [{melt.table.source}]")
    return lines


def _say(head: str, lines: tuple[str, ...]) -> None:
    click.echo(head)
    for line in lines:
        click.echo(f"   {line}")


def _pin(text: str) -> tuple[float, float]:
    """``0.46x0.25`` or a round pin's diameter ``0.6`` as width and thickness of the same section."""
    try:
        numbers = [float(one) for one in text.lower().split("x")]
    except ValueError:
        numbers = []
    if len(numbers) == 2:
        return numbers[0], numbers[1]
    if len(numbers) == 1:
        square = numbers[0] * 0.8862269254527579  # sqrt(pi)/2: the square of the same section
        return square, square
    raise refuse(
        "ALY-007",
        f"{text!r} is no section of a pin.",
        "Write width x thickness in mm, such as 0.46x0.25, or a diameter.",
    )


@alloy_command.command("joint")
@click.option("--hole-mm", type=float, required=True, help="Finished hole, mm.")
@click.option("--land-mm", type=float, required=True, help="Land, mm across.")
@click.option("--pin-mm", default=PIN_WORDS, show_default=True, help="The pin's width x thickness, or its diameter.")
@click.option("--board-mm", type=float, default=BOARD_THICKNESS_MM, show_default=True, help="Board thickness, mm.")
@click.option("--fillet-mm", type=float, help="Height of the fillets, mm. Default: as high as they are wide.")
@click.option("--sides", type=click.IntRange(0, 2), default=2, show_default=True, help="Sides with a fillet.")
@click.option("--of", "of", default="Sn63Pb37", show_default=True, metavar="ALLOY", help="What it is soldered with.")
@JSON
def joint_command(
    hole_mm: float,
    land_mm: float,
    pin_mm: str,
    board_mm: float,
    fillet_mm: float | None,
    sides: int,
    of: str,
    as_json: bool,
) -> None:
    """How much solder a pin's joint in a plated hole holds."""
    found = joint(hole_mm, _pin(pin_mm), land_mm, board_mm=board_mm, fillet_mm=fillet_mm, sides=sides)
    density = read_alloy(of).density_g_cm3
    if as_json:
        print_json(
            {
                "volume_mm3": found.volume_mm3,
                "hole_mm3": found.hole_mm3,
                "fillets_mm3": found.fillets_mm3,
                "least_mm3": found.least_mm3,
                "most_mm3": found.most_mm3,
                "mass_mg": found.mass_mg(density),
                "density_g_cm3": density,
            }
        )
        return
    click.echo(_joint_words(found, density))


def _joint_words(found: Joint, density: float) -> str:
    return (
        f"{found.volume_mm3:.2f} mm3 ({found.hole_mm3:.2f} in the hole, {found.fillets_mm3:.2f} in the fillets; hollow to straight "
        f"fillets {found.least_mm3:.2f} to {found.most_mm3:.2f}), {found.mass_mg(density):.1f} mg"
    )


@alloy_command.command("plan")
@click.option("--base", required=True, metavar="ALLOY", help="The old solder by mass, such as Sn63Pb37.")
@click.option("--add", required=True, metavar="ALLOY", help="The alloy that is fed.")
@click.option("--keep-c", type=float, required=True, help="The board's temperature at the joints, degC.")
@click.option("--old-mg", type=float, help="Old solder per pin in mg.")
@click.option("--hole-mm", type=float, help="Or the joint: finished hole, mm.")
@click.option("--land-mm", type=float, help="With --hole-mm: land, mm across.")
@click.option("--pin-mm", default=PIN_WORDS, show_default=True, help="The pin's width x thickness, or its diameter.")
@click.option("--board-mm", type=float, default=BOARD_THICKNESS_MM, show_default=True, help="Board thickness, mm.")
@click.option(
    "--board", "package", metavar="PACKAGE", help="Or the board itself, with --part: holes and lands are taken from it."
)
@click.option("--part", "ref", metavar="REF", help="With --board: the part that comes out.")
@click.option("--pins", type=int, help="Number of pins. Default: 1, or the part's.")
@click.option("--wire-mm", type=float, default=1.0, show_default=True, help="Diameter of the alloy's wire, mm.")
@click.option(
    "--doses", type=click.IntRange(1, 12), default=4, show_default=True, help="Into how many doses it is cut."
)
@click.option(
    "--fresh", default="", metavar="ALLOY", help="What the clean joint is refilled with. Default: the old solder."
)
@click.option(
    "--wick-leaves",
    type=float,
    default=WICK_LEAVES,
    show_default=True,
    help="Part of the solder that a round of wick leaves, 0 to 1.",
)
@click.option(
    "--limit-wt", type=float, default=BISMUTH_LIMIT_WT, show_default=True, help="Bismuth that may stay, % by mass."
)
@click.option("--draw", metavar="FILE", help="Write the diagram with the doses as an SVG picture.")
@click.option("--note", "noted_in", metavar="CASE", help="Keep the plan in a case: its record shows words and diagram.")
@JSON
@click.pass_context
def plan_command(
    ctx: click.Context,
    base: str,
    add: str,
    keep_c: float,
    old_mg: float | None,
    hole_mm: float | None,
    land_mm: float | None,
    pin_mm: str,
    board_mm: float,
    package: str | None,
    ref: str | None,
    pins: int | None,
    wire_mm: float,
    doses: int,
    fresh: str,
    wick_leaves: float,
    limit_wt: float,
    draw: str | None,
    noted_in: str | None,
    as_json: bool,
) -> None:
    """How much alloy per pin and for the whole part keeps the joints liquid, dose by dose, and the rounds that clean them after."""
    joints: Joint | None = None
    told, mind = "", tuple[str, ...]()
    on_board: tuple[str, ...] = (NOT_KNOWN,)
    if package is not None or ref is not None:
        found, mind, on_board = _of_board(package, ref, _pin(pin_mm), keep_c)
        joints, told = found.joint, found.words()
        pins = found.pins if pins is None else pins
    elif hole_mm is not None or land_mm is not None:
        joints = _measured(hole_mm, land_mm, _pin(pin_mm), board_mm)
    plan = alloys.feed_plan(
        base, add, keep_c, old_mg=old_mg, joints=joints, pins=1 if pins is None else pins, wire_mm=wire_mm,
        doses=doses, fresh=fresh, wick_leaves=wick_leaves, limit_wt=limit_wt,
        of_part=mind, on_board=on_board,
    )  # fmt: skip
    if draw is not None:
        Path(draw).write_text(alloys.drawing(plan.doses), encoding="utf-8")
    keep = plans.alloy_plan(plan)
    if noted_in is not None:
        words = f"{plan.doses.words} {_pins(plan.doses.pins)}, {plan.doses.total_g:.2f} g."
        plans.note_plan(*shop_and_case(ctx, noted_in), f"{ref}: {words}" if ref else words, keep)
    if as_json:
        print_json({**plan.as_dict(), "plan": keep})
    else:
        _print_plan(plan, told)
        _say("What this rests on:", tuple(keep["assumed"]))
        if noted_in is not None:
            click.echo("Noted in the case.")
    if not plan.doses.reaches:
        ctx.exit(1)


def _of_board(
    package: str | None, ref: str | None, pin: tuple[float, float], keep_c: float
) -> tuple[alloys.PartJoints, tuple[str, ...], tuple[str, ...]]:
    """The part's joints, what to mind of the part, and of the board's other parts."""
    if package is None or ref is None:
        raise refuse(
            "ALY-006", "A board without a part, or a part without a board.", "Give both: --board demo --part U1."
        )
    board = bootstrap.open_board(package)
    return alloys.joints_of(board, ref, pin), alloys.mind_part(board, ref), cautions_on_board(board, target_c=keep_c)


def _measured(hole_mm: float | None, land_mm: float | None, pin: tuple[float, float], board_mm: float) -> Joint:
    if hole_mm is None or land_mm is None:
        raise refuse(
            "ALY-006", "A hole without a land, or a land without a hole.", "Give both: --hole-mm 0.8 --land-mm 1.5."
        )
    return joint(hole_mm, pin, land_mm, board_mm=board_mm)


def _pins(count: int) -> str:
    return "1 pin" if count == 1 else f"{count} pins"


def _print_plan(found: alloys.FeedPlan, told: str) -> None:
    """The plan in words."""
    plan, after = found.doses, found.cleaning
    for line in (*found.of_part, *found.of_board):
        click.echo(line)
    if told:
        click.echo(told)
    if found.joints is not None:
        click.echo(f"per pin {_joint_words(found.joints, plan.base.density_g_cm3)}")
    click.echo(plan.words)
    if plan.dose_mg > 0:
        click.echo(
            f"per pin {plan.dose_mg:.1f} mg ({plan.wire_mm:.1f} mm of {plan.wire_diameter_mm:g} mm wire), {_pins(plan.pins)}: {plan.total_g:.2f} g"
        )
    click.echo("dose      mg   share   begins   all liquid")
    for number, one in enumerate(plan.steps):
        click.echo(
            f"{number:4} {one.dose_mg:7.1f} {100 * one.share:6.1f} % {one.melt.solidus_c:6.0f} {one.melt.liquidus_c:8.0f} degC"
        )
    if found.joints is not None and plan.dose_mg > 0:
        low, high = (
            plan.dose_mg * one / found.joints.volume_mm3 for one in (found.joints.least_mm3, found.joints.most_mm3)
        )
        click.echo(
            f"For hollow to straight fillets the dose is {low:.1f} to {high:.1f} mg: weigh one joint's solder to know."
        )
    trail = ", ".join(f"{one:.2g}" for one in after.bismuth_wt)
    click.echo(
        f"After: {after.rounds} rounds of wick and fresh solder (each leaves {100 * after.wick_leaves:g} %) bring bismuth from {trail} % "
        f"under {after.limit_wt:g} %; the joint is {after.after.name} then."
    )
    if after.surplus_rounds:
        first = "one only takes" if after.surplus_rounds == 1 else f"{after.surplus_rounds} only take"
        click.echo(f"   The first {first} off what was fed beyond the joint's own solder: nothing fresh goes in.")
    if after.soft is not None:
        click.echo(f"   {100 * after.soft:.1f} % of it would still freeze last below 100 degC: go on cleaning.")
    _say("Mind:", found.warnings[len(found.of_part) + len(found.of_board) :])


@alloy_command.command("list")
@JSON
def list_command(as_json: bool) -> None:
    """Published solders with their solidus and liquidus, beside the model's."""
    rows = alloys.known_alloys()
    if as_json:
        print_json(rows)
        return
    for row in rows:
        model = ""
        if "model_solidus_c" in row:
            model = f"   model {row['model_solidus_c']:g} / {row['model_liquidus_c']:g}"
        click.echo(f"{row['name']:18} {row['solidus_c']:g} / {row['liquidus_c']:g} degC{model}   [{row['source']}]")
