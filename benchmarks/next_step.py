"""How long ``next_step`` takes after a reading, over whole practice sessions: belief and recommendation, warm.

``--board`` (default demo), ``--socket``, ``--sessions N``, ``--seed N`` (of the first patient). Percentiles over every call but each session's first.
"""

from __future__ import annotations

import argparse
from time import perf_counter
from typing import Any

import numpy as np

from coppermend import bootstrap
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.planning.next import next_step
from coppermend.services.practice import patient_of


def run(arguments: list[str]) -> dict[str, Any]:
    """Times every call."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks next_step")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--socket", default="")
    parser.add_argument("--sessions", type=int, default=6)
    parser.add_argument("--seed", type=int, default=1)
    o = parser.parse_args(arguments)
    setting = bootstrap.practice_setting(o.board, o.socket)
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
