"""Closed rings from strokes: what the centre lines of a drawing enclose, small gaps closed."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

SIMPLIFY_MM = 0.005
"""Points of a ring nearer to the straight line than this are left out."""


def enclosed(lines: NDArray[Any], gap_mm: float) -> list[Any]:
    """The areas that centre lines enclose, as polygons, largest first; gaps up to ``gap_mm`` are closed when nothing is enclosed without.

    >>> corner = shapely.linestrings([[(0, 0), (4, 0), (4, 3)], [(4, 3), (0, 3), (0, 0.1)]])
    >>> [round(float(one.area), 1) for one in enclosed(corner, 0.2)]
    [12.0]
    """
    if len(lines) == 0:
        return []
    centre = shapely.union_all(lines)
    rings = shapely.get_parts(shapely.polygonize(shapely.get_parts(centre)))
    if len(rings) == 0:
        band = shapely.buffer(centre, gap_mm / 2, quad_segs=4)
        holes = [shapely.Polygon(ring) for one in shapely.get_parts(band) for ring in one.interiors]
        rings = shapely.buffer(np.array(holes, dtype=object), gap_mm / 2, join_style="mitre")
    found = [one for one in rings if one.geom_type == "Polygon" and one.area > 0]
    return sorted(found, key=lambda one: -float(one.area))


def ring_points(polygon: Any) -> NDArray[np.float64]:
    """Outer ring of a polygon as (m, 2), first point repeated, needless points left out."""
    ring = shapely.simplify(shapely.Polygon(polygon.exterior), SIMPLIFY_MM)
    return np.asarray(shapely.get_coordinates(ring), dtype=np.float64)


def board_rings(lines: NDArray[Any], gap_mm: float) -> tuple[NDArray[np.float64], ...]:
    """Rings of a board's edge: outer rings first (largest first), then cut-outs inside them. Empty when nothing is enclosed."""
    areas = enclosed(lines, gap_mm)
    if not areas:
        return ()
    outer = [shapely.Polygon(one.exterior) for one in shapely.get_parts(shapely.union_all(areas))]
    outer.sort(key=lambda one: -float(one.area))
    inner = [one for one in areas if not any(one.exterior.equals(big.exterior) for big in outer)]
    holes = [hole for hole in inner if any(big.contains_properly(hole.representative_point()) for big in outer)]
    cut_outs = [hole for hole in holes if hole.exterior.distance(outer[0].exterior) > 0]
    return tuple(ring_points(one) for one in [*outer, *cut_outs])
