"""A stroke with positions along it, and what was cut out of it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np
import shapely

from coppermend.core.copper.blobs import Point, Stroke
from coppermend.core.copper.inside import Interval, in_disc, in_polygons, in_shape, merged, rounded

MEET_MM = 0.002
"""Centre lines nearer than this meet: above the step of 4.6 and 2.4 inch formats' rounding, far below any track."""


class Line:
    """A stroke with positions along it."""

    __slots__ = ("at", "cuts", "geometry", "gone", "spans", "stroke", "total")

    def __init__(self, stroke: Stroke) -> None:
        self.stroke = stroke
        self.at = [0.0, *itertools.accumulate(math.dist(p, q) for p, q in itertools.pairwise(stroke.path))]
        self.total = self.at[-1]
        self.spans: list[tuple[float, float, int]] = []
        self.gone: list[tuple[float, float, int]] = []
        self.cuts: list[tuple[float, int]] = []
        self.geometry: Any = None
        """The centre line as a shapely line; ``laid`` makes it."""

    def point(self, s: float) -> Point:
        """The place at position s."""
        path = self.stroke.path
        if s <= 0.0:
            return path[0]
        if s >= self.total:
            return path[-1]
        k = next(i for i in range(1, len(path)) if self.at[i] >= s)
        step = self.at[k] - self.at[k - 1]
        t = (s - self.at[k - 1]) / step if step > 0 else 0.0
        (x0, y0), (x1, y1) = path[k - 1], path[k]
        return (x0 + (x1 - x0) * t, y0 + (y1 - y0) * t)

    def position(self, x: float, y: float) -> float:
        """The position nearest to a place."""
        if self.stroke.straight:
            (x0, y0), (x1, y1) = self.stroke.path
            t = ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / (self.total * self.total)
            return min(max(t, 0.0), 1.0) * self.total
        return float(shapely.line_locate_point(self.geometry, shapely.Point(x, y)))

    def between(self, s: float, e: float) -> list[Point]:
        """The path from position s to e."""
        middle = [p for p, a in zip(self.stroke.path, self.at, strict=True) if s + 1e-9 < a < e - 1e-9]
        return [self.point(s), *middle, self.point(e)]

    def segments(self) -> Iterator[tuple[Point, Point]]:
        """The straight parts of the path."""
        return itertools.pairwise(self.stroke.path)

    def along(self, parts: Iterable[list[Interval]]) -> Iterator[Interval]:
        """What was found on each straight part, as positions along the whole line."""
        for at, found in zip(self.at, parts, strict=False):
            for s, e in found:
                yield at + s, at + e


def laid(strokes: Sequence[Stroke]) -> list[Line]:
    """The strokes as lines, their geometries made all at once."""
    lines = [Line(stroke) for stroke in strokes]
    if lines:
        counts = [len(stroke.path) for stroke in strokes]
        xy = np.array(list(itertools.chain.from_iterable(stroke.path for stroke in strokes)))
        made = shapely.linestrings(xy, indices=np.repeat(np.arange(len(lines)), counts))
        for line, geometry in zip(lines, made.tolist(), strict=True):
            line.geometry = geometry
    return lines


def insides(asked: Sequence[tuple[Line, Any, float]]) -> list[list[Interval]]:
    """For each (line, skeleton, radius) the parts of the centre line within ``radius`` of the skeleton; polygons are answered all at once."""
    skeletons = np.empty(len(asked), dtype=object)
    skeletons[:] = [one[1] for one in asked]
    kinds = shapely.get_type_id(skeletons).tolist()
    centres = list(zip(shapely.get_x(skeletons).tolist(), shapely.get_y(skeletons).tolist(), strict=True))
    point, polygon = int(shapely.GeometryType.POINT), int(shapely.GeometryType.POLYGON)
    out: list[list[Interval]] = []
    rows: list[tuple[float, ...]] = []
    polygons: list[Any] = []
    late: list[int] = []
    for n, (line, skeleton, radius) in enumerate(asked):
        if kinds[n] == polygon:
            late.append(n)
            out.append([])
            for p, q in line.segments():
                rows.append((*p, *q))
                polygons.append(skeleton)
        elif kinds[n] == point and line.stroke.straight:  # most of a board: a track at a round land
            p, q = line.stroke.path
            hit = in_disc(p, q, centres[n], radius)
            out.append([hit] if hit else [])
        else:
            out.append(merged(line.along(in_shape(p, q, skeleton, radius) for p, q in line.segments()), 1e-6))
    column = np.empty(len(polygons), dtype=object)
    column[:] = polygons
    held = iter(in_polygons(np.array(rows, dtype=np.float64).reshape(-1, 4), column))
    for n in late:
        line, skeleton, radius = asked[n]
        parts = (rounded(p, q, skeleton, radius, next(held)) for p, q in line.segments())
        out[n] = merged(line.along(parts), 1e-6)
    return out


def bounds(stroke: Stroke) -> tuple[float, float, float, float]:
    xs, ys = [p[0] for p in stroke.path], [p[1] for p in stroke.path]
    return min(xs), min(ys), max(xs), max(ys)


def sine(a: Stroke, b: Stroke) -> float:
    (ax, ay), (bx, by) = a.path[0], a.path[-1]
    (cx, cy), (dx, dy) = b.path[0], b.path[-1]
    length = math.hypot(bx - ax, by - ay) * math.hypot(dx - cx, dy - cy)
    return abs((bx - ax) * (dy - cy) - (by - ay) * (dx - cx)) / length


def complement(taken: list[tuple[float, float]], total: float) -> list[tuple[float, float]]:
    out, at = [], 0.0
    for start, end in taken:
        if start > at + MEET_MM:
            out.append((at, start))
        at = max(at, end)
    if total > at + MEET_MM:
        out.append((at, total))
    return out
