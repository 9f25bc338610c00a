"""The ground area under the picture and sound circuits: poured copper on the solder side, and its outline for Gerber.

The area is the zone without everything foreign and its surroundings; ground lands hang in it by four spokes each.
"""

from __future__ import annotations

import shapely
from shapely.geometry.base import BaseGeometry

from demo.copper import Board, Pour
from demo.footprints import PITCH_MM
from demo.spacing import copper, land_shape

ZONE_UNITS = (64.6, 69.7, 96.5, 78.2)
NET, SIDE = "GND", "s"
CLEAR_MM, SPOKE_MM, THINNEST_MM = 0.4, 0.6, 0.4


def _spokes(x: float, y: float, reach: float) -> BaseGeometry:
    half = SPOKE_MM / 2
    return shapely.box(x - reach, y - half, x + reach, y + half).union(
        shapely.box(x - half, y - reach, x + half, y + reach)
    )


def pours(board: Board) -> tuple[Pour, ...]:
    """The pieces of the ground area, corners in whole micrometres; pieces that no ground copper reaches are left away."""
    zone = shapely.box(*(v * PITCH_MM for v in ZONE_UNITS))
    foreign = shapely.union_all(
        [c.shape.simplify(0.03).buffer(CLEAR_MM, quad_segs=2) for c in copper(board) if c.side == SIDE and c.net != NET]
    )
    own = [p for p in board.lands if p.net == NET and zone.contains(shapely.Point(p.x_mm, p.y_mm))]
    free = zone.difference(foreign)
    gaps = shapely.union_all([land_shape(p).simplify(0.03).buffer(CLEAR_MM, quad_segs=2) for p in own])
    spokes = shapely.union_all([_spokes(p.x_mm, p.y_mm, p.land.size_mm / 2 + CLEAR_MM + 0.3) for p in own])
    area = free.difference(gaps).union(spokes.intersection(free))
    area = area.buffer(-THINNEST_MM / 2, join_style="mitre").buffer(THINNEST_MM / 2, join_style="mitre").simplify(0.05)
    touched = shapely.union_all([c.shape for c in copper(board) if c.side == SIDE and c.net == NET])
    found = []
    for piece in shapely.get_parts(shapely.set_precision(area, 0.001)):
        if piece.area > 4.0 and piece.intersection(touched).area > 0.05:
            rings = [piece.exterior, *piece.interiors]
            found.append(
                tuple(tuple((round(x * 1000), round(y * 1000)) for x, y in ring.coords[:-1]) for ring in rings)
            )
    return tuple(Pour(NET, SIDE, rings) for rings in sorted(found))


def _hit_left(ring: list[tuple[float, float]], x: float, y: float) -> tuple[int, float]:
    """The edge of the ring that a ray from (x, y) to the left meets first: index of its start, and x of the meeting."""
    best, at = -1, float("-inf")
    for i, (ax, ay) in enumerate(ring):
        bx, by = ring[(i + 1) % len(ring)]
        if (ay > y) == (by > y):
            continue
        cross = ax + (y - ay) * (bx - ax) / (by - ay)
        if at < cross < x:
            best, at = i, cross
    if best < 0:
        raise ValueError(f"a hole at ({x}, {y}) mm lies outside its area")
    return best, at


def one_contour(rings: tuple[tuple[tuple[int, int], ...], ...]) -> list[tuple[float, float]]:
    """An area with holes as one closed contour in mm: every hole joined by a level cut-in, as the Gerber format asks.

    The two edges of a cut-in coincide exactly (Gerber Layer Format Specification, section on cut-ins).
    """
    scaled = [[(x / 1000, y / 1000) for x, y in ring] for ring in rings]
    ring, holes = scaled[0], sorted(scaled[1:], key=min)
    for hole in holes:
        start = hole.index(min(hole))
        turned = hole[start:] + hole[:start]
        x, y = turned[0]
        edge, cross = _hit_left(ring, x, y)
        at = (round(cross, 6), y)
        ring = [*ring[: edge + 1], at, *turned, turned[0], at, *ring[edge + 1 :]]
    return [*ring, ring[0]]
