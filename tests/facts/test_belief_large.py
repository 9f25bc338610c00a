"""Nets of 20 to 80 terminals: the engine against inclusion and exclusion over the readings, an independent exact method.

Each reading's likelihood is b + (a - b) [every site on its way is whole]; the product over the readings, multiplied out, is a sum over all sets of
readings of a product of (a - b) and b times the chance that the union of their ways is whole. (The idea is that of D. Heckerman's quickscore, 1989;
named from memory.) It shares no step with the engine: no merging, no order, no states.
"""

from __future__ import annotations

import time
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest

from coppermend.core.belief import engine
from coppermend.core.belief.engine import belief
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.copper.model import CopperGraph

AREAS = (EXAMPLE_AREA,)
BASIS = Basis(false_closed=0.002, contact_bad=0.0, contact_shares=(), damage_scales=(), open_scales=())


def random_tree(rng: np.random.Generator, terminals: int) -> CopperGraph:
    ends = [(int(rng.integers(max(0, k - 6), k)), k) for k in range(1, terminals)]
    cold = {k for k in range(len(ends)) if rng.random() < 0.5}
    return example_graph(ends, list(range(terminals)), cold=cold)


def multiplied_out(
    graph: CopperGraph, prior: np.ndarray, evidence: list[Evidence], ask: list[int]
) -> tuple[float, list[float]]:
    """Evidence, and posterior of the sites in ``ask``, by inclusion and exclusion."""
    tree = nx.Graph()
    for k, s in enumerate(graph.sites):
        tree.add_edge(s.a, s.b, k=k)
    node = {p.id: p.node for p in graph.points}
    ways = []
    for e in evidence:
        way = nx.shortest_path(tree, node[e.point_a], node[e.point_b])
        on = np.zeros(len(prior), dtype=bool)
        on[[tree[u][v]["k"] for u, v in pairwise(way)]] = True
        ways.append(on)
    like = [(0.98, 0.002) if e.says == "closed" else (0.02, 0.998) for e in evidence]
    logs = np.log1p(-prior)
    total = 0.0
    whole = np.zeros(len(ask))
    for chosen in range(1 << len(evidence)):
        union = np.zeros(len(prior), dtype=bool)
        factor = 1.0
        for r, (a, b) in enumerate(like):
            if chosen >> r & 1:
                union |= ways[r]
                factor *= a - b
            else:
                factor *= b
        term = factor * float(np.exp(logs[union].sum()))
        total += term
        for i, k in enumerate(ask):
            whole[i] += term if union[k] else term * (1.0 - prior[k])
    return total, (1.0 - whole / total).tolist()


def test_fifty_large_nets_agree_with_inclusion_and_exclusion() -> None:
    rng = np.random.default_rng(17)
    worst = 0.0
    for _ in range(50):
        graph = random_tree(rng, int(rng.integers(20, 81)))
        names = [p.id for p in graph.points]
        evidence = [
            Evidence(str(i), *rng.choice(names, 2, replace=False).tolist(), "open" if rng.random() < 0.25 else "closed")
            for i in range(8)
        ]
        got = belief(graph, AREAS, evidence, BASIS)
        ask = rng.choice(len(graph.sites), 6, replace=False).tolist()
        total, want = multiplied_out(graph, got.prior, evidence, ask)
        assert got.error_bound == 0.0
        worst = max(worst, float(np.abs(got.sites[ask] - want).max()))
        assert got.log_evidence == pytest.approx(np.log(total), abs=1e-6)
    assert worst <= 1e-6


def test_a_whole_session_on_eighty_terminals_stays_exact() -> None:
    """A cover of 40 checks and 15 more at random on a net of 80 terminals: no state is pruned, every number is one."""
    rng = np.random.default_rng(9)
    graph = random_tree(rng, 80)
    names = [p.id for p in graph.points]
    evidence = [Evidence(str(i), names[i], names[i + 40], "closed") for i in range(40)]
    evidence += [Evidence(f"x{i}", *rng.choice(names, 2, replace=False).tolist(), "closed") for i in range(15)]
    begun = time.perf_counter()
    got = belief(graph, AREAS, evidence, BASIS)
    assert got.error_bound <= 1e-4
    assert np.isfinite(got.sites).all()
    assert time.perf_counter() - begun < 30.0  # a hang would show; speed is measured by the benchmarks


def long_session() -> tuple[CopperGraph, list[Evidence]]:
    """A dozen closed readings of one pair, and 16 open ones: that all points are clean and mistakes rare is soon ruled out."""
    said = ["closed"] * 12 + ["open"] * 16
    return example_graph([(0, 1), (1, 2)], [0, 2]), [Evidence(str(n), "p0", "p2", one) for n, one in enumerate(said)]


def test_a_supposition_not_worked_out_any_more_changes_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading by reading, suppositions that have become impossible are passed over: to the last bit what is found at once, and to 1e-11 (16 times e^-30)
    what is found when all of them are worked out."""
    graph, evidence = long_session()
    forgotten = (engine._MOST_LOGS, engine._PIECES, engine._COLUMNS)
    for kept in forgotten:
        kept.clear()
    for n in range(engine.MANY_READINGS, len(evidence)):
        belief(graph, AREAS, evidence[:n], Basis(false_closed=0.002))
    step_by_step = belief(graph, AREAS, evidence, Basis(false_closed=0.002))
    gone = [b for b in step_by_step.benches if b.weight == 0.0]
    assert any(not b.pieces for b in gone)
    for kept in forgotten:
        kept.clear()
    at_once = belief(graph, AREAS, evidence, Basis(false_closed=0.002))
    assert all(b.pieces for b in at_once.benches)
    assert np.array_equal(step_by_step.sites, at_once.sites) and step_by_step.error_bound == at_once.error_bound > 0.0
    monkeypatch.setattr(engine, "NOT_WORTH", -1e9)
    every = belief(graph, AREAS, evidence, Basis(false_closed=0.002))
    assert all(b.weight > 0.0 for b in every.benches)
    assert float(np.abs(every.sites - at_once.sites).max()) <= at_once.error_bound + 1e-15
