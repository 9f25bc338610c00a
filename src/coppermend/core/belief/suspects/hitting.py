"""Minimal explanations from conflicts, likeliest first.

A conflict is a set of faults of which at least one must hold (R. Reiter, "A theory of diagnosis from first principles", Artificial Intelligence
32 (1987) 57-95); an explanation is a minimal set that hits every conflict. Searched best-first by cost and an underestimate of
the cost still to come, so that the first ones out are the likeliest (B. C. Williams & R. J. Ragno, "Conflict-directed A*", 2007).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from heapq import heappop, heappush

MOST_STEPS = 4_000
"""Sets that are taken up at most; the search says nothing about what lies beyond."""


def hitting_sets(
    conflicts: Sequence[frozenset[int]], cost: Mapping[int, float], most: int = 20, deepest: int = 6
) -> list[tuple[int, ...]]:
    """Up to ``most`` minimal sets that hit every conflict, cheapest first. ``cost`` of each fault, above 0 (minus the log of its odds).

    >>> hitting_sets([frozenset({1, 2}), frozenset({2, 3})], {1: 1.0, 2: 1.5, 3: 1.0})
    [(2,), (1, 3)]
    """
    hits: dict[int, int] = {}
    for k, one in enumerate(conflicts):
        for fault in one:
            hits[fault] = hits.get(fault, 0) | (1 << k)
    share = _shares(conflicts, cost)
    every = (1 << len(conflicts)) - 1
    found: list[tuple[int, ...]] = []
    heap: list[tuple[float, tuple[int, ...], float, int]] = [(sum(share), (), 0.0, every)]
    seen: set[tuple[int, ...]] = {()}
    for _ in range(MOST_STEPS):
        if not heap or len(found) >= most:
            break
        _, chosen, spent, left = heappop(heap)
        held = set(chosen)
        if any(held.issuperset(one) for one in found):
            continue
        if not left:
            if _minimal(chosen, conflicts):
                found.append(chosen)
            continue
        if len(chosen) >= deepest:
            continue
        first = (left & -left).bit_length() - 1
        for fault in sorted(conflicts[first]):
            more = tuple(sorted((*chosen, fault)))
            if more not in seen:
                seen.add(more)
                open_still = left & ~hits[fault]
                owed = _owed(open_still, share)
                heappush(heap, (spent + cost[fault] + owed, more, spent + cost[fault], open_still))
    return found


def _shares(conflicts: Sequence[frozenset[int]], cost: Mapping[int, float]) -> list[float]:
    """What hitting each conflict costs at least, shared out so that no fault is paid for above its cost: an underestimate of what is left to pay.

    >>> _shares([frozenset({1, 2}), frozenset({2, 3})], {1: 1.0, 2: 1.5, 3: 1.0})
    [1.0, 0.5]
    """
    left = dict(cost)
    found = []
    for one in conflicts:
        least = min(left[fault] for fault in one)
        for fault in one:
            left[fault] -= least
        found.append(least)
    return found


def _owed(conflicts: int, share: Sequence[float]) -> float:
    total = 0.0
    while conflicts:
        low = conflicts & -conflicts
        total += share[low.bit_length() - 1]
        conflicts ^= low
    return total


def _minimal(chosen: tuple[int, ...], conflicts: Sequence[frozenset[int]]) -> bool:
    """Whether every member is the only one to hit some conflict."""
    held = set(chosen)
    return all(any(held & one == {fault} for one in conflicts) for fault in chosen)
