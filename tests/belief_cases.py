"""Random small nets and readings for the tests of the belief."""

from __future__ import annotations

import numpy as np

from coppermend.core.belief.examples import example_graph
from coppermend.core.belief.model import Evidence
from coppermend.core.copper.model import CopperGraph


def random_graph(rng: np.random.Generator, sites: int, cycles: int) -> CopperGraph:
    """A random tree with ``sites - cycles`` sites and ``cycles`` more sites anywhere; tips on most nodes."""
    cycles = min(cycles, sites - 1)
    nodes = sites - cycles + 1
    ends = [(int(rng.integers(0, n)), n) for n in range(1, nodes)]
    for _ in range(cycles):
        a, b = rng.integers(0, nodes, 2)
        ends.append((int(a), int(b)) if a != b else (0, nodes - 1))
    terminals = [n for n in range(nodes) if rng.random() < 0.8] or [0]
    cold = {k for k in range(sites) if rng.random() < 0.3}
    return example_graph(ends, terminals, cold=cold)


def random_readings(rng: np.random.Generator, graph: CopperGraph, count: int) -> tuple[Evidence, ...]:
    """Readings between random points, half of them open."""
    names = [p.id for p in graph.points]
    return tuple(
        Evidence(str(i), *rng.choice(names, 2).tolist(), "open" if rng.random() < 0.5 else "closed")
        for i in range(count)
    )
