"""Nets that lie near each other: where solder, a hair of wire or a slip of the iron could have joined them, and where to put the tips.

Gaps are edge to edge on the outer layers. Order: how likely a bridge is. Adjacent soldered pins first, then a land beside other copper, then
two tracks (common practice, no source). The default window is the 0.050 inch of bare-board adjacency testing (docs/sources.md).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board, CopperLayer
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.model import CopperGraph, ProbePoint, SiteKind
from coppermend.core.copper.places import Places
from coppermend.core.copper.unknown import next_pins
from coppermend.core.geometry.shapes import ShapeSet

WINDOW_MM = 1.27
FAR_WINDOWS_MM = (2.54, 5.0, 10.0, 25.0, 100.0)
"""Windows tried one after the other for a net that has no neighbour in the stated one."""
NEAREST = 2
"""Neighbours taken for such a net."""
AT_NODE_MM = 2.5
"""Copper this near to a node counts as being at it."""
RANKS = ("adjacent soldered pins", "land and land", "land and track", "track and track")


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Two nets near each other. ``point_a``, ``point_b``: the reachable points nearest to the gap, "" where a net has none.

    ``gap_mm`` edge to edge, ``x_mm, y_mm`` its middle, ``layer`` c or s, ``place`` in words, ``kind`` one of RANKS,
    ``in_window`` False for a nearest neighbour further away than the window.
    """

    net_a: int
    net_b: int
    point_a: str
    point_b: str
    gap_mm: float
    x_mm: float
    y_mm: float
    layer: str
    place: str
    kind: str
    in_window: bool = True

    def as_dict(self) -> dict[str, object]:
        """The pair as plain JSON values."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True, slots=True)
class _Copper:
    """Pieces of one layer, clipped: shapes, net of each, and what each is (2 soldered pin, 1 land, 0 track or pour)."""

    layer: str
    shapes: ShapeSet
    net: NDArray[np.int64]
    what: NDArray[np.int64]

    def take(self, index: NDArray[Any]) -> _Copper:
        return _Copper(self.layer, self.shapes.take(index), self.net[index], self.what[index])


@dataclass(frozen=True, slots=True)
class _Hit:
    """A gap found: nets a < b, gap, its middle, what lies on both sides."""

    nets: tuple[int, int]
    gap_mm: float
    spot: tuple[float, float]
    layer: str
    rank: int
    in_window: bool


def neighbours(
    board: Board,
    graph: CopperGraph,
    polygons: Sequence[Sequence[tuple[float, float]]] = (),
    window_mm: float = WINDOW_MM,
    nodes: Iterable[int] = (),
) -> tuple[Neighbour, ...]:
    """Pairs of nets whose copper comes within ``window_mm`` inside the polygons (mm), or of the lands at the given nodes; likeliest bridge first.

    One entry for a pair of nets, at its likeliest place. A net of the area with no neighbour in the window gets its two nearest
    (``in_window`` False). Part states, and with them the points that can be reached, are those of the graph.
    """
    if not copper_is_known(board):
        return _next_pins(board, graph, polygons, nodes)
    work = _Work(board, graph)
    hits: dict[tuple[int, int], _Hit] = {}
    for layer in reversed(board.layers):
        if layer.key not in ("c", "s"):
            continue
        whole = work.copper(layer)
        for polygon in polygons:
            if len(polygon) >= 3:
                area = shapely.Polygon(polygon)
                inside = _clipped(whole, area if area.is_valid else shapely.make_valid(area))
                _keep_best(hits, _gaps(inside, inside, window_mm, True))
        for node in nodes:
            own = work.at_node(whole, node)
            if len(own.net):
                _keep_best(hits, _gaps(own, whole, window_mm, True))
    for hit in _nearest(work, polygons, nodes, hits):
        hits.setdefault(hit.nets, hit)
    found = [work.neighbour(hit) for hit in hits.values()]
    return tuple(
        sorted(found, key=lambda n: (not n.in_window, RANKS.index(n.kind), round(n.gap_mm, 6), n.net_a, n.net_b))
    )


def nets_near(board: Board, x_mm: float, y_mm: float, layer: str, reach_mm: float) -> frozenset[int]:
    """The nets (indices) whose copper on ``layer`` (c or s) comes within ``reach_mm`` of a place, edge to place."""
    spot = shapely.Point(x_mm, y_mm)
    found: set[int] = set()
    for one in board.layers:
        if one.key == layer:
            far = shapely.distance(one.shapes.skeleton, spot) - one.shapes.radius_mm
            found.update(int(net) for net in one.island[far <= reach_mm])
    return frozenset(found)


def _next_pins(
    board: Board, graph: CopperGraph, polygons: Sequence[Sequence[tuple[float, float]]], nodes: Iterable[int]
) -> tuple[Neighbour, ...]:
    """Without copper data: pins of different nets next to each other, in the areas or at the nodes."""
    areas = [shapely.make_valid(shapely.Polygon(p)) for p in polygons if len(p) >= 3]
    here = [
        (pin.x_mm, pin.y_mm)
        for pin in graph.pins
        if any(area.intersects(shapely.Point(pin.x_mm, pin.y_mm)) for area in areas)
    ]
    here += [graph.node_place[node][:2] for node in nodes]
    points: dict[str, list[ProbePoint]] = {}
    for point in graph.points:
        if point.reachable:
            points.setdefault(f"{point.part}.{point.pin}", []).append(point)
    out: dict[tuple[int, int], Neighbour] = {}
    for a, b, gap in sorted(next_pins(board, graph, here), key=lambda row: (row[2], row[0].name, row[1].name)):
        first, second = (a, b) if a.net < b.net else (b, a)
        ends = [(p, q) for p in points.get(first.name, ()) for q in points.get(second.name, ())]
        best = min(
            ends,
            key=lambda pair: (pair[0].side != pair[1].side, pair[0].side != "s", pair[0].id, pair[1].id),
            default=None,
        )
        if best is not None:
            spot = ((a.x_mm + b.x_mm) / 2, (a.y_mm + b.y_mm) / 2)
            words = f"between {a.name} and {b.name}"
            pair = (first.net, second.net)
            out.setdefault(pair, Neighbour(*pair, best[0].id, best[1].id, gap, *spot, best[0].side, words, RANKS[0]))
    return tuple(out.values())


class _Work:
    """Indexes of one board and graph while neighbours are looked for."""

    def __init__(self, board: Board, graph: CopperGraph) -> None:
        self.graph = graph
        self.board = board
        self.places = Places(board)
        self.points: dict[int, list[ProbePoint]] = {}
        for point in graph.points:
            if point.reachable:
                self.points.setdefault(point.net, []).append(point)
        soldered = {(s.part, s.pin) for s in graph.sites if s.kind is SiteKind.JOINT}
        self.joints = [(p.x_mm, p.y_mm) for p in graph.pins if (p.part, p.number) in soldered]
        self.lands = [(p.x_mm, p.y_mm) for p in graph.points if p.kind in ("via", "land", "hole", "joint")]

    def copper(self, layer: CopperLayer) -> _Copper:
        """The pieces of a layer with what they are."""
        shapes = layer.shapes
        what = np.zeros(len(shapes), dtype=np.int64)
        solid = np.flatnonzero(np.asarray(layer.kind).astype(str) == "flash")
        what[solid] = 1
        if len(solid) and self.joints:
            spots = shapely.points(np.array(self.joints))
            boxes = shapely.box(*shapes.take(solid).bounds_mm().T)
            i, j = shapely.STRtree(boxes).query(spots, predicate="intersects")
            held = shapely.distance(shapes.skeleton[solid[j]], spots[i]) <= shapes.radius_mm[solid[j]] + 1e-6
            what[solid[j[held]]] = 2
        return _Copper(layer.key, shapes, layer.island.astype(np.int64), what)

    def at_node(self, whole: _Copper, node: int) -> _Copper:
        """The copper of a node's net round its place."""
        x, y, _ = self.graph.node_place[node]
        own = whole.take(np.flatnonzero(whole.net == self.graph.node_net[node]))
        if not len(own.net):
            return own
        spot = shapely.Point(x, y)
        near = own.take(np.flatnonzero(shapely.distance(own.shapes.skeleton, spot) <= own.shapes.radius_mm + 0.05))
        return _clipped(near, shapely.buffer(spot, AT_NODE_MM))

    def neighbour(self, hit: _Hit) -> Neighbour:
        """The pair with its words and points."""
        a, b = hit.nets
        first, second = self._tips(a, b, hit)
        return Neighbour(
            a, b, first, second, max(hit.gap_mm, 0.0), *hit.spot, hit.layer,
            self.places.words(*hit.spot), RANKS[hit.rank], hit.in_window,
        )  # fmt: skip

    def _tips(self, a: int, b: int, hit: _Hit) -> tuple[str, str]:
        """The nearest reachable points of both nets, on one side where that costs no more than 10 mm."""

        def far(point: ProbePoint) -> float:
            return math.dist((point.x_mm, point.y_mm), hit.spot)

        best: list[tuple[float, bool, str, str]] = []
        for side in ("c", "s", ""):
            ends = [
                min(
                    (p for p in self.points.get(net, ()) if not side or p.side == side),
                    key=lambda p: (round(far(p), 6), p.id),
                    default=None,
                )
                for net in (a, b)
            ]
            if ends[0] is not None and ends[1] is not None:
                mixed = 0.0 if ends[0].side == ends[1].side else 10.0
                cost = round(far(ends[0]) + far(ends[1]) + mixed, 6)
                best.append((cost, ends[0].side != hit.layer, ends[0].id, ends[1].id))
            elif not side:
                return ends[0].id if ends[0] else "", ends[1].id if ends[1] else ""
        _, _, first, second = min(best)
        return first, second


