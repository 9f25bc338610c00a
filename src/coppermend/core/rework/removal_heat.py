"""Thermal resistance from a pin into the board: finite elements on the board's own copper, every layer with its own temperature.

Each copper layer with half of the laminate on either side of it is a sheet; neighbouring sheets exchange heat through the laminate between
them, the two outer faces lose heat to the air, plated holes join the layers, and a pin's metal is one temperature. Per sheet:
div(g grad T) = loss, g = k*t of copper and laminate (W/K). Steady state: what an iron must supply for as long as it takes.

Copper near the pins is meshed as it is drawn, thermal spokes included. Further away a triangle's copper share counts: conductance after the
upper bound of Hashin and Shtrikman for two phases in the plane (copper as the joined phase; named from memory).

Sources of the numbers: docs/sources.md (laminate after FR-4 and G-10 data; copper and film coefficient from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu
from scipy.spatial import cKDTree

from coppermend.core.rework.removal_mesh import Mesh, mesh_round

COPPER_W_MK = 390.0
"""Thermal conductivity of copper foil, W/mK. Handbook order (385 to 401 for pure copper), from memory."""
LAMINATE_IN_W_MK = 0.81
"""FR-4 in the plane (docs/sources.md; 0.81 to 1.06 quoted)."""
LAMINATE_THROUGH_W_MK = 0.3
"""FR-4 through its thickness, 0.29 to 0.34; from memory."""
FILM_W_M2K = 10.0
"""Heat lost to still air by one face, convection and radiation together. Common practice, no source; an input."""
SHARE_SAMPLES = 4
MANY_CORNERS = 200
"""Pieces of copper with more corners are asked one by one, prepared."""
NEAR_MM = 1.6
"""Up to this distance from a pin a triangle is copper or not; beyond, its copper share counts."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stack:
    """A board's sheets from the component side down: ``copper_mm`` (layers,) foil, ``gap_mm`` (layers - 1,) laminate between them.

    >>> Stack.even(1.6, (0.035, 0.035)).gap_mm
    (1.6,)
    """

    copper_mm: tuple[float, ...]
    gap_mm: tuple[float, ...]
    film_w_m2k: float = FILM_W_M2K

    @staticmethod
    def even(thickness_mm: float, copper_mm: Sequence[float], film_w_m2k: float = FILM_W_M2K) -> Stack:
        """Layers spaced evenly through the thickness (what is taken where no stack is stated). At least two sheets: a bare face is one without foil."""
        gaps = max(len(copper_mm) - 1, 1)
        return Stack(tuple(copper_mm), (thickness_mm / gaps,) * gaps, film_w_m2k)


@dataclass(frozen=True, slots=True)
class HotPin:
    """A pin as the solve sees it: place, radius of its metal in mm, and the sheets (indices) that its metal touches."""

    x_mm: float
    y_mm: float
    radius_mm: float
    sheets: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Barrel:
    """A plated hole that carries heat between all sheets: place, drill diameter and plating in mm."""

    x_mm: float
    y_mm: float
    diameter_mm: float
    plating_mm: float = 0.025


@dataclass(frozen=True, slots=True)
class HeatAnswer:
    """``k_per_w`` (pins,): rise of a pin over the air per watt put into it. ``transfer`` (pins, pins): rise of pin i per watt into pin j.

    ``unknowns`` the size of the system that was solved.
    """

    k_per_w: Floats
    transfer: Floats
    unknowns: int


def heat_paths(
    area: Any, copper: Sequence[Any], stack: Stack, pins: Sequence[HotPin], barrels: Sequence[Barrel] = ()
) -> HeatAnswer:
    """Thermal resistances from pins into a board with outline ``area`` (shapely, mm) and ``copper`` (one area per sheet, shapely or empty).

    ``copper[i]`` may be a polygon or an array of polygons (overlaps allowed). Checked against the disc fin: a bare plate loses by K0/K1.
    """
    spots = np.array([(one.x_mm, one.y_mm) for one in pins])
    radius = np.array([one.radius_mm for one in pins])
    close = shapely.union_all(shapely.buffer(shapely.points(spots), NEAR_MM + 0.6, quad_segs=4))
    near = [_near(one, close) for one in copper]
    holes = np.array([(b.x_mm, b.y_mm) for b in barrels]).reshape(-1, 2)
    if len(holes):
        off = cKDTree(spots).query(holes)[0]
        wanted = holes[(off < 8.0) & (off > 0.3)]
    else:
        wanted = holes
    mesh = mesh_round(area, spots, radius, near, wanted)
    sheets = [
        _sheet_conductance(mesh, spots, one, part, stack, k)
        for k, (one, part) in enumerate(zip(copper, near, strict=True))
    ]
    return _solved(mesh, sheets, stack, pins, barrels)


