"""Resistance between any two points of a net: grounded Laplacian of its sites, factored once and kept.

The effective resistance is e_ab' G e_ab with G the inverse of the grounded Laplacian (resistance distance: D. J. Klein, M. Randic,
"Resistance distance", J. Math. Chem. 12 (1993) 81-95, named from memory). Pours enter as the mesh of their sheet (sheets.py).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from coppermend.core.board.conditions import SPREAD
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.copper.sheets import SheetModel, outline, sheet_model
from coppermend.core.copper.squares import copper_ohm_mm
from coppermend.core.copper.worked import node_of
from coppermend.core.findings import refuse

BANDS: Mapping[SiteKind, tuple[float, float]] = MappingProxyType(
    {
        SiteKind.RUN: (1.0 / (1.0 + SPREAD), 1.0 / (1.0 - SPREAD)),
        SiteKind.SPOKE: (1.0 / (1.0 + SPREAD), 1.0 / (1.0 - SPREAD)),
        SiteKind.BARREL: (0.7, 1.4),
        SiteKind.JOINT: (0.25, 5.0),
        SiteKind.CONTACT: (0.2, 3.0),
        SiteKind.LEG: (0.5, 2.0),
        SiteKind.WIRE: (0.95, 1.05),
        SiteKind.UNKNOWN: (0.02, 20.0),
    }
)
"""Sound sites lie between these multiples of their nominal resistance: copper by its spread, barrels by 18 to 36 um of plating, socket contacts from
2 to 30 mohm, joints up to 1 mohm. Common practice, no source."""


def bands(spread: float = SPREAD) -> Mapping[SiteKind, tuple[float, float]]:
    """BANDS with the given spread of the copper's thickness and width (0.1: 10 %, below 1).

    >>> [round(one, 3) for one in bands(0.2)[SiteKind.RUN]]
    [0.833, 1.25]
    """
    copper = (1.0 / (1.0 + spread), 1.0 / (1.0 - spread))
    return {**BANDS, SiteKind.RUN: copper, SiteKind.SPOKE: copper}


FLOOR_OHM = 1e-9
"""Least resistance of a site, so that the conductances stay finite."""

EDGE_SHARE = 0.25
"""Radius of the disc that stands for a straight edge of width w on a wide sheet, as a share of w (the confocal ellipse far from a straight electrode);
what a narrow sheet adds is in the spoke (``onsheet.crowding``)."""

AT_ONCE = 16
"""Columns solved in one call: SuperLU takes several times as long for each beyond it (a ground of 7,000 rows: 0.15 ms each at 16, 1.2 ms at 64)."""


@dataclass(frozen=True, slots=True)
class Ohms:
    """An effective resistance in ohm of sound copper, the band in which it lies (BANDS), and a note where a pour was estimated."""

    value: float
    low: float
    high: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class Edges:
    """Plain resistors as columns of length m: rows ``i`` and ``j``, conductance ``siemens``, and the multiples of the resistance that bound it."""

    i: NDArray[np.int64]
    j: NDArray[np.int64]
    siemens: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


Contact = tuple[float, float]
"""A place (mm) where a site meets a sheet."""


@dataclass(frozen=True, slots=True)
class NetSolver:
    """The factored Laplacian of one joined group of nets.

    ``row`` (node, contact) -> row of the matrix (contact None except on sheets); the meshes of sheets come after all of them.
    ``piece`` (rows,) connected piece; ``factor`` solves the Laplacian grounded at the first row of each piece, ``free`` (rows,) the row in it or -1.
    ``edges`` the plain resistors. ``contacts`` sheet node -> its contacts and their rows. ``kept`` columns of G that were asked before.
    """

    row: dict[tuple[int, tuple[float, float] | None], int]
    piece: NDArray[np.int32]
    free: NDArray[np.int64]
    factor: Any
    note: str
    contacts: dict[int, list[tuple[tuple[float, float], int]]]
    edges: Edges
    kept: dict[int, NDArray[np.float64]] = field(default_factory=dict)
    sheets: dict[int, tuple[list[Contact], SheetModel]] = field(default_factory=dict)
    """Sheet node -> its contacts in the order of its model's rows, and the model."""

    def row_at(self, node: int, x_mm: float, y_mm: float) -> int | None:
        """The row that stands for a node; on a sheet the row of the contact nearest to the place. None for a node without copper."""
        if (node, None) in self.row:
            return self.row[node, None]
        own = self.contacts.get(node)
        if not own:
            return None
        return min((math.dist(spot, (x_mm, y_mm)), row) for spot, row in own)[1]

    def columns(self, rows: Sequence[int]) -> NDArray[np.float64]:
        """(plain rows, k) columns of G for the given rows, mesh points of sheets left out; zero at grounded rows."""
        new = [row for row in dict.fromkeys(rows) if row not in self.kept]
        if new:
            self._solve(new)
        return np.column_stack([self.kept[row] for row in rows])

    def _solve(self, rows: Sequence[int]) -> None:
        for at in range(0, len(rows), AT_ONCE):
            self._solve_few(rows[at : at + AT_ONCE])

    def _solve_few(self, rows: Sequence[int]) -> None:
        live = self.free >= 0
        right = np.zeros((int(live.sum()), len(rows)))
        for k, row in enumerate(rows):
            if live[row]:
                right[self.free[row], k] = 1.0
        out = np.zeros((len(self.free), len(rows)))
        if self.factor is not None:
            out[live] = self.factor.solve(right)[self.free[live]]
        for k, row in enumerate(rows):
            self.kept[row] = out[: len(self.row), k].copy()


