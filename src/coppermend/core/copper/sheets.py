"""Pours and planes as sheets: finite elements on the real outline, as a network of mesh points and contacts.

Linear triangles for div(grad u) = 0 on a Delaunay mesh that is fine round every contact. A contact is a disc at one potential.
Triangles outside the copper are left out. The mesh is ours; checked against closed forms (annulus, two discs on a sheet).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay, cKDTree

from coppermend.core.copper.model import Sheet

FINE_CONTACTS = 60
"""Up to this many contacts the mesh round each is fine, above it coarser, to bound the time."""
RING_POINTS = (20, 12)
RING_GROWTH = (1.3, 1.6)
"""Points on each ring round a contact and growth from ring to ring: fine, coarse."""
GRID_CELLS, CELLS_PER_CONTACT, MOST_CELLS = 600, 60, 2400
"""About this many grid points fill a sheet's area away from contacts and rims: a base, more per contact, at most."""
LEAST_STEP_MM = 0.1
LEAST_RADIUS_MM = 0.05
SIMPLE_SHARE, SIMPLE_MM = 0.05, 0.05
"""The outline is simplified by this share of the mesh's step, at most this much (mm)."""
BRIDGE_SQUARES = 2.0
"""Where the mesh misses a contact or falls apart at a neck, the parts are joined by this many squares, and the note says so."""


@dataclass(frozen=True, slots=True)
class SheetModel:
    """The sheet as a network: ``matrix`` sparse Laplacian in siemens; rows 0 .. ``contacts`` - 1 are the contacts, the others mesh points.

    ``note`` what was estimated, "" where all was solved.
    """

    matrix: Any
    contacts: int
    note: str = ""


def outline(sheet: Sheet) -> Any:
    """The sheet's area as a shapely geometry."""
    flat = [np.asarray(ring) for rings in sheet.rings for ring in rings]
    ends = np.concatenate([[0], np.cumsum([len(ring) for ring in flat])])
    polygons = np.concatenate([[0], np.cumsum([len(rings) for rings in sheet.rings])])
    parts = shapely.from_ragged_array(shapely.GeometryType.POLYGON, np.concatenate(flat), (ends, polygons))
    whole = [p if p.is_valid else shapely.make_valid(p) for p in parts]
    return whole[0] if len(whole) == 1 else shapely.union_all(whole)


def sheet_model(area: Any, contacts: list[tuple[tuple[float, float], float]], sheet_ohm: float) -> SheetModel:
    """The network of a sheet with the outline ``area`` (shapely, mm) and contacts ((x_mm, y_mm), radius_mm), ``sheet_ohm`` per square.

    Never zero ohms: where the mesh misses a contact, it is joined to the nearest mesh point by two squares, and the note says so.
    """
    n = len(contacts)
    if n < 2:
        return SheetModel(coo_matrix((n, n)).tocsr(), n)
    area = shapely.simplify(area, min(SIMPLE_SHARE * _step(area, n), SIMPLE_MM))
    xy, owner = _mesh_points(area, contacts)
    tri = Delaunay(xy).simplices
    centre = xy[tri].mean(axis=1)
    electrode = (
        (owner[tri[:, 0]] >= 0) & (owner[tri[:, 0]] == owner[tri[:, 1]]) & (owner[tri[:, 1]] == owner[tri[:, 2]])
    )
    tri = tri[shapely.contains_xy(area, centre[:, 0], centre[:, 1]) & ~electrode]
    p, q, r = xy[tri[:, 0]], xy[tri[:, 1]], xy[tri[:, 2]]
    twice = (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])
    tri = tri[np.abs(twice) > 1e-12]
    return _gathered(xy, owner, _stiffness(xy, tri), contacts, sheet_ohm)


def _gathered(
    xy: NDArray[np.float64], owner: NDArray[np.int64], matrix: Any, contacts: list[Any], sheet_ohm: float
) -> SheetModel:
    """One row per contact, then the mesh points that carry current; parts that hang loose are joined."""
    n = len(contacts)
    used = np.flatnonzero((owner < 0) & (matrix.diagonal() > 0))
    label = np.full(len(owner), -1, dtype=np.int64)
    label[owner >= 0] = owner[owner >= 0]
    label[used] = n + np.arange(len(used))
    keep = np.flatnonzero(label >= 0)
    gather = coo_matrix((np.ones(len(keep)), (label[keep], keep)), shape=(n + len(used), len(owner))).tocsr()
    whole = (gather @ matrix @ gather.T).tocoo()
    off = whole.row != whole.col
    _, piece = connected_components(
        coo_matrix((np.ones(off.sum()), (whole.row[off], whole.col[off])), shape=whole.shape), directed=False
    )
    places = np.vstack([np.array([c for c, _ in contacts]), xy[used]])
    main = int(np.bincount(piece).argmax())
    loose = [k for k in range(n) if piece[k] != main]
    if not loose:
        return SheetModel(whole.tocsr() / sheet_ohm, n)
    base = np.flatnonzero(piece == main)
    near = base[cKDTree(places[base]).query(places[loose])[1]]
    g = np.full(len(loose), 1.0 / BRIDGE_SQUARES)
    i, j = np.array(loose), near
    bridge = coo_matrix((np.r_[g, g, -g, -g], (np.r_[i, j, i, j], np.r_[i, j, j, i])), shape=whole.shape)
    note = f"{len(loose)} of {n} contacts of a pour are joined to it by an estimate of {BRIDGE_SQUARES:g} squares"
    return SheetModel((whole + bridge).tocsr() / sheet_ohm, n, note)


