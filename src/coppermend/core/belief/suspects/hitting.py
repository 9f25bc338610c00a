"""Minimal explanations from conflicts, likeliest first.

A conflict is a set of faults of which at least one must hold (R. Reiter, "A theory of diagnosis from first principles", Artificial Intelligence
32 (1987) 57-95); an explanation is a minimal set that hits every conflict. Searched best-first by cost, so that the first ones out are the
likeliest (B. C. Williams & R. J. Ragno, "Conflict-directed A*", 2007).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from heapq import heappop, heappush

MOST_STEPS = 20_000
"""Sets that are taken up at most; the search says nothing about what lies beyond."""


def hitting_sets(
    conflicts: Sequence[frozenset[int]], cost: Mapping[int, float], most: int = 20, deepest: int = 6
) -> list[tuple[int, ...]]:
    """Up to ``most`` minimal sets that hit every conflict, cheapest first. ``cost`` of each fault, above 0 (minus the log of its odds).

    >>> hitting_sets([frozenset({1, 2}), frozenset({2, 3})], {1: 1.0, 2: 1.5, 3: 1.0})
    [(2,), (1, 3)]
    """
    found: list[tuple[int, ...]] = []
    heap: list[tuple[float, tuple[int, ...]]] = [(0.0, ())]
    seen: set[tuple[int, ...]] = {()}
    for _ in range(MOST_STEPS):
        if not heap or len(found) >= most:
            break
        spent, chosen = heappop(heap)
        held = set(chosen)
        if any(held.issuperset(one) for one in found):
            continue
        left = next((one for one in conflicts if not held & one), None)
        if left is None:
            if _minimal(chosen, conflicts):
                found.append(chosen)
            continue
        if len(chosen) >= deepest:
            continue
        for fault in sorted(left):
            more = tuple(sorted((*chosen, fault)))
            if more not in seen:
                seen.add(more)
                heappush(heap, (spent + cost[fault], more))
    return found


def _minimal(chosen: tuple[int, ...], conflicts: Sequence[frozenset[int]]) -> bool:
    """Whether every member is the only one to hit some conflict."""
    held = set(chosen)
    return all(any(held & one == {fault} for one in conflicts) for fault in chosen)
