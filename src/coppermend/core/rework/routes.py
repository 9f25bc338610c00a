"""The way of a patch wire along the board: straight runs in the board's two directions, few bends, round every place where no wire may lie.

Forbidden places are boxes (grown by the wire's gap); a way keeps to the lines that their edges and the two ends span. Among boxes some shortest
way with fewest bends lies on those lines (each run can be slid until it meets an edge or an end), so the search over them (``routes_lanes.py``) is
exact for the stated cost: length plus ``BEND_MM`` for each bend. Rules: jumper-wire practice after IPC-A-610 (docs/sources.md).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from coppermend.core.rework.routes_boxes import (
    BEND_MM,
    ESCAPE_MM,
    SAME_MM,
    Boxes,
    Floats,
    Spot,
    Stops,
    made_corners,
    stops_of,
    within,
)
from coppermend.core.rework.routes_lanes import lower_bounds, near_lanes

__all__ = ["BEND_MM", "ESCAPE_MM", "KeepOut", "Route", "Spot", "Ways", "fixing_dots", "made_route"]

DOT_MM = 25.0
"""A fixing dot at least this often, and at every bend. From memory; IPC-A-610 leaves it to the drawing."""
DOT_FREE_MM = 3.0
"""No dot nearer than this to a soldered end: the end stays free of strain. Common practice, no source."""
OVER_COST_MM = 25.0
"""What passing over a bare joint, land or via of another net costs, as mm of wire, where no way is clear of them: raised or sleeved there. Our choice."""


@dataclass(frozen=True, slots=True)
class KeepOut:
    """A box where no wire may lie: ``x0, y0, x1, y1`` in mm with the wire's gap in it, the ``side`` c or s, and ``words`` such as "under U5"."""

    x0: float
    y0: float
    x1: float
    y1: float
    side: str
    words: str

    def holds(self, x: float, y: float) -> bool:
        """Whether a place lies inside, the rim left out."""
        return self.x0 + SAME_MM < x < self.x1 - SAME_MM and self.y0 + SAME_MM < y < self.y1 - SAME_MM


@dataclass(frozen=True, slots=True)
class Route:
    """A way: its corners in mm from end to end, ``length_mm``, number of ``bends``, and ``cost_mm`` = length + bends * BEND_MM."""

    path: tuple[Spot, ...]
    length_mm: float
    bends: int

    @property
    def cost_mm(self) -> float:
        """What the plan keeps least."""
        return self.length_mm + self.bends * BEND_MM


@dataclass(frozen=True, slots=True)
class Ways:
    """Where wires may lie: ``keep_outs`` of both sides and the ``frame`` (x0, y0, x1, y1) inside the board's edge that they stay in.

    ``crossings``: places where a wire can pass to the other side (free holes); without one it goes round the edge, at the height of an end.
    ``bare``: the ground of bare joints, lands and vias of other nets. It is forbidden too; ``loose`` gives it up, at a cost.
    """

    keep_outs: tuple[KeepOut, ...]
    frame: tuple[float, float, float, float]
    crossings: tuple[Spot, ...] = ()
    bare: tuple[KeepOut, ...] = ()
    kept: dict[object, object] = field(default_factory=dict, compare=False, repr=False)

    def clear_of(self, bare: Sequence[KeepOut]) -> Ways:
        """The same ground for a wire that also keeps clear of these bare places of other nets."""
        return replace(self, bare=tuple(bare), kept={})

    def loose(self) -> Ways:
        """The same ground for a wire that may pass over bare places of other nets."""
        return replace(self, bare=(), kept={})

    def passed(self, path: Sequence[Spot], side_a: str, side_b: str, crosses_at: Spot | None) -> int:
        """How many bare places of other nets a way lies over."""
        count, side = 0, side_a
        for p, q in pairwise(path):
            if crosses_at is not None and p == crosses_at:
                side = side_b
            count += sum(1 for one in self.bare if one.side == side and _crosses(one, p, q))
        return count

    def lower_mm(self, a: Spot, b: Spot) -> float:
        """No way between two places costs less.

        >>> Ways((), (0, 0, 9, 9)).lower_mm((1, 1), (4, 5))
        9.0
        """
        dx, dy = abs(a[0] - b[0]), abs(a[1] - b[1])
        return float(dx + dy + (BEND_MM if dx > SAME_MM and dy > SAME_MM else 0.0))

    def stops(self, spots: Floats, side: str, cost: Floats) -> Stops:
        """Places (n, 2) on one side as ends of ways, each with what ending there costs, mm."""
        return stops_of(spots, cost, self.boxes(side), self.frame)

    def edge_spots(self, ends: Floats) -> list[Spot]:
        """Where a wire can pass to the other side: the free holes, and the edge at the height of each of these places (n, 2); not where a box of either side lies."""
        x0, y0, x1, y1 = self.frame
        x, y = np.clip(ends[:, 0], x0, x1), np.clip(ends[:, 1], y0, y1)
        rims = [(np.full_like(y, x0), y), (np.full_like(y, x1), y), (x, np.full_like(x, y0)), (x, np.full_like(x, y1))]
        edge = np.vstack([np.array(self.crossings).reshape(-1, 2), *(np.stack(one, axis=1) for one in rims)])
        spots = np.unique(edge, axis=0)
        free = ~(self.boxes("c").held(spots) | self.boxes("s").held(spots))
        return [(float(px), float(py)) for px, py in spots[free]]

    def plain(self, ends: Stops, k: int, others: Stops, m: int, side: str) -> tuple[Spot, ...] | None:
        """The straight way or one of the two with one bend from one end to another, where it is free: nothing can be cheaper."""
        a, b = _spot(ends.at[k]), _spot(others.at[m])
        if _count(a, b) < SAME_MM or _on_way_out(a, ends.out[k], b) or _on_way_out(b, others.out[m], a):
            return made_corners((a, b))
        if ends.far[k] > 0 or others.far[m] > 0:
            return None
        boxes = self.boxes(side)
        for corner in ((b[0], a[1]), (a[0], b[1])):
            if not any(boxes.crossed(p, q).any() for p, q in ((a, corner), (corner, b))):
                return made_corners((a, corner, b))
        return None

    def route(self, a: Spot, b: Spot, side: str) -> Route | None:
        """The cheapest way between two places on one side; None where every way is barred."""
        start, goal = (self.stops(np.array([spot]), side, np.zeros(1)) for spot in (a, b))
        plain = self.plain(start, 0, goal, 0, side)
        if plain is not None:
            return made_route(plain)
        if not lower_bounds(start, goal).min() < np.inf:
            return None
        found = near_lanes(self.boxes(side), self.frame, start, goal).spread(start)
        return made_route(found.way(goal, 0)[1]) if found.to(goal)[0] < np.inf else None

    def barred(self, a: Spot, b: Spot, side: str) -> tuple[str, ...]:
        """The forbidden places, in words, that the plainest way (one bend) between two places meets."""
        out: dict[str, None] = {}
        for corner in ((b[0], a[1]), (a[0], b[1])):
            for p, q in ((a, corner), (corner, b)):
                for one in self.keep_outs:
                    if one.side == side and _crosses(one, p, q):
                        out.setdefault(one.words)
        return tuple(out)

    def boxes(self, side: str) -> Boxes:
        """The forbidden places of one side."""
        if ("of", side) not in self.kept:
            hard = np.array([(one.x0, one.y0, one.x1, one.y1) for one in self.keep_outs if one.side == side])
            soft = np.array([(one.x0, one.y0, one.x1, one.y1) for one in self.bare if one.side == side])
            hard, soft = hard.reshape(-1, 4), soft.reshape(-1, 4)
            soft = soft[~within(soft, hard)]
            self.kept["of", side] = Boxes(np.vstack([hard, soft]), np.repeat([False, True], (len(hard), len(soft))))
        found = self.kept["of", side]
        assert isinstance(found, Boxes)
        return found

    def hard(self, side: str) -> Boxes:
        """The forbidden places of one side without the bare places of other nets."""
        boxes = self.boxes(side)
        return Boxes(boxes.at[~boxes.bare], boxes.bare[~boxes.bare])


