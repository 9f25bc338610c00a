"""What hangs together with what: union-find over things that are named as they come (nodes, chains), labels for things that are numbered."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


class Groups:
    """Groups of integers; the second of two that are joined keeps standing for both. Numbers not seen before are alone in their group.

    Where the smallest member must stand for its group whatever the order, ``core.copper.unite.Union`` does that.

    >>> groups = Groups()
    >>> groups.join(7, 3)
    >>> groups.find(7), groups.find(5)
    (3, 5)
    """

    def __init__(self) -> None:
        self._up: dict[int, int] = {}

    def find(self, item: int) -> int:
        """The member that stands for the group of ``item``."""
        up = self._up
        while up.setdefault(item, item) != item:
            up[item] = up[up[item]]
            item = up[item]
        return item

    def join(self, a: int, b: int) -> None:
        """Makes one group of the groups of ``a`` and ``b``."""
        top = self.find(b)
        self._up[self.find(a)] = top


def labels(pairs: NDArray[Any], count: int) -> NDArray[np.int64]:
    """(count,) label of the group that each of the things 0 to count - 1 belongs to, from (n, 2) pairs that touch; labels count from 0 without gaps.

    >>> labels(np.array([[0, 2], [3, 2]]), 5).tolist()
    [0, 1, 0, 0, 2]
    """
    from scipy.sparse import coo_matrix  # here: some that import this module build nothing
    from scipy.sparse.csgraph import connected_components

    if not count:
        return np.empty(0, np.int64)
    matrix = coo_matrix((np.ones(len(pairs), bool), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(matrix, directed=False)[1], dtype=np.int64)
