"""What the place of a disagreement supports: a jumper or tie part whose lands meet or nearly meet there, and nothing said beyond that.

A short beside a part is no tie and a crack in a track is no jumper land, however near a part with pins in both nets may be.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.sparse.csgraph import breadth_first_order, dijkstra

from coppermend.core.board.model import Board, NetlistPoint, Pin
from coppermend.core.geometry.groups import labels

if TYPE_CHECKING:
    from coppermend.core.copper.compare import ContactGraph

TIE_LETTERS = frozenset({"NT", "JP", "SJ", "LK", "W", "TIE", "SH", "SJP", "JMP", "NETTIE"})
"""Reference letters of parts that join nets on purpose: ties, solder jumpers, links, wires, shorting bars; common practice, no source."""

TIE_PINS = 4
"""Lands that overlap are a tie in parts of at most so many pins (a sense tie has two to four); in larger parts they are bridged. Our assumption."""

JUMPER_GAP_MM = 0.5
"""Lands of a jumper part nearer than this and not joined are its two open halves; common practice 0.15 to 0.3 mm, no source."""

AROUND_PINS_MM = 1.0
"""Copper that joins two lands of a part without leaving the box round them by more than this joins them at the part; our assumption."""

NEAR_PIN_MM = 2.0
"""A place this near to a pin lies at its part."""

LAND_MM = 4.0
"""A region no larger than this under a pin may be its land; our assumption."""

Place = tuple[float, float, str]


def is_tie_part(ref: str) -> bool:
    """Whether a reference designator is that of a jumper or tie by its letters.

    >>> is_tie_part("JP12"), is_tie_part("J1"), is_tie_part("WIFI1")
    (True, False, False)
    """
    found = re.match(r"[A-Z]+", ref.upper())
    return found is not None and found[0] in TIE_LETTERS


def shared_parts(a: Iterable[NetlistPoint], b: Iterable[NetlistPoint]) -> list[str]:
    """Parts that have points in both groups, by name."""
    return sorted(({p.part for p in a} & {p.part for p in b}) - {"VIA", ""})


def pins_in(board: Board, ref: str, points: Iterable[NetlistPoint]) -> list[Pin]:
    """The pins of part ``ref`` that ``points`` name; lands of one number (``8#2``) go with it. Empty for a part the board does not have."""
    numbers = {p.pin.split("#")[0] for p in points if p.part == ref}
    return [pin for part in board.parts if part.ref == ref for pin in part.pins if pin.number.split("#")[0] in numbers]


def part_beside(board: Board, refs: Iterable[str], place: Place | None) -> str:
    """The one of ``refs`` that has a pin within NEAR_PIN_MM of the place, the nearest; "" for none."""
    wanted = set(refs)
    apart = [
        (math.hypot(pin.x_mm - place[0], pin.y_mm - place[1]), part.ref)
        for part in board.parts
        if part.ref in wanted
        for pin in part.pins
        if place is not None
    ]
    best = min(apart, default=(math.inf, ""))
    return best[1] if best[0] <= NEAR_PIN_MM else ""


def lands_of(board: Board, at: int, pins: Iterable[Pin], areas: bool = False) -> dict[int, str]:
    """Pieces of the layer at position ``at`` that are lands of these pins -> the pin's name: by the X2 pin, else flashes under the pin.

    ``areas``: small regions under the pin count, too.
    """
    layer = board.layers[at]
    solid = layer.kind == "flash"
    if areas and len(layer.shapes):
        box = layer.shapes.bounds_mm()
        solid = solid | ((layer.kind == "region") & ((box[:, 2:] - box[:, :2]).max(axis=1) <= LAND_MM))
    out: dict[int, str] = {}
    for pin in pins:
        if layer.key not in pin.layers or pin.net is None:
            continue
        mine = np.flatnonzero((layer.island == pin.net) & (solid | (layer.pin == pin.name)))
        spot = shapely.Point(pin.x_mm, pin.y_mm)
        under = shapely.distance(layer.shapes.skeleton[mine], spot) <= layer.shapes.radius_mm[mine] + 1e-3
        out |= dict.fromkeys(mine[under | (layer.pin[mine] == pin.name)].tolist(), pin.name)
    return out


def overlapping_lands(board: Board, ref: str, a: Sequence[NetlistPoint], b: Sequence[NetlistPoint]) -> bool:
    """Whether lands of part ``ref`` in group ``a`` and in group ``b`` touch, directly or over further lands of the same part only."""
    one = {pin.name for pin in pins_in(board, ref, a)}
    two = {pin.name for pin in pins_in(board, ref, b)}
    pins = [pin for part in board.parts if part.ref == ref for pin in part.pins]
    for at, layer in enumerate(board.layers):
        lands = lands_of(board, at, pins)
        number = {piece: k for k, piece in enumerate(lands)}
        pairs = [(number[i], number[j]) for i, j in layer.contacts.tolist() if i in number and j in number]
        groups: dict[int, set[str]] = {}
        group = labels(np.array(pairs, dtype=np.int64).reshape(-1, 2), len(lands))
        for name, label in zip(lands.values(), group.tolist(), strict=True):
            groups.setdefault(label, set()).add(name)
        if any(group & one and group & two for group in groups.values()):
            return True
    return False


def joined_at_part(graph: ContactGraph, ref: str, a: Sequence[NetlistPoint], b: Sequence[NetlistPoint]) -> bool:
    """Whether copper joins a land of part ``ref`` in group ``a`` to one in group ``b`` without leaving the part."""
    here, there = [p for p in a if p.part == ref], [p for p in b if p.part == ref]
    ends = [_solid(graph, [node for p in group for node in graph.nodes_at(p)]) for group in (here, there)]
    way = graph.way(*ends)
    if not way:
        return False
    spots = np.array([(p.x_mm, p.y_mm) for p in (*here, *there)])
    low, high = spots.min(axis=0) - AROUND_PINS_MM, spots.max(axis=0) + AROUND_PINS_MM
    for node in way:
        where = graph.piece(node)
        if where is None or node in ends[0] or node in ends[1]:
            continue
        box = graph.board.layers[where[0]].shapes.take(np.array([where[1]])).bounds_mm()[0]
        if (box[:2] < low).any() or (box[2:] > high).any():
            return False
    return True


def _solid(graph: ContactGraph, nodes: Sequence[int]) -> list[int]:
    """The lands among the nodes; all of them where no land is among them."""
    found = [(node, graph.piece(node)) for node in nodes]
    lands = [node for node, at in found if at is not None and graph.board.layers[at[0]].kind[at[1]] == "flash"]
    return lands or list(nodes)


def open_land(
    board: Board, gap: tuple[float, float, float, str], a: Sequence[NetlistPoint], b: Sequence[NetlistPoint]
) -> str:
    """The part between whose lands (one in each group) the gap lies, on an outer layer; "" for none. ``gap``: width, x, y (mm), layer."""
    width, x, y, key = gap
    at = next((k for k, layer in enumerate(board.layers) if layer.key == key), -1)
    if key not in ("c", "s") or width > JUMPER_GAP_MM:
        return ""
    spot = shapely.Point(x, y)
    for ref in sorted(shared_parts(a, b), key=lambda one: not is_tie_part(one)):
        sides = [lands_of(board, at, pins_in(board, ref, group), areas=True) for group in (a, b)]
        near = []
        for side in sides:
            pieces = np.array(list(side), dtype=np.int64)
            shapes = board.layers[at].shapes.take(pieces)
            away = shapely.distance(shapes.skeleton, spot) - shapes.radius_mm
            near.append(len(pieces) > 0 and float(away.min()) <= width / 2 + 0.02)
        if all(near):
            return ref
    return ""


def bridge_place(graph: ContactGraph, a: Sequence[NetlistPoint], b: Sequence[NetlistPoint]) -> Place | None:
    """Where the copper that joins the points of ``a`` meets the copper that joins those of ``b``: the middle of what lies between them.

    None where no such place exists: one piece serves both.
    """
    one, two = _tree(graph, a), _tree(graph, b)
    if not one or not two or one & two:
        return None
    far, before, _ = dijkstra(
        graph.matrix(), directed=False, indices=sorted(one), unweighted=True, min_only=True, return_predecessors=True
    )
    end = min(two, key=lambda node: (float(far[node]), node))
    if not np.isfinite(far[end]):
        return None
    way = [end]
    while way[-1] not in one:
        way.append(int(before[way[-1]]))
    if len(way) == 2:
        return graph.contact(way[0], way[1])
    return graph.place(way[len(way) // 2])


def _tree(graph: ContactGraph, points: Sequence[NetlistPoint]) -> set[int]:
    """The nodes on the ways between the points of one net."""
    at = [nodes for nodes in (_solid(graph, graph.nodes_at(point)) for point in points) if nodes]
    if not at:
        return set()
    _, before = breadth_first_order(graph.matrix(), at[0][0], directed=False, return_predecessors=True)
    out = {at[0][0]}
    for node in (nodes[0] for nodes in at[1:]):
        while node >= 0 and node not in out:
            out.add(node)
            node = int(before[node])
    return out


def one_stated_name(islands: Iterable[int], stated: Mapping[int, set[str]]) -> bool:
    """Whether one name that X2 states stands on all of these islands: then they are one net, whatever a short name hides."""
    sets = [stated.get(island, set()) for island in islands]
    return bool(sets) and bool(set.intersection(*sets))
