"""Whether drill data fits the copper: holes should sit on lands, and inside the board. Used to tell apart ways to read a drill file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from coppermend.core.board.match import Placing, place_points, share_on_target
from coppermend.core.board.records import DrillImage, GerberImage

GOOD_SHARE = 0.5
"""From this share of holes on lands on, a reading is believed: plated holes sit on lands; mounting holes and slots need not."""

FEW_HOLES = 4
"""Fewer holes than this say nothing by themselves; a file that small follows the format of its neighbours."""

OUTSIDE_MM = 5.0
"""Holes may lie this far outside the box of copper and outline (break-off rails, tooling holes)."""


@dataclass(frozen=True, slots=True)
class Lands:
    """Where holes can be expected: flash places of the outer layers (or middles of small regions where nothing is flashed), and the box of copper and outline."""

    places: NDArray[np.float64]
    box: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Fit:
    """``share`` of the round holes on lands, ``inside`` share of all hits inside the box of copper and outline."""

    share: float
    inside: float

    @property
    def score(self) -> float:
        """Lands count most; where no hole sits on a land, lying inside the board decides."""
        return self.share + 0.25 * self.inside


def lands_of(copper: Sequence[GerberImage], outline: Sequence[GerberImage] = ()) -> Lands:
    """Expected places from the outer copper layers' images; the box holds the board's outline, too, where there is one."""
    places: list[NDArray[np.float64]] = [np.empty((0, 2))]
    boxes = []
    for image in copper:
        if len(image.shapes) == 0:
            continue
        box = image.shapes.bounds_mm()
        boxes.append(box)
        flash = (image.kind == "flash") & image.dark
        if image.at_mm is not None and flash.any():
            places.append(image.at_mm[flash])
        else:
            small = image.dark & (np.max(box[:, 2:] - box[:, :2], axis=1) < 8.0)
            places.append(((box[:, :2] + box[:, 2:]) / 2)[small])
    if not boxes:
        return Lands(np.empty((0, 2)), (0.0, 0.0, 0.0, 0.0))
    boxes += [image.shapes.bounds_mm() for image in outline if len(image.shapes)]
    whole = np.concatenate(boxes)
    x0, y0 = np.nanmin(whole[:, :2], axis=0)
    x1, y1 = np.nanmax(whole[:, 2:], axis=0)
    where = np.concatenate(places)
    where = where[np.all(np.isfinite(where), axis=1)]
    return Lands(np.unique(np.round(where, 4), axis=0), (float(x0), float(y0), float(x1), float(y1)))


def one_each(
    x: NDArray[np.float64], y: NDArray[np.float64], x2: NDArray[np.float64], y2: NDArray[np.float64], tool: NDArray[Any]
) -> NDArray[np.int64]:
    """The hole or slot that each hit belongs to, counted from 0: a routed piece that begins where the one before ends, of one tool, is of its slot.

    >>> one = np.array
    >>> one_each(one([0.0, 9, 9, 5]), one([0.0, 0, 4, 5]), one([9.0, 9, 3, 5]), one([0.0, 4, 4, 5]), one([1, 1, 1, 1])).tolist()
    [0, 0, 0, 1]
    """
    if len(x) == 0:
        return np.empty(0, np.int64)
    long = (x != x2) | (y != y2)
    goes_on = long[1:] & long[:-1] & (x[1:] == x2[:-1]) & (y[1:] == y2[:-1]) & (tool[1:] == tool[:-1])
    return np.asarray(np.concatenate([[0], np.cumsum(~goes_on)]), np.int64)


def slots_of(drill: DrillImage) -> NDArray[np.int64]:
    """(n,) the hole or slot that each hit of a drill file belongs to, counted from 0."""
    return one_each(drill.x_mm, drill.y_mm, drill.x2_mm, drill.y2_mm, drill.diameter_mm)


def hits(drill: DrillImage) -> NDArray[np.float64]:
    """(n, 2) middles of the holes and slots; a slot routed in several pieces (an arc) counts once, with the middle of its box."""
    if len(drill.x_mm) == 0:
        return np.empty((0, 2))
    first = np.unique(slots_of(drill), return_index=True)[1]
    ends_x, ends_y = np.stack([drill.x_mm, drill.x2_mm]), np.stack([drill.y_mm, drill.y2_mm])
    low = [np.minimum.reduceat(ends.min(axis=0), first) for ends in (ends_x, ends_y)]
    high = [np.maximum.reduceat(ends.max(axis=0), first) for ends in (ends_x, ends_y)]
    middle: NDArray[np.float64] = (np.column_stack(low) + np.column_stack(high)) / 2
    return middle


def fit(drill: DrillImage, lands: Lands) -> Fit:
    """How well the holes fit the copper; zeros for an empty file."""
    xy = hits(drill)
    if len(xy) == 0:
        return Fit(0.0, 0.0)
    x0, y0, x1, y1 = lands.box
    inside = (xy[:, 0] > x0 - OUTSIDE_MM) & (xy[:, 0] < x1 + OUTSIDE_MM)
    inside &= (xy[:, 1] > y0 - OUTSIDE_MM) & (xy[:, 1] < y1 + OUTSIDE_MM)
    share = share_on_target(xy, cKDTree(lands.places), 0.06) if len(lands.places) else 0.0
    return Fit(share, float(np.mean(inside)))


def spread(drill: DrillImage, lands: Lands) -> float:
    """The holes' extent over the copper's, the larger of both directions: a reading that heaps all holes on one land is no fit."""
    xy = hits(drill)
    x0, y0, x1, y1 = lands.box
    size = np.array([max(x1 - x0, 1e-9), max(y1 - y0, 1e-9)])
    return float(np.max((xy.max(axis=0) - xy.min(axis=0)) / size)) if len(xy) else 0.0


def best_shift(drills: Sequence[DrillImage], lands: Lands) -> Placing:
    """The shift that brings the holes of all files onto lands (no mirroring, no scaling)."""
    return place_points(np.concatenate([hits(one) for one in drills]), lands.places, scales=False)


def shifted(drill: DrillImage, dx_mm: float, dy_mm: float) -> DrillImage:
    """The drill data moved."""
    return replace(
        drill, x_mm=drill.x_mm + dx_mm, y_mm=drill.y_mm + dy_mm, x2_mm=drill.x2_mm + dx_mm, y2_mm=drill.y2_mm + dy_mm
    )
