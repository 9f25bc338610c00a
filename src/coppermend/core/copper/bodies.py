"""Narrow copper that joins places far apart, whatever it was made with: as strokes along its axis and the lands within it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from coppermend.core.copper.spine import (
    CRUMB,
    GRID_MM,
    LEAST_TRACK_MM,
    Bone,
    is_even,
    is_plain,
    is_steady,
    necks,
    parted,
    slim_size,
    spine,
)
from coppermend.core.copper.unite import Union

Point = tuple[float, float]

APART_WIDTHS = 5.0
"""A body whose joints lie at least this many of its widths apart is a track, else a land (a finger, a pad painted by strokes). Our choice."""
LEAST_LAND_MM = 0.02
ON_POUR_MM = 1e-3
"""Copper this near to a pour lies on it."""
LEAST_SHARE = 0.25
"""An axis that is anywhere narrower than this share of the body's mean width is that of a ragged pour, no track. Our choice."""
REACH_MM = 1e-6


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
    """The axis of a narrow body, the outlines of its ``wide`` parts, and ``discs`` as wide as the strip under its bare pins."""

    bones: list[Bone] = field(default_factory=list)
    wide: list[Any] = field(default_factory=list)
    discs: list[Any] = field(default_factory=list)

    def parts(self) -> list[Any]:
        """Its strokes as lines, its wide parts and its discs, in this order."""
        return [*(shapely.LineString(bone.path) for bone in self.bones), *self.wide, *self.discs]

    def contacts(self) -> list[tuple[int, int]]:
        """Pairs of ``parts`` that touch: strokes that share an end, and what lies on a stroke's axis."""
        parts, count = self.parts(), len(self.bones)
        ends = [{bone.path[0], bone.path[-1]} for bone in self.bones]
        out = [(a, b) for a in range(count) for b in range(a + 1, count) if ends[a] & ends[b]]
        for b in range(count, len(parts)):
            near = np.flatnonzero(shapely.distance(parts[b], parts[:count]) <= ON_POUR_MM).tolist()
            out += [(a, b) for a in near]
        return out


def stroked(shape: Any, reach: Reach, apart: float = APART_WIDTHS, whole: bool = False) -> Body | None:
    """A narrow polygon (mm) as strokes and wide parts. None where what it joins lies within ``apart`` widths; no bones where it has no axis.

    ``whole`` only as strokes, without wide parts.

    >>> body = stroked(shapely.box(0, -0.1, 60, 0.1), Reach([(0.0, 0.0), (60.0, 0.0)], [], []))
    >>> [b.path for b in body.bones]
    [((0.0, 0.0), (60.0, 0.0))]
    >>> stroked(shapely.box(0, -0.1, 60, 0.1), Reach([(30.0, 0.0)], [], [])) is None
    True
    """
    width = slim_size(float(shape.area), float(shape.length))[1]
    if _spread(shape, reach, width) < apart * width:
        return None
    even = is_even(shape)
    bones = (spine(shape) or []) if even or is_plain(shape) else []
    steady = is_steady(bones)
    wide: list[Any] = []
    if not steady and not (bones and even):
        if whole or even:
            return Body()
        strips, wide = parted(shape)
        found = [spine(strip, shape.boundary) for strip in strips]
        bones = [bone for own in found for bone in own or []]
        if not all(found):
            return Body()
    least = max(0.0 if steady else LEAST_SHARE * width, LEAST_TRACK_MM)
    if not bones or 2.0 * min(b.radius for b in bones) < least:
        return Body()
    return _whole(Body(_led(bones, wide), wide, _discs(shape, reach, bones, wide))) or Body()


