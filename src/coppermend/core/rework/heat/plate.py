"""The board in time: finite volumes, implicit steps of second order (two-step backward differences), films taken from the last steps."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csc_matrix, diags
from scipy.sparse.linalg import splu

from coppermend.core.findings import refuse
from coppermend.core.rework.heat.films import MASK_EMISSIVITY, natural, radiation
from coppermend.core.rework.heat.slab import Floats, Slab

AIR_FILM_W_M2K = 40.0
"""Forced hot air from a preheater; books give 25 to 250 for forced gas (from memory). The number that a thermocouple corrects."""

NOZZLE_FILM_W_M2K = 150.0
"""Air from a nozzle near the board: common practice, no source; an input."""


@dataclass(frozen=True, slots=True)
class Heater:
    """Something hot at one side: ``side`` "c" or "s"; ``celsius`` of its air or plate; ``film_w_m2k`` by convection or through the gap;

    ``emissivity`` of its exchange by radiation (0 for air). It acts on the cells whose middle lies in ``region_mm`` (x0, y0, x1, y1), with ``round``
    in the ellipse within; None is the whole side. It is on from ``start_s`` to ``end_s``.
    """

    side: str
    celsius: float
    film_w_m2k: float
    emissivity: float = 0.0
    region_mm: tuple[float, float, float, float] | None = None
    round: bool = False
    start_s: float = 0.0
    end_s: float = math.inf


@dataclass(frozen=True, slots=True)
class Room:
    """The air round the board in degC; ``still_w_m2k`` a fixed film for all faces that no heater holds (None: still air and radiation by their
    laws); ``emissivity`` of the board's faces; ``film_factor`` scales the losses (a fit's correction)."""

    celsius: float = 22.0
    still_w_m2k: float | None = None
    emissivity: float = MASK_EMISSIVITY
    film_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Run:
    """A board's temperatures: ``seconds`` (n,), ``solder`` and ``component`` (n, ny, nx) face temperatures in degC, NaN off the board."""

    slab: Slab
    seconds: Floats
    solder: Floats
    component: Floats
    last: Floats
    """(slices, ny, nx) temperatures at the end."""


FAR_MM = 10_000.0
"""No corner of a heated region lies further out."""


def checked_heater(heater: Heater) -> Heater:
    """The heater when it can be one; a Refusal that says what cannot be."""
    if not (math.isfinite(heater.celsius) and 0 <= heater.celsius <= 600):
        raise refuse(
            "HEA-002",
            f"A heater at {heater.celsius:g} degC cannot be used; expected 0 to 600.",
            "Give the temperature of its air or plate in degC.",
        )
    if not (math.isfinite(heater.film_w_m2k) and 0 < heater.film_w_m2k <= 5000):
        raise refuse(
            "HEA-002",
            f"A film of {heater.film_w_m2k:g} W/m2K cannot be; expected more than 0 and at most 5000.",
            "Leave it out for the usual number, or lay a thermocouple's readings beside it (coppermend heat fit).",
        )
    if heater.region_mm is not None and not all(math.isfinite(one) and abs(one) <= FAR_MM for one in heater.region_mm):
        raise refuse(
            "HEA-002",
            f"A region with a corner at {max(heater.region_mm, key=abs):g} mm cannot be; expected at most {FAR_MM:g} mm from the board's origin.",
            "Give x0, y0, x1, y1 in mm on the board.",
        )
    return heater


def covered(slab: Slab, heater: Heater) -> NDArray[np.bool_]:
    """The cells (ny, nx) a heater acts on; a Refusal when there are none."""
    rows, columns = slab.inside.shape
    x = slab.origin_mm[0] + (np.arange(columns) + 0.5) * slab.dx_m * 1000
    y = slab.origin_mm[1] + (np.arange(rows) + 0.5) * slab.dy_m * 1000
    found = slab.inside.copy()
    if heater.region_mm is not None:
        x0, y0, x1, y1 = heater.region_mm
        across = ((x - (x0 + x1) / 2) / max((x1 - x0) / 2, 1e-9))[None, :]
        up = ((y - (y0 + y1) / 2) / max((y1 - y0) / 2, 1e-9))[:, None]
        found &= (across**2 + up**2 <= 1) if heater.round else ((np.abs(across) <= 1) & (np.abs(up) <= 1))
    if not found.any():
        raise refuse(
            "HEA-003",
            "The heater covers no cell of the board.",
            "Give a region in mm that lies on the board, at least a few mm across.",
        )
    return found


