"""How few extra checks a break needs: those of someone who knows where it is and whose readings are all true.

For one break at a time, drawn by the priors among the provable stretches at risk: the readings of the untouched round stand, closed, except those across the break.
Then come the fewest readings that prove the rest of its net, and open readings across the break, each the one that adds most to its odds, until it may be named
(``basis.advice_above``, two independent readings). Whoever has to find the break, on a bench that errs, needs more; the readings across it are chosen
one by one, so that this is an estimate of the least and no proof.
``--board`` (default demo), ``--socket``, ``--breaks N`` (default 30), ``--seed N``; what the numbers cost: ``--advice P`` instead of ``advice_above``,
``--bad-points SHARE`` known for certain instead of ``contact_shares``.
"""

from __future__ import annotations

import argparse
from dataclasses import fields
from typing import Any

import numpy as np

from coppermend import bootstrap
from coppermend.core.belief.engine import belief
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.planning.costs import CostTable, TipState
from coppermend.core.planning.model import Check
from coppermend.core.planning.risk import Risk, risk_of, trees_of
from coppermend.core.planning.round import DEFAULT_COSTS, cheapest_cover
from coppermend.core.planning.settle import best_across, beyond
from coppermend.core.planning.spans import confirmed
from coppermend.services.practice import PracticeSetting, untouched_plan

MOST_OPENS = 12
FREE = CostTable(**{f.name: 0.0 for f in fields(CostTable) if f.name.endswith("_s")})
"""All acts at no seconds: the reading that tells most is taken, wherever it is."""


def extra_of(setting: PracticeSetting, checks: tuple[Check, ...], number: int, basis: Basis) -> tuple[int, int]:
    """Open readings that one break needs, and extra checks in all; the round's own checks are those of ``checks``."""
    graph = setting.graph
    now = belief(graph, setting.areas, (), basis)
    risk = risk_of(now)
    v = int(risk.frame.view_of[number])
    edge = risk.frame.views[v].super_edges[number - risk.frame.first[v]]
    sites = set(edge.sites)
    kept = [c for c in checks if not sites & set(c.sites)]
    said = [Evidence(str(k), c.point_a, c.point_b, "closed") for k, c in enumerate(kept)]
    first = risk_of(belief(graph, setting.areas, said, basis))
    rest = 0
    for tree in trees_of(first, v, (), {number})[0]:
        for options in cheapest_cover(now.copper, tree, DEFAULT_COSTS, frozenset(), TipState(), mixed=True):
            a, b = options[0]
            said.append(Evidence(str(len(said)), a.id, b.id, "closed"))
            rest += 1
    for opens in range(1, MOST_OPENS + 1):
        now = belief(graph, setting.areas, said, basis)
        risk = risk_of(now)
        asked: dict[frozenset[str], int] = {}
        for e in said:
            asked[frozenset((e.point_a, e.point_b))] = asked.get(frozenset((e.point_a, e.point_b)), 0) + 1
        sides = (beyond(now, risk, number, edge.a, ()), beyond(now, risk, number, edge.b, ()))
        best = best_across(now, risk, number, sides, FREE, TipState(), asked, opens > 2)
        best = best or best_across(now, risk, number, sides, FREE, TipState(), asked, True)
        if best is None:
            break
        said.append(Evidence(str(len(said)), best.a.id, best.b.id, "open"))
        after = belief(graph, setting.areas, said, basis)
        if confirmed(after, risk_of(after), number):
            break
    return opens, opens + rest - (len(checks) - len(kept))


def drawn(risk: Risk, count: int, seed: int) -> list[int]:
    """Stretches to break, drawn by their priors among those that a beep can prove."""
    frame = risk.frame
    able = [
        k
        for k in np.flatnonzero(risk.at_risk).tolist()
        if (e := frame.views[int(frame.view_of[k])].super_edges[k - frame.first[int(frame.view_of[k])]]).bridge
        and not e.dead
        and trees_of(risk, int(frame.view_of[k]))[0]
        and any(k == name for t in trees_of(risk, int(frame.view_of[k]))[0] for _, _, name in t.edges)
    ]
    weight = risk.chance[able] / risk.chance[able].sum()
    return [int(k) for k in np.random.default_rng(seed).choice(able, size=count, p=weight)]


def run(arguments: list[str]) -> dict[str, Any]:
    """Counts for breaks drawn by the priors."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks least_extra")
    parser.add_argument("--board", default="demo")
    parser.add_argument("--socket", default="")
    parser.add_argument("--breaks", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--advice", type=float, default=Basis().advice_above)
    parser.add_argument("--bad-points", type=float, default=None)
    o = parser.parse_args(arguments)
    setting = bootstrap.practice_setting(o.board, o.socket)
    shares = Basis().contact_shares if o.bad_points is None else ((o.bad_points, 1.0),)
    basis = Basis(advice_above=o.advice, contact_shares=shares)
    checks = untouched_plan(setting, basis, DEFAULT_COSTS).checks
    risk = risk_of(belief(setting.graph, setting.areas, (), basis))
    rows = [extra_of(setting, checks, k, basis) for k in drawn(risk, o.breaks, o.seed)]
    opens, extra = (np.array([r[i] for r in rows], dtype=np.float64) for i in (0, 1))
    return {
        "board": o.board,
        "breaks": len(rows),
        "seed": o.seed,
        "advice_above": basis.advice_above,
        "contact_shares": [list(one) for one in basis.contact_shares],
        "open_readings_mean": round(float(opens.mean()), 2),
        "extra_checks_mean": round(float(extra.mean()), 2),
        "extra_checks_least": int(extra.min()),
        "extra_checks_most": int(extra.max()),
    }
