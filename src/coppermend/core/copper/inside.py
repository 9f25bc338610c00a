"""How much of a straight centre line lies inside a shape: exact for discs, capsules, polygons and rounded polygons.

Positions are lengths in mm from the line's first point. All answers are lists of (start, end), sorted and disjoint.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely

Interval = tuple[float, float]
Point = tuple[float, float]

JOIN_MM = 1e-7
"""Intervals nearer than this are one: a tenth of a nanometre, above the rounding of coordinates of some 100 mm."""


def merged(intervals: Iterable[Interval], join_mm: float = JOIN_MM) -> list[Interval]:
    """Intervals sorted and joined where they overlap or nearly touch.

    >>> merged([(2.0, 3.0), (0.0, 1.0), (0.5, 1.5)])
    [(0.0, 1.5), (2.0, 3.0)]
    """
    out: list[Interval] = []
    for start, end in sorted(intervals):
        if out and start <= out[-1][1] + join_mm:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out


def in_disc(a: Point, b: Point, centre: Point, radius: float) -> Interval | None:
    """The part of the line a-b inside a disc.

    >>> in_disc((0.0, 0.0), (10.0, 0.0), (5.0, 0.0), 1.0)
    (4.0, 6.0)
    """
    length = math.dist(a, b)
    if length == 0.0:
        return (0.0, 0.0) if math.dist(a, centre) <= radius else None
    ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    cx, cy = centre[0] - a[0], centre[1] - a[1]
    along, off = cx * ux + cy * uy, cx * uy - cy * ux
    half = radius * radius - off * off
    if half < 0.0:
        return None
    half = math.sqrt(half)
    start, end = max(0.0, along - half), min(length, along + half)
    return (start, end) if start <= end else None


def in_capsule(a: Point, b: Point, c: Point, d: Point, radius: float) -> Interval | None:
    """The part of the line a-b within ``radius`` of the segment c-d. One interval: a capsule is convex.

    >>> in_capsule((0.0, 0.0), (10.0, 0.0), (4.0, -1.0), (4.0, 1.0), 0.5)
    (3.5, 4.5)
    """
    parts = [i for i in (in_disc(a, b, c, radius), in_disc(a, b, d, radius), in_band(a, b, c, d, radius)) if i]
    return (min(p[0] for p in parts), max(p[1] for p in parts)) if parts else None


def in_band(a: Point, b: Point, c: Point, d: Point, radius: float) -> Interval | None:
    """The part of a-b inside the rectangle with axis c-d and half width ``radius`` (Liang-Barsky clipping).

    >>> in_band((0.0, 0.0), (10.0, 0.0), (2.0, 0.0), (4.0, 0.0), 0.5)
    (2.0, 4.0)
    """
    length, axis = math.dist(a, b), math.dist(c, d)
    if axis == 0.0:
        return None
    ux, uy = (d[0] - c[0]) / axis, (d[1] - c[1]) / axis
    start, end = 0.0, 1.0
    ax, ay, bx, by = a[0] - c[0], a[1] - c[1], b[0] - c[0], b[1] - c[1]
    for p, q, low, high in (
        (ax * ux + ay * uy, bx * ux + by * uy, 0.0, axis),
        (ay * ux - ax * uy, by * ux - bx * uy, -radius, radius),
    ):
        rise = q - p
        if abs(rise) < 1e-15:
            if p < low or p > high:
                return None
            continue
        t0, t1 = (low - p) / rise, (high - p) / rise
        start, end = max(start, min(t0, t1)), min(end, max(t0, t1))
        if start > end:
            return None
    return start * length, end * length


def in_shape(a: Point, b: Point, skeleton: Any, radius: float) -> list[Interval]:
    """The parts of the line a-b within ``radius`` of a shapely skeleton (point, line string, polygon, or several of them).

    >>> in_shape((0.0, 0.0), (4.0, 0.0), shapely.box(1, -1, 2, 1), 0.0)
    [(1.0, 2.0)]
    """
    kind = skeleton.geom_type
    if kind == "Point":
        hit = in_disc(a, b, (skeleton.x, skeleton.y), radius)
        return [hit] if hit else []
    if kind == "LineString":
        return _along(a, b, [tuple(p) for p in shapely.get_coordinates(skeleton).tolist()], radius)
    if kind == "Polygon":
        out = _in_polygon(a, b, skeleton)
        if radius > 0.0:
            for ring in (skeleton.exterior, *skeleton.interiors):
                out += _along(a, b, [tuple(p) for p in shapely.get_coordinates(ring).tolist()], radius)
        return merged(out)
    return merged(i for part in skeleton.geoms for i in in_shape(a, b, part, radius))


def _along(a: Point, b: Point, path: list[Any], radius: float) -> list[Interval]:
    if len(path) == 2:
        hit = in_capsule(a, b, path[0], path[1], radius)
        return [hit] if hit else []
    hits = (in_capsule(a, b, p, q, radius) for p, q in itertools.pairwise(path))
    return merged(h for h in hits if h)


def _in_polygon(a: Point, b: Point, polygon: Any) -> list[Interval]:
    """The parts of a-b inside a polygon: cut at every edge it crosses, each piece judged by its middle."""
    length = math.dist(a, b)
    if length == 0.0:
        return [(0.0, 0.0)] if polygon.intersects(shapely.Point(a)) else []
    coordinates, (rings, _) = shapely.to_ragged_array([polygon])[1:]
    start = coordinates[:-1]
    step = coordinates[1:] - start
    live = np.ones(len(start), dtype=bool)
    live[rings[1:-1] - 1] = False
    dx, dy = b[0] - a[0], b[1] - a[1]
    across = dx * step[:, 1] - dy * step[:, 0]
    live &= np.abs(across) > 1e-15
    wx, wy = start[live, 0] - a[0], start[live, 1] - a[1]
    across = across[live]
    t = (wx * step[live, 1] - wy * step[live, 0]) / across
    u = (wx * dy - wy * dx) / across
    cuts = np.unique(np.concatenate([[0.0, 1.0], t[(u >= -1e-12) & (u <= 1 + 1e-12) & (t > 0.0) & (t < 1.0)]]))
    middle = (cuts[1:] + cuts[:-1]) / 2
    held = shapely.intersects_xy(polygon, a[0] + dx * middle, a[1] + dy * middle)
    parts = zip((cuts[:-1] * length).tolist(), (cuts[1:] * length).tolist(), np.atleast_1d(held).tolist(), strict=True)
    return merged(((s, e) for s, e, inside in parts if inside), 1e-6)
