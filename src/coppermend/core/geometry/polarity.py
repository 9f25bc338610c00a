"""Clear polarity taken away: what is left of dark objects after the clear objects that were drawn over them.

``(A | B) - C = (A - C) | (B - C)``: each dark object is cut by itself, and only by the later clear objects that overlap it,
so that no layer is ever united as a whole. What no clear object reaches stays exact (skeleton and radius).
Source of the order rule: Ucamco, The Gerber Layer Format Specification, 4.9.2 (polarity: a clear object erases what was drawn before it).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.geometry.shapes import ShapeSet

CHORD_MM = 5e-4
"""Largest distance between a round edge and the chord that stands for it where a shape must become a polygon."""

CRUMB_MM2 = 1e-8
"""Pieces smaller than this are rounding of the overlay, not copper (a 0.1 um by 0.1 mm splinter)."""


@dataclass(frozen=True, slots=True)
class Pieces:
    """What is left: ``shapes`` of the pieces and ``source`` (n,), the index of the object each one comes from, ascending."""

    shapes: ShapeSet
    source: NDArray[np.int64]


def quadrant_chords(radius_mm: float, chord_mm: float = CHORD_MM) -> int:
    """Chords per quadrant so that no chord is further than ``chord_mm`` from its circle; a power of two from 4 to 64.

    >>> quadrant_chords(0.5)   # 1 - cos(pi / (4 * 32)) = 0.00030 of the radius
    32
    """
    for chords in (4, 8, 16, 32):
        if radius_mm * (1.0 - np.cos(np.pi / (4 * chords))) <= chord_mm:
            return chords
    return 64


def as_polygons(shapes: ShapeSet, chord_mm: float = CHORD_MM) -> NDArray[Any]:
    """Each shape as a polygon whose round parts are inscribed chords within ``chord_mm`` (up to 64 a quadrant)."""
    out = shapes.skeleton.copy()
    chords = np.array([quadrant_chords(float(r), chord_mm) for r in np.unique(shapes.radius_mm)])
    per_shape = chords[np.searchsorted(np.unique(shapes.radius_mm), shapes.radius_mm)] if len(shapes) else chords
    for count in np.unique(per_shape) if len(shapes) else ():
        pick = (per_shape == count) & (shapes.radius_mm > 0)
        if pick.any():
            out[pick] = shapely.buffer(out[pick], shapes.radius_mm[pick], quad_segs=int(count))
    return out


def box_pairs(mine: NDArray[np.float64], theirs: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Index pairs of overlapping boxes; both (n, 4) as x0, y0, x1, y1. Boxes with NaN meet nothing."""
    if len(mine) == 0 or len(theirs) == 0:
        none = np.empty(0, dtype=np.int64)
        return none, none
    tree = shapely.STRtree(shapely.box(*theirs.T))
    i, j = tree.query(shapely.box(*mine.T))
    return i, j


MANY_POINTS = 24
"""From this many points on a skeleton is indexed before distances are asked of it; below, indexing costs more than it saves (measured)."""

EDGE_MM = 1e-9
"""Round shapes that only touch do not cut each other: overlap must be deeper than this. Polygons that touch are handed to the overlay."""


def within(a: ShapeSet, b: ShapeSet, i: NDArray[Any], j: NDArray[Any], gap_mm: float) -> NDArray[np.bool_]:
    """Whether the gap between ``a[i]`` and ``b[j]`` is at most ``gap_mm`` (negative: overlap), pair by pair; long skeletons are indexed first."""
    reach = np.maximum(a.radius_mm[i] + b.radius_mm[j] + gap_mm, 0.0)
    size_a, size_b = shapely.get_num_coordinates(a.skeleton), shapely.get_num_coordinates(b.skeleton)
    first, second = a.skeleton[i], b.skeleton[j]
    turn = size_b[j] > size_a[i]
    first[turn], second[turn] = second[turn], first[turn]
    shapely.prepare(a.skeleton[size_a >= MANY_POINTS])
    shapely.prepare(b.skeleton[size_b >= MANY_POINTS])
    return np.asarray(shapely.dwithin(first, second, reach), dtype=np.bool_)


def overlapping(a: ShapeSet, b: ShapeSet, i: NDArray[Any], j: NDArray[Any]) -> NDArray[np.bool_]:
    """Whether ``a[i]`` and ``b[j]`` overlap, pair by pair."""
    return within(a, b, i, j, -EDGE_MM)


def _left_of_each(dark: NDArray[Any], clear: NDArray[Any], i: NDArray[Any], j: NDArray[Any]) -> NDArray[Any]:
    """``dark[k]`` minus the union of its ``clear[j]`` for each different ``k`` of ascending ``i``; one geometry each."""
    first = np.flatnonzero(np.r_[True, i[1:] != i[:-1]])
    ends = np.r_[first[1:], len(i)]
    cutters = np.empty(len(first), dtype=object)
    for at, (a, b) in enumerate(zip(first, ends, strict=True)):
        cutters[at] = clear[j[a]] if b - a == 1 else shapely.disjoint_subset_union_all(clear[j[a:b]])
    return np.asarray(shapely.difference(dark[i[first]], cutters))


