"""Where two shorted nets touch: the posterior over candidate places from ohms readings.

For each candidate the readings are linear in (kA, kB, Rs, zero of the leads) with Gaussian priors, so its evidence is closed form; Rs >= 0 by
truncation (also closed form), its size by a mixture of a solder bridge and a hair. Local width variation enters as the covariance of the readings:
two readings over the same copper share its error. The places with 90 % of the probability are the answer; when they lie further apart than
LIMIT_MM the instrument is too coarse here, and that is what is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, chdtri, log_ndtr

from coppermend.core.belief.ohmic import (
    LIMIT_MM,
    SCALE_COMMON_SD,
    SCALE_NET_SD,
    Array,
    Forms,
    NetOhms,
    OhmsReading,
    net_ohms,
    short_forms,
)
from coppermend.core.copper.bridges import BridgePlace, with_spots
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.neighbours import RANKS

BRIDGE_OHM = ((0.05, 0.7), (2.0, 0.3))
"""A bridge's resistance: half-normal with this scale in ohm, and the weight of the scale: solder, or a hair of wire, dirt (an assumption)."""
RANK_WEIGHT = dict(zip(RANKS, (8.0, 4.0, 2.0, 1.0), strict=True))
"""How much likelier a bridge is at such a place than between two tracks, a millimetre of them (common practice, no source)."""
AREA_WEIGHT = 10.0
"""How much likelier inside a work area (an assumption)."""
GAP_MM = 0.3
"""A gap this wide halves the weight of no gap (an assumption)."""
MASS = 0.90
MISFIT = 0.001
"""Readings less likely than this under the best place do not fit one bridge."""


@dataclass(frozen=True, slots=True)
class ShortModel:
    """Two nets prepared: the places, their prior (sums to 1), the nodes of each on the split graph, and the two nets' forms."""

    graph: CopperGraph
    places: tuple[BridgePlace, ...]
    prior: Array
    ends: tuple[tuple[int, int], ...]
    a: NetOhms
    b: NetOhms


@dataclass(frozen=True, slots=True)
class ShortBelief:
    """What the readings say. ``p`` (places,); ``best`` the place with the least expected distance from the truth; ``held`` the places of the 90 %
    region, likeliest first; ``width_mm`` its extent; ``centre`` and ``axes_mm``, ``angle_deg`` of the 90 % ellipse of the position;
    ``bridge_ohm`` of the bridge (mean, sd); ``scale_a``, ``scale_b`` of the copper; ``misfit`` chance of readings as far off as these.
    """

    p: Array
    best: int
    held: tuple[int, ...]
    width_mm: float
    centre: tuple[float, float]
    axes_mm: tuple[float, float]
    angle_deg: float
    bridge_ohm: tuple[float, float]
    scale_a: float
    scale_b: float
    misfit: float

    @property
    def too_coarse(self) -> bool:
        """Whether the 90 % region is wider than LIMIT_MM."""
        return self.width_mm > LIMIT_MM


def short_model(
    graph: CopperGraph,
    net_a: int,
    net_b: int,
    places: Sequence[BridgePlace],
    nodes: Sequence[int],
    weights: Sequence[float] | None = None,
) -> ShortModel:
    """The two nets prepared for readings at ``nodes``. ``weights``: prior of the places in any scale; without it all alike."""
    split, ends = with_spots(graph, [spot for place in places for spot in (place.a, place.b)])
    pairs = tuple(zip(ends[::2], ends[1::2], strict=True))
    prior = np.array(weights if weights is not None else np.ones(len(places)), dtype=np.float64)
    a = net_ohms(split, net_a, [*[p[0] for p in pairs], *nodes])
    b = net_ohms(split, net_b, [*[p[1] for p in pairs], *nodes])
    keep = [k for k, (x, y) in enumerate(pairs) if x in a.at and y in b.at]
    prior = prior[keep] / max(float(prior[keep].sum()), 1e-300)
    return ShortModel(split, tuple(places[k] for k in keep), prior, tuple(pairs[k] for k in keep), a, b)


