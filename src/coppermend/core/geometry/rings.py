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
    return enclosed_exactly(lines) or enclosed_nearly(lines, gap_mm)


def enclosed_exactly(lines: NDArray[Any]) -> list[Any]:
    """The areas that centre lines enclose without any gap, largest first."""
    if len(lines) == 0:
        return []
    centre = shapely.union_all(lines)
    return _areas(shapely.get_parts(shapely.polygonize(shapely.get_parts(centre))))


def enclosed_nearly(lines: NDArray[Any], gap_mm: float) -> list[Any]:
    """The areas that centre lines enclose when gaps up to ``gap_mm`` are closed, largest first."""
    if len(lines) == 0:
        return []
    band = shapely.buffer(shapely.union_all(lines), gap_mm / 2, quad_segs=4)
    holes = [shapely.Polygon(ring) for one in shapely.get_parts(band) for ring in one.interiors]
    return _areas(shapely.buffer(np.array(holes, dtype=object), gap_mm / 2, join_style="mitre"))


def _areas(found: NDArray[Any]) -> list[Any]:
    area = np.where(shapely.get_type_id(found) == 3, shapely.area(found), 0.0)
    order = np.argsort(-area, kind="stable")
    return list(found[order[area[order] > 0]])


def hull_of(lines: NDArray[Any], reach_mm: float) -> tuple[Any, float]:
    """The convex hull of centre lines, and the share of its edge that runs within ``reach_mm`` of them (0 where the hull is no area)."""
    hull = shapely.convex_hull(shapely.geometrycollections(lines))
    if hull.geom_type != "Polygon":
        return hull, 0.0
    drawn = shapely.intersection(hull.exterior, shapely.buffer(shapely.union_all(lines), reach_mm, quad_segs=2))
    return hull, float(drawn.length / hull.exterior.length)


def ring_points(polygon: Any) -> NDArray[np.float64]:
    """Outer ring of a polygon as (m, 2), first point repeated, needless points left out."""
    ring = shapely.simplify(shapely.polygons(shapely.get_exterior_ring(polygon)), SIMPLIFY_MM)
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
