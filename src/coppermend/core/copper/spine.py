"""The centre lines of narrow copper that was not drawn as a stroke: a region, a long flash, a strip painted across.

The chordal axis (L. Prasad, "Morphological analysis of shapes", CNLS Newsletter 139, 1997, named from memory): the outline is triangulated,
the axis goes through the middles of the triangles' inner edges. Short spurs are corners, not branches, and go.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.spatial import Delaunay

Point = tuple[float, float]

SLIM = 5.0
"""Copper at least this many times as long as wide can be a track. Our choice."""
FULL = 0.93
"""Copper that fills at least this share of its smallest box and is not nicked is a straight strip. Our choice."""
STEP_WIDTHS = 0.25
MOST_POINTS = 3000
"""Outlines with more points than this at the step of a quarter of the width are left as sheets."""
SPUR_WIDTHS = 1.2
"""An axis branch that ends freely within this many local widths is a corner. Our choice."""
WIDTH_CHANGE = 1.08
"""Where the width has changed by this factor a new stroke begins. Our choice."""
NICK = 0.84
"""A strip is cut where it is at most this share of its width: between that and its width it counts as even. Our choice."""
ROUGH = 0.04
"""Outlines are simplified by this share of the width before they are shrunk: strips painted across have scalloped rims. Our choice."""
LEAST_STRIP, CRUMB = 3.0, 0.3
"""What lies between wide parts is a strip from this many widths on; less than this share of a square is a crumb of a corner. Our choice."""
AREA_SLACK = 0.3
"""Strokes that differ from the copper by more than this share of its area do not stand for it. Our choice."""


@dataclass(frozen=True, slots=True)
class Bone:
    """A piece of the axis: its path in mm and half the copper's width along it."""

    path: tuple[Point, ...]
    radius: float


def slim_size(area_mm2: float, perimeter_mm: float) -> tuple[float, float]:
    """Length and width in mm of the rectangle with that area and perimeter (a strip bent or not); a square where there is none.

    >>> slim_size(12.0, 120.4)
    (60.0, 0.2)
    """
    half = perimeter_mm / 2.0
    root = half * half - 4.0 * area_mm2
    if area_mm2 <= 0.0 or root <= 0.0:
        side = math.sqrt(max(area_mm2, 0.0))
        return side, side
    length = (half + math.sqrt(root)) / 2.0
    return round(length, 9), round(area_mm2 / length, 9)


def is_slim(shape: Any, slim: float = SLIM) -> bool:
    """Whether a polygon without openings is at least ``slim`` times as long as wide, measured along its bends."""
    if shape.geom_type != "Polygon" or shape.is_empty or len(shape.interiors):
        return False
    length, width = slim_size(float(shape.area), float(shape.length))
    return length >= slim * width > 0.0


def is_even(shape: Any) -> bool:
    """Whether a slim polygon is nowhere much wider than it is on the mean: a strip, not a pour with a tail."""
    width = slim_size(float(shape.area), float(shape.length))[1]
    return bool(shapely.buffer(shapely.simplify(shape, ROUGH * width), -0.75 * width, quad_segs=2).is_empty)


def is_nicked(shape: Any, width_mm: float) -> bool:
    """Whether a strip of that width has a place at most NICK times as wide: shrunk by a little less than half, it falls apart there.

    >>> strip = shapely.box(0, 0, 20, 0.6)
    >>> is_nicked(strip, 0.6), is_nicked(strip.difference(shapely.Point(10, 0.8).buffer(0.5)), 0.6)
    (False, True)
    """
    plain = shapely.simplify(shape, ROUGH * width_mm)
    return len(shapely.get_parts(shapely.buffer(plain, -NICK / 2.0 * width_mm, quad_segs=2))) > 1


