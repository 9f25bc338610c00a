"""Planning patch wires on the demonstration board: milliseconds of CPU a net, nets restored, and how many wires a plan takes.

Each net twice: straight wires, and wires led along the board round its forbidden places with bared tracks among the ends.

Breaks are drawn evenly among the runs and barrels of nets with three pins or more. ``--nets N`` (default 100 for each number of breaks), ``--seed N``.
"""

from __future__ import annotations

import argparse
import statistics
import time
from dataclasses import replace
from typing import Any

import numpy as np

from coppermend.bootstrap import open_board
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph, SiteKind
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


def run(arguments: list[str]) -> dict[str, Any]:
    """Plans wires for nets with one, two and three breaks."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks wires")
    parser.add_argument("--nets", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args(arguments)
    board = open_board("demo")
    graph = build_graph(board)
    nets = candidates(graph)
    dice = np.random.default_rng(said.seed)
    ways = ways_of(board, graph)
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
            fresh = replace(ways, kept={})
            started = time.process_time()
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
    return {"board": "demo", "seed": said.seed, "rows": rows}
