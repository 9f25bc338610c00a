"""The policies that are compared on practice patients. Each is a generator: it yields the two points to touch and is sent the answer.

``next``: ours. ``cover``: the round in nearest-neighbour order, opens repeated once and bisected. ``star``: from one work-area pin of each net
to every other pin. ``chain``: pin to next pin. ``pin``: one reading per work-area pin. Their definitions are those of docs/reference/practice.md.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import shapely

from coppermend.core.belief.engine import CopperBelief
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.copper.provable import NetView
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.next import work_left
from coppermend.core.planning.risk import Risk, frame_of
from coppermend.core.planning.round import plan_round

Steps = Generator[tuple[ProbePoint, ProbePoint], str, None]


@dataclass(slots=True)
class Bench:
    """What a policy may look at: the map, the areas, what it has read, the belief, and where the tips are. Never the patient."""

    graph: CopperGraph
    areas: tuple[WorkArea, ...]
    basis: Basis
    costs: CostTable
    evidence: list[Evidence] = field(default_factory=list)
    tips: TipState = field(default_factory=TipState)
    posterior: CopperBelief | None = None
    risk: Risk | None = None
    clip: str = ""
    """Point of the check asked for on which the policy wants a clipped lead, "" = none."""
    clip_now: bool = False
    """The lead is to be put there for this check; else it hangs there already."""


def next_policy(bench: Bench) -> Steps:
    """Ours: what ``next_step`` asks for, until it asks for no more."""
    while True:
        work = work_left(
            bench.graph,
            bench.areas,
            bench.evidence,
            bench.basis,
            bench.costs,
            bench.tips,
            posterior=bench.posterior,
            risk=bench.risk,
        )
        points = work.posterior.copper.points
        planned = None if work.follow_up or not work.checks else work.checks[0]
        bench.clip, bench.clip_now = (planned.clip, planned.clip_now) if planned is not None else ("", False)
        if work.follow_up:
            yield work.follow_up[0].a, work.follow_up[0].b
        elif planned is not None:
            yield points[planned.point_a], points[planned.point_b]
        else:
            return


def cover_policy(bench: Bench) -> Steps:
    """The ceil(L'/2) cover in nearest-neighbour order; an open reading is repeated once, then bisected."""
    plan = plan_round(bench.graph, bench.areas, (), bench.basis, bench.costs)
    by_id = {p.id: p for p in bench.graph.points}
    left = [(by_id[c.point_a], by_id[c.point_b]) for c in plan.checks]
    while left:
        a, b = min(left, key=lambda p: (check_seconds(bench.costs, bench.tips, *p)[0], p[0].id, p[1].id))
        left.remove((a, b))
        if (yield from _twice(a, b)) == "open":
            yield from _bisect(bench, a, b)


def star_policy(bench: Bench) -> Steps:
    """Each net at risk from one of its work-area pins to every other pin, nearest first; opens repeated once, then walked point by point.

    The hub is the work-area pin with the most neighbouring stretches. Its tip stays where it is, which costs nothing; where a clipped lead is cheaper
    (points on both sides), whoever counts the seconds counts it so.
    """
    for view, pins in _nets_at_risk(bench):
        inside = [p for p in pins if _in_areas(bench, p)]
        if not inside or len(pins) < 2:
            continue
        hub = max(inside, key=lambda p: (_degree(view, p.node), -_spread(p, pins), p.id))
        left = [p for p in pins if p is not hub]
        at = hub
        while left:
            at = min(left, key=lambda p, here=at: (_apart(here, p), p.id))  # type: ignore[misc]
            left.remove(at)
            if (yield from _twice(hub, at)) == "open":
                yield from _walk(bench, hub, at)


def chain_policy(bench: Bench) -> Steps:
    """Pin to next pin of each net at risk in position order; opens repeated once."""
    for _, pins in _nets_at_risk(bench):
        row = sorted(pins, key=lambda p: (p.x_mm, p.y_mm, p.id))
        for a, b in pairwise(row):
            yield from _twice(a, b)


def pin_policy(bench: Bench) -> Steps:
    """One reading per work-area pin to the nearest other pin of its net; opens repeated once."""
    for _, pins in _nets_at_risk(bench):
        for pin in pins:
            if _in_areas(bench, pin) and len(pins) > 1:
                other = min((p for p in pins if p is not pin), key=lambda p, here=pin: (_apart(here, p), p.id))  # type: ignore[misc]
                yield from _twice(pin, other)


POLICIES: dict[str, Callable[[Bench], Steps]] = {
    "next": next_policy,
    "cover": cover_policy,
    "chain": chain_policy,
    "pin": pin_policy,
    "star": star_policy,
}


def _twice(a: ProbePoint, b: ProbePoint) -> Generator[tuple[ProbePoint, ProbePoint], str, str]:
    """One reading, an open one repeated once; the last answer."""
    said = yield a, b
    if said == "open":
        said = yield a, b
    return said


def _bisect(bench: Bench, a: ProbePoint, b: ProbePoint) -> Steps:
    """Halve the way between two points that read open until no point lies between."""
    way = _points_between(bench, a, b)
    low, high = 0, len(way) - 1
    while high - low > 1:
        middle = (low + high) // 2
        if (yield from _twice(way[low], way[middle])) == "open":
            high = middle
        else:
            low = middle


def _walk(bench: Bench, hub: ProbePoint, end: ProbePoint) -> Steps:
    """From the hub outward, point by point, to the first that reads open."""
    for point in _points_between(bench, hub, end)[1:-1]:
        if (yield from _twice(hub, point)) == "open":
            return


def _points_between(bench: Bench, a: ProbePoint, b: ProbePoint) -> list[ProbePoint]:
    """Points on the shortest way from a to b, both included, those on the side of the tips preferred."""
    frame = frame_of(bench.graph)
    view = frame.views[frame.view_of_net[a.net]]
    near: dict[int, list[int]] = {}
    for e in view.super_edges:
        near.setdefault(e.a, []).append(e.b)
        near.setdefault(e.b, []).append(e.a)
    came: dict[int, int] = {a.node: a.node}
    todo = [a.node]
    for node in todo:
        for other in near.get(node, ()):
            if other not in came:
                came[other] = node
                todo.append(other)
    if b.node not in came:
        return [a, b]
    nodes = [b.node]
    while nodes[-1] != a.node:
        nodes.append(came[nodes[-1]])
    at: dict[int, list[ProbePoint]] = {}
    wanted = set(nodes)
    for p in bench.graph.points:
        if p.reachable and p.node in wanted:
            at.setdefault(p.node, []).append(p)
    middle = [min(at[n], key=lambda p: (p.side != "c", p.id)) for n in reversed(nodes[1:-1]) if n in at]
    return [a, *middle, b]


def _nets_at_risk(bench: Bench) -> list[tuple[NetView, list[ProbePoint]]]:
    """Nets with a site at risk, in the order of their first work-area pin, each with one point per pin: what plain pin names mean."""
    assert bench.posterior is not None
    frame = frame_of(bench.graph)
    prior = bench.posterior.prior
    risky = {
        frame.view_of_net[s.net]
        for k, s in enumerate(bench.graph.sites)
        if prior[k] >= bench.basis.proven_below and s.id in frame.super_of
    }
    found = []
    for v in risky:
        view = frame.views[v]
        nets = set(view.nets)
        best: dict[str, ProbePoint] = {}
        rank = {"leg": 0, "contact": 1, "joint": 2, "hole": 3, "land": 4}
        for p in bench.graph.points:
            if p.net in nets and p.part and p.reachable:
                name = f"{p.part}.{p.pin}"
                if name not in best or _rank(p, rank) < _rank(best[name], rank):
                    best[name] = p
        pins = sorted(best.values(), key=lambda p: p.id)
        if pins:
            found.append((view, pins))

    def place(item: tuple[NetView, list[ProbePoint]]) -> tuple[float, float]:
        inside = [p for p in item[1] if _in_areas(bench, p)] or item[1]
        return (inside[0].x_mm, inside[0].y_mm)

    return sorted(found, key=place)


def _rank(p: ProbePoint, rank: dict[str, int]) -> tuple[bool, int]:
    return (p.side != "c", rank.get(p.kind, 9))


def _in_areas(bench: Bench, p: ProbePoint) -> bool:
    spot = shapely.Point(p.x_mm, p.y_mm)
    return any(shapely.Polygon(a.polygon).intersects(spot) for a in bench.areas)


def _degree(view: NetView, node: int) -> int:
    return sum((e.a == node) + (e.b == node) for e in view.super_edges)


def _apart(a: ProbePoint, b: ProbePoint) -> float:
    return float(((a.x_mm - b.x_mm) ** 2 + (a.y_mm - b.y_mm) ** 2) ** 0.5)


def _spread(p: ProbePoint, pins: Sequence[ProbePoint]) -> float:
    return sum(_apart(p, q) for q in pins)
