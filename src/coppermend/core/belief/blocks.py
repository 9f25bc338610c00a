"""Where a net has one way and where it has two: its blocks, and the route between two nodes through them.

A *block* is a biggest piece of a net without a cut node (a biconnected component). A block of one edge is a bridge: the
only way. A block of several edges has two ways round. The blocks of a net form a tree, so every pair of nodes has one
route: a sequence of (block, entry node, exit node).

Source: Hopcroft and Tarjan, Algorithm 447, Communications of the ACM 16 (1973), for the depth-first search (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BlockTree:
    """The blocks of a multigraph and their tree.

    ``edges[k]``: edge indices of block k. ``home[v]``: the block that joins node v to the root of its piece (-1 at a root).
    ``top[k]``: the node of block k nearest the root. ``depth[v]``: blocks between v and its root. ``piece[v]``: the piece of v.
    """

    edges: tuple[tuple[int, ...], ...]
    home: tuple[int, ...]
    top: tuple[int, ...]
    depth: tuple[int, ...]
    piece: tuple[int, ...]

    def route(self, a: int, b: int) -> list[tuple[int, int, int]]:
        """The way from node a to node b as (block, entry node, exit node), in no particular order; empty when a is b.

        Nodes of different pieces raise ValueError.

        >>> tree = block_tree(3, [(0, 1), (1, 2)])
        >>> sorted(tree.route(0, 2)) == sorted([(tree.home[1], 1, 0), (tree.home[2], 2, 1)])
        True
        """
        if self.piece[a] != self.piece[b]:
            raise ValueError(f"nodes {a} and {b} are not on one piece of copper")
        way: list[tuple[int, int, int]] = []
        while a != b:
            home_a, home_b = self.home[a], self.home[b]
            if home_a == home_b and home_a >= 0:
                way.append((home_a, a, b))
                break
            if self.depth[a] >= self.depth[b]:
                way.append((home_a, a, self.top[home_a]))
                a = self.top[home_a]
            else:
                way.append((home_b, b, self.top[home_b]))
                b = self.top[home_b]
        return way


def block_tree(node_count: int, ends: Sequence[tuple[int, int]], roots: Sequence[int] = ()) -> BlockTree:
    """The blocks of the multigraph with edges ``ends`` (pairs of nodes); loops belong to no block. Linear time.

    ``roots``: nodes to start from first (the rest follow in number order).

    >>> block_tree(4, [(0, 1), (1, 2), (2, 0), (2, 3)]).edges
    ((3,), (2, 1, 0))
    """
    near: list[list[tuple[int, int]]] = [[] for _ in range(node_count)]
    for edge, (a, b) in enumerate(ends):
        if a != b:
            near[a].append((edge, b))
            near[b].append((edge, a))
    found = [-1] * node_count
    low = [0] * node_count
    home, depth, piece = [-1] * node_count, [0] * node_count, [-1] * node_count
    blocks: list[tuple[int, ...]] = []
    tops: list[int] = []
    clock = 0
    pieces = 0
    for root in (*roots, *range(node_count)):
        if found[root] >= 0:
            continue
        found[root] = low[root] = clock
        clock += 1
        piece[root] = pieces
        edge_stack: list[int] = []
        stack: list[tuple[int, int, int]] = [(root, -1, 0)]
        while stack:
            node, via, at = stack[-1]
            if at < len(near[node]):
                stack[-1] = (node, via, at + 1)
                edge, other = near[node][at]
                if edge == via:
                    continue
                if found[other] < 0:
                    found[other] = low[other] = clock
                    clock += 1
                    piece[other] = pieces
                    edge_stack.append(edge)
                    stack.append((other, edge, 0))
                elif found[other] < found[node]:
                    edge_stack.append(edge)
                    low[node] = min(low[node], found[other])
                continue
            stack.pop()
            if not stack:
                break
            above = stack[-1][0]
            low[above] = min(low[above], low[node])
            if low[node] >= found[above]:
                mine: list[int] = []
                while True:
                    edge = edge_stack.pop()
                    mine.append(edge)
                    if edge == via:
                        break
                for edge in mine:
                    for end in ends[edge]:
                        if end != above:
                            home[end] = len(blocks)
                blocks.append(tuple(mine))
                tops.append(above)
        pieces += 1
    _fill_depth(found, home, tops, depth)
    return BlockTree(tuple(blocks), tuple(home), tuple(tops), tuple(depth), tuple(piece))


def _fill_depth(found: list[int], home: list[int], tops: list[int], depth: list[int]) -> None:
    """Depth of every node in blocks from its root; a block's top is always found before the block's other nodes."""
    for node in sorted(range(len(found)), key=found.__getitem__):
        if home[node] >= 0:
            depth[node] = depth[tops[home[node]]] + 1