def conduction(slab: Slab) -> csc_matrix:
    """Conductances between all cells as a matrix K with K T the heat that leaves each cell, W/K; no films."""
    number = np.arange(slab.heat.size).reshape(slab.heat.shape)
    pairs = []
    for axis, (over, along) in ((2, (slab.dy_m / slab.dx_m, 1)), (1, (slab.dx_m / slab.dy_m, 1))):
        first = [slice(None)] * 3
        second = [slice(None)] * 3
        first[axis], second[axis] = slice(None, -along), slice(along, None)
        one, two = slab.along[tuple(first)], slab.along[tuple(second)]
        total = one + two
        middle = np.where((one > 0) & (two > 0), 2 * one * two / np.where(total > 0, total, 1.0), 0.0) * over
        pairs.append((number[tuple(first)].ravel(), number[tuple(second)].ravel(), middle.ravel()))
    up = np.broadcast_to(slab.through * slab.inside, slab.heat[1:].shape)
    pairs.append((number[:-1].ravel(), number[1:].ravel(), up.ravel()))
    a, b, g = (np.concatenate(one) for one in zip(*pairs, strict=True))
    size = slab.heat.size
    matrix = coo_matrix(
        (np.concatenate([g, g, -g, -g]), (np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a]))), (size, size)
    )
    return csc_matrix(matrix)


class _Faces:
    """Films of both faces for the heaters that are on: what stands in the matrix, and what is corrected at each step."""

    def __init__(self, slab: Slab, room: Room, heaters: Sequence[Heater]) -> None:
        self.slab, self.room = slab, room
        self.held = [(checked_heater(one), covered(slab, one)) for one in heaters]
        rows, columns = slab.inside.shape
        self.across_m = 4 * slab.inside.sum() * slab.area_m2 / (2 * (columns * slab.dx_m + rows * slab.dy_m))

    def film(self, side: str, face: Floats) -> tuple[Floats, Floats]:
        """Film W/(m2 K) of each cell of a side at these face temperatures, and the temperature it leads to."""
        room = self.room
        if room.still_w_m2k is None:
            film = natural(face, room.celsius, self.across_m, side == "c")
            film = room.film_factor * film + radiation(face, room.celsius, room.emissivity)
        else:
            film = np.full(self.slab.inside.shape, room.film_factor * room.still_w_m2k)
        toward = film * room.celsius
        for heater, cells in self.held:
            if heater.side == side:
                own = heater.film_w_m2k + radiation(face, heater.celsius, heater.emissivity)
                film = np.where(cells, own, film)
                toward = np.where(cells, own * heater.celsius, toward)
        return film, toward

    def conductance(self, film: Floats) -> Floats:
        """From the cell's middle through half a slice and the film, W/K."""
        return np.asarray(
            self.slab.inside
            * self.slab.area_m2
            * film
            * self.slab.half_through_w_m2k
            / (film + self.slab.half_through_w_m2k)
        )

    def face(self, cell: Floats, film: Floats, toward: Floats) -> Floats:
        """Temperature of the face from that of the outermost cell."""
        half = self.slab.half_through_w_m2k
        return np.asarray((half * cell + toward) / (half + film))


SIDES = (("s", 0), ("c", -1))


