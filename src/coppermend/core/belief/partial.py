"""Partial opens: one stretch of a net with more resistance than its copper has, found from ohms readings.

Hypotheses: every super-edge with every excess of a log grid. A reading between two points that a sound net reads R gains the excess times the share
of its current through the super-edge (a bridge: 1 or 0; a loop: exact by the rank-one change of the network, Sherman and Morrison 1950, from memory).
Likelihoods are Gaussian with the copper's scale and local width variation in common, in closed form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.ohmic import (
    EACH,
    SCALE_NET_SD,
    Array,
    Instrument,
    NetOhms,
    OhmsReading,
    net_ohms,
)
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.provable import net_view
from coppermend.core.copper.resistance import FLOOR_OHM

EXCESS_OHM = tuple(np.geomspace(0.01, 100.0, 25).tolist())
"""The excesses that are tried, six a decade."""
CELL = 0.2
"""Half a step of the grid, relative: within its cell the excess is free (Gaussian), so that precise readings fall on no gap."""
SURE = 0.90
"""A stretch above this is named; with no reading left that helps and less than this, the instrument is too coarse."""
SOUND_PRIOR = 0.05
"""Chance that nothing is wrong when a partial open is looked for (an assumption: there was a reason to look)."""


@dataclass(frozen=True, slots=True)
class PartialModel:
    """A net prepared: super-edges (site ids), nodes ``a``, ``b`` of each, ohm of each when sound, its chance before any reading; ``sound_ohm``
    and ``current`` for the pairs come from ``net``.
    """

    net: NetOhms
    edges: tuple[tuple[str, ...], ...]
    ends: tuple[tuple[int, int], ...]
    ohm: Array
    prior: Array


@dataclass(frozen=True, slots=True)
class PartialBelief:
    """``p`` (edges,) chance of each super-edge to hold the excess, ``p_sound`` of none, ``excess_ohm`` (edges,) its mean there."""

    p: Array
    p_sound: float
    excess_ohm: Array
    joint: Array

    @property
    def best(self) -> int:
        """The likeliest super-edge."""
        return int(np.argmax(self.p))


def partial_model(graph: CopperGraph, net: int, weights: dict[str, float] | None = None) -> PartialModel:
    """A net (index) prepared for finding one excess. ``weights``: site id -> chance of a fault; without it all super-edges alike.

    Super-edges between the same readings cannot be told apart and are kept apart all the same: their chances come out equal.
    """
    view = net_view(graph, net)
    live = [e for e in view.super_edges if not e.dead and e.a != e.b]
    nodes = [n for e in live for n in (e.a, e.b)] + list(view.terminals)
    by_id = {s.id: s for s in graph.sites if graph.node_net[s.a] in set(view.nets)}
    ohm = [
        sum(1.0 / sum(1.0 / max(by_id[s].resistance_ohm, FLOOR_OHM) for s in link) for link in e.links) for e in live
    ]
    prior = np.array([sum(weights.get(s, 0.0) for s in e.sites) if weights else 1.0 for e in live])
    prior = prior / max(float(prior.sum()), 1e-300)
    made = net_ohms(graph, net, nodes)
    return PartialModel(made, tuple(e.sites for e in live), tuple((e.a, e.b) for e in live), np.array(ohm), prior)


def pair_columns(model: PartialModel, pairs: Sequence[tuple[int, int]]) -> tuple[Array, Array, Array]:
    """For pairs of nodes: (pairs,) sound ohms, (pairs, edges) share of one ampere through each super-edge, (pairs, sites) width sensitivity."""
    sound, share, _, width = form_columns(model, pairs, pairs)
    return sound, share, width


def form_columns(
    model: PartialModel, force: Sequence[tuple[int, int]], sense: Sequence[tuple[int, int]]
) -> tuple[Array, Array, Array, Array]:
    """For readings with current at ``force`` and voltage at ``sense``: (n,) sound V / I, (n, edges) shares of the currents that either pair would
    drive through each super-edge, (n, sites) width sensitivity.
    """
    net = model.net
    drives, reads = _injections(net, force), _injections(net, sense)
    phi, psi = drives @ net.g, reads @ net.g
    ends = np.array([(net.at[a], net.at[b]) for a, b in model.ends])
    ohm = np.maximum(model.ohm, FLOOR_OHM)
    share_f = (phi[:, ends[:, 0]] - phi[:, ends[:, 1]]) / ohm
    share_s = (psi[:, ends[:, 0]] - psi[:, ends[:, 1]]) / ohm
    width = (drives @ net.current.T) * (reads @ net.current.T) * np.sqrt(net.variance)
    return (phi * reads).sum(axis=1), share_f, share_s, width


def _injections(net: NetOhms, pairs: Sequence[tuple[int, int]]) -> Array:
    out = np.zeros((len(pairs), len(net.at)))
    for k, (a, b) in enumerate(pairs):
        out[k, net.at[a]] += 1.0
        out[k, net.at[b]] -= 1.0
    return out


def excess_ohm(model: PartialModel, share: Array, sense: Array | None = None) -> Array:
    """(pairs, edges, grid) what each excess on each super-edge adds to each pair's reading.

    The network with r more on an edge of resistance R: R_pair' = R_pair + share^2 r / (1 + r (1 - own) / R), own = R_eff(edge) / R, the share of
    current at the edge's own ends that takes the edge itself; 1 for a bridge. ``sense``: the shares of the voltage tips where they stand elsewhere.
    """
    net = model.net
    ends = np.array([(net.at[a], net.at[b]) for a, b in model.ends])
    g = net.g
    effective = g[ends[:, 0], ends[:, 0]] + g[ends[:, 1], ends[:, 1]] - 2 * g[ends[:, 0], ends[:, 1]]
    around = np.clip(1.0 - effective / np.maximum(model.ohm, FLOOR_OHM), 0.0, 1.0)
    around[around < 1e-9] = 0.0
    r = np.array(EXCESS_OHM)
    weaker = r / (1.0 + r[None, :] * around[:, None] / np.maximum(model.ohm, FLOOR_OHM)[:, None])
    both = share * (share if sense is None else sense)
    return np.asarray(both[:, :, None] * weaker[None, :, :])


def locate_excess(model: PartialModel, readings: Sequence[OhmsReading]) -> PartialBelief:
    """The posterior over (super-edge, excess) and "nothing wrong" after ohms readings between two nodes each."""
    log, _, _ = _evidence(model, readings, ())
    return _posterior(model, log)


def _posterior(model: PartialModel, log: Array) -> PartialBelief:
    prior = np.append(
        (model.prior[:, None] * np.full(len(EXCESS_OHM), 1.0 / len(EXCESS_OHM))).ravel() * (1 - SOUND_PRIOR),
        SOUND_PRIOR,
    )
    weight = np.exp(log - log.max()) * prior
    weight /= weight.sum()
    joint = weight[:-1].reshape(len(model.edges), -1)
    p = joint.sum(axis=1)
    return PartialBelief(p, float(weight[-1]), joint @ np.array(EXCESS_OHM) / np.maximum(p, 1e-300), weight)


def _evidence(
    model: PartialModel, readings: Sequence[OhmsReading], more: Sequence[OhmsReading]
) -> tuple[Array, Array, Array]:
    """(hypotheses,) log evidence of ``readings`` (hypotheses: edges x grid, then sound); (more, hypotheses) mean and sd of further ones."""
    every = [*readings, *more]
    many = len(readings)
    sound, share, width = pair_columns(model, [r.force for r in every])
    added = excess_ohm(model, share).reshape(len(every), len(model.edges) * len(EXCESS_OHM))
    mean = sound[:, None] + np.column_stack([added, np.zeros(len(every))])
    zero = np.array([r.instrument.common_ohm for r in every])
    gain = np.array([r.instrument.gain for r in every])
    scale = np.sqrt(model.net.common + SCALE_NET_SD**2 + gain**2) * sound
    cover = np.outer(scale, scale) + width @ width.T + np.outer(zero, zero)
    each = EACH * np.maximum(sound, [r.ohm for r in every])
    cover += np.diag(np.array([r.instrument.variance for r in every]) + each**2)
    off = np.array([r.ohm for r in readings])[:, None] - mean[:many]
    step = mean - sound[:, None]
    step *= CELL
    return _with_cell(cover, off, mean, step, many, np.array([m.instrument.variance for m in more]))


def _with_cell(
    cover: Array, off: Array, mean: Array, step: Array, many: int, noise: Array
) -> tuple[Array, Array, Array]:
    """The Gaussian model with the excess free within its cell of the grid: one more rank of covariance, (readings, hypotheses) ``step``."""
    precision = np.linalg.inv(cover[:many, :many]) if many else np.zeros((0, 0))
    between = cover[many:, :many] @ precision
    pull = precision @ step[:many]
    room = 1.0 + (step[:many] * pull).sum(axis=0)
    along = (pull * off).sum(axis=0)
    log = -0.5 * ((off * (precision @ off)).sum(axis=0) - along**2 / room + np.log(room))
    left = step[many:] - between @ step[:many]
    ahead = mean[many:] + between @ off + left * (along / room)
    rest = np.maximum(np.diag(cover)[many:] - (between * cover[many:, :many]).sum(axis=1), noise)
    return log, ahead, np.sqrt(rest[:, None] + left**2 / room)


def expected_information(
    model: PartialModel, readings: Sequence[OhmsReading], pairs: Sequence[tuple[int, int]], instrument: Instrument
) -> Array:
    """(pairs,) expected information in bits about the super-edge from one more reading of each pair.

    Entropy of the super-edge now, less its mean after readings at the two-point quadrature (mean +- sd) of each stand-in.
    """
    more = [OhmsReading(p, p, 0.0, instrument) for p in pairs]
    log, ahead, sd = _evidence(model, readings, more)
    now = _posterior(model, log)
    keep, weight = _stand_ins(model, now)
    nodes, shares = np.array([-1.0, 1.0]), np.array([0.5, 0.5])
    out = np.zeros(len(pairs))
    before = _entropy(_by_edge(weight))
    for o in range(len(pairs)):
        m = ahead[o, keep]
        spread = sd[o, keep]
        y = (m[:, None] + spread[:, None] * nodes).ravel()
        mass = (weight[:, None] * shares).ravel()
        like = np.exp(-0.5 * ((y[:, None] - m) / spread) ** 2) / spread * weight
        post = like / np.maximum(like.sum(axis=1, keepdims=True), 1e-300)
        out[o] = float(before - mass @ _entropy(_by_edge(post)))
    return out


QUANTILES = (0.1, 0.3, 0.5, 0.7, 0.9)


def _stand_ins(model: PartialModel, now: PartialBelief) -> tuple[NDArray[np.int64], Array]:
    """Hypotheses that stand for all: five excesses of each stretch at the quantiles of its posterior, and "sound" at the end; index and weight of each."""
    many = len(EXCESS_OHM)
    share = np.cumsum(now.joint[:-1].reshape(-1, many), axis=1)
    share = share / np.maximum(share[:, -1:], 1e-300)
    at = np.stack([np.argmax(share >= q - 1e-12, axis=1) for q in QUANTILES], axis=1)
    edges = np.arange(len(model.edges))
    keep = np.append((edges[:, None] * many + at).ravel(), len(model.edges) * many)
    weight = np.append(np.repeat(now.p / len(QUANTILES), len(QUANTILES)), now.p_sound)
    return keep, weight / weight.sum()


def _by_edge(p: Array) -> Array:
    """Probabilities of the stand-ins (..., edges x QUANTILES, then sound) summed by stretch (..., edges, then sound)."""
    edges = p[..., :-1].reshape(*p.shape[:-1], -1, len(QUANTILES)).sum(axis=-1)
    return np.concatenate([edges, p[..., -1:]], axis=-1)


def _entropy(p: Array) -> Array:
    return np.asarray(-(p * np.log2(np.maximum(p, 1e-300))).sum(axis=-1))
