"""One net prepared for ohms readings between any of its points, at the cost of one solve a point: nets of thousands of points included.

A reading with current at two nodes and voltage at two is F' G S (``ohmic``). Its change when some stretches are gone is a rank-k change of G
(Woodbury's identity): with B their ends, R their resistances, f = F' G B and s = B' G S it is f (R - B' G B)^-1 s; the matrix is singular where they part the net.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.ohmic import Array, site_rows
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.provable import joined_nets, net_view
from coppermend.core.copper.resistance import FLOOR_OHM, NetSolver, solver

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SINGULAR = 1e-7
"""A set of stretches whose scaled matrix has a smaller determinant than this parts the net."""
LEAVES = 1e-9
"""Where they do, so much of their conductance is left, relative: a reading on one side of the cut has its value all the same."""
BEYOND_OHM = 1e4
"""A gain beyond this is a reading across a cut."""


@dataclass(frozen=True, slots=True)
class NetForms:
    """A net prepared. Super-edges in columns: ``edges`` (site ids), ``ends`` (edges, 2) nodes, ``rows`` (edges, 2) rows of the solver, ``ohm``, ``bridge``,
    ``single`` (no stretch side by side inside). ``i``, ``j``, ``siemens``, ``variance`` of the single sites.
    """

    graph: CopperGraph
    solver: NetSolver
    nets: frozenset[int]
    edges: tuple[tuple[str, ...], ...]
    ends: Ints
    rows: Ints
    ohm: Array
    bridge: Bools
    single: Bools
    i: Ints
    j: Ints
    siemens: Array
    variance: Array

    def row(self, node: int) -> int | None:
        """The row of a node; None for one that is not on this net or has no copper."""
        if self.graph.node_net[node] not in self.nets:
            return None
        return self.solver.row_at(node, *self.graph.node_place[node][:2])

    def column(self, row: int) -> Array:
        """(rows,) potentials for one ampere into a row."""
        return self.solver.columns([row])[:, 0]

    def drive(self, pair: tuple[int, int]) -> Array:
        """(rows,) potentials for one ampere in at the first node and out at the second. KeyError for a node without a row."""
        a, b = (self.row(node) for node in pair)
        if a is None or b is None:
            raise KeyError(pair)
        return self.column(a) - self.column(b)

    def share(self, drive: Array) -> Array:
        """(edges,) the share of the ampere that each super-edge takes, with sign."""
        return np.asarray((drive[self.rows[:, 0]] - drive[self.rows[:, 1]]) / self.ohm)

    def own(self, edges: Sequence[int]) -> Array:
        """(k, k) B' G B of some super-edges."""
        difference = np.column_stack(
            [self.column(int(self.rows[e, 0])) - self.column(int(self.rows[e, 1])) for e in edges]
        )
        at = self.rows[list(edges)]
        return np.asarray(difference[at[:, 0]] - difference[at[:, 1]])


def net_forms(graph: CopperGraph, net: int) -> NetForms:
    """A net (index) prepared, remembered with the graph."""
    kept: dict[int, NetForms] = graph.memo.setdefault("net forms", {})
    if net not in kept:
        kept[net] = _prepared(graph, net)
    return kept[net]


def _prepared(graph: CopperGraph, net: int) -> NetForms:
    view, made = net_view(graph, net), solver(graph, net)
    nets = frozenset(joined_nets(graph, net))
    by_id = {s.id: s for s in graph.sites if graph.node_net[s.a] in nets}
    edges, ends, rows, ohm, bridge, single = [], [], [], [], [], []
    for e in view.super_edges:
        if e.dead or e.a == e.b:
            continue
        pair = [made.row_at(node, *graph.node_place[node][:2]) for node in (e.a, e.b)]
        if pair[0] is None or pair[1] is None:
            continue
        edges.append(e.sites)
        ends.append((e.a, e.b))
        rows.append((pair[0], pair[1]))
        links = [sum(1.0 / max(by_id[s].resistance_ohm, FLOOR_OHM) for s in link) for link in e.links]
        ohm.append(max(sum(1.0 / g for g in links), FLOOR_OHM))
        bridge.append(e.bridge)
        single.append(all(len(link) == 1 for link in e.links))
    i, j, siemens, variance = site_rows(graph, made, nets)
    return NetForms(
        graph,
        made,
        nets,
        tuple(edges),
        np.array(ends, dtype=np.int64).reshape(-1, 2),
        np.array(rows, dtype=np.int64).reshape(-1, 2),
        np.array(ohm),
        np.array(bridge, dtype=bool),
        np.array(single, dtype=bool),
        i,
        j,
        siemens,
        variance,
    )


