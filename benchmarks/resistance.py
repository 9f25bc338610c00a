"""Effective resistance between all pairs of 50 points on a net of 2,000 nodes, against networkx.resistance_distance in the same run.

Strictly alternating pairs, the first thrown away, medians quoted. Ours includes factoring. ``--pairs N`` (default 5), ``--seed N``.
"""

from __future__ import annotations

import argparse
import statistics
import time
from importlib.metadata import version
from typing import Any

import networkx as nx
import numpy as np

from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.copper.resistance import all_pairs_ohm

NODES, LOOPS, POINTS = 2000, 400, 50


def net(seed: int) -> CopperGraph:
    """A random tree of 2,000 nodes, each joined to one of the 30 before it, and 400 sites more that close loops."""
    dice = np.random.default_rng(seed)
    edges = [(int(dice.integers(max(0, k - 30), k)), k) for k in range(1, NODES)]
    edges += [(int(a), int(b)) for a, b in dice.integers(0, NODES, (LOOPS, 2)) if a != b]
    sites = tuple(
        Site(
            f"r{k}",
            SiteKind.RUN,
            0,
            a,
            b,
            "c",
            ((0.0, 0.0), (1.0, 0.0)),
            (0.3,),
            1.0,
            0.3,
            float(dice.uniform(1e-3, 0.1)),
        )
        for k, (a, b) in enumerate(edges)
    )
    chosen = dice.choice(NODES, POINTS, replace=False)
    points = tuple(ProbePoint(f"p{n}", int(n), 0, 0.0, 0.0, "c") for n in chosen)
    return CopperGraph("x", ("N",), (0,) * NODES, ((0.0, 0.0, "c"),) * NODES, ("land",) * NODES, sites, points, ())


def as_networkx(graph: CopperGraph) -> nx.Graph:
    """The same network for networkx, parallel sites added as conductances."""
    out = nx.Graph()
    for s in graph.sites:
        before = 1.0 / out[s.a][s.b]["weight"] if out.has_edge(s.a, s.b) else 0.0
        out.add_edge(s.a, s.b, weight=1.0 / (before + 1.0 / s.resistance_ohm))
    return out


def run(arguments: list[str]) -> dict[str, Any]:
    """Times both and compares every pair."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks resistance")
    parser.add_argument("--pairs", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    ours, theirs, worst = [], [], 0.0
    for _ in range(asked.pairs + 1):
        graph = net(asked.seed)
        other = as_networkx(graph)
        ids = [p.id for p in graph.points]
        nodes = [p.node for p in graph.points]
        start = time.perf_counter()
        found = all_pairs_ohm(graph, 0, ids)
        ours.append(time.perf_counter() - start)
        start = time.perf_counter()
        table = nx.resistance_distance(other, weight="weight", invert_weight=True)
        theirs.append(time.perf_counter() - start)
        for i, a in enumerate(nodes):
            for j, b in enumerate(nodes):
                if a != b:
                    worst = max(worst, abs(found[i, j] - table[a][b]) / table[a][b])
    mine, other_s = statistics.median(ours[1:]), statistics.median(theirs[1:])
    return {
        "seed": asked.seed,
        "pairs": asked.pairs,
        "nodes": NODES,
        "points": POINTS,
        "networkx": version("networkx"),
        "ours_s": mine,
        "networkx_s": other_s,
        "times_faster": other_s / mine,
        "worst_relative_difference": worst,
    }
