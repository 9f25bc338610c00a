"""A triangle mesh of the board round some pins: fine at the pins and at the rims of their copper, coarse where only heat passes by.

One mesh serves all layers; ``removal_heat.py`` gives each layer its own conductance on it. Delaunay triangles of points laid on the
copper's rims follow the copper closely (no exact conformity); how well is checked against scikit-fem and closed forms in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree

RING_POINTS = 16
"""Mesh points on the rim of a pin's metal."""
RING_GROWTH = 1.35
RIM_REACH_MM = 1.6
"""Rims of copper are followed this far round a pin."""
RIM_STEP_MM = 0.45
"""Step along a rim at that distance; nearer to the pin it is finer, down to a third."""
GRID_MM = ((4.0, 1.0), (14.0, 2.4), (40.0, 6.0))
"""(distance from the nearest pin, step of the grid up to there), in mm; beyond the last the step is FAR_MM."""
FAR_MM = 12.0
SPOKED_MM = (1.7, 0.12)
"""Up to this distance from a pin on spokes the grid has this step: triangles as wide as a spoke let too much heat through."""
SPOKED_RIM_MM = 0.1
"""Step along the rims there."""
MOST_SPOKED = 6
"""Of more pins on spokes the grid is coarser, so that a connector on a plane takes hardly longer."""
MERGE_MM = 0.07
"""Points nearer than this become one."""

CLEAR_MM = 0.15
"""Ring points keep this far from points on rims."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Mesh:
    """``xy`` (n, 2) points in mm, ``tri`` (m, 3) triangles, ``owner`` (n,) the pin whose metal covers the point or -1."""

    xy: Floats
    tri: NDArray[np.int64]
    owner: NDArray[np.int64]


def mesh_round(
    area: Any, pins: Floats, radius_mm: Floats, rims: Sequence[Any], spots: Floats, spoked: Floats | None = None
) -> Mesh:
    """The mesh of ``area`` (shapely, mm) round ``pins`` (k, 2) whose metal has ``radius_mm`` (k,).

    ``rims``: copper areas (shapely) whose outlines the mesh follows near the pins; ``spots`` (s, 2) places that must be mesh points (vias);
    ``spoked`` (t, 2) those of the pins that stand on thermal spokes.
    """
    fine = cKDTree(spoked) if spoked is not None and len(spoked) else None
    tree = cKDTree(pins)
    shapely.prepare(area)
    metal, owner = _metal(pins, radius_mm)
    laid = _thinned(np.vstack([*(_rim(one, tree, radius_mm, fine) for one in rims), spots]), fine)
    free = np.vstack([laid, _clear_of(_rings(pins, radius_mm, tree), laid)])
    free = free[shapely.intersects_xy(area, free[:, 0], free[:, 1])]
    edge = _edge(area, tree)
    close = _spoke_grid(area, fine, np.vstack([metal, free]))
    free = np.vstack([free, close])
    grid = _grid(area, tree, np.vstack([metal, free, edge]))
    free = np.vstack([free, edge, grid])
    far, near = tree.query(free)
    free = free[far > radius_mm[near] * 1.02 + MERGE_MM / 2]
    xy = np.vstack([metal, free])
    tri = Delaunay(xy).simplices.astype(np.int64)
    centre = xy[tri].mean(axis=1)
    p, q, r = xy[tri[:, 0]], xy[tri[:, 1]], xy[tri[:, 2]]
    twice = np.abs((q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0]))
    keep = (twice > 1e-9) & shapely.intersects_xy(area, centre[:, 0], centre[:, 1])
    return Mesh(xy, tri[keep], np.concatenate([owner, np.full(len(free), -1)]))


def _metal(pins: Floats, radius_mm: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """The points of each pin's own metal: its centre and its rim."""
    angle = np.arange(RING_POINTS) * 2 * math.pi / RING_POINTS
    around = np.vstack([np.zeros((1, 2)), np.column_stack([np.cos(angle), np.sin(angle)])])
    xy = pins[:, None, :] + radius_mm[:, None, None] * around[None]
    return xy.reshape(-1, 2), np.repeat(np.arange(len(pins)), RING_POINTS + 1)


def _rings(pins: Floats, radius_mm: Floats, tree: Any) -> Floats:
    """Rings that grow from each pin's rim until they are as coarse as the grid; each keeps to the ground nearest to its own pin."""
    angle = np.arange(RING_POINTS) * 2 * math.pi / RING_POINTS
    around = np.column_stack([np.cos(angle), np.sin(angle)])
    out = []
    for k, (spot, radius) in enumerate(zip(pins, radius_mm, strict=True)):
        size = float(radius) * RING_GROWTH
        while size * 2 * math.pi / RING_POINTS < GRID_MM[0][1]:
            ring = spot + size * around
            out.append(ring[tree.query(ring)[1] == k])
            size *= RING_GROWTH
    return np.vstack(out) if out else np.empty((0, 2))