def necked(shape: Any, reach: Callable[[], Reach], is_track: Callable[[float, float], bool]) -> Body | None:
    """A pour (mm) as the necks that part it, and its wide parts; None where it has none.

    A neck counts where it lies between two wide parts, or leads from one to something that is joined APART_WIDTHS of its widths away.
    ``reach`` what the pour joins, asked when it has strips; ``is_track`` whether a strip of that length and width (mm) is a track.

    >>> pour = shapely.union_all([shapely.box(0, 0, 20, 20), shapely.box(40, 0, 60, 20), shapely.box(20, 9.85, 40, 10.15)])
    >>> body = necked(pour, lambda: Reach([(5.0, 5.0), (55.0, 5.0)], [], []), lambda length, width: True)
    >>> len(body.bones), len(body.wide)
    (1, 2)
    """
    strips = [s for s in necks(shape) if is_track(*slim_size(float(s.area), float(s.length)))]
    if not strips:
        return None
    joins = reach()
    places = [shapely.Point(p) for p in (*joins.middles, *joins.pins)] + joins.others
    strips, wide = _parting(shape, strips, places)
    axes = {id(strip): spine(strip, shape.boundary) or [] for strip in strips}
    sound = [s for s in strips if is_steady(axes[id(s)])]
    if len(sound) < len(strips):
        sound, wide = _parting(shape, sound, places)
    bones = [bone for strip in sound for bone in axes[id(strip)]]
    if not bones:
        return None
    return _whole(Body(_led(bones, wide), wide, _discs(shape, joins, bones, wide)))


def _parting(shape: Any, strips: list[Any], places: list[Any]) -> tuple[list[Any], list[Any]]:
    """The strips that part the shape, and the wide parts they leave."""
    while strips:
        left = shapely.get_parts(shapely.difference(shape, shapely.union_all(strips), grid_size=GRID_MM))
        narrow = min(slim_size(float(s.area), float(s.length))[1] for s in strips)
        wide = [p for p in left if p.geom_type == "Polygon" and p.area > CRUMB * narrow * narrow]
        kept = [s for s in strips if _parts(s, wide, places)]
        if len(kept) == len(strips):
            return strips, wide
        strips = kept
    return [], [shape]


def _whole(body: Body) -> Body | None:
    """The body, None where its strokes and parts do not hang together: it is one piece of copper."""
    count = len(body.parts())
    group = Union(count)
    for a, b in body.contacts():
        group.join(a, b)
    return body if len({group.find(k) for k in range(count)}) == 1 else None


def _parts(strip: Any, wide: list[Any], places: list[Any]) -> bool:
    """Whether a strip lies between two wide parts, or leads from one to a place that is joined far from it."""
    ends = [w for w in wide if shapely.distance(w, strip) <= ON_POUR_MM]
    if len(ends) != 1:
        return len(ends) > 1
    far = APART_WIDTHS * slim_size(float(strip.area), float(strip.length))[1]
    return any(shapely.distance(strip, p) <= ON_POUR_MM and shapely.distance(ends[0], p) >= far for p in places)


def _discs(shape: Any, reach: Reach, bones: list[Bone], wide: list[Any]) -> list[Any]:
    """Lands under the pins that have none of their own and stand on no wide part."""
    discs: list[Any] = []
    for x, y in reach.pins:
        spot = shapely.Point(x, y)
        if not any(shapely.distance(land, spot) <= 0.0 for land in (*wide, *discs)):
            discs.append(_under(spot, shape, bones))
    return discs


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
    radius = max(float(shapely.distance(spot, shape.boundary)), float(shapely.distance(spot, line)) + LEAST_LAND_MM)
    return shapely.buffer(spot, radius, quad_segs=16)


def _led(bones: list[Bone], wide: list[Any]) -> list[Bone]:
    """Axes led on to the wide part that their strip ends at."""
    ends = Counter(place for bone in bones for place in (bone.path[0], bone.path[-1]))
    out = []
    for bone in bones:
        path = list(bone.path)
        for end in (0, -1):
            if ends[path[end]] > 1:
                continue
            spot = shapely.Point(path[end])
            near = [w for w in wide if shapely.distance(w, spot) <= 3.0 * bone.radius]
            if near:
                x, y = shapely.get_coordinates(shapely.shortest_line(spot, near[0]))[1].tolist()
                if math.dist(path[end], (x, y)) > REACH_MM:
                    path.insert(0, (x, y)) if end == 0 else path.append((x, y))
        out.append(Bone(tuple(path), bone.radius))
    return out
