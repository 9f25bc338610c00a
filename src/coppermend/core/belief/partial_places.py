"""Partial opens on nets with pours and on large nets: stretches end where they meet the pour, and few nodes and groups of stretches stand for all
when the next reading is chosen.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.ohmic import NetOhms, site_rows
from coppermend.core.belief.partial import PartialBelief, PartialModel, pair_columns
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.resistance import NetSolver, solver

MOST_POINTS = 25
"""Points between which the next reading is chosen: pairs grow with the square."""
LARGE = 100
"""From so many stretches on they are grouped for the choice of the next reading, and the points are fewer; where the excess is, is worked out for each."""
POINTS_LARGE = 18
MOST_GROUPS = 80
ALIKE = 0.02
"""Stretches whose shares of the current differ by less than this between any two of the points are one group: those readings cannot tell them apart."""


def at_their_spots(graph: CopperGraph, net: int, model: PartialModel) -> PartialModel:
    """The model with the stretches that end on a pour or plane ended where they meet it, not at the one node that stands for all of it.

    Between that node and the spot lies copper of the sheet; its drop taken for the stretch's own made spokes carry many times the whole current.
    Several spokes of one land end at the mean of their spots. Such an end has a negative number in ``ends``.
    """
    sheets = {one.node for one in graph.sheets}
    if not any(node in sheets for pair in model.ends for node in pair):
        return model
    made, sites = solver(graph, net), {one.id: one for one in graph.sites}
    nodes = list(model.net.at)
    rows = [[_row(graph, made, node)] for node in nodes]
    ends = [list(pair) for pair in model.ends]
    for k, pair in enumerate(model.ends):
        for at, node in enumerate(pair):
            if node in sheets:
                touching = [sites[one] for one in model.edges[k] if node in (sites[one].a, sites[one].b)]
                spots = [made.row_at(node, *one.path[0 if one.a == node else -1]) for one in touching]
                if spots and None not in spots:
                    ends[k][at] = -len(rows)
                    nodes.append(-len(rows))
                    rows.append([row for row in spots if row is not None])
    asked = list(dict.fromkeys(row for some in rows for row in some))
    place = {row: k for k, row in enumerate(asked)}
    share = np.zeros((len(asked), len(rows)))
    for k, some in enumerate(rows):
        for row in some:
            share[place[row], k] += 1.0 / len(some)
    columns = made.columns(asked)
    i, j, siemens, variance = site_rows(graph, made, model.net.nets)
    mean = columns @ share
    ohms = NetOhms(
        model.net.nets,
        {node: k for k, node in enumerate(nodes)},
        share.T @ columns[np.array(asked)] @ share,
        (mean[i] - mean[j]) * siemens[:, None],
        variance,
        np.array([made.piece[some[0]] for some in rows], dtype=np.int64),
    )
    return replace(model, net=ohms, ends=tuple((pair[0], pair[1]) for pair in ends))


def _row(graph: CopperGraph, made: NetSolver, node: int) -> int:
    """The row of a node that the model has: it is there, or the model would not have it."""
    row = made.row_at(node, *graph.node_place[node][:2])
    assert row is not None
    return row


def few_nodes(model: PartialModel, terminals: list[int], found: PartialBelief) -> list[int]:
    """At most MOST_POINTS nodes to touch, spread evenly by their resistance from the first. On a large net POINTS_LARGE, half of them spread, half of
    them where the tips are nearest (in ohms) to the likeliest stretches: points spread once and for all could not tell those apart.
    """
    nodes = list(dict.fromkeys(terminals))
    if len(model.edges) < LARGE:
        return _spread(model, nodes, MOST_POINTS)
    out = _spread(model, nodes, POINTS_LARGE // 2)
    columns = np.array([model.net.at[n] for n in nodes])
    for k in np.argsort(-found.p, kind="stable")[: 4 * POINTS_LARGE].tolist():
        for end in model.ends[k]:
            near = nodes[int(np.argmin(_ohm_from(model, model.net.at[end], columns)))]
            if near not in out and len(out) < POINTS_LARGE:
                out.append(near)
    return out


def _ohm_from(model: PartialModel, column: int, columns: NDArray[np.int64]) -> NDArray[np.float64]:
    g = model.net.g
    ohm: NDArray[np.float64] = g[columns, columns] + g[column, column] - 2 * g[columns, column]
    return ohm


def _spread(model: PartialModel, nodes: list[int], most: int) -> list[int]:
    """At most so many nodes, spread evenly by the order of their resistance from the first."""
    if len(nodes) <= most:
        return nodes
    ohm = _ohm_from(model, model.net.at[nodes[0]], np.array([model.net.at[n] for n in nodes]))
    order = sorted(range(len(nodes)), key=lambda k: (float(ohm[k]), nodes[k]))
    return [nodes[order[k]] for k in np.linspace(0, len(nodes) - 1, most).round().astype(int).tolist()]


def grouped(model: PartialModel, found: PartialBelief, nodes: list[int]) -> PartialModel:
    """The model for choosing a reading between ``nodes``: as it is where it is small, else one stretch for each group of stretches that these readings
    cannot tell apart, with the group's chance.

    What a reading tells about the stretch is what it tells about its group when no reading in question tells the group's members apart (chain rule
    of mutual information; Cover and Thomas, Elements of Information Theory, theorem 2.5.2, from memory). A group's member with the largest chance
    stands for it; beyond MOST_GROUPS the least likely join the group most like them.
    """
    if len(model.edges) < LARGE or len(nodes) < 2:
        return model
    _, share, _ = pair_columns(model, [(nodes[0], n) for n in nodes[1:]])
    signs, group = np.unique(np.round(share.T / ALIKE).astype(np.int64), axis=0, return_inverse=True)
    group = group.ravel()
    mass = np.bincount(group, found.p, len(signs))
    if len(signs) > MOST_GROUPS:
        kept = np.sort(np.argsort(-mass, kind="stable")[:MOST_GROUPS])
        nearest = np.abs(signs[:, None, :] - signs[None, kept, :]).sum(axis=2).argmin(axis=1)
        group = kept[nearest][group]
        mass = np.bincount(group, found.p, len(signs))
    order = np.argsort(-found.p, kind="stable")
    _, first = np.unique(group[order], return_index=True)
    stand_in = order[first]
    prior = model.prior[stand_in] * mass[group[stand_in]] / np.maximum(found.p[stand_in], 1e-300)
    return replace(
        model,
        edges=tuple(model.edges[k] for k in stand_in),
        ends=tuple(model.ends[k] for k in stand_in),
        ohm=model.ohm[stand_in],
        prior=prior,
    )
