"""What past cases save on the next one: the same practice patients with the priors as they come and with what finished cases of the board model taught.

A board model's own way of failing is made by factors on the rates by kind of site (``--world own``: joints and contacts three times, barrels and runs a
fifth; ``--world default``: as the priors say). ``--past N`` (default 50) patients of that world are worked on with the priors as they come; each teaches
what its readings settled, as a finished case does (``services/learning.count``): announced stretches that stood and were truly broken (a wire over
another would not have been proven), sites read whole. Then ``--next M`` patients of other seeds are worked on twice, in alternating order. Saved are
modelled seconds and checks until the last break is announced, and until everything is proven. The next case's own readings are in neither prior.
``--board`` (default demo), ``--socket``, ``--seed N`` (patients from there on), ``--breaks A-B`` (default 0-3, drawn by the seed), ``--into FILE``: rows
are added to this file and a stopped job goes on where it was.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from math import sqrt
from pathlib import Path
from typing import Any

from benchmarks._rows import keep_row, kept_rows
from coppermend import bootstrap
from coppermend.cli.practice import _range
from coppermend.core.belief.engine import belief
from coppermend.core.belief.model import Basis
from coppermend.core.planning.learned import CaseCounts, Cell, factors_of, learned_rates, with_learned
from coppermend.services.learning import count, key_of, settled
from coppermend.services.practice import PracticeSetting, Run, marks, patient_of
from coppermend.services.practice import run as run_one

WORLDS = {
    "default": {},
    "own": {"joint": 3.0, "contact": 3.0, "barrel": 0.2, "run": 0.2},
}
"""Factors on the standard rates of damage, by kind of site, alike for every kind of damage."""


def world_of(setting: PracticeSetting, name: str) -> PracticeSetting:
    """The setting whose patients fail as that world does."""
    factors = WORLDS[name]
    return replace(setting, areas=with_learned(setting.areas, {area.kind: factors for area in setting.areas}))


def taught(setting: PracticeSetting, result: Run, broken: set[str]) -> list[dict[str, Any]]:
    """The cells that a worked-on patient teaches."""
    basis = Basis()
    posterior = belief(setting.graph, setting.areas, result.evidence, basis)
    spans = [a.span.sites for a in result.announced if a.stands and broken & set(a.span.sites)]
    gone = {site for span in spans for site in span}
    whole = [one for one in settled(posterior) if one not in gone]
    return [
        {"damage": c.damage, "site": c.site, "sites": c.sites, "broken": c.broken, "expected": c.expected}
        for c in count(setting.graph, setting.areas, whole, spans, basis)
    ]


def told(setting: PracticeSetting, result: Run, broken: set[str]) -> dict[str, Any]:
    """Seconds and checks until the last break that was announced, and in all."""
    at = [a.at_check for a in result.announced if a.stands and broken & set(a.span.sites)]
    last = max(at, default=0)
    return {
        "found_checks": last,
        "found_s": sum(one.seconds for one in result.steps[:last]),
        "checks": len(result.steps),
        "seconds": result.seconds,
    }


def mean_and_error(values: Sequence[float]) -> dict[str, float]:
    """Mean and standard error."""
    n = len(values)
    mean = sum(values) / n
    spread = sqrt(sum((v - mean) ** 2 for v in values) / (n - 1)) if n > 1 else 0.0
    return {"mean": round(mean, 2), "standard_error": round(spread / sqrt(n), 2)}


def run(arguments: list[str]) -> dict[str, Any]:
    """Past cases, then the next ones with and without what they taught."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks learning")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--socket", default="")
    parser.add_argument("--world", choices=WORLDS, default="own")
    parser.add_argument("--past", type=int, default=50)
    parser.add_argument("--next", type=int, default=24, dest="coming")
    parser.add_argument("--seed", type=int, default=51001)
    parser.add_argument("--breaks", default="0-3")
    parser.add_argument("--into", type=Path, default=None)
    o = parser.parse_args(arguments)
    low, high = _range(o.breaks, "--breaks")
    o.breaks = range(low, high + 1)
    setting = bootstrap.practice_setting(o.board, o.socket)
    world = world_of(setting, o.world)
    same = {"world": o.world, "board": o.board, "socket": setting.socket, "breaks": list(o.breaks)}
    asked = f"{o.world} {o.board} {setting.socket} {','.join(map(str, o.breaks))} {o.seed} {o.past}"
    kept = {(r["seed"], r["what"]): r for r in kept_rows(o.into, asked)}

    def patient(seed: int) -> Any:
        return patient_of(world, seed, o.breaks[seed % len(o.breaks)])

    def row(seed: int, what: str, at: PracticeSetting) -> dict[str, Any]:
        if (seed, what) in kept:
            return kept[seed, what]
        one = patient(seed)
        broken = set(one.truth().broken)
        result = run_one(at, one, "next")
        marked = marks(at, result, one.truth())
        made = {"seed": seed, "what": what, **told(at, result, broken)}
        made |= {k: marked[k] for k in ("breaks", "found", "false_alarms", "wrong_proven", "not_settled", "proven")}
        if what == "past":
            made["cells"] = taught(at, result, broken)
        keep_row(o.into, {"world": asked, **made})
        return made

    past = [row(o.seed + k, "past", setting) for k in range(o.past)]
    rows = [
        CaseCounts(key_of(str(r["seed"])), setting.graph.package_id, tuple(Cell(**one) for one in r["cells"]))
        for r in past
    ]
    rates = learned_rates(rows, setting.graph.package_id)
    factors = factors_of(rates, Basis())
    wiser = replace(setting, areas=with_learned(setting.areas, factors))
    pairs = []
    for k in range(o.coming):
        seed = o.seed + o.past + k
        order = (("without", setting), ("with", wiser))
        both = {what: row(seed, what, at) for what, at in (order if k % 2 else order[::-1])}
        pairs.append((both["without"], both["with"]))
    found = [(a, b) for a, b in pairs if a["breaks"]]

    def saved(name: str, among: Sequence[tuple[dict[str, Any], dict[str, Any]]]) -> dict[str, Any]:
        without, with_ = (sum(pair[k][name] for pair in among) / len(among) for k in (0, 1))
        return {
            "without": round(without, 2), "with": round(with_, 2), "saved_share": round(1 - with_ / without, 4) if without else 0.0,
            "saved": mean_and_error([a[name] - b[name] for a, b in among]),
        }  # fmt: skip

    wrong = ("found", "false_alarms", "wrong_proven", "not_settled")
    return {
        **same,
        "past": o.past, "next": len(pairs), "next_with_breaks": len(found), "seeds": [o.seed, o.seed + o.past + o.coming - 1],
        "past_sites": sum(one.sites for one in rates), "past_broken": round(sum(one.broken for one in rates), 2),
        "factors": [
            {"damage": one.damage, "site": one.site, "sites": one.sites, "broken": round(one.broken, 2), "default": round(one.default, 5),
             "rate": round(one.rate, 5), "factor": factors[one.damage][one.site], "world": WORLDS[o.world].get(one.site, 1.0)}
            for one in rates
        ],
        "until_found_s": saved("found_s", found), "until_found_checks": saved("found_checks", found),
        "until_proven_s": saved("seconds", pairs), "until_proven_checks": saved("checks", pairs),
        "without": {name: sum(a[name] for a, _ in pairs) for name in wrong}, "with": {name: sum(b[name] for _, b in pairs) for name in wrong},
        "breaks_drawn": sum(a["breaks"] for a, _ in pairs),
    }  # fmt: skip
