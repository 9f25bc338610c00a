"""Temperatures from a coloured picture: the colour bar between two marked points says which colour is how warm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from coppermend.core.findings import refuse

Floats = NDArray[np.float64]
Colours = NDArray[np.uint8]
SAMPLES = 256
LEAST_COLOURS = 16
FAR_COLOUR = 45.0
"""A pixel whose colour lies farther from the bar (root of the three channels' squares, 0 to 441) is writing or a frame and no temperature."""
SAME_COLOUR, APART = 6.0, 0.12
"""Two places of the bar more than this share apart with colours nearer than SAME_COLOUR: the bar does not say which is meant."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A point on the colour bar: pixel (x right, y down) and its temperature in degC."""

    px: tuple[float, float]
    celsius: float


@dataclass(frozen=True, slots=True)
class Scaled:
    """``celsius`` (h, w), NaN where the colour is none of the bar's; ``step_k`` how finely the bar tells temperatures apart."""

    celsius: Floats
    step_k: float


def scaled(colours: Colours, first: Mark, second: Mark) -> Scaled:
    """Temperature of every pixel of a picture (h, w, 3), linear along the bar between two marks.

    Refusals THM-004: marks outside the picture, at one place or one temperature; no colours there; a bar that shows one colour at two temperatures.
    """
    bar = _bar(colours, first, second)
    _must_tell(bar)
    seen, back = np.unique(colours.reshape(-1, 3), axis=0, return_inverse=True)
    far, near = cKDTree(bar).query(seen.astype(np.float64))
    share = near / (SAMPLES - 1)
    celsius = np.where(far <= FAR_COLOUR, first.celsius + share * (second.celsius - first.celsius), np.nan)
    steps = len(np.unique(bar.round(), axis=0))
    made = celsius[np.asarray(back).ravel()].reshape(colours.shape[:2])
    return Scaled(made, abs(second.celsius - first.celsius) / max(1, steps - 1))


def _bar(colours: Colours, first: Mark, second: Mark) -> Floats:
    """Colours along the bar, (SAMPLES, 3), each the median over five pixels across."""
    height, width = colours.shape[:2]
    for one in (first, second):
        if not (0 <= one.px[0] <= width - 1 and 0 <= one.px[1] <= height - 1):
            raise refuse(
                "THM-004",
                f"The mark at {one.px[0]:g},{one.px[1]:g} lies outside the picture of {width} x {height} pixels.",
                "Mark two points on the colour bar, far apart, with the temperatures that stand beside them.",
            )
    a, b = np.array(first.px), np.array(second.px)
    long = float(np.hypot(*(b - a)))
    if long < 12 or abs(first.celsius - second.celsius) < 0.5:
        raise refuse(
            "THM-004",
            f"The two marks are {long:.0f} pixels and {abs(first.celsius - second.celsius):.1f} K apart; a scale needs 12 pixels and 0.5 K at least.",
            "Mark the two ends of the colour bar, with the temperatures that stand beside them.",
        )
    across = np.array([-(b - a)[1], (b - a)[0]]) / long
    along = a + np.linspace(0, 1, SAMPLES)[:, None] * (b - a)
    rows = []
    for k in (-1, 0, 1):
        at = along + k * across
        rows.append(
            np.stack(
                [
                    ndimage.map_coordinates(
                        colours[:, :, c].astype(float), [at[:, 1], at[:, 0]], order=1, mode="nearest"
                    )
                    for c in range(3)
                ],
                axis=1,
            )
        )
    return np.asarray(np.median(np.stack(rows), axis=0), dtype=np.float64)


def _must_tell(bar: Floats) -> None:
    if len(np.unique(bar.round(), axis=0)) < LEAST_COLOURS or float(np.ptp(bar, axis=0).max()) < 40:
        raise refuse(
            "THM-004",
            "There is no temperature scale between the two marks: the colour hardly changes there.",
            "Mark the two ends of the colour bar inside it. A picture without a bar cannot be read: save it as radiometric CSV or TIFF.",
        )
    gap = np.sqrt(((bar[:, None, :] - bar[None, :, :]) ** 2).sum(axis=2))
    i, _ = np.nonzero(
        (gap < SAME_COLOUR) & (np.subtract.outer(np.arange(SAMPLES), np.arange(SAMPLES)) > APART * SAMPLES)
    )
    if len(i) > 0.02 * SAMPLES:
        raise refuse(
            "THM-004",
            "The colour bar shows one colour at two temperatures, so that a pixel cannot be told.",
            "Take the picture with a palette that does not repeat (grey or iron), or save it as radiometric CSV or TIFF.",
        )
