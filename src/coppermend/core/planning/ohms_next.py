"""The next ohms reading for a short: the one that is expected to leave the least variance of its position."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from coppermend.core.belief.ohmic import Array, Instrument, NetOhms, OhmsReading, short_forms
from coppermend.core.belief.partial import PartialModel, expected_information
from coppermend.core.belief.shorts import (
    BRIDGE_OHM,
    MEAN,
    ShortBelief,
    ShortModel,
    design_of,
    fitted,
    position_variance,
)
from coppermend.core.copper.model import CopperGraph, ProbePoint

POINTS_A_NET = 6
"""Points of a net between which the next reading is chosen: spread out, and near the likely places."""
SENSE_POINTS = 4
MOST_PLACES = 90
"""Places that a forecast is made for; the likeliest."""
HERMITE = np.polynomial.hermite_e.hermegauss(3)
AGAIN = 0.97
"""The same reading once more counts a little less: its error is partly the same."""


@dataclass(frozen=True, slots=True)
class ReadingPlan:
    """A reading to take: force and sense nodes, the variance of position now and expected after it (mm^2)."""

    force: tuple[int, int]
    sense: tuple[int, int]
    now_mm2: float
    after_mm2: float

    @property
    def transfer(self) -> bool:
        """Whether the voltage is read at other points than the current goes in at."""
        return self.force != self.sense


def spread_points(net: NetOhms, points: Sequence[ProbePoint], near: Sequence[int], most: int) -> list[int]:
    """Nodes of a net to touch: the two furthest apart in ohms, then those nearest to ``near`` (nodes) and furthest from the chosen, by turns."""
    nodes = [n for n in dict.fromkeys(p.node for p in points) if n in net.at]
    if len(nodes) <= 1:
        return nodes
    index = np.array([net.at[n] for n in nodes])
    targets = np.array([net.at[n] for n in near if n in net.at], dtype=np.int64)
    diagonal = np.diag(net.g)
    ohm = diagonal[index][:, None] + diagonal[index][None, :] - 2 * net.g[np.ix_(index, index)]
    first, second = np.unravel_index(int(np.argmax(ohm)), ohm.shape)
    chosen = [int(first), int(second)]
    to_near = (
        (diagonal[index][:, None] + diagonal[targets][None, :] - 2 * net.g[np.ix_(index, targets)]).mean(axis=1)
        if len(targets)
        else np.zeros(len(index))
    )
    while len(chosen) < min(most, len(nodes)):
        left = [k for k in range(len(nodes)) if k not in chosen]
        if len(chosen) % 2 == 0:
            chosen.append(min(left, key=lambda k: (round(float(to_near[k]), 9), k)))
        else:
            chosen.append(max(left, key=lambda k: (round(float(ohm[k, chosen].min()), 9), -k)))
    return [nodes[k] for k in chosen]


def options(a: Sequence[int], b: Sequence[int], instrument: Instrument) -> list[OhmsReading]:
    """The readings to choose among: across the two nets, along either, and for four wires the transfer form (current across, voltage along one)."""
    pairs = [*itertools.product(a, b), *itertools.combinations(a, 2), *itertools.combinations(b, 2)]
    out = [OhmsReading(pair, pair, 0.0, instrument) for pair in pairs]
    if instrument.wires == 4 and a and b:
        for net, other, turned in ((a[:SENSE_POINTS], b[0], False), (b[:SENSE_POINTS], a[0], True)):
            for inject in net:
                force = (other, inject) if turned else (inject, other)
                out += [OhmsReading(force, pair, 0.0, instrument) for pair in itertools.combinations(net, 2)]
    return out


def next_reading(
    model: ShortModel,
    readings: Sequence[OhmsReading],
    belief: ShortBelief,
    points: Sequence[ProbePoint],
    instrument: Instrument,
    skipped: Collection[int] = (),
) -> ReadingPlan | None:
    """The reading with the largest expected reduction of the position's variance; None where no two points can be touched.

    ``points``: reachable probe points of both nets; ``skipped`` nodes are not touched.
    """
    likely = list(belief.held[:12])
    reach = [p for p in points if p.node not in set(skipped)]
    a = spread_points(model.a, reach, [model.ends[k][0] for k in likely], POINTS_A_NET)
    b = spread_points(model.b, reach, [model.ends[k][1] for k in likely], POINTS_A_NET)
    found = options(a, b, instrument)
    if not found:
        return None
    keep = np.argsort(-belief.p, kind="stable")[:MOST_PLACES]
    weights = belief.p[keep] / belief.p[keep].sum()
    at = np.array([(model.places[k].x_mm, model.places[k].y_mm) for k in keep])
    mean, sd = forecast(model, [model.ends[k] for k in keep], readings, found)
    after = expected_variance(at, weights, mean, sd)
    now = float(position_variance(at, weights))
    done = {(frozenset(r.force), frozenset(r.sense)) for r in readings}
    score = [
        (now - v) * (AGAIN if (frozenset(o.force), frozenset(o.sense)) in done else 1.0) * (0.95 if o.force != o.sense else 1.0)
        for o, v in zip(found, after.tolist(), strict=True)
    ]  # fmt: skip
    best = max(range(len(found)), key=lambda k: (round(score[k], 9), -k))
    return ReadingPlan(found[best].force, found[best].sense, now, float(after[best]))


def forecast(
    model: ShortModel, ends: Sequence[tuple[int, int]], readings: Sequence[OhmsReading], found: Sequence[OhmsReading]
) -> tuple[Array, Array]:
    """(options, places) mean and standard deviation of each reading if the short is at each place, after the readings so far."""
    every = [*readings, *found]
    forms = short_forms(model.a, model.b, ends, every)
    many = len(readings)
    head = type(forms)(forms.x[:, :many], forms.width[:, :many], forms.possible[:, :many])
    fits = [fitted(head, readings, scale) for scale, _ in BRIDGE_OHM]
    which = int(np.argmax([float(f.log.max()) + math.log(w) for f, (_, w) in zip(fits, BRIDGE_OHM, strict=True)]))
    fit = fits[which]
    x = design_of(forms, every)[:, many:]
    cover = x @ fit.prior @ fit.design.transpose(0, 2, 1)
    cover = cover + np.einsum("coe,cre->cor", forms.width[:, many:], forms.width[:, :many])
    mean = x @ MEAN + np.einsum("cor,cr->co", cover, fit.solved)
    own = np.einsum("coi,ij,coj->co", x, fit.prior, x, optimize=True) + (forms.width[:, many:] ** 2).sum(axis=2)
    noise = np.array([o.instrument.variance for o in found])
    sure = np.einsum("cor,crs,cos->co", cover, fit.precision, cover, optimize=True)
    spread = np.sqrt(np.maximum(own + noise - sure, noise))
    impossible = ~forms.possible[:, many:]
    return np.where(impossible, 1e3, mean).T, np.where(impossible, 1.0, spread).T


def expected_variance(at: Array, weights: Array, mean: Array, sd: Array) -> Array:
    """(options,) expected variance of position after each reading: three Gauss-Hermite values for each place, weighed by its probability."""
    nodes, shares = HERMITE
    shares = shares / shares.sum()
    use = np.argsort(-weights, kind="stable")[:40]
    out = np.zeros(len(mean))
    total = weights[use].sum()
    for o in range(len(mean)):
        y = (mean[o, use][:, None] + sd[o, use][:, None] * nodes[None, :]).ravel()
        mass = (weights[use][:, None] * shares[None, :]).ravel() / total
        log = -0.5 * ((y[:, None] - mean[o]) / sd[o]) ** 2 - np.log(sd[o]) + np.log(np.maximum(weights, 1e-300))
        log -= log.max(axis=1, keepdims=True)
        post = np.exp(log)
        post /= post.sum(axis=1, keepdims=True)
        out[o] = float(mass @ position_variance(at, post))
    return out


def reachable_points(graph: CopperGraph, *nets: NetOhms) -> list[ProbePoint]:
    """Points that a tip can touch on these nets."""
    members = frozenset().union(*[net.nets for net in nets])
    return [p for p in graph.points if p.reachable and graph.node_net[p.node] in members]


def next_excess_reading(
    model: PartialModel, readings: Sequence[OhmsReading], terminals: Sequence[int], instrument: Instrument
) -> tuple[tuple[int, int], float] | None:
    """The pair of nodes whose reading tells most about which stretch holds a partial open, with its expected bits; None with fewer than two nodes."""
    nodes = [n for n in dict.fromkeys(terminals) if n in model.net.at]
    pairs = list(itertools.combinations(nodes, 2))
    if not pairs:
        return None
    bits = expected_information(model, readings, pairs, instrument)
    best = max(range(len(pairs)), key=lambda k: (round(float(bits[k]), 6), -k))
    return pairs[best], float(bits[best])