def _near(copper: Any, close: Any) -> Any:
    """The copper round the pins as one area."""
    pieces = np.atleast_1d(np.asarray(copper, dtype=object))
    pieces = pieces[shapely.intersects(pieces, close)] if len(pieces) else pieces
    return shapely.union_all(shapely.intersection(pieces, close)) if len(pieces) else shapely.Polygon()


def _sheet_conductance(mesh: Mesh, pins: Floats, copper: Any, near: Any, stack: Stack, at: int) -> Floats:
    """g = k*t of each triangle in W/K for one sheet."""
    laminate = LAMINATE_IN_W_MK * _laminate_mm(stack)[at] * 1e-3
    foil = laminate + COPPER_W_MK * stack.copper_mm[at] * 1e-3
    corners = mesh.xy[mesh.tri]
    centre = corners.mean(axis=1)
    off = cKDTree(pins).query(centre)[0]
    share = np.zeros(len(mesh.tri))
    close = off < NEAR_MM
    shapely.prepare(near)
    share[close] = shapely.contains_xy(near, centre[close, 0], centre[close, 1])
    share[~close] = _shares(corners[~close], copper)
    return _two_phase(share, laminate, foil)


def _shares(corners: Floats, copper: Any) -> Floats:
    """The copper share of triangles (m, 3, 2), by four points in each."""
    pieces = np.atleast_1d(np.asarray(copper, dtype=object))
    if not len(pieces) or not len(corners):
        return np.zeros(len(corners))
    centre = corners.mean(axis=1, keepdims=True)
    samples = np.concatenate([centre, (centre + corners) / 2], axis=1).reshape(-1, 2)
    hit = np.zeros(len(samples), dtype=bool)
    large = shapely.get_num_coordinates(pieces) > MANY_CORNERS
    for piece in pieces[large]:  # pours: prepared once, asked for all points
        shapely.prepare(piece)
        hit |= shapely.intersects_xy(piece, samples[:, 0], samples[:, 1])
    left = np.flatnonzero(~hit)
    small = pieces[~large]
    if len(small) and len(left):
        hit[left[shapely.STRtree(small).query(shapely.points(samples[left]), predicate="intersects")[0]]] = True
    return np.asarray(hit.reshape(-1, SHARE_SAMPLES).mean(axis=1))


def _two_phase(share: Floats, low: float, high: float) -> Floats:
    """Conductance of a plane mixture, copper as the joined phase.

    >>> [round(float(v), 3) for v in _two_phase(np.array([0.0, 0.5, 1.0]), 1.0, 10.0)]
    [1.0, 4.194, 10.0]
    """
    if high <= low:
        return np.full(len(share), low)
    rest = 1.0 - share
    return np.asarray(high + rest / (1.0 / (low - high) + share / (2.0 * high)))


def _laminate_mm(stack: Stack) -> Floats:
    """The laminate that belongs to each sheet: half of each gap beside it."""
    gaps = np.asarray(stack.gap_mm)
    return np.asarray((np.concatenate([[0.0], gaps]) + np.concatenate([gaps, [0.0]])) / 2)


def _solved(
    mesh: Mesh, sheets: Sequence[Floats], stack: Stack, pins: Sequence[HotPin], barrels: Sequence[Barrel]
) -> HeatAnswer:
    """Assemble all sheets, tie each pin's metal to one temperature, solve for one watt into each pin."""
    n, layers = len(mesh.xy), len(sheets)
    rows, columns, values = _conduction(mesh, sheets)
    ground = _node_area_m2(mesh)
    rows2, columns2, values2, loss = _across(ground, stack, layers)
    rows3, columns3, values3 = _barrels(mesh, stack, barrels, layers)
    row = np.concatenate([rows, rows2, rows3, np.arange(n * layers)])
    column = np.concatenate([columns, columns2, columns3, np.arange(n * layers)])
    value = np.concatenate([values, values2, values3, loss])
    label, count = _labels(mesh, pins, layers, loss)
    live = (label[row] >= 0) & (label[column] >= 0)
    matrix = coo_matrix((value[live], (label[row[live]], label[column[live]])), shape=(count, count)).tocsc()
    factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, relax=1, options={"SymmetricMode": True})
    transfer = np.empty((len(pins), len(pins)))
    for first in range(0, len(pins), 16):
        few = np.arange(first, min(first + 16, len(pins)))
        right = np.zeros((count, len(few)))
        right[few, np.arange(len(few))] = 1.0
        transfer[:, few] = factor.solve(right)[: len(pins)]
    return HeatAnswer(np.diag(transfer).copy(), transfer, count)


