"""The reading that makes a break sure: which one across a stretch that is broken more likely than not moves its odds most per second.

What speaks against the break is a point that bites badly, a reading that was wrong, or another break behind the same land. Which of them it is decides
which reading helps: the posterior after each reading worth having is worked out exactly, and the best per second is taken.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import log

from coppermend.core.belief.engine import CopperBelief
from coppermend.core.belief.readings import rates
from coppermend.core.copper.model import ProbePoint
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.risk import Risk
from coppermend.core.planning.spans import LEAST_BENCH, MOST_REPEATS, crossing_opens, scarce_points

ATTENTION_S = 3.0
"""What one more answer costs the person besides the tips' way, where readings of different strength are compared (an assumption)."""
LEAST_NATS = 1.0
"""A confirming reading is not judged by less than this."""
WORKED_OUT = 4
"""Readings whose posterior is worked out; those that look best at a glance."""


@dataclass(frozen=True, slots=True)
class Across:
    """A reading across a stretch: its points, seconds from where the tips are, and the nats that an open answer adds to the odds of the break."""

    a: ProbePoint
    b: ProbePoint
    seconds: float
    nats: float


def best_across(
    posterior: CopperBelief,
    risk: Risk,
    number: int,
    sides: tuple[Sequence[ProbePoint], Sequence[ProbePoint]],
    costs: CostTable,
    tips: TipState,
    asked: dict[frozenset[str], int],
    any_pair: bool = False,
) -> Across | None:
    """The reading between the two ``sides`` of a super-edge that adds most to the odds of its break for its seconds; what it adds beyond
    ``advice_above`` counts for nothing. None when there is none.

    ``any_pair``: points will do that an open reading across it has used. ``asked``: how often each pair was read.
    """
    v = int(risk.frame.view_of[number])
    edge = risk.frame.views[v].super_edges[number - risk.frame.first[v]]
    opens = crossing_opens(posterior, risk, number)
    few = scarce_points(risk, number)
    used = [{r.point_a, r.point_b} for r in opens]
    left = max(1.0 - float(risk.chance[number]), 1e-9)
    wanted = max(log(left / (1.0 - posterior.basis.advice_above)), LEAST_NATS)
    rows: list[tuple[float, Across]] = []
    for a in sides[0]:
        for b in sides[1]:
            if a.id == b.id or asked.get(frozenset((a.id, b.id)), 0) >= MOST_REPEATS:
                continue
            if used and not any_pair and not any(({a.id, b.id} & pair) <= few for pair in used):
                continue
            seconds, _ = check_seconds(costs, tips, a, b)
            one = Across(a, b, seconds, -log(_open_by_mistake(posterior, (a.id, b.id), used)))
            rows.append((_value(one, wanted), one))
    if not rows:
        return None
    rows.sort(key=lambda r: (-r[0], r[1].a.id, r[1].b.id))
    exact = [_worked_out(posterior, risk, number, one) for one in _glance(rows, used, (edge.a, edge.b))]
    return max(exact, key=lambda one: (_value(one, wanted), -one.seconds))


def _value(one: Across, wanted: float) -> float:
    return min(one.nats, wanted) / (one.seconds + ATTENTION_S)


def _glance(
    rows: Sequence[tuple[float, Across]], used: Sequence[Collection[str]], ends: tuple[int, int]
) -> list[Across]:
    """Of the readings, best first at a glance: one for each way in which their points took part so far and stand at the very ends of the stretch, those
    at the ends first: they leave out what else may be broken behind the same land.
    """
    chosen: dict[tuple[int, ...], Across] = {}
    for _, one in rows:
        tight = (one.a.node in ends) + (one.b.node in ends)
        chosen.setdefault((tight, *sorted(sum(p.id in pair for pair in used) for p in (one.a, one.b))), one)
    by_end: dict[int, list[Across]] = {2: [], 1: [], 0: []}
    for key, one in chosen.items():
        by_end[key[0]].append(one)
    first = [group.pop(0) for group in by_end.values() if group]
    rest = [one for one in chosen.values() if one not in first]
    return [*first, *rest][:WORKED_OUT]


def _worked_out(posterior: CopperBelief, risk: Risk, number: int, one: Across) -> Across:
    """The reading with the nats that an open answer really adds."""
    v = int(risk.frame.view_of[number])
    edge = risk.frame.views[v].super_edges[number - risk.frame.first[v]]
    sites = [posterior.copper.site[s] for s in edge.sites]
    before = min(max(float(risk.chance[number]), 1e-12), 1.0 - 1e-12)
    after = posterior.chance_after(one.a.id, one.b.id, False, sites, LEAST_BENCH)
    after = min(max(after, 1e-12), 1.0 - 1e-12)
    nats = log(after / (1.0 - after)) - log(before / (1.0 - before))
    return Across(one.a, one.b, one.seconds, max(nats, 1e-3))


def _open_by_mistake(posterior: CopperBelief, pair: tuple[str, str], opens: Sequence[Collection[str]]) -> float:
    """P(open) of a reading across whole copper after the open readings that crossed it: each of them then was a bad point or bad luck, and a point that
    took part in many is likely bad. Points not used yet bite as the bench's points do.
    """
    basis = posterior.basis
    share = sum(bench.weight * bench.share for bench in posterior.benches)
    bite = 1.0 - rates(basis)[0]
    for point in pair:
        mine = sum(point in one for one in opens)
        bad = share if not mine else share + (1.0 - share) * mine / (len(opens) + 1.0)
        bite *= 1.0 - basis.contact_false_open * bad
    return min(max(1.0 - bite, 1e-6), 1.0 - 1e-6)


def beyond(posterior: CopperBelief, risk: Risk, number: int, node: int, skipped: Collection[str]) -> list[ProbePoint]:
    """Points on the side of ``node`` when nothing sound ties a point to it: whatever hangs there, broken stretches left out."""
    v = int(risk.frame.view_of[number])
    view, base = risk.frame.views[v], risk.frame.first[v]
    near: dict[int, list[int]] = {}
    for e in view.super_edges:
        k = base + e.index
        if k != number and not risk.broken[k] and not e.dead:
            near.setdefault(e.a, []).append(e.b)
            near.setdefault(e.b, []).append(e.a)
    seen, todo, found = {node}, [node], []
    while todo:
        at = todo.pop()
        found += [p for p in posterior.copper.points_at[at] if p.id not in skipped]
        for other in near.get(at, ()):
            if other not in seen:
                seen.add(other)
                todo.append(other)
    return found
