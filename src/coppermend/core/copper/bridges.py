"""The places where two nets could have been bridged: where their copper comes near, as places on the copper graph of each net.

Along two tracks that run beside each other there is one place a millimetre; a land near other copper is one place. Solder, a hair of wire and a
slip of the iron happen on the outer layers only.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board, CopperLayer
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.copper.neighbours import RANKS
from coppermend.core.copper.provable import joined_nets

STEP_MM = 1.0
"""Distance between the places that are tried along two parallel tracks."""
MOST_PLACES = 400
"""With more places than this the step is doubled until they fit."""
ON_LAND_MM = 0.9
"""A place at most this far from the middle of a land counts as being on it: half of the usual 1.6 to 1.8 mm land."""
OPEN_MM = 1.27
"""Window of a bridge: the 0.050 inch of bare-board adjacency testing (docs/sources.md)."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a net's copper: a node, or (``node`` -1) the share ``t`` (0..1, by resistance) of the way from a to b along a site."""

    node: int
    site: str = ""
    t: float = 0.0


@dataclass(frozen=True, slots=True)
class BridgePlace:
    """Where a bridge could sit: its spot on either net, the gap edge to edge and its middle (mm), layer, kind (one of RANKS), the pins beside it."""

    a: Spot
    b: Spot
    x_mm: float
    y_mm: float
    gap_mm: float
    layer: str
    kind: str
    pin_a: str = ""
    pin_b: str = ""


def bridge_places(
    board: Board, graph: CopperGraph, net_a: int, net_b: int, window_mm: float = OPEN_MM, step_mm: float = STEP_MM
) -> tuple[BridgePlace, ...]:
    """Every place where copper of the two nets (indices) comes within ``window_mm`` on an outer layer; empty where it never does.

    Nets that patch wires join count as one. At most MOST_PLACES; longer neighbourhoods are taken in wider steps.
    """
    sides = [_Side(board, graph, joined_nets(graph, net)) for net in (net_a, net_b)]
    found: dict[tuple[object, ...], BridgePlace] = {}
    for layer in board.layers:
        if layer.key in ("c", "s"):
            for place in _on_layer(layer, sides[0], sides[1], window_mm, step_mm):
                key = (_cell(place.a), _cell(place.b), layer.key)
                if key not in found or place.gap_mm < found[key].gap_mm:
                    found[key] = place
    if len(found) > MOST_PLACES and step_mm < 32:
        return bridge_places(board, graph, net_a, net_b, window_mm, step_mm * 2)
    return tuple(found.values())


def _cell(spot: Spot) -> tuple[object, ...]:
    return (spot.node,) if spot.node >= 0 else (spot.site, round(spot.t, 3))