def _conduction(mesh: Mesh, sheets: Sequence[Floats]) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """The stiffness of linear triangles (half cotangents), one block per sheet."""
    n = len(mesh.xy)
    rows, columns, values = [], [], []
    for a, b, c in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        i, j, k = mesh.tri[:, a], mesh.tri[:, b], mesh.tri[:, c]
        u, v = mesh.xy[i] - mesh.xy[k], mesh.xy[j] - mesh.xy[k]
        cot = np.sum(u * v, axis=1) / np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
        for at, g in enumerate(sheets):
            p, q, w = i + at * n, j + at * n, cot * g
            rows += [p, q, p, q]
            columns += [q, p, p, q]
            values += [-w, -w, w, w]
    return np.concatenate(rows), np.concatenate(columns), np.concatenate(values)


def _node_area_m2(mesh: Mesh) -> Floats:
    """The ground that belongs to each mesh point: a third of each triangle round it."""
    p, q, r = (mesh.xy[mesh.tri[:, k]] for k in range(3))
    own = np.abs((q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])) / 6.0
    ground = np.zeros(len(mesh.xy))
    for k in range(3):
        np.add.at(ground, mesh.tri[:, k], own)
    return ground * 1e-6


def _across(ground: Floats, stack: Stack, layers: int) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats, Floats]:
    """Heat through the laminate from sheet to sheet, and the loss of the two outer faces, (layers * n,)."""
    n = len(ground)
    rows, columns, values = [], [], []
    own = np.arange(n)
    for at in range(layers - 1):
        g = LAMINATE_THROUGH_W_MK / (stack.gap_mm[at] * 1e-3) * ground
        p, q = own + at * n, own + (at + 1) * n
        rows += [p, q, p, q]
        columns += [q, p, p, q]
        values += [-g, -g, g, g]
    loss = np.zeros(n * layers)
    loss[:n] += stack.film_w_m2k * ground
    loss[-n:] += stack.film_w_m2k * ground
    empty = np.empty(0, dtype=np.int64)
    if not rows:
        return empty, empty, np.empty(0), loss
    return np.concatenate(rows), np.concatenate(columns), np.concatenate(values), loss


def _barrels(
    mesh: Mesh, stack: Stack, barrels: Sequence[Barrel], layers: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Plated holes as links between the sheets at the mesh point nearest to each."""
    empty = np.empty(0, dtype=np.int64)
    if not barrels:
        return empty, empty, np.empty(0)
    n = len(mesh.xy)
    place = cKDTree(mesh.xy).query([(b.x_mm, b.y_mm) for b in barrels])[1]
    wall = np.array([math.pi * max(b.diameter_mm - b.plating_mm, b.plating_mm) * b.plating_mm for b in barrels])
    rows, columns, values = [], [], []
    for at in range(layers - 1):
        g = COPPER_W_MK * wall * 1e-3 / stack.gap_mm[at]
        p, q = place + at * n, place + (at + 1) * n
        rows += [p, q, p, q]
        columns += [q, p, p, q]
        values += [-g, -g, g, g]
    return np.concatenate(rows), np.concatenate(columns), np.concatenate(values)


def _labels(mesh: Mesh, pins: Sequence[HotPin], layers: int, loss: Floats) -> tuple[NDArray[np.int64], int]:
    """The unknown of each mesh point of each sheet: pins first, then the rest; -1 for points outside every triangle."""
    n = len(mesh.xy)
    label = np.full(n * layers, -1, dtype=np.int64)
    for k, pin in enumerate(pins):
        own = np.flatnonzero(mesh.owner == k)
        for sheet in pin.sheets:
            label[own + sheet * n] = k
    used = np.zeros(n, dtype=bool)
    used[mesh.tri.ravel()] = True
    free = np.flatnonzero((label < 0) & np.tile(used, layers))
    label[free] = len(pins) + np.arange(len(free))
    return label, len(pins) + len(free)
