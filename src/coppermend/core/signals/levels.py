"""State levels of a wave after IEEE 181: the modes of the two halves of its histogram.

Source: IEEE 181 (transitions, pulses and related waveforms), histogram method, as makers' and toolboxes' texts repeat it (docs/sources.md): the range from
the least to the greatest value in equal bins, split in two halves; the state level is the mode of each half. The mode is then sharpened to the median of
the samples close to it, so that the answer does not hang on where the bins lie.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coppermend.core.signals.wave import Floats

BINS = 100
STEADY_NOISES = 6.0
"""Two modes nearer than this many noise deviations are one level (an assumption: the modes of a split Gaussian lie within one or two)."""
STEADY_STEPS, STEADY_V = 3, 0.3
"""A wave within three steps of the converter and within 0.3 V is one level: its last digit moves, nothing else (an assumption)."""
_SAMPLED = 100_000


@dataclass(frozen=True, slots=True)
class StateLevels:
    """``low`` and ``high`` in the wave's unit, equal when ``steady``; ``noise`` its standard deviation from sample to sample; ``least`` and ``most`` the range."""

    low: float
    high: float
    noise: float
    least: float
    most: float
    steady: bool

    @property
    def amplitude(self) -> float:
        """High minus low."""
        return self.high - self.low


def state_levels(values: Floats) -> StateLevels:
    """The two state levels of a wave. ``values`` (n,), n at least 1, all finite.

    >>> state_levels(np.array([0.2, 0.2, 0.2, 1.9, 3.6, 3.6, 3.6])).high
    3.6
    """
    least, most = float(values.min()), float(values.max())
    noise = noise_of(values)
    if most <= least or _one_step(values, least, most):
        middle = float(np.median(values))
        return StateLevels(middle, middle, noise, least, most, True)
    width = (most - least) / BINS
    if width <= 0 or not np.isfinite(BINS / (most - least)):
        return StateLevels(least, least, noise, least, most, True)
    at = np.minimum(((values - least) * (BINS / (most - least))).astype(np.int32), BINS - 1)
    counts = np.bincount(at, minlength=BINS)
    window = min(max(2.0 * width, 1.5 * noise), 5.0 * width)
    low = _sharp(values, least + (0.5 + int(np.argmax(counts[: BINS // 2]))) * width, window)
    high = _sharp(values, least + (0.5 + BINS // 2 + int(np.argmax(counts[BINS // 2 :]))) * width, window)
    if high - low < STEADY_NOISES * noise and _gaussian(counts):
        middle = float(np.median(values))
        return StateLevels(middle, middle, noise, least, most, True)
    return StateLevels(low, high, noise, least, most, False)


def noise_of(values: Floats) -> float:
    """The standard deviation of the noise, from the median step between neighbours; 0 where most neighbours are equal.

    The median of the absolute difference of two Gaussian samples is 0.6745 * sqrt(2) times their standard deviation.

    >>> bool(abs(noise_of(np.random.default_rng(1).normal(0, 0.05, 50000)) - 0.05) < 0.001)
    True
    """
    if values.size < 3:
        return 0.0
    every = max(1, values.size // _SAMPLED)
    steps = np.abs(values[1::every] - values[:-1:every][: values[1::every].size])
    return float(np.median(steps)) / (0.6744897501960817 * 2**0.5)


def _one_step(values: Floats, least: float, most: float) -> bool:
    """Whether the wave stays within a few steps of its converter, as far as its smallest steps show."""
    if most - least > STEADY_V:
        return False
    some = np.unique(values[:: max(1, values.size // _SAMPLED)])
    return some.size <= STEADY_STEPS + 1 and values.size > 8


def _gaussian(counts: np.ndarray) -> bool:
    """Whether the middle of the range is as full as its quarters: one hump, not two."""
    third = BINS // 3
    return bool(counts[third : 2 * third].sum() >= 0.4 * counts.sum())


def _sharp(values: Floats, about: float, window: float) -> float:
    near = values[np.abs(values - about) <= window]
    return float(np.median(near)) if near.size else about
