"""A thermal picture laid on the board: from tapped places, refined by the edges of warm and cold bodies.

Lands cannot be seen at one pixel a mm. Bodies can: inside a part the temperature changes little, across its edge much. The view is moved,
turned and stretched a little so that the differences across the bodies' edges grow largest (a small affine step after the taps' homography);
it stays within what the taps allow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.optimize import minimize

from coppermend.core.findings import refuse
from coppermend.core.geometry.lens import Lens, first_lens

Floats = NDArray[np.float64]
Points = Sequence[tuple[float, float]]
LEAST_PX_PER_MM = 0.35
"""A body of a 300 mil chip (6 mm) is then two pixels wide: the least that can be told from its surroundings."""
TAP_SPREAD_PX = 1.5
"""How far a tap on a thermal picture is usually off (an assumption: such pictures are soft)."""
EDGE_MM = 1.3
LEAST_GAIN = 1.03
TURN = 0.02
WORST_TAP_MM = 8.0
"""With five taps or more: one that misses by more is at another place."""


@dataclass(frozen=True, slots=True)
class Lying:
    """How the picture lies. ``moved_mm`` how far the refinement went in the middle (0: it did not help), ``tap_mm`` root mean square miss of the taps,
    ``px_per_mm`` in the middle, ``gain`` contrast across bodies' edges after over before."""

    lens: Lens
    moved_mm: float
    tap_mm: float
    px_per_mm: float
    gain: float


def lay(celsius: Floats, taps_px: Points, taps_mm: Points, bodies: Sequence[Floats], side: str) -> Lying:
    """Lay a picture (h, w) in degC on a side. Refusals MAP-001, MAP-002 (taps fix no view), THM-005 (mirrored, too coarse, a tap elsewhere)."""
    height, width = celsius.shape
    first = first_lens(taps_px, taps_mm, (width, height))
    middle = np.asarray(taps_mm, dtype=np.float64).mean(axis=0)
    per_mm = first.px_per_mm((float(middle[0]), float(middle[1])))
    if per_mm < LEAST_PX_PER_MM:
        raise refuse(
            "THM-005",
            f"The picture is too coarse: {per_mm:.2f} pixels a mm, at least {LEAST_PX_PER_MM} are needed to see a chip.",
            "Take it from nearer, or take several pictures, each of a part of the board.",
        )
    mirrored = float(np.linalg.det(first.jacobian((float(middle[0]), float(middle[1]))))) > 0
    if mirrored != (side == "s"):
        raise refuse(
            "THM-005",
            "The tapped places lie the wrong way round for this side: the picture is mirrored, shows the other side, or two taps are swapped.",
            "Say --side s for the solder side, or see which place each tap belongs to.",
        )
    off = np.hypot(*(first.to_mm(taps_px) - np.asarray(taps_mm, dtype=np.float64)).T)
    if len(taps_px) > 4 and float(off.max()) > max(WORST_TAP_MM, 4.0 * TAP_SPREAD_PX / per_mm):
        raise refuse(
            "THM-005",
            f"The taps do not agree: tap {int(off.argmax()) + 1} misses by {off.max():.1f} mm.",
            "See which place each tap belongs to, and tap that one again.",
        )
    best, gain = _refined(celsius, first, bodies, middle, per_mm)
    moved = float(np.hypot(*(best.to_mm(first.to_px([middle])) - middle)[0]))
    miss = np.hypot(*(best.to_mm(taps_px) - np.asarray(taps_mm, dtype=np.float64)).T)
    return Lying(best, moved, float(np.sqrt((miss**2).mean())), per_mm, gain)


def _refined(
    celsius: Floats, first: Lens, bodies: Sequence[Floats], middle: Floats, per_mm: float
) -> tuple[Lens, float]:
    inner, outer = _edges(bodies, first, celsius.shape, max(EDGE_MM, 0.9 / per_mm))
    if len(inner) < 40:
        return first, 1.0
    smooth = ndimage.gaussian_filter(np.where(np.isfinite(celsius), celsius, np.nanmedian(celsius)), 0.6)
    span = float(np.ptp(middle - np.vstack([inner, outer]), axis=0).max()) / 2.0
    spread = TAP_SPREAD_PX / per_mm

    def contrast(step: Floats) -> float:
        lens = _stepped(first, step, middle, span, spread)
        inside, outside = (_values(smooth, lens, at) for at in (inner, outer))
        return float(np.mean(np.sqrt((inside - outside) ** 2 + 0.01)))

    start = np.zeros(6)
    before = contrast(start)

    def cost(step: Floats) -> float:
        return -contrast(step) / max(before, 1e-9) + 0.02 * float((step**2).sum())

    found = minimize(cost, start, method="Powell", options={"maxiter": 6, "xtol": 0.02, "ftol": 1e-3})
    gain = contrast(found.x) / max(before, 1e-9)
    if gain < LEAST_GAIN:
        return first, 1.0
    return _stepped(first, found.x, middle, span, spread), gain


def _stepped(first: Lens, step: Floats, middle: Floats, span: float, spread: float) -> Lens:
    """The view after a small affine step in mm: ``step`` shift x, y, then four shares at the bodies' far ends, all in units of the taps' spread."""
    a = np.eye(3)
    k = spread / span
    a[:2, :2] += k * np.array([[step[2], step[3]], [step[4], step[5]]])
    a[:2, 2] = spread * step[:2] + middle - a[:2, :2] @ middle
    matrix = a @ first.matrix
    return Lens(matrix / matrix[2, 2], first.centre_px, first.reach_px, first.k, first.k2)


def _edges(bodies: Sequence[Floats], lens: Lens, shape: tuple[int, ...], gap: float) -> tuple[Floats, Floats]:
    """Places just inside and just outside the edges of bodies that the picture shows, in pairs, (n, 2) each."""
    inner, outer = [], []
    for body in bodies:
        ring = shapely.Polygon(body)
        if not ring.is_valid or ring.area < 20.0:
            continue
        edge = shapely.orient_polygons(ring).exterior if hasattr(shapely, "orient_polygons") else ring.exterior
        for at in np.arange(0.5, edge.length, 2.0):
            p, q = (edge.interpolate(float(at + d)) for d in (-0.2, 0.2))
            along = np.array([q.x - p.x, q.y - p.y])
            size = float(np.hypot(*along))
            if size < 0.3:  # a corner
                continue
            normal, spot = np.array([-along[1], along[0]]) / size, np.array([(p.x + q.x) / 2, (p.y + q.y) / 2])
            if not ring.contains(shapely.Point(spot + 0.05 * normal)):
                normal = -normal
            inner.append(spot + gap * normal)
            outer.append(spot - gap * normal)
    if not inner:
        return np.empty((0, 2)), np.empty((0, 2))
    a, b = np.array(inner), np.array(outer)
    seen = inside_picture(lens.to_px(a), shape) & inside_picture(lens.to_px(b), shape)
    return a[seen], b[seen]


def inside_picture(px: Floats, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Which pixels (n, 2) lie on a picture of ``shape`` (h, w)."""
    return np.asarray((px[:, 0] >= 0) & (px[:, 1] >= 0) & (px[:, 0] <= shape[1] - 1) & (px[:, 1] <= shape[0] - 1))


def _values(picture: Floats, lens: Lens, places: Floats) -> Floats:
    px = lens.to_px(places)
    return np.asarray(ndimage.map_coordinates(picture, [px[:, 1], px[:, 0]], order=1, mode="nearest"), dtype=np.float64)
