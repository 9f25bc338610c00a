"""Rings that cross themselves so often that repairing them would take minutes: counted first, refused beyond a limit."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.findings import Place, Refusal, refuse

MOST_MEETINGS = 4_000
"""Places where a ring meets itself, per ring; repair takes about a second for each 2,000 (measured). Drawn areas cover nothing twice, or at a few places."""

MOST_BOXES = 4_000_000
"""Pairs of edges whose boxes meet that are looked at, per ring."""

FEW_POINTS = 90
"""A ring of so few points has at most MOST_MEETINGS pairs of edges."""

MOST_IN_ALL = 40_000
"""The same for all rings of one file together."""

MANY_POINTS = 3_000
"""Even the quick repair of an area of more points takes minutes where it is tangled: it is looked at first."""

_CHUNK = 4
_PAIRS = 200_000


def meetings(ring: NDArray[np.float64], most: int = MOST_MEETINGS, touching: bool = True) -> int:
    """How many pairs of edges of a ring, not next to each other, cross (or touch, where ``touching``); at least ``most`` + 1 stands for "more than can be looked at".

    ``ring`` (n, 2), its first point not repeated or repeated at the end, mm.

    >>> meetings(np.array([[0.0, 0.0], [2.0, 2.0], [2.0, 0.0], [0.0, 2.0]]))
    1
    """
    xy = ring[:-1] if len(ring) > 1 and bool((ring[0] == ring[-1]).all()) else ring
    a, b = xy, np.roll(xy, -1, axis=0)
    count = len(xy)
    low, high = np.minimum(a, b), np.maximum(a, b)
    tree = shapely.STRtree(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    boxes = tree.geometries
    found = seen = 0
    begin, chunk = 0, _CHUNK
    while begin < count:
        i, j = tree.query(boxes[begin : begin + chunk])
        seen += len(i)
        if seen > MOST_BOXES:
            return most + 1
        i = i + begin
        apart = j - i
        later = (apart > 1) & (apart < count - 1)
        found += int(_meet(a, b, i[later], j[later], touching).sum())
        if found > most:
            return found
        begin += chunk
        chunk = max(1, min(4096, _PAIRS * begin // seen))
    return found


def _meet(
    a: NDArray[np.float64], b: NDArray[np.float64], i: NDArray[np.int64], j: NDArray[np.int64], touching: bool
) -> NDArray[np.bool_]:
    """Whether edges i and j (whose boxes meet) have a point in common."""

    def turn(p: NDArray[np.float64], q: NDArray[np.float64], r: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.sign((q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0]))

    one = turn(a[i], b[i], a[j]) * turn(a[i], b[i], b[j])
    other = turn(a[j], b[j], a[i]) * turn(a[j], b[j], b[i])
    most = 0.0 if touching else -0.5
    return np.asarray((one <= most) & (other <= most))


class Tangles:
    """Counts where the areas of one file meet themselves, and refuses beyond the limits: MOST_MEETINGS for a ring, MOST_IN_ALL for a file."""

    def __init__(self) -> None:
        self.total = 0

    def look(self, polygon: shapely.Polygon) -> None:
        """The same as ``take`` for a polygon of many points before anything is tried with it; only edges that really cross count, cut-ins may touch."""
        if shapely.get_num_coordinates(polygon) > MANY_POINTS:
            self.take(polygon, False)

    def take(self, polygon: shapely.Polygon, touching: bool = True) -> None:
        """Nothing for a polygon that can be repaired soon. Refusal GEO-001 for one that cannot, with the place where its ring begins."""
        for ring in itertools.chain((polygon.exterior,), polygon.interiors):
            xy = shapely.get_coordinates(ring)
            found = meetings(xy, touching=touching) if len(xy) > FEW_POINTS else len(xy)
            self.total += found
            if found > MOST_MEETINGS or self.total > MOST_IN_ALL:
                raise refuse(
                    "GEO-001",
                    f"A drawn area with a contour of {len(xy):,} points crosses or touches itself too often (more than {MOST_MEETINGS:,} times, "
                    f"or the areas of the file together more than {MOST_IN_ALL:,} times): no board is drawn so, and what is copper is not clear.",
                    "Export the layer again; if it holds a picture or hatching, have that drawn as lines.",
                    Place(x_mm=float(xy[0, 0]), y_mm=float(xy[0, 1])),
                )


def in_file(refusal: Refusal, name: str) -> Refusal:
    """The same refusal with the file it is about, where it names none."""
    place = refusal.finding.place
    return refusal if place.file else Refusal(replace(refusal.finding, place=replace(place, file=name)))
