"""A flat thing seen by a camera with a lens: a homography after two terms of radial distortion.

A pixel p at ``centre + reach * u`` is first moved to ``centre + reach * u (1 + k |u|^2 + k2 |u|^4)``, then mapped by the homography. ``k`` above 0 undoes a
barrel (two terms of the radial series of D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37 (1971) 855, from memory, written for
the inverse direction so that pixel to mm needs no iteration).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from coppermend.core.geometry.homography import Points, homography, mapped

Floats = NDArray[np.float64]
BEND_SPREAD = 0.05
"""Spread of k and k2 that is believed before anything is measured: at the picture's corner 5 % of the way from the middle."""
ROUGH_MM = 0.12
"""Beyond this miss a match counts less and less (soft L1)."""


@dataclass(frozen=True, slots=True)
class Lens:
    """``matrix`` (3, 3) from straightened pixels to mm, ``centre_px`` and ``reach_px`` of the picture (its middle, half its diagonal), ``k`` and ``k2`` the bend."""

    matrix: Floats
    centre_px: tuple[float, float]
    reach_px: float
    k: float = 0.0
    k2: float = 0.0

    def straight(self, pixels: Points | Floats) -> Floats:
        """Pixels (n, 2) with the lens's bend taken out."""
        u = (np.asarray(pixels, dtype=np.float64).reshape(-1, 2) - self.centre_px) / self.reach_px
        square = (u**2).sum(axis=1, keepdims=True)
        bent = u * (1.0 + self.k * square + self.k2 * square**2)
        return np.asarray(self.centre_px + self.reach_px * bent, dtype=np.float64)

    def to_mm(self, pixels: Points | Floats) -> Floats:
        """Places in mm (n, 2) of pixels (n, 2).

        >>> lens = Lens(np.diag([0.1, -0.1, 1.0]), (50.0, 50.0), 70.0)
        >>> lens.to_mm([(10, 20)]).round(6).tolist()
        [[1.0, -2.0]]
        """
        return mapped(self.matrix, self.straight(pixels))

    def to_px(self, places: Points | Floats) -> Floats:
        """Pixels (n, 2) of places in mm: the inverse of ``to_mm`` (Newton on the radius, to rounding)."""
        flat = mapped(np.asarray(np.linalg.inv(self.matrix), dtype=np.float64), places)
        u = (flat - self.centre_px) / self.reach_px
        far = np.hypot(u[:, 0], u[:, 1])
        r = np.clip(far, 0.0, 4.0)  # beyond four times the picture nothing is looked for
        for _ in range(8):
            slope = 1.0 + 3.0 * self.k * r**2 + 5.0 * self.k2 * r**4
            r = np.clip(r - (r * (1.0 + self.k * r**2 + self.k2 * r**4) - far) / np.maximum(slope, 0.1), 0.0, 4.0)
        share = np.where(far > 1e-12, r / np.maximum(far, 1e-12), 1.0)
        return np.asarray(self.centre_px + self.reach_px * u * share[:, None], dtype=np.float64)

    def px_per_mm(self, place: tuple[float, float]) -> float:
        """Pixels per mm round a place (square root of the area's factor)."""
        return float(np.sqrt(abs(np.linalg.det(self.jacobian(place)))))

    def jacobian(self, place: tuple[float, float]) -> Floats:
        """(2, 2) change of pixel with mm at a place; its determinant is above 0 where the picture, y down, shows the board mirrored."""
        step = 0.05
        spots = np.array([place, (place[0] + step, place[1]), (place[0], place[1] + step)])
        at = self.to_px(spots)
        return np.asarray(np.column_stack([at[1] - at[0], at[2] - at[0]]) / step, dtype=np.float64)


def first_lens(pixels: Points, places: Points, size: tuple[int, int]) -> Lens:
    """The lens without bend through marks: pixels (n, 2) and mm (n, 2), ``size`` (width, height) of the picture. Refusals as ``homography``."""
    found = homography(pixels, places)
    centre = ((size[0] - 1) / 2.0, (size[1] - 1) / 2.0)
    return Lens(found.matrix, centre, float(np.hypot(*size)) / 2.0)


def fit_lens(first: Lens, pixels: Points | Floats, places: Points | Floats, weights: Floats | None = None) -> Lens:
    """The lens that maps pixels to places best: least squares in mm, misses beyond ROUGH_MM counting less, the bend held near 0 by BEND_SPREAD.

    ``weights`` (n,) of the pairs, 1 where left out. Shapes (n, 2) both; n >= 4.
    """
    px, mm = np.asarray(pixels, dtype=np.float64), np.asarray(places, dtype=np.float64)
    w = np.ones(len(px)) if weights is None else np.asarray(weights, dtype=np.float64)
    unit = np.array([[first.reach_px, 0, first.centre_px[0]], [0, first.reach_px, first.centre_px[1]], [0, 0, 1.0]])
    start = first.matrix @ unit
    start = start / start[2, 2]
    u = (px - first.centre_px) / first.reach_px
    square = (u**2).sum(axis=1, keepdims=True)
    scale = np.maximum(np.abs(start.ravel()[:8]), 1e-3)

    def miss(x: Floats) -> Floats:
        matrix = np.append(x[:8] * scale, 1.0).reshape(3, 3)
        off = (mapped(matrix, u * (1.0 + x[8] * square + x[9] * square**2)) - mm) * w[:, None]
        return np.append(off.ravel(), x[8:] / BEND_SPREAD * ROUGH_MM)

    x0 = np.concatenate([start.ravel()[:8] / scale, [first.k, first.k2]])
    found = least_squares(miss, x0, loss="soft_l1", f_scale=ROUGH_MM, x_scale="jac", max_nfev=60)
    matrix = np.append(found.x[:8] * scale, 1.0).reshape(3, 3) @ np.linalg.inv(unit)
    return Lens(matrix / matrix[2, 2], first.centre_px, first.reach_px, float(found.x[8]), float(found.x[9]))
