"""Union-find over things that are named as they come (nodes, chains): what hangs together with what."""

from __future__ import annotations


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