def parted(shape: Any) -> tuple[list[Any], list[Any]]:
    """A slim polygon as its narrow strips and the wide parts between them (pads in one outline with their track).

    No strips where the polygon does not fall into these two: what lies between its wide parts is no track.

    >>> dogbone = shapely.union_all([shapely.box(-1, -1, 1, 1), shapely.box(19, -1, 21, 1), shapely.box(0, -0.1, 20, 0.1)])
    >>> strips, wide = parted(dogbone)
    >>> len(strips), len(wide)
    (1, 2)
    """
    if is_even(shape):
        return [shape], []
    width = slim_size(float(shape.area), float(shape.length))[1]
    wide = shapely.buffer(shapely.buffer(shape, -0.75 * width, join_style="mitre"), 0.75 * width, join_style="mitre")
    wide = shapely.intersection(wide, shape)
    rest = shapely.get_parts(shapely.difference(shape, wide))
    fat = [p for p in shapely.get_parts(wide) if p.geom_type == "Polygon" and p.area > 0]
    strips = [p for p in rest if p.geom_type == "Polygon" and p.area > CRUMB * width * width]
    return (strips, fat) if all(is_slim(p, LEAST_STRIP) for p in strips) else ([], fat)


def spine(shape: Any) -> list[Bone] | None:
    """The axis of a narrow polygon as strokes that meet at their ends; None where it has no such axis.

    >>> [(b.path, b.radius) for b in spine(shapely.box(0, -0.1, 60, 0.1))]
    [(((0.1, 0.0), (59.9, 0.0)), 0.1)]
    """
    if shape.geom_type != "Polygon" or shape.is_empty or len(shape.interiors):
        return None
    straight = _strip(shape)
    if straight is not None and is_nicked(shape, 2.0 * straight.radius):
        straight = None
    bones = [straight] if straight is not None else _chordal(shape)
    if not bones:
        return None
    cover = shapely.union_all([shapely.buffer(shapely.LineString(b.path), b.radius, quad_segs=4) for b in bones])
    return bones if shapely.symmetric_difference(cover, shape).area <= AREA_SLACK * shape.area else None


def _strip(shape: Any) -> Bone | None:
    box = shapely.oriented_envelope(shape)
    if box.geom_type != "Polygon" or box.area <= 0 or shape.area < FULL * box.area:
        return None
    c: list[Point] = [(x, y) for x, y in shapely.get_coordinates(box.exterior)[:4].tolist()]
    if math.dist(c[0], c[1]) < math.dist(c[1], c[2]):
        c = [*c[1:], c[0]]
    first = math.dist(c[0], c[1])
    width = float(shape.area) / first
    (sx, sy), (ex, ey) = (_middle(c[0], c[3]), _middle(c[1], c[2]))
    dx, dy = (ex - sx) * width / 2 / first, (ey - sy) * width / 2 / first
    ends = sorted([(round(sx + dx, 9), round(sy + dy, 9)), (round(ex - dx, 9), round(ey - dy, 9))])
    return Bone(tuple(ends), round(width / 2, 9))


def _middle(a: Point, b: Point) -> Point:
    return ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)


def _length(path: tuple[Point, ...]) -> float:
    return sum(math.dist(p, q) for p, q in itertools.pairwise(path))


def _chordal(shape: Any) -> list[Bone]:
    width = slim_size(float(shape.area), float(shape.length))[1]
    shape = shapely.simplify(shape, 0.02 * width)
    step = STEP_WIDTHS * width
    if shape.geom_type != "Polygon" or shape.length / step + shapely.get_num_coordinates(shape) > MOST_POINTS:
        return []
    near = _axis(shapely.segmentize(shape, step))
    if not near:
        return []
    places = list(near)
    gaps = shapely.distance(shapely.points(np.array(places)), shape.exterior).tolist()
    radius = dict(zip(places, gaps, strict=True))
    _prune(near, radius)
    paths = [_trimmed(path, near, radius) for path in _branches(near)]
    return [bone for path in paths for bone in _sections(path, radius)]


