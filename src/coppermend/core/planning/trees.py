"""The fewest paths that prove a net: contract what needs no proof, count leaves, pair them through the middle.

A tree with L leaves needs at least ceil(L/2) paths between leaves to cover all its edges (each leaf must be an end), and that many suffice.
Source: S. Kahng, G. Robins, E. Walkup, "How to test a tree", Networks 32 (1998) (abstract read); pairing leaf i with leaf i + ceil(L/2)
in depth-first order from a middle node covers every edge.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from coppermend.core.belief.blocks import block_tree
from coppermend.core.geometry.groups import Groups


@dataclass(frozen=True, slots=True)
class RiskTree:
    """One piece of a net after everything that needs no proof was contracted.

    ``groups[g]``: nodes of group g where a tip can touch; ``edges``: (group, group, name of the edge in doubt); ``leaves``: groups with one edge.
    Every leaf has a node to touch. ``bound`` = ceil(leaves / 2).
    """

    groups: tuple[tuple[int, ...], ...]
    edges: tuple[tuple[int, int, int], ...]
    leaves: tuple[int, ...]

    @property
    def bound(self) -> int:
        """Fewest checks that prove every edge of this tree."""
        return (len(self.leaves) + 1) // 2


@dataclass(frozen=True, slots=True)
class PathPair:
    """A check to be: from group ``a`` to group ``b``. ``also``: further groups that may stand in for ``b`` without leaving an edge unproved."""

    a: int
    b: int
    also: tuple[int, ...] = ()


def risk_trees(
    edges: Mapping[int, tuple[int, int]], doubtful: Collection[int], broken: Collection[int], touchable: Collection[int]
) -> tuple[tuple[RiskTree, ...], tuple[int, ...]]:
    """The trees left to prove, and the doubtful edges that no check can prove now.

    ``edges``: name -> (node, node). ``doubtful``: names that need proof. ``broken``: names known broken (taken out). ``touchable``: nodes
    where a tip can go. An edge with two ways round, or without a touchable node on both sides, can not be proved.

    >>> trees, rest = risk_trees({0: (0, 1), 1: (1, 2), 2: (1, 3)}, {0, 1}, (), {0, 2, 3})
    >>> trees[0].groups, trees[0].bound, rest          # the sound edge 2 joins nodes 1 and 3 to one group
    (((0,), (3,), (2,)), 1, ())
    """
    gone, wanted = set(broken), set(doubtful)
    names = [n for n in edges if n not in gone]
    nodes = sorted({v for pair in edges.values() for v in pair} | set(touchable))
    at = {v: i for i, v in enumerate(nodes)}
    ends = [(at[edges[n][0]], at[edges[n][1]]) for n in names]
    bridge = {names[k] for k in _bridges(len(nodes), tuple(ends))}
    in_doubt = [n for n in names if n in wanted and n in bridge]
    groups = Groups()
    find = groups.find
    open_names = set(in_doubt)
    for name, (a, b) in zip(names, ends, strict=True):
        if name not in open_names:
            groups.join(a, b)
    touch: dict[int, list[int]] = {}
    for v in touchable:
        touch.setdefault(find(at[v]), []).append(v)
    links = {n: (find(at[edges[n][0]]), find(at[edges[n][1]])) for n in in_doubt}
    kept = _prune(links, touch)
    trees = _split(kept, touch)
    proved = set(kept)
    cannot = tuple(n for n in names if n in wanted and n not in proved)
    return trees, cannot


@lru_cache(maxsize=64)
def _bridges(count: int, ends: tuple[tuple[int, int], ...]) -> tuple[int, ...]:
    """Edges that are the only way between their ends, remembered: a reading puts other edges in doubt and leaves the net as it is."""
    return tuple(block[0] for block in block_tree(count, ends).edges if len(block) == 1)


def _prune(links: dict[int, tuple[int, int]], touch: Mapping[int, Sequence[int]]) -> dict[int, tuple[int, int]]:
    """Take away dead ends where no tip can go, again and again."""
    kept = dict(links)
    while True:
        degree: dict[int, int] = {}
        for a, b in kept.values():
            degree[a] = degree.get(a, 0) + 1
            degree[b] = degree.get(b, 0) + 1
        dead = [
            n
            for n, (a, b) in kept.items()
            if (degree[a] == 1 and not touch.get(a)) or (degree[b] == 1 and not touch.get(b))
        ]
        if not dead:
            return kept
        for n in dead:
            del kept[n]


def _split(kept: Mapping[int, tuple[int, int]], touch: Mapping[int, Sequence[int]]) -> tuple[RiskTree, ...]:
    near: dict[int, list[tuple[int, int]]] = {}
    for n, (a, b) in kept.items():
        near.setdefault(a, []).append((n, b))
        near.setdefault(b, []).append((n, a))
    seen: set[int] = set()
    trees = []
    for start in sorted(near):
        if start in seen:
            continue
        seen.add(start)
        order, stack = [start], [start]
        while stack:
            for _, other in near[stack.pop()]:
                if other not in seen:
                    seen.add(other)
                    order.append(other)
                    stack.append(other)
        place = {v: i for i, v in enumerate(order)}
        edges = tuple((place[a], place[b], n) for n, (a, b) in kept.items() if a in place)
        leaves = tuple(i for i, v in enumerate(order) if len(near[v]) == 1)
        trees.append(RiskTree(tuple(tuple(sorted(touch.get(v, ()))) for v in order), edges, leaves))
    return tuple(trees)


def one_by_one(tree: RiskTree, base_nodes: Collection[int]) -> tuple[RiskTree, ...]:
    """The tree taken apart into trees of two ends, each from one base to a leaf: for copper whose course nobody knows.

    There a beep ties its two ends and nothing between, so that pairing leaves proves nothing about the rest; every leaf is tied to the base instead. The
    base is the leaf that holds one of ``base_nodes``, else the group that holds one, else the group with most edges that a tip can touch.

    >>> star = RiskTree(((1,), (2,), (3,), (4,)), ((0, 1, 0), (0, 2, 1), (0, 3, 2)), (1, 2, 3))
    >>> [(t.groups, t.bound) for t in one_by_one(star, {1})]
    [(((1,), (2,)), 1), (((1,), (3,)), 1), (((1,), (4,)), 1)]
    >>> [t.groups for t in one_by_one(star, {2})]            # the base is a leaf: two trees, each of two edges
    [((2,), (1,), (3,)), ((2,), (1,), (4,))]
    """
    wanted = set(base_nodes)
    near: dict[int, list[tuple[int, int]]] = {g: [] for g in range(len(tree.groups))}
    for a, b, name in tree.edges:
        near[a].append((b, name))
        near[b].append((a, name))
    homes = [g for g, nodes in enumerate(tree.groups) if wanted & set(nodes)]
    touch = [g for g, nodes in enumerate(tree.groups) if nodes]
    inner = [g for g in touch if len(near[g]) > 1]
    ends = [g for g in homes if g in tree.leaves]
    base = [*ends, *homes, max(inner or touch, key=lambda g: (len(near[g]), -g))][0]
    came: dict[int, tuple[int, int]] = {base: (-1, -1)}
    stack = [base]
    while stack:
        g = stack.pop()
        for other, name in near[g]:
            if other not in came:
                came[other] = (g, name)
                stack.append(other)
    return tuple(_branch(tree, came, leaf) for leaf in tree.leaves if leaf != base)


def _branch(tree: RiskTree, came: Mapping[int, tuple[int, int]], leaf: int) -> RiskTree:
    """The way from the base to one leaf as a tree of its own, base first."""
    way = [leaf]
    while came[way[-1]][0] >= 0:
        way.append(came[way[-1]][0])
    way.reverse()
    edges = tuple((k, k + 1, came[g][1]) for k, g in enumerate(way[1:]))
    return RiskTree(tuple(tree.groups[g] for g in way), edges, (0, len(way) - 1))


def cover(tree: RiskTree) -> tuple[PathPair, ...]:
    """Exactly ceil(L/2) paths that cover every edge of the tree.

    The odd leaf's partner is free: any group outside its own branch that a tip can touch.

    >>> star = RiskTree(((1,), (2,), (3,), (4,)), ((0, 1, 0), (0, 2, 1), (0, 3, 2)), (1, 2, 3))
    >>> [(p.a, p.b) for p in cover(star)]
    [(1, 3), (2, 0)]
    """
    near: list[list[int]] = [[] for _ in tree.groups]
    for a, b, _ in tree.edges:
        near[a].append(b)
        near[b].append(a)
    middle, branch = _middle(near, set(tree.leaves))
    order = _leaf_order(near, middle, set(tree.leaves))
    half = (len(order) + 1) // 2
    pairs = [PathPair(order[i], order[i + half]) for i in range(len(order) - half)]
    if len(order) % 2:
        odd = order[half - 1]
        others = [g for g in range(len(tree.groups)) if tree.groups[g] and (g == middle or branch[g] != branch[odd])]
        first = middle if tree.groups[middle] else next(g for g in others if g in set(tree.leaves))
        pairs.append(PathPair(odd, first, tuple(g for g in others if g != first)))
    return tuple(pairs)


MOST_LEAVES = 6
"""Of trees with more leaves only one cover is looked at: a tree of 7 or 8 has up to 105 of them."""


def covers(tree: RiskTree) -> Iterator[tuple[PathPair, ...]]:
    """Every way to pair the leaves into ceil(L/2) paths that cover all edges (the one of ``cover`` first), up to ``MOST_LEAVES`` leaves.

    >>> row = RiskTree(((1,), (2,), (3,)), ((0, 1, 0), (1, 2, 1)), (0, 2))
    >>> list(covers(row)) == [cover(row)]
    True
    >>> star = RiskTree(((1,), (2,), (3,), (4,)), ((0, 1, 0), (0, 2, 1), (0, 3, 2)), (1, 2, 3))
    >>> sorted({(p.a, p.b) for c in covers(star) for p in c[:1]})
    [(1, 2), (1, 3), (2, 3)]
    """
    usual = cover(tree)
    yield usual
    if not 2 < len(tree.leaves) <= MOST_LEAVES:
        return
    way = _ways(tree)
    everything = (1 << len(tree.edges)) - 1
    touch = [g for g, nodes in enumerate(tree.groups) if nodes]
    for pairs, odd in _pairings(tree.leaves):
        seen = 0
        for a, b in pairs:
            seen |= way[a] ^ way[b]
        paths = tuple(PathPair(a, b) for a, b in pairs)
        if odd is None:
            if seen == everything:
                yield paths
            continue
        partners = [g for g in touch if g != odd and seen | (way[odd] ^ way[g]) == everything]
        if partners:
            yield (*paths, PathPair(odd, partners[0], tuple(partners[1:])))


def _ways(tree: RiskTree) -> list[int]:
    """For each group the edges between it and group 0, as a bit mask; those between two groups are the exclusive or of theirs."""
    near: list[list[tuple[int, int]]] = [[] for _ in tree.groups]
    for i, (a, b, _) in enumerate(tree.edges):
        near[a].append((b, i))
        near[b].append((a, i))
    way = [-1] * len(tree.groups)
    way[0] = 0
    todo = [0]
    while todo:
        g = todo.pop()
        for other, i in near[g]:
            if way[other] < 0:
                way[other] = way[g] | 1 << i
                todo.append(other)
    return way


def _pairings(leaves: Sequence[int]) -> Iterator[tuple[tuple[tuple[int, int], ...], int | None]]:
    """Every way to pair the leaves, with the one that is left over when their number is odd."""
    if len(leaves) % 2:
        for i, odd in enumerate(leaves):
            for pairs, _ in _pairings((*leaves[:i], *leaves[i + 1 :])):
                yield pairs, odd
    elif not leaves:
        yield (), None
    else:
        first = leaves[0]
        for i in range(1, len(leaves)):
            for pairs, _ in _pairings((*leaves[1:i], *leaves[i + 1 :])):
                yield ((first, leaves[i]), *pairs), None


def _middle(near: Sequence[Sequence[int]], leaves: set[int]) -> tuple[int, list[int]]:
    """A node none of whose branches holds more than half of the leaves, and the branch (first node) of every node seen from it."""
    n = len(near)
    if n <= 2:
        return 0, list(range(n))
    start = next(v for v in range(n) if v not in leaves)
    parent, order = [-1] * n, [start]
    for v in order:
        for w in near[v]:
            if w != parent[v]:
                parent[w] = v
                order.append(w)
    below = [1 if v in leaves else 0 for v in range(n)]
    for v in reversed(order):
        if parent[v] >= 0:
            below[parent[v]] += below[v]
    total = below[start]
    middle = start
    while True:
        heavy = next((w for w in near[middle] if w != parent[middle] and 2 * below[w] > total), None)
        if heavy is None:
            break
        middle = heavy
    branch = [-1] * n
    branch[middle] = middle
    for first in near[middle]:
        stack = [(first, middle)]
        while stack:
            v, came = stack.pop()
            branch[v] = first
            stack += [(w, v) for w in near[v] if w != came]
    return middle, branch


def _leaf_order(near: Sequence[Sequence[int]], middle: int, leaves: set[int]) -> list[int]:
    order: list[int] = []
    stack = [(middle, -1)]
    while stack:
        v, came = stack.pop()
        if v in leaves:
            order.append(v)
        stack += [(w, v) for w in reversed(near[v]) if w != came]
    return order
