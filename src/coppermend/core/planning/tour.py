"""The order of the checks and the points they use: as little moving of the tips as can be found.

A check has several options (pairs of points that prove the same). The order is built by nearest neighbour, then improved by
2-opt and or-opt moves; for a given order the cheapest options are found exactly (dynamic programming over the options).
Deterministic: the same input and seed give the same tour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.copper.model import ProbePoint
from coppermend.core.planning.costs import CostTable, TipState, check_seconds

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

Option = tuple[ProbePoint, ProbePoint]

MOST_OPTIONS = 2400
"""Options of all checks together that are looked at: the table of steps between them is square. Beyond, each check keeps its first ones."""
MOST_LOOKED = 5_000_000
"""Pairs of stops looked at in one local search, at most: what keeps a round of a thousand checks within seconds."""
MOST_AT_ONCE = 600
"""Checks ordered in one go; a longer round is cut into strips across the board."""
MOST_TRIED = 1500
"""Checks times tries, at most."""


@dataclass(frozen=True, slots=True)
class Tour:
    """``order``: indices of the checks; ``option``: chosen option of each check (by check index); ``seconds``: of each stop, in order."""

    order: tuple[int, ...]
    option: tuple[int, ...]
    seconds: tuple[float, ...]

    @property
    def total(self) -> float:
        """Modelled seconds of the whole tour."""
        return float(sum(self.seconds))


def plan_tour(
    options: Sequence[Sequence[Option]], costs: CostTable, tips: TipState, *, seed: int = 0, tries: int = 12
) -> Tour:
    """Order of checks and their points, starting from ``tips``. ``options[i]``: at least one pair of points for check i.

    ``tries``: how often the tour is shaken and improved again (less often for very long rounds). Cost: grows with (number of options)^2.
    """
    if not options:
        return Tour((), (), ())
    if len(options) > MOST_AT_ONCE:
        return _in_strips(options, costs, tips, seed)
    most = max(2, MOST_OPTIONS // len(options))
    options = [o[:most] for o in options]
    tries = min(tries, MOST_TRIED // len(options))
    owner = np.repeat(np.arange(len(options)), [len(o) for o in options])
    start = np.concatenate([[0], np.cumsum([len(o) for o in options])])
    flat = [pair for group in options for pair in group]
    step = step_seconds(flat, costs)
    first = np.array([check_seconds(costs, tips, a, b)[0] - costs.read_s for a, b in flat])
    order = _nearest_first(step, first, owner)
    choice, best = _choose(order, step, first, start)
    order, choice, best = _improve(order, choice, best, step, first, start)
    rng = np.random.default_rng(seed)
    for _ in range(tries if len(options) > 3 else 0):
        tried, tried_choice, value = _improve(*_shaken(order, rng, step, first, start), step, first, start)
        if value < best - 1e-9:
            order, choice, best = tried, tried_choice, value
    seconds, now = [], tips
    for i in order.tolist():
        a, b = flat[int(start[i]) + int(choice[i])]
        spent, now = check_seconds(costs, now, a, b)
        seconds.append(spent)
    return Tour(tuple(order.tolist()), tuple(choice.tolist()), tuple(seconds))


def _in_strips(options: Sequence[Sequence[Option]], costs: CostTable, tips: TipState, seed: int) -> Tour:
    """A long round strip by strip across the board, each planned from where the one before ends."""
    strips = -(-len(options) // MOST_AT_ONCE)
    by_place = sorted(range(len(options)), key=lambda i: (options[i][0][0].side, options[i][0][0].x_mm, i))
    size = -(-len(options) // strips)
    order: list[int] = []
    seconds: list[float] = []
    option = [0] * len(options)
    for k in range(0, len(by_place), size):
        mine = by_place[k : k + size]
        part = plan_tour([options[i] for i in mine], costs, tips, seed=seed, tries=0)
        for i, spent in zip(part.order, part.seconds, strict=True):
            order.append(mine[i])
            seconds.append(spent)
            option[mine[i]] = part.option[i]
            _, tips = check_seconds(costs, tips, *options[mine[i]][part.option[i]])
    return Tour(tuple(order), tuple(option), tuple(seconds))


def step_seconds(flat: Sequence[Option], costs: CostTable) -> Floats:
    """(options, options) seconds between two checks, reading included, as ``check_seconds`` counts them."""
    ids: dict[str, int] = {}
    where: list[list[Any]] = [[], []]
    for pair in flat:
        for k in (0, 1):
            where[k].append((ids.setdefault(pair[k].id, len(ids)), pair[k].x_mm, pair[k].y_mm, pair[k].side == "s"))
    a, b = (np.array(w, dtype=np.float64) for w in where)
    straight = _moves(a, a, costs) + _moves(b, b, costs)
    crossed = _moves(a, b, costs) + _moves(b, a, costs)
    mixed = a[:, 3] != b[:, 3]
    under = (a[:, 3] > 0) & ~mixed
    turned = (under[:, None] != under[None, :]) & ~mixed[None, :]
    walk = np.where(turned, 2 * costs.move_s + costs.turn_s, np.minimum(straight, crossed))
    return np.asarray(walk + costs.read_s + np.where(mixed, costs.mixed_s, 0.0)[None, :], dtype=np.float64)


def _moves(start: Floats, goal: Floats, costs: CostTable) -> Floats:
    apart = np.hypot(start[:, None, 1] - goal[None, :, 1], start[:, None, 2] - goal[None, :, 2])
    near = (apart <= costs.near_mm) & (start[:, None, 3] == goal[None, :, 3])
    seconds = np.where(near, costs.near_s, costs.move_s + np.where(apart > costs.far_mm, costs.far_s, 0.0))
    return np.asarray(np.where(start[:, None, 0] == goal[None, :, 0], 0.0, seconds), dtype=np.float64)


def _nearest_first(step: Floats, first: Floats, owner: Ints) -> Ints:
    n = int(owner[-1]) + 1
    left = np.ones(len(owner), dtype=bool)
    at = int(np.argmin(first))
    order = [int(owner[at])]
    left[owner == owner[at]] = False
    for _ in range(n - 1):
        at = int(np.argmin(np.where(left, step[at], np.inf)))
        order.append(int(owner[at]))
        left[owner == owner[at]] = False
    return np.array(order, dtype=np.int64)


def _choose(order: Ints, step: Floats, first: Floats, start: Ints) -> tuple[Ints, float]:
    """The cheapest options for this order, exactly."""
    ranges = [(int(start[i]), int(start[i + 1])) for i in order.tolist()]
    cost = first[ranges[0][0] : ranges[0][1]]
    back: list[Ints] = []
    for (a0, a1), (b0, b1) in pairwise(ranges):
        total = cost[:, None] + step[a0:a1, b0:b1]
        best = np.argmin(total, axis=0)
        back.append(best)
        cost = total[best, np.arange(b1 - b0)]
    pick = int(np.argmin(cost))
    value = float(cost[pick])
    choice = np.zeros(len(order), dtype=np.int64)
    choice[order[-1]] = pick
    for k in range(len(back) - 1, -1, -1):
        pick = int(back[k][pick])
        choice[order[k]] = pick
    return choice, value


def _improve(
    order: Ints, choice: Ints, best: float, step: Floats, first: Floats, start: Ints
) -> tuple[Ints, Ints, float]:
    """Local search with the options held, then new options, until nothing gains."""
    while True:
        at = start[:-1] + choice
        fixed = step[np.ix_(at, at)]
        moved = _local_search(order, (fixed + fixed.T) / 2.0, first[at])
        chosen, value = _choose(moved, step, first, start)
        if value >= best - 1e-9:
            return order, choice, best
        order, choice, best = moved, chosen, value


def _shaken(
    order: Ints, rng: np.random.Generator, step: Floats, first: Floats, start: Ints
) -> tuple[Ints, Ints, float]:
    """The order with two of its four stretches swapped (a double bridge), and its best options."""
    cut = np.sort(rng.choice(np.arange(1, len(order)), 3, replace=False))
    a, b, c, d = np.split(order, cut)
    new = np.concatenate([a, c, b, d])
    choice, value = _choose(new, step, first, start)
    return new, choice, value


def _local_search(order: Ints, d: Floats, first: Floats) -> Ints:
    """2-opt and or-opt on an open path, best move first, until no move gains."""
    order = order.copy()
    for _ in range(min(4 * len(order) + 20, MOST_LOOKED // len(order) ** 2)):
        gain, kind, where = _best_move(order, d, first)
        if gain <= 1e-9:
            break
        if kind == "turn":
            i, j = where[0], where[1]
            order[i : j + 1] = order[i : j + 1][::-1]
        else:
            i, length, to = where
            piece = order[i : i + length]
            rest = np.concatenate([order[:i], order[i + length :]])
            order = np.concatenate([rest[:to], piece, rest[to:]])
    return order


def _best_move(order: Ints, d: Floats, first: Floats) -> tuple[float, str, tuple[int, ...]]:
    n = len(order)
    here = d[np.ix_(order, order)]
    link = np.append(np.diagonal(here, 1), 0.0)
    # turning order[i..j] round: links before i and after j change (before 0: the start)
    before = np.concatenate([[0.0], link[:-1]])
    into = np.vstack([first[order][None, :], here[:-1, :]])
    old_in = np.concatenate([[first[order[0]]], before[1:]])
    after = np.hstack([here[:, 1:], np.zeros((n, 1))])
    gain = old_in[:, None] + link[None, :] - into - after
    gain = np.triu(gain, 1)
    i, j = divmod(int(np.argmax(gain)), n)
    best: tuple[float, str, tuple[int, ...]] = (float(gain[i, j]), "turn", (i, j))
    for length in (1, 2, 3):
        if n <= length + 1:
            break
        found = _best_insert(order, here, first, old_in, link, length)
        if found[0] > best[0] + 1e-12:
            best = found
    return best


def _best_insert(
    order: Ints, here: Floats, first: Floats, old_in: Floats, link: Floats, length: int
) -> tuple[float, str, tuple[int, ...]]:
    """Best move of ``length`` stops in a row to another place, not turned round."""
    n = len(order)
    i = np.arange(n - length + 1)
    head, tail = i, i + length - 1
    nxt = np.minimum(tail + 1, n - 1)
    prev = np.maximum(head - 1, 0)
    closing = np.where(tail + 1 < n, np.where(head > 0, here[prev, nxt], first[order[nxt]]), 0.0)
    freed = old_in[head] + np.where(tail + 1 < n, link[tail], 0.0) - closing
    # new place: between stop k and k+1 (k = -1: before the first), k outside the piece and not its predecessor
    k = np.arange(-1, n)
    left = np.where(k[None, :] >= 0, here[np.maximum(k, 0)[None, :], head[:, None]], first[order[head]][:, None])
    right = np.where(k[None, :] + 1 < n, here[tail[:, None], np.minimum(k + 1, n - 1)[None, :]], 0.0)
    gap = np.where(k + 1 < n, old_in[np.minimum(k + 1, n - 1)], 0.0)
    gain = freed[:, None] - (left + right - gap[None, :])
    inside = (k[None, :] >= head[:, None] - 1) & (k[None, :] <= tail[:, None])
    gain = np.where(inside, -np.inf, gain)
    a, b = divmod(int(np.argmax(gain)), gain.shape[1])
    at = int(k[b])
    to = at + 1 if at < int(head[a]) else at + 1 - length
    return float(gain[a, b]), "move", (int(head[a]), length, to)
