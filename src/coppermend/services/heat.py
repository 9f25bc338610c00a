"""Warming a board as the bench asks for it: the board's own copper cut into cells, the plan, hot air on a spot, the thermocouple's correction."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import shapely

from coppermend.core.board.model import Board
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.findings import Refusal, refuse
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.core.rework.heat.films import MASK_EMISSIVITY, gap
from coppermend.core.rework.heat.fit import (
    ASSUMED_COVARIANCE,
    FILM_WIDTH,
    HEAT_WIDTH,
    LOSS_WIDTH,
    Fit,
    corrected,
    fit_model,
    time_width,
)
from coppermend.core.rework.heat.limits import CAUTIONS, TG_OLD_C, TOUCH_C, below_tg
from coppermend.core.rework.heat.plate import AIR_FILM_W_M2K, NOZZLE_FILM_W_M2K, Heater, Room, covered
from coppermend.core.rework.heat.preheat import (
    LONGEST_S,
    RATE_OVER_S,
    HeatPlan,
    SpotPlan,
    plan_heat,
    plan_spot,
)
from coppermend.core.rework.heat.slab import Build, Slab, cut

CELLS, COARSE_CELLS = 32, 12
SAMPLES = 4
PLATE_GAP_MM = 2.0
"""Pins on the solder side keep a board so far off a plate. Common practice, no source."""

WINDOW_MM = 80.0
SPOT_CELLS = 40

ASSUMED = (
    "Board: laminate 1850 kg/m3, 1100 J/kgK, 0.81 W/mK in its plane (read: docs/sources.md) and 0.3 through (from memory); copper 390 W/mK, foil as the board says. "
    "Parts weigh evenly on the component side; it lies level, nothing holds it, its edges lose nothing.",
    f"Heater: its film as given or assumed (air {AIR_FILM_W_M2K:g} W/m2K from memory, "
    f"nozzle {NOZZLE_FILM_W_M2K:g} by common practice, no source; a plate: still air of the gap and radiation): the least certain number.",
    f"Losses: the other faces lose heat to still air and by radiation (emissivity {MASK_EMISSIVITY:g}).",
    "Time: until the coldest place of the heated area, on either side, is at the target. "
    f"It is open by one standard deviation: without readings the film within a factor of {math.exp(FILM_WIDTH):.1f}, the heat of {math.exp(HEAT_WIDTH):.2f}, "
    f"the losses of {math.exp(LOSS_WIDTH):.2f} (assumed); with readings by what these leave.",
    "Setting: the hottest one that leaves every place of the board under the laminate's limit however long it stays on; the laminate's glass transition is an input.",
    f"Rates: the mean over any {RATE_OVER_S:g} seconds from switching on (no source).",
    "Bow: a free plate with a linear temperature through it, a L2 dT / (8 d), 14 ppm/K, L its diagonal (Boley and Weiner, Theory of Thermal Stresses, from memory).",
    f"Cooling: heater off, still air on both faces, until {TOUCH_C:g} degC may be handled (common practice, no source).",
    f"Spot: a window of {WINDOW_MM:g} mm round the nozzle with the board's heat and copper there, from the target on, preheater still on.",
)
"""What every plan rests on; docs/explanation/preheat.md says more."""


def slab_of(board: Board, *, cells: int = CELLS, slices: int = 5, parts_g: float = 0.0) -> Slab:
    """A board cut into cells with its own outline, thickness, foils, and the copper share of each cell on each layer.

    A Refusal for a board from a pin list: nothing of its body is known.
    """
    if not copper_is_known(board):
        raise refuse(
            "HEA-009",
            "This board comes from a list: neither its size nor its copper is known.",
            "Give its size (--size 250x200; on the page: width and height), thickness and what is guessed of its copper.",
        )
    x0, y0, x1, y1 = _box(board)
    width, height = x1 - x0, y1 - y0
    longest = max(width, height)
    columns, rows = max(1, round(cells * width / longest)), max(1, round(cells * height / longest))
    points = _lattice((x0, y0, x1, y1), columns * SAMPLES, rows * SAMPLES)
    on_board = _on_board(board, points).reshape(rows * SAMPLES, columns * SAMPLES)
    inside = _cells(on_board, rows, columns) > 0.5
    thick = dict(board.copper_thickness_mm)
    foil = sum(thick.values()) / len(thick) if thick else 0.035
    shares = []
    for layer in sorted(board.layers, key=lambda one: _depth(one.key), reverse=True):
        hit = np.zeros(len(points), dtype=bool)
        if len(layer.shapes):
            pairs = ShapeSet.of(shapely.points(points), np.zeros(len(points))).near_pairs(0.0, layer.shapes)
            hit[pairs[:, 0]] = True
        shares.append(_cells(hit.reshape(rows * SAMPLES, columns * SAMPLES), rows, columns) * inside)
    build = Build((width, height), board.thickness_mm, tuple(shares) or (0.0,), foil, parts_g)
    return cut(build, slices=slices, inside=inside, origin_mm=(x0, y0))


def _box(board: Board) -> tuple[float, float, float, float]:
    """The outline's box, or that of the copper where there is no outline; a Refusal for a board without either."""
    if board.outline:
        every = np.concatenate(board.outline)
        return float(every[:, 0].min()), float(every[:, 1].min()), float(every[:, 0].max()), float(every[:, 1].max())
    boxes = [layer.shapes.bounds_mm() for layer in board.layers if len(layer.shapes)]
    if not boxes:
        raise refuse(
            "HEA-009",
            "This board has neither an outline nor copper that is known.",
            "Give its size instead: --size 250x200 (coppermend heat preheat).",
        )
    box = np.concatenate(boxes)
    return (
        float(np.nanmin(box[:, 0])),
        float(np.nanmin(box[:, 1])),
        float(np.nanmax(box[:, 2])),
        float(np.nanmax(box[:, 3])),
    )


