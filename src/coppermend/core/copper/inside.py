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
from numpy.typing import NDArray

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
        return rounded(a, b, skeleton, radius, in_polygons(np.array([[*a, *b]]), np.array([skeleton], dtype=object))[0])
    return merged(i for part in skeleton.geoms for i in in_shape(a, b, part, radius))


def _along(a: Point, b: Point, path: list[Any], radius: float) -> list[Interval]:
    if len(path) == 2:
        hit = in_capsule(a, b, path[0], path[1], radius)
        return [hit] if hit else []
    hits = (in_capsule(a, b, p, q, radius) for p, q in itertools.pairwise(path))
    return merged(h for h in hits if h)


def rounded(a: Point, b: Point, polygon: Any, radius: float, inside: list[Interval]) -> list[Interval]:
    """The parts of a-b within ``radius`` of a polygon, given those ``inside`` it."""
    if radius <= 0.0:
        return inside
    out = list(inside)
    for ring in (polygon.exterior, *polygon.interiors):
        out += _along(a, b, [tuple(p) for p in shapely.get_coordinates(ring).tolist()], radius)
    return merged(out)


FEW_CROSSINGS = 4096
"""Up to this many pairs of line and edge each is tried; more are found by their boxes first (measured: where the two cost the same)."""


def in_polygons(lines: NDArray[np.float64], polygons: NDArray[Any]) -> list[list[Interval]]:
    """The parts of each line inside its polygon: cut at every edge it crosses, each piece judged by its middle.

    ``lines`` (n, 4) as x0, y0, x1, y1; ``polygons`` (n,), the same object wherever it is the same polygon: its edges are laid out once.

    >>> in_polygons(np.array([[0.0, 0.0, 4.0, 0.0]]), np.array([shapely.box(1, -1, 2, 1)]))
    [[(1.0, 2.0)]]
    """
    if not len(lines):
        return []
    number: dict[int, int] = {}
    which = np.array([number.setdefault(id(p), len(number)) for p in polygons])
    first = np.unique(which, return_index=True)[1]
    shapely.prepare(polygons[first])
    edges, offset = _edges(polygons[first])
    row, t = _crossings(lines, which, edges, offset)
    count = len(lines)
    row = np.concatenate([np.arange(count), np.arange(count), row])
    t = np.concatenate([np.zeros(count), np.ones(count), t])
    order = np.lexsort((t, row))
    row, t = row[order], t[order]
    piece = np.flatnonzero((row[1:] == row[:-1]) & (t[1:] > t[:-1]))
    of, start, end = row[piece], t[piece], t[piece + 1]
    middle = (end + start) / 2
    dx, dy = lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1]
    held = shapely.intersects_xy(polygons[of], lines[of, 0] + dx[of] * middle, lines[of, 1] + dy[of] * middle)
    length = np.array([math.dist((x0, y0), (x1, y1)) for x0, y0, x1, y1 in lines.tolist()])
    out: list[list[Interval]] = [[] for _ in range(count)]
    of, start, end = of[held], (start * length[of])[held], (end * length[of])[held]
    for k, s, e in zip(of.tolist(), start.tolist(), end.tolist(), strict=True):
        if out[k] and s <= out[k][-1][1] + 1e-6:
            out[k][-1] = (out[k][-1][0], e)
        else:
            out[k].append((s, e))
    for k in np.flatnonzero(length == 0.0).tolist():
        out[k] = [(0.0, 0.0)] if shapely.intersects_xy(polygons[k], lines[k, 0], lines[k, 1]) else []
    return out


def _edges(polygons: NDArray[Any]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Every edge of every polygon as (m, 4) start and step, and where each polygon's edges begin (n + 1)."""
    rings, of = shapely.get_rings(polygons, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    live = ring[1:] == ring[:-1]
    edges = np.column_stack([xy[:-1], xy[1:] - xy[:-1]])[live]
    owner = of[ring[:-1][live]]
    return edges, np.searchsorted(owner, np.arange(len(polygons) + 1))


def _crossings(
    lines: NDArray[np.float64], which: NDArray[np.int64], edges: NDArray[np.float64], offset: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Where lines cross the edges of their polygons: rows of ``lines`` and the share 0 < t < 1 of the way along each."""
    rows: list[NDArray[np.int64]] = []
    at: list[NDArray[np.int64]] = []
    order = np.argsort(which, kind="stable")
    groups = np.searchsorted(which[order], np.arange(len(offset)))
    for p, (begin, stop) in enumerate(itertools.pairwise(groups.tolist())):
        mine, count = order[begin:stop], int(offset[p + 1] - offset[p])
        if len(mine) * count <= FEW_CROSSINGS:
            rows.append(np.repeat(mine, count))
            at.append(np.tile(np.arange(offset[p], offset[p + 1]), len(mine)))
        else:
            i, j = _near(lines[mine], edges[offset[p] : offset[p + 1]])
            rows.append(mine[i])
            at.append(j + offset[p])
    row, edge = np.concatenate(rows), np.concatenate(at)
    dx, dy = lines[row, 2] - lines[row, 0], lines[row, 3] - lines[row, 1]
    ex, ey = edges[edge, 2], edges[edge, 3]
    across = dx * ey - dy * ex
    wx, wy = edges[edge, 0] - lines[row, 0], edges[edge, 1] - lines[row, 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (wx * ey - wy * ex) / across
        u = (wx * dy - wy * dx) / across
    hit = (np.abs(across) > 1e-15) & (u >= -1e-12) & (u <= 1 + 1e-12) & (t > 0.0) & (t < 1.0)
    return row[hit], t[hit]


def _near(lines: NDArray[np.float64], edges: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of line and edge whose boxes meet, a nanometre's rounding allowed."""
    x0, y0, x1, y1 = lines.T
    boxes = shapely.box(
        np.minimum(x0, x1) - 1e-6, np.minimum(y0, y1) - 1e-6, np.maximum(x0, x1) + 1e-6, np.maximum(y0, y1) + 1e-6
    )
    ends = np.stack([edges[:, :2], edges[:, :2] + edges[:, 2:]], axis=1)
    i, j = shapely.STRtree(shapely.linestrings(ends)).query(boxes)
    return i.astype(np.int64), j.astype(np.int64)