def _clipped(copper: _Copper, area: Any) -> _Copper:
    """The parts of the copper inside an area (skeletons cut at its edge)."""
    box = shapely.box(*copper.shapes.bounds_mm().T) if len(copper.net) else np.empty(0, dtype=object)
    near = np.flatnonzero(shapely.intersects(box, area)) if len(box) else np.empty(0, dtype=np.int64)
    part = copper.take(near)
    shapely.prepare(area)
    whole = shapely.contains_properly(area, part.shapes.skeleton)
    cut = np.flatnonzero(~whole)
    skeleton = part.shapes.skeleton.copy()
    if len(cut):
        skeleton[cut] = shapely.intersection(skeleton[cut], area)
    keep = np.flatnonzero(~shapely.is_empty(skeleton))
    shapes = ShapeSet(skeleton[keep], part.shapes.radius_mm[keep])
    return _Copper(copper.layer, shapes, part.net[keep], part.what[keep])


def _gaps(one: _Copper, other: _Copper, window_mm: float, in_window: bool) -> list[_Hit]:
    """All gaps of at most ``window_mm`` between pieces of different nets."""
    if not len(one.net) or not len(other.net):
        return []
    pairs = one.shapes.near_pairs(window_mm, other.shapes)
    i, j = pairs[:, 0], pairs[:, 1]
    differ = one.net[i] != other.net[j]
    i, j = i[differ], j[differ]
    if not len(i):
        return []
    gap = one.shapes.gap_mm(i, j, other.shapes)
    lines = shapely.get_coordinates(shapely.shortest_line(one.shapes.skeleton[i], other.shapes.skeleton[j])).reshape(
        -1, 2, 2
    )
    span = np.hypot(*(lines[:, 1] - lines[:, 0]).T)
    inward = np.clip((one.shapes.radius_mm[i] + np.maximum(gap, 0.0) / 2) / np.maximum(span, 1e-9), 0.0, 1.0)
    spot = lines[:, 0] + inward[:, None] * (lines[:, 1] - lines[:, 0])
    rank = _rank(one.what[i], other.what[j])
    order = np.lexsort((gap, rank))
    out: dict[tuple[int, int], _Hit] = {}
    for k in order.tolist():
        a, b = int(one.net[i[k]]), int(other.net[j[k]])
        key = (min(a, b), max(a, b))
        if key not in out:
            at = (float(spot[k, 0]), float(spot[k, 1]))
            out[key] = _Hit(key, float(gap[k]), at, one.layer, int(rank[k]), in_window)
    return list(out.values())