@dataclass(frozen=True, slots=True)
class Forms:
    """Readings on one net: (n,) sound V / I, (n, edges) shares of the current and of the voltage tips, (n, sites) width sensitivity."""

    sound: Array
    force: Array
    sense: Array
    width: Array


def forms_of(net: NetForms, force: Sequence[tuple[int, int]], sense: Sequence[tuple[int, int]]) -> Forms:
    """The forms of readings with current at ``force`` and voltage at ``sense`` (pairs of nodes)."""
    drives = [net.drive(pair) for pair in force]
    reads = [d if p == q else net.drive(q) for d, p, q in zip(drives, force, sense, strict=True)]
    sound = np.array([_between(net, d, pair) for d, pair in zip(drives, sense, strict=True)])
    root = np.sqrt(net.variance)
    width = np.array(
        [
            (d[net.i] - d[net.j]) * net.siemens * (r[net.i] - r[net.j]) * net.siemens * root
            for d, r in zip(drives, reads, strict=True)
        ]
    )
    return Forms(
        sound,
        np.array([net.share(d) for d in drives]).reshape(len(drives), -1),
        np.array([net.share(r) for r in reads]).reshape(len(drives), -1),
        width.reshape(len(drives), -1),
    )


def _between(net: NetForms, drive: Array, pair: tuple[int, int]) -> float:
    a, b = (net.row(node) for node in pair)
    return float(drive[a] - drive[b])


def around_of(net: NetForms, edges: Sequence[int]) -> Array:
    """(k,) for super-edges: the share of an ampere at its own ends that goes round each; 0 for a bridge."""
    out = np.zeros(len(edges))
    for k, e in enumerate(edges):
        if not net.bridge[e]:
            own = float(net.own([e])[0, 0])
            out[k] = min(max(1.0 - own / float(net.ohm[e]), 0.0), 1.0)
    out[out < 1e-9] = 0.0
    return out


def without(net: NetForms, forms: Forms, edges: Sequence[int], patterns: Bools) -> tuple[Array, Bools]:
    """(patterns, n) what each reading gains with the super-edges of each pattern (patterns, k) gone, and (patterns,) which patterns part the net.

    A reading across a cut gains 0: that it is open is for the caller to see.
    """
    k = len(edges)
    matrix = np.diag(net.ohm[list(edges)]) - net.own(edges)
    volts = net.ohm[list(edges)]
    f, s = forms.force[:, list(edges)] * volts, forms.sense[:, list(edges)] * volts
    gain, parted = np.zeros((len(patterns), len(forms.sound))), np.zeros(len(patterns), dtype=bool)
    size = np.sqrt(np.outer(volts, volts))
    for row, pattern in enumerate(patterns):
        at = np.flatnonzero(pattern)
        if not len(at):
            continue
        mine = matrix[np.ix_(at, at)]
        if abs(float(np.linalg.det(mine / size[np.ix_(at, at)]))) < SINGULAR:
            parted[row] = True
            mine = mine + LEAVES * np.diag(volts[at])
        more = np.einsum("nk,kn->n", f[:, at], np.linalg.solve(mine, s[:, at].T))
        gain[row] = np.where(np.abs(more) < BEYOND_OHM, more, 0.0)
    assert patterns.shape[1] == k
    return gain, parted
