"""How long ``next_step`` takes after a reading, over whole practice sessions: belief and recommendation, in processor time, warm.

``--board`` (default demo), ``--socket``, ``--seed N`` (of the first patient), ``--calls N`` (default 500): patients follow each other until every group
that the board can fill has so many calls, at most ``--sessions N`` (default 40) of them. Groups go by the probe points of the net that was read last: up
to 40, 41 to 80, more. The first session warms up and is counted in no percentile; of every other one its first plan is left out.
``--whole``: the whole board is one work area (corrosion, severity 1), and one patient with two breaks is read on until there are enough calls; the
groups are then left out, and replanning is judged over all calls but the first 20.
``--tiles N``: the board laid N times side by side, each copy with its work areas; then only the first plan and the first 25 replans are timed, with
every fifth reading open.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np

from coppermend import bootstrap
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.copper.model import CopperGraph
from coppermend.core.planning.next import next_step
from coppermend.core.planning.round import plan_round
from coppermend.services.practice import PracticeSetting, patient_of

APART_MM = 400.0
"""From one copy of the board to the next."""
GROUPS = (("up_to_40", 40), ("up_to_80", 80), ("more", 1_000_000))
"""Name of a group of calls, and the most probe points of the net that was read last."""
WARM_UP = 20
"""Calls of a whole board that are not judged."""
EDGE_MM = 5.0
"""A work area over the whole board reaches so far beyond its outermost point."""


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


def everywhere(graph: CopperGraph) -> WorkArea:
    """One work area over every probe point of a board."""
    x, y = [p.x_mm for p in graph.points], [p.y_mm for p in graph.points]
    left, right, low, high = min(x) - EDGE_MM, max(x) + EDGE_MM, min(y) - EDGE_MM, max(y) + EDGE_MM
    return WorkArea("board", ((left, low), (right, low), (right, high), (left, high)), "corrosion", 1)


def session(setting: PracticeSetting, seed: int, breaks: int, most: int) -> tuple[float, list[tuple[int, float]]]:
    """One patient to its end or ``most`` calls: ms of processor time of the first plan, and of each call after a reading with that reading's net."""
    patient = patient_of(setting, seed, breaks)
    net_of = {p.id: p.net for p in setting.graph.points}
    evidence: list[Evidence] = []
    first = 0.0
    rows: list[tuple[int, float]] = []
    while len(rows) < most:
        begun = process_time()
        step = next_step(setting.graph, setting.areas, evidence, Basis())
        ms = 1000.0 * (process_time() - begun)
        if evidence:
            rows.append((net_of[evidence[-1].point_a], ms))
        else:
            first = ms
        if step.kind not in ("check", "retest") or step.check is None:
            break
        said = patient.ask(step.check.point_a, step.check.point_b).says
        evidence.append(Evidence(str(len(evidence)), step.check.point_a, step.check.point_b, said))
    return first, rows


def percentiles(ms: Sequence[float]) -> dict[str, Any]:
    """Median, 95 and 99 % and the longest of some calls."""
    if not ms:
        return {"calls": 0}
    p50, p95, p99 = np.percentile(ms, [50, 95, 99]).tolist()
    return {
        "calls": len(ms),
        "p50_cpu_ms": round(p50, 1),
        "p95_cpu_ms": round(p95, 1),
        "p99_cpu_ms": round(p99, 1),
        "max_cpu_ms": round(max(ms), 1),
    }


def by_points(setting: PracticeSetting, seed: int, sessions: int, calls: int) -> dict[str, Any]:
    """Sessions one after the other, their calls in groups by the points of the net read last."""
    size = Counter(p.net for p in setting.graph.points)
    first, _ = session(setting, seed, seed % 4, calls)
    held: dict[str, list[float]] = {name: [] for name, _ in GROUPS}
    done = 0
    while done < sessions and not all(len(ms) >= calls for ms in held.values()):
        done += 1
        for net, ms in session(setting, seed + done, (seed + done) % 4, 10 * calls)[1]:
            held[next(name for name, most in GROUPS if size[net] <= most)].append(ms)
    return {
        "sessions": done,
        "first_plan_cpu_ms": round(first, 1),
        **percentiles([ms for group in held.values() for ms in group]),
        "groups": {name: percentiles(ms) for name, ms in held.items()},
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """Times every call."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks next_step")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--socket", default="")
    parser.add_argument("--sessions", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--calls", type=int, default=500)
    parser.add_argument("--tiles", type=int, default=1)
    parser.add_argument("--whole", action="store_true")
    o = parser.parse_args(arguments)
    setting = bootstrap.practice_setting(o.board, o.socket)
    about = {"board": Path(o.board).name, "nets": len(setting.graph.net_names), "seed": o.seed}
    if o.tiles > 1:
        return {**about, "tiles": o.tiles, **whole_board(setting.graph, setting.areas, o.tiles)}
    if not o.whole:
        return {**about, **by_points(setting, o.seed, o.sessions, o.calls)}
    setting = replace(setting, areas=(everywhere(setting.graph),))
    first, rows = session(setting, o.seed, 2, o.calls + WARM_UP)
    return {
        **about,
        "whole": True,
        "first_plan_cpu_ms": round(first, 1),
        **percentiles([ms for _, ms in rows[WARM_UP:]]),
    }
