"""Exact sums over the break patterns of a block with many ways round: parts are decided one after the other, node by node.

A state says which of the nodes still under way hang together and which readings are open for good; equal states are merged, so the cost is set by how
many nodes are under way at once, not by the number of parts. States too unlikely to matter are dropped, and what they could weigh at most is known.

Source: the frontier method for network reliability (G. Hardy, C. Lucet, N. Limnios, IEEE Trans. Reliability 56 (2007); named from memory),
here with the readings in the state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Labels = NDArray[np.int16]

FRONTIER_CAP = 20_000
"""More states than this are pruned."""
TOLERANCE = 1e-15
"""Prior mass, weighed by the readings already open, that may be dropped in all."""
MOST_WAYS = 62
"""One machine word holds the open ways of a state."""


@dataclass(frozen=True, slots=True)
class Way:
    """A way that readings take through a block: from node ``a`` to node ``b``; ``absent``: parts that were not there then.

    ``worth``: the most that its readings' likelihood can be when it is open, as a share of the most it can be at all (0 to 1).
    """

    a: int
    b: int
    absent: frozenset[int] = frozenset()
    worth: float = 1.0


@dataclass(frozen=True, slots=True)
class _Step:
    """``part``: the part decided (-1 = states only merged). ``child``: next state of each state when it is whole, and when broken; the last index = dropped."""

    part: int
    child: tuple[Ints, ...]


@dataclass(frozen=True, slots=True)
class Frontier:
    """The outcomes of a block. ``opens[o]``: bit mask of the ways that outcome o opens; ``mass``: its prior mass; ``dropped``: the most, weighed by ``worth``, that is missing."""

    chance: Floats
    opens: tuple[int, ...]
    mass: Floats
    dropped: float
    steps: tuple[_Step, ...]
    alphas: tuple[Floats, ...]

    @property
    def nbytes(self) -> int:
        """Bytes of its arrays."""
        steps = sum(child.nbytes for step in self.steps for child in step.child)
        return steps + sum(alpha.nbytes for alpha in self.alphas)

    def broken(self, lift: Floats) -> Floats:
        """(parts,) posterior that each part is broken, when outcome o became ``lift[o]`` times as likely as it was."""
        found = np.zeros(len(self.chance))
        after = np.asarray(lift, dtype=np.float64)
        for step, alpha in zip(reversed(self.steps), reversed(self.alphas), strict=True):
            after = np.append(after, 0.0)
            if step.part < 0:
                after = after[step.child[0]]
                continue
            p = self.chance[step.part]
            gone = p * after[step.child[1]]
            found[step.part] = float(alpha @ gone)
            after = (1.0 - p) * after[step.child[0]] + gone
        return found

    def sample(self, outcome: Ints, rng: np.random.Generator) -> Bools:
        """(samples, parts) which parts are broken, drawn given the outcome of each sample."""
        drawn = np.zeros((len(outcome), len(self.chance)), dtype=np.bool_)
        at = outcome
        for step, alpha in zip(reversed(self.steps), reversed(self.alphas), strict=True):
            n = len(alpha)
            if step.part < 0:
                weights, child = alpha, step.child[0]
            else:
                p = self.chance[step.part]
                weights, child = np.concatenate([alpha * (1.0 - p), alpha * p]), np.concatenate(step.child)
            order = np.argsort(child, kind="stable")
            total = np.bincount(child, weights=weights)
            share = weights / np.maximum(total[child], 1e-300)  # each next state's own sum is 1, however unlikely it is
            edges = np.concatenate([[0.0], np.cumsum(share[order])])
            low = np.searchsorted(child[order], at, side="left")
            high = np.searchsorted(child[order], at, side="right")
            goal = edges[low] + rng.random(len(at)) * (edges[high] - edges[low])
            pick = order[np.clip(np.searchsorted(edges, goal, side="right") - 1, low, high - 1)]
            if step.part >= 0:
                drawn[:, step.part] = pick >= n
            at = pick % n
        return drawn


def frontier(
    ends: Sequence[tuple[int, int]],
    nodes: int,
    chance: Floats,
    ways: Sequence[Way],
    cap: int = FRONTIER_CAP,
    tolerance: float = TOLERANCE,
) -> Frontier:
    """Which ways are open, with what prior mass, over all patterns of broken parts. ``ends``: nodes (0 .. nodes-1) of each part; ``chance``: (parts,).

    Raises ValueError for more than 62 ways.

    >>> f = frontier([(0, 1), (1, 2), (2, 0)], 3, np.array([0.1, 0.1, 0.1]), [Way(0, 1)])
    >>> f.opens, [round(float(m), 6) for m in f.mass], f.dropped           # open: its own part and one of the other two
    ((0, 1), [0.981, 0.019], 0.0)
    """
    if len(ways) > MOST_WAYS:
        raise ValueError(f"{len(ways)} ways, at most {MOST_WAYS}")
    work = _Frontier(ends, chance, ways, cap, tolerance / (2 * len(ends) + nodes))
    done: set[int] = set()
    for node in _order_kept(tuple(ends), nodes, tuple((w.a, w.b) for w in ways)):
        for part, pair in enumerate(ends):
            if part not in done and node in pair:
                done.add(part)
                work.decide(part)
        work.settle(done)
    return work.close()


@lru_cache(maxsize=64)
def _order_kept(ends: tuple[tuple[int, int], ...], nodes: int, ways: tuple[tuple[int, int], ...]) -> tuple[int, ...]:
    """``node_order``, remembered: the same block is swept for several suppositions."""
    return tuple(node_order(ends, nodes, ways))


def node_order(ends: Sequence[tuple[int, int]], nodes: int, ways: Sequence[tuple[int, int]]) -> list[int]:
    """An order of the nodes that keeps few of them under way at once: from every start, always the node that leaves the fewest; the best is taken."""
    near: list[set[int]] = [set() for _ in range(nodes)]
    for a, b in ends:
        near[a].add(b)
        near[b].add(a)
    mates: list[set[int]] = [set() for _ in range(nodes)]
    for a, b in ways:
        mates[a].add(b)
        mates[b].add(a)
    best: tuple[float, list[int]] = (np.inf, list(range(nodes)))
    for start in range(nodes):
        found = _order_from(start, near, mates, best[0])
        if found is not None:
            best = found
    return best[1]


def _order_from(
    start: int, near: Sequence[set[int]], mates: Sequence[set[int]], limit: float
) -> tuple[float, list[int]] | None:
    """The greedy order from one node and its cost (each step 2 to the number of nodes under way); None when it costs more than ``limit``."""
    order: list[int] = []
    done: set[int] = set()
    border: set[int] = {start}
    waiting: set[int] = set()
    cost = 0.0
    left = set(range(len(near)))

    def width(node: int) -> tuple[int, int]:
        fresh = near[node] - done - border
        ends_here = sum(1 for m in waiting if mates[m] <= done | {node})
        return (len(fresh) - ends_here, node)

    while left:
        node = min(border or left, key=width)
        border |= near[node] - done
        cost += 2.0 ** (len(border) + 0.5 * len(waiting))
        if cost >= limit:
            return None
        border.discard(node)
        done.add(node)
        left.discard(node)
        order.append(node)
        waiting = {m for m in waiting | {node} if m in done and mates[m] - done}
    return cost, order


@dataclass(slots=True)
class _Frontier:
    """The sweep under way. Column c of ``label`` is ``columns[c]`` = (era, node): the first column that it hangs together with, -1 = of no more interest."""

    ends: Sequence[tuple[int, int]]
    chance: Floats
    ways: Sequence[Way]
    cap: int
    tolerance: float
    columns: list[tuple[frozenset[int], int]] = field(default_factory=list)
    label: Labels = field(default_factory=lambda: np.zeros((1, 0), dtype=np.int16))
    dead: Ints = field(default_factory=lambda: np.zeros(1, dtype=np.int64))
    alpha: Floats = field(default_factory=lambda: np.ones(1))
    dropped: float = 0.0
    steps: list[_Step] = field(default_factory=list)
    alphas: list[Floats] = field(default_factory=list)
    settled: set[int] = field(default_factory=set)
    """Ways whose answer is known in every state."""

    def _eras(self) -> list[frozenset[int]]:
        return list(dict.fromkeys(w.absent for w in self.ways))

    def decide(self, part: int) -> None:
        """Draw one part: whole joins its two ends."""
        for era in self._eras():
            for node in self.ends[part]:
                self._column(era, node)
        joined = self.label.copy()
        for era in self._eras():
            if part in era:
                continue
            a, b = (self.columns.index((era, node)) for node in self.ends[part])
            low = np.minimum(joined[:, a], joined[:, b])
            high = np.maximum(joined[:, a], joined[:, b])
            joined = np.where(joined == high[:, None], low[:, None], joined)
        p = self.chance[part]
        self._merge(
            part,
            np.concatenate([joined, self.label]),
            np.concatenate([self.dead, self.dead]),
            np.concatenate([self.alpha * (1.0 - p), self.alpha * p]),
        )

    def _column(self, era: frozenset[int], node: int) -> None:
        if (era, node) not in self.columns:
            fresh = np.full((len(self.label), 1), len(self.columns), dtype=np.int16)
            self.label = np.concatenate([self.label, fresh], axis=1)
            self.columns.append((era, node))

    def settle(self, done: set[int]) -> None:
        """Nodes whose parts are all decided leave; a way is open for good when one of its ends can join nothing any more."""
        under_way = {n for part, pair in enumerate(self.ends) if part not in done for n in pair}
        border = [c for c, (_, node) in enumerate(self.columns) if node in under_way]
        known = {key: c for c, key in enumerate(self.columns)}
        lost: dict[int, Bools] = {}

        def closed(c: int) -> Bools:
            if c not in lost:
                apart = [self.label[:, f] != self.label[:, c] for f in border]
                lost[c] = np.logical_and.reduce(apart) if apart else np.ones(len(self.label), dtype=np.bool_)
            return lost[c]

        wanted = np.zeros(self.label.shape, dtype=np.bool_)
        dead = self.dead.copy()
        for w, way in enumerate(self.ways):
            ends = [c for c in (known.get((way.absent, way.a)), known.get((way.absent, way.b))) if c is not None]
            if not ends or w in self.settled:
                continue
            told = (dead >> w & 1).astype(np.bool_)
            for c in ends:
                told |= self.label[:, c] < 0
            joined = (
                self.label[:, ends[0]] == self.label[:, ends[1]]
                if len(ends) == 2
                else np.zeros(len(told), dtype=np.bool_)
            )
            out = np.logical_or.reduce([closed(c) for c in ends]) & ~joined & ~told
            dead |= out.astype(np.int64) << w
            open_still = ~(told | joined | out)
            if not open_still.any():
                self.settled.add(w)
            for c in ends:
                wanted[:, c] |= open_still
        wanted[:, border] = True
        label = np.where(wanted, self.label, -1).astype(np.int16)
        keep = [c for c in range(len(self.columns)) if wanted[:, c].any()]
        self.columns = [self.columns[c] for c in keep]
        self._merge(-1, _first_alike(label[:, keep]), dead, self.alpha)

    def _merge(self, part: int, label: Labels, dead: Ints, weight: Floats) -> None:
        """Merge equal states and drop what is too unlikely to matter; note where each old state went."""
        words = [*_packed(label), dead]
        order = np.lexsort(words)
        fresh = np.ones(len(order), dtype=np.bool_)
        if len(order) > 1:
            fresh[1:] = np.logical_or.reduce([w[order][1:] != w[order][:-1] for w in words])
        child = np.empty(len(order), dtype=np.int64)
        child[order] = np.cumsum(fresh) - 1
        first = order[fresh]
        mass = np.bincount(child, weights=weight, minlength=len(first))
        label, dead = label[first], dead[first]
        reach = mass.copy()
        for w, way in enumerate(self.ways):
            if way.worth < 1.0:
                reach = np.where(dead >> w & 1, reach * way.worth, reach)
        rising = np.argsort(reach, kind="stable")
        gone = int(np.searchsorted(np.cumsum(reach[rising]), self.tolerance, side="right"))
        gone = max(min(gone, len(first) - 1), len(first) - self.cap)
        place = np.arange(len(first))
        if gone > 0:
            keep = np.sort(rising[gone:])
            self.dropped += float(reach[rising[:gone]].sum())
            place = np.full(len(first), len(keep), dtype=np.int64)
            place[keep] = np.arange(len(keep))
            label, dead, mass = label[keep], dead[keep], mass[keep]
        child = place[child]
        n = len(self.alpha)
        self.steps.append(_Step(part, (child[:n], child[n:]) if part >= 0 else (child,)))
        self.alphas.append(self.alpha)
        self.label, self.dead, self.alpha = label, dead, np.asarray(mass, dtype=np.float64)

    def close(self) -> Frontier:
        """The outcomes: what is left are the sets of open ways."""
        return Frontier(
            self.chance,
            tuple(self.dead.tolist()),
            self.alpha,
            self.dropped,
            tuple(self.steps),
            tuple(self.alphas),
        )


def _first_alike(label: Labels) -> Labels:
    """Each column's label as the number of the first column with the same one; -1 stays."""
    found = np.empty_like(label)
    for j in range(label.shape[1]):
        mine = np.full(len(label), j, dtype=np.int16)
        for i in reversed(range(j)):
            mine[label[:, i] == label[:, j]] = i
        mine[label[:, j] < 0] = -1
        found[:, j] = mine
    return found


def _packed(label: Labels) -> list[Ints]:
    """The labels of each state in as few machine words as they need, four to a word."""
    words = []
    for start in range(0, label.shape[1], 4):
        word = np.zeros(len(label), dtype=np.int64)
        for j in range(start, min(start + 4, label.shape[1])):
            word = word << 15 | (label[:, j].astype(np.int64) + 1)
        words.append(word)
    return words
