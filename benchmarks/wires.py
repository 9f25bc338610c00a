"""Planning patch wires on the demonstration board: milliseconds of CPU a net, nets restored, and how many wires a plan takes.

Each net twice: straight wires, and wires led along the board round its forbidden places with bared tracks among the ends.

``--random N`` (default 500): random nets of 2 to 5 pieces, each against brute force over all sets of wires (networkx, the test's own search).

What lies in memory once the board is open is left out of Python's garbage collection (``gc.freeze``): its sweep over the whole board would fall into
one of the nets and be taken for planning.

Breaks are drawn evenly among the runs and barrels of nets with three pins or more. ``--nets N`` (default 100 for each number of breaks), ``--seed N``.
"""

from __future__ import annotations

import argparse
import gc
import statistics
import time
from typing import Any

import numpy as np
from tests.facts.test_rework_wires import brute_force, random_net, restored

from coppermend.bootstrap import open_board
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.rework.bare import keep_clear
from coppermend.core.rework.pieces import pins_of
from coppermend.core.rework.routes_places import ways_of
from coppermend.core.rework.wires import propose_wires


def candidates(graph: CopperGraph) -> dict[int, list[str]]:
    """Runs and barrels by net, of nets with three pins or more."""
    found: dict[int, list[str]] = {}
    for site in graph.sites:
        if site.kind in (SiteKind.RUN, SiteKind.BARREL):
            found.setdefault(site.net, []).append(site.id)
    return {net: ids for net, ids in found.items() if len(pins_of(graph, net)) >= 3}


def _spread(times: list[float]) -> dict[str, float]:
    """Median, 95th percentile and maximum."""
    return {
        "p50": round(statistics.median(times), 1),
        "p95": round(float(np.percentile(times, 95)), 1),
        "max": round(max(times), 1),
    }


def against_brute_force(many: int, seed: int) -> dict[str, Any]:
    """Random nets whose pins fell apart: how many plans cost what the best of all sets of wires costs, and restore the net."""
    dice = np.random.default_rng(seed)
    times: list[float] = []
    equal = whole = 0
    while len(times) < many:
        graph, broken = random_net(dice, int(dice.integers(2, 6)))
        want, needed = brute_force(graph, broken)
        if needed < 2:
            continue
        started = time.process_time()
        plan = propose_wires(graph, broken)[0]
        times.append((time.process_time() - started) * 1e3)
        equal += abs(plan.cost_mm - want) <= 1e-9
        whole += restored(graph, broken, plan)
    return {"nets": many, "equal": equal, "restored": whole, "ms": _spread(times)}


def run(arguments: list[str]) -> dict[str, Any]:
    """Plans wires for nets with one, two and three breaks."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks wires")
    parser.add_argument("--nets", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--random", type=int, default=500)
    said = parser.parse_args(arguments)
    board = open_board("demo")
    graph = build_graph(board)
    nets = candidates(graph)
    dice = np.random.default_rng(said.seed)
    ways = ways_of(board, graph)
    gc.collect()
    gc.freeze()
    rows = []
    for breaks in (1, 2, 3):
        usable = [net for net, ids in nets.items() if len(ids) >= breaks]
        times, restored, wires = [], 0, []
        led, led_restored, bends = [], 0, []
        for _ in range(said.nets):
            net = int(dice.choice(usable))
            broken = [str(one) for one in dice.choice(nets[net], breaks, replace=False)]
            started = time.process_time()
            plans = propose_wires(graph, broken, board=board)
            times.append((time.process_time() - started) * 1e3)
            started = time.process_time()
            fresh = ways.clear_of(keep_clear(graph, board, net))
            along = propose_wires(graph, broken, board=board, ways=fresh, scrape=True)
            led.append((time.process_time() - started) * 1e3)
            led_restored += along[0].restores
            bends += [wire.bends for wire in along[0].wires]
            restored += plans[0].restores
            wires.append(len(plans[0].wires))
        rows.append(
            {
                "breaks": breaks,
                "nets": said.nets,
                "restored": restored,
                "wires_mean": round(statistics.mean(wires), 2),
                "ms": _spread(times),
                "along": {
                    "restored": led_restored,
                    "bends_mean": round(statistics.mean(bends or [0]), 2),
                    "ms": _spread(led),
                },
            }
        )
    gc.unfreeze()
    return {"board": "demo", "seed": said.seed, "random": against_brute_force(said.random, said.seed), "rows": rows}
