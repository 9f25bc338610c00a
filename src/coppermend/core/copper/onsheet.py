"""Lands on pours: which are one metal with the pour, and the spokes of the others."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.copper.blobs import LayerParts, Point

SOLID_SHARE = 0.6
"""A land with at least this share of its rim inside a pour is one metal with it; less are spokes. Our choice."""
SPOKE_GAPS_MM = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0)
RIM_POINTS = 48
CLIP_MM = 3.0
"""A pour is looked at this far round a land."""
BEHIND_MM = 0.02
BENT_SHARE, BENT_WIDER = 0.9, 1.2
"""A stretch of rim whose ends are nearer than this share of its length stands into the pour: it carries as much as a straight edge this many times as
long (4 / pi for half a disc, about 4 / 3.5 for a finger), about the middle between its ends."""


@dataclass(slots=True)
class Spoke:
    """A contact between a land and a sheet: its middle on the land's rim, the place where it opens into the pour, width and length in mm.

    The pour carries the current from ``inner`` on: no copper counts both in the spoke and in the sheet. ``crowding`` squares that the
    pour has more than round a disc of a quarter of the width (see ``crowding``).
    """

    land: int
    sheet: int
    place: Point
    inner: Point
    width: float
    length: float
    crowding: float = 0.0


def crowding(width: float, pour_mm: float) -> float:
    """Squares by which a straight edge of ``width`` mm, in the middle of the end of a strip of ``pour_mm``, has more than a disc of width / 4.

    The edge's own are ln(1 / sin(pi width / (2 pour))) / pi (the sine maps the end of a strip on a half plane), the disc's ln(pour / (2 pi r)) / pi
    (images of a line source). None in a wide pour, 0.1437 where the edge is as wide as the pour.

    >>> round(crowding(1.0, 1000.0), 4), round(crowding(10.0, 10.0), 4)
    (0.0, 0.1437)
    """
    part = math.pi * min(width / pour_mm, 1.0) / 2.0
    return math.log(part / math.sin(part)) / math.pi if part > 1e-6 else 0.0


def lands_on_sheets(parts: LayerParts) -> tuple[list[tuple[int, int]], list[Spoke]]:
    """Which lands a sheet holds solidly, and the spokes of the others."""
    pairs = parts.blob_pairs
    if not pairs:
        return [], []
    metal = np.array([_metal(parts, land) for land, _ in pairs], dtype=object)
    rim = shapely.boundary(shapely.buffer(metal, 1e-3))
    share = _rim_share(parts, rim)
    solid = [pair for pair, held in zip(pairs, share.tolist(), strict=True) if held >= SOLID_SHARE]
    spokes: list[Spoke] = []
    for k in np.flatnonzero(share < SOLID_SHARE).tolist():
        land, sheet = pairs[k]
        x0, y0, x1, y1 = metal[k].bounds
        box = (x0 - CLIP_MM, y0 - CLIP_MM, x1 + CLIP_MM, y1 + CLIP_MM)
        near = [(g, r) for g, r in parts.blobs[sheet].pieces if shapely.distance(g, metal[k]) <= r + CLIP_MM]
        pour = shapely.union_all([_clipped(g, r, box) for g, r in near])
        spokes += _spokes(land, sheet, metal[k], pour, rim[k])
    return solid, spokes


def _metal(parts: LayerParts, land: int) -> Any:
    """The land's copper as a polygon; the rims of its holes only where there is no other."""
    blob = parts.blobs[land]
    pieces = blob.pieces[: len(blob.piece_ids)] or blob.pieces
    shapes = [_polygon(g, r) for g, r in pieces]
    return shapes[0] if len(shapes) == 1 else shapely.union_all(shapes)


def _rim_share(parts: LayerParts, rim: NDArray[Any]) -> NDArray[np.float64]:
    """(pairs,) share of points along each land's rim that lie in its sheet."""
    spots = shapely.line_interpolate_point(rim[:, None], np.arange(RIM_POINTS)[None, :] / RIM_POINTS, normalized=True)
    xy = np.stack([shapely.get_x(spots), shapely.get_y(spots)], axis=-1)
    share = np.zeros(len(rim))
    by_sheet: dict[int, list[int]] = {}
    for k, (_, sheet) in enumerate(parts.blob_pairs):
        by_sheet.setdefault(sheet, []).append(k)
    for sheet, ks in by_sheet.items():
        at = xy[ks].reshape(-1, 2)
        hit = np.zeros(len(at), dtype=bool)
        pieces = parts.blobs[sheet].pieces
        if len(pieces) > 8:
            spots_here = shapely.points(at)
            boxes = shapely.buffer(
                shapely.box(*shapely.bounds(np.array([g for g, _ in pieces], dtype=object)).T),
                max(r for _, r in pieces),
            )
            i, j = shapely.STRtree(boxes).query(spots_here)
            skeleton = np.array([g for g, _ in pieces], dtype=object)
            radius = np.array([r for _, r in pieces])
            hit[i[shapely.distance(skeleton[j], spots_here[i]) <= radius[j]]] = True
        else:
            for g, r in pieces:
                shapely.prepare(g)
                hit |= (
                    shapely.contains_xy(g, at[:, 0], at[:, 1])
                    if r == 0
                    else shapely.distance(g, shapely.points(at)) <= r
                )
        share[ks] = hit.reshape(len(ks), RIM_POINTS).mean(axis=1)
    return share