def simulate(
    slab: Slab,
    heaters: Sequence[Heater],
    seconds: float,
    *,
    room: Room | None = None,
    step_s: float = 2.0,
    start: Floats | float | None = None,
    until: Callable[[Floats, Floats], bool] | None = None,
) -> Run:
    """The board's temperatures over ``seconds`` from ``start`` (default: the room's), in steps of ``step_s``.

    ``start`` is a number or (slices, ny, nx) degC. Heaters that begin or end within the time do so at the nearest step.
    It ends early after the first step whose faces (solder, component; cells off the board hold numbers without meaning) make ``until`` true.

    >>> from coppermend.core.rework.heat.slab import Build, cut
    >>> board = cut(Build((100.0, 80.0)), cells=4, slices=3)
    >>> run = simulate(board, [Heater("s", 120.0, 40.0)], 600.0)
    >>> bool(60 < run.component[-1].min() < 120)
    True
    """
    room = Room() if room is None else room
    if not (math.isfinite(seconds) and 0 < seconds <= 36_000 and 0 < step_s <= 60):
        raise refuse("HEA-005", f"A time of {seconds:g} s cannot be followed; expected up to 36,000.", "Give seconds.")
    steps = max(1, round(seconds / step_s))
    now = np.zeros(slab.heat.shape) + (room.celsius if start is None else start)
    before = now
    matrix, weights = conduction(slab), slab.heat + (~slab.inside) * 1.0
    times = [0.0]
    below: list[Floats] = []
    above: list[Floats] = []
    faces = _Faces(slab, room, _on(heaters, 0.0))
    for side, row in SIDES:
        (below if side == "s" else above).append(faces.face(now[row], *faces.film(side, now[row])))
    solver, held, fresh = None, None, True
    for number in range(steps):
        on = _on(heaters, (number + 0.5) * step_s)
        if on != held:
            faces, held, fresh = _Faces(slab, room, on), on, True
            reference = {side: faces.film(side, now[row])[0] for side, row in SIDES}
            solver = {order: _factored(slab, faces, matrix, weights, reference, step_s, order) for order in (1.0, 1.5)}
        assert solver is not None
        order = 1.0 if fresh else 1.5
        guess = now if fresh else 2 * now - before
        right = weights * ((now if fresh else 2 * now - 0.5 * before) / step_s)
        for side, row in SIDES:
            film, toward = faces.film(side, faces.face(guess[row], *faces.film(side, guess[row])))
            actual = faces.conductance(film)
            fixed = faces.conductance(reference[side])
            right[row] += actual * (toward / film) - (actual - fixed) * guess[row]
        new = solver[order].solve(right.ravel()).reshape(now.shape)
        before, now, fresh = now, new, False
        times.append((number + 1) * step_s)
        for side, row in SIDES:
            rough = faces.face(now[row], *faces.film(side, now[row]))
            (below if side == "s" else above).append(faces.face(now[row], *faces.film(side, rough)))
        if until is not None and until(below[-1], above[-1]):
            break
    off = ~slab.inside
    solder, component = np.array(below), np.array(above)
    solder[:, off] = np.nan
    component[:, off] = np.nan
    return Run(slab, np.array(times), solder, component, now)


def _on(heaters: Sequence[Heater], second: float) -> tuple[Heater, ...]:
    return tuple(one for one in heaters if one.start_s <= second < one.end_s)


def _factored(
    slab: Slab,
    faces: _Faces,
    matrix: csc_matrix,
    weights: Floats,
    reference: dict[str, Floats],
    step_s: float,
    order: float,
) -> Any:
    """The step's matrix, factored: order 1 for the first step after a change, 1.5 for two-step differences."""
    extra = order * weights / step_s
    for side, row in SIDES:
        extra[row] = extra[row] + faces.conductance(reference[side])
    return splu(csc_matrix(matrix + diags(extra.ravel())))


def steady(slab: Slab, heaters: Sequence[Heater], room: Room | None = None) -> Floats:
    """Where the temperatures settle, degC (slices, ny, nx): films repeated until nothing moves by 0.01 K."""
    room = Room() if room is None else room
    faces = _Faces(slab, room, _on(heaters, 0.0))
    matrix = conduction(slab)
    now = np.full(slab.heat.shape, max([room.celsius, *(one.celsius for one in heaters)]) / 2)
    for _ in range(40):
        extra, right = (~slab.inside) * np.ones(slab.heat.shape), np.zeros(slab.heat.shape)
        for side, row in SIDES:
            film, toward = faces.film(side, faces.face(now[row], *faces.film(side, now[row])))
            extra[row] = extra[row] + faces.conductance(film)
            right[row] += faces.conductance(film) * toward / film
        new = splu(csc_matrix(matrix + diags(extra.ravel()))).solve(right.ravel()).reshape(now.shape)
        moved = float(np.abs((new - now)[:, slab.inside]).max())
        now = new
        if moved < 0.01:
            break
    return np.asarray(now)
