"""Nets with two ways round: the engine against brute force over every break pattern, and the node-by-node sweep against textbook reliabilities."""

from __future__ import annotations

from collections.abc import Sequence

import networkx as nx
import numpy as np
import pytest
from tests.belief_cases import random_graph, random_readings

from coppermend.core.belief import network, ring
from coppermend.core.belief.engine import belief
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.frontier import Way, frontier
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.copper.model import CopperGraph

AREAS = (EXAMPLE_AREA,)
PLAIN = Basis(false_closed=0.002, contact_bad=0.0, contact_shares=(), damage_scales=(), open_scales=())


def brute_force(graph: CopperGraph, prior: np.ndarray, evidence: Sequence[Evidence]) -> tuple[np.ndarray, float]:
    """Posterior of every site and the evidence: all 2^n patterns at once; who reaches whom by passing sets of nodes along whole sites."""
    n = len(graph.sites)
    broken = (np.arange(1 << n)[:, None] >> np.arange(n) & 1).astype(bool)
    weight = np.prod(np.where(broken, prior, 1.0 - prior), axis=1)
    reach = np.tile(1 << np.arange(graph.node_count, dtype=np.int64), (len(weight), 1))
    while True:
        before = reach.copy()
        for k, site in enumerate(graph.sites):
            both = np.where(broken[:, k], 0, reach[:, site.a] | reach[:, site.b])
            reach[:, site.a] |= both
            reach[:, site.b] |= both
        if (before == reach).all():
            break
    node = {p.id: p.node for p in graph.points}
    for e in evidence:
        joined = (reach[:, node[e.point_a]] >> node[e.point_b] & 1).astype(bool)
        said = np.where(joined, 0.98, 0.002)
        weight *= said if e.says == "closed" else 1.0 - said
    return weight @ broken / weight.sum(), float(weight.sum())


@pytest.mark.parametrize("listed_up_to", [ring.ALL_UP_TO, 0])
def test_three_hundred_nets_with_rings_equal_brute_force(monkeypatch: pytest.MonkeyPatch, listed_up_to: int) -> None:
    """300 graphs, up to 16 sites and 3 cycles, up to 9 readings; once with patterns listed, once with every block swept node by node."""
    monkeypatch.setattr(ring, "ALL_UP_TO", listed_up_to)
    rng = np.random.default_rng(31)
    worst = 0.0
    for number in range(300):
        graph = random_graph(rng, 16 if number % 20 == 0 else int(rng.integers(4, 13)), int(rng.integers(1, 4)))
        evidence = random_readings(rng, graph, int(rng.integers(1, 10)))
        got = belief(graph, AREAS, evidence, PLAIN)
        want, total = brute_force(graph, got.prior, evidence)
        worst = max(worst, float(np.abs(got.sites - want).max()), abs(got.log_evidence - float(np.log(total))))
        assert got.error_bound <= 1e-9
    assert worst <= 1e-9


@pytest.mark.parametrize("p", [0.05, 0.3, 0.7])
def test_the_bridge_network_has_its_textbook_reliability(p: float) -> None:
    """Five equal parts as a bridge: R = 2r^2 + 2r^3 - 5r^4 + 2r^5, r = 1 - p (Barlow and Proschan, Statistical Theory of Reliability; from memory)."""
    r = 1.0 - p
    found = frontier([(0, 1), (0, 2), (1, 2), (1, 3), (2, 3)], 4, np.full(5, p), [Way(0, 3)], tolerance=0.0)
    assert dict(zip(found.opens, found.mass, strict=True))[0] == pytest.approx(
        2 * r**2 + 2 * r**3 - 5 * r**4 + 2 * r**5, rel=1e-12
    )


