"""Cavities as slots: the centre line and width of what a round cutter made."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

SLOT_SHARE = 0.02
"""An outline whose area is that of a slot of its length and width within this share is that slot."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A slot (or round hole, ends equal). ``exact``: the cavity really has that shape."""

    x_mm: float
    y_mm: float
    x2_mm: float
    y2_mm: float
    width_mm: float
    plated: int
    exact: bool = True


def slot_of(skeleton: Any, radius_mm: float, plated: int) -> Slot | None:
    """The slot of a cavity's shape; None where it has no area.

    >>> s = slot_of(shapely.LineString([(0, 0), (0, 2)]), 0.3, 1)
    >>> s.y2_mm, s.width_mm, s.exact
    (2.0, 0.6, True)
    """
    if skeleton.is_empty:
        return None
    if skeleton.geom_type == "Point" and radius_mm > 0:
        return Slot(skeleton.x, skeleton.y, skeleton.x, skeleton.y, 2 * radius_mm, plated)
    if skeleton.geom_type == "LineString" and radius_mm > 0 and len(skeleton.coords) == 2:
        (x, y), (x2, y2) = skeleton.coords
        return Slot(x, y, x2, y2, 2 * radius_mm, plated)
    whole = shapely.buffer(skeleton, radius_mm) if radius_mm > 0 else skeleton
    frame = shapely.minimum_rotated_rectangle(whole)
    if frame.geom_type != "Polygon":
        return None
    corners = np.array(frame.exterior.coords)[:4]
    sides = [np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[2] - corners[1]))]
    long = int(np.argmax(sides))
    width, length = float(min(sides)), float(max(sides))
    if width <= 0:
        return None
    along = (corners[long + 1] - corners[long]) / length
    middle = corners.mean(axis=0)
    half = along * (length - width) / 2
    ideal = width * (length - width) + math.pi * width * width / 4
    exact = abs(whole.area - ideal) <= SLOT_SHARE * ideal
    a, b = middle - half, middle + half
    return Slot(float(a[0]), float(a[1]), float(b[0]), float(b[1]), width, plated, exact)
