"""Forbidden places of one side of a board as arrays of boxes: what they hold, what a run crosses, and how an end inside one gets out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

BEND_MM = 2.0
"""What a bend costs, as mm of wire: it must be formed and held by a dot. Our choice."""
ESCAPE_MM = 8.0
"""An end inside a forbidden place (a leg at its own part's edge) may be left straight out over at most this length."""
SAME_MM = 1e-6

Spot = tuple[float, float]
Frame = tuple[float, float, float, float]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Boxes:
    """Forbidden places of one side: ``at`` (n, 4) in mm, ``bare`` (n,) where it is a bare place of another net."""

    at: Floats
    bare: Flags

    def near(self, window: Frame) -> Boxes:
        """Those that reach into a window."""
        x0, y0, x1, y1 = window
        in_it = (self.at[:, 0] < x1) & (self.at[:, 2] > x0) & (self.at[:, 1] < y1) & (self.at[:, 3] > y0)
        return Boxes(self.at[in_it], self.bare[in_it])

    def hold(self, spot: Spot) -> Flags:
        """(n,) which hold a place, their rims left out."""
        x, y = spot
        at = self.at
        level = (at[:, 0] + SAME_MM < x) & (x < at[:, 2] - SAME_MM)
        return np.asarray(level & (at[:, 1] + SAME_MM < y) & (y < at[:, 3] - SAME_MM))

    def held(self, spots: Floats) -> Flags:
        """(m,) which of these places (m, 2) any box holds.

        >>> Boxes(np.array([[0.0, 0.0, 4.0, 4.0]]), np.array([False])).held(np.array([[2.0, 2.0], [4.0, 2.0]])).tolist()
        [True, False]
        """
        x, y = spots[:, :1], spots[:, 1:]
        left, low, right, high = self.at.T
        inside = (left + SAME_MM < x) & (x < right - SAME_MM)
        inside &= (low + SAME_MM < y) & (y < high - SAME_MM)
        return np.asarray(inside.any(axis=1))

    def crossed(self, p: Spot, q: Spot) -> Flags:
        """(n,) through which a level or upright run passes."""
        at = self.at
        across = (min(p[0], q[0]) < at[:, 2] - SAME_MM) & (max(p[0], q[0]) > at[:, 0] + SAME_MM)
        return np.asarray(across & (min(p[1], q[1]) < at[:, 3] - SAME_MM) & (max(p[1], q[1]) > at[:, 1] + SAME_MM))


def within(inner: Floats, outer: Floats) -> Flags:
    """(n,) which boxes lie wholly inside one of the others: they forbid nothing more.

    >>> within(np.array([[1.0, 1, 2, 2], [1, 1, 9, 2]]), np.array([[0.0, 0, 4, 4]])).tolist()
    [True, False]
    """
    inside = inner[:, :1] >= outer[:, 0]
    inside &= inner[:, 1:2] >= outer[:, 1]
    inside &= inner[:, 2:3] <= outer[:, 2]
    inside &= inner[:, 3:] <= outer[:, 3]
    return np.asarray(inside.any(axis=1))


@dataclass(frozen=True, slots=True)
class Stops:
    """Places that ways start from or end at, on one side.

    ``at`` (n, 2) mm; ``out`` (n, 2) where each leaves the forbidden place it lies in (itself when it lies free), ``far`` (n,) mm as far as there (inf
    where it cannot), ``along`` (n,) 0 where it leaves level, 1 upright, -1 where it lies free; ``cost`` (n,) what ending there costs besides, in mm.
    """

    at: Floats
    out: Floats
    far: Floats
    along: Ints
    cost: Floats

    def some(self, which: Flags | Ints) -> Stops:
        """Those picked out."""
        return Stops(self.at[which], self.out[which], self.far[which], self.along[which], self.cost[which])

    def costing(self, cost: Floats) -> Stops:
        """The same places at another cost."""
        return Stops(self.at, self.out, self.far, self.along, cost)


def stops_of(spots: Floats, cost: Floats, boxes: Boxes, frame: Frame) -> Stops:
    """Places (n, 2) as ends of ways among these boxes inside a frame."""
    at = np.asarray(spots, dtype=np.float64).reshape(-1, 2)
    out, far, along = at.copy(), np.zeros(len(at)), np.full(len(at), -1)
    x0, y0, x1, y1 = frame
    off = (at[:, 0] < x0) | (at[:, 0] > x1) | (at[:, 1] < y0) | (at[:, 1] > y1)
    near = boxes.near(_span(at, ESCAPE_MM))
    for k in np.flatnonzero(off | near.held(at)).tolist():
        found = way_out((float(at[k, 0]), float(at[k, 1])), near, frame)
        if found is None:
            far[k] = inf
        else:
            out[k] = found
            far[k] = abs(found[0] - at[k, 0]) + abs(found[1] - at[k, 1])
            along[k] = -1 if far[k] < SAME_MM else int(abs(found[1] - at[k, 1]) > SAME_MM)
    return Stops(at, out, far, along, np.asarray(cost, dtype=np.float64))


def _span(at: Floats, grow: float) -> Frame:
    """The box of some places, grown."""
    if not len(at):
        return (0.0, 0.0, 0.0, 0.0)
    (x0, y0), (x1, y1) = at.min(axis=0) - grow, at.max(axis=0) + grow
    return (float(x0), float(y0), float(x1), float(y1))


def way_out(spot: Spot, boxes: Boxes, frame: Frame) -> Spot | None:
    """Where an end leaves the forbidden places that it lies in, straight and the shortest way; the end itself where it lies free, None where it cannot.

    Bare places of other nets that do not hold the end itself are not passed on the way out.
    """
    x0, y0, x1, y1 = frame
    held = boxes.hold(spot)
    best: tuple[float, Spot] | None = None
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        x, y = _pushed(spot, (dx, dy), boxes)
        x = min(max(x, x0), x1)
        y = min(max(y, y0), y1)
        far = abs(x - spot[0]) + abs(y - spot[1])
        straight = abs(x - spot[0]) < SAME_MM or abs(y - spot[1]) < SAME_MM
        if (
            straight
            and far <= ESCAPE_MM
            and (best is None or far < best[0] - SAME_MM)
            and not boxes.hold((x, y)).any()
            and not (boxes.crossed(spot, (x, y)) & boxes.bare & ~held).any()
        ):
            best = (far, (x, y))
    return None if best is None else best[1]


def _pushed(spot: Spot, way: Sequence[int], boxes: Boxes) -> Spot:
    """The place pushed one way until no box holds it, eight boxes at most."""
    x, y = spot
    for _ in range(8):
        inside = np.flatnonzero(boxes.hold((x, y)))
        if not len(inside):
            break
        left, low, right, high = boxes.at[inside[0]].tolist()
        x = right if way[0] > 0 else left if way[0] < 0 else x
        y = high if way[1] > 0 else low if way[1] < 0 else y
    return x, y


def made_corners(corners: Sequence[Spot]) -> tuple[Spot, ...]:
    """These corners without those that are none.

    >>> made_corners([(0, 0), (5, 0), (9, 0), (9, 3)])
    ((0, 0), (9, 0), (9, 3))
    """
    path: list[Spot] = []
    for spot in corners:
        if path and abs(path[-1][0] - spot[0]) < SAME_MM and abs(path[-1][1] - spot[1]) < SAME_MM:
            continue
        if len(path) >= 2 and _in_line(path[-2], path[-1], spot):
            path[-1] = spot
        else:
            path.append(spot)
    return tuple(path)


def _in_line(p: Spot, q: Spot, r: Spot) -> bool:
    level = abs(p[1] - q[1]) < SAME_MM and abs(q[1] - r[1]) < SAME_MM
    upright = abs(p[0] - q[0]) < SAME_MM and abs(q[0] - r[0]) < SAME_MM
    return level or upright
