"""The copper graph: build, overlay of part states with a wire and a cut, net views, and a board with its graph from the cache.

``--board PACKAGE`` (default demo), ``--runs N`` (default 5, the first thrown away; medians, seconds of processor time and of the clock).
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from typing import Any

from coppermend import bootstrap
from coppermend.core.board.model import PartState
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.provable import all_views
from coppermend.core.copper.worked import PatchWire, TrackCut, worked


def medians(call: Callable[[], object], runs: int) -> dict[str, float]:
    """Median seconds of the clock and of the processor over ``runs`` calls after one that is thrown away."""
    clock, processor = [], []
    for _ in range(runs + 1):
        start, busy = time.perf_counter(), time.process_time()
        call()
        clock.append(time.perf_counter() - start)
        processor.append(time.process_time() - busy)
    return {"clock_s": statistics.median(clock[1:]), "processor_s": statistics.median(processor[1:])}


def run(arguments: list[str]) -> dict[str, Any]:
    """Times each stage on one board."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks graph")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--runs", type=int, default=5)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        shelved = bootstrap.open_shelved(asked.board, folder)
        cached = medians(lambda: bootstrap.open_shelved(asked.board, folder), asked.runs)
    board, graph = shelved.board, shelved.graph
    part = max(board.parts, key=lambda p: len(p.pins)).ref
    ends = [p.id for p in graph.points if p.reachable and p.part and p.part != part][:2]
    wire = PatchWire("benchmark", *ends)
    track = next(s for s in graph.sites if s.kind.value == "run")
    x, y = track.path[0]
    cut = TrackCut("benchmark", layer=track.layer, x_mm=x, y_mm=y)
    return {
        "board": asked.board,
        "nets": len(board.nets),
        "sites": len(graph.sites),
        "points": len(graph.points),
        "build": medians(lambda: build_graph(board), asked.runs),
        "overlay": medians(lambda: worked(graph, {part: PartState.OUT}, [wire], [cut]), asked.runs),
        "views": medians(lambda: all_views(graph), asked.runs),
        "board_and_graph_from_cache": cached,
    }