def _members(graph: CopperGraph, net: int) -> tuple[int, ...]:
    from coppermend.core.copper.provable import joined_nets

    return joined_nets(graph, net)


def _by_net(graph: CopperGraph) -> dict[int, list[Site]]:
    if "sites_by_net" not in graph.memo:
        out: dict[int, list[Site]] = {}
        for site in graph.sites:
            if site.kind is not SiteKind.THROUGH:
                out.setdefault(graph.node_net[site.a], []).append(site)
        graph.memo["sites_by_net"] = out
    found: dict[int, list[Site]] = graph.memo["sites_by_net"]
    return found


def solver(graph: CopperGraph, net: int) -> NetSolver:
    """The factored resistance network of a net (and of nets that wires join to it); made once per graph."""
    nets = _members(graph, net)
    key = ("solver", nets)
    if str(key) not in graph.memo:
        graph.memo[str(key)] = _make_solver(graph, [s for n in nets for s in _by_net(graph).get(n, ())])
    made: NetSolver = graph.memo[str(key)]
    return made


def _make_solver(graph: CopperGraph, sites: list[Site]) -> NetSolver:
    sheets = {s.node: s for s in graph.sheets}
    contacts: dict[int, dict[tuple[float, float], float]] = {}
    row: dict[tuple[int, tuple[float, float] | None], int] = {}
    edges: list[tuple[int, int, float, float, float]] = []
    band = bands(graph.copper_spread)

    def number(site: Site, node: int, end: int) -> int:
        spot = None
        if node in sheets:
            spot = _contact(site, end)
            size = contacts.setdefault(node, {})
            size[spot] = max(size.get(spot, 0.0), _contact_radius(site))
        return row.setdefault((node, spot), len(row))

    for site in sites:
        if site.a != site.b:
            ohm = max(site.resistance_ohm, FLOOR_OHM)
            edges.append((number(site, site.a, 0), number(site, site.b, -1), 1.0 / ohm, *band[site.kind]))
    table = _edges(edges)
    blocks = [_edge_matrix(table)]
    notes = []
    count = len(row)
    models: dict[int, tuple[list[Contact], SheetModel]] = {}
    for node, spots in contacts.items():
        model = _sheet(graph, sheets[node], spots)
        models[node] = (list(spots), model)
        notes.append(model.note)
        mesh = model.matrix.shape[0] - model.contacts
        to = np.concatenate([[row[node, spot] for spot in spots], count + np.arange(mesh)]).astype(np.int64)
        count += mesh
        block = model.matrix.tocoo()
        blocks.append((to[block.row], to[block.col], block.data))
    made = _factor(row, count, table, blocks, "; ".join(sorted({n for n in notes if n})))
    return replace(made, sheets=models)


Block = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]


def _edges(rows: list[tuple[int, int, float, float, float]]) -> Edges:
    columns = np.array(rows, dtype=np.float64).reshape(-1, 5)
    i, j = columns[:, 0].astype(np.int64), columns[:, 1].astype(np.int64)
    return Edges(i, j, columns[:, 2], columns[:, 3], columns[:, 4])


