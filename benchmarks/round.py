"""Modelled bench time of the policies on the same practice patients, extra checks per break, wrong verdicts, calibration.

Every policy meets the same patients in one run; ``next`` meets each once more without its breaks, for the extra checks per break. Ratios count,
seconds are modelled. ``--board`` (default demo), ``--socket``, ``--seeds A-B``, ``--breaks A-B``, ``--policies a,b``, ``--false-open``, ``--false-closed``,
``--oxidised`` (not given: drawn per patient).
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from math import sqrt
from typing import Any

from coppermend import bootstrap
from coppermend.cli.practice import _range
from coppermend.core.belief.engine import belief
from coppermend.core.belief.model import Basis
from coppermend.services.practice import PracticeSetting, Run, full_marks, patient_of
from coppermend.services.practice import run as run_one

BINS = ((0.90, 0.95), (0.95, 0.99), (0.99, 1.0))


def run_policy(
    setting: PracticeSetting, policy: str, seed: int, breaks: int, noise: dict[str, Any]
) -> tuple[Run, dict[str, Any]]:
    """One patient under one policy, marked."""
    patient = patient_of(setting, seed, breaks, **noise)
    result = run_one(setting, patient, policy)
    return result, full_marks(setting, result, patient.truth())


def wilson(hits: int, n: int) -> tuple[float, float]:
    """95 % Wilson score interval (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927))."""
    if not n:
        return (0.0, 1.0)
    z, p = 1.959964, hits / n
    middle, half = p + z * z / (2 * n), z * sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return ((middle - half) / (1 + z * z / n), (middle + half) / (1 + z * z / n))


def calibration(said: Sequence[tuple[float, bool]]) -> list[dict[str, Any]]:
    """For each bin of stated probability: how many, how many true, the interval, and whether it holds the mean stated."""
    rows = []
    for low, high in BINS:
        mine = [(p, true) for p, true in said if low <= p < high or (high == 1.0 and p == 1.0)]
        if not mine:
            continue
        hits = sum(true for _, true in mine)
        interval = wilson(hits, len(mine))
        mean = sum(p for p, _ in mine) / len(mine)
        rows.append(
            {
                "stated": [low, high],
                "n": len(mine),
                "true": hits,
                "mean_stated": round(mean, 5),
                "interval": [round(x, 4) for x in interval],
                "holds": interval[0] <= mean <= interval[1],
            }
        )
    return rows


def summary(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Means and sums over the patients of one policy."""
    n = len(rows)
    return {
        "patients": n,
        "checks": round(sum(r["checks"] for r in rows) / n, 2),
        "continuity_s": round(sum(r["seconds_bench"] for r in rows) / n, 1),
        "breaks": sum(r["breaks"] for r in rows),
        "breaks_provable": sum(r["breaks_provable"] for r in rows),
        "found_provable": sum(r["found_provable"] for r in rows),
        "false_alarms": sum(r["false_alarms"] for r in rows),
        "wrong_verdicts_per_case": round(sum(r["wrong_proven"] + r["false_alarms"] for r in rows) / n, 4),
        "proven_share": round(sum(r["proven"] / max(r["at_risk"], 1) for r in rows) / n, 4),
        "error_bound": max(r["error_bound"] for r in rows),
        "update_p95_ms": round(sorted(r["updates_ms"]["p95"] for r in rows)[n // 2], 1),
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """Runs the comparison."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks round")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--socket", default="")
    parser.add_argument("--seeds", default="1-10")
    parser.add_argument("--breaks", default="0-3")
    parser.add_argument("--policies", default="next,cover,pin,star")
    parser.add_argument("--false-open", type=float, default=None)
    parser.add_argument("--false-closed", type=float, default=None)
    parser.add_argument("--oxidised", type=float, default=None)
    o = parser.parse_args(arguments)
    setting = bootstrap.practice_setting(o.board, o.socket)
    (first, last), (low, high) = _range(o.seeds, "--seeds"), _range(o.breaks, "--breaks")
    noise = {"false_open": o.false_open, "false_closed": o.false_closed, "oxidised": o.oxidised}
    rows: dict[str, list[dict[str, Any]]] = {p: [] for p in o.policies.split(",")}
    said: list[tuple[float, bool]] = []
    risk: dict[str, list[float]] = {}
    extra = breaks = 0
    for seed in range(first, last + 1):
        count = low + seed % (high - low + 1)
        runs: dict[str, Run] = {}
        for policy, mine in rows.items():
            result, marked = run_policy(setting, policy, seed, count, noise)
            runs[policy] = result
            mine.append(marked)
            if policy == "next":
                broken = set(patient_of(setting, seed, count, **noise).truth().broken)
                said += [(s.p, bool(set(s.sites) & broken)) for s in result.suspects]
                if count:
                    extra += marked["checks"] - run_policy(setting, "next", seed, 0, noise)[1]["checks"]
                    breaks += marked["breaks_provable"]
        if "pin" in runs:
            for policy, result in runs.items():
                risk.setdefault(policy, []).append(proven_risk_after(setting, result, runs["pin"].seconds))
    done = {p: summary(r) for p, r in rows.items()}
    bound = next(iter(rows.values()))[0]["bound"]
    star = done.get("star", {}).get("continuity_s")
    return {
        "board": o.board,
        "socket": setting.socket,
        "seeds": o.seeds,
        "noise": noise,
        "bound": bound,
        "isolation": next(iter(rows.values()))[0]["isolation"],
        "policies": done,
        "round_length_over_bound_without_breaks": _without_breaks(rows.get("next", []), bound),
        "seconds_over_star": {p: round(d["continuity_s"] / star, 3) for p, d in done.items()} if star else {},
        "risk_proven_at_pin_seconds": {p: round(sum(r) / len(r), 4) for p, r in risk.items()},
        "extra_checks_per_provable_break": round(extra / breaks, 2) if breaks else None,
        "calibration": calibration(said),
    }


def proven_risk_after(setting: PracticeSetting, result: Run, seconds: float) -> float:
    """Share of the provable prior risk that readings proved within the first ``seconds`` of a run: sum of priors of proven sites over that of all."""
    spent, count = 0.0, 0
    for step in result.steps:
        spent += step.seconds
        if spent > seconds:
            break
        count += 1
    now = belief(setting.graph, setting.areas, result.evidence[:count], Basis())
    sites = [now.copper.site[s] for s in result.provable]
    proven = [k for k in sites if now.sites[k] < now.basis.proven_below]
    return float(now.prior[proven].sum() / now.prior[sites].sum()) if sites else 1.0


def _without_breaks(rows: Sequence[dict[str, Any]], bound: int) -> float | None:
    whole = [r["checks"] for r in rows if r["breaks"] == 0]
    return round(sum(whole) / len(whole) / bound, 4) if whole and bound else None
