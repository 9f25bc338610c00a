"""Pours and planes as sheets: finite elements on the real outline, reduced to the conductances between their contacts.

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
from scipy.sparse.linalg import splu
from scipy.spatial import Delaunay, cKDTree

from coppermend.core.copper.model import Sheet

RING_POINTS = 20
RING_GROWTH = 1.3
GRID_CELLS = 3000
"""About this many grid points fill a sheet's area away from contacts and rims."""
LEAST_RADIUS_MM = 0.05
MOST_CONTACTS = 400
"""Above this many contacts a sheet is estimated (said in the note) instead of meshed."""


@dataclass(frozen=True, slots=True)
class SheetModel:
    """``laplacian_s`` (n, n) conductance matrix in siemens between the n contacts; ``note`` what was estimated, "" where solved."""

    laplacian_s: NDArray[np.float64]
    note: str = ""


def sheet_model(sheet: Sheet, contacts: list[tuple[tuple[float, float], float]]) -> SheetModel:
    """The conductances between contacts ((x_mm, y_mm), radius_mm) of a sheet.

    Never zero ohms: where no mesh can be made, contacts are joined through one middle by one square each, and the note says so.
    """
    n = len(contacts)
    if n < 2:
        return SheetModel(np.zeros((n, n)))
    if n <= MOST_CONTACTS:
        try:
            solved = solve(outline(sheet), contacts)
        except (ValueError, RuntimeError, shapely.GEOSException):
            solved = None
        if solved is not None:
            return SheetModel(solved / sheet.sheet_ohm)
    star = 1.0 / sheet.sheet_ohm
    matrix = star * (np.eye(n) - np.full((n, n), 1.0 / n))
    return SheetModel(matrix, "the pour's share is an estimate of two squares between any two contacts, not a solution")


def outline(sheet: Sheet) -> Any:
    """The sheet's area as a shapely geometry."""
    parts = [shapely.Polygon(rings[0], list(rings[1:])) for rings in sheet.rings]
    return shapely.union_all([p if p.is_valid else shapely.make_valid(p) for p in parts])


def solve(area: Any, contacts: list[tuple[tuple[float, float], float]]) -> NDArray[np.float64] | None:
    """(n, n) conductance matrix of the sheet for one ohm per square; None where a contact finds no copper.

    Linear elements: entries are within about 3 % of closed forms on the meshes made here (tests/facts/test_copper_sheets.py).
    """
    xy, owner = _mesh_points(area, contacts)
    mesh = Delaunay(xy)
    tri = mesh.simplices
    centre = xy[tri].mean(axis=1)
    electrode = (
        (owner[tri[:, 0]] >= 0) & (owner[tri[:, 0]] == owner[tri[:, 1]]) & (owner[tri[:, 1]] == owner[tri[:, 2]])
    )
    shapely.prepare(area)
    tri = tri[shapely.contains_xy(area, centre[:, 0], centre[:, 1]) & ~electrode]
    p, q, r = xy[tri[:, 0]], xy[tri[:, 1]], xy[tri[:, 2]]
    twice = (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])
    tri = tri[np.abs(twice) > 1e-12]
    matrix = _stiffness(xy, tri)
    return _reduced(matrix, owner, len(contacts))


def _mesh_points(
    area: Any, contacts: list[tuple[tuple[float, float], float]]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Mesh points (m, 2) and the contact each belongs to (-1 for none)."""
    h = max(math.sqrt(area.area / GRID_CELLS), 0.05)
    centres = np.array([c for c, _ in contacts])
    tree = cKDTree(centres)
    gap = tree.query(centres, k=2)[0][:, 1] if len(centres) > 1 else np.full(len(centres), np.inf)
    radius = np.minimum(np.maximum([r for _, r in contacts], LEAST_RADIUS_MM), 0.45 * gap)
    spots, owner = [], []
    angle = np.arange(RING_POINTS) * 2 * math.pi / RING_POINTS
    around = np.column_stack([np.cos(angle), np.sin(angle)])
    for k, (x, y) in enumerate(centres):
        spots.append(np.array([[x, y]]) + radius[k] * around)
        owner.append(np.full(RING_POINTS, k))
        spots.append(np.array([[x, y]]))
        owner.append(np.array([k]))
    shapely.prepare(area)
    rings = _graded_rings(centres, radius, h, around, area, tree)
    rim = _rim(area, h, centres, radius, tree)
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
) -> NDArray[np.float64]:
    out = [np.empty((0, 2))]
    for k, (x, y) in enumerate(centres):
        size = float(radius[k]) * RING_GROWTH
        while size * 2 * math.pi / RING_POINTS < h and size < 50 * float(radius[k]) + 10:
            ring = np.array([[x, y]]) + size * around
            own = tree.query(ring)[1] == k
            out.append(ring[own & shapely.contains_xy(area, ring[:, 0], ring[:, 1])])
            size *= RING_GROWTH
    return np.vstack(out)


def _rim(
    area: Any, h: float, centres: NDArray[np.float64], radius: NDArray[np.float64], tree: Any
) -> NDArray[np.float64]:
    """Points along the outline: its corners, and between them steps of h, finer near contacts."""
    out = [np.empty((0, 2))]
    for part in shapely.get_parts(area):
        if part.geom_type != "Polygon":
            continue
        for ring in (part.exterior, *part.interiors):
            xy = shapely.get_coordinates(ring)
            far, near = tree.query(xy)
            fine = np.minimum(h, np.maximum((far - radius[near]) * 0.35, radius[near] * 0.3))
            for k in range(len(xy) - 1):
                length = float(np.hypot(*(xy[k + 1] - xy[k])))
                steps = max(1, min(400, math.ceil(length / max(float(min(fine[k], fine[k + 1])), 0.02))))
                t = np.arange(steps)[:, None] / steps
                out.append(xy[k] + t * (xy[k + 1] - xy[k]))
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


def _reduced(matrix: Any, owner: NDArray[np.int64], count: int) -> NDArray[np.float64] | None:
    """The matrix with every contact one node and everything else eliminated (Schur complement)."""
    used = np.asarray(matrix.diagonal() > 0) | (owner >= 0)
    group = np.where(owner >= 0, owner, -1)
    inner = np.flatnonzero((group < 0) & used)
    label = np.full(len(owner), -1, dtype=np.int64)
    label[owner >= 0] = owner[owner >= 0]
    label[inner] = count + np.arange(len(inner))
    keep = np.flatnonzero(label >= 0)
    gather = coo_matrix((np.ones(len(keep)), (label[keep], keep)), shape=(count + len(inner), len(owner))).tocsr()
    whole = (gather @ matrix @ gather.T).tocsc()
    _, piece = connected_components(whole, directed=False)
    ends = piece[:count]
    held = np.isin(piece, ends)
    solid = np.flatnonzero(held[count:]) + count
    if (np.diff(np.sort(ends)) > 0).any() or (np.asarray(whole.diagonal())[:count] <= 0).any():
        return None
    kept, cross = whole[:count][:, :count].toarray(), whole[:count][:, solid]
    if len(solid) == 0:
        return np.asarray(kept)
    solved = splu(whole[solid][:, solid].tocsc()).solve(cross.T.toarray())
    return np.asarray(kept - cross @ solved)
