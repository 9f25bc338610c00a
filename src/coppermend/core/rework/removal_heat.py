"""Thermal resistance from a pin into the board: finite elements on the board's own copper, foils and laminate each with their own temperature.

Every copper layer is a sheet of foil and nothing else. The laminate between two of them is cut into flat cells (``removal_planes.py``) that carry
heat in their plane and through it to the foil or cell beside them; so a pour on a face takes its heat from the laminate under it, as it does,
and not from the middle of the board. The two outer faces lose heat to the air, plated holes join what they pass, and a pin's metal is one
temperature. Per sheet: div(g grad T) = loss, g = k*t of copper or laminate (W/K). Steady state: what an iron must supply for as long as it takes.

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
from scipy.spatial import cKDTree

from coppermend.core.rework.removal_fronts import seen_from
from coppermend.core.rework.removal_mesh import Mesh, mesh_round
from coppermend.core.rework.removal_planes import Links, Planes, bare_foil, planes_of, through

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
    """A pin as the solve sees it: place, radius of its metal in mm, and the sheets (indices) that its metal touches.

    ``spoked``: thermal spokes lead from its land; the mesh is fine there.
    """

    x_mm: float
    y_mm: float
    radius_mm: float
    sheets: tuple[int, ...]
    spoked: bool = False


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
    fine = spots[[k for k, one in enumerate(pins) if one.spoked]]
    mesh = mesh_round(area, spots, radius, near, wanted, fine)
    sheets = [
        _sheet_conductance(mesh, spots, one, part, foil_mm)
        for one, part, foil_mm in zip(copper, near, stack.copper_mm, strict=True)
    ]
    return _solved(mesh, sheets, stack, pins, barrels)


def _near(copper: Any, close: Any) -> Any:
    """The copper round the pins as one area."""
    pieces = np.atleast_1d(np.asarray(copper, dtype=object))
    pieces = pieces[shapely.intersects(pieces, close)] if len(pieces) else pieces
    return shapely.union_all(shapely.intersection(pieces, close)) if len(pieces) else shapely.Polygon()


def _sheet_conductance(mesh: Mesh, pins: Floats, copper: Any, near: Any, foil_mm: float) -> Floats:
    """g = k*t of each triangle in W/K for the foil of one layer; 0 where there is none."""
    corners = mesh.xy[mesh.tri]
    if foil_mm <= 0.0:
        return np.zeros(len(corners))
    centre = corners.mean(axis=1)
    off = cKDTree(pins).query(centre)[0]
    share = np.zeros(len(mesh.tri))
    close = off < NEAR_MM
    shapely.prepare(near)
    share[close] = shapely.contains_xy(near, centre[close, 0], centre[close, 1])
    share[~close] = _shares(corners[~close], copper)
    return _two_phase(share, 0.0, COPPER_W_MK * foil_mm * 1e-3)


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


def _solved(
    mesh: Mesh, foils: Sequence[Floats], stack: Stack, pins: Sequence[HotPin], barrels: Sequence[Barrel]
) -> HeatAnswer:
    """Assemble all planes, tie each pin's metal to one temperature, solve for one watt into each pin."""
    planes = planes_of(stack.gap_mm)
    held = _held(mesh, planes, pins, barrels)
    bare = bare_foil(len(mesh.xy), mesh.tri, foils) & ~held[list(planes.foil_at)]
    heat = through(planes, _node_area_m2(mesh), bare, LAMINATE_THROUGH_W_MK, stack.film_w_m2k)
    parts = [_conduction(mesh, planes, foils), heat.links, _barrels(mesh, planes, barrels)]
    own = np.arange(len(heat.loss))
    row = np.concatenate([*(one.row for one in parts), own])
    column = np.concatenate([*(one.column for one in parts), own])
    value = np.concatenate([*(one.value for one in parts), heat.loss])
    label, count = _labels(mesh, planes, pins, bare)
    live = (label[row] >= 0) & (label[column] >= 0)
    matrix = coo_matrix((value[live], (label[row[live]], label[column[live]])), shape=(count, count)).tocsr()
    transfer = seen_from(matrix, len(pins), np.flatnonzero(label >= len(pins)) % len(mesh.xy))
    return HeatAnswer(np.diag(transfer).copy(), transfer, count)


