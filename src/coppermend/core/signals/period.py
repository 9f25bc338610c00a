"""Period and frequency with their uncertainty, from edges or from a figure that was read by cursor or counter.

Edges: the straight line of least squares through (k, t_k). With N edges of deviation s each, u(T) = s * sqrt(12 / (N (N^2 - 1))): the variance of the slope
of least squares over evenly spaced abscissae (textbook regression). An edge whose transition has no sample inside lies anywhere in one step: s = step / sqrt(12)
(rectangular distribution, GUM). The accuracy of the instrument's own time base is not in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from coppermend.core.signals.edges import Edges
from coppermend.core.signals.wave import Floats

EVEN = 0.2
"""Intervals within this share of a whole number of periods are periodic (an assumption: duty and jitter of logic clocks are far nearer)."""
GAPPED = 0.5
"""At least this share of the intervals must be one period, else the wave is not called periodic (an assumption)."""


@dataclass(frozen=True, slots=True)
class Period:
    """``period_s`` and its standard uncertainty ``u_s``; ``edges`` used; ``missing`` periods without an edge; ``jitter_s`` deviation of an edge."""

    period_s: float
    u_s: float
    edges: int
    missing: int
    jitter_s: float

    @property
    def frequency_hz(self) -> float:
        """One over the period."""
        return 1.0 / self.period_s

    @property
    def frequency_u_hz(self) -> float:
        """Standard uncertainty of the frequency: u(T) / T^2."""
        return self.u_s / self.period_s**2


def slope_uncertainty(sigma_s: float, edges: int) -> float:
    """The standard uncertainty of a period from N evenly counted edges of deviation ``sigma_s`` each; infinite below two edges.

    >>> round(slope_uncertainty(0.3, 20), 6)
    0.011634
    """
    return sigma_s * math.sqrt(12.0 / (edges * (edges * edges - 1.0))) if edges > 1 else math.inf


def period_of(edges: Edges) -> Period | None:
    """The period of a wave from its edges of one sense (the more frequent, else rising); None when fewer than two or when they do not repeat."""
    best = max((edges.rising, ~edges.rising), key=lambda one: int(one.sum()))
    times = edges.times_s[best]
    if times.size < 2:
        return None
    resolved = bool(np.mean(edges.resolved[best]) > 0.5)
    return fit_period(times, 0.0 if resolved else edges.grid_s / math.sqrt(12.0))


def fit_period(times_s: Floats, least_sigma_s: float) -> Period | None:
    """The period that these times of like edges, (n,), repeat with; None when they do not. ``least_sigma_s``: no edge is known better than this.

    >>> p = fit_period(np.array([0.0, 1.0, 2.0, 4.0]), 0.0)
    >>> p.period_s, p.missing
    (1.0, 1)
    """
    gaps = np.diff(times_s)
    if not gaps.size or float(gaps.min()) <= 0:
        return None
    usual = float(np.median(gaps))
    for _ in range(2):
        counts = np.maximum(np.round(gaps / usual), 1.0)
        single = counts == 1.0
        if not single.any():
            return None
        usual = float(gaps[single].mean())
    slack = np.abs(gaps - counts * usual)
    if float(np.mean(single)) < GAPPED or float(np.max(slack)) > EVEN * usual + 2.0 * least_sigma_s:
        return None
    k = np.concatenate([[0.0], np.cumsum(counts)])
    middle = k - k.mean()
    spread = float(middle @ middle)
    slope = float(middle @ (times_s - times_s.mean())) / spread
    rest = times_s - times_s.mean() - slope * middle
    jitter = math.sqrt(float(rest @ rest) / (times_s.size - 2)) if times_s.size > 2 else 0.0
    digits = 1e-15 * float(np.max(np.abs(times_s)))
    jitter = jitter if jitter > digits else 0.0
    sigma = max(jitter, least_sigma_s, digits)
    missing = int(counts.sum()) - int(counts.size)
    return Period(slope, sigma / math.sqrt(spread), int(times_s.size), missing, jitter)


@dataclass(frozen=True, slots=True)
class TypedFrequency:
    """A frequency read by cursor or counter: ``hertz``, the range it can lie in, its standard uncertainty (uniform phase), and the period's."""

    hertz: float
    low_hz: float
    high_hz: float
    u_hz: float
    period_s: float

    def says(self, expect_hz: float, tolerance_ppm: float) -> str:
        """ "right" when expected and read ranges meet, else "wrong frequency".

        >>> typed_period(70e-9, 2e-9).says(14.318182e6, 100.0)
        'right'
        """
        slack = expect_hz * tolerance_ppm * 1e-6
        return "right" if self.low_hz <= expect_hz + slack and self.high_hz >= expect_hz - slack else "wrong frequency"

    def proves(self, expect_hz: float, tolerance_ppm: float) -> bool:
        """Whether the whole range that was read lies within the tolerance: only then it is proof."""
        slack = expect_hz * tolerance_ppm * 1e-6
        return expect_hz - slack <= self.low_hz and self.high_hz <= expect_hz + slack


def typed_period(length_s: float, step_s: float, periods: int = 1) -> TypedFrequency:
    """Two cursors ``length_s`` apart over a number of periods, each set on a grid of ``step_s``: the length is off by at most one step,
    by step / sqrt(6) as a standard uncertainty over random phase (two rectangular distributions, GUM)."""
    period, most = length_s / periods, step_s / periods
    low = max(period - most, 1e-18)
    return TypedFrequency(1.0 / period, 1.0 / (period + most), 1.0 / low, most / math.sqrt(6.0) / period**2, period)


def typed_frequency(hertz: float, step_hz: float) -> TypedFrequency:
    """A counter's figure whose last digit is ``step_hz``: half a step either way (rectangular, u = step / sqrt(12)).

    >>> typed_frequency(4.0e6, 1e5).says(3.96e6, 0.0), typed_frequency(4.0e6, 1e5).says(3.9e6, 0.0)
    ('right', 'wrong frequency')
    """
    low, high = max(hertz - step_hz / 2, 1e-12), hertz + step_hz / 2
    return TypedFrequency(hertz, low, high, step_hz / math.sqrt(12.0), 1.0 / hertz)
