"""Modelled bench time: what each act costs in seconds, and where the two tips are.

These are assumptions, not observations of people; whatever prints them says "modelled". The table is docs/reference/constants.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from coppermend.core.copper.model import ProbePoint


@dataclass(frozen=True, slots=True)
class CostTable:
    """Seconds per act; every number can be changed."""

    read_s: float = 1.0
    """A reading with both tips in place."""
    move_s: float = 2.0
    """Moving one tip (both: twice this)."""
    near_mm: float = 3.0
    near_s: float = 1.0
    """Moving a tip to a point at most ``near_mm`` away."""
    far_mm: float = 25.0
    far_s: float = 2.0
    """Added per tip that goes further than ``far_mm``."""
    turn_s: float = 20.0
    """Turning the board over; both tips are lifted."""
    mixed_s: float = 6.0
    """Added to a check with one tip on either side of the board."""
    clip_s: float = 8.0
    """Clipping a lead on a point; that tip then stays and costs nothing."""
    scope_first_s: float = 25.0
    scope_next_s: float = 12.0
    rail_s: float = 12.0
    wave_s: float = 60.0
    power_s: float = 45.0
    thermal_s: float = 90.0
    look_s: float = 60.0
    reseat_s: float = 60.0
    swap_s: float = 120.0
    patch_s: float = 240.0


@dataclass(frozen=True, slots=True)
class TipState:
    """Where the tips are: the points they touch (None = in the air), the side that lies up, and a point with a clipped lead ("" = none)."""

    a: ProbePoint | None = None
    b: ProbePoint | None = None
    up: str = "c"
    clip: str = ""


def move_seconds(costs: CostTable, start: ProbePoint | None, goal: ProbePoint) -> float:
    """Seconds to bring one tip from where it is to ``goal``; 0 when it is there.

    >>> a, b = ProbePoint("a", 0, 0, 0, 0, "c"), ProbePoint("b", 1, 0, 2.54, 0, "c")
    >>> move_seconds(CostTable(), a, b), move_seconds(CostTable(), None, b), move_seconds(CostTable(), a, a)
    (1.0, 2.0, 0.0)
    """
    if start is None:
        return costs.move_s
    if start.id == goal.id:
        return 0.0
    apart = hypot(start.x_mm - goal.x_mm, start.y_mm - goal.y_mm)
    if apart <= costs.near_mm and start.side == goal.side:
        return costs.near_s
    return costs.move_s + (costs.far_s if apart > costs.far_mm else 0.0)


def check_seconds(costs: CostTable, tips: TipState, point_a: ProbePoint, point_b: ProbePoint) -> tuple[float, TipState]:
    """Modelled seconds of one check from where the tips are, and where they are afterwards.

    The tips are alike: the cheaper way of sharing them out is taken. A clipped lead holds itself: it costs nothing, the side of the other point lies up
    and no hand reaches round the board. It comes off at the first check that does not use it.

    >>> a, b, c = (ProbePoint(n, k, 0, 10.0 * k, 0, "c") for k, n in enumerate("abc"))
    >>> seconds, tips = check_seconds(CostTable(), TipState(), a, b)
    >>> seconds, check_seconds(CostTable(), tips, b, c)[0]
    (5.0, 3.0)
    """
    if tips.clip and tips.clip in (point_a.id, point_b.id):
        return _clipped_seconds(costs, tips, point_a, point_b)
    seconds = costs.read_s
    mixed = point_a.side != point_b.side
    start_a, start_b, up = tips.a, tips.b, tips.up
    if mixed:
        seconds += costs.mixed_s
    elif point_a.side != up:
        seconds += costs.turn_s
        up = point_a.side
        start_a = start_b = None
    straight = move_seconds(costs, start_a, point_a) + move_seconds(costs, start_b, point_b)
    crossed = move_seconds(costs, start_a, point_b) + move_seconds(costs, start_b, point_a)
    if crossed < straight:
        return seconds + crossed, TipState(point_b, point_a, up)
    return seconds + straight, TipState(point_a, point_b, up)


def _clipped_seconds(
    costs: CostTable, tips: TipState, point_a: ProbePoint, point_b: ProbePoint
) -> tuple[float, TipState]:
    """``check_seconds`` with a lead clipped on one of the two points: only the other tip moves."""
    held, goal = (point_a, point_b) if point_a.id == tips.clip else (point_b, point_a)
    free = tips.b if tips.a is not None and tips.a.id == tips.clip else tips.a
    turned = goal.side != tips.up
    seconds = costs.read_s + (costs.turn_s if turned else 0.0) + move_seconds(costs, None if turned else free, goal)
    return seconds, TipState(held, goal, goal.side, held.id)


def clip_lead(costs: CostTable, tips: TipState, point: ProbePoint) -> tuple[float, TipState]:
    """Seconds to clip a lead on a point, and the tips afterwards: the one that was there or is nearer becomes the lead. The side of the point lies up.

    >>> a, b = ProbePoint("a", 0, 0, 0, 0, "c"), ProbePoint("b", 1, 0, 10.0, 0, "s")
    >>> seconds, tips = clip_lead(CostTable(), TipState(), a)
    >>> seconds, check_seconds(CostTable(), tips, a, b)[0]       # turned over once, then a tip on b and a reading
    (8.0, 23.0)
    """
    turned = point.side != tips.up
    a, b = (None, None) if turned else (tips.a, tips.b)
    first = move_seconds(costs, a, point) <= move_seconds(costs, b, point)
    seconds = costs.clip_s + (costs.turn_s if turned else 0.0)
    return seconds, TipState(point, b if first else a, point.side, point.id)
