"""Whether stated probabilities are true as often as they say, and how often a verdict is wrong; over many practice patients, resumable.

A statement: a stretch whose probability of being broken came, for the first time, into one of the bins 0.90-0.95, 0.95-0.99, 0.99-1 (a stopping
time, so a calibrated belief is right that often). Two worlds: ``--world prior``, patients that follow the planner's own priors and error rates (the
95 % Wilson interval of each bin should hold the mean stated), and ``--world mixture``, patients that draw what the planner does not know
(should be: truth >= stated - 0.03). ``--world fixed``: the mixture's breaks with 2 % false opens and 0.2 % false closeds (wrong verdicts there: at most
0.01 a case).

``--board`` (default demo), ``--socket``, ``--seeds A-B`` (default 1-100), ``--breaks`` of the mixture (default 0-3), ``--into FILE``: one line per patient is added to
this file, seeds that it has are not run again, the result is over all of its lines of this world; jobs with different seeds can share a file.
"""

from __future__ import annotations

import argparse
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks._rows import keep_row, kept_rows
from benchmarks.round import calibration, wilson
from coppermend import bootstrap
from coppermend.cli.practice import _range
from coppermend.core.belief.model import Basis
from coppermend.services.practice import PracticeSetting, marks, patient_of
from coppermend.services.practice import run as run_one


def noise_of(world: str, seed: int, basis: Basis) -> dict[str, Any]:
    """The noise options of a patient: in the prior's world the planner's own rates (chips in circuit on every net),
    its share of bad contacts and scale of the damage drawn by its own weights.
    """
    if world == "mixture":
        return {}
    if world == "fixed":
        return {"false_open": 0.02, "false_closed": 0.002}
    shares = basis.contact_shares
    weights = np.array([w for _, w in shares])
    lots = np.random.default_rng([seed, 9])
    drawn = lots.choice(len(shares), p=weights / weights.sum())
    scales = basis.damage_scales or ((1.0, 1.0),)
    likely = np.array([w for _, w in scales])
    scale = scales[int(lots.choice(len(scales), p=likely / likely.sum()))][0]
    factors = basis.open_scales or ((1.0, 1.0),)
    may = np.array([w for _, w in factors])
    factor = factors[int(lots.choice(len(factors), p=may / may.sum()))][0]
    return {
        "false_open": basis.false_open * factor,
        "false_closed": basis.false_closed + basis.chip_false_closed,
        "oxidised": shares[int(drawn)][0],
        "damage": scale,
    }


def one_patient(setting: PracticeSetting, world: str, seed: int, breaks: tuple[int, int]) -> dict[str, Any]:
    """One patient under our policy: its statements with whether they are true, and its marks."""
    low, high = breaks
    count = None if world == "prior" else low + seed % (high - low + 1)
    patient = patient_of(setting, seed, count, **noise_of(world, seed, Basis()))
    truth = patient.truth()
    result = run_one(setting, patient, "next")
    broken = set(truth.broken)
    return {
        "world": world,
        "seed": seed,
        "false_closed": truth.noise.false_closed,
        "said": [[p, bool(broken & set(sites))] for sites, p in result.stated],
        "announced": len(result.announced),
        "expected_wrong_proven": result.expected_wrong,
        **marks(setting, result, truth),
    }


def kept(path: Path | None, world: str) -> dict[int, dict[str, Any]]:
    """Rows of earlier runs by seed; a last line cut short by a killed job is passed over."""
    return {row["seed"]: row for row in kept_rows(path, world)}


def summed(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """What the rows say: bins, false announcements, wrong verdicts, and what is allowed."""
    n = len(rows)
    bins = calibration([(p, true) for r in rows for p, true in r["said"]])
    for one in bins:
        one["share_true"] = round(one["true"] / one["n"], 4)
        one["short_of_stated"] = round(one["mean_stated"] - one["true"] / one["n"], 4)
        one["at_least_stated_less_3_percent"] = one["true"] / one["n"] >= one["mean_stated"] - 0.03
    announced, false = sum(r["announced"] for r in rows), sum(r["false_alarms"] for r in rows)
    wrong = sum(r["wrong_proven"] + r["false_alarms"] for r in rows)
    provable = sum(r["breaks_provable"] for r in rows)
    return {
        "patients": n,
        "statements": sum(one["n"] for one in bins),
        "bins": bins,
        "announced": announced,
        "false_announcements": false,
        "false_announcements_interval": [round(x, 5) for x in wilson(false, announced)],
        "wrong_verdicts_per_case": round(wrong / n, 5) if n else None,
        "wrong_proofs_expected_per_case": round(sum(r.get("expected_wrong_proven", 0.0) for r in rows) / n, 5)
        if n
        else None,
        "wrong_verdicts_allowed_on_the_mixture": round(
            0.005 + sum(r["breaks"] * r["false_closed"] for r in rows) / n, 5
        )
        if n
        else None,
        "provable_breaks_with_advice": round(sum(r["found_provable"] for r in rows) / provable, 4)
        if provable
        else None,
        "error_bound": max((r["error_bound"] for r in rows), default=0.0),
        "by_false_closed": by_false_closed(rows),
    }


def by_false_closed(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Statements of 0.90 to 0.95 by thirds of the patients, those whose meter beeps by mistake least often first: the rate is not told to the planner."""
    edges = np.quantile([r["false_closed"] for r in rows], [0.0, 1 / 3, 2 / 3, 1.0]).tolist() if rows else []
    found = []
    for low, high in pairwise(edges):
        mine = [r for r in rows if low <= r["false_closed"] < high or r["false_closed"] == high == edges[-1]]
        said = [(p, true) for r in mine for p, true in r["said"] if 0.90 <= p < 0.95]
        if said:
            stated, share = np.mean(said, axis=0).tolist()
            found.append(
                {
                    "rates": [round(low, 5), round(high, 5)],
                    "n": len(said),
                    "mean_stated": round(stated, 4),
                    "share_true": round(share, 4),
                }
            )
    return found


def run(arguments: list[str]) -> dict[str, Any]:
    """Runs the patients that are missing and sums up all."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks calibration")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--socket", default="")
    parser.add_argument("--world", choices=("prior", "mixture", "fixed"), default="prior")
    parser.add_argument("--seeds", default="1-100")
    parser.add_argument("--breaks", default="0-3")
    parser.add_argument("--into", default="")
    o = parser.parse_args(arguments)
    path = Path(o.into) if o.into else None
    first, last = _range(o.seeds, "--seeds")
    rows = kept(path, o.world)
    setting = bootstrap.practice_setting(o.board, o.socket)
    for seed in range(first, last + 1):
        if seed in rows:
            continue
        rows[seed] = one_patient(setting, o.world, seed, _range(o.breaks, "--breaks"))
        keep_row(path, rows[seed])
    seeds = sorted(rows)
    return {
        "board": o.board,
        "socket": setting.socket,
        "world": o.world,
        "seeds": f"{seeds[0]}-{seeds[-1]}" if seeds else "",
        **summed([rows[s] for s in seeds]),
    }
