"""Break patterns of one block with two ways round: every pattern, or the likely ones with the mass that was left out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

ALL_UP_TO = 12
"""Chains whose patterns are listed completely (4,096 of them)."""
MOST_PATTERNS = 12_000
"""More patterns than this are not listed: the least likely are left out, and their mass is known."""


@dataclass(frozen=True, slots=True)
class Chains:
    """A block with its series sites merged: ``sites[j]`` the sites of chain j, ``ends[j]`` its two nodes (indices into ``nodes``)."""

    sites: tuple[tuple[int, ...], ...]
    ends: tuple[tuple[int, int], ...]
    nodes: dict[int, int]


def chains_of(ends: Sequence[tuple[int, int]], sites: Sequence[int], keep: Collection[int]) -> Chains:
    """Merge sites in series at nodes of two sites that are not in ``keep``. ``ends[i]``: nodes of ``sites[i]``.

    >>> chains_of([(0, 1), (1, 2), (0, 2)], [7, 8, 9], {0, 2}).sites
    ((7, 8), (9,))
    """
    near: dict[int, list[int]] = {}
    for i, (a, b) in enumerate(ends):
        near.setdefault(a, []).append(i)
        near.setdefault(b, []).append(i)
    stops = {n for n, at in near.items() if n in keep or len(at) != 2}
    if not stops:
        stops = {min(near)}
    nodes = {n: k for k, n in enumerate(sorted(stops))}
    used: set[int] = set()
    chains: list[tuple[int, ...]] = []
    chain_ends: list[tuple[int, int]] = []
    for start in sorted(stops):
        for first in near[start]:
            if first in used:
                continue
            used.add(first)
            mine, node = [first], _other(ends[first], start)
            while node not in stops:
                step = next(i for i in near[node] if i != mine[-1])
                used.add(step)
                mine.append(step)
                node = _other(ends[step], node)
            chains.append(tuple(sites[i] for i in mine))
            chain_ends.append((nodes[start], nodes[node]))
    return Chains(tuple(chains), tuple(chain_ends), nodes)


def _other(pair: tuple[int, int], node: int) -> int:
    return pair[1] if pair[0] == node else pair[0]


@dataclass(frozen=True, slots=True)
class Patterns:
    """``broken`` (patterns, chains): which chains are broken; ``weight``: prior of each pattern; ``omitted``: prior mass not listed."""

    broken: Bools
    weight: Floats
    omitted: float


def patterns(chance: Floats, most: int = MOST_PATTERNS) -> Patterns:
    """Break patterns of independent chains with these chances: up to 12 chains every pattern, beyond the likeliest ones.

    >>> p = patterns(np.array([0.1, 0.2]))
    >>> p.broken.shape, round(float(p.weight.sum()), 12), p.omitted
    ((4, 2), 1.0, 0.0)
    """
    k = len(chance)
    if k <= ALL_UP_TO:
        broken = ((np.arange(2**k)[:, None] >> np.arange(k)) & 1).astype(bool)
        omitted = 0.0
        weight = _weigh(broken, chance)
        return Patterns(broken, weight, omitted)
    rows = _likely(chance, most)
    broken = np.zeros((len(rows), k), dtype=bool)
    for i, row in enumerate(rows):
        broken[i, list(row)] = True
    weight = _weigh(broken, chance)
    return Patterns(broken, weight, max(0.0, 1.0 - float(weight.sum())))


def _likely(chance: Floats, most: int) -> list[tuple[int, ...]]:
    """The likeliest break patterns: all whose odds against the whole block reach a threshold that leaves at most ``most`` of them."""
    odds = chance / np.maximum(1.0 - chance, 1e-12)
    order = np.argsort(-odds, kind="stable")
    ranked = odds[order].tolist()
    floor = 1e-11
    while True:
        rows = _above(ranked, floor, most)
        if rows is not None:
            break
        floor *= 5.0
    names = order.tolist()
    return [tuple(names[i] for i in row) for row in rows]


def _above(ranked: Sequence[float], floor: float, most: int) -> list[tuple[int, ...]] | None:
    """Every set of positions whose product of ``ranked`` (falling) reaches ``floor``; None when there are more than ``most``."""
    rows: list[tuple[int, ...]] = [()]
    stack: list[tuple[tuple[int, ...], float, int]] = [((), 1.0, 0)]
    while stack:
        row, product, start = stack.pop()
        for i in range(start, len(ranked)):
            now = product * ranked[i]
            if now < floor:
                break
            longer = (*row, i)
            rows.append(longer)
            if len(rows) > most:
                return None
            stack.append((longer, now, i + 1))
    return rows


def _weigh(broken: Bools, chance: Floats) -> Floats:
    whole = np.prod(1.0 - chance)
    if whole <= 0.0:
        return np.asarray(np.prod(np.where(broken, chance, 1.0 - chance), axis=1), dtype=np.float64)
    odds = np.log(np.maximum(chance, 1e-300)) - np.log1p(-chance)
    return np.asarray(whole * np.exp(broken @ odds), dtype=np.float64)


def labels(ends: Sequence[tuple[int, int]], count: int, broken: Bools, absent: frozenset[int] = frozenset()) -> Ints:
    """Which nodes of the block hang together in each pattern: (patterns, nodes) the lowest node number of each one's piece.

    ``ends``: the two nodes (0 .. count-1) of each chain. ``absent``: chains that were not there (a patch wire fitted later).
    """
    here = np.tile(np.arange(count, dtype=np.int16 if count < 32_000 else np.int64), (len(broken), 1))
    for j, (a, b) in enumerate(ends):
        if j in absent:
            continue
        rows = np.flatnonzero(~broken[:, j] & (here[:, a] != here[:, b]))
        if len(rows):
            some = here[rows]
            low, high = np.minimum(some[:, a], some[:, b]), np.maximum(some[:, a], some[:, b])
            here[rows] = np.where(some == high[:, None], low[:, None], some)
    return here.astype(np.int64)
