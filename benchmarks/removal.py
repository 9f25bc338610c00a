"""The removal plan of a 64-pin part on a four-layer board with planes (the test's own board), and of parts of the demonstration board: seconds of CPU.

``--times N`` (default 5) plans of each; every plan starts from a board and graph without what an earlier one kept.
"""

from __future__ import annotations

import argparse
import statistics
import time
from dataclasses import replace
from typing import Any

from tests.facts.test_rework_removal import four_layers

from coppermend.bootstrap import open_board
from coppermend.core.board.model import Board
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph
from coppermend.core.rework.removal import plan_removal
from coppermend.services.around import around_part

DEMO_PARTS = ("U1", "U5", "C25", "BT1")


def _timed(board: Board, graph: CopperGraph, ref: str, times: int) -> dict[str, Any]:
    """CPU seconds of the plans of one part."""
    spent, plan = [], None
    for _ in range(times):
        fresh = replace(graph, memo={})
        polygon = around_part(board, ref, 3.0)
        started = time.process_time()
        plan = plan_removal(board, fresh, board.part(ref), polygon)
        spent.append(time.process_time() - started)
    assert plan is not None
    return {
        "part": ref,
        "pins": len(plan.pins),
        "layers": len(board.layers),
        "unknowns": plan.unknowns,
        "s": {"p50": round(statistics.median(spent), 2), "max": round(max(spent), 2)},
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """Plans each part several times."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks removal")
    parser.add_argument("--times", type=int, default=5)
    said = parser.parse_args(arguments)
    four = four_layers()
    rows = [_timed(four, build_graph(four), "U1", said.times)]
    demo = open_board("demo")
    graph = build_graph(demo)
    rows += [_timed(demo, graph, ref, said.times) for ref in DEMO_PARTS]
    return {"times": said.times, "rows": rows}
