"""The least set of joins between pieces: a spanning tree over the required ones, detours over optional ones tried exactly."""

from __future__ import annotations

from itertools import combinations
from math import inf

import numpy as np
from numpy.typing import NDArray

MOST_OPTIONAL = 10
"""Optional pieces that are tried in every combination (2^10 spanning trees); beyond, those nearest to the required ones."""


def spanning_tree(weights: NDArray[np.float64], members: tuple[int, ...]) -> tuple[float, tuple[tuple[int, int], ...]]:
    """Least tree that joins all members (Prim): its cost and edges; cost inf where no finite one exists.

    >>> w = np.array([[0.0, 2.0, 9.0], [2.0, 0.0, 3.0], [9.0, 3.0, 0.0]])
    >>> spanning_tree(w, (0, 1, 2))
    (5.0, ((0, 1), (1, 2)))
    """
    if not members:
        return 0.0, ()
    inside, outside = [members[0]], list(members[1:])
    edges: list[tuple[int, int]] = []
    cost = 0.0
    while outside:
        weight, a, b = min((float(weights[a, b]), a, b) for a in inside for b in outside)
        if weight == inf:
            return inf, ()
        cost += weight
        edges.append((a, b) if a < b else (b, a))
        inside.append(b)
        outside.remove(b)
    return cost, tuple(sorted(edges))


def least_joins(
    weights: NDArray[np.float64], required: tuple[int, ...], optional: tuple[int, ...]
) -> tuple[float, tuple[tuple[int, int], ...], bool]:
    """Cheapest joins that put all required pieces together, using optional pieces where that is cheaper (Steiner tree on pieces).

    ``weights`` (k, k) symmetric, inf where no wire is possible. Returns cost, joins, and whether every combination was tried
    (exact up to ten optional pieces). Every set of wires that restores the net is a connected graph on the pieces and costs add up,
    so for all-required pieces the spanning tree is the optimum; the general problem is NP-hard.

    >>> w = np.array([[0.0, 9.0, 2.0], [9.0, 0.0, 2.0], [2.0, 2.0, 0.0]])
    >>> least_joins(w, (0, 1), (2,))
    (4.0, ((0, 2), (1, 2)), True)
    """
    useful = [o for o in optional if np.isfinite(np.delete(weights[o], o)).sum() >= 2]
    useful.sort(key=lambda o: (float(np.sort(weights[o, list(required)])[:2].sum()) if required else 0.0, o))
    tried = useful[:MOST_OPTIONAL]
    # a Steiner tree never needs more than (required - 2) optional nodes of degree >= 3, but nodes of degree 2 may pay too
    best_cost, best = spanning_tree(weights, required)
    for count in range(1, len(tried) + 1):
        for chosen in combinations(sorted(tried), count):
            cost, edges = spanning_tree(weights, tuple(sorted((*required, *chosen))))
            if cost < best_cost - 1e-12:
                best_cost, best = cost, edges
    return best_cost, best, len(tried) == len(useful)
