"""The ohms reading that settles what no beep can: a stretch with another way round, or which stretch has too much resistance.

Offered with the values it reads when all is well and when not, and only where the instrument tells the two apart; where it does not, that is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from coppermend.core.belief.engine import CopperBelief, PartialOpen
from coppermend.core.belief.ohmic import Instrument, OhmsReading
from coppermend.core.belief.partial import PartialModel, expected_information, form_columns, partial_model
from coppermend.core.belief.ratio import MOST_TERMINALS, RatioReading, fine_enough, ratio_readings
from coppermend.core.belief.readings import COARSE
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.log.values import ohm_words
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.describe import needs_words, point_words
from coppermend.core.planning.model import Check, NextStep
from coppermend.core.planning.risk import Risk
from coppermend.core.planning.spans import span_of, span_words
from coppermend.core.units import chance_words

MOST_TIMES = 2
"""An ohms reading between the same two points is not asked for more often than this, nor after one beep more: somebody without a meter goes on."""
WORTH_ASKING, SETTLED = 0.1, 0.9
"""A partial open is looked for while its likeliest stretch lies between these."""
LEAST_BITS = 0.05
MOST_POINTS = 16
"""Points among which the reading for a partial open is chosen; pairs grow with the square."""


@dataclass(frozen=True, slots=True)
class OhmsWork:
    """What ohms have to settle: the step to take now (None = nothing, or nothing that the instrument can), and words for what it cannot."""

    step: NextStep | None
    notes: tuple[str, ...]


def ohms_work(
    posterior: CopperBelief, risk: Risk, instrument: Instrument | None, costs: CostTable, tips: TipState
) -> OhmsWork:
    """The next ohms reading of a case: a partial open that a reading has raised first, then the stretches at risk with another way round.

    ``instrument``: what there is to read with; None = nothing, and nothing is proposed.
    """
    ways = _ways(posterior, risk)
    if instrument is None:
        return OhmsWork(None, tuple(f"{one.words}: no meter at this bench reads that fine" for one, _ in ways))
    graph, asked = posterior.copper.graph, _asked(posterior)
    raised = [one for one in posterior.partials if WORTH_ASKING <= one.p < SETTLED and _raised(posterior, one)]
    if raised:
        step = _for_partial(posterior, raised[0], instrument, costs, tips, asked)
        if step is not None:
            return OhmsWork(step, ())
    notes: list[str] = []
    offered: list[tuple[float, RatioReading, float]] = []
    for one, p in ways:
        if not fine_enough(one, instrument):
            notes.append(f"{one.words}: too coarse for {instrument.words}")
        elif asked.get(frozenset((one.point_a, one.point_b)), 0) < MOST_TIMES:
            seconds, _ = check_seconds(costs, tips, graph.point(one.point_a), graph.point(one.point_b))
            offered.append((seconds, one, p))
        else:
            notes.append(f"{one.words}: read {MOST_TIMES} times, {chance_words(p)} that it is broken")
    if not offered:
        return OhmsWork(None, tuple(notes))
    seconds, best, p = min(offered, key=lambda row: (row[0] / max(_bits(row[2]), 1e-9), row[1].point_a, row[1].point_b))
    return OhmsWork(_for_way(posterior, risk, best, p, seconds, instrument, tips, len(offered)), tuple(notes))


def _ways(posterior: CopperBelief, risk: Risk) -> list[tuple[RatioReading, float]]:
    """For every stretch in doubt with another way round, its reading and its chance to be broken. The readings are kept with the graph."""
    graph = posterior.copper.graph
    kept: dict[str, RatioReading | None] = graph.memo.setdefault("ratio readings", {})
    chance: dict[str, float] = {}
    wanted: dict[int, list[str]] = {}
    for number in np.flatnonzero(risk.doubt & risk.at_risk).tolist():
        v = int(risk.frame.view_of[number])
        view = risk.frame.views[v]
        edge = view.super_edges[number - risk.frame.first[v]]
        if not (edge.bridge or edge.dead or edge.a == edge.b or len(view.terminals) > MOST_TERMINALS):
            chance[edge.sites[0]] = float(risk.chance[number])
            wanted.setdefault(min(view.nets), []).append(edge.sites[0])
    for net, sites in wanted.items():
        new = [one for one in sites if one not in kept]
        if new:
            kept.update(dict.fromkeys(new))
            kept.update({one.sites[0]: one for one in ratio_readings(graph, net, new)[0]})
    found = [(kept[one], p) for one, p in chance.items()]
    return [(one, p) for one, p in found if one is not None]


def _asked(posterior: CopperBelief) -> dict[frozenset[str], int]:
    """How often each pair of points was read in ohms; MOST_TIMES where it was read more often than that in all."""
    ohms: dict[frozenset[str], int] = {}
    every: dict[frozenset[str], int] = {}
    for one in posterior.evidence:
        pair = frozenset((one.point_a, one.point_b))
        every[pair] = every.get(pair, 0) + 1
        ohms[pair] = ohms.get(pair, 0) + (one.says == "ohms")
    return {pair: MOST_TIMES if every[pair] > MOST_TIMES else count for pair, count in ohms.items()}


def _raised(posterior: CopperBelief, one: PartialOpen) -> bool:
    """Whether readings made the partial open likelier than it was: three times its prior."""
    prior = [posterior.prior[posterior.copper.site[s]] for s in one.sites]
    return one.p > 3.0 * posterior.basis.partial_share * (1.0 - float(np.prod(1.0 - np.array(prior))))


def _bits(p: float) -> float:
    q = min(max(p, 1e-9), 1.0 - 1e-9)
    return float(-q * np.log2(q) - (1.0 - q) * np.log2(1.0 - q))


def _for_way(
    posterior: CopperBelief,
    risk: Risk,
    one: RatioReading,
    p: float,
    seconds: float,
    instrument: Instrument,
    tips: TipState,
    many: int,
) -> NextStep:
    graph = posterior.copper.graph
    number = risk.frame.super_of[one.sites[0]]
    span = span_of(graph, risk, number)
    reason = (
        f"there is another way round {span.words}, so a beep says nothing of it ({chance_words(p)} broken): "
        f"{ohm_words(one.whole_ohm)} when it is whole, {ohm_words(one.broken_ohm)} when it is broken; {seconds:.0f} s"
    )
    check = _check(posterior, one.point_a, one.point_b, one.whole_ohm, one.broken_ohm, one.sites, seconds, reason, tips)
    words = _tip_words(graph, check, instrument)
    return NextStep(
        "ohms",
        words,
        reason,
        seconds,
        _bits(p),
        check=check,
        span=span,
        left=many - 1,
        left_seconds=seconds * (many - 1),
    )


def _for_partial(
    posterior: CopperBelief,
    one: PartialOpen,
    instrument: Instrument,
    costs: CostTable,
    tips: TipState,
    asked: dict[frozenset[str], int],
) -> NextStep | None:
    """The reading that tells most about which stretch of the net has too much resistance; None when none tells enough."""
    graph = posterior.copper.graph
    net = graph.sites[posterior.copper.site[one.sites[0]]].net
    model = _model(graph, net)
    nodes, at = _points(graph, model)
    pairs = [
        pair
        for pair in combinations(nodes, 2)
        if asked.get(frozenset((at[pair[0]].id, at[pair[1]].id)), 0) < MOST_TIMES
    ]
    if not pairs:
        return None
    bits = expected_information(model, _readings(posterior, model), pairs, instrument)
    best = max(range(len(pairs)), key=lambda k: (round(float(bits[k]), 6), -k))
    if bits[best] < LEAST_BITS:
        return None
    a, b = (at[n] for n in pairs[best])
    seconds, _ = check_seconds(costs, tips, a, b)
    sound, share, _, _ = form_columns(model, [pairs[best]], [pairs[best]])
    edge = model.edges.index(one.sites) if one.sites in model.edges else -1
    more = float(sound[0] + (share[0, edge] ** 2 * one.ohm if edge >= 0 else 0.0))
    where = span_words(graph, [graph.site(s) for s in one.sites], *model.ends[edge])
    reason = (
        f"net {one.net} reads more than its copper has; likeliest {where} ({chance_words(one.p, 0)}, {ohm_words(one.ohm)} too much): "
        f"this reads {ohm_words(float(sound[0]))} without it, {ohm_words(more)} with it; {float(bits[best]):.1f} bit, {seconds:.0f} s"
    )
    check = _check(posterior, a.id, b.id, float(sound[0]), more, one.sites, seconds, reason, tips)
    return NextStep("ohms", _tip_words(graph, check, instrument), reason, seconds, float(bits[best]), check=check)


def _model(graph: CopperGraph, net: int) -> PartialModel:
    made: dict[int, PartialModel] = graph.memo.setdefault("partial models", {})
    if net not in made:
        made[net] = partial_model(graph, net)
    return made[net]


def _points(graph: CopperGraph, model: PartialModel) -> tuple[list[int], dict[int, ProbePoint]]:
    """At most MOST_POINTS nodes that a tip can touch, spread by their resistance from the first, and a point of each."""
    at: dict[int, ProbePoint] = {}
    for p in sorted(graph.points, key=lambda p: p.id):
        if p.reachable and p.node in model.net.at:
            at.setdefault(p.node, p)
    nodes = list(at)
    if len(nodes) <= MOST_POINTS:
        return nodes, at
    g, first = model.net.g, model.net.at[nodes[0]]
    far = {
        n: float(g[model.net.at[n], model.net.at[n]] + g[first, first] - 2 * g[model.net.at[n], first]) for n in nodes
    }
    nodes.sort(key=lambda n: (far[n], n))
    return [nodes[k] for k in np.linspace(0, len(nodes) - 1, MOST_POINTS).round().astype(int).tolist()], at


def _readings(posterior: CopperBelief, model: PartialModel) -> list[OhmsReading]:
    """The ohms readings of the net, the last eight."""
    out = []
    for taken in posterior.readings.values():
        for t in taken:
            if (
                t.ohm is not None
                and t.sense == (t.node_a, t.node_b)
                and t.node_a in model.net.at
                and t.node_b in model.net.at
            ):
                pair = (t.node_a, t.node_b)
                out.append(OhmsReading(pair, pair, t.ohm, t.instrument or COARSE, t.entry))
    return out[-8:]


def _check(
    posterior: CopperBelief,
    point_a: str,
    point_b: str,
    expected: float,
    broken: float,
    sites: Sequence[str],
    seconds: float,
    reason: str,
    tips: TipState,
) -> Check:
    graph = posterior.copper.graph
    a, b = graph.point(point_a), graph.point(point_b)
    names = (graph.net_names[a.net], graph.net_names[b.net])
    turn = a.side == b.side and a.side != tips.up
    needs = needs_words(a, b)
    return Check(
        f"ohms:{a.id}:{b.id}",
        "ohms",
        a.id,
        b.id,
        *names,
        expected,
        tuple(sites),
        seconds,
        reason,
        needs,
        turn,
        broken_ohm=broken,
    )


def _tip_words(graph: CopperGraph, check: Check, instrument: Instrument) -> str:
    turn = "Turn the board over. " if check.turn_over else ""
    leads = (
        " Both wires of a lead on its point."
        if instrument.wires == 4
        else " Hold the leads together first and zero the meter."
    )
    a, b = graph.point(check.point_a), graph.point(check.point_b)
    return f"{turn}Read ohms ({instrument.words}): one tip on {point_words(a)}, the other on {point_words(b)}.{leads}"
