"""One alloy's solidus, liquidus and heat of melting, and the whole diagram with its doses: milliseconds of processor time.

``--alloys N`` (default 300) random tin-lead-bismuth alloys, ``--seed N``; each is asked once, so no answer comes from the memory of an earlier one.
"""

from __future__ import annotations

import argparse
import statistics
import time
from typing import Any

import numpy as np

from coppermend.core.rework.alloy.composition import read_alloy
from coppermend.core.rework.alloy.diagram import isotherms
from coppermend.core.rework.alloy.dose import plan_doses
from coppermend.core.rework.alloy.melting import melting
from coppermend.services.alloydrawing import draw_alloys


def run(arguments: list[str]) -> dict[str, Any]:
    """Times the point and the diagram."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks alloy")
    parser.add_argument("--alloys", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args(arguments)
    dice = np.random.default_rng(said.seed)
    started = time.process_time()
    melting((0.0, 37.0, 63.0))
    first = (time.process_time() - started) * 1e3
    points = []
    for row in dice.dirichlet((0.7, 0.7, 0.7), said.alloys):
        bismuth, lead, tin = (100 * row).tolist()
        started = time.process_time()
        melting((bismuth, lead, tin))
        points.append((time.process_time() - started) * 1e3)
    drawn = []
    for name in ("Bi52Pb32Sn16", "Sn42Bi58", "Bi50Pb28Sn22", "Sn43Pb43Bi14", "Bi46Sn34Pb20"):
        plan = plan_doses(read_alloy("Sn60Pb40"), read_alloy(name), 12.0, keep_c=150.0)
        isotherms.cache_clear()
        started = time.process_time()
        draw_alloys(plan.base, plan.add, [one.share for one in plan.steps], plan.keep_c)
        drawn.append(time.process_time() - started)
    return {
        "alloys": said.alloys,
        "seed": said.seed,
        "first_point_ms": round(first, 1),
        "point_ms": {
            "p50": round(statistics.median(points), 1),
            "p95": round(float(np.percentile(points, 95)), 1),
            "max": round(max(points), 1),
        },
        "diagram_s": {"p50": round(statistics.median(drawn), 2), "max": round(max(drawn), 2)},
    }
