"""``coppermend heat``: thermal pictures read (``read``), how long a board warms on a preheater, what hot air does to a spot, corrected by a thermocouple."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.heat_read import read_command
from coppermend.cli.shop import JSON, shop_and_case
from coppermend.core.findings import Place, refuse
from coppermend.core.rework.heat.fit import Fit
from coppermend.core.rework.heat.limits import CAUTIONS, TG_OLD_C
from coppermend.core.rework.heat.plate import NOZZLE_FILM_W_M2K, Room
from coppermend.core.rework.heat.preheat import LONGEST_S
from coppermend.core.rework.heat.slab import Build, Slab, cut
from coppermend.core.units import BOARD_THICKNESS_MM
from coppermend.services import heat, plans
from coppermend.services.heatcautions import NOT_KNOWN, cautions_on_board
from coppermend.services.warmingdrawing import draw_warming


@click.group("heat")
def heat_command() -> None:
    """Heat: a thermal picture read against the board; warming a board (time to a safe temperature, how even, cooling, hot air on a spot)."""


heat_command.add_command(read_command)


def _numbers(text: str, many: tuple[int, ...], what: str, example: str) -> list[float]:
    """Numbers between x, commas or spaces; a Refusal when there are not as many as expected."""
    try:
        found = [float(one) for one in text.lower().replace("x", " ").replace(",", " ").split()]
    except ValueError:
        found = []
    if len(found) not in many:
        raise refuse("HEA-010", f"{text!r} is no {what}.", f"Write it like {example}.")
    return found


@heat_command.command("preheat")
@click.argument("package", required=False, metavar="[PACKAGE]")
@click.option("--size", metavar="WxH", help="Without a package: the board's width and height in mm, such as 250x200.")
@click.option(
    "--thickness-mm", type=float, default=BOARD_THICKNESS_MM, show_default=True, help="With --size: thickness, mm."
)
@click.option(
    "--copper",
    default="0.3,0.3",
    show_default=True,
    metavar="SHARES",
    help="With --size: copper share of each layer from the solder side up, 0 to 1.",
)
@click.option("--parts-g", type=float, default=0.0, show_default=True, help="Mass of all parts on the board, g.")
@click.option(
    "--heater", "kind", type=click.Choice(["air", "plate"]), required=True, help="Hot air from below, or a hot plate."
)
@click.option("--heater-c", type=float, required=True, help="Temperature of its air or plate, degC.")
@click.option("--side", type=click.Choice(["s", "c"]), default="s", show_default=True, help="Side that it warms.")
@click.option(
    "--film", "film", type=float, help="Its film in W/m2K, where known (air 40 unless given; a plate's from its gap)."
)
@click.option("--gap-mm", type=float, help="Plate: gap to the board, mm. Default: 2, as pins leave it.")
@click.option("--area", metavar="X0,Y0,X1,Y1", help="Warmed area in mm. Default: the whole board.")
@click.option("--target-c", type=float, default=100.0, show_default=True, help="Where the board shall come, degC.")
@click.option("--tg-c", type=float, default=TG_OLD_C, show_default=True, help="The laminate's glass transition, degC.")
@click.option("--room-c", type=float, default=22.0, show_default=True, help="The room, degC.")
@click.option(
    "--readings", metavar="FILE", help="A thermocouple's seconds and degC, a pair a line: the model corrects itself."
)
@click.option("--at", "at", metavar="X,Y", help="Where the thermocouple lies, mm. Default: the middle of the board.")
@click.option(
    "--at-side", type=click.Choice(["c", "s"]), default="c", show_default=True, help="Side of the thermocouple."
)
@click.option("--nozzle", metavar="X,Y,D", help="Then hot air on a spot: its place and the nozzle's diameter, mm.")
@click.option("--nozzle-c", type=float, default=350.0, show_default=True, help="The nozzle's air, degC.")
@click.option("--nozzle-film", type=float, default=NOZZLE_FILM_W_M2K, show_default=True, help="Its film, W/m2K.")
@click.option(
    "--melt-c", type=float, default=203.0, show_default=True, help="Where the solder is all liquid plus 20 K."
)
@click.option("--draw", metavar="FILE", help="Write temperature against time as an SVG picture.")
@click.option("--note", "noted_in", metavar="CASE", help="Keep the plan in a case: its record shows words and diagram.")
@JSON
@click.pass_context
def preheat_command(
    ctx: click.Context,
    package: str | None,
    size: str | None,
    thickness_mm: float,
    copper: str,
    parts_g: float,
    kind: str,
    heater_c: float,
    side: str,
    film: float | None,
    gap_mm: float | None,
    area: str | None,
    target_c: float,
    tg_c: float,
    room_c: float,
    readings: str | None,
    at: str | None,
    at_side: str,
    nozzle: str | None,
    nozzle_c: float,
    nozzle_film: float,
    melt_c: float,
    draw: str | None,
    noted_in: str | None,
    as_json: bool,
) -> None:
    """Time to a safe temperature under the laminate's Tg, differences on the board, the setting that may stay on, cooling.

    Status 1 where the target is not reached, a limit is not kept, the model does not follow the readings, or the spot does not get hot.
    """
    slab, coarse, on_board = _slabs(package, size, thickness_mm, copper, parts_g, target_c)
    region = _region(area)
    made = heat.warming(
        slab,
        heat.heater_of(kind, heater_c, side, film_w_m2k=film, gap_mm=gap_mm, region_mm=region),
        target_c=target_c,
        tg_c=tg_c,
        room=Room(room_c),
        readings=() if readings is None else heat.readings_of(_read(readings)),
        coarse=coarse,
        spot_mm=None if at is None else _pair(at),
        thermocouple_side=at_side,
        on_board=on_board,
    )
    if nozzle is not None:
        x, y, diameter = _numbers(nozzle, (3,), "place and diameter", "--nozzle 120,80,12")
        made = heat.with_hot_air(
            made, at_mm=(x, y), diameter_mm=diameter, celsius=nozzle_c, melt_c=melt_c, film_w_m2k=nozzle_film
        )
    keep = plans.warming_plan(made)
    if draw is not None:
        Path(draw).write_text(draw_warming(plans.warming_kept(keep)), encoding="utf-8")
    if noted_in is not None:
        where = "hot air" if kind == "air" else "hot plate"
        words = f"Warming, {where} at {heater_c:g} degC: {made.plan.words}{' ' + made.spot.words if made.spot else ''}"
        plans.note_plan(*shop_and_case(ctx, noted_in), words, keep)
    if as_json:
        print_json({**made.as_dict(), "plan": keep})
    else:
        _print(made)
        if noted_in is not None:
            click.echo("Noted in the case.")
    if not made.holds:
        ctx.exit(1)


def _slabs(
    package: str | None, size: str | None, thickness_mm: float, copper: str, parts_g: float, target_c: float
) -> tuple[Slab, Slab, tuple[str, ...]]:
    """The board in fine and in coarse cells, and what of its parts heat harms."""
    if (package is None) == (size is None):
        raise refuse(
            "HEA-010",
            "Which board?",
            "Name a package, or give the board's size: --size 250x200, with --copper and --parts-g.",
        )
    if package is not None:
        board = bootstrap.open_board(package)
        return (
            heat.slab_of(board, parts_g=parts_g),
            heat.slab_of(board, cells=heat.COARSE_CELLS, slices=3, parts_g=parts_g),
            cautions_on_board(board, target_c=target_c),
        )
    width, height = _numbers(size or "", (2,), "size", "250x200")
    shares = tuple(_numbers(copper, tuple(range(1, 33)), "list of copper shares", "0.3,0.3"))
    build = Build((width, height), thickness_mm, shares, parts_g=parts_g)
    return cut(build, cells=heat.CELLS), cut(build, cells=heat.COARSE_CELLS, slices=3), (NOT_KNOWN,)


def _region(area: str | None) -> tuple[float, float, float, float] | None:
    if area is None:
        return None
    x0, y0, x1, y1 = _numbers(area, (4,), "area", "--area 40,30,120,90")
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def _pair(at: str) -> tuple[float, float]:
    x, y = _numbers(at, (2,), "place", "--at 120,80")
    return x, y


def _read(path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise refuse(
            "HEA-008",
            f"There is no file {Path(path).name}: the thermocouple's readings cannot be read.",
            "See whether the name is right, and in which folder it lies.",
            Place(file=path),
        ) from None
    except (OSError, UnicodeDecodeError) as err:
        why = (err.strerror or type(err).__name__) if isinstance(err, OSError) else "it is not text in UTF-8"
        raise refuse(
            "HEA-008", f"The readings cannot be read: {why}.", "Name a text file in UTF-8.", Place(file=path)
        ) from None


def _print(made: heat.Warming) -> None:
    """The plan in words."""
    plan = made.plan
    for line in made.on_board:
        click.echo(line)
    if made.fit is not None:
        _print_fit(made.fit)
    click.echo(plan.words)
    if made.time_range_s is not None:
        low, high = (one / 60 for one in made.time_range_s)
        click.echo(
            f"That time is open from {low:.1f} to {high:.1f} minutes{' or never' if made.time_range_s[1] >= LONGEST_S else ''}: what the heater passes on is the least certain."
        )
    click.echo(
        f"On the way the faces differ by up to {plan.through_k:.0f} K (a free board bows {plan.bow_mm:.1f} mm), the heated area by {plan.across_k:.0f} K at the end."
    )
    click.echo("   min   solder side   component side")
    every = max(1, len(plan.curve) // 8)
    for second, low, high, lower, higher in (*plan.curve[:-1:every], plan.curve[-1]):
        click.echo(f"{second / 60:6.1f}   {low:4.0f} to {high:4.0f}   {lower:4.0f} to {higher:4.0f} degC")
    if made.spot is not None:
        click.echo(made.spot.words)
    click.echo(f"{made.held_words}:")
    for one in plan.held:
        kept = "kept" if one.kept else "NOT KEPT"
        click.echo(
            f"   {one.limit.name}: {one.found_words} of {one.limit.value:g} {one.limit.unit}, {kept} [{one.limit.source}]"
        )
    click.echo("Assumed:")
    for line in heat.ASSUMED:
        click.echo(f"   {line}")
    click.echo("Mind:")
    for line in CAUTIONS:
        click.echo(f"   {line}")


def _print_fit(fit: Fit) -> None:
    click.echo(fit.words)
    if not fit.follows:
        return
    click.echo(
        f"   film within {100 * fit.film_width:.0f} %, heat within {100 * fit.heat_width:.0f} %, losses within {100 * fit.loss_width:.0f} % (one standard deviation)"
    )
