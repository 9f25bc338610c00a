"""Copper islands: what copper and plated holes join, from copper and drill data alone. No name of a net or pin comes in here.

Pieces of one layer that touch (gap of at most ``TOUCH_MM``) are one; the wall of a plated hole joins what reaches it on every
layer that the hole passes. A wall meets copper where copper crosses the drill's edge: an antipad stays clear of it, a pad smaller
than the drill is drilled away. A hole that is not plated cuts copper and joins nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.joined import NO_HOLES, Holes, Islands, LayerCopper
from coppermend.core.geometry.groups import labels
from coppermend.core.geometry.polarity import box_pairs, cut, within
from coppermend.core.geometry.shapes import TOUCH_MM, ShapeSet


def touching(
    a: ShapeSet, b: ShapeSet, i: NDArray[Any], j: NDArray[Any], within_mm: float = TOUCH_MM
) -> NDArray[np.bool_]:
    """Whether the gap between ``a[i]`` and ``b[j]`` is at most ``within_mm``, pair by pair."""
    return within(a, b, i, j, within_mm)


def contacts_of(shapes: ShapeSet) -> NDArray[np.int64]:
    """(k, 2) pairs i < j of touching shapes of one layer."""
    box = shapes.bounds_mm() + np.array([-TOUCH_MM, -TOUCH_MM, TOUCH_MM, TOUCH_MM]) / 2
    i, j = box_pairs(box, box)
    once = i < j
    i, j = i[once], j[once]
    hit = touching(shapes, shapes, i, j) if len(i) else np.empty(0, bool)
    return np.column_stack([i[hit], j[hit]]).astype(np.int64)


def reaches_wall(copper: ShapeSet, holes: ShapeSet, i: NDArray[Any], j: NDArray[Any]) -> NDArray[np.bool_]:
    """Whether copper ``i`` crosses or touches the drill's edge of hole ``j``: near enough to the hole and not wholly inside it."""
    near = touching(copper, holes, i, j)
    at = np.flatnonzero(near)
    box, hole_box = copper.bounds_mm()[i[at]], holes.bounds_mm()[j[at]]
    slack = TOUCH_MM
    inside = np.all(np.c_[box[:, :2] >= hole_box[:, :2] - slack, box[:, 2:] <= hole_box[:, 2:] + slack], axis=1)
    for k in at[inside]:
        corners = shapely.points(shapely.get_coordinates(copper.skeleton[i[k]]))
        far = float(np.max(shapely.distance(corners, holes.skeleton[j[k]]))) + float(copper.radius_mm[i[k]])
        near[k] = far >= holes.radius_mm[j[k]] - slack
    return near


def _drilled(shapes: ShapeSet, holes: ShapeSet) -> tuple[ShapeSet, NDArray[np.int64], ShapeSet]:
    """Pieces after holes that are not plated were cut out: the shapes to keep, their sources, and the shapes to find contacts with.

    A piece that stays in one piece keeps its exact shape (the map draws the hole over it); contacts see the drilled one.
    """
    i, j = box_pairs(shapes.bounds_mm(), holes.bounds_mm())
    left = cut(shapes, holes, i, j)
    pieces_of = np.bincount(left.source, minlength=len(shapes))
    whole = pieces_of[left.source] == 1
    keep = ShapeSet(left.shapes.skeleton.copy(), left.shapes.radius_mm.copy())
    keep.skeleton[whole] = shapes.skeleton[left.source[whole]]
    keep.radius_mm[whole] = shapes.radius_mm[left.source[whole]]
    return keep, left.source, left.shapes


def layer_copper(shapes: ShapeSet, holes: Holes, position: int) -> LayerCopper:
    """The copper of the layer at ``position``: pieces, contacts between them, and walls of plated holes that meet them."""
    all_holes = holes.shapes()
    here = (holes.first <= position) & (position <= holes.last) & (holes.diameter_mm > 0)
    bare, walls = np.flatnonzero(here & ~holes.plated), np.flatnonzero(here & holes.plated)
    keep, source, drilled = _drilled(shapes, all_holes.take(bare))
    contacts = contacts_of(drilled)
    wall_shapes = all_holes.take(walls)
    box = wall_shapes.bounds_mm() + np.array([-TOUCH_MM, -TOUCH_MM, TOUCH_MM, TOUCH_MM])
    i, j = box_pairs(drilled.bounds_mm(), box)
    hit = reaches_wall(drilled, wall_shapes, i, j) if len(i) else np.empty(0, bool)
    return LayerCopper(keep, source, contacts, np.column_stack([walls[j[hit]], i[hit]]).astype(np.int64))


def join(layers: Sequence[LayerCopper], hole_count: int) -> Islands:
    """Islands from the contacts and walls of every layer: connected components over pieces and plated holes."""
    sizes = [len(layer.shapes) for layer in layers]
    start = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    total = int(start[-1])
    ends = [np.empty((0, 2), np.int64)]
    for layer, begin in zip(layers, start, strict=False):
        ends.append(layer.contacts + begin)
        ends.append(np.column_stack([layer.walls[:, 0] + total, layer.walls[:, 1] + begin]))
    edge = np.concatenate(ends)
    count = total + hole_count
    label = labels(edge, count)
    order, first = np.unique(label[:total], return_index=True)
    number = np.full(int(label.max()) + 1 if count else 0, -1, dtype=np.int32)
    number[order[np.argsort(first)]] = np.arange(len(order), dtype=np.int32)
    island = number[label] if count else np.empty(0, np.int32)
    pieces = tuple(island[a:b] for a, b in pairwise(start))
    return Islands(tuple(layers), pieces, island[total:], len(order))


def make_nets(copper: Sequence[ShapeSet], holes: Holes = NO_HOLES) -> Islands:
    """The islands of a board: ``copper`` one shape set a layer from the component side (clear polarity already taken away), and ``holes``.

    >>> two = [ShapeSet.of([shapely.Point(0, 0)], [0.5]), ShapeSet.of([shapely.Point(0, 0), shapely.Point(9, 0)], [0.5, 0.5])]
    >>> make_nets(two).count
    3
    >>> drill = Holes(*(np.array([v]) for v in (0.0, 0.0, 0.0, 0.0, 0.6)), np.array([True]), np.array([0]), np.array([1]))
    >>> make_nets(two, drill).count
    2
    """
    return join([layer_copper(shapes, holes, at) for at, shapes in enumerate(copper)], len(holes))
