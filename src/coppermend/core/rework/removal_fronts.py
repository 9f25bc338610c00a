"""The heat solve seen from a few unknowns: all others are eliminated, front by front, with dense factors of small size.

A front holds what a mesh point (or a few neighbours together), with all planes of it, exchanges with what is eliminated later. The order is that of
least fill on the mesh points; what a front leaves behind is handed to the front that takes its first neighbour (the multifrontal method, from memory).
Nothing of the factors is kept: only what the few unknowns see of each other is wanted.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.linalg.lapack import dpotrf
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

SLACK = 36
"""A point joins the front that follows it where that holds at most so many unknowns more than needed."""
SMALL = 80
"""Fronts are joined up to so many unknowns in any case. Both chosen by time."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(slots=True)
class _Front:
    """Mesh points eliminated together, first to last, the points of later fronts that they touch, and the fronts before it that hand on to it."""

    own: list[int]
    rim: set[int] = field(default_factory=set)
    before: list[_Front] = field(default_factory=list)


def seen_from(matrix: Any, many: int, point: Ints) -> Floats:
    """The block of the inverse of a symmetric positive matrix that belongs to the first ``many`` unknowns. ``point``: the mesh point of each of the others.

    >>> from scipy.sparse import csr_matrix
    >>> chain = csr_matrix(np.array([[2.0, -1.0, 0.0], [-1.0, 2.0, -1.0], [0.0, -1.0, 2.0]]))
    >>> seen_from(chain, 1, np.array([0, 1])).round(6).tolist()
    [[0.75]]
    """
    rows = matrix.tocsr()
    _, group = np.unique(point, return_inverse=True)
    by_point = np.argsort(group, kind="stable") + many
    starts = np.searchsorted(np.sort(group), np.arange(group.max(initial=-1) + 2))
    left = rows[:many][:, :many].toarray()
    for rim, handed in _eliminated(rows, _fronts(_touching(rows, many, group), len(group)), by_point, starts):
        left[np.ix_(rim, rim)] += handed
    return np.asarray(np.linalg.inv(left))


def _touching(rows: Any, many: int, group: Ints) -> Any:
    """(points, points): which mesh points exchange heat."""
    count = int(group.max(initial=-1)) + 1
    inner = rows[many:, many:].tocoo()
    one, two = group[inner.row], group[inner.col]
    apart = one != two
    return coo_matrix((np.ones(int(apart.sum())), (one[apart], two[apart])), shape=(count, count)).tocsr()


def _fronts(touching: Any, unknowns: int) -> list[_Front]:
    """The last fronts of each part of the mesh, the others before them; so many ``unknowns`` lie at the mesh points together."""
    count = touching.shape[0]
    small, slack = (round(most * count / max(unknowns, 1)) for most in (SMALL, SLACK))
    order = _least_fill(touching)
    rank = np.empty(count, dtype=np.int64)
    rank[order] = np.arange(count)
    beside = rank[touching.indices]
    waiting: dict[int, list[_Front]] = {}
    last = []
    for at, place in enumerate(order.tolist()):
        near = beside[touching.indptr[place] : touching.indptr[place + 1]].tolist()
        front = _Front([place], {one for one in near if one > at})
        coming = waiting.pop(at, [])
        for one in coming:
            front.rim |= one.rim
        front.rim.discard(at)
        for one in sorted(coming, key=lambda it: -len(it.own)):
            few = len(one.own) + len(front.own) <= small
            if few or (len(front.own) == 1 and len(front.rim) + 1 - len(one.rim) <= slack):
                front.own, front.before = one.own + front.own, front.before + one.before
            else:
                front.before.append(one)
        if front.rim:
            waiting.setdefault(min(front.rim), []).append(front)
        else:
            last.append(front)
    return last


def _least_fill(touching: Any) -> Ints:
    """An order of elimination of the mesh points with little fill."""
    count = touching.shape[0]
    whole = touching + coo_matrix(
        (np.asarray(touching.sum(axis=1)).ravel() + 1.0, (np.arange(count), np.arange(count))), shape=(count, count)
    )
    factor = splu(
        whole.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, relax=1, options={"SymmetricMode": True}
    )
    return np.argsort(factor.perm_c)


def _in_turn(last: Sequence[_Front]) -> Iterator[_Front]:
    """All fronts, each after those before it."""
    todo = [(front, False) for front in last]
    while todo:
        front, ready = todo.pop()
        if ready:
            yield front
        else:
            todo.append((front, True))
            todo += [(one, False) for one in front.before]


def _eliminated(rows: Any, last: Sequence[_Front], by_point: Ints, starts: Ints) -> Iterator[tuple[Ints, Floats]]:
    """What the last fronts leave behind: unknowns, and the block to add for them."""
    gone = np.zeros(rows.shape[0], dtype=bool)
    place = np.zeros(rows.shape[0], dtype=np.int64)
    handed: dict[int, tuple[Ints, Floats]] = {}
    for front in _in_turn(last):
        own = np.concatenate([by_point[starts[one] : starts[one + 1]] for one in front.own])
        row, column, value = _entries(rows, own)
        live = ~gone[column]
        row, column, value = row[live], column[live], value[live]
        gone[own] = True
        coming = [handed.pop(id(one)) for one in front.before]
        rim = np.unique(np.concatenate([column, *(its for its, _ in coming)]))
        rim = rim[~gone[rim]]
        q = len(own)
        place[own], place[rim] = np.arange(q), q + np.arange(len(rim))
        block = np.zeros((q + len(rim), q + len(rim)), order="F")
        block[row, place[column]] = value
        block[q:, :q] = block[:q, q:].T
        for its, more in coming:
            at = place[its]
            block[at[:, None], at] += more
        lower, failed = dpotrf(block[:q, :q], lower=1)
        if failed:
            raise np.linalg.LinAlgError("the heat matrix is not positive")
        seen = solve_triangular(lower, block[:q, q:], lower=True, check_finite=False)
        handed[id(front)] = rim, block[q:, q:] - seen.T @ seen
    yield from (handed[id(front)] for front in last)


def _entries(rows: Any, own: Ints) -> tuple[Ints, Ints, Floats]:
    """The entries of some rows of a sparse matrix: number of the row among them, column, value."""
    size = rows.indptr[own + 1] - rows.indptr[own]
    ends = np.cumsum(size)
    at = np.arange(int(ends[-1])) + np.repeat(rows.indptr[own] - ends + size, size)
    return np.repeat(np.arange(len(own)), size), rows.indices[at], rows.data[at]
