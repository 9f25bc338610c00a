"""Round things in a grey picture: where a circle of a known radius lies, whatever is bright and whatever is dark.

The score of a place is the mean, round the circle, of the picture's slope along the circle's normal, taken without its sign: a bright land on dark
mask and a dark hole in bright tin score alike, a straight edge scores little because its slope changes sign along the circle (a matched filter on the
gradient, in the spirit of D. H. Ballard, Pattern Recognition 13 (1981) 111, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from coppermend.core.geometry.lens import Lens

Floats = NDArray[np.float64]
CLEAR = 2.2
"""A peak counts when it stands this many times above the 90th percentile of its own window."""
SOFT_MM = 0.11
"""Smoothing before slopes are taken, against grain."""
ALONE = 0.85
"""Another peak elsewhere in the window must stay below this share of it."""


@dataclass(frozen=True, slots=True)
class Seen:
    """``offset_mm`` (n, 2) from where each circle was looked for, ``found`` (n,) whether it stands out clearly."""

    offset_mm: Floats
    found: NDArray[np.bool_]


def patches(grey: NDArray[np.float32], lens: Lens, places: Floats, half_mm: float, per_mm: float) -> Floats:
    """Squares of the picture round places (n, 2) in mm, laid along the board's axes: (n, side, side), row along y, column along x, ``per_mm`` px a mm."""
    half = round(half_mm * per_mm)
    ticks = np.arange(-half, half + 1) / per_mm
    dy, dx = np.meshgrid(ticks, ticks, indexing="ij")
    spots = places[:, None, :] + np.column_stack([dx.ravel(), dy.ravel()])[None]
    px = lens.to_px(spots.reshape(-1, 2))
    values = ndimage.map_coordinates(grey, [px[:, 1], px[:, 0]], order=1, mode="nearest")
    return np.asarray(values, dtype=np.float64).reshape(len(places), len(ticks), len(ticks))


def ring_kernels(radius_px: float) -> tuple[Floats, Floats]:
    """Filters for the slopes along x and y: unit normals on a soft ring of that radius, summing to 1 in length."""
    reach = int(np.ceil(radius_px + 2.5))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(np.float64)
    far = np.hypot(x, y)
    weight = np.exp(-0.5 * ((far - radius_px) / 0.7) ** 2)
    weight /= weight.sum()
    return weight * x / np.maximum(far, 1e-9), weight * y / np.maximum(far, 1e-9)


def find_circles(
    grey: NDArray[np.float32], lens: Lens, places: Floats, radii: Floats, search_mm: float, per_mm: float
) -> Seen:
    """Where circles lie near their places.

    ``places`` (n, 2) mm, ``radii`` (n, 2) mm of two concentric circles (land and hole; 0 where there is none), looked for within ``search_mm`` on a grid
    of ``per_mm`` px a mm, the peak taken between the grid's points by a parabola.
    """
    offset, found = np.zeros((len(places), 2)), np.zeros(len(places), dtype=bool)
    rounded = np.round(radii * per_mm * 2.0) / 2.0
    for pair in np.unique(rounded, axis=0):
        mine = np.flatnonzero((rounded == pair).all(axis=1))
        score = _scores(patches(grey, lens, places[mine], search_mm + pair.max() / per_mm + 0.4, per_mm), pair, per_mm)
        offset[mine], found[mine] = _peaks(score, search_mm, per_mm)
    return Seen(offset, found)


def _scores(squares: Floats, radii_px: Floats, per_mm: float) -> Floats:
    soft = max(0.8, SOFT_MM * per_mm)
    smooth = ndimage.gaussian_filter(squares, (0, soft, soft))
    gy, gx = np.gradient(smooth, axis=(1, 2))
    total = np.zeros_like(squares)
    for radius in radii_px[radii_px > 1.2]:
        kx, ky = ring_kernels(float(radius))
        ring = signal.fftconvolve(gx, kx[None, ::-1, ::-1], mode="same", axes=(1, 2))
        ring += signal.fftconvolve(gy, ky[None, ::-1, ::-1], mode="same", axes=(1, 2))
        total += np.abs(ring)
    return total


def _peaks(score: Floats, search_mm: float, per_mm: float) -> tuple[Floats, NDArray[np.bool_]]:
    middle, reach = score.shape[1] // 2, int(np.ceil(search_mm * per_mm))
    window = score[:, middle - reach : middle + reach + 1, middle - reach : middle + reach + 1]
    n, side = len(window), window.shape[1]
    flat = window.reshape(n, -1)
    at = flat.argmax(axis=1)
    row, col = np.divmod(at, side)
    best = flat[np.arange(n), at]
    y, x = np.mgrid[0:side, 0:side]
    away = np.hypot(y[None] - row[:, None, None], x[None] - col[:, None, None]) > max(0.45 * per_mm, 2.0)
    rival = np.where(away, window, 0.0).reshape(n, -1).max(axis=1)
    floor = np.percentile(flat, 60, axis=1)
    inner = (row > 0) & (row < side - 1) & (col > 0) & (col < side - 1)
    found = inner & (best > CLEAR * floor) & (rival < ALONE * best)
    fine = np.zeros((n, 2))
    k = np.flatnonzero(inner)
    for axis, (dr, dc) in enumerate(((0, 1), (1, 0))):
        low, high = window[k, row[k] - dr, col[k] - dc], window[k, row[k] + dr, col[k] + dc]
        bend = low - 2.0 * best[k] + high
        fine[k, axis] = np.clip(0.5 * (low - high) / np.where(np.abs(bend) > 1e-12, bend, -1.0), -0.5, 0.5)
    place = np.column_stack([col - reach, row - reach]) + fine
    return np.asarray(place / per_mm, dtype=np.float64), found
