"""How long ``next_step`` takes after a reading, over whole practice sessions: belief and recommendation, warm.

``--board`` (default demo), ``--socket``, ``--sessions N``, ``--seed N`` (of the first patient). Percentiles over every call but each session's first.
``--tiles N``: the board laid N times side by side, each copy with its work areas; then only the first plan and the first 25 replans are timed, in
processor time, with every fifth reading open.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from time import perf_counter, process_time
from typing import Any

import numpy as np

from coppermend import bootstrap
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.copper.model import CopperGraph
from coppermend.core.planning.next import next_step
from coppermend.core.planning.round import plan_round
from coppermend.services.practice import patient_of

APART_MM = 400.0
"""From one copy of the board to the next."""


def tiled(graph: CopperGraph, copies: int) -> CopperGraph:
    """The copper ``copies`` times side by side, as one board."""
    nets, nodes = len(graph.net_names), graph.node_count
    each = range(copies)
    return replace(
        graph,
        sites=tuple(
            replace(s, id=f"{k}:{s.id}", a=s.a + k * nodes, b=s.b + k * nodes, net=s.net + k * nets,
                    path=tuple((x + k * APART_MM, y) for x, y in s.path))
            for k in each for s in graph.sites
        ),
        points=tuple(
            replace(p, id=f"{k}:{p.id}", node=p.node + k * nodes, net=p.net + k * nets, x_mm=p.x_mm + k * APART_MM)
            for k in each for p in graph.points
        ),
        net_names=tuple(f"{k}:{name}" for k in each for name in graph.net_names),
        node_net=tuple(n + k * nets for k in each for n in graph.node_net),
        node_place=tuple((x + k * APART_MM, y, layer) for k in each for x, y, layer in graph.node_place),
        node_kind=graph.node_kind * copies,
        memo={},
    )  # fmt: skip


def whole_board(graph: CopperGraph, areas: tuple[WorkArea, ...], copies: int) -> dict[str, Any]:
    """Processor time of the first plan of a large board, and of replanning after each of its first readings."""
    big = tiled(graph, copies)
    zones = tuple(
        replace(a, id=f"{k}:{a.id}", polygon=tuple((x + k * APART_MM, y) for x, y in a.polygon))
        for k in range(copies)
        for a in areas
    )
    begun = process_time()
    plan = plan_round(big, zones, (), Basis())
    first = process_time() - begun
    evidence: list[Evidence] = []
    ms: list[float] = []
    next_step(big, zones, (), Basis(), plan=plan)
    for n, check in enumerate(plan.checks[:25]):
        evidence.append(Evidence(str(n), check.point_a, check.point_b, "closed" if n % 5 else "open"))
        begun = process_time()
        next_step(big, zones, evidence, Basis(), plan=plan)
        ms.append(1000.0 * (process_time() - begun))
    return {
        "nets": len(big.net_names),
        "checks": len(plan.checks),
        "first_plan_cpu_s": round(first, 2),
        "replan_cpu_ms_p50": round(float(np.median(ms)), 1),
        "replan_cpu_ms_p95": round(float(np.percentile(ms, 95)), 1),
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """Times every call."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks next_step")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--socket", default="")
    parser.add_argument("--sessions", type=int, default=6)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tiles", type=int, default=1)
    o = parser.parse_args(arguments)
    setting = bootstrap.practice_setting(o.board, o.socket)
    if o.tiles > 1:
        return {"board": o.board, "tiles": o.tiles, **whole_board(setting.graph, setting.areas, o.tiles)}
    ms: list[float] = []
    first: list[float] = []
    for seed in range(o.seed, o.seed + o.sessions):
        patient = patient_of(setting, seed, seed % 4)
        evidence: list[Evidence] = []
        while True:
            begun = perf_counter()
            step = next_step(setting.graph, setting.areas, evidence, Basis())
            (ms if evidence else first).append(1000.0 * (perf_counter() - begun))
            if step.kind not in ("check", "retest") or step.check is None:
                break
            said = patient.ask(step.check.point_a, step.check.point_b).says
            evidence.append(Evidence(str(len(evidence)), step.check.point_a, step.check.point_b, said))
    p50, p95, p99 = np.percentile(ms, [50, 95, 99]).tolist()
    return {
        "board": o.board,
        "nets": len(setting.graph.net_names),
        "sessions": o.sessions,
        "seed": o.seed,
        "calls": len(ms),
        "first_plan_ms": round(first[0], 1),
        "p50_ms": round(p50, 2),
        "p95_ms": round(p95, 2),
        "p99_ms": round(p99, 2),
        "max_ms": round(max(ms), 2),
    }
