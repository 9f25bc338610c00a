"""Where checks of a fresh cover go into the round that is left: each one behind the check from which it costs least.

All costs of one check are worked out in one go; they are those of ``check_seconds`` to the last bit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.copper.model import ProbePoint
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.model import Check

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LESS = 1e-9
"""A place has to be cheaper than the one before by more than this."""
NEAR_A_LIMIT_MM = 1e-9
"""So near to a limit of the cost table the distance is worked out again as ``move_seconds`` does it."""


@dataclass(frozen=True, slots=True)
class _Tip:
    """One tip at each of many checks: (checks,) its place in mm, and numbers that stand for the point and its side."""

    x_mm: Floats
    y_mm: Floats
    point: Ints
    side: Ints

    def seconds_to(self, goal: ProbePoint, point: int, side: int, costs: CostTable) -> tuple[Floats, NDArray[np.bool_]]:
        """(checks,) seconds to bring the tip from each check to ``goal``, and where that is too near to a limit to be sure of."""
        apart = np.hypot(self.x_mm - goal.x_mm, self.y_mm - goal.y_mm)
        far = np.where(apart > costs.far_mm, costs.move_s + costs.far_s, costs.move_s + 0.0)
        moved = np.where((apart <= costs.near_mm) & (self.side == side), costs.near_s, far)
        unsure = (np.abs(apart - costs.near_mm) < NEAR_A_LIMIT_MM) | (np.abs(apart - costs.far_mm) < NEAR_A_LIMIT_MM)
        return np.where(self.point == point, 0.0, moved), unsure


def merged(
    points: Mapping[str, ProbePoint],
    fresh: Sequence[Check],
    waiting: Sequence[Check],
    costs: CostTable,
    tips: TipState,
) -> tuple[Check, ...]:
    """The round left: ``waiting`` in its order, each check of ``fresh`` put behind the one from which it costs least; ahead of all where the tips
    are now is no dearer. Without anything waiting: the fresh ones by their seconds.

    >>> a, b, c = (ProbePoint(n, k, 0, 10.0 * k, 0, "c") for k, n in enumerate("abc"))
    >>> one, two = (Check(n, "continuity", *n, "N", "N", None, (), 5.0, "") for n in ("ab", "bc"))
    >>> [k.id for k in merged({p.id: p for p in (a, b, c)}, [two], [one], CostTable(), TipState())]
    ['ab', 'bc']
    """
    if not waiting:
        return tuple(sorted(fresh, key=lambda c: c.seconds))
    rows = [*waiting, *fresh]
    names: dict[str, int] = {}
    sides: dict[str, int] = {}

    def tip(ids: Sequence[str]) -> _Tip:
        mine = [points[i] for i in ids]
        return _Tip(
            np.array([p.x_mm for p in mine]),
            np.array([p.y_mm for p in mine]),
            np.array([names.setdefault(p.id, len(names)) for p in mine], dtype=np.int64),
            np.array([sides.setdefault(p.side, len(sides)) for p in mine], dtype=np.int64),
        )

    first, second = tip([c.point_a for c in rows]), tip([c.point_b for c in rows])

    def seconds(check: Check) -> Floats:
        """(rows,) what the check costs right behind each row."""
        a, b = points[check.point_a], points[check.point_b]
        to_a, to_b = (names[a.id], sides[a.side]), (names[b.id], sides[b.side])
        (aa, u1), (bb, u2) = first.seconds_to(a, *to_a, costs), second.seconds_to(b, *to_b, costs)
        (ab, u3), (ba, u4) = first.seconds_to(b, *to_b, costs), second.seconds_to(a, *to_a, costs)
        moves = np.minimum(aa + bb, ab + ba)
        if a.side != b.side:
            found = (costs.read_s + costs.mixed_s) + moves
        else:
            turned = (costs.read_s + costs.turn_s) + (costs.move_s + costs.move_s)
            found = np.where(first.side == sides[a.side], costs.read_s + moves, turned)
        for k in np.flatnonzero(u1 | u2 | u3 | u4).tolist():
            here = TipState(points[rows[k].point_a], points[rows[k].point_b], points[rows[k].point_a].side)
            found[k] = check_seconds(costs, here, a, b)[0]
        return np.asarray(found, dtype=np.float64)

    order = list(range(len(waiting)))
    ahead: list[Check] = []
    for k, check in enumerate(fresh, start=len(waiting)):
        best = check_seconds(costs, tips, points[check.point_a], points[check.point_b])[0]
        at = _cheapest(seconds(check)[order], best)
        if at:
            order.insert(at, k)
        else:
            ahead.append(check)
    return (*ahead, *(rows[k] for k in order))


def _cheapest(seconds: Floats, best: float) -> int:
    """One more than the index of the cheapest place, the earliest of those that are alike; 0 when none is cheaper than ``best``."""
    at = 0
    while True:
        cheaper = np.flatnonzero(seconds[at:] < best - LESS)
        if not len(cheaper):
            return at
        at += int(cheaper[0]) + 1
        best = float(seconds[at - 1])