def _spot(at: Floats) -> Spot:
    return float(at[0]), float(at[1])


def _count(a: Spot, b: Spot) -> float:
    """Length in the board's two directions."""
    return abs(a[0] - b[0]) + abs(a[1] - b[1])


def _on_way_out(spot: Spot, out: Floats, other: Spot) -> bool:
    """Whether the other place lies on the straight way that an end takes out of its forbidden place."""
    there = _spot(out)
    return (
        _count(spot, there) > SAME_MM
        and abs(_count(spot, other) + _count(other, there) - _count(spot, there)) < SAME_MM
    )


def made_route(corners: Sequence[Spot]) -> Route:
    """A route through these corners; corners that are none are dropped.

    >>> made_route([(0, 0), (5, 0), (9, 0), (9, 3)])
    Route(path=((0, 0), (9, 0), (9, 3)), length_mm=12.0, bends=1)
    """
    path = made_corners(corners)
    length = sum(abs(p[0] - q[0]) + abs(p[1] - q[1]) for p, q in pairwise(path))
    return Route(path, float(length), max(len(path) - 2, 0))


def _crosses(box: KeepOut, p: Spot, q: Spot) -> bool:
    """Whether a level or upright run passes through the inside of a box."""
    low_x, high_x = min(p[0], q[0]), max(p[0], q[0])
    low_y, high_y = min(p[1], q[1]), max(p[1], q[1])
    return (
        low_x < box.x1 - SAME_MM
        and high_x > box.x0 + SAME_MM
        and low_y < box.y1 - SAME_MM
        and high_y > box.y0 + SAME_MM
    )


def fixing_dots(path: Sequence[Spot], every_mm: float = DOT_MM, free_mm: float = DOT_FREE_MM) -> tuple[Spot, ...]:
    """Where a wire is fixed: at every bend, and between two dots (or an end and a dot) never further apart than ``every_mm``; ends stay free.

    >>> fixing_dots(((0, 0), (30, 0), (30, 10)))
    ((15.0, 0.0), (30.0, 0.0))
    """
    out: list[Spot] = []
    ends = (path[0], path[-1])
    for number, (p, q) in enumerate(pairwise(path)):
        length = abs(p[0] - q[0]) + abs(p[1] - q[1])
        parts = max(int(np.ceil(length / every_mm - 1e-9)), 1)
        for k in range(1, parts + 1):
            t = k / parts
            spot = (float(p[0] + t * (q[0] - p[0])), float(p[1] + t * (q[1] - p[1])))
            last = number == len(path) - 2 and k == parts
            near = min(abs(spot[0] - e[0]) + abs(spot[1] - e[1]) for e in ends)
            if not last and near >= free_mm:
                out.append(spot)
    return tuple(out)