def place_weight(place: BridgePlace, in_area: bool) -> float:
    """How likely a bridge is at a place before any reading, in any scale."""
    return RANK_WEIGHT[place.kind] * (AREA_WEIGHT if in_area else 1.0) * GAP_MM / (GAP_MM + place.gap_mm)


def scale_prior(gain: float, common: float = SCALE_COMMON_SD**2) -> Array:
    """(2, 2) covariance of (kA, kB): the board's scale with the meter's gain in common, and each net's own."""
    return (common + gain**2) * np.ones((2, 2)) + SCALE_NET_SD**2 * np.eye(2)


@dataclass(frozen=True, slots=True)
class Fitted:
    """The readings solved for every candidate under one scale of the bridge: ``log`` evidence, and what a prediction needs."""

    log: Array
    design: Array
    prior: Array
    mean: Array
    solved: Array
    precision: Array


def design_of(forms: Forms, readings: Sequence[OhmsReading]) -> Array:
    """(candidates, readings, 4): the forms and, for two-wire readings, the zero of the leads."""
    zero = np.array([1.0 if one.instrument.wires == 2 else 0.0 for one in readings])
    return np.concatenate([forms.x, np.broadcast_to(zero[None, :, None], (*forms.x.shape[:2], 1))], axis=2)


def prior_of(readings: Sequence[OhmsReading], bridge_ohm: float, common: float = SCALE_COMMON_SD**2) -> Array:
    """(4, 4) prior covariance of (kA, kB, Rs, zero)."""
    out = np.zeros((4, 4))
    out[:2, :2] = scale_prior(max((one.instrument.gain for one in readings), default=0.02), common)
    out[2, 2] = bridge_ohm**2
    out[3, 3] = max((one.instrument.common_ohm**2 for one in readings), default=0.0)
    return out


MEAN = np.array([1.0, 1.0, 0.0, 0.0])


def fitted(forms: Forms, readings: Sequence[OhmsReading], bridge_ohm: float) -> Fitted:
    """Weighted least squares with priors for every candidate; source: Gaussian linear model, closed form."""
    x = design_of(forms, readings)
    prior = prior_of(readings, bridge_ohm, forms.common)
    noise = np.diag([one.instrument.variance for one in readings])
    spread = noise + np.einsum("cie,cje->cij", forms.width, forms.width) + x @ prior @ x.transpose(0, 2, 1)
    off = np.array([one.ohm for one in readings]) - x @ MEAN
    precision = np.linalg.inv(spread) if len(readings) else np.zeros_like(spread)
    solved = np.einsum("cij,cj->ci", precision, off)
    log = -0.5 * (np.einsum("ci,ci->c", off, solved) + np.linalg.slogdet(spread)[1])
    gain = prior @ x.transpose(0, 2, 1)
    mean = MEAN + np.einsum("cij,cj->ci", gain, solved)
    rest = prior[2, 2] - np.einsum("ci,cij,cj->c", gain[:, 2], precision, gain[:, 2])
    log = log + log_ndtr(mean[:, 2] / np.sqrt(np.maximum(rest, 1e-18))) - math.log(0.5)
    log = np.where(forms.possible.all(axis=1), log, -np.inf)
    return Fitted(log, x, prior, mean, solved, precision)


def locate(model: ShortModel, readings: Sequence[OhmsReading]) -> ShortBelief:
    """The posterior over the places. ``readings`` at nodes the model was made for; with none it is the prior.

    Readings that no candidate allows (current without a way) leave the prior, with ``misfit`` 0.
    """
    forms = short_forms(model.a, model.b, model.ends, readings)
    fits = [fitted(forms, readings, scale) for scale, _ in BRIDGE_OHM]
    log = np.logaddexp.reduce([one.log + math.log(w) for one, (_, w) in zip(fits, BRIDGE_OHM, strict=True)], axis=0)
    log = log + np.log(np.maximum(model.prior, 1e-300))
    if not np.isfinite(log).any():
        return summed(model, model.prior, None, 0.0)
    p = np.exp(log - log.max())
    p /= p.sum()
    fit = max(fits, key=lambda one: float(one.log.max()))
    return summed(model, p, fit, _misfit(fit, forms, readings, int(log.argmax())))