def cut(shapes: ShapeSet, cutters: ShapeSet, i: NDArray[Any], j: NDArray[Any], chord_mm: float = CHORD_MM) -> Pieces:
    """``shapes`` minus ``cutters`` for the pairs ``(i, j)``; shapes named in no pair stay as they are, in order.

    A shape that falls apart becomes several pieces; one that vanishes becomes none.
    """
    keep = overlapping(shapes, cutters, i, j) if len(i) else np.empty(0, dtype=bool)
    i, j = i[keep], j[keep]
    if len(i) == 0:
        return Pieces(shapes, np.arange(len(shapes), dtype=np.int64))
    order = np.lexsort((j, i))
    i, j = i[order], j[order]
    hit, used = np.unique(i), np.unique(j)
    dark = as_polygons(shapes.take(hit), chord_mm)
    clear = np.empty(len(cutters), dtype=object)
    clear[used] = as_polygons(cutters.take(used), chord_mm)
    left = _left_of_each(dark, clear, np.searchsorted(hit, i), j)
    parts, of = shapely.get_parts(left, return_index=True)
    solid = (shapely.get_dimensions(parts) == 2) & (shapely.area(parts) > CRUMB_MM2)
    parts, of = parts[solid], of[solid]
    whole = np.ones(len(shapes), dtype=bool)
    whole[hit] = False
    skeleton = np.concatenate([shapes.skeleton[whole], parts])
    radius = np.concatenate([shapes.radius_mm[whole], np.zeros(len(parts))])
    source = np.concatenate([np.flatnonzero(whole), hit[of]])
    order = np.argsort(source, kind="stable")
    return Pieces(ShapeSet(skeleton[order], radius[order]), source[order].astype(np.int64))


def in_parts(shapes: ShapeSet) -> Pieces:
    """Objects whose area lies in several parts (a thermal, a macro of two dots) as one piece for each part, in order.

    One flash is one object of the image, but its parts are joined by nothing. Linear in the number of objects; nothing is copied where all are whole.

    >>> dots = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(3, 0, 4, 1)])
    >>> in_parts(ShapeSet.of([shapely.Point(9, 9), dots], [0.5, 0.0])).source.tolist()
    [0, 1, 1]
    """
    count = shapely.get_num_geometries(shapes.skeleton) if len(shapes) else np.empty(0, np.int64)
    if len(shapes) == 0 or int(count.max()) < 2:
        return Pieces(shapes, np.arange(len(shapes), dtype=np.int64))
    source = np.repeat(np.arange(len(shapes)), np.maximum(count, 1)).astype(np.int64)
    several = count[source] > 1
    skeleton = shapes.skeleton[source]
    skeleton[several] = shapely.get_parts(shapes.skeleton[count > 1])
    return Pieces(ShapeSet(skeleton, shapes.radius_mm[source]), source)


def after_clearing(shapes: ShapeSet, dark: NDArray[np.bool_], chord_mm: float = CHORD_MM) -> Pieces:
    """What is left of the dark objects, each part by itself; ``shapes`` in drawing order, ``dark`` (n,) their polarity. ``source`` counts in ``shapes``.

    >>> ring = after_clearing(ShapeSet.of([shapely.Point(0, 0), shapely.Point(0, 0)], [2.0, 1.0]), np.array([True, False]))
    >>> len(ring.shapes), round(float(shapely.area(ring.shapes.skeleton[0])), 1)   # pi (4 - 1)
    (1, 9.4)
    """
    filled = ~shapely.is_empty(shapes.skeleton) if len(shapes) else np.empty(0, dtype=bool)
    on, off = np.flatnonzero(dark & filled), np.flatnonzero(~dark & filled)
    parts = in_parts(shapes.take(on))
    on, mine = on[parts.source], parts.shapes
    if len(off) == 0:
        return Pieces(mine, on.astype(np.int64))
    theirs = shapes.take(off)
    i, j = box_pairs(mine.bounds_mm(), theirs.bounds_mm())
    later = off[j] > on[i]
    left = cut(mine, theirs, i[later], j[later], chord_mm)
    return Pieces(left.shapes, on[left.source].astype(np.int64))


def negated(shapes: ShapeSet, dark: NDArray[np.bool_], frame: Any) -> tuple[ShapeSet, NDArray[np.bool_]]:
    """A negative image as a positive one: ``frame`` (polygon) is drawn dark first, then every object with its polarity turned."""
    skeleton = np.empty(len(shapes) + 1, dtype=object)
    skeleton[0] = frame
    skeleton[1:] = shapes.skeleton
    return ShapeSet(skeleton, np.r_[0.0, shapes.radius_mm]), np.r_[True, ~dark]
