"""Partial opens: share of nets on which the right super-edge comes first after 1 to 6 adaptive readings, simulated.

Random tree nets of 8 to 25 points; one super-edge, drawn alike among all, has an excess. Copper as in benchmarks/shorts.py: width 8 % standard
deviation for 10 mm, scale 10 % and 5 %. The simulated readings are summed along the one way of the tree, without the model.
``--seeds A-B``, ``--excess OHM ...``, ``--readings``, ``--meter four|10m|100m``.
"""

from __future__ import annotations

import argparse
import os
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only get in each other's way

import numpy as np

from coppermend.core.belief.ohmic import FOUR_WIRE, OhmsReading, two_wire
from coppermend.core.belief.partial import locate_excess, partial_model
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.planning.ohms_next import next_excess_reading

SQUARE_OHM = 0.000491
METERS = {"four": FOUR_WIRE, "10m": two_wire(0.01), "100m": two_wire(0.1)}


def tree_net(rng: np.random.Generator) -> tuple[CopperGraph, list[list[tuple[int, int]]]]:
    """A routed tree: pins strewn over 200 mm by 100 mm, joined by the shortest tree (pins are what tracks run through on a
    through-hole board), one joint in five in the middle of a track. Returns the graph and for each node its neighbours (node, site)."""
    count = int(rng.integers(8, 26))
    at = [(float(x), float(y)) for x, y in rng.uniform((0.0, 0.0), (200.0, 100.0), (count, 2))]
    ends: list[tuple[int, int]] = []
    joined, left = [0], set(range(1, count))
    while left:
        near, node = min(((a, b) for a in joined for b in left), key=lambda pair: _far(at[pair[0]], at[pair[1]]))
        _join(rng, at, ends, near, node)
        joined.append(node)
        left.discard(node)
    nodes, points = len(at), list(range(count))
    sites = []
    for k, (a, b) in enumerate(ends):
        length, width = max(_far(at[a], at[b]), 1.0), float(rng.choice([0.25, 0.3, 0.4]))
        sites.append(
            Site(
                f"e{k}",
                SiteKind.RUN,
                0,
                a,
                b,
                "c",
                (at[a], at[b]),
                (width,),
                length,
                width,
                SQUARE_OHM * length / width,
            )
        )
    tips = tuple(ProbePoint(f"P{n}", n, 0, float(n), 0.0, "c", "X", str(n)) for n in points)
    near: list[list[tuple[int, int]]] = [[] for _ in range(nodes)]
    for k, (a, b) in enumerate(ends):
        near[a].append((b, k))
        near[b].append((a, k))
    graph = CopperGraph(
        "tree", ("N",), (0,) * nodes, tuple((*xy, "c") for xy in at), ("junction",) * nodes, tuple(sites), tips, ()
    )
    return graph, near


def _far(p: tuple[float, float], q: tuple[float, float]) -> float:
    return abs(p[0] - q[0]) + abs(p[1] - q[1])


def _join(
    rng: np.random.Generator, at: list[tuple[float, float]], ends: list[tuple[int, int]], near: int, node: int
) -> None:
    """Join one more pin to the tree at a pin, or one time in five into the middle of a track that ends there."""
    mine = [k for k, pair in enumerate(ends) if near in pair]
    if not mine or rng.random() > 0.2:
        ends.append((near, node))
        return
    a, b = ends[mine[0]]
    junction = len(at)
    at.append(((at[a][0] + at[b][0]) / 2, (at[a][1] + at[b][1]) / 2))
    ends[mine[0]] = (a, junction)
    ends += [(junction, b), (junction, node)]


def way(near: list[list[tuple[int, int]]], start: int, goal: int) -> list[int]:
    """Sites on the one way between two nodes."""
    stack = [(start, -1, [])]
    while stack:
        node, came, path = stack.pop()
        if node == goal:
            return path
        stack += [(n, k, [*path, k]) for n, k in near[node] if k != came]
    raise AssertionError("no way")


def one_case(seed: int, excess: float, meter_name: str, most: int) -> list[bool]:
    """Whether the true super-edge was first after each reading."""
    rng = np.random.default_rng(seed)
    meter = METERS[meter_name]
    graph, near = tree_net(rng)
    model = partial_model(graph, 0)
    scale = rng.normal(1.0, 0.10) * rng.normal(1.0, 0.05)
    true = np.array(
        [
            s.resistance_ohm * scale * max(1.0 + rng.normal(0.0, 0.08 * (10.0 / s.length_mm) ** 0.5), 0.3)
            for s in graph.sites
        ]
    )
    wrong = int(rng.integers(0, len(model.edges)))
    true[int(model.edges[wrong][0][1:])] += excess
    gain = 1.0 + meter.gain * float(rng.normal())
    readings: list[OhmsReading] = []
    out = []
    for _ in range(most):
        found = next_excess_reading(model, readings, [p.node for p in graph.points], meter)
        assert found is not None
        pair = found[0]
        ohm = float(true[way(near, *pair)].sum()) * gain + rng.normal(0.0, meter.noise_ohm)
        if meter.wires == 2:
            ohm = max(round((ohm + rng.normal(0.0, meter.contact_ohm)) / meter.step_ohm) * meter.step_ohm, 0.0)
        readings.append(OhmsReading(pair, pair, float(ohm), meter))
        out.append(locate_excess(model, readings).best == wrong)
    return out


def run(arguments: list[str]) -> dict[str, Any]:
    """Runs the simulation."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks partial")
    parser.add_argument("--seeds", default="1-60")
    parser.add_argument("--readings", type=int, default=6)
    parser.add_argument("--excess", type=float, nargs="*", default=[0.03, 0.1, 0.3, 1.0])
    parser.add_argument("--meter", choices=list(METERS), default="four")
    o = parser.parse_args(arguments)
    first, last = (int(x) for x in o.seeds.split("-"))
    rows = []
    for excess in o.excess:
        right = np.array([one_case(seed, excess, o.meter, o.readings) for seed in range(first, last + 1)])
        rows.append(
            {
                "excess_ohm": excess,
                "meter": METERS[o.meter].words,
                "right_first": [round(float(x), 3) for x in right.mean(axis=0)],
            }
        )
    return {"seeds": o.seeds, "rows": rows}
