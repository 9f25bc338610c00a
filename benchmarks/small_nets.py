"""Expected modelled seconds of our policy on small nets against the exact optimum, on a bench that never errs.

The optimum is dynamic programming over every state: which break patterns the readings leave, and where the tips are. The policy is played out over every
answer, so both numbers are exact expectations over all patterns. Both end when every stretch at risk is below the basis' threshold of proven or above that
of broken, or no reading can tell more; neither confirms a break by a second reading, because no reading errs. Nets are random trees of 3 to 6 sites.

``--end``: what counts as at risk. ``planner`` (default): what the planner works at, every stretch whose chance is not below the threshold of proven, also
one outside the work area that an open reading has raised above it. ``prior``: stretches at risk by their prior alone, where the other policies of practice
end; the planner, cut off there, may have spent a reading on a raised one. ``--nets N`` (default 40; the target is judged on 200), ``--seed N``.
Its method is that of the textbook (R. Bellman, Dynamic Programming, 1957).
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.engine import prior_of
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.next import work_left

Bools = NDArray[np.bool_]
COSTS = CostTable()
AREAS = (EXAMPLE_AREA,)
PRIORS = ((0.002, 0.02), (0.02, 0.1), (0.1, 0.3))
"""Ranges of the prior of a site at risk, in turn."""
SURE_ANSWER = 0.001
"""A reading with an answer rarer than this (the threshold of proven) tells nothing more: what is left is beyond telling."""


class Net:
    """One small net: its graph, every break pattern with its prior, and which patterns close each pair of points."""

    def __init__(self, rng: np.random.Generator, low: float, high: float, end: str = "planner") -> None:
        sites = int(rng.integers(3, 7))
        ends = [(int(rng.integers(0, n)), n) for n in range(1, sites + 1)]
        degree = np.bincount(np.array(ends).ravel(), minlength=sites + 1)
        tips = [n for n in range(sites + 1) if degree[n] == 1 or rng.random() < 0.7]
        cold = {k for k in range(sites) if rng.random() < 0.25}
        spots = [(float(x), 0.0) for x in np.cumsum(rng.choice([2.54, 7.62, 12.7, 30.48], sites + 1))]
        self.basis = Basis(
            prior_in={**Basis().prior_in, "run": float(np.exp(rng.uniform(np.log(low), np.log(high))))},
            false_open=0.0,
            false_closed=0.0,
            contact_bad=0.0,
            contact_shares=(),
            damage_scales=(),
            open_scales=(),
        )
        graph = example_graph(ends, tips, cold=cold)
        at = {n: spots[i] for i, n in enumerate(rng.permutation(sites + 1).tolist())}
        self.graph = _moved(graph, at)
        prior = prior_of(self.graph, AREAS, self.basis)
        broken = (np.arange(1 << sites)[:, None] >> np.arange(sites) & 1).astype(bool)
        self.weight = np.prod(np.where(broken, prior, 1.0 - prior), axis=1)
        self.risky = [k for k in range(sites) if end == "planner" or prior[k] >= self.basis.proven_below]
        self.broken = broken
        self.stretch = _stretches(ends, set(tips))
        self.points = self.graph.points
        self.closed = {(a.id, b.id): _closed(ends, broken, a.node, b.node) for a, b in combinations(self.points, 2)}

    def settled(self, left: Bools) -> bool:
        """Whether every site that counts is proven, inside a stretch that is broken, or beyond telling, when ``left`` patterns are possible."""
        weight = self.weight[left] / self.weight[left].sum()
        shares = [float(self.weight[left & c].sum() / self.weight[left].sum()) for c in self.closed.values()]
        if not any(SURE_ANSWER <= share <= 1.0 - SURE_ANSWER for share in shares):
            return True
        chance = weight @ self.broken[left]
        whole = [float(weight @ self.broken[left][:, self.stretch[k]].any(axis=1)) for k in self.risky]
        return all(
            chance[k] < self.basis.proven_below or any_broken > self.basis.broken_above
            for k, any_broken in zip(self.risky, whole, strict=True)
        )


def _stretches(ends: Sequence[tuple[int, int]], tips: set[int]) -> list[list[int]]:
    """For each site the sites in series with it that no reading tells apart: those that meet where no tip goes and nothing branches off."""
    home = list(range(len(ends)))
    for node in {n for pair in ends for n in pair} - tips:
        at = [k for k, pair in enumerate(ends) if node in pair]
        if len(at) == 2:
            home = [home[at[0]] if h == home[at[1]] else h for h in home]
    return [[j for j, h in enumerate(home) if h == mine] for mine in home]


def _moved(graph: CopperGraph, at: dict[int, tuple[float, float]]) -> CopperGraph:
    """The same net with its probe points elsewhere (only tips move between points; copper stays where it is)."""
    points = tuple(replace(p, x_mm=at[p.node][0], y_mm=at[p.node][1]) for p in graph.points)
    return replace(graph, points=points, memo={})


def _closed(ends: Sequence[tuple[int, int]], broken: Bools, a: int, b: int) -> Bools:
    """(patterns,) whether the way from a to b is whole; ``ends[k]`` is (parent, child), child k + 1."""
    way: set[int] = set()
    parent = {child: (k, up) for k, (up, child) in enumerate(ends)}
    for node in (a, b):
        while node in parent:
            k, node = parent[node]
            way ^= {k}
    return np.asarray(~broken[:, sorted(way)].any(axis=1), dtype=np.bool_)


def optimum(net: Net) -> float:
    """Least expected seconds of any policy."""
    points = {p.id: p for p in net.points}
    full = (1 << len(net.weight)) - 1
    masks = {pair: sum(1 << i for i in np.flatnonzero(c).tolist()) for pair, c in net.closed.items()}
    weigh = cache(lambda mask: float(net.weight[_bools(mask, len(net.weight))].sum()))
    ended = cache(lambda mask: net.settled(_bools(mask, len(net.weight))))

    @cache
    def seconds(tips: tuple[str, ...], a: str, b: str) -> float:
        one, two = (points[t] for t in tips) if tips else (None, None)
        return check_seconds(COSTS, TipState(one, two), points[a], points[b])[0]

    @cache
    def left(mask: int, tips: tuple[str, ...]) -> float:
        if ended(mask):
            return 0.0
        total, best = weigh(mask), np.inf
        for (a, b), closes in masks.items():
            yes, no = mask & closes, mask & ~closes
            if not yes or not no:
                continue
            cost = seconds(tips, a, b)
            if cost < best:
                for part in (yes, no):
                    cost += weigh(part) / total * left(part, (a, b))
                best = min(best, cost)
        return float(best)

    return left(full, ())


def _bools(mask: int, n: int) -> Bools:
    return np.array([mask >> i & 1 for i in range(n)], dtype=np.bool_)


def ours(net: Net) -> tuple[float, float]:
    """Expected seconds of our policy over every answer, and the share of patterns on which it ended before all was settled."""

    def play(left: Bools, evidence: tuple[Evidence, ...], tips: TipState) -> tuple[float, float]:
        if net.settled(left):
            return 0.0, 0.0
        work = work_left(net.graph, AREAS, evidence, net.basis, COSTS, tips, confirm=False)
        a: ProbePoint
        if work.follow_up:
            a, b = work.follow_up[0].a, work.follow_up[0].b
        elif work.checks:
            by_id = {p.id: p for p in net.points}
            a, b = by_id[work.checks[0].point_a], by_id[work.checks[0].point_b]
        else:
            return 0.0, 1.0
        cost, after = check_seconds(COSTS, tips, a, b)
        closes = net.closed[(a.id, b.id) if (a.id, b.id) in net.closed else (b.id, a.id)]
        total, unfinished = net.weight[left].sum(), 0.0
        for part, says in ((left & closes, "closed"), (left & ~closes, "open")):
            if len(evidence) > 40:
                return cost, 1.0
            share = float(net.weight[part].sum() / total)
            if share > 0.0:
                more, bad = play(part, (*evidence, Evidence(str(len(evidence)), a.id, b.id, says)), after)
                cost, unfinished = cost + share * more, unfinished + share * bad
        return cost, unfinished

    return play(np.ones(len(net.weight), dtype=np.bool_), (), TipState())


def run(arguments: list[str]) -> dict[str, Any]:
    """Plays every net and compares."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks small_nets")
    parser.add_argument("--nets", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--end", choices=["planner", "prior"], default="planner")
    o = parser.parse_args(arguments)
    rows: dict[str, list[float]] = {}
    unfinished = 0.0
    for number in range(o.nets):
        low, high = PRIORS[number % len(PRIORS)]
        net = Net(np.random.default_rng([o.seed, number]), low, high, o.end)
        best = optimum(net)
        if best <= 0.0:
            continue
        mine, bad = ours(net)
        unfinished = max(unfinished, bad)
        rows.setdefault(f"{low}-{high}", []).append(mine / best)
    every = [r for mine in rows.values() for r in mine]
    return {
        "nets": len(every),
        "seed": o.seed,
        "end": o.end,
        "mean_ratio": round(float(np.mean(every)), 4),
        "worst_ratio": round(max(every), 4),
        "unfinished_share_worst": round(unfinished, 6),
        "by_prior": {
            k: {"nets": len(v), "mean": round(float(np.mean(v)), 4), "worst": round(max(v), 4)} for k, v in rows.items()
        },
    }
