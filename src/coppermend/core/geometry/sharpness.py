"""How blurred a picture is, from its own strongest edges.

An edge smeared by a Gaussian of spread s has, after a further smoothing by g, a steepest slope in proportion to 1/sqrt(g^2 + s^2). Two smoothings
give s from the ratio of the slopes (the re-blur method: S. Zhuo, T. Sim, "Defocus map estimation from a single image", Pattern Recognition 44
(2011) 1852, from memory). It is taken for edges of four directions apart, because a moved camera smears one direction only.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

FINE_PX, COARSE_PX = 1.0, 2.2
STRONGEST = 0.01
"""Share of the pixels that count as the strongest edges of their direction."""
CLEARLY = 0.4
"""A direction counts when its strongest edges have this share of the steepness of the strongest of all."""


def blur_px(grey: NDArray[np.float32]) -> float:
    """Spread (standard deviation, px) of the blur of a grey picture (h, w), of the worst of four edge directions; 0 for a picture without
    edges.

    >>> step = np.zeros((200, 200), np.float32); step[:, 100:] = 1.0; step[40:120, 30:70] = 0.6
    >>> blur_px(step) < 0.6, 2.7 < blur_px(ndimage.gaussian_filter(step, 3.0)) < 3.3
    (True, True)
    """
    return max(_spreads(grey), default=0.0)


def least_blur_px(grey: NDArray[np.float32]) -> float:
    """Spread (standard deviation, px) of the blur of a grey picture (h, w), of the best of four edge directions; 0 for a picture without
    edges. What is blurred by this measure is sharp nowhere and in no direction.

    >>> step = np.zeros((200, 200), np.float32); step[:, 100:] = 1.0; step[40:120, 30:70] = 0.6
    >>> least_blur_px(ndimage.gaussian_filter(step, (0.0, 6.0))) < 0.6  # moved along x: edges along x stay sharp
    True
    >>> 2.7 < least_blur_px(ndimage.gaussian_filter(step, 3.0)) < 3.3
    True
    """
    return min(_spreads(grey), default=0.0)


def _spreads(grey: NDArray[np.float32]) -> list[float]:
    """The spread in each of four directions that has clear edges."""
    slopes = []
    for spread in (FINE_PX, COARSE_PX):
        gy, gx = (ndimage.gaussian_filter(grey, spread, order=order) for order in ((1, 0), (0, 1)))
        slopes.append((gx, gy))
    (fx, fy), (cx, cy) = slopes
    coarse = np.hypot(cx, cy)
    if float(coarse.max(initial=0.0)) < 1e-4:
        return []
    way = np.floor((np.arctan2(cy, cx) % np.pi) / (np.pi / 4) + 0.5).astype(int) % 4
    masks = [m for m in (way == k for k in range(4)) if m.sum() >= 200]
    steep = [float(np.quantile(coarse[m], 1.0 - STRONGEST)) for m in masks]
    found = []
    for mine, limit in zip(masks, steep, strict=True):
        if limit < CLEARLY * max(steep):  # no edges of that direction, only grain
            continue
        strong = mine & (coarse >= limit)
        found.append(_spread(float(np.median(np.hypot(fx[strong], fy[strong]) / coarse[strong]))))
    return found


def _spread(ratio: float) -> float:
    """s from slope ratio q = sqrt((C^2 + s^2)/(F^2 + s^2))."""
    square = ratio * ratio
    if square <= 1.0001:
        return 10.0 * COARSE_PX
    return float(np.sqrt(max(0.0, (COARSE_PX**2 - square * FINE_PX**2) / (square - 1.0))))