def test_a_ring_of_forty_parts_has_its_closed_form() -> None:
    """Two nodes of a ring with k and m parts between them: open when both arcs are, (1 - r^k)(1 - r^m)."""
    found = frontier(
        [(k, (k + 1) % 40) for k in range(40)], 40, np.full(40, 0.02), [Way(0, 13), Way(0, 20)], tolerance=0.0
    )
    mass = dict(zip(found.opens, found.mass, strict=True))
    arc = [1.0 - 0.98**k for k in (13, 27, 20)]
    assert mass[1] + mass.get(3, 0.0) == pytest.approx(arc[0] * arc[1], rel=1e-12)
    assert mass[2] + mass.get(3, 0.0) == pytest.approx(arc[2] * arc[2], rel=1e-12)
    assert sum(found.mass) == pytest.approx(1.0, rel=1e-12)


def test_a_grid_agrees_with_random_draws() -> None:
    """A 5 x 5 grid of 40 parts: shares of 20,000 random grids, joined or not by networkx, lie within five standard errors."""
    rng = np.random.default_rng(4)
    grid = nx.convert_node_labels_to_integers(nx.grid_2d_graph(5, 5))
    ends = list(grid.edges)
    chance = rng.uniform(0.05, 0.4, len(ends))
    ways = [Way(0, 24), Way(4, 20), Way(2, 22), Way(6, 18)]
    found = frontier(ends, 25, chance, ways, tolerance=0.0)
    n = 20_000
    counts: dict[int, int] = {}
    for broken in rng.random((n, len(ends))) < chance:
        left = nx.Graph()
        left.add_nodes_from(range(25))
        left.add_edges_from(e for e, gone in zip(ends, broken, strict=True) if not gone)
        home = {v: i for i, piece in enumerate(nx.connected_components(left)) for v in piece}
        mask = sum(1 << w for w, way in enumerate(ways) if home[way.a] != home[way.b])
        counts[mask] = counts.get(mask, 0) + 1
    assert found.dropped == 0.0
    for opens, mass in zip(found.opens, found.mass, strict=True):
        assert abs(counts.get(opens, 0) / n - mass) <= 5 * np.sqrt(mass * (1 - mass) / n) + 1e-4


def grid_net(rng: np.random.Generator, side: int, readings: int) -> tuple[CopperGraph, tuple[Evidence, ...]]:
    grid = nx.convert_node_labels_to_integers(nx.grid_2d_graph(side, side))
    graph = example_graph(list(grid.edges), list(range(side * side)))
    gone = set(rng.choice(len(graph.sites), 4, replace=False).tolist())
    left = nx.Graph()
    left.add_nodes_from(range(side * side))
    left.add_edges_from((s.a, s.b) for k, s in enumerate(graph.sites) if k not in gone)
    said = []
    for i in range(readings):
        a, b = rng.choice(side * side, 2, replace=False).tolist()
        whole = nx.has_path(left, a, b) != (rng.random() < 0.02)
        said.append(Evidence(str(i), f"p{a}", f"p{b}", "closed" if whole else "open"))
    return graph, tuple(said)


def test_what_was_dropped_is_paid_for_in_the_error_bound() -> None:
    """With a coarse tolerance the answer is off, by at most its bound."""
    rng = np.random.default_rng(6)
    tried = 0
    for _ in range(6):
        graph, said = grid_net(rng, 4, 5)
        exact = belief(graph, AREAS, said, PLAIN)
        assert exact.error_bound <= 1e-6
        piece = next(iter(exact.benches[0].pieces))
        coarse = network.solve(exact.copper, piece, exact.prior, exact.readings[piece], 0.0, 0.3, tolerance=1e-4)
        off = max(abs(p - exact.sites[k]) for k, p in coarse.broken.items())
        assert off <= coarse.error_bound + 1e-6
        tried += off > 1e-7
    assert tried >= 3


def test_a_ground_grid_with_a_whole_session_of_readings_keeps_its_bound() -> None:
    """36 nodes, 60 sites, 12 readings, one of fifty of them false: the bound on every probability stays below 1e-4."""
    graph, said = grid_net(np.random.default_rng(9), 6, 12)
    assert belief(graph, AREAS, said, Basis()).error_bound <= 1e-4