def _depth(key: str) -> int:
    """Order of layers from the component side."""
    return {"c": 0, "s": 1000}.get(key, int(key[1:]) if key[1:].isdigit() else 500)


def _lattice(box: tuple[float, float, float, float], columns: int, rows: int) -> np.ndarray:
    x0, y0, x1, y1 = box
    x = x0 + (np.arange(columns) + 0.5) * (x1 - x0) / columns
    y = y0 + (np.arange(rows) + 0.5) * (y1 - y0) / rows
    return np.stack([np.tile(x, rows), np.repeat(y, columns)], axis=1)


def _on_board(board: Board, points: np.ndarray) -> np.ndarray:
    """Which points lie within the outline: within an odd number of its closed lines."""
    if not board.outline:
        return np.ones(len(points), dtype=bool)
    count = np.zeros(len(points), dtype=int)
    for ring in board.outline:
        if len(ring) >= 3:
            shape = shapely.make_valid(shapely.Polygon(ring))
            count += shapely.contains_xy(shape, points[:, 0], points[:, 1])
    return np.asarray(count % 2 == 1)


def _cells(fine: np.ndarray, rows: int, columns: int) -> np.ndarray:
    """Share of true samples in each cell."""
    return np.asarray(fine.reshape(rows, SAMPLES, columns, SAMPLES).mean(axis=(1, 3)))


def heater_of(
    kind: str,
    celsius: float,
    side: str = "s",
    *,
    film_w_m2k: float | None = None,
    gap_mm: float | None = None,
    region_mm: tuple[float, float, float, float] | None = None,
) -> Heater:
    """A preheater: ``kind`` "air" or "plate". A plate's film is that of its gap (2 mm unless given) and it radiates; air has a film alone.

    >>> heater_of("plate", 150.0).film_w_m2k
    15.0
    """
    if kind not in ("air", "plate"):
        raise refuse("HEA-002", f"{kind!r} is no kind of heater here.", "Say air or plate.")
    if kind == "air":
        return Heater(side, celsius, AIR_FILM_W_M2K if film_w_m2k is None else film_w_m2k, 0.0, region_mm)
    wide = PLATE_GAP_MM if gap_mm is None else gap_mm
    if not 0.01 <= wide <= 100:
        raise refuse(
            "HEA-002", f"A gap of {wide:g} mm between board and plate cannot be.", "Give 0.01 to 100 mm; 2 mm is usual."
        )
    return Heater(side, celsius, gap(wide) if film_w_m2k is None else film_w_m2k, MASK_EMISSIVITY, region_mm)


