"""The belief against two Bayesian network libraries: pyAgrum's junction trees on nets of 20 to 80 points, pgmpy's elimination on nets of up to 8 sites.

pgmpy takes seconds on nine sites.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from tests.belief_cases import random_graph, random_readings

from coppermend.core.belief.engine import belief
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.copper.model import CopperGraph

AREAS = (EXAMPLE_AREA,)
BASIS = Basis(false_closed=0.002, contact_shares=(), damage_scales=(), open_scales=(), contact_bad=0.0)


def tree_of(rng: np.random.Generator, points: int) -> CopperGraph:
    """A random tree with a tip on every node, a third of it outside the work area."""
    ends = [(int(rng.integers(max(0, n - 12), n)), n) for n in range(1, points)]
    cold = {k for k in range(points - 1) if rng.random() < 0.33}
    return example_graph(ends, range(points), cold=cold)


def way(graph: CopperGraph, a: str, b: str) -> list[int]:
    """The sites between two points of a tree, by networkx."""
    found = nx.Graph([(s.a, s.b, {"k": k}) for k, s in enumerate(graph.sites)])
    nodes = nx.shortest_path(found, int(a.strip("pb")), int(b.strip("pb")))
    return [found[u][v]["k"] for u, v in pairwise(nodes)]


def star_and_chain(rng: np.random.Generator, points: int) -> list[Evidence]:
    """Readings from one hub to half of the points, and a few between near ones; one in twelve open."""
    said = []
    for n in range(1, points):
        if rng.random() < 0.5:
            said.append(Evidence(str(n), "p0", f"p{n}", "open" if rng.random() < 1 / 12 else "closed"))
    for k in range(points // 8):
        a = int(rng.integers(1, points - 1))
        said.append(Evidence(f"c{k}", f"p{a}", f"p{a + 1}", "open" if rng.random() < 1 / 12 else "closed"))
    return said


def by_junction_tree(
    gum: object, graph: CopperGraph, prior: Sequence[float], evidence: Sequence[Evidence]
) -> np.ndarray:
    """Posterior of every site: one node a site, "joined to the hub" along the tree, a chain of ANDs for every other reading."""
    net = gum.BayesNet()  # type: ignore[attr-defined]
    for k, p in enumerate(prior):
        net.add(gum.LabelizedVariable(f"x{k}", "", 2))  # type: ignore[attr-defined]
        net.cpt(f"x{k}").fillWith([1.0 - float(p), float(p)])

    def both(name: str, before: str | None, site: int) -> str:
        net.add(gum.LabelizedVariable(name, "", 2))  # type: ignore[attr-defined]
        if before is not None:
            net.addArc(before, name)
        net.addArc(f"x{site}", name)
        for x in (0, 1):
            for b in (0, 1) if before is not None else (1,):
                whole = float(b == 1 and x == 0)
                net.cpt(name)[{**({before: b} if before is not None else {}), f"x{site}": x}] = [1.0 - whole, whole]
        return name

    hub: dict[int, str | None] = {0: None}
    for k, site in enumerate(graph.sites):
        hub[site.b] = both(f"h{site.b}", hub[site.a], k)
    seen = {}
    for t, e in enumerate(evidence):
        if e.point_a == "p0":
            last = hub[int(e.point_b[1:])]
        else:
            last = None
            for n, k in enumerate(way(graph, e.point_a, e.point_b)):
                last = both(f"a{t}_{n}", last, k)
        net.add(gum.LabelizedVariable(f"r{t}", "", 2))  # type: ignore[attr-defined]
        net.addArc(last, f"r{t}")
        net.cpt(f"r{t}")[{last: 0}] = [0.998, 0.002]
        net.cpt(f"r{t}")[{last: 1}] = [0.02, 0.98]
        seen[f"r{t}"] = int(e.says == "closed")
    engine = gum.LazyPropagation(net)  # type: ignore[attr-defined]
    engine.setEvidence(seen)
    engine.makeInference()
    return np.array([float(engine.posterior(f"x{k}")[1]) for k in range(len(prior))])


def test_fifty_nets_of_twenty_to_eighty_points_equal_a_junction_tree() -> None:
    import pyagrum as gum

    rng = np.random.default_rng(12)
    worst = 0.0
    for number in range(50):
        points = (20, 30, 45, 60, 80)[number % 5]
        graph = tree_of(rng, points)
        evidence = star_and_chain(rng, points)
        got = belief(graph, AREAS, evidence, BASIS)
        want = by_junction_tree(gum, graph, got.prior.tolist(), evidence)
        assert got.error_bound <= 1e-6
        worst = max(worst, float(np.abs(got.sites - want).max()))
    assert worst <= 1e-6


@pytest.mark.filterwarnings("ignore::FutureWarning")  # pgmpy 1.1 warns of its own modules when it is imported
def test_twelve_nets_of_up_to_eight_sites_equal_elimination() -> None:
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    rng = np.random.default_rng(13)
    for _ in range(12):
        graph = random_graph(rng, int(rng.integers(4, 9)), 0)
        evidence = random_readings(rng, graph, int(rng.integers(1, 4)))
        evidence = tuple(e for e in evidence if e.point_a != e.point_b)
        got = belief(graph, AREAS, evidence, BASIS)
        net = DiscreteBayesianNetwork()
        for k, p in enumerate(got.prior.tolist()):
            net.add_node(f"x{k}")
            net.add_cpds(TabularCPD(f"x{k}", 2, [[1.0 - p], [p]]))
        seen = {}
        for t, e in enumerate(evidence):
            sites = way(graph, e.point_a, e.point_b)
            for k in sites:
                net.add_edge(f"x{k}", f"r{t}")
            closed = [0.98 if i == 0 else 0.002 for i in range(2 ** len(sites))]
            table = [[1.0 - c for c in closed], closed]
            net.add_cpds(TabularCPD(f"r{t}", 2, table, [f"x{k}" for k in sites], [2] * len(sites)))
            seen[f"r{t}"] = int(e.says == "closed")
        engine = VariableElimination(net)
        for k in range(len(graph.sites)):
            want = float(engine.query([f"x{k}"], evidence=seen, show_progress=False).values[1])
            assert got.sites[k] == pytest.approx(want, abs=1e-9)
