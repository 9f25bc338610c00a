"""A board as drawing data: what the page needs to draw it as it lies on the bench, in plain JSON values.

Lengths are mm in the coordinates of the copper files, y up, seen from the component side, rounded to 1 um.
A shape list is ``{"discs": [[net, radius, x, y], ...], "strokes": [[net, radius, x0, y0, x1, y1, ...], ...],
"regions": [[net, radius, [x0, y0, ...], [hole ...], ...], ...]}``; ``net`` is an index into ``nets`` or -1.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import shapely

from coppermend.core.board.model import Board, Part
from coppermend.core.board.pinboard import made_up_places
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.services.placewords import chip_rows, notch_of, point_words

SCENE_VERSION = 1


def _mm(value: float) -> float:
    return round(float(value), 3)


def flat_mm(coords: Any) -> list[float]:
    """Corners (n, 2) as one flat list of mm, rounded to 1 um."""
    return [_mm(v) for v in np.asarray(coords, dtype=np.float64)[:, :2].ravel()]


def shapes_as_json(shapes: ShapeSet, nets: Iterable[int] | None = None) -> dict[str, list[Any]]:
    """The shapes as discs, strokes and regions (see the module's head); ``nets`` one index per shape, -1 where left out.

    >>> s = ShapeSet.of([shapely.Point(1, 2), shapely.LineString([(0, 0), (3, 0)])], [0.5, 0.15])
    >>> shapes_as_json(s)
    {'discs': [[-1, 0.5, 1.0, 2.0]], 'strokes': [[-1, 0.15, 0.0, 0.0, 3.0, 0.0]], 'regions': []}
    """
    out: dict[str, list[Any]] = {"discs": [], "strokes": [], "regions": []}
    numbers = [-1] * len(shapes) if nets is None else [int(n) for n in nets]
    for net, skeleton, radius in zip(numbers, shapes.skeleton, shapes.radius_mm, strict=True):
        for geometry in shapely.get_parts(skeleton):
            _put(out, net, geometry, _mm(radius))
    return out


def _put(out: dict[str, list[Any]], net: int, geometry: Any, radius: float) -> None:
    kind = geometry.geom_type
    if geometry.is_empty:
        return
    if kind == "Point":
        out["discs"].append([net, radius, _mm(geometry.x), _mm(geometry.y)])
    elif kind in ("LineString", "LinearRing"):
        out["strokes"].append([net, radius, *flat_mm(geometry.coords)])
    elif kind == "Polygon":
        rings = [flat_mm(geometry.exterior.coords), *(flat_mm(r.coords) for r in geometry.interiors)]
        out["regions"].append([net, radius, *rings])


def bounds_mm(board: Board) -> tuple[float, float, float, float]:
    """The box (x0, y0, x1, y1) in mm round outline and copper; (0, 0, 100, 100) for a board with neither."""
    boxes = [np.array([[*o.min(axis=0), *o.max(axis=0)]]) for o in board.outline if len(o)]
    boxes += [layer.shapes.bounds_mm() for layer in board.layers if len(layer.shapes)]
    if not boxes:
        return (0.0, 0.0, 100.0, 100.0)
    rows = np.vstack(boxes)
    low, high = np.nanmin(rows[:, :2], axis=0), np.nanmax(rows[:, 2:], axis=0)
    return (_mm(low[0]), _mm(low[1]), _mm(high[0]), _mm(high[1]))


def _body(part: Part) -> str:
    """What the part looks like from above: chip (two rows), row (one row of 3 or more), small (two pins), other."""
    if chip_rows(part) is not None:
        return "chip"
    if len(part.pins) <= 2:
        return "small"
    xy = np.array([[p.x_mm, p.y_mm] for p in part.pins])
    spread = np.sort(np.ptp(xy, axis=0))
    return "row" if spread[0] < 0.5 else "other"


def part_as_json(part: Part) -> dict[str, Any]:
    """One part: reference, side, outline, body kind, notch (x, y of the middle of that end; None where it has none), pins."""
    pins = [
        [p.number, _mm(p.x_mm), _mm(p.y_mm), -1 if p.net is None else p.net, p.hole is not None, p.function]
        for p in part.pins
    ]
    notch = notch_of(part)
    return {
        "ref": part.ref,
        "side": part.side,
        "value": part.value,
        "package": part.package,
        "state": str(part.state),
        "body": _body(part),
        "outline": flat_mm(part.outline) if len(part.outline) else [],
        "notch": None if notch is None else [_mm(notch[0]), _mm(notch[1])],
        "pins": pins,
    }


def scene_of(board: Board) -> dict[str, Any]:
    """The whole board as drawing data, without anything a case lays over it. The page asks once per board.

    Keys: ``version, package_id, title, bounds_mm, outline, layers, holes, silk, mask, mask_colour, parts, nets, findings,
    photos`` (sides that have a photo as their map), ``made_up`` (parts whose places nobody said).
    """
    x0, y0, x1, y1 = bounds_mm(board)
    return {
        "version": SCENE_VERSION,
        "package_id": board.package_id,
        "title": board.title,
        "bounds_mm": [x0, y0, x1, y1],
        "thickness_mm": board.thickness_mm,
        "outline": [flat_mm(o) for o in board.outline if len(o)],
        "layers": [{"key": one.key, **shapes_as_json(one.shapes, one.island)} for one in board.layers],
        "holes": [
            [_mm(h.x_mm), _mm(h.y_mm), _mm(h.x2_mm), _mm(h.y2_mm), _mm(h.diameter_mm), h.plated] for h in board.holes
        ],
        "silk": {side: shapes_as_json(shapes) for side, shapes in board.silk},
        "mask": {side: shapes_as_json(shapes) for side, shapes in board.mask_openings},
        "mask_colour": board.extra.get("mask_colour", "green"),
        "parts": [part_as_json(p) for p in board.parts],
        "nets": [n.name for n in board.nets],
        "findings": [f.as_dict() for f in board.findings],
        "photos": [side for side in ("c", "s") if f"photo.{side}" in board.extra],
        "made_up": sorted(made_up_places(board)),
    }


def point_as_json(board: Board, point: ProbePoint) -> dict[str, Any]:
    """One probe point with the words that lead a hand to it."""
    return {
        "id": point.id,
        "net": point.net,
        "x_mm": _mm(point.x_mm),
        "y_mm": _mm(point.y_mm),
        "side": point.side,
        "part": point.part,
        "pin": point.pin,
        "kind": point.kind,
        "reachable": point.reachable,
        "why_not": point.why_not,
        **point_words(board, point),
    }


def points_as_rows(graph: CopperGraph) -> list[list[Any]]:
    """Every probe point as ``[id, net, x_mm, y_mm, side, part, pin, kind, reachable]``: what picking on the map needs."""
    return [[p.id, p.net, _mm(p.x_mm), _mm(p.y_mm), p.side, p.part, p.pin, p.kind, p.reachable] for p in graph.points]


def site_paths(graph: CopperGraph, wanted: Iterable[str]) -> dict[str, dict[str, Any]]:
    """For each wanted site: kind, layer, net, path (flat mm), width and words; ids that the graph lacks are left out."""
    ids = set(wanted)
    return {
        s.id: {
            "kind": str(s.kind),
            "layer": s.layer,
            "net": s.net,
            "path": [_mm(v) for xy in s.path for v in xy],
            "width_mm": _mm(s.width_mm),
            "words": s.words,
        }
        for s in graph.sites
        if s.id in ids
    }


def polygon_as_flat(polygon: Sequence[tuple[float, float]]) -> list[float]:
    """A polygon's corners as one flat list of mm."""
    return [_mm(v) for xy in polygon for v in xy]