def _metal_planes(planes: Planes, pin: HotPin) -> list[int]:
    """The planes that a pin's metal touches: its foils, and the laminate between two of them that are neighbours."""
    at = [planes.foil_at[k] for k in pin.sheets]
    between = [planes.cells(k) for k in pin.sheets if k + 1 in pin.sheets]
    return [*at, *(cell for few in between for cell in few)]


def _held(mesh: Mesh, planes: Planes, pins: Sequence[HotPin], barrels: Sequence[Barrel]) -> NDArray[np.bool_]:
    """(planes, n): points that a pin's metal or a plated hole holds."""
    held = np.zeros((planes.count, len(mesh.xy)), dtype=bool)
    for k, pin in enumerate(pins):
        own = np.flatnonzero(mesh.owner == k)
        for plane in _metal_planes(planes, pin):
            held[plane, own] = True
    held[:, _barrel_points(mesh, barrels)] = True
    return held


def _conduction(mesh: Mesh, planes: Planes, foils: Sequence[Floats]) -> Links:
    """The stiffness of linear triangles (half cotangents), one block per plane."""
    n = len(mesh.xy)
    rows, columns, values = [], [], []
    layers: list[tuple[int, Floats | float]] = [
        (at, LAMINATE_IN_W_MK * thick * 1e-3) for at, thick in enumerate(planes.laminate_mm) if thick > 0.0
    ]
    layers += [(at, g) for at, g in zip(planes.foil_at, foils, strict=True) if np.any(g > 0.0)]
    for a, b, c in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        i, j, k = mesh.tri[:, a], mesh.tri[:, b], mesh.tri[:, c]
        u, v = mesh.xy[i] - mesh.xy[k], mesh.xy[j] - mesh.xy[k]
        cot = np.sum(u * v, axis=1) / np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
        for at, g in layers:
            p, q, w = i + at * n, j + at * n, cot * g
            rows += [p, q, p, q]
            columns += [q, p, p, q]
            values += [-w, -w, w, w]
    return Links(np.concatenate(rows), np.concatenate(columns), np.concatenate(values))


def _node_area_m2(mesh: Mesh) -> Floats:
    """The ground that belongs to each mesh point: a third of each triangle round it."""
    p, q, r = (mesh.xy[mesh.tri[:, k]] for k in range(3))
    own = np.abs((q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])) / 6.0
    ground = np.zeros(len(mesh.xy))
    for k in range(3):
        np.add.at(ground, mesh.tri[:, k], own)
    return ground * 1e-6


def _barrel_points(mesh: Mesh, barrels: Sequence[Barrel]) -> NDArray[np.int64]:
    """The mesh point nearest to each plated hole."""
    if not barrels:
        return np.empty(0, dtype=np.int64)
    return np.asarray(cKDTree(mesh.xy).query([(b.x_mm, b.y_mm) for b in barrels])[1], dtype=np.int64)


def _barrels(mesh: Mesh, planes: Planes, barrels: Sequence[Barrel]) -> Links:
    """Plated holes as links between the planes at the mesh point nearest to each."""
    if not barrels:
        return Links.none()
    n = len(mesh.xy)
    place = _barrel_points(mesh, barrels)
    wall = np.array([math.pi * max(b.diameter_mm - b.plating_mm, b.plating_mm) * b.plating_mm for b in barrels])
    return Links.joined(
        [
            Links.between(place + at * n, place + (at + 1) * n, COPPER_W_MK * wall * 1e-3 / step_mm)
            for at, step_mm in enumerate(planes.step_mm)
        ]
    )


def _labels(
    mesh: Mesh, planes: Planes, pins: Sequence[HotPin], bare: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], int]:
    """The unknown of each mesh point of each plane: pins first, then the rest; -1 for points outside every triangle and for bare foil."""
    n = len(mesh.xy)
    label = np.full((planes.count, n), -1, dtype=np.int64)
    for k, pin in enumerate(pins):
        own = np.flatnonzero(mesh.owner == k)
        for plane in _metal_planes(planes, pin):
            label[plane, own] = k
    wanted = np.zeros((planes.count, n), dtype=bool)
    wanted[:, np.unique(mesh.tri)] = True
    wanted[list(planes.foil_at)] &= ~bare
    flat = label.ravel()
    free = np.flatnonzero((flat < 0) & wanted.ravel())
    flat[free] = len(pins) + np.arange(len(free))
    return flat, len(pins) + len(free)