class _Side:
    """One net: its copper pieces by layer, and what finds the place on its graph."""

    def __init__(self, board: Board, graph: CopperGraph, nets: Sequence[int]) -> None:
        self.nets = frozenset(nets)
        self.graph = graph
        self.runs: dict[str, tuple[list[Site], Any]] = {}
        for key in ("c", "s"):
            sites = [
                s
                for s in graph.sites
                if s.layer == key and s.kind in (SiteKind.RUN, SiteKind.SPOKE) and len(s.path) > 1
                and graph.node_net[s.a] in self.nets
            ]  # fmt: skip
            self.runs[key] = sites, shapely.STRtree([shapely.LineString(s.path) for s in sites]) if sites else None
        self.nodes = {
            key: [
                (n, *graph.node_place[n][:2])
                for n in range(graph.node_count)
                if graph.node_net[n] in self.nets and graph.node_place[n][2] == key and graph.node_kind[n] in ("land", "pin")
            ]
            for key in ("c", "s")
        }  # fmt: skip
        self.sheets = [
            (s.node, s.layer, shapely.union_all([shapely.Polygon(r[0], list(r[1:])) for r in s.rings]))
            for s in graph.sheets
            if graph.node_net[s.node] in self.nets
        ]
        self.pins = [(p.name, p.x_mm, p.y_mm) for p in graph.pins if p.net in self.nets]

    def spot(self, layer: str, x: float, y: float) -> Spot | None:
        """The place on the graph that a place on the copper is; None where the net has nothing near it on that layer."""
        near = min(((math.dist((nx, ny), (x, y)), n) for n, nx, ny in self.nodes[layer]), default=(math.inf, -1))
        if near[0] <= ON_LAND_MM:
            return Spot(near[1])
        point = shapely.Point(x, y)
        sites, tree = self.runs[layer]
        far, best = math.inf, -1
        if tree is not None:
            best = int(tree.nearest(point))
            far = float(shapely.distance(point, tree.geometries[best]))
        for node, key, outline in self.sheets:
            if key == layer and far > 0.2 and float(shapely.distance(outline, point)) <= 0.2:
                return Spot(node)
        if min(far, near[0]) > 3.0:
            return None
        if near[0] < far:
            return Spot(near[1])
        return _on_site(sites[best], float(shapely.line_locate_point(tree.geometries[best], point)))

    def pin_near(self, x: float, y: float) -> str:
        """The net's pin at the place, "" where there is none within ON_LAND_MM."""
        far, name = min(((math.dist((px, py), (x, y)), name) for name, px, py in self.pins), default=(math.inf, ""))
        return name if far <= ON_LAND_MM else ""


def _on_site(site: Site, along_mm: float) -> Spot:
    lengths = [math.dist(p, q) for p, q in itertools.pairwise(site.path)]
    total = sum(lengths)
    if along_mm <= 0.05 or total <= 0.1:
        return Spot(site.a)
    if along_mm >= total - 0.05:
        return Spot(site.b)
    squares = [length / max(w, 1e-6) for length, w in zip(lengths, site.widths_mm, strict=True)]
    done, left = 0.0, along_mm
    for length, square in zip(lengths, squares, strict=True):
        if left <= length:
            done += square * left / max(length, 1e-12)
            break
        done, left = done + square, left - length
    return Spot(-1, site.id, done / sum(squares))


def _on_layer(layer: CopperLayer, one: _Side, other: _Side, window_mm: float, step_mm: float) -> list[BridgePlace]:
    island = layer.island.astype(np.int64)
    mine, theirs = (np.flatnonzero(np.isin(island, list(side.nets))) for side in (one, other))
    if not len(mine) or not len(theirs):
        return []
    a, b = layer.shapes.take(mine), layer.shapes.take(theirs)
    solid = np.asarray(layer.kind).astype(str) == "flash"
    out = []
    for i, j in a.near_pairs(window_mm, b).tolist():
        rank = 1 if solid[mine[i]] and solid[theirs[j]] else 2 if solid[mine[i]] or solid[theirs[j]] else 3
        reach = float(a.radius_mm[i] + b.radius_mm[j])
        for p, q in _samples(a.skeleton[i], b.skeleton[j], reach + window_mm, step_mm):
            made = _place(layer.key, one, other, p, q, float(a.radius_mm[i]), max(math.dist(p, q) - reach, 0.0), rank)
            if made is not None:
                out.append(made)
    return out


Pair = tuple[tuple[float, float], tuple[float, float]]


def _samples(a: Any, b: Any, within: float, step_mm: float) -> list[Pair]:
    """Pairs of nearest places of two skeletons: the nearest of all, and one each step along them where they are lines."""
    out = [_ends(shapely.shortest_line(a, b))]
    if shapely.length(a) > step_mm and a.geom_type == "LineString":
        out += [_ends(shapely.shortest_line(p, b)) for p in _along(a, step_mm)]
    elif shapely.length(b) > step_mm and b.geom_type == "LineString":
        out += [_ends(shapely.shortest_line(a, p)) for p in _along(b, step_mm)]
    return [pair for pair in out if math.dist(*pair) <= within]


