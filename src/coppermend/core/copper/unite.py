"""Union-find over integers that are handed out as they come."""

from __future__ import annotations


class Union:
    """Groups of integers 0 .. n-1; the smallest member stands for its group, so that the outcome is the same in every order.

    >>> u = Union(3)
    >>> u.join(2, 1)
    >>> u.find(2), u.add()
    (1, 3)
    """

    def __init__(self, count: int = 0) -> None:
        self._up = list(range(count))

    def __len__(self) -> int:
        return len(self._up)

    def add(self) -> int:
        """A new integer, alone in its group."""
        self._up.append(len(self._up))
        return len(self._up) - 1

    def find(self, item: int) -> int:
        """The member that stands for the group of ``item``."""
        up = self._up
        while up[item] != item:
            up[item] = up[up[item]]
            item = up[item]
        return item

    def join(self, a: int, b: int) -> None:
        """Makes one group of the groups of ``a`` and ``b``."""
        a, b = self.find(a), self.find(b)
        if a != b:
            self._up[max(a, b)] = min(a, b)
