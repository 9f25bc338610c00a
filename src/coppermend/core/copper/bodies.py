"""Narrow copper that joins places far apart, whatever it was made with: as strokes along its axis and the lands within it."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import shapely

from coppermend.core.copper.spine import Bone, parted, slim_size, spine

Point = tuple[float, float]

APART_WIDTHS = 5.0
"""A body whose joints lie at least this many of its widths apart is a track, else a land (a finger, a pad painted by strokes). Our choice."""
LEAST_LAND_MM = 0.02
ON_POUR_MM = 1e-3
"""Copper this near to a pour lies on it."""
LEAST_SHARE = 0.25
"""An axis that is anywhere narrower than this share of the body's mean width is that of a ragged pour, no track. Our choice."""
CHAIN_SPREAD = 1.5
"""A strip whose width varies by more than this factor, or that branches, stays a pour. Our choice."""


@dataclass(frozen=True, slots=True)
class Reach:
    """What a body joins: ``middles`` of lands and holes on it, skeletons of tracks and pours it touches, ``pins`` without a land of their own.

    ``pours`` what of the body lies on each pour.
    """

    middles: list[Point]
    others: list[Any]
    pins: list[Point]
    pours: list[Any] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Body:
    """The axis of a narrow body, and outlines of the lands within it: its wide parts, and a disc as wide as the strip under a pin."""

    bones: list[Bone] = field(default_factory=list)
    lands: list[Any] = field(default_factory=list)


def stroked(shape: Any, reach: Reach) -> Body | None:
    """A slim polygon (mm) as strokes and lands. None where what it joins lies near together; no bones where it has no axis.

    >>> body = stroked(shapely.box(0, -0.1, 60, 0.1), Reach([(0.0, 0.0), (60.0, 0.0)], [], []))
    >>> [b.path for b in body.bones]
    [((0.1, 0.0), (59.9, 0.0))]
    >>> stroked(shapely.box(0, -0.1, 60, 0.1), Reach([(30.0, 0.0)], [], [])) is None
    True
    """
    width = slim_size(float(shape.area), float(shape.length))[1]
    if _spread(shape, reach, width) < APART_WIDTHS * width:
        return None
    strips, wide = parted(shape)
    bones: list[Bone] = []
    for strip in strips:
        found = spine(strip)
        if found is None:
            return Body()
        bones += found
    if not bones or 2.0 * min(b.radius for b in bones) < LEAST_SHARE * width:
        return Body()
    lands = list(wide)
    for x, y in reach.pins:
        spot = shapely.Point(x, y)
        if not any(shapely.distance(land, spot) <= 0.0 for land in lands):
            lands.append(_under(spot, shape, bones))
    return Body(_led(bones, wide), lands)


def is_chain(bones: list[Bone], spread: float = CHAIN_SPREAD) -> bool:
    """Whether the strokes follow each other without a branch, all about as wide: copper poured as a track is."""
    if not bones or max(b.radius for b in bones) > spread * min(b.radius for b in bones):
        return False
    ends = Counter(place for b in bones for place in (b.path[0], b.path[-1]))
    return max(ends.values()) <= 2


def _spread(shape: Any, reach: Reach, width: float) -> float:
    """The greatest extent of the places where the body is joined, each taken to the nearest place on the body; 0 for a land on a pour."""
    places = [shapely.Point(p) for p in (*reach.middles, *reach.pins)] + reach.others
    if len(places) < 2 or _is_held(places, reach.pours, width):
        return 0.0
    on = [shapely.get_coordinates(shapely.shortest_line(shape, p))[0].tolist() for p in places]
    return max(math.dist(a, b) for k, a in enumerate(on) for b in on[:k])


def _is_held(places: list[Any], pours: list[Any], width: float) -> bool:
    """Whether all that a body joins lies on one pour or beside it: current leaves the body sideways, not along it."""
    if not pours or any(shapely.distance(a, b) >= APART_WIDTHS * width for k, a in enumerate(pours) for b in pours[:k]):
        return False
    return all(min(shapely.distance(place, pour) for pour in pours) <= width / 2 + ON_POUR_MM for place in places)


def _under(spot: Any, shape: Any, bones: list[Bone]) -> Any:
    """A disc under a pin: as wide as the strip there, and so wide that it reaches the axis."""
    line = shapely.MultiLineString([b.path for b in bones])
    radius = max(float(shapely.distance(spot, shape.exterior)), float(shapely.distance(spot, line)) + LEAST_LAND_MM)
    return shapely.buffer(spot, radius, quad_segs=16)


def _led(bones: list[Bone], wide: list[Any]) -> list[Bone]:
    """Axes led on to the wide part that their strip ends at."""
    out = []
    for bone in bones:
        path = list(bone.path)
        for end in (0, -1):
            near = [w for w in wide if shapely.distance(w, shapely.Point(path[end])) <= 3.0 * bone.radius]
            if near:
                at = shapely.get_coordinates(shapely.shortest_line(shapely.Point(path[end]), near[0]))[1].tolist()
                if math.dist(path[end], at) > 1e-6:
                    path.insert(0, (at[0], at[1])) if end == 0 else path.append((at[0], at[1]))
        out.append(Bone(tuple(path), bone.radius))
    return out
