"""What past cases save when suspects under power are looked for: the same patients with the priors as they come and with what finished cases taught of parts.

A board model's own way of failing is made by factors on the priors by kind of part (``--world own``: memories six times, bus drivers four times as likely;
``default``: as the priors say). ``--past N`` (default 50) patients of that world are taken as finished cases whose truly faulty parts were replaced and
cured them, each other part counted whole (``services/learnedparts.cells_of``): what was repaired is known then, so they are drawn, not worked on. Then
``--next M`` (default 12) patients of other seeds are looked for twice, in alternating order, until a unit is named. ``--kinds parts``: faults of parts and rails only.
``--board`` (default demo), ``--seed N``, ``--into FILE``: rows are added to this file and a stopped job goes on where it was.
"""

from __future__ import annotations

import argparse
from dataclasses import asdict
from math import sqrt
from pathlib import Path
from statistics import median
from typing import Any

from benchmarks._rows import keep_row, kept_rows
from coppermend import bootstrap
from coppermend.core.belief.model import Basis
from coppermend.core.planning.learned import PART, CaseCounts, factors_of, learned_rates
from coppermend.services.learnedparts import cells_of, part_priors
from coppermend.services.learning import key_of
from coppermend.services.powered import PoweredBoard, powered_board
from coppermend.services.powered_practice import powered_patient, run_powered

WORLDS: dict[str, dict[str, float]] = {"default": {}, "own": {"4164": 6.0, "74244": 4.0, "74245": 4.0}}
"""Factors on the priors by kind of part."""
TOLD = ("steps", "seconds_bench", "named", "named_true")


def board_of(name: str, factors: dict[str, float]) -> PoweredBoard:
    """The board under power with these factors on the priors of its parts."""
    setting = bootstrap.practice_setting(name)
    board = bootstrap.open_shelved(name).board
    book, machine = bootstrap.device_book(), bootstrap.machine_model(name)
    return powered_board(board, setting.graph, setting.areas, book, machine, factors=factors)


def saved(pairs: list[tuple[dict[str, Any], dict[str, Any]]], field: str, per: float = 1.0) -> dict[str, float]:
    """Means and medians without and with what was learned, the mean difference and its standard error over pairs."""
    gaps = [(a[field] - b[field]) / per for a, b in pairs]
    mean = sum(gaps) / len(gaps)
    spread = sqrt(sum((g - mean) ** 2 for g in gaps) / (len(gaps) - 1)) if len(gaps) > 1 else 0.0
    out = {"saved": round(mean, 2), "standard_error": round(spread / sqrt(len(gaps)), 2)}
    for k, name in enumerate(("without", "with")):
        values = [pair[k][field] / per for pair in pairs]
        out |= {f"{name}_mean": round(sum(values) / len(values), 2), f"{name}_median": round(median(values), 2)}
    return out


def run(arguments: list[str]) -> dict[str, Any]:
    """Past cases, then the next ones with and without what they taught."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks learning_parts")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--world", choices=WORLDS, default="own")
    parser.add_argument("--past", type=int, default=50)
    parser.add_argument("--next", type=int, default=12, dest="coming")
    parser.add_argument("--kinds", choices=("any", "parts"), default="any")
    parser.add_argument("--seed", type=int, default=61001)
    parser.add_argument("--into", type=Path, default=None)
    o = parser.parse_args(arguments)
    asked = f"parts {o.world} {o.kinds} {o.board} {o.seed} {o.past}"
    kept = {(r["seed"], r["what"]): r for r in kept_rows(o.into, asked)}
    world = board_of(o.board, WORLDS[o.world])
    priors = part_priors(world.circuit)
    rows = []
    for seed in range(o.seed, o.seed + o.past):
        faults = powered_patient(world, seed, 1 + seed % 3, o.kinds).truth
        parts = {world.field.causes[k].part: True for k in faults if world.field.causes[k].kind == "part"}
        rows.append(CaseCounts(key_of(str(seed)), "0" * 64, cells_of(world.circuit, priors, parts)))
    rates = learned_rates(rows, "0" * 64)
    factors = factors_of(rates, Basis()).get(PART, {})
    boards = {"without": board_of(o.board, {}), "with": board_of(o.board, factors)}
    pairs = []
    for k in range(o.coming):
        seed = o.seed + o.past + k
        both = {}
        for what in ("without", "with") if k % 2 else ("with", "without"):
            if (seed, what) not in kept:
                marked = run_powered(boards[what], powered_patient(world, seed, 1 + seed % 3, o.kinds))
                kept[seed, what] = {"world": asked, "seed": seed, "what": what, **{f: marked[f] for f in TOLD}}
                keep_row(o.into, kept[seed, what])
            both[what] = kept[seed, what]
        pairs.append((both["without"], both["with"]))
    return {
        "world": o.world, "kinds": o.kinds, "board": o.board, "past": o.past, "next": len(pairs), "seeds": [o.seed, o.seed + o.past + o.coming - 1],
        "past_parts_broken": round(sum(one.broken for one in rates), 2),
        "factors": [{**{f: v for f, v in asdict(r).items() if f in ("site", "cases", "sites", "broken", "default", "rate")},
                     "factor": factors[r.site], "world": WORLDS[o.world].get(r.site, 1.0)} for r in rates if r.broken or WORLDS[o.world].get(r.site)],
        "minutes": saved(pairs, "seconds_bench", 60.0), "steps": saved(pairs, "steps"),
        **{what: {f: sum(bool(pair[k][f]) for pair in pairs) for f in ("named", "named_true")} for k, what in enumerate(("without", "with"))},
    }  # fmt: skip
