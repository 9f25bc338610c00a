"""The copper graph as the belief sees it: which sites a beep passes, which nodes are one piece, and where there are two ways round."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field

from coppermend.core.belief.blocks import BlockTree, block_tree
from coppermend.core.board.model import PartState
from coppermend.core.copper.model import CopperGraph, ProbePoint, SiteKind


@dataclass(frozen=True, slots=True)
class Copper:
    """A copper graph prepared for many questions.

    ``conducts``: indices of the sites that a beep passes; edge k of ``tree`` is site ``conducts[k]``. ``block_of``: block of each
    site (-1 = in none). ``pieces[p]``: sites of piece p. ``points``: probe points by id. ``site``: site index by id.
    ``points_at``: reachable probe points of each node.
    """

    graph: CopperGraph
    conducts: tuple[int, ...]
    tree: BlockTree
    block_sites: tuple[tuple[int, ...], ...]
    block_of: tuple[int, ...]
    pieces: tuple[tuple[int, ...], ...]
    piece_nodes: tuple[tuple[int, ...], ...]
    points: dict[str, ProbePoint]
    points_at: tuple[tuple[ProbePoint, ...], ...]
    site: dict[str, int]
    chips: dict[int, tuple[str, ...]] = field(default_factory=dict)
    """Chips in circuit on each piece; pieces without any are not in it."""


CHIP_PINS = 8
"""A part of so many pins or more is taken for a chip."""


def _chips(graph: CopperGraph, piece: Sequence[int]) -> dict[int, tuple[str, ...]]:
    fitted = {
        ref for ref, state in graph.part_states if state in (PartState.SOLDERED, PartState.SOCKETED, PartState.REPLACED)
    }
    pins: dict[str, set[str]] = {}
    for point in graph.points:
        if point.part in fitted:
            pins.setdefault(point.part, set()).add(point.pin)
    chips = {ref for ref, own in pins.items() if len(own) >= CHIP_PINS}
    found: dict[int, set[str]] = {}
    for point in graph.points:
        if point.part in chips:
            found.setdefault(piece[point.node], set()).add(point.part)
    return {k: tuple(sorted(v)) for k, v in found.items()}


def prepare(graph: CopperGraph, closed_below_ohm: float) -> Copper:
    """The graph prepared; a part that is rung through counts as copper when its value is below ``closed_below_ohm``."""
    conducts = tuple(
        k
        for k, s in enumerate(graph.sites)
        if s.a != s.b and (s.kind is not SiteKind.THROUGH or s.resistance_ohm <= closed_below_ohm)
    )
    tree = block_tree(graph.node_count, [(graph.sites[k].a, graph.sites[k].b) for k in conducts])
    block_of = [-1] * len(graph.sites)
    block_sites = tuple(tuple(conducts[e] for e in block) for block in tree.edges)
    for block, sites in enumerate(block_sites):
        for k in sites:
            block_of[k] = block
    count = max(tree.piece, default=-1) + 1
    pieces: list[list[int]] = [[] for _ in range(count)]
    nodes: list[list[int]] = [[] for _ in range(count)]
    for k in conducts:
        pieces[tree.piece[graph.sites[k].a]].append(k)
    for node, piece in enumerate(tree.piece):
        nodes[piece].append(node)
    at: list[list[ProbePoint]] = [[] for _ in range(graph.node_count)]
    for point in graph.points:
        if point.reachable:
            at[point.node].append(point)
    return Copper(
        graph,
        conducts,
        tree,
        block_sites,
        tuple(block_of),
        tuple(tuple(p) for p in pieces),
        tuple(tuple(p) for p in nodes),
        {p.id: p for p in graph.points},
        tuple(tuple(p) for p in at),
        {s.id: k for k, s in enumerate(graph.sites)},
        _chips(graph, tree.piece),
    )


_KEPT: OrderedDict[tuple[int, float], tuple[CopperGraph, Copper]] = OrderedDict()
_KEEP = 8


def copper_of(graph: CopperGraph, closed_below_ohm: float = 10.0) -> Copper:
    """``prepare``, remembered for the last few graphs (the same object gives the same answer)."""
    key = (id(graph), closed_below_ohm)
    hit = _KEPT.get(key)
    if hit is not None and hit[0] is graph:
        return hit[1]
    made = prepare(graph, closed_below_ohm)
    _KEPT[key] = (graph, made)
    while len(_KEPT) > _KEEP:
        _KEPT.popitem(last=False)
    return made
