"""Where the risk lies now: every super-edge with its probability, and the trees that are left to prove.

A super-edge is a series chain of sites that no reading can tell apart (``core.copper.provable``). It is *in doubt* while some site of it is
neither proven (P below the basis' threshold) nor the whole named broken (P above the other threshold).
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.engine import CopperBelief
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.provable import NetView, all_views
from coppermend.core.copper.unknown import has_unknown, roots_of
from coppermend.core.planning.trees import RiskTree, one_by_one, risk_trees

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Frame:
    """The super-edges of a whole board in columns. ``views``: one per net (nets joined by a wire once).

    ``first[v]``: number of view v's first super-edge on the board; ``view_of``: view of each super-edge. ``flat``: site indices of all
    super-edges in a row, ``start``: where each one's begin. ``spokes``: super-edge -> groups of sites side by side. ``why_not``: by site id.
    """

    views: tuple[NetView, ...]
    first: tuple[int, ...]
    view_of: Ints
    flat: Ints
    start: Ints
    spokes: dict[int, tuple[tuple[int, ...], ...]]
    why_not: dict[str, tuple[str, str]]
    super_of: dict[str, int]
    view_of_net: dict[int, int]
    roots: dict[int, frozenset[int]] = field(default_factory=dict)
    """View -> nodes of the pin on which its unknown copper hangs; views whose copper is known are not in it."""


_FRAMES: OrderedDict[int, tuple[CopperGraph, Frame]] = OrderedDict()


def frame_of(graph: CopperGraph) -> Frame:
    """The frame of a graph, remembered for the last few graphs."""
    hit = _FRAMES.get(id(graph))
    if hit is None or hit[0] is not graph:
        hit = (graph, _frame(graph))
        _FRAMES[id(graph)] = hit
        while len(_FRAMES) > 8:
            _FRAMES.popitem(last=False)
    return hit[1]


def _frame(graph: CopperGraph) -> Frame:
    site = {s.id: k for k, s in enumerate(graph.sites)}
    views = [view for net, view in sorted(all_views(graph).items()) if net == min(view.nets)]
    first: list[int] = []
    flat: list[int] = []
    start: list[int] = []
    view_of: list[int] = []
    spokes: dict[int, tuple[tuple[int, ...], ...]] = {}
    why_not: dict[str, tuple[str, str]] = {}
    super_of: dict[str, int] = {}
    for v, view in enumerate(views):
        first.append(len(start))
        why_not.update(view.why_not)
        for edge in view.super_edges:
            number = len(start)
            start.append(len(flat))
            view_of.append(v)
            flat += [site[link[0]] for link in edge.links if len(link) == 1]
            side_by_side = tuple(tuple(site[s] for s in link) for link in edge.links if len(link) > 1)
            if side_by_side:
                spokes[number] = side_by_side
            super_of.update(dict.fromkeys(edge.sites, number))
    of_net = {net: v for v, view in enumerate(views) for net in view.nets}
    roots: dict[int, frozenset[int]] = {}
    for net, nodes in (roots_of(graph) if has_unknown(graph) else {}).items():
        roots[of_net[net]] = roots.get(of_net[net], frozenset()) | nodes
    return Frame(
        tuple(views),
        tuple(first),
        np.array(view_of, dtype=np.int64),
        np.array(flat, dtype=np.int64),
        np.array(start, dtype=np.int64),
        spokes,
        why_not,
        super_of,
        of_net,
        roots,
    )


@dataclass(frozen=True, slots=True)
class Risk:
    """The state of every super-edge. ``chance``: P(broken); ``doubt``: needs proof; ``broken``: named broken; ``at_risk``: by its prior.

    ``unproven``: the chance that its proof has to press down, under the priors as stated (``CopperBelief.unproven``).
    """

    frame: Frame
    chance: Floats
    doubt: Bools
    broken: Bools
    at_risk: Bools
    unproven: Floats


def risk_of(posterior: CopperBelief) -> Risk:
    """Super-edge probabilities of a posterior. Sites of one super-edge share every reading, so P = prior P x the common lift."""
    frame = frame_of(posterior.copper.graph)
    basis = posterior.basis
    n = len(frame.start)
    if not n:
        none = np.zeros(0, dtype=np.bool_)
        return Risk(frame, np.zeros(0), none, none, none, np.zeros(0))
    prior, now = posterior.prior, posterior.sites
    chance = _any_broken(frame, prior, now)
    doubt = np.zeros(n, dtype=np.bool_)
    at_risk = np.zeros(n, dtype=np.bool_)
    if len(frame.flat):
        owner = _owner(frame)
        p, q = prior[frame.flat], posterior.unproven[frame.flat]
        np.logical_or.at(doubt, owner, q >= basis.proven_below)
        np.logical_or.at(at_risk, owner, p >= basis.proven_below)
        if posterior.spoken is not None and posterior.spoken.any() and posterior.scales:
            read = np.bincount(owner, weights=posterior.spoken[frame.flat], minlength=n) > 0
            total = sum(one.weight for one in posterior.scales)
            mixed = sum([one.weight / total * _any_broken(frame, one.prior, one.sites) for one in posterior.scales])
            chance = np.where(read, mixed, chance)
    broken = chance > basis.broken_above
    unproven = np.maximum(chance, _any_broken(frame, prior, posterior.unproven))
    return Risk(frame, chance, doubt & ~broken, broken, at_risk, unproven)


def _owner(frame: Frame) -> Ints:
    """Super-edge of each entry of ``frame.flat``."""
    return np.repeat(np.arange(len(frame.start)), np.diff(np.append(frame.start, len(frame.flat))))


def _any_broken(frame: Frame, prior: Floats, now: Floats) -> Floats:
    """(super-edges,) P(some site of it is broken) from priors and posteriors of its sites under one supposition."""
    n = len(frame.start)
    chance = np.zeros(n)
    if len(frame.flat):
        owner = _owner(frame)
        p, q = prior[frame.flat], now[frame.flat]
        prior_any = -np.expm1(np.bincount(owner, weights=np.log1p(-p), minlength=n))
        lift = np.zeros(n)
        np.maximum.at(lift, owner, np.where(p > 0.0, q / np.maximum(p, 1e-300), 0.0))
        chance = np.minimum(1.0, prior_any * lift)
    for number, links in frame.spokes.items():
        for link in links:
            chance[number] = 1.0 - (1.0 - chance[number]) * (1.0 - float(np.prod(now[list(link)])))
    return chance


def trees_of(
    risk: Risk, v: int, skipped: Collection[str] = (), stuck: Collection[int] = ()
) -> tuple[tuple[RiskTree, ...], tuple[int, ...]]:
    """The trees left to prove of view ``v`` (edges named by their number on the board) and its doubtful super-edges no check can prove now.

    ``skipped``: points that cannot be reached. ``stuck``: super-edges that are taken for broken, whatever their chance.
    """
    frame = risk.frame
    first, last = frame.first[v], frame.first[v] + len(frame.views[v].super_edges)
    if not risk.doubt[first:last].any():
        return (), ()
    key = (
        id(frame),
        v,
        risk.doubt[first:last].tobytes(),
        risk.broken[first:last].tobytes(),
        frozenset(skipped),
        frozenset(stuck),
    )
    hit = _TREES.get(key)
    if hit is None or hit[0] is not frame:
        hit = (frame, _trees_of(risk, v, skipped, stuck))
        _TREES[key] = hit
        while len(_TREES) > 3000:
            _TREES.popitem(last=False)
    return hit[1]


Trees = tuple[tuple[RiskTree, ...], tuple[int, ...]]
_TREES: OrderedDict[tuple[object, ...], tuple[Frame, Trees]] = OrderedDict()


def _trees_of(risk: Risk, v: int, skipped: Collection[str], stuck: Collection[int]) -> Trees:
    view, base = risk.frame.views[v], risk.frame.first[v]
    edges = {base + e.index: (e.a, e.b) for e in view.super_edges if not e.dead and e.a != e.b}
    broken = {k for k in edges if risk.broken[k] or k in stuck}
    doubt = {k for k in edges if risk.doubt[k] and k not in stuck}
    if not doubt and stuck:
        return (), ()
    trees, cannot = risk_trees(edges, doubt, broken, touchable(view, skipped))
    return apart(risk, v, trees), cannot


def apart(risk: Risk, v: int, trees: tuple[RiskTree, ...]) -> tuple[RiskTree, ...]:
    """The trees of view ``v`` as they can be proved: as they are where the copper is known, else way by way from one pin (``one_by_one``)."""
    if v not in risk.frame.roots:
        return trees
    return tuple(one for tree in trees for one in one_by_one(tree, risk.frame.roots[v]))


def touchable(view: NetView, skipped: Collection[str]) -> list[int]:
    """Nodes of a net where a tip can go."""
    if not skipped:
        return list(view.points)
    return [node for node, ids in view.points.items() if any(i not in skipped for i in ids)]


def views_in_doubt(risk: Risk) -> list[int]:
    """Views with a super-edge in doubt, in net order."""
    return np.unique(risk.frame.view_of[risk.doubt]).tolist() if risk.doubt.any() else []