def _rank(a: NDArray[np.int64], b: NDArray[np.int64]) -> NDArray[np.int64]:
    """0 two soldered pins, 1 two lands, 2 a land and a track, 3 two tracks."""
    return np.where((a == 2) & (b == 2), 0, np.where((a > 0) & (b > 0), 1, np.where((a > 0) | (b > 0), 2, 3))).astype(
        np.int64
    )


def _keep_best(hits: dict[tuple[int, int], _Hit], found: list[_Hit]) -> None:
    for hit in found:
        known = hits.get(hit.nets)
        if known is None or (hit.rank, hit.gap_mm) < (known.rank, known.gap_mm):
            hits[hit.nets] = hit


def _nearest(
    work: _Work, polygons: Sequence[Any], nodes: Iterable[int], hits: dict[tuple[int, int], _Hit]
) -> list[_Hit]:
    """For every net of the areas without a neighbour in the window: its two nearest."""
    out: list[_Hit] = []
    paired = {net for pair in hits for net in pair}
    board_layers = [work.copper(layer) for layer in work.board.layers if layer.key in ("c", "s")]
    areas = [shapely.make_valid(shapely.Polygon(p)) for p in polygons if len(p) >= 3]
    lonely: set[int] = {work.graph.node_net[n] for n in nodes} - paired
    parts: dict[int, list[_Copper]] = {}
    for whole in board_layers:
        for area in areas:
            inside = _clipped(whole, area)
            for net in set(inside.net.tolist()) - paired:
                lonely.add(net)
                parts.setdefault(net, []).append(inside.take(np.flatnonzero(inside.net == net)))
        for node in nodes:
            if work.graph.node_net[node] in lonely:
                parts.setdefault(work.graph.node_net[node], []).append(work.at_node(whole, node))
    for net in sorted(lonely):
        out += _two_nearest(parts.get(net, []), {w.layer: w for w in board_layers})
    return out


def _two_nearest(parts: list[_Copper], layers: dict[str, _Copper]) -> list[_Hit]:
    for window in FAR_WINDOWS_MM:
        best: dict[tuple[int, int], _Hit] = {}
        for part in parts:
            _keep_best(best, _gaps(part, layers[part.layer], window, False))
        if len(best) >= NEAREST or (best and window == FAR_WINDOWS_MM[-1]):
            return sorted(best.values(), key=lambda h: (h.gap_mm, h.nets))[:NEAREST]
    return []
