"""The round: the fewest checks that prove every provable site at risk, in the order that costs the least modelled time.

For each net the sound stretches are contracted; a tree with L' leaves in doubt needs ceil(L'/2) checks and gets exactly that many.
The sum over the nets is printed as the certificate: no shorter list exists.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection, Sequence
from itertools import pairwise, permutations
from math import inf

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.engine import CopperBelief, belief
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.planning.clips import clipped, order_with_clips
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.describe import continuity_check
from coppermend.core.planning.isolation import NeighbourPair, isolation_checks
from coppermend.core.planning.model import RoundPlan
from coppermend.core.planning.risk import Risk, risk_of, trees_of, views_in_doubt
from coppermend.core.planning.tour import Option, plan_tour, step_seconds
from coppermend.core.planning.trees import MOST_LEAVES, PathPair, RiskTree, cover, covers, risk_trees
from coppermend.core.units import chance_words

POINTS_PER_END = 8
"""Points looked at for either end of a check: the nearest to the other end."""
OPTIONS_PER_CHECK = 12
MIXED_PAIRS = 3
PIN_PAIRS = 6
"""Of these, pairs of two pins come first: at equal seconds a check between named pins is taken."""

DEFAULT_COSTS = CostTable()


def plan_round(
    graph: CopperGraph,
    areas: Sequence[WorkArea],
    evidence: Sequence[Evidence],
    basis: Basis,
    costs: CostTable = DEFAULT_COSTS,
    neighbours: Sequence[NeighbourPair] = (),
    window_mm: float = 1.27,
    tips: TipState | None = None,
    *,
    skipped: Collection[str] = (),
    seed: int = 0,
    posterior: CopperBelief | None = None,
) -> RoundPlan:
    """The round that is left to do: continuity checks in order, isolation checks in order, the certificate, what cannot be proven.

    ``evidence``: every reading so far, planned or not; what it proved is not asked again. ``neighbours``: nets within ``window_mm`` in
    the work areas. ``tips``: where the tips are. ``skipped``: ids of points that could not be reached. ``seed``: of the order search; the
    same input gives the same round. ``posterior``: the belief, when the caller has it already. Seconds are modelled.

    >>> from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
    >>> star = example_graph([(0, 1), (0, 2), (0, 3)], [1, 2, 3])
    >>> plan = plan_round(star, (EXAMPLE_AREA,), (), Basis())
    >>> plan.bound, len(plan.checks), plan.bound_terms, plan.unprovable
    (2, 2, (('N0', 3),), ())
    """
    now = posterior if posterior is not None else belief(graph, areas, evidence, basis)
    start = tips or TipState()
    risk = risk_of(now)
    options: list[list[Option]] = []
    reasons: list[str] = []
    terms: list[tuple[str, int]] = []
    doubtful = [(v, trees_of(risk, v, skipped)[0]) for v in views_in_doubt(risk)]
    few = sum(len(trees) for _, trees in doubtful) <= MOST_COMPARED
    for v, trees in doubtful:
        name = graph.net_names[risk.frame.views[v].nets[0]]
        for tree in trees:
            terms.append((name, len(tree.leaves)))
            for found in (
                cheapest_cover(now.copper, tree, costs, skipped)
                if few
                else [pair_options(now.copper, tree, pair, skipped) for pair in cover(tree)]
            ):
                options.append(found)
                reasons.append(_reason(risk, tree, name))
    bound = sum((leaves + 1) // 2 for _, leaves in terms)
    tour = plan_tour(options, costs, start, seed=seed)
    saved = 0.0
    held = _with_held_ends(now.copper, risk, graph, doubtful, costs, skipped) if few else None
    if held is not None:
        longer = plan_tour(held[0], costs, start, seed=seed)
        saved = tour.total - longer.total
        if saved >= EXCESS_SAVES_S * (len(held[0]) - bound):
            tour, options, reasons = longer, *held
        if len(options) == bound or tour is not longer:
            saved = 0.0
    pairs = [options[i][tour.option[i]] for i in tour.order]
    order, stops = order_with_clips(pairs, costs, start)
    checks = [
        clipped(continuity_check(now.copper, *pairs[k], stop.seconds, reasons[tour.order[k]]), stop)
        for k, stop in zip(order, stops, strict=True)
    ]
    at = stops[-1].tips if stops else start
    isolation, _ = isolation_checks(now, neighbours, costs, at, skipped=skipped, seed=seed)
    at_risk, provable, unprovable = sites_at_risk(now, skipped)
    return RoundPlan(
        tuple(checks),
        isolation,
        bound,
        tuple(terms),
        len(checks) - bound,
        saved,
        sum(c.seconds for c in checks),
        sum(c.seconds for c in isolation),
        at_risk,
        provable,
        unprovable,
        window_mm,
    )


def _reason(risk: Risk, tree: RiskTree, net: str) -> str:
    chance = 1.0
    for _, _, number in tree.edges:
        chance *= 1.0 - float(risk.chance[number])
    return f"net {net}: {stretches(len(tree.edges))} in doubt, {chance_words(1 - chance, 0)} chance of a break"


def stretches(count: int) -> str:
    """``1 stretch``, ``3 stretches``."""
    return f"{count} {'stretch' if count == 1 else 'stretches'}"


def pair_options(
    copper: Copper, tree: RiskTree, pair: PathPair, skipped: Collection[str], *, mixed: bool = False
) -> list[Option]:
    """Pairs of points that make the check: ends of equal worth, same-side pairs first, then pins before vias (a pin has a name), then nearest pairs.

    ``mixed``: also the nearest pairs with one tip on either side where both could lie on one (else only where they cannot): for a caller that
    knows which side is up, because a mixed check can be cheaper than turning the board over.
    """
    side_a = _points(copper, tree.groups[pair.a], skipped)
    side_b = _points(copper, tree.groups[pair.b], skipped)
    for g in pair.also:
        side_b += _points(copper, tree.groups[g], skipped)
    side_a = _nearest(side_a, side_b)
    side_b = _nearest(side_b, side_a)
    pairs = [(a, b) for a in side_a for b in side_b if a.id != b.id]
    pairs.sort(
        key=lambda p: (
            p[0].side != p[1].side,
            p[0].side,
            (not p[0].part) + (not p[1].part),
            _apart(p[0], p[1]),
            p[0].id,
            p[1].id,
        )
    )
    same_side = [p for p in pairs if p[0].side == p[1].side]
    if same_side:
        other = [p for p in same_side if p[0].side == "s"][:2]
        above = [p for p in same_side if p[0].side == "c"]
        pins = [p for p in above if p[0].part and p[1].part][:PIN_PAIRS]
        rest = sorted((p for p in above if p not in pins), key=lambda p: (_apart(p[0], p[1]), p[0].id, p[1].id))
        across = [p for p in pairs if p[0].side != p[1].side][:MIXED_PAIRS] if mixed else []
        pairs = pins + rest[: OPTIONS_PER_CHECK - len(other) - len(pins) - len(across)] + other + across
    return pairs[:OPTIONS_PER_CHECK]


def cheapest_cover(
    copper: Copper,
    tree: RiskTree,
    costs: CostTable,
    skipped: Collection[str],
    tips: TipState | None = None,
    *,
    mixed: bool = False,
) -> list[list[Option]]:
    """The points of each check of that cover of a tree whose checks, taken in a row, cost least; a check that no points can make is left out.

    ``tips``: where the tips are; without it only what lies between the checks counts.
    """
    kept: dict[PathPair, list[Option]] = {}
    ways = list(covers(tree))
    for pair in dict.fromkeys(pair for paths in ways for pair in paths):
        kept[pair] = pair_options(copper, tree, pair, skipped, mixed=mixed)
    if len(ways) > 1:
        looked = {pair: found[:LOOKED_AT] for pair, found in kept.items() if found}
        flat = [option for found in looked.values() for option in found]
        start = np.cumsum([0, *(len(found) for found in looked.values())])
        rows = {pair: slice(int(i), int(j)) for pair, i, j in zip(looked, start[:-1], start[1:], strict=True)}
        step = step_seconds(flat, costs)
        first = np.array([check_seconds(costs, tips, *o)[0] if tips is not None else 0.0 for o in flat])
        whole = [paths for paths in ways if all(pair in rows for pair in paths)] or ways[:1]
        best = min(whole, key=lambda paths: _in_a_row([rows[p] for p in paths if p in rows], step, first))
    else:
        best = ways[0]
    return [kept[pair] for pair in best if kept[pair]]


EXCESS_SAVES_S = 5.0
"""Every check beyond the fewest has to save this many seconds: it is one more answer that may lie and be read again."""


def _with_held_ends(
    copper: Copper,
    risk: Risk,
    graph: CopperGraph,
    doubtful: Sequence[tuple[int, tuple[RiskTree, ...]]],
    costs: CostTable,
    skipped: Collection[str],
) -> tuple[list[list[Option]], list[str]] | None:
    """The checks of the round (options, reasons) with some trees proven from one held end; None when that saves too little on each of them."""
    options: list[list[Option]] = []
    reasons: list[str] = []
    any_held = False
    for v, trees in doubtful:
        name = graph.net_names[risk.frame.views[v].nets[0]]
        for tree in trees:
            found = held_cover(copper, tree, costs, skipped)
            any_held |= found is not None
            mine = found if found is not None else cheapest_cover(copper, tree, costs, skipped)
            options += mine
            words = f"{_reason(risk, tree, name)}; one tip stays, which is quicker than fewer checks"
            reasons += [words if found is not None else _reason(risk, tree, name)] * len(mine)
    return (options, reasons) if any_held else None


def held_cover(copper: Copper, tree: RiskTree, costs: CostTable, skipped: Collection[str]) -> list[list[Option]] | None:
    """One tip held on a leaf and the other led to every other leaf: more checks than the fewest; None unless each saves ``EXCESS_SAVES_S``."""
    count = len(tree.leaves)
    if not 2 < count <= MOST_LEAVES:
        return None
    short = cheapest_cover(copper, tree, costs, skipped)
    least = _walk_seconds(short, costs)
    wanted = EXCESS_SAVES_S * (count - 1 - len(short))
    if least - (count - 2) * (costs.read_s + min(costs.near_s, costs.move_s)) < wanted:
        return None
    best: list[list[Option]] | None = None
    for hub in tree.leaves:
        held = _points(copper, tree.groups[hub], skipped)[:1]
        rows = [
            [(h, p) for h in held for p in _nearest(_points(copper, tree.groups[g], skipped), held)]
            for g in tree.leaves
            if g != hub
        ]
        if all(rows) and least - _walk_seconds(rows, costs) >= wanted:
            least, best = _walk_seconds(rows, costs) + wanted, rows
    return best


def _walk_seconds(checks: Sequence[Sequence[Option]], costs: CostTable) -> float:
    """Seconds between the checks one after the other: in any order up to four of them, else each time to the nearest."""
    few = [list(options[:LOOKED_AT]) for options in checks if options]
    if len(few) < 2:
        return 0.0
    flat = [option for options in few for option in options]
    start = np.cumsum([0, *(len(options) for options in few)])
    rows = [slice(int(i), int(j)) for i, j in pairwise(start)]
    step = step_seconds(flat, costs)
    if len(few) <= 4:
        return _in_a_row(rows, step, np.zeros(len(flat)))
    return plan_tour(few, costs, TipState(*few[0][0], up=few[0][0][0].side), tries=0).total


LOOKED_AT = 5
"""Options of each check that are looked at when covers are compared."""
MOST_COMPARED = 300
"""Trees of a round whose covers are compared; in a longer round the order of the checks matters more than which they are."""


def _in_a_row(checks: Sequence[slice], step: NDArray[np.float64], first: NDArray[np.float64]) -> float:
    """Least seconds of the checks (rows of ``step``) one after the other, in any order."""
    least = inf
    for order in permutations(checks):
        cost = first[order[0]]
        for before, after in pairwise(order):
            cost = (cost[:, None] + step[before, after]).min(axis=0)
        least = min(least, float(cost.min()))
    return least


def _points(copper: Copper, nodes: Sequence[int], skipped: Collection[str]) -> list[ProbePoint]:
    return [p for node in nodes for p in copper.points_at[node] if p.id not in skipped]


def _nearest(points: list[ProbePoint], others: Sequence[ProbePoint]) -> list[ProbePoint]:
    """The points nearest to the other end, on both sides of the board."""
    if len(points) <= POINTS_PER_END:
        return points
    near = {p.id: min(_apart(p, o) for o in others) for p in points}
    ranked = sorted(points, key=lambda p: (near[p.id], p.id))
    top = [p for p in ranked if p.side == "c"][: POINTS_PER_END - 2]
    return top + [p for p in ranked if p.side != "c"][: POINTS_PER_END - len(top)]


def _apart(a: ProbePoint, b: ProbePoint) -> float:
    return float(((a.x_mm - b.x_mm) ** 2 + (a.y_mm - b.y_mm) ** 2) ** 0.5)


def sites_at_risk(
    posterior: CopperBelief, skipped: Collection[str] = ()
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[tuple[str, str, str], ...]]:
    """Ids of the sites at risk by their prior, of those that checks can prove, and the rest with why not and what would prove them."""
    graph = posterior.copper.graph
    why_not = _frame_why_not(posterior, frozenset(skipped))
    at_risk = [
        s.id for k, s in enumerate(graph.sites) if posterior.prior[k] >= posterior.basis.proven_below and s.a != s.b
    ]
    unprovable = tuple((s, *why_not[s]) for s in at_risk if s in why_not)
    return tuple(at_risk), tuple(s for s in at_risk if s not in why_not), unprovable


_WHY: OrderedDict[tuple[int, frozenset[str]], tuple[CopperGraph, dict[str, tuple[str, str]]]] = OrderedDict()

SKIPPED_WORDS = (
    "the only points beyond it could not be reached",
    "reach one of them, take out what covers them, or look",
)


def _frame_why_not(posterior: CopperBelief, skipped: frozenset[str]) -> dict[str, tuple[str, str]]:
    """Sites that continuity cannot prove, skipped points counted as unreachable."""
    graph = posterior.copper.graph
    key = (id(graph), skipped)
    hit = _WHY.get(key)
    if hit is not None and hit[0] is graph:
        return hit[1]
    risk = risk_of(posterior)
    why = dict(risk.frame.why_not)
    for site in graph.sites:
        if site.id not in risk.frame.super_of and site.id not in why:
            why[site.id] = ("it is a part that a beep passes or not by its value", "measure its ohms")
    if skipped:
        for view in risk.frame.views:
            if any(i in skipped for ids in view.points.values() for i in ids):
                edges = {e.index: (e.a, e.b) for e in view.super_edges if not e.dead and e.a != e.b}
                nodes = [n for n, ids in view.points.items() if any(i not in skipped for i in ids)]
                _, cannot = risk_trees(edges, set(edges), (), nodes)
                for index in cannot:
                    for s in view.super_edges[index].sites:
                        why.setdefault(s, SKIPPED_WORDS)
    _WHY[key] = (graph, why)
    while len(_WHY) > 16:
        _WHY.popitem(last=False)
    return why