def _spoke_grid(area: Any, fine: Any, taken: Floats) -> Floats:
    """A fine triangular grid round the pins on spokes, kept off the points that are there."""
    if fine is None:
        return np.empty((0, 2))
    step = SPOKED_MM[1] * max(1.0, math.sqrt(fine.n / MOST_SPOKED))
    ticks = np.arange(-SPOKED_MM[0], SPOKED_MM[0], step)
    rows = np.arange(-SPOKED_MM[0], SPOKED_MM[0], step * math.sqrt(3) / 2)
    gx, gy = np.meshgrid(ticks, rows)
    gx = gx + np.where(np.arange(len(rows)) % 2 == 1, step / 2, 0.0)[:, None]
    around = np.column_stack([gx.ravel(), gy.ravel()])
    around = around[np.hypot(around[:, 0], around[:, 1]) < SPOKED_MM[0]]
    xy = (fine.data[:, None, :] + around[None]).reshape(-1, 2)
    xy = xy[fine.query(xy)[1] == np.repeat(np.arange(fine.n), len(around))]
    xy = xy[shapely.contains_xy(area, xy[:, 0], xy[:, 1])]
    return np.asarray(xy[cKDTree(taken).query(xy)[0] > 0.5 * step])


def _rim(copper: Any, tree: Any, radius_mm: Floats, fine: Any = None) -> Floats:
    """Points along the outline of copper near the pins, finer the nearer; ``fine``: tree of the pins on spokes, finest there."""
    rings = shapely.get_rings(shapely.get_parts(copper))
    if not len(rings):
        return np.empty((0, 2))
    out = []
    for ring in rings:
        length = float(ring.length)
        count = max(4, math.ceil(length / (RIM_STEP_MM / 3)))
        along = shapely.get_coordinates(shapely.line_interpolate_point(ring, np.arange(count) * length / count))
        far, near = tree.query(along)
        gap = far - radius_mm[near]
        wanted = np.where(gap < 0.4 * RIM_REACH_MM, 1, np.where(gap < 0.7 * RIM_REACH_MM, 2, 3))
        out.append(along[(np.arange(count) % wanted == 0) & (far < RIM_REACH_MM)])
        if fine is not None:
            count = max(4, math.ceil(length / SPOKED_RIM_MM))
            close = shapely.get_coordinates(shapely.line_interpolate_point(ring, np.arange(count) * length / count))
            out.append(close[fine.query(close)[0] < SPOKED_MM[0]])
        corners = shapely.get_coordinates(ring)[:-1]
        if len(corners) <= 60:  # rounded outlines have many corners and need none
            out.append(corners[tree.query(corners)[0] < RIM_REACH_MM])
    return np.vstack(out)


def _clear_of(rings: Floats, laid: Floats) -> Floats:
    """The ring points that keep clear of points laid on rims: a point beside a rim makes triangles that straddle it."""
    if not len(laid) or not len(rings):
        return rings
    return np.asarray(rings[cKDTree(laid).query(rings)[0] > CLEAR_MM])


def _thinned(xy: Floats, fine: Any = None) -> Floats:
    """The points without those that lie within MERGE_MM of an earlier one, two thirds of it near pins on spokes (``fine``)."""
    if not len(xy):
        return xy
    pairs = cKDTree(xy).query_pairs(MERGE_MM, output_type="ndarray")
    if fine is not None and len(pairs):
        gap = np.hypot(*(xy[pairs[:, 0]] - xy[pairs[:, 1]]).T)
        pairs = pairs[(gap < MERGE_MM * 2 / 3) | (fine.query(xy[pairs[:, 0]])[0] > SPOKED_MM[0])]
    keep = np.ones(len(xy), dtype=bool)
    for i, j in pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))].tolist():
        if keep[i]:
            keep[j] = False
    return np.asarray(xy[keep])


def _edge(area: Any, tree: Any) -> Floats:
    """Points along the board's edge."""
    out = [np.empty((0, 2))]
    for ring in shapely.get_rings(shapely.get_parts(area)):
        length = float(ring.length)
        count = max(8, math.ceil(length / 2.0))
        xy = shapely.get_coordinates(shapely.line_interpolate_point(ring, np.arange(count) * length / count))
        every = np.where(tree.query(xy)[0] < GRID_MM[1][0], 1, 3)
        out += [xy[np.arange(count) % every == 0], shapely.get_coordinates(shapely.simplify(ring, 0.05))[:-1]]
    return np.vstack(out)


def _grid(area: Any, tree: Any, taken: Floats) -> Floats:
    """A triangular grid in zones round the pins, coarser outwards, kept off the points that are there."""
    known = cKDTree(taken)
    x0, y0, x1, y1 = area.bounds
    low = 0.0
    out = []
    for high, step in (*GRID_MM, (math.inf, FAR_MM)):
        box = (*(tree.mins - high), *(tree.maxes + high)) if math.isfinite(high) else (x0, y0, x1, y1)
        rows = np.arange(max(y0, box[1]) + step / 2, min(y1, box[3]), step * math.sqrt(3) / 2)
        columns = np.arange(max(x0, box[0]) + step / 2, min(x1, box[2]), step)
        gx, gy = np.meshgrid(columns, rows)
        gx = gx + np.where(np.arange(len(rows)) % 2 == 1, step / 2, 0.0)[:, None]
        xy = np.column_stack([gx.ravel(), gy.ravel()])
        far = tree.query(xy)[0] if len(xy) else np.empty(0)
        xy = xy[(far >= low) & (far < high)]
        if len(xy):
            xy = xy[shapely.contains_xy(area, xy[:, 0], xy[:, 1])]
        if len(xy):
            xy = xy[known.query(xy)[0] > 0.5 * step]
        out.append(xy.reshape(-1, 2))
        low = high
    return np.vstack(out)