def _edge_matrix(edges: Edges) -> Block:
    """The Laplacian of plain resistors as (row, column, value)."""
    i, j, g = edges.i, edges.j, edges.siemens
    return np.concatenate([i, j, i, j]), np.concatenate([i, j, j, i]), np.concatenate([g, g, -g, -g])


def _factor(
    row: dict[tuple[int, tuple[float, float] | None], int], n: int, edges: Edges, blocks: list[Block], note: str
) -> NetSolver:
    if n == 0:
        return NetSolver(row, np.zeros(0, np.int32), np.zeros(0, np.int64), None, note, {}, edges)
    i, j, g = (np.concatenate([b[k] for b in blocks]) for k in range(3))
    matrix = coo_matrix((g, (i, j)), shape=(n, n)).tocsc()
    _, piece = connected_components(coo_matrix((np.ones(len(i)), (i, j)), shape=(n, n)), directed=False)
    ground = np.zeros(n, dtype=bool)
    ground[np.unique(piece, return_index=True)[1]] = True
    free = np.full(n, -1, dtype=np.int64)
    free[~ground] = np.arange(int((~ground).sum()))
    live = np.flatnonzero(~ground)
    factor = (
        splu(
            matrix[live][:, live].tocsc(),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        if len(live)
        else None
    )
    contacts: dict[int, list[tuple[tuple[float, float], int]]] = {}
    for (node, spot), k in row.items():
        if spot is not None:
            contacts.setdefault(node, []).append((spot, k))
    return NetSolver(row, piece.astype(np.int32), free, factor, note, contacts, edges)


def _contact(site: Site, end: int) -> tuple[float, float]:
    """Where a site meets a sheet: its own end, rounded to a nanometre so that equal places are one contact."""
    x, y = site.path[end]
    return (round(x, 6), round(y, 6))


def _contact_radius(site: Site) -> float:
    """The disc that stands for a site's contact with a sheet: a share of the width of a spoke, half of a run's, the hole's radius for barrels."""
    if site.kind is SiteKind.SPOKE and site.width_mm > 0:
        return EDGE_SHARE * site.width_mm
    if site.kind in (SiteKind.RUN, SiteKind.BARREL) and site.width_mm > 0:
        return site.width_mm / 2
    return 0.5


def _sheet(graph: CopperGraph, sheet: Any, spots: dict[tuple[float, float], float]) -> SheetModel:
    store: dict[Any, SheetModel] = graph.memo.setdefault("sheet_models", {})
    key = (sheet.node, tuple(sorted(spots.items())))
    if key not in store:
        store[key] = sheet_model(outline(sheet), list(spots.items()), sheet.sheet_ohm)
    return store[key]


def effective_ohm(graph: CopperGraph, point_a: str, point_b: str, temperature_c: float | None = None) -> Ohms:
    """Effective resistance between two probe points in ohm, with its band; inf where copper does not join them.

    All metal is taken as copper at ``temperature_c`` (None: that of the graph, 20 degC where nothing is said), foil thickness as the board states.
    Two points on one pour are joined through the pour's own resistance.
    Refusal GRF-020 for an unknown point.
    """
    places = [spot_of(graph, p) for p in (point_a, point_b)]
    made = solver(graph, graph.node_net[places[0][0]])
    warm = 1.0 if temperature_c is None else copper_ohm_mm(temperature_c) / copper_ohm_mm(graph.copper_c)
    value = float(_pairs(made, places)[0, 1])
    rows = [made.row_at(*place) for place in places]
    if value == 0.0 or not math.isfinite(value) or rows[0] is None or rows[1] is None:
        return Ohms(value, value, value, made.note)
    low, high = _band(made, rows[0], rows[1], value, graph.copper_spread)
    return Ohms(value * warm, low * warm, high * warm, made.note)


def sheets_ohm(graph: CopperGraph, sites: Sequence[Site], start: Spot, goal: Spot) -> float:
    """What the pours on a way add: for each sheet that it passes, its own resistance in ohm between the places where the way meets it.

    ``sites`` in order from ``start`` to ``goal``. Every sheet counts alone and whole, so that the way is never less than all ways together.
    """
    if not sites:
        return 0.0
    made = solver(graph, graph.node_net[start[0]])
    total, node, entered = 0.0, start[0], start[1:]
    for site in sites:
        ahead = 0 if site.a == node else -1
        if node in made.sheets:
            total += _through(made, node, entered, _contact(site, ahead))
        node = site.b if ahead == 0 else site.a
        entered = _contact(site, -1 - ahead)
    return total + (_through(made, node, entered, goal[1:]) if node in made.sheets else 0.0)


def _through(made: NetSolver, node: int, a: Contact, b: Contact) -> float:
    """A sheet's own resistance between its contacts nearest to two places."""
    contacts, model = made.sheets[node]
    i, j = (min(range(len(contacts)), key=lambda k: math.dist(contacts[k], spot)) for spot in (a, b))
    if i == j:
        return 0.0
    matrix = model.matrix.tocoo()
    _, piece = connected_components(matrix, directed=False)
    live = np.flatnonzero((piece == piece[i]) & (np.arange(len(piece)) != j))
    right = (live == i).astype(np.float64)
    return float(splu(model.matrix.tocsr()[live][:, live].tocsc()).solve(right)[right > 0][0])


def _band(made: NetSolver, a: int, b: int, value: float, spread: float) -> tuple[float, float]:
    """The band of an effective resistance: the share of each site is its power at one ampere (sum of i^2 r = R), scaled by its own band.

    The upper end is a true bound: the resistance of the changed network is at most the power of any flow in it (Thomson's principle).
    """
    g = made.columns([a, b])
    potential = g[:, 0] - g[:, 1]
    drop = potential[made.edges.i] - potential[made.edges.j]
    power = drop * drop * made.edges.siemens
    sheets = max(value - float(power.sum()), 0.0)
    low = float(power @ made.edges.low) + sheets / (1.0 + spread)
    high = float(power @ made.edges.high) + sheets / (1.0 - spread)
    return low, high


Spot = tuple[int, float, float]
"""A node and the place on it that is touched."""


def spot_of(graph: CopperGraph, point: str) -> Spot:
    """The node of a point and the place that is touched. Refusal GRF-020 for an unknown point."""
    node = known_node(graph, point)
    try:
        known = graph.point(point)
        return node, known.x_mm, known.y_mm
    except KeyError:
        return (node, *graph.node_place[node][:2])


def known_node(graph: CopperGraph, point: str) -> int:
    """The node of a point. Refusal GRF-020 when the board has no such point."""
    node = node_of(graph, point)
    if node is None:
        raise refuse(
            "GRF-020", f"There is no point {point} on this board.", "See the net's points with: coppermend board graph."
        )
    return node


def all_pairs_ohm(graph: CopperGraph, net: int, points: Sequence[str]) -> NDArray[np.float64]:
    """(n, n) effective resistances in ohm between all pairs of the points of a net; inf where copper does not join two.

    One factorisation and n solves. Refusal GRF-020 for an unknown point.
    """
    return _pairs(solver(graph, net), [spot_of(graph, p) for p in points])


def _pairs(made: NetSolver, places: Sequence[Spot]) -> NDArray[np.float64]:
    rows = [made.row_at(*place) for place in places]
    out = np.full((len(places), len(places)), np.inf)
    known = [k for k, r in enumerate(rows) if r is not None]
    if known:
        at = np.array([rows[k] for k in known], dtype=np.int64)
        g = made.columns(at.tolist())[at]
        diagonal = np.diag(g)
        ohm = np.maximum(diagonal[:, None] + diagonal[None, :] - g - g.T, 0.0)
        ohm[made.piece[at][:, None] != made.piece[at][None, :]] = np.inf
        ohm[at[:, None] == at[None, :]] = 0.0
        out[np.ix_(known, known)] = ohm
    for i, a in enumerate(places):
        for j, b in enumerate(places):
            if a[0] == b[0] and (a == b or rows[i] is None):
                out[i, j] = 0.0
    return out


def transfer_ohm(graph: CopperGraph, net: int, force: tuple[int, int], sense: tuple[int, int]) -> float:
    """Four-wire transfer resistance in ohm: current through the nodes ``force``, voltage between the nodes ``sense``.

    G(p,a) - G(q,a) - G(p,b) + G(q,b) with G the inverse of the grounded Laplacian. Raises KeyError for a node without copper.
    """
    made = solver(graph, net)
    rows = [made.row_at(n, *graph.node_place[n][:2]) for n in (*force, *sense)]
    if any(r is None for r in rows):
        raise KeyError("a node without copper")
    a, b, p, q = (int(r) for r in rows if r is not None)
    g = made.columns([a, b])
    return float(g[p, 0] - g[q, 0] - g[p, 1] + g[q, 1])