def _along(line: Any, step_mm: float) -> NDArray[Any]:
    length = float(shapely.length(line))
    return np.asarray(shapely.line_interpolate_point(line, np.linspace(0.0, length, max(int(length / step_mm), 1) + 1)))


def _ends(line: Any) -> Pair:
    (x1, y1), (x2, y2) = shapely.get_coordinates(line)[[0, -1]].tolist()
    return (x1, y1), (x2, y2)


def _place(
    layer: str, one: _Side, other: _Side, p: tuple[float, float], q: tuple[float, float], radius: float, gap: float, rank: int
) -> BridgePlace | None:  # fmt: skip
    a, b = one.spot(layer, *p), other.spot(layer, *q)
    if a is None or b is None:
        return None
    share = min((radius + gap / 2) / max(math.dist(p, q), 1e-9), 1.0)
    x, y = p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1])
    pin_a, pin_b = one.pin_near(*p), other.pin_near(*q)
    rank = 0 if rank == 1 and pin_a and pin_b else rank
    return BridgePlace(a, b, round(x, 4), round(y, 4), gap, layer, RANKS[rank], pin_a, pin_b)


def with_spots(graph: CopperGraph, spots: Sequence[Spot]) -> tuple[CopperGraph, tuple[int, ...]]:
    """The graph with a node at every spot (sites are split there, no resistance is gained or lost), and the node of each spot.

    >>> from coppermend.core.belief.examples import example_graph
    >>> split, nodes = with_spots(example_graph([(0, 1)], [0, 1]), [Spot(-1, "s0", 0.25), Spot(1)])
    >>> nodes, [(s.id, s.resistance_ohm) for s in split.sites]
    ((2, 1), [('s0~0', 0.0025), ('s0~1', 0.0075)])
    """
    cuts: dict[str, list[float]] = {}
    for spot in spots:
        if spot.node < 0 and spot.t not in cuts.setdefault(spot.site, []):
            cuts[spot.site].append(spot.t)
    places, nets, kinds = list(graph.node_place), list(graph.node_net), list(graph.node_kind)
    at: dict[tuple[str, float], int] = {}
    sites: list[Site] = []
    for site in graph.sites:
        if site.id not in cuts:
            sites.append(site)
            continue
        start, t0 = site.a, 0.0
        for k, t in enumerate([*sorted(cuts[site.id]), 1.0]):
            end = site.b
            p, q = _at(site.path, t0), _at(site.path, t)
            if t < 1.0:
                end = at[site.id, t] = len(places)
                places.append((*q, site.layer))
                nets.append(graph.node_net[site.a])
                kinds.append("junction")
            share = t - t0
            ends = (site.path[0] if k == 0 else p, site.path[-1] if t == 1.0 else q)
            sites.append(
                replace(
                    site, id=f"{site.id}~{k}", a=start, b=end, path=ends, widths_mm=site.widths_mm[:1],
                    length_mm=site.length_mm * share, resistance_ohm=site.resistance_ohm * share,
                )
            )  # fmt: skip
            start, t0 = end, t
    nodes = tuple(spot.node if spot.node >= 0 else at[spot.site, spot.t] for spot in spots)
    split = replace(
        graph, sites=tuple(sites), node_place=tuple(places), node_net=tuple(nets), node_kind=tuple(kinds), memo={}
    )
    return split, nodes


def _at(path: Sequence[tuple[float, float]], t: float) -> tuple[float, float]:
    """The place at the share t of a path's length."""
    lengths = [math.dist(p, q) for p, q in itertools.pairwise(path)]
    left = t * sum(lengths)
    for (p, q), length in zip(itertools.pairwise(path), lengths, strict=True):
        if left <= length and length > 0:
            s = left / length
            return p[0] + s * (q[0] - p[0]), p[1] + s * (q[1] - p[1])
        left -= length
    return path[-1]