def readings_of(text: str) -> tuple[tuple[float, float], ...]:
    """Seconds and degC of a thermocouple from text: two numbers a line, comma, semicolon, tab or space between; a first line of words is a heading.

    A Refusal names the line that is no reading, and says where there is none at all.

    >>> readings_of("s;degC\\n0;22.5\\n30;31,5")
    ((0.0, 22.5), (30.0, 31.5))
    """
    rows: list[tuple[float, float]] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        fields = _fields(line)
        try:
            second, celsius = (float(one.replace(",", ".")) for one in fields)
        except ValueError:
            if number == 1 and not any(one[:1].isdigit() for one in fields):
                continue
            raise refuse(
                "HEA-008",
                f"Line {number} is no reading: {line.strip()[:60]!r}.",
                "Write seconds since switching on and degC, such as 30;41.5, a reading a line.",
            ) from None
        rows.append((second, celsius))
    if not rows:
        first = next((one.strip() for one in text.splitlines() if one.strip()), "")
        raise refuse(
            "HEA-008",
            f"No reading of a thermocouple is in {f'{first[:60]!r}' if first else 'it: it is empty'}.",
            "Write seconds since switching on and degC, such as 30;41.5, a reading a line, or leave the readings out.",
        )
    return tuple(rows)


def _fields(line: str) -> list[str]:
    """The fields of a line; a comma divides unless something else does."""
    for mark in (";", "\t"):
        if mark in line:
            return [one.strip() for one in next(csv.reader(io.StringIO(line), delimiter=mark))]
    if len(line.split()) == 2:
        return line.split()
    if "," in line and line.count(",") == 1:
        return [one.strip() for one in line.split(",")]
    return line.split()


@dataclass(frozen=True, slots=True)
class Warming:
    """A plan with what it rests on: the board's cells, ``fit`` where readings corrected it, ``spot`` where hot air was asked for."""

    slab: Slab
    heater: Heater
    room: Room
    plan: HeatPlan
    fit: Fit | None
    spot: SpotPlan | None
    time_range_s: tuple[float, float] | None
    """The plan's time, one standard deviation to either side: what film, heat and losses leave open. At most 40 minutes: that long, or never."""
    on_board: tuple[str, ...] = ()
    """What of this board's parts heat harms (``services/heatcautions.py``)."""

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to mind: the board's own parts first."""
        return (*self.on_board, *CAUTIONS)

    @property
    def holds(self) -> bool:
        """Whether the plan can be followed as it is: the target reached, every limit kept, readings that the model follows, a spot that
        comes to its temperature."""
        reached = self.spot is None or self.spot.time_s is not None
        return self.plan.kept and reached and (self.fit is None or self.fit.follows)

    @property
    def held_words(self) -> str:
        """What the limits in ``plan.held`` are of; with hot air, that the spot is not among them."""
        if self.spot is None:
            return "Limits"
        over, most = self.spot.over_tg_s, below_tg(self.plan.tg_c)
        passed = f"its laminate has {self.spot.spot_c:.0f} degC there, {most.value:g} is its limit"
        return (
            f"Limits of the preheat, before the hot air. The spot is not among them: {passed}"
            f"{f', and is above its glass transition for {over:.0f} s' if over > 0 else ''}"
        )

    def as_dict(self) -> dict[str, Any]:
        """The plan as plain JSON values; times in s, temperatures in degC, differences in K."""
        plan = asdict(self.plan)
        plan["held"] = [
            {
                "name": one.limit.name,
                "limit": one.limit.value,
                "unit": one.limit.unit,
                "found": round(one.found, 2),
                "kept": one.kept,
                "source": one.limit.source,
            }
            for one in self.plan.held
        ]
        return {
            "holds": self.holds,
            "held_words": self.held_words,
            "heater": {"side": self.heater.side, "celsius": self.heater.celsius, "film_w_m2k": self.heater.film_w_m2k},
            "time_range_s": None if self.time_range_s is None else [round(one, 1) for one in self.time_range_s],
            "cells": list(self.slab.inside.shape),
            "heat_j_k": round(float(self.slab.heat.sum()), 2),
            **{key: _rounded(value) for key, value in plan.items()},
            "fit": None if self.fit is None else {key: _rounded(value) for key, value in asdict(self.fit).items()},
            "spot": None if self.spot is None else {key: _rounded(value) for key, value in asdict(self.spot).items()},
            "assumed": list(ASSUMED),
            "on_board": list(self.on_board),
            "cautions": list(self.cautions),
        }


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 3)
    if isinstance(value, (list, tuple)):
        return [_rounded(one) for one in value]
    return value