def _trimmed(path: list[Point], near: dict[Point, set[Point]], radius: dict[Point, float]) -> list[Point]:
    """The path without the last half width at its free ends, where the axis turns to a corner; strokes have round ends there."""
    for _ in range(2):
        if len(near[path[0]]) == 1:
            wide = max(radius[p] for p in path[: max(2, len(path) // 2)])
            gone = 0
            while gone < len(path) - 2 and _length(tuple(path[: gone + 1])) < wide:
                gone += 1
            path = path[gone:]
        path = path[::-1]
    return path


def _axis(shape: Any) -> dict[Point, set[Point]]:
    """Neighbours on the axis: middles of inner edges, and the centres of triangles with three of them."""
    rim = np.unique(np.round(shapely.get_coordinates(shape), 9), axis=0)
    triangles = rim[Delaunay(rim).simplices]
    centre = triangles.mean(axis=1)
    u, v = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    flat = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) < 1e-6 * np.sum(u * u + v * v, axis=1)
    corners = triangles[shapely.contains_xy(shape, centre[:, 0], centre[:, 1]) & ~flat].tolist()
    edges: dict[tuple[Point, Point], int] = {}
    sides: list[list[tuple[Point, Point]]] = []
    for triangle in corners:
        p = [(x, y) for x, y in triangle]
        own = [(min(p[k], p[k - 1]), max(p[k], p[k - 1])) for k in range(3)]
        sides.append(own)
        for edge in own:
            edges[edge] = edges.get(edge, 0) + 1
    near: dict[Point, set[Point]] = {}
    for triangle, own in zip(corners, sides, strict=True):
        inner = [_middle(*edge) for edge in own if edges[edge] == 2]
        if len(inner) == 2:
            _link(near, inner[0], inner[1])
        elif len(inner) == 3:
            centre = (sum(x for x, _ in triangle) / 3, sum(y for _, y in triangle) / 3)
            for middle in inner:
                _link(near, middle, centre)
    return near


def _link(near: dict[Point, set[Point]], a: Point, b: Point) -> None:
    if a != b:
        near.setdefault(a, set()).add(b)
        near.setdefault(b, set()).add(a)


def _prune(near: dict[Point, set[Point]], radius: dict[Point, float]) -> None:
    """Takes spurs away, the shortest first, as long as a branching is left at their foot."""
    while True:
        spurs = []
        for end in [p for p, others in near.items() if len(others) == 1]:
            path = [end]
            while len(near[path[-1]]) <= 2:
                ahead = [q for q in near[path[-1]] if len(path) < 2 or q != path[-2]]
                if not ahead:
                    break
                path.append(ahead[0])
            length = _length(tuple(path))
            if len(near[path[-1]]) > 2 and length <= SPUR_WIDTHS * 2.0 * max(radius[p] for p in path):
                spurs.append((length, path))
        if not spurs:
            return
        for _, path in sorted(spurs):
            if len(near[path[-1]]) > 2:
                near[path[-1]].discard(path[-2])
                for place in path[:-1]:
                    near.pop(place)


def _branches(near: dict[Point, set[Point]]) -> list[list[Point]]:
    """The axis as paths between its ends and branchings."""
    out: list[list[Point]] = []
    seen: set[tuple[Point, Point]] = set()
    for start in sorted(p for p, others in near.items() if len(others) != 2):
        for first in sorted(near[start]):
            if (start, first) in seen:
                continue
            path = [start, first]
            while len(near[path[-1]]) == 2:
                path.append(next(q for q in near[path[-1]] if q != path[-2]))
            seen.update([(start, first), (path[-1], path[-2])])
            out.append(path)
    return out


def _sections(path: list[Point], radius: dict[Point, float]) -> list[Bone]:
    """A branch cut where its width changes; each section as wide as its resistance says (mean of the reciprocals)."""
    starts = [0]
    low = high = radius[path[0]]
    for k in range(1, len(path)):
        low, high = min(low, radius[path[k]]), max(high, radius[path[k]])
        if high > WIDTH_CHANGE * low and _length(tuple(path[starts[-1] : k + 1])) > low:
            starts.append(k)
            low = high = radius[path[k]]
    if len(starts) > 1 and _length(tuple(path[starts[-1] :])) < 2.0 * radius[path[-1]]:
        starts.pop()
    out = []
    for a, b in itertools.pairwise([*starts, len(path) - 1]):
        part = path[a : b + 1]
        if len(part) < 2 or _length(tuple(part)) <= 0.0:
            continue
        total, squares = 0.0, 0.0
        for p, q in itertools.pairwise(part):
            step = math.dist(p, q)
            total += step
            squares += step / max(radius[p] + radius[q], 1e-6)
        mean = total / squares / 2.0
        line = shapely.simplify(shapely.LineString(part), 0.1 * mean)
        out.append(Bone(tuple((x, y) for x, y in shapely.get_coordinates(line).tolist()), mean))
    return out
