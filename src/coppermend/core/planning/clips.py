"""Where a lead is clipped on a point and left: where that costs fewer seconds than holding the tip by hand.

A tip that stays where it is costs nothing by hand either. A clipped lead costs its clipping and gains where hands must let go: when the board is turned
over between checks that share the point, and at checks with one point on either side. For a given order of the checks the cheapest choice is found exactly
(dynamic programming over where the lead hangs).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from coppermend.core.copper.model import ProbePoint
from coppermend.core.planning.costs import CostTable, TipState, check_seconds, clip_lead
from coppermend.core.planning.model import Check

Pair = tuple[ProbePoint, ProbePoint]

MOST_STOPS = 1500
"""A longer list is left as it is."""
MOST_HUBS = 12
"""Points shared by several checks whose checks are tried in one row."""


@dataclass(frozen=True, slots=True)
class Stop:
    """One check in order: its modelled ``seconds``, the tips after it, whether the board is turned for it, the point of a clipped lead and whether it
    is clipped now.
    """

    seconds: float
    tips: TipState
    turned: bool = False
    clip: str = ""
    clip_now: bool = False


def with_clips(pairs: Sequence[Pair], costs: CostTable, tips: TipState) -> tuple[Stop, ...]:
    """The stops of checks taken in this order from ``tips``, with a lead clipped wherever that costs fewest seconds in all.

    >>> from coppermend.core.copper.model import ProbePoint
    >>> hub = ProbePoint("hub", 0, 0, 0.0, 0.0, "c")
    >>> below = [ProbePoint(f"s{k}", k + 1, 0, 2.54 * k, 0.0, "s") for k in range(8)]
    >>> [s.clip for s in with_clips([(hub, p) for p in below], CostTable(), TipState())][:2]    # one turn instead of six seconds a check
    ['hub', 'hub']
    """
    before: dict[_State, tuple[float, TipState, tuple[Stop, ...]]] = {_state(tips): (0.0, tips, ())}
    last = len(pairs) - 1
    for i, (a, b) in enumerate(pairs):
        shared = {p.id for p in pairs[i + 1]} if i < last else set()
        may = [p for p in (a, b) if p.id in shared or a.side != b.side]
        now: dict[_State, tuple[float, TipState, tuple[Stop, ...]]] = {}
        for total, at, stops in before.values():
            for held in (None, *(p for p in may if p.id != at.clip)):
                stop = _stop(costs, at, a, b, held)
                state = _state(stop.tips)
                if state not in now or total + stop.seconds < now[state][0] - 1e-9:
                    now[state] = (total + stop.seconds, stop.tips, (*stops, stop))
        before = now
    return min(before.values(), key=lambda one: one[0])[2]


_State = tuple[str, str]


def _state(tips: TipState) -> _State:
    """What later seconds depend on: the side that lies up and the clipped point (both tips are where the last check had them)."""
    return tips.up, tips.clip


def _stop(costs: CostTable, at: TipState, a: ProbePoint, b: ProbePoint, held: ProbePoint | None) -> Stop:
    spent, start = clip_lead(costs, at, held) if held is not None else (0.0, at)
    seconds, after = check_seconds(costs, start, a, b)
    return Stop(spent + seconds, after, after.up != at.up, after.clip, held is not None)


def worth_a_clip(pairs: Sequence[Pair], costs: CostTable) -> bool:
    """Whether a clip could pay at all: two checks share a point and one of them needs the other side or has a point on either."""
    uses: dict[str, list[Pair]] = {}
    for pair in pairs:
        for p in pair:
            uses.setdefault(p.id, []).append(pair)
    return any(
        len(mine) > 1 and len({p.side for pair in mine for p in pair}) > 1 for mine in uses.values()
    ) or costs.clip_s < max(costs.move_s, costs.near_s)


def order_with_clips(pairs: Sequence[Pair], costs: CostTable, tips: TipState) -> tuple[list[int], tuple[Stop, ...]]:
    """The order (indices of ``pairs``) and its stops: as given, or with the checks of a shared point in one row where a clipped lead makes that cheaper."""
    order = list(range(len(pairs)))
    if not pairs:
        return order, ()
    if len(pairs) > MOST_STOPS or not worth_a_clip(pairs, costs):
        return order, _by_hand(pairs, costs, tips)
    stops = with_clips(pairs, costs, tips)
    uses: dict[str, set[int]] = {}
    for i, pair in enumerate(pairs):
        for p in pair:
            uses.setdefault(p.id, set()).add(i)
    hubs = sorted((name for name, mine in uses.items() if len(mine) > 2), key=lambda n: (-len(uses[n]), n))
    for hub in hubs[:MOST_HUBS]:
        at = next(k for k, i in enumerate(order) if i in uses[hub])
        row = [i for i in order if i in uses[hub]]
        rest = [i for i in order if i not in uses[hub]]
        tried = [*rest[:at], *row, *rest[at:]]
        found = with_clips([pairs[i] for i in tried], costs, tips)
        if sum(s.seconds for s in found) < sum(s.seconds for s in stops) - 1e-9:
            order, stops = tried, found
    return order, stops


def clipped(check: Check, stop: Stop) -> Check:
    """The check with the seconds, the turning over and the clip of its stop."""
    return replace(check, seconds=stop.seconds, turn_over=stop.turned, clip=stop.clip, clip_now=stop.clip_now)


def _by_hand(pairs: Sequence[Pair], costs: CostTable, tips: TipState) -> tuple[Stop, ...]:
    stops = []
    for a, b in pairs:
        stops.append(_stop(costs, tips, a, b, None))
        tips = stops[-1].tips
    return tuple(stops)


def lead_on(checks: Sequence[Check], tips: TipState) -> TipState:
    """The tips as they are when the checks left say that a lead hangs already on a point that was read last."""
    here = {p.id for p in (tips.a, tips.b) if p is not None}
    if checks and checks[0].clip in here and not checks[0].clip_now:
        return replace(tips, clip=checks[0].clip)
    return tips
