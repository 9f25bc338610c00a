"""How soon the first truly faulty unit is named under power, in steps and modelled minutes, against the fixed order of common practice; resumable.

Patients of 1 to 3 faults (by seed) on the demonstration machine or another board; ``--draw uniform`` draws them evenly over all causes although
the planner believes its priors. ``checklist`` is the fixed order (rails, clock, reset, processor, selects, buses, memory, video, rest) with the
same belief, over the first ``--checklist`` seeds. ``latency``: CPU time of one step, belief and next step together (``process_time``).

``--board`` (default demo), ``--seeds A-B`` (default 1-60), ``--faults`` (default 1-3), ``--kinds``, ``--draw``, ``--checklist N`` (default 10),
``--no-analyser``: the bench has no logic analyser, so no wave of several points. ``--into FILE``: one line per patient and policy is added, seeds that it has are not run again.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from benchmarks._rows import keep_row, kept_rows
from benchmarks.round import wilson
from coppermend import bootstrap
from coppermend.cli.practice import _range
from coppermend.services.powered_practice import powered_patient, run_powered


def kept(path: Path | None, world: str) -> dict[tuple[int, str], dict[str, Any]]:
    """Rows of earlier runs by seed and policy; a last line cut short by a killed job is passed over."""
    return {(row["seed"], row["policy"]): row for row in kept_rows(path, world)}


def summed(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Medians, 90th percentiles, shares with Wilson intervals, calibration of what was named near 0.95."""
    if not rows:
        return {"patients": 0}
    steps = [r["steps"] for r in rows]
    minutes = [r["seconds_bench"] / 60.0 for r in rows]
    named = [r for r in rows if r["named"]]
    true = sum(r["named_true"] for r in named)
    near = [r for r in named if r["p_named"] <= 0.98]
    cpu = [x for r in rows for x in r["cpu_ms"]]
    return {
        "patients": len(rows),
        "steps_median": median(steps),
        "steps_p90": float(np.percentile(steps, 90)),
        "minutes_median": round(median(minutes), 2),
        "minutes_p90": round(float(np.percentile(minutes, 90)), 2),
        "named": len(named),
        "named_true": true,
        "named_true_share": round(true / max(1, len(named)), 4),
        "named_true_wilson": [round(x, 4) for x in wilson(true, len(named))] if named else [],
        "near_095": len(near),
        "near_095_true": sum(r["named_true"] for r in near),
        "near_095_wilson": [round(x, 4) for x in wilson(sum(r["named_true"] for r in near), len(near))] if near else [],
        "wrong_seeds": [r["seed"] for r in named if not r["named_true"]],
        "top3_true": sum(r["top3_true"] for r in rows),
        "steps_by_faults": {str(k): median([r["steps"] for r in rows if r["faults"] == k]) for k in sorted({r["faults"] for r in rows})},
        "step_cpu_ms": {"p50": round(float(np.percentile(cpu, 50)), 1), "p95": round(float(np.percentile(cpu, 95)), 1), "n": len(cpu)} if cpu else {},
        "sets": rows[0]["sets"],
    }  # fmt: skip


def run(arguments: list[str]) -> dict[str, Any]:
    """Run the patients that are missing, and sum all up."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks suspects")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--seeds", default="1-60")
    parser.add_argument("--faults", default="1-3")
    parser.add_argument("--kinds", default="any", choices=["any", "copper", "parts"])
    parser.add_argument("--draw", default="prior", choices=["prior", "uniform"])
    parser.add_argument("--checklist", type=int, default=10)
    parser.add_argument("--into", type=Path, default=None)
    parser.add_argument("--no-analyser", action="store_true")
    o = parser.parse_args(arguments)
    first, last = _range(o.seeds, "--seeds")
    low, high = _range(o.faults, "--faults")
    world = f"{o.board} {o.kinds} {o.draw} {o.faults}{' no analyser' if o.no_analyser else ''}"
    rows = kept(o.into, world)
    made = None
    for seed in range(first, last + 1):
        for policy in ("next", "checklist") if seed < first + o.checklist else ("next",):
            if (seed, policy) in rows:
                continue
            made = made or bootstrap.powered_setting(o.board)
            case = powered_patient(made, seed, low + seed % (high - low + 1), o.kinds, uniform=o.draw == "uniform")
            marked = run_powered(made, case, policy, analyser=not o.no_analyser)
            fields = (
                "policy",
                "faults",
                "steps",
                "seconds_bench",
                "named",
                "p_named",
                "named_true",
                "top3_true",
                "sets",
                "screen",
            )
            row = {
                "world": world,
                "seed": seed,
                **{f: marked[f] for f in fields},
                "cpu_ms": marked["step_cpu_ms"]["all"],
                "true": [t["unit"] for t in marked["true"]],
                "unit": marked["named"],
            }
            rows[(seed, policy)] = row
            keep_row(o.into, row)
    ours = [r for (_, policy), r in rows.items() if policy == "next"]
    fixed = [r for (_, policy), r in rows.items() if policy == "checklist"]
    both = [(rows[(s, "next")], rows[(s, "checklist")]) for (s, p) in rows if p == "checklist" and (s, "next") in rows]
    return {
        "world": world,
        "seeds": o.seeds,
        "next": summed(ours),
        "checklist": summed([{**r, "cpu_ms": []} for r in fixed]),
        "fewer_steps_than_checklist": round(sum(b["steps"] for _, b in both) / max(1, sum(a["steps"] for a, _ in both)), 1) if both else None,
    }  # fmt: skip
