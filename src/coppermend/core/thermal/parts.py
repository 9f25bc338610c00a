"""The temperature of each part in a picture laid on the board."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from coppermend.core.geometry.lens import Lens
from coppermend.core.thermal.greybody import object_c
from coppermend.core.thermal.lie import inside_picture

Floats = NDArray[np.float64]
LEAST_PX = 4.0
RING_MM = (2.0, 7.0)
"""The board round a part is looked at from so far to so far outside its body, away from other bodies."""
BOARD_EMISSIVITY = 0.90
"""Solder mask (0.9, handbook range of varnishes, from memory)."""
SHRINK = 0.12
"""Share of a body's shorter side left out at its edge: pixels there are half the board's."""


@dataclass(frozen=True, slots=True)
class Body:
    """A part in the picture: ``ref``, ``outline`` (n, 2) mm, ``emissivity`` of its top."""

    ref: str
    outline: Floats
    emissivity: float


@dataclass(frozen=True, slots=True)
class Warm:
    """Temperature of a part's top. ``celsius`` its median, ``hottest_c`` the 95th percentile, ``around_c`` the bare board's round it (None: not seen),
    ``pixels`` how many it covers, ``seen`` share that was read."""

    ref: str
    celsius: float
    hottest_c: float
    around_c: float | None
    pixels: float
    seen: float


def temperatures(apparent: Floats, lens: Lens, bodies: Sequence[Body], reflected_c: float) -> tuple[Warm, ...]:
    """Temperature of every body of which the picture shows at least half and four pixels; others are left out. ``apparent`` (h, w) degC at emissivity 1."""
    found = []
    every = shapely.union_all([one for one in (shapely.Polygon(body.outline) for body in bodies) if one.is_valid])
    occupied = every.buffer(RING_MM[0])
    shapely.prepare(occupied)
    for body in bodies:
        shape = shapely.Polygon(body.outline)
        if not shape.is_valid or shape.area <= 0:
            continue
        x0, y0, x1, y1 = shape.bounds
        small = shape.buffer(-SHRINK * min(x1 - x0, y1 - y0))
        small = shape if small.is_empty else small
        step = max(0.2, min(x1 - x0, y1 - y0) / 12.0)
        gx, gy = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
        at = np.column_stack([gx.ravel(), gy.ravel()])
        at = at[shapely.contains_xy(small, at[:, 0], at[:, 1])]
        if not len(at):
            continue
        pixels = small.area * lens.px_per_mm((float(at[:, 0].mean()), float(at[:, 1].mean()))) ** 2
        values = sampled(apparent, lens.to_px(at))
        good = np.isfinite(values)
        if pixels < LEAST_PX or good.mean() < 0.5:
            continue
        own = object_c(np.percentile(values[good], [50.0, 95.0]), body.emissivity, reflected_c)
        if np.isfinite(own).all():
            around = _around(apparent, lens, shape, occupied, reflected_c)
            found.append(Warm(body.ref, float(own[0]), float(own[1]), around, float(pixels), float(good.mean())))
    return tuple(found)


def _around(
    apparent: Floats, lens: Lens, shape: shapely.Polygon, occupied: shapely.Geometry, reflected_c: float
) -> float | None:
    """Median of the bare board round a body, None when less than a dozen places of it are seen."""
    x0, y0, x1, y1 = shape.bounds
    far = RING_MM[1]
    gx, gy = np.meshgrid(np.arange(x0 - far, x1 + far, 1.0), np.arange(y0 - far, y1 + far, 1.0))
    at = np.column_stack([gx.ravel(), gy.ravel()])
    at = at[~shapely.contains_xy(occupied, at[:, 0], at[:, 1])]
    values = sampled(apparent, lens.to_px(at)) if len(at) else np.empty(0)
    values = values[np.isfinite(values)]
    return float(object_c(float(np.median(values)), BOARD_EMISSIVITY, reflected_c)) if len(values) >= 12 else None


def sampled(picture: Floats, px: Floats) -> Floats:
    """Values of a picture (h, w) at pixels (n, 2), between pixels by straight lines; NaN outside and beside NaN."""
    made = ndimage.map_coordinates(picture, [px[:, 1], px[:, 0]], order=1, mode="nearest")
    return np.asarray(np.where(inside_picture(px, picture.shape), made, np.nan), dtype=np.float64)
