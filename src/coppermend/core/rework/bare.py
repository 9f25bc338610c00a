"""Bare joints, legs, lands and vias that a patch wire of another net keeps clear of, each with the ground that its land takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.rework.routes import KeepOut

WIRE_RADIUS_MM = 0.25
"""Half an insulated wrap wire of 30 AWG (0.5 mm outside; from memory of data sheets)."""
CLEAR_MM = 0.2
"""Air between a wire's insulation and a bare land of another net: what still leaves a way between 1.6 mm lands at 2.54 mm pitch. Our choice."""
HALF_LAND_MM = 0.8
"""Half a land whose own shape is not found in the copper. Our choice: a usual land of 1.6 mm."""
LARGEST_LAND_MM = 6.0
"""A shape larger than this about a point is no land but a pour or a track."""
MASKED = "covered by the solder mask"
"""How the copper graph says that the mask covers a point (``core/copper/barepoints.py``)."""

Boxes = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BarePlaces:
    """Points that are bare, and the boxes (n, 4) of their lands: x0, y0, x1, y1 in mm."""

    points: tuple[ProbePoint, ...]
    boxes: Boxes

    def touched(self, path: Sequence[tuple[float, float]], by_mm: float) -> list[int]:
        """The numbers of the boxes that a line through these corners (mm) meets when they are grown by ``by_mm`` on every side."""
        x0, y0, x1, y1 = (self.boxes + np.array([-by_mm, -by_mm, by_mm, by_mm])).T
        near = np.zeros(len(self.boxes), dtype=bool)
        for (px, py), (qx, qy) in pairwise(path):
            near |= (x0 <= max(px, qx)) & (x1 >= min(px, qx)) & (y0 <= max(py, qy)) & (y1 >= min(py, qy))
        at = np.flatnonzero(near)
        met = shapely.intersects(shapely.box(x0[at], y0[at], x1[at], y1[at]), shapely.LineString(path))
        return [int(k) for k in at[met]]


def bare_places(graph: CopperGraph, board: Board | None = None) -> BarePlaces:
    """Every bare point of a graph with its land; what the solder mask covers is left out. Lands without a shape of their own: 1.6 mm square.

    >>> from coppermend.core.belief.examples import example_graph
    >>> bare_places(example_graph([(0, 1)], [0, 1])).boxes[0].tolist()
    [-0.8, -0.8, 0.8, 0.8]
    """
    key = "rework bare"
    kept = graph.memo.get(key)
    if kept is None or (board is not None and kept[0] is not board):
        kept = graph.memo[key] = (board, _found(graph, board))
    found: BarePlaces = kept[1]
    return found


def keep_clear(graph: CopperGraph, board: Board, net: int, clear_mm: float = CLEAR_MM) -> tuple[KeepOut, ...]:
    """Where no wire of ``net`` may lie for the bare places of all other nets: their lands, grown by the wire's radius and the clearance."""
    places = bare_places(graph, board)
    key = f"rework keep clear {clear_mm}"
    kept = graph.memo.get(key)
    if kept is None or kept[0] is not places:
        kept = graph.memo[key] = (places, _grounds(graph, places, WIRE_RADIUS_MM + clear_mm))
    grounds: tuple[tuple[int, KeepOut], ...] = kept[1]
    return tuple(ground for its, ground in grounds if its != net)


def _grounds(graph: CopperGraph, places: BarePlaces, grow_mm: float) -> tuple[tuple[int, KeepOut], ...]:
    """Every bare place with its net, as ground to keep clear of."""
    grown = places.boxes + np.array([-grow_mm, -grow_mm, grow_mm, grow_mm])
    return tuple(
        (point.net, KeepOut(x0, y0, x1, y1, point.side, f"over {place_words(graph, point)}"))
        for point, (x0, y0, x1, y1) in zip(places.points, grown.tolist(), strict=True)
    )


def place_words(graph: CopperGraph, point: ProbePoint) -> str:
    """A point of another net as people name it, with its net."""
    name = f"{point.part}.{point.pin}" if point.part else f"the {point.kind} at {point.x_mm:.1f}, {point.y_mm:.1f}"
    return f"{name} ({graph.net_names[point.net]})"


def _found(graph: CopperGraph, board: Board | None) -> BarePlaces:
    seen: dict[tuple[float, float, str, int], ProbePoint] = {}
    for point in graph.points:
        if point.why_not != MASKED and point.kind != "track" and point.side in SIDES:
            seen.setdefault((point.x_mm, point.y_mm, point.side, point.net), point)
    points = tuple(seen.values())
    at = np.array([(p.x_mm, p.y_mm) for p in points]).reshape(-1, 2)
    half = np.full(at.shape, HALF_LAND_MM)
    if board is not None and len(points):
        keys, sizes = _lands(board)
        own = _keys(at, np.array([SIDES.index(p.side) for p in points]))
        place = np.minimum(np.searchsorted(keys, own), max(len(keys) - 1, 0))
        known = keys[place] == own if len(keys) else np.zeros(len(own), dtype=bool)
        half[known] = sizes[place[known]]
    return BarePlaces(points, np.hstack([at - half, at + half]))


SIDES = ("c", "s")


def _keys(at: Boxes, side: int | NDArray[np.int64]) -> NDArray[np.int64]:
    """(n,) places (n, 2) in mm on a side (its place in ``SIDES``), each a whole number: to the nearest 0.05 mm."""
    x, y = np.rint(at * 20).astype(np.int64).T
    return np.asarray((x * 2**30 + y) * 2 + side)


def _lands(board: Board) -> tuple[NDArray[np.int64], Boxes]:
    """The copper shapes that may be lands: the keys of their middles, sorted, and half their width and height (n, 2); of several at one place the largest."""
    keys, sizes = [np.empty(0, dtype=np.int64)], [np.empty((0, 2))]
    for layer in board.layers:
        if layer.key in SIDES and len(layer.shapes):
            box = layer.shapes.bounds_mm()
            size = box[:, 2:] - box[:, :2]
            fits = np.flatnonzero((size < LARGEST_LAND_MM).all(axis=1) & (size > 0.1).all(axis=1))
            keys.append(_keys((box[fits, :2] + box[fits, 2:]) / 2, SIDES.index(layer.key)))
            sizes.append(size[fits] / 2)
    key, half = np.concatenate(keys), np.concatenate(sizes)
    order = np.lexsort((half.sum(axis=1), key))
    last = np.append(key[order][1:] != key[order][:-1], True)[: len(order)]
    return key[order][last], half[order][last]