def short_evidence(model: ShortModel, readings: Sequence[OhmsReading]) -> tuple[float, Array]:
    """Log density of the values (per ohm each) if the two nets are bridged, and the posterior of the places; no readings: 0 and the prior."""
    if not readings:
        return 0.0, model.prior
    forms = short_forms(model.a, model.b, model.ends, readings)
    fits = [fitted(forms, readings, scale).log + math.log(w) for scale, w in BRIDGE_OHM]
    log = np.logaddexp.reduce(fits, axis=0) - 0.5 * len(readings) * math.log(2 * math.pi)
    log = log + np.log(np.maximum(model.prior, 1e-300))
    if not len(log) or not np.isfinite(log).any():
        return -math.inf, model.prior
    top = float(log.max())
    weight = np.exp(log - top)
    return top + math.log(float(weight.sum())), weight / weight.sum()


def _misfit(fit: Fitted, forms: Forms, readings: Sequence[OhmsReading], at: int) -> float:
    """Chance of a sum of squares as large as this one at the likeliest place."""
    if not readings:
        return 1.0
    off = np.array([one.ohm for one in readings]) - fit.design[at] @ MEAN
    return float(chdtrc(len(readings), float(off @ fit.solved[at])))


def summed(model: ShortModel, p: Array, fit: Fitted | None, misfit: float) -> ShortBelief:
    """A posterior in figures: place, region, ellipse."""
    at = np.array([(one.x_mm, one.y_mm) for one in model.places])
    order = np.argsort(-p, kind="stable")
    many = int(np.searchsorted(np.cumsum(p[order]), MASS - 1e-12)) + 1
    held = order[:many]
    apart = np.hypot(at[:, None, 0] - at[None, held, 0], at[:, None, 1] - at[None, held, 1])
    best = int(held[np.argmin((apart * p[held]).sum(axis=1)[held])])
    centre = p @ at
    spread = (at - centre).T @ ((at - centre) * p[:, None])
    sizes, turn = np.linalg.eigh(spread)
    axes = np.sqrt(np.maximum(sizes[::-1], 0.0) * float(chdtri(2, 1.0 - MASS)))
    rs, scale_a, scale_b = (0.0, 0.0), 1.0, 1.0
    if fit is not None:
        mean = fit.mean[best]
        gain = fit.prior @ fit.design[best].T
        rest = fit.prior[2, 2] - gain[2] @ fit.precision[best] @ gain[2]
        rs, scale_a, scale_b = (
            (max(float(mean[2]), 0.0), math.sqrt(max(float(rest), 0.0))),
            float(mean[0]),
            float(mean[1]),
        )
    return ShortBelief(
        p, best, tuple(int(k) for k in held), float(apart[held].max(initial=0.0)),
        (float(centre[0]), float(centre[1])), (float(axes[0]), float(axes[1])),
        math.degrees(math.atan2(float(turn[1, 1]), float(turn[0, 1]))), rs, scale_a, scale_b, misfit,
    )  # fmt: skip


def position_variance(at: Array, weights: Array) -> Array:
    """Trace of the position's covariance in mm^2 for weights (..., places) that sum to 1; ``at`` (places, 2)."""
    mean = weights @ at
    square: Array = weights @ (at * at).sum(axis=1) - (mean * mean).sum(axis=-1)
    return np.maximum(square, 0.0)


def likely(belief: ShortBelief, share: float = 0.02, most: int = 10) -> tuple[int, ...]:
    """The places worth naming: at least ``share`` of the probability, likeliest first."""
    order: NDArray[np.int64] = np.argsort(-belief.p, kind="stable")[:most]
    return tuple(int(k) for k in order if belief.p[k] >= share or k == order[0])