def _step(area: Any, contacts: int) -> float:
    """The mesh's step away from contacts, in mm."""
    return max(math.sqrt(float(area.area) / min(MOST_CELLS, GRID_CELLS + CELLS_PER_CONTACT * contacts)), LEAST_STEP_MM)


def _mesh_points(
    area: Any, contacts: list[tuple[tuple[float, float], float]]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Mesh points (m, 2) and the contact each belongs to (-1 for none)."""
    h = _step(area, len(contacts))
    centres = np.array([c for c, _ in contacts])
    tree = cKDTree(centres)
    gap = tree.query(centres, k=2)[0][:, 1] if len(centres) > 1 else np.full(len(centres), np.inf)
    radius = np.minimum(np.maximum([r for _, r in contacts], LEAST_RADIUS_MM), 0.45 * gap)
    spots, owner = [], []
    coarse = int(len(contacts) > FINE_CONTACTS)
    count = RING_POINTS[coarse]
    angle = np.arange(count) * 2 * math.pi / count
    around = np.column_stack([np.cos(angle), np.sin(angle)])
    for k, (x, y) in enumerate(centres):
        spots.append(np.array([[x, y]]) + radius[k] * around)
        owner.append(np.full(count, k))
        spots.append(np.array([[x, y]]))
        owner.append(np.array([k]))
    shapely.prepare(area)
    rings = _graded_rings(centres, radius, h, around, area, tree, RING_GROWTH[coarse])
    rim = _rim(area, h, radius, tree, coarse)
    grid = _grid(area, h, rings, rim)
    free = np.vstack([rings, rim, grid])
    far, nearest = tree.query(free)
    free = free[far > 1.02 * radius[nearest]]
    free = np.unique(np.round(free, 6), axis=0)
    xy = np.vstack([*spots, free])
    return xy, np.concatenate([*owner, np.full(len(free), -1)])


def _graded_rings(
    centres: NDArray[np.float64],
    radius: NDArray[np.float64],
    h: float,
    around: NDArray[np.float64],
    area: Any,
    tree: Any,
    growth: float,
) -> NDArray[np.float64]:
    owner: list[int] = []
    sizes: list[float] = []
    for k in range(len(centres)):
        size = float(radius[k]) * growth
        while size * 2 * math.pi / len(around) < h and size < 50 * float(radius[k]) + 10:
            owner.append(k)
            sizes.append(size)
            size *= growth
    if not sizes:
        return np.empty((0, 2))
    own = np.repeat(np.array(owner), len(around))
    rings = (centres[owner][:, None, :] + np.array(sizes)[:, None, None] * around[None, :, :]).reshape(-1, 2)
    mine = tree.query(rings)[1] == own
    rings = rings[mine]
    return np.asarray(rings[shapely.contains_xy(area, rings[:, 0], rings[:, 1])])


def _rim(area: Any, h: float, radius: NDArray[np.float64], tree: Any, coarse: int) -> NDArray[np.float64]:
    """Points along the outline: its corners, and between them steps of h, finer near contacts."""
    out = [np.empty((0, 2))]
    slope, least = ((0.35, 0.3), (0.6, 0.8))[coarse]
    for part in shapely.get_parts(area):
        if part.geom_type != "Polygon":
            continue
        for ring in (part.exterior, *part.interiors):
            xy = shapely.get_coordinates(ring)
            far, near = tree.query(xy)
            fine = np.clip((far - radius[near]) * slope, np.maximum(radius[near] * least, 0.02), h)
            step = np.hypot(*(xy[1:] - xy[:-1]).T)
            count = np.clip(np.ceil(step / np.minimum(fine[1:], fine[:-1])), 1, 400).astype(np.int64)
            first = np.repeat(np.arange(len(step)), count)
            t = (np.arange(len(first)) - np.repeat(np.cumsum(count) - count, count)) / count[first]
            out.append(xy[first] + t[:, None] * (xy[first + 1] - xy[first]))
    return np.vstack(out)


def _grid(area: Any, h: float, rings: NDArray[np.float64], rim: NDArray[np.float64]) -> NDArray[np.float64]:
    x0, y0, x1, y1 = area.bounds
    rows = np.arange(y0 + h / 2, y1, h * math.sqrt(3) / 2)
    columns = np.arange(x0 + h / 2, x1, h)
    gx, gy = np.meshgrid(columns, rows)
    gx = gx + np.where(np.arange(len(rows)) % 2 == 1, h / 2, 0.0)[:, None]
    xy = np.column_stack([gx.ravel(), gy.ravel()])
    xy = xy[shapely.contains_xy(area, xy[:, 0], xy[:, 1])]
    taken = np.vstack([rings, rim])
    if len(taken) and len(xy):
        xy = xy[cKDTree(taken).query(xy)[0] > 0.5 * h]
    return np.asarray(xy)


def _stiffness(xy: NDArray[np.float64], tri: NDArray[np.int64]) -> Any:
    """The Laplacian of linear triangles: half cotangents of the opposite angles."""
    n = len(xy)
    rows, columns, values = [], [], []
    for a, b, c in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        u, v = xy[tri[:, a]] - xy[tri[:, c]], xy[tri[:, b]] - xy[tri[:, c]]
        cot = np.sum(u * v, axis=1) / np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
        i, j = tri[:, a], tri[:, b]
        rows += [i, j, i, j]
        columns += [j, i, i, j]
        values += [-cot, -cot, cot, cot]
    return coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(n, n)).tocsr()