def warming(
    slab: Slab,
    heater: Heater,
    *,
    target_c: float,
    tg_c: float = TG_OLD_C,
    room: Room | None = None,
    readings: tuple[tuple[float, float], ...] = (),
    coarse: Slab | None = None,
    spot_mm: tuple[float, float] | None = None,
    thermocouple_side: str = "c",
    on_board: tuple[str, ...] = (),
) -> Warming:
    """The plan of warming a board; with ``readings`` the model is corrected on the ``coarse`` slab (same board, fewer cells) first.
    Readings that the model does not follow correct nothing: ``fit`` says so, and the plan rests on what was assumed.

    ``on_board``: what of its parts heat harms. Refusal HEA-004 for a thermocouple off the board, with readings or without.
    """
    room = Room() if room is None else room
    if spot_mm is not None:
        slab.cell_at(*spot_mm)
    coarse = slab if coarse is None or _too_coarse(coarse, heater) else coarse
    fit = None
    if readings:
        fit = fit_model(coarse, heater, readings, spot_mm=spot_mm, side=thermocouple_side, room=room)
        if fit.follows:
            coarse = corrected(coarse, heater, room, fit)[0]
            slab, heater, room = corrected(slab, heater, room, fit)
    plan = plan_heat(slab, heater, target_c=target_c, tg_c=tg_c, room=room, coarse=coarse)
    width = time_width(
        coarse, heater, room, target_c, fit.covariance if fit is not None and fit.follows else ASSUMED_COVARIANCE
    )
    spread = None
    if plan.time_s is not None and width is not None:
        spread = plan.time_s * math.exp(-width), min(plan.time_s * math.exp(min(width, 20.0)), LONGEST_S)
    return Warming(slab, heater, room, plan, fit, None, spread, on_board)


def _too_coarse(slab: Slab, heater: Heater) -> bool:
    """Whether the heater covers so few cells that the fine slab must do."""
    try:
        return int(covered(slab, heater).sum()) < 4
    except Refusal:
        return True


def hot_air(
    made: Warming,
    *,
    at_mm: tuple[float, float],
    diameter_mm: float,
    celsius: float,
    melt_c: float,
    film_w_m2k: float = NOZZLE_FILM_W_M2K,
    side: str = "c",
) -> SpotPlan:
    """Hot air from a nozzle at a place of the board that was warmed by ``made``: an 80 mm window round it in cells of 2 mm, with the copper there.

    The preheater stays on below; the window starts at the plan's target.
    """
    if not (2 <= diameter_mm <= 60):
        raise refuse("HEA-007", f"A nozzle of {diameter_mm:g} mm cannot be followed.", "Give 2 to 60 mm across.")
    row, column = made.slab.cell_at(*at_mm)
    slab = made.slab
    window = cut(
        Build((WINDOW_MM, WINDOW_MM), slab.thickness_m * 1000, (0.0,), 0.0), cells=SPOT_CELLS, slices=slab.slices
    )
    scale = window.area_m2 / slab.area_m2
    heat = np.broadcast_to(slab.heat[:, row, column][:, None, None] * scale, window.heat.shape).copy()
    along = np.broadcast_to(slab.along[:, row, column][:, None, None], window.along.shape).copy()
    local = Slab(
        window.origin_mm, window.dx_m, window.dy_m, window.dz_m, window.inside, heat, along, window.through,
        window.half_through_w_m2k, window.thickness_m, window.laminate,
    )  # fmt: skip
    middle, half = WINDOW_MM / 2, diameter_mm / 2
    nozzle = Heater(side, celsius, film_w_m2k, 0.0, (middle - half, middle - half, middle + half, middle + half), True)
    below = Heater(made.heater.side, made.heater.celsius, made.heater.film_w_m2k, made.heater.emissivity)
    if below.side == side:
        raise refuse(
            "HEA-007",
            "The nozzle blows on the side that the preheater warms.",
            "Preheat from below and blow from above: name the other side.",
        )
    return plan_spot(
        local, nozzle, [below], melt_c=melt_c, start_c=made.plan.target_c, tg_c=made.plan.tg_c, room=made.room
    )


def with_hot_air(
    made: Warming,
    *,
    at_mm: tuple[float, float],
    diameter_mm: float,
    celsius: float,
    melt_c: float,
    film_w_m2k: float = NOZZLE_FILM_W_M2K,
) -> Warming:
    """A plan with hot air from above added, on the side that the preheater leaves free."""
    side = "c" if made.heater.side == "s" else "s"
    spot = hot_air(
        made, at_mm=at_mm, diameter_mm=diameter_mm, celsius=celsius, melt_c=melt_c, film_w_m2k=film_w_m2k, side=side
    )
    return replace(made, spot=spot)
