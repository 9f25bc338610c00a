"""The next step: what to do now, why, what it costs and what it tells.

A closed reading between two nets is read again at once by other points, then said as a likely short. An open reading is followed up at
once, because the tips are there: the reading that tells most per second, until the break is one span confirmed by two independent
readings, or was a tip that did not bite. Otherwise the next check of the round; then the isolation
checks; then the bridges to solder; then the power-up behind its gate.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.engine import CopperBelief, belief
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.belief.readings import rates
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.planning.clips import lead_on
from coppermend.core.planning.costs import CostTable, TipState, check_seconds, clip_lead
from coppermend.core.planning.describe import clip_words, continuity_check, point_words, tips_words
from coppermend.core.planning.isolation import NeighbourPair, isolation_checks
from coppermend.core.planning.localise import (
    Candidate,
    best_readings,
    crossed_twice,
    information,
    played_cover,
    suspects,
)
from coppermend.core.planning.merge import merged
from coppermend.core.planning.model import Check, NextStep, RoundPlan, Span
from coppermend.core.planning.risk import Frame, Risk, frame_of, risk_of, trees_of, views_in_doubt
from coppermend.core.planning.round import DEFAULT_COSTS, cheapest_cover, plan_round, stretches
from coppermend.core.planning.spans import all_through, span_of, spans
from coppermend.core.planning.touching import MOST_SHORT, again_at, locate_words, names_of, settled, touching
from coppermend.core.planning.trees import RiskTree
from coppermend.core.units import chance_words


@dataclass(frozen=True, slots=True)
class Work:
    """What is left to do, as the planner sees it after the readings so far.

    ``checks``: continuity checks of the round that remain, in order. ``stuck``: stretches that no reading tells apart any more (cut off until a
    repair). ``follow_up``: candidates on a net with an unexplained open reading, best first; ``view`` its view. ``waiting``: stretches that are nearly
    sure to be broken and are looked at again at the end of the round, if they are not sure by then.
    """

    posterior: CopperBelief
    risk: Risk
    checks: tuple[Check, ...]
    follow_up: tuple[Candidate, ...]
    view: int
    stuck: tuple[int, ...]
    tips: TipState
    waiting: tuple[int, ...] = ()


def tips_at(graph: CopperGraph, point_a: str, point_b: str, up: str = "c") -> TipState:
    """The tips on two points of the graph ("" or an unknown point: in the air); the side up is that of the points where they agree."""
    by_id = {p.id: p for p in graph.points}
    a, b = by_id.get(point_a), by_id.get(point_b)
    if a is not None and b is not None and a.side == b.side:
        up = a.side
    return TipState(a, b, up)


def next_step(
    graph: CopperGraph,
    areas: Sequence[WorkArea],
    evidence: Sequence[Evidence],
    basis: Basis,
    costs: CostTable = DEFAULT_COSTS,
    tips: TipState | None = None,
    plan: RoundPlan | None = None,
    gate: Sequence[str] | None = None,
    *,
    neighbours: Sequence[NeighbourPair] = (),
    skipped: Collection[str] = (),
    seed: int = 0,
    posterior: CopperBelief | None = None,
) -> NextStep:
    """The step that is worth most now: kind check, retest, isolation, short, patch, look, gate, power or done, with its reason.

    ``evidence`` in the order it was taken. ``plan``: the round being followed (only its order is used; without one the round of the untouched
    board is). ``gate``: what the power-up still needs, in words; None = no power-up is offered. ``tips``: where the tips are; without it
    where the last reading left them. Seconds are modelled. Raises Refusal only for impossible error rates.

    >>> from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
    >>> graph = example_graph([(0, 1), (1, 2)], [0, 2])
    >>> step = next_step(graph, (EXAMPLE_AREA,), (), Basis())
    >>> step.kind, step.check.point_a, step.check.point_b
    ('check', 'p0', 'p2')
    >>> next_step(graph, (EXAMPLE_AREA,), (Evidence("1", "p0", "p2", "closed"),), Basis()).kind
    'done'
    """
    work = work_left(graph, areas, evidence, basis, costs, tips, plan, skipped=skipped, seed=seed, posterior=posterior)
    left = _Left(len(work.checks), sum(c.seconds for c in work.checks))
    shorted = _short(work, costs, left, skipped)
    if shorted is not None:
        return shorted
    if work.follow_up:
        return _follow_up(work, work.follow_up[0], left)
    if work.checks:
        return _round_check(work, work.checks[0], left)
    isolation = isolation_left(work.posterior, areas, costs, neighbours, skipped=skipped, seed=seed)
    if isolation:
        check = _from_here(isolation[0], work, costs)
        return NextStep(
            "isolation",
            _touch_words(graph, check),
            check.reason,
            check.seconds,
            float(information(1.0 - basis.short_prior, 1.0 - basis.false_closed, basis.false_open)),
            check=check,
            left=len(isolation) - 1,
            left_seconds=sum(c.seconds for c in isolation[1:]),
        )
    return _after_the_round(work, graph, basis, costs, gate)


@dataclass(frozen=True, slots=True)
class _Left:
    checks: int
    seconds: float


def work_left(
    graph: CopperGraph,
    areas: Sequence[WorkArea],
    evidence: Sequence[Evidence],
    basis: Basis,
    costs: CostTable = DEFAULT_COSTS,
    tips: TipState | None = None,
    plan: RoundPlan | None = None,
    *,
    skipped: Collection[str] = (),
    seed: int = 0,
    posterior: CopperBelief | None = None,
    risk: Risk | None = None,
    confirm: bool = True,
) -> Work:
    """What is left of the round and which open reading wants following up; the part of ``next_step`` that practice shares.

    ``posterior`` and its ``risk``: when the caller has them already.
    ``confirm`` False: no second, independent reading is asked for across a broken stretch (a bench that never errs).
    """
    now = posterior if posterior is not None else belief(graph, areas, evidence, basis)
    at = tips if tips is not None else _last_tips(graph, evidence)
    risk = risk if risk is not None else risk_of(now)
    stuck: list[int] = []
    waiting: dict[int, int] = {}

    def read_on(views: Collection[int]) -> tuple[list[Candidate], int]:
        for v in views:
            raised = suspects(now, risk, v, confirm)
            if not raised:
                continue
            found = best_readings(now, risk, v, costs, at, skipped=skipped, seed=seed + len(evidence), confirm=confirm)
            if found:
                return found, v
            stuck.extend(raised)
        return [], -1

    views = _read_views(now, risk, evidence)
    if confirm:
        waiting = {v: k for v in views if (k := _can_wait(now, risk, v)) >= 0}
    follow, followed = read_on([v for v in views if v not in waiting])
    gone = [*stuck, *waiting.values()]
    checks = _remaining(now, risk, areas, basis, costs, at, plan, frozenset(skipped), seed, gone)
    if waiting and not follow and not checks:
        follow, followed = read_on(list(waiting))
        waiting = {}
    if checks and not follow:
        follow, followed = _likely_open(now, risk, checks, costs, at, skipped, seed + len(evidence), confirm)
        if not follow:
            checks = _played_first(now, risk, checks, costs, at, frozenset(skipped), gone)
    return Work(now, risk, checks, tuple(follow), followed, tuple(stuck), at, tuple(waiting.values()))


OPEN_LIKELY = 0.5
"""A check of the round that reads open with more than this chance proves nothing as a rule: a shorter stretch of its net is read first."""


def _likely_open(
    now: CopperBelief,
    risk: Risk,
    checks: Sequence[Check],
    costs: CostTable,
    tips: TipState,
    skipped: Collection[str],
    seed: int,
    confirm: bool,
) -> tuple[list[Candidate], int]:
    """What tells most per second on the net of a check that is likely to read open; nothing when it is not.

    On a row of equal sites with chance p the best first stretch has about ln 2 / p of them (shared/algorithms.md, section A), P(open) = 1/2.
    """
    check = checks[0]
    p = now.sites[[now.copper.site[s] for s in check.sites]]
    if not len(p) or float(np.prod(1.0 - p)) >= OPEN_LIKELY:
        return [], -1
    v = risk.frame.view_of_net[now.copper.points[check.point_a].net]
    base = risk.frame.first[v]
    among = [base + e.index for e in risk.frame.views[v].super_edges if risk.doubt[base + e.index]]
    found = best_readings(now, risk, v, costs, tips, skipped=skipped, seed=seed, confirm=confirm, among=among)
    return found, v if found else -1


def _played_first(
    now: CopperBelief,
    risk: Risk,
    checks: tuple[Check, ...],
    costs: CostTable,
    tips: TipState,
    skipped: frozenset[str],
    stuck: Sequence[int],
) -> tuple[Check, ...]:
    """The checks with the first one's net played out where it is small and all that is left of the round: the reading with the least expected seconds
    comes first. While the tips have to go elsewhere afterwards, the order of the tour stands, and with it the fewest checks.
    """
    views = {risk.frame.view_of_net[now.copper.points[c.point_a].net] for c in checks}
    v = min(views)
    if len(views) > 1 or v in risk.frame.roots:
        return checks
    trees = _trees(risk, v, skipped, stuck)
    if not trees:
        return checks
    pair = played_cover(now, risk, v, trees, costs, tips, skipped)
    if pair is None or {pair[0].id, pair[1].id} == {checks[0].point_a, checks[0].point_b}:
        return checks
    first = continuity_check(
        now.copper, *pair, check_seconds(costs, tips, *pair)[0], checks[0].reason, _turns(tips, *pair)
    )
    covered = set(first.sites)
    base, view = risk.frame.first[v], risk.frame.views[v]
    doubt = {name for tree in trees for _, _, name in tree.edges}
    left = {name for name in doubt if not covered.issuperset(view.super_edges[name - base].sites)}
    after = replace(risk, doubt=np.isin(np.arange(len(risk.doubt)), sorted(left)))
    there = TipState(pair[0], pair[1], pair[0].side if pair[0].side == pair[1].side else tips.up)
    others = _cover_now(now, after, v, costs, there, skipped, stuck) if left else []
    return (first, *others)


WAITS_ABOVE = 0.9
"""A break this probable, crossed by two independent open readings, waits for the end of the round ..."""
OTHERS_BELOW = 0.02
"""... when nothing else on its net is more suspect than this."""


def _can_wait(now: CopperBelief, risk: Risk, v: int) -> int:
    """The one stretch of a net that is nearly sure and crossed twice, or -1. All that speaks against it is that its points may bite badly; how
    the points of this bench bite, the rest of the round tells without another reading here.
    """
    raised = suspects(now, risk, v)
    if not raised:
        return -1
    first = max(raised, key=lambda k: float(risk.chance[k]))
    others = [float(risk.chance[k]) for k in raised if k != first]
    sure = risk.chance[first] > WAITS_ABOVE and crossed_twice(now, risk, first)
    return first if sure and max(others, default=0.0) < OTHERS_BELOW else -1


def _last_tips(graph: CopperGraph, evidence: Sequence[Evidence]) -> TipState:
    return tips_at(graph, evidence[-1].point_a, evidence[-1].point_b) if evidence else TipState()


def _read_views(now: CopperBelief, risk: Risk, evidence: Sequence[Evidence]) -> list[int]:
    """Views with open readings, the one read last first."""
    order: dict[int, None] = {}
    for e in reversed(evidence):
        if e.says == "closed":
            continue
        point = now.copper.points.get(e.point_a)
        v = risk.frame.view_of_net.get(point.net) if point is not None else None
        if v is not None:
            order[v] = None
    return list(order)


_ORDERS: OrderedDict[tuple[object, ...], tuple[CopperGraph, RoundPlan]] = OrderedDict()


def base_plan(
    graph: CopperGraph,
    areas: Sequence[WorkArea],
    basis: Basis,
    costs: CostTable,
    skipped: Collection[str] = (),
    seed: int = 0,
) -> RoundPlan:
    """The round of the board before any reading (continuity part), remembered: its order is what is followed."""
    key = (id(graph), tuple(areas), repr(basis), costs, frozenset(skipped), seed)
    hit = _ORDERS.get(key)
    if hit is None or hit[0] is not graph:
        hit = (graph, plan_round(graph, areas, (), basis, costs, skipped=skipped, seed=seed))
        _ORDERS[key] = hit
        while len(_ORDERS) > 8:
            _ORDERS.popitem(last=False)
    return hit[1]


def _remaining(
    now: CopperBelief,
    risk: Risk,
    areas: Sequence[WorkArea],
    basis: Basis,
    costs: CostTable,
    tips: TipState,
    plan: RoundPlan | None,
    skipped: frozenset[str],
    seed: int,
    stuck: Sequence[int],
) -> tuple[Check, ...]:
    """Checks left: on nets without readings those of the plan, in its order; on nets with readings a fresh cover, taken where it costs least."""
    copper = now.copper
    base = plan if plan is not None else base_plan(copper.graph, areas, basis, costs, skipped, seed)
    read = {copper.points[i].net for e in now.evidence for i in (e.point_a, e.point_b) if i in copper.points}
    read_views = {risk.frame.view_of_net[n] for n in read if n in risk.frame.view_of_net}
    planned: dict[int, list[Check]] = {}
    asked = {frozenset((e.point_a, e.point_b)) for e in now.evidence}
    for check in base.checks:
        point = copper.points.get(check.point_a)
        home = risk.frame.view_of_net.get(point.net) if point is not None else None
        if home is not None and frozenset((check.point_a, check.point_b)) not in asked:
            planned.setdefault(home, []).append(check)
    fresh: list[Check] = []
    kept: set[str] = set()
    hopeless = _hopeless(now, risk, skipped)
    for v in views_in_doubt(risk):
        mine = planned.get(v, [])
        if mine and (v not in read_views or _still_fits(risk, v, mine, skipped, stuck, base.excess > 0)):
            kept.update(c.id for c in mine)
        elif v in read_views or v not in hopeless:
            own = _cover_now(now, risk, v, costs, tips, skipped, stuck)
            if v not in read_views and not own:
                hopeless.add(v)
            fresh += own
    return merged(copper.points, fresh, [c for c in base.checks if c.id in kept], costs, tips)


_HOPELESS: OrderedDict[tuple[int, int, str, frozenset[str]], tuple[Frame, NDArray[np.float64], set[int]]] = (
    OrderedDict()
)


def _hopeless(now: CopperBelief, risk: Risk, skipped: frozenset[str]) -> set[int]:
    """Views on which no check could prove anything before a reading, as far as that was found out; a large board has hundreds.

    Without a reading a view stays as its priors left it, so what is found out holds for every question with the same priors.
    """
    key = (id(risk.frame), id(now.prior), repr(now.basis), skipped)
    hit = _HOPELESS.get(key)
    if hit is None or hit[0] is not risk.frame or hit[1] is not now.prior:
        hit = (risk.frame, now.prior, set())
        _HOPELESS[key] = hit
        while len(_HOPELESS) > 8:
            _HOPELESS.popitem(last=False)
    return hit[2]


def _still_fits(
    risk: Risk, v: int, planned: Sequence[Check], skipped: frozenset[str], stuck: Sequence[int], longer: bool = False
) -> bool:
    """Whether the planned checks of a net cover what is still in doubt on it, and no shorter list would. ``longer``: the plan has checks beyond the
    fewest because they save seconds, and keeps them.
    """
    trees = _trees(risk, v, skipped, stuck)
    if len(planned) < (least := sum(tree.bound for tree in trees)) or (len(planned) > least and not longer):
        return False
    view, base = risk.frame.views[v], risk.frame.first[v]
    if any(risk.broken[base + e.index] for e in view.super_edges):
        return False
    covered = {s for c in planned for s in c.sites}
    return all(covered.issuperset(view.super_edges[name - base].sites) for tree in trees for _, _, name in tree.edges)


def _cover_now(
    now: CopperBelief,
    risk: Risk,
    v: int,
    costs: CostTable,
    tips: TipState,
    skipped: frozenset[str],
    stuck: Sequence[int],
) -> list[Check]:
    """A cover of what is left in doubt on one net, points chosen near the tips."""
    checks: list[Check] = []
    trees = _trees(risk, v, skipped, stuck)
    if not trees:
        return checks
    asked = {frozenset((e.point_a, e.point_b)) for e in now.evidence}
    for tree in trees:
        for options in cheapest_cover(now.copper, tree, costs, skipped, tips, mixed=True):
            a, b = min(
                options,
                key=lambda o: (
                    check_seconds(costs, tips, o[0], o[1])[0]
                    + (4.0 if frozenset((o[0].id, o[1].id)) in asked else 0.0),
                    o[0].id,
                    o[1].id,
                ),
            )
            seconds, _ = check_seconds(costs, tips, a, b)
            net = now.copper.graph.net_names[risk.frame.views[v].nets[0]]
            reason = f"net {net}: {stretches(len(tree.edges))} still in doubt"
            checks.append(continuity_check(now.copper, a, b, seconds, reason, _turns(tips, a, b)))
    return checks


def _trees(risk: Risk, v: int, skipped: frozenset[str], stuck: Sequence[int]) -> tuple[RiskTree, ...]:
    base = risk.frame.first[v]
    own = frozenset(k for k in stuck if base <= k < base + len(risk.frame.views[v].super_edges))
    return trees_of(risk, v, skipped, own)[0]


def _turns(tips: TipState, a: ProbePoint, b: ProbePoint) -> bool:
    return a.side == b.side and a.side != tips.up


def _from_here(check: Check, work: Work, costs: CostTable) -> Check:
    """The check with the seconds, the turning over and the clipping of a lead that it costs from where the tips are."""
    points = work.posterior.copper.points
    a, b = points[check.point_a], points[check.point_b]
    at = lead_on((check,), work.tips)
    spent, start = 0.0, at
    if check.clip and not at.clip:
        spent, start = clip_lead(costs, at, points[check.clip])
    seconds, after = check_seconds(costs, start, a, b)
    return replace(
        check, seconds=spent + seconds, turn_over=after.up != at.up, clip_now=bool(check.clip) and not at.clip
    )


def _touch_words(graph: CopperGraph, check: Check) -> str:
    by_id = {p.id: p for p in graph.points if p.id in (check.point_a, check.point_b)}
    a, b = by_id[check.point_a], by_id[check.point_b]
    turn = "Turn the board over. " if check.turn_over else ""
    if check.clip:
        held, other = (a, b) if a.id == check.clip else (b, a)
        lead = clip_words(check) if check.clip_now else f"The lead stays on {point_words(held)}"
        return f"{lead}. {turn}A tip on {point_words(other)}."
    return tips_words(a, b, check.turn_over)


def _round_check(work: Work, planned: Check, left: _Left, costs: CostTable = DEFAULT_COSTS) -> NextStep:
    """The next check of the round."""
    check = _from_here(planned, work, costs)
    graph, basis = work.posterior.copper.graph, work.posterior.basis
    index = [work.posterior.copper.site[s] for s in check.sites]
    p = work.posterior.sites[index]
    in_doubt = int((work.posterior.unproven[index] >= basis.proven_below).sum())
    low_open, low_closed = rates(basis)
    joined = float(np.prod(1.0 - p))
    bits = float(information(joined, 1.0 - low_open, low_closed))
    sites = "site" if in_doubt == 1 else "sites"
    reason = f"closed clears {in_doubt} {sites} in doubt ({chance_words(1 - joined, 0)} chance of open); {check.seconds:.0f} s"
    return NextStep(
        "check",
        _touch_words(graph, check),
        reason,
        check.seconds,
        bits,
        check=check,
        left=left.checks - 1,
        left_seconds=max(0.0, left.seconds - planned.seconds),
        notes=_waiting_notes(work, graph),
    )


def _waiting_notes(work: Work, graph: CopperGraph) -> tuple[str, ...]:
    """What is put off to the end of the round, in words."""
    found = [span_of(graph, work.risk, k) for k in work.waiting]
    return tuple(
        f"net {one.net}, {one.words}: {chance_words(one.p)} broken; the rest of the round tells how tips bite on this bench, then it is sure or read once more"
        for one in found
    )


def _follow_up(work: Work, best: Candidate, left: _Left) -> NextStep:
    """A reading that narrows an open one down, repeats it, or confirms a break."""
    posterior = work.posterior
    graph = posterior.copper.graph
    asked = {frozenset((e.point_a, e.point_b)) for e in posterior.evidence}
    again = frozenset((best.a.id, best.b.id)) in asked
    raised = suspects(posterior, work.risk, work.view)
    places = [span_of(graph, work.risk, k) for k in raised]
    count = sum(len(s.sites) for s in places)
    if best.confirms >= 0:
        span = span_of(graph, work.risk, best.confirms)
        reason = f"a second, independent reading across {span.words} before a wire is soldered"
    elif again:
        reason = f"the tip may not have bitten: the same reading again tells {best.bits:.2f} bit"
    else:
        sites = "site" if count == 1 else "sites"
        reason = (
            f"an open reading left {count} {sites} under suspicion; this one splits them "
            f"({chance_words(best.p_closed, 0)} closed, {best.bits:.2f} bit)"
        )
    reason += f"; {best.seconds:.0f} s"
    check = continuity_check(posterior.copper, best.a, best.b, best.seconds, reason, _turns(work.tips, best.a, best.b))
    likely = max(places, key=lambda s: s.p) if places else None
    return NextStep(
        "retest" if again else "check",
        _touch_words(graph, check),
        reason,
        best.seconds,
        best.bits,
        check=check,
        span=likely,
        left=left.checks,
        left_seconds=left.seconds,
    )


_ISOLATION: OrderedDict[tuple[object, ...], tuple[CopperGraph, tuple[Check, ...]]] = OrderedDict()


def isolation_left(
    posterior: CopperBelief,
    areas: Sequence[WorkArea],
    costs: CostTable,
    neighbours: Sequence[NeighbourPair],
    *,
    skipped: Collection[str] = (),
    seed: int = 0,
) -> tuple[Check, ...]:
    """The isolation checks left, in the order first planned."""
    if not neighbours:
        return ()
    graph, basis = posterior.copper.graph, posterior.basis
    key = (id(graph), tuple(areas), costs, frozenset(skipped), seed, len(neighbours))
    hit = _ISOLATION.get(key)
    if hit is None or hit[0] is not graph:
        nothing_read = belief(graph, areas, (), basis)
        planned, _ = isolation_checks(nothing_read, neighbours, costs, TipState(), skipped=skipped, seed=seed)
        hit = (graph, planned)
        _ISOLATION[key] = hit
        while len(_ISOLATION) > 8:
            _ISOLATION.popitem(last=False)
    copper = posterior.copper
    piece = copper.tree.piece

    def pieces(a: str, b: str) -> frozenset[int]:
        return frozenset((piece[copper.points[a].node], piece[copper.points[b].node]))

    done = {pieces(s.point_a, s.point_b) for s in posterior.shorts if settled(s, basis)}
    return tuple(c for c in hit[1] if pieces(c.point_a, c.point_b) not in done)


def _short(work: Work, costs: CostTable, left: _Left, skipped: Collection[str] = ()) -> NextStep | None:
    """A closed isolation reading: read again by other points until it is sure, then say that the two nets touch."""
    now = work.posterior
    graph, basis = now.copper.graph, now.basis
    for one, _ in touching(now):
        names = " and ".join(names_of(now, one))
        if one.p > basis.broken_above:
            a, b = now.copper.points[one.point_a], now.copper.points[one.point_b]
            words = (
                f"{names} are joined ({chance_words(one.p)}): a likely short. Locate it: {locate_words(*names_of(now, one))}. Look for solder, a whisker or a burr "
                f"between {point_words(a)} and {point_words(b)}, clear it and read again."
            )
            said = "1 reading says so" if one.readings == 1 else f"{one.readings} readings say so"
            return NextStep("short", words, said, costs.look_s, 0.0, left=left.checks, left_seconds=left.seconds)
        if one.p > 2 * basis.short_prior and one.readings < MOST_SHORT:
            a, b = again_at(now, one, costs, work.tips, skipped)
            seconds, _ = check_seconds(costs, work.tips, a, b)
            bits = float(information(1.0 - one.p, 1.0 - basis.false_closed, basis.false_open))
            reason = f"{names} read joined where they should be apart: {chance_words(one.p, 0)} that it is true"
            check = Check(
                f"isolation:{a.id}:{b.id}",
                "isolation",
                a.id,
                b.id,
                graph.net_names[a.net],
                graph.net_names[b.net],
                None,
                (),
                seconds,
                reason,
                turn_over=_turns(work.tips, a, b),
            )
            return NextStep(
                "retest",
                _touch_words(graph, check),
                reason,
                seconds,
                bits,
                check=check,
                left=left.checks,
                left_seconds=left.seconds,
            )
    return None


def _after_the_round(
    work: Work, graph: CopperGraph, basis: Basis, costs: CostTable, gate: Sequence[str] | None
) -> NextStep:
    """Nothing is left to read: bridge the breaks, then power up; what cannot be proven goes along as notes."""
    notes = leftovers(work, graph)
    found = spans(graph, work.posterior, basis, risk=work.risk)
    if found:
        span = found[0]
        words = f"Bridge the break {span.words} (net {span.net})."
        by, doubt = _witnesses(work, span)
        reason = f"{chance_words(span.p)} sure by {by}; {len(found)} to bridge in all"
        return NextStep(
            "patch",
            words,
            reason,
            costs.patch_s,
            0.0,
            span=span,
            left=len(found) - 1,
            left_seconds=costs.patch_s * (len(found) - 1),
            notes=(*doubt, *notes),
        )
    if gate is None:
        return NextStep("done", "Every check of the round is done.", "nothing is left to read", 0.0, 0.0, notes=notes)
    if gate:
        words = "Before the power-up: " + "; ".join(gate) + "."
        return NextStep("gate", words, "the copper is proven as far as it can be", 0.0, 0.0, notes=notes)
    words = "Power up at the current limit you named, look at the screen, listen, smell, and note what was seen."
    return NextStep("power", words, "the copper is proven as far as it can be", costs.power_s, 0.0, notes=notes)


def _witnesses(work: Work, span: Span) -> tuple[str, tuple[str, ...]]:
    """What a break is known by, in words, and what to do before soldering where all of it hangs on one point."""
    point, count = all_through(work.posterior, work.risk, work.risk.frame.super_of[span.sites[0]])
    if not point:
        return "two independent readings", ()
    where = point_words(work.posterior.copper.points[point])
    note = (
        f"All {count} open readings across it went through {where}, and no other point is sure to stand in for it: a point that bites badly reads the same. "
        "Scratch or clean it bright and read once more before you solder."
    )
    return f"{count} open readings", (note,)


def leftovers(work: Work, graph: CopperGraph) -> tuple[str, ...]:
    """Stretches that are cut off or cannot be told apart until a repair, and what continuity cannot prove, in words."""
    frame = frame_of(graph)
    notes = []
    for number in work.stuck:
        span = span_of(graph, work.risk, number)
        notes.append(
            f"net {span.net}, {span.words}: no reading left that tells ({chance_words(span.p, 0)}); read again after the repair"
        )
    for number in (work.risk.doubt & work.risk.at_risk).nonzero()[0].tolist():
        if number in work.stuck:
            continue
        span = span_of(graph, work.risk, number)
        why = next((frame.why_not[s] for s in span.sites if s in frame.why_not), None)
        if why is not None:
            notes.append(f"net {span.net}, {span.words}: {why[0]}; {why[1]}")
        else:
            notes.append(f"net {span.net}, {span.words}: cut off on all sides; read again after the repair")
    return tuple(notes)