def _clipped(skeleton: Any, radius: float, box: tuple[float, float, float, float]) -> Any:
    if radius > 0:
        return _polygon(skeleton, radius)
    part = shapely.clip_by_rect(skeleton, *box)
    return part if part.is_valid else shapely.make_valid(part)


def _spokes(land: int, sheet: int, metal: Any, pour: Any, rim: Any) -> list[Spoke]:
    hit = shapely.line_merge(shapely.intersection(rim, pour))
    parts = [p for p in shapely.get_parts(hit) if not p.is_empty]
    if not parts:
        x, y = shapely.get_coordinates(shapely.shortest_line(metal, pour))[0].tolist()
        return [Spoke(land, sheet, (x, y), (x, y), 0.1, SPOKE_GAPS_MM[0])]
    gap = _gap(metal, pour)
    out = []
    for part in parts:
        (x0, y0), (x1, y1) = shapely.get_coordinates(part)[[0, -1]].tolist()
        along, chord = max(float(part.length), 0.01), math.dist((x0, y0), (x1, y1))
        place, inner = _led_out(part, gap, metal, pour)
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        if 0.0 < chord < BENT_SHARE * along and shapely.intersects(pour, shapely.Point(middle)):
            along, inner = BENT_WIDER * along, middle
        across = _across(inner, ((x1 - x0) / chord, (y1 - y0) / chord), pour) if chord > 0 else math.inf
        out.append(Spoke(land, sheet, place, inner, along, gap, crowding(along, across)))
    return out


def _across(spot: Point, way: Point, pour: Any) -> float:
    """How wide the pour is at a place along a way (mm); what is cut off CLIP_MM beside the land counts as going on."""
    (x, y), (ux, uy) = spot, way
    x0, y0, x1, y1 = pour.bounds
    far = math.hypot(x1 - x0, y1 - y0)
    line = shapely.LineString([(x - ux * far, y - uy * far), (x + ux * far, y + uy * far)])
    held = [
        p.length
        for p in shapely.get_parts(shapely.intersection(line, pour))
        if shapely.distance(p, shapely.Point(spot)) <= BEHIND_MM
    ]
    return max((width for width in held if width > 0), default=math.inf)


def _led_out(part: Any, gap: float, metal: Any, pour: Any) -> tuple[Point, Point]:
    """The middle of a stretch of a land's rim, and the place ``gap`` mm further out, square to the rim; the middle again where no pour is there."""
    if part.length <= 0:
        x, y = part.coords[0]
        return (x, y), (x, y)
    steps = shapely.line_interpolate_point(part, [0.45, 0.5, 0.55], normalized=True)
    (x0, y0), (x, y), (x1, y1) = shapely.get_coordinates(steps).tolist()
    length = math.dist((x0, y0), (x1, y1))
    if length > 0:
        dx, dy = (y0 - y1) / length * gap, (x1 - x0) / length * gap
        for spot in (shapely.Point(x + dx, y + dy), shapely.Point(x - dx, y - dy)):
            if shapely.distance(metal, spot) > gap / 2 and shapely.intersects(pour, spot):
                return (x, y), (float(spot.x), float(spot.y))
    return (x, y), (x, y)


def _gap(metal: Any, pour: Any) -> float:
    """How far out from a land the pour closes round it, in mm; the least of SPOKE_GAPS_MM where it never does (copper at the land's edge)."""
    last, before = None, 0.0
    for gap in SPOKE_GAPS_MM:
        ring = shapely.buffer(metal, gap).boundary
        if shapely.intersection(ring, pour).length >= SOLID_SHARE * ring.length:
            if last is None:
                return gap
            spots = shapely.line_interpolate_point(last, np.arange(RIM_POINTS) / RIM_POINTS, normalized=True)
            return min(gap, before + float(shapely.distance(spots, pour).max()))
        last, before = ring, gap
    return SPOKE_GAPS_MM[0]


def _polygon(skeleton: Any, radius: float) -> Any:
    return shapely.buffer(skeleton, radius, quad_segs=16) if radius > 0 else skeleton
