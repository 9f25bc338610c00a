"""Whole repairs on practice patients of the whole kind: power-ups, modelled minutes and harm of ours, of common practice and of the fixed checklist; resumable.

Each patient has 1 to 4 faults (by seed) of kinds drawn evenly: copper, joint, contact, chip, passive, memory, ROM, supply. All policies meet the same
patients. ``next`` is what ``coppermend next CASE`` names in a case of its own, carried out and noted. All seconds are modelled, measuring and working.

A patient that a policy does not mend counts with its time until it gave up or was stopped (900 acts or 8 hours); how many is printed beside it.

``--board`` (default demo), ``--seeds A-B`` (default 1-20), ``--faults`` (default 1-4), ``--policies``, ``--into FILE``: one line per patient and policy is
added, seeds that it has are not run again. ``--summed``: nothing is run; the patients in FILE that every policy has met are summed up.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from benchmarks._rows import keep_row, kept_rows
from coppermend import bootstrap
from coppermend.cli.practice import _range
from coppermend.services.whole_practice import WHOLE_POLICIES, run_whole


def minutes(rows: list[dict[str, Any]]) -> dict[str, float]:
    """Median and 90th percentile of the modelled minutes."""
    found = [row["seconds_bench"] / 60.0 for row in rows]
    return {"median": round(median(found), 1), "p90": round(float(np.percentile(found, 90)), 1)}


def summed(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """What a policy did to its patients."""
    if not rows:
        return {"patients": 0}
    three = [row["power_ups"] for row in rows if row["faults"] == 3]
    n = len(rows)
    mended = [row for row in rows if row["mended"]]
    return {
        "patients": n,
        "mended": len(mended),
        "mended_share": round(len(mended) / n, 3),
        "minutes": minutes(rows),
        "minutes_mended": minutes(mended) if mended else {},
        "power_ups_median": median([row["power_ups"] for row in rows]),
        "power_ups_three_median": median(three) if three else None,
        "into_short": sum(row["harm"]["into_short"] for row in rows),
        "without_consent": sum(row["harm"]["without_consent"] for row in rows),
        "needless_per_case": round(sum(row["harm"]["needless"] for row in rows) / n, 3),
        "not_mended_seeds": [row["seed"] for row in rows if not row["mended"]],
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """Run the patients that are missing, and sum all up."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks whole_repair")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--seeds", default="1-20")
    parser.add_argument("--faults", default="1-4")
    parser.add_argument("--policies", default=",".join(WHOLE_POLICIES))
    parser.add_argument("--into", type=Path, default=None)
    parser.add_argument("--summed", action="store_true")
    o = parser.parse_args(arguments)
    first, last = _range(o.seeds, "--seeds")
    low, high = _range(o.faults, "--faults")
    world = f"whole {o.board} {o.faults}"
    rows = {(row["seed"], row["policy"]): row for row in kept_rows(o.into, world)}
    setting = None
    for seed in range(first, last + 1):
        for policy in o.policies.split(","):
            if o.summed or (seed, policy) in rows:
                continue
            setting = setting or bootstrap.whole_setting(o.board)
            count = low + seed % (high - low + 1)
            marked, _ = run_whole(
                setting, seed, count, policy, bootstrap.practice_workshop, bootstrap.device_book(None)
            )
            row = {"world": world, **marked}
            rows[(seed, policy)] = row
            keep_row(o.into, row)
    names = o.policies.split(",")
    met = {seed for seed, _ in rows if all((seed, name) in rows for name in names)}
    wanted = [row for (seed, _), row in rows.items() if first <= seed <= last and seed in met]
    by = {name: [row for row in wanted if row["policy"] == name] for name in names}
    seeds = sorted({row["seed"] for row in wanted})
    found: dict[str, Any] = {
        "world": world,
        "seeds": o.seeds,
        "met": seeds,
        **{name: summed(mine) for name, mine in by.items()},
    }
    if by.get("next") and by.get("practice"):
        ours, theirs = minutes(by["next"]), minutes(by["practice"])
        found["minutes_ratio"] = {key: round(ours[key] / theirs[key], 3) for key in ours}
    return found
