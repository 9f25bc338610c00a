"""Modelled bench time of the policies on the same practice patients, extra checks per break, wrong verdicts, calibration.

Every policy meets the same patients in one run; ``next`` meets each once more without its breaks, for the extra checks per break. Ratios count,
seconds are modelled. ``--board`` (default demo), ``--socket``, ``--seeds A-B``, ``--breaks A-B``, ``--policies a,b``, ``--false-open``, ``--false-closed``,
``--oxidised`` (not given: drawn per patient). ``--into FILE``: one line a patient is added to this file; patients that it has under the same options
are not run again, so that a stopped job goes on where it was, and the result is over all of its lines.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from math import sqrt
from pathlib import Path
from typing import Any

from benchmarks._rows import keep_row, kept_rows
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
    both = {
        "patients": len(rows),
        "checks": round(sum(r["checks"] for r in rows) / len(rows), 2),
        "continuity_s": round(sum(r["seconds_bench"] for r in rows) / len(rows), 1),
    }
    rows = [r for r in rows if r["found"] is not None]
    n = len(rows)
    if not n:
        return {**both, "judged": 0}
    provable, found = sum(r["breaks_provable"] for r in rows), sum(r["found_provable"] for r in rows)
    return {
        **both,
        "judged": n,
        "breaks": sum(r["breaks"] for r in rows),
        "breaks_provable": provable,
        "found_provable": found,
        "provable_breaks_with_advice": round(found / provable, 4) if provable else None,
        "false_alarms": sum(r["false_alarms"] for r in rows),
        "wrong_verdicts_per_case": round(sum(r["wrong_proven"] + r["false_alarms"] for r in rows) / n, 4),
        "proven_share": round(sum(r["proven"] / max(r["at_risk"], 1) for r in rows) / n, 4),
        "stopped": sum(bool(r["stopped"]) for r in rows),
        "error_bound": max(r["error_bound"] for r in rows),
    }


KEPT_OF_A_RUN = (
    "checks", "seconds_bench", "breaks", "breaks_provable", "found", "found_provable", "false_alarms", "wrong_proven",
    "proven", "at_risk", "provable", "not_settled", "stopped", "error_bound", "bound", "isolation",
)  # fmt: skip


def one_patient(
    setting: PracticeSetting, policies: Sequence[str], seed: int, count: int, noise: dict[str, Any]
) -> dict[str, Any]:
    """One patient under every policy, and under ours once more without its breaks: the row that is kept."""
    runs: dict[str, Run] = {}
    row: dict[str, Any] = {"seed": seed, "asked": count, "policies": {}, "said": [], "risk": {}}
    for policy in policies:
        runs[policy], marked = run_policy(setting, policy, seed, count, noise)
        row["policies"][policy] = {k: marked[k] for k in KEPT_OF_A_RUN}
    if "next" in runs:
        broken = set(patient_of(setting, seed, count, **noise).truth().broken)
        row["said"] = [[s.p, bool(set(s.sites) & broken)] for s in runs["next"].suspects]
        whole = runs["next"].steps if not count else run_policy(setting, "next", seed, 0, noise)[0].steps
        row["checks_without_breaks"] = len(whole)
    if "pin" in runs:
        row["risk"] = {p: proven_risk_after(setting, r, runs["pin"].seconds) for p, r in runs.items() if r.judged}
    return row


def told(rows: Sequence[dict[str, Any]], policies: Sequence[str]) -> dict[str, Any]:
    """What the rows of all patients say."""
    done = {p: summary([r["policies"][p] for r in rows]) for p in policies}
    first = next(iter(rows[0]["policies"].values()))
    bound = first["bound"]
    star = done["star"]["continuity_s"] if "star" in done else 0.0
    whole = [r["checks_without_breaks"] for r in rows if "checks_without_breaks" in r]
    with_breaks = [r for r in rows if r["asked"] and "checks_without_breaks" in r]
    extra = sum(r["policies"]["next"]["checks"] - r["checks_without_breaks"] for r in with_breaks)
    breaks = sum(r["policies"]["next"]["breaks_provable"] for r in with_breaks)
    risky = [r["risk"] for r in rows if r["risk"]]
    return {
        "bound": bound,
        "isolation": first["isolation"],
        "policies": done,
        "round_length_over_bound_without_breaks": round(sum(whole) / len(whole) / bound, 4)
        if whole and bound
        else None,
        "seconds_over_star": {p: round(d["continuity_s"] / star, 3) for p, d in done.items()} if star else {},
        "risk_proven_at_pin_seconds": {
            p: round(sum(r[p] for r in risky if p in r) / sum(p in r for r in risky), 4)
            for p in policies
            if any(p in r for r in risky)
        },
        "extra_checks_per_provable_break": round(extra / breaks, 2) if breaks else None,
        "calibration": calibration([(p, true) for r in rows for p, true in r["said"]]),
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """Runs the patients that are missing and compares over all."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks round")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--socket", default="")
    parser.add_argument("--seeds", default="1-10")
    parser.add_argument("--breaks", default="0-3")
    parser.add_argument("--policies", default="next,cover,pin,chain,star")
    parser.add_argument("--false-open", type=float, default=None)
    parser.add_argument("--false-closed", type=float, default=None)
    parser.add_argument("--oxidised", type=float, default=None)
    parser.add_argument("--into", default="")
    o = parser.parse_args(arguments)
    setting = bootstrap.practice_setting(o.board, o.socket)
    (first, last), (low, high) = _range(o.seeds, "--seeds"), _range(o.breaks, "--breaks")
    noise = {"false_open": o.false_open, "false_closed": o.false_closed, "oxidised": o.oxidised}
    policies = o.policies.split(",")
    path = Path(o.into) if o.into else None
    board = Path(o.board).name
    world = f"{board} {setting.socket} breaks {o.breaks} {noise} {o.policies}"
    rows = {row["seed"]: row for row in kept_rows(path, world)}
    for seed in range(first, last + 1):
        if seed in rows:
            continue
        rows[seed] = {"world": world, **one_patient(setting, policies, seed, low + seed % (high - low + 1), noise)}
        keep_row(path, rows[seed])
    seeds = sorted(rows)
    return {
        "board": board,
        "socket": setting.socket,
        "seeds": f"{seeds[0]}-{seeds[-1]}",
        "patients": len(seeds),
        "noise": noise,
        **told([rows[s] for s in seeds], policies),
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
    proven = [k for k in sites if now.unproven[k] < now.basis.proven_below]
    return float(now.prior[proven].sum() / now.prior[sites].sum()) if sites else 1.0
