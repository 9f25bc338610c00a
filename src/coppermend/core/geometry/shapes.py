"""Shapes as skeleton + radius: exact for everything a round tool draws.

A shape is the set of points within ``radius_mm`` of its skeleton (point, line string, polygon). A round stroke is a line
string and a radius, a round flash a point and a radius, an obround a segment and a radius, a rectangle a polygon and 0.
Distances between shapes are then exact: d(skeletons) - r1 - r2. Only arcs are flattened (tolerance stated by the reader).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

TOUCH_MM = 1e-4
"""Two shapes nearer than this touch: 0.1 um, far below any imager's step and above the rounding of 4.6 formats."""


@dataclass(frozen=True, slots=True)
class ShapeSet:
    """Many shapes as two columns. ``skeleton``: (n,) object array of shapely geometries, ``radius_mm``: (n,) float64.

    >>> s = ShapeSet.of([shapely.Point(0, 0), shapely.LineString([(2, 0), (4, 0)])], [0.5, 0.25])
    >>> float(s.gap_mm(np.array([0]), np.array([1]))[0])
    1.25
    """

    skeleton: NDArray[Any]
    radius_mm: NDArray[np.float64]

    @staticmethod
    def of(skeleton: Any, radius_mm: Any) -> ShapeSet:
        """A shape set from any sequences of equal length."""
        column = np.empty(len(skeleton), dtype=object)
        column[:] = skeleton
        return ShapeSet(column, np.asarray(radius_mm, dtype=np.float64))

    def __len__(self) -> int:
        return len(self.skeleton)

    def take(self, index: NDArray[Any]) -> ShapeSet:
        """The shapes at ``index`` (integers or a mask), in that order."""
        return ShapeSet(self.skeleton[index], self.radius_mm[index])

    def bounds_mm(self) -> NDArray[np.float64]:
        """(n, 4) array of x0, y0, x1, y1 including the radius; NaN for empty skeletons."""
        box = shapely.bounds(self.skeleton)
        grow = self.radius_mm[:, None] * np.array([-1.0, -1.0, 1.0, 1.0])
        return np.asarray(box + grow, dtype=np.float64)

    def dots(self) -> NDArray[np.bool_]:
        """(n,) which shapes are a point with a radius: a draw of no length, a round flash."""
        return np.asarray((shapely.get_type_id(self.skeleton) == 0) & (self.radius_mm > 0), dtype=np.bool_)

    def gap_mm(self, a: NDArray[Any], b: NDArray[Any], other: ShapeSet | None = None) -> NDArray[np.float64]:
        """Edge-to-edge gap between shapes ``a`` of this set and ``b`` of ``other`` (or this set); negative = overlap depth of the radii."""
        o = self if other is None else other
        apart = shapely.distance(self.skeleton[a], o.skeleton[b])
        return np.asarray(apart - self.radius_mm[a] - o.radius_mm[b], dtype=np.float64)

    def near_pairs(self, within_mm: float = TOUCH_MM, other: ShapeSet | None = None) -> NDArray[np.int64]:
        """(k, 2) index pairs whose gap is at most ``within_mm``; within one set each pair once, i < j."""
        o = self if other is None else other
        grow = np.array([-1.0, -1.0, 1.0, 1.0]) * within_mm
        mine = shapely.box(*(self.bounds_mm() + grow).T)
        theirs = shapely.box(*o.bounds_mm().T)
        i, j = shapely.STRtree(theirs).query(mine)  # boxes only: cheaper than asking each box pair for its distance
        if other is None:
            keep = i < j
            i, j = i[keep], j[keep]
        hit = self.gap_mm(i, j, o) <= within_mm
        return np.column_stack([i[hit], j[hit]]).astype(np.int64)

    def polygons(self, quad_segs: int = 16) -> NDArray[Any]:
        """Each shape as a polygon; round ends get ``4 * quad_segs`` chords (inscribed: up to r(1 - cos(pi/4q)) too small)."""
        return np.asarray(
            np.where(
                self.radius_mm > 0, shapely.buffer(self.skeleton, self.radius_mm, quad_segs=quad_segs), self.skeleton
            )
        )
