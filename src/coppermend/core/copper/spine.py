"""The centre lines of narrow copper that was not drawn as a stroke: a region, a long flash, a strip painted across.

The chordal axis (L. Prasad, "Morphological analysis of shapes", CNLS Newsletter 139, 1997, named from memory): the outline is triangulated,
the axis goes through the middles of the triangles' inner edges. A triangle with one inner edge is an end, with two a piece of a track, with
three a branching; round an opening the axis is a loop. Short spurs are corners, not branches, and go.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.spatial import Delaunay

Point = tuple[float, float]

SLIM = 5.0
"""Copper at least this many times as long as wide can be a track. Our choice."""
FULL = 0.93
"""Copper that fills at least this share of its smallest box and is not nicked is a straight strip. Our choice."""
STEP_WIDTHS = 0.25
COARSE_WIDTHS = 0.6
MOST_POINTS = 4000
"""The outline is cut in steps of a quarter of the width, in longer ones where that would be more points than this; beyond 0.6 widths it is left as a sheet."""
MOST_LOOPS = 11
"""Narrow copper with more openings than this is a hatched pour (HATCH_LOOPS of runs.py)."""
SLOPE = 0.3
"""Half the width of a track that widens grows by at most this share of its length (17 degrees to either side). Our choice."""
NECK_RADII_MM = (1.5, 0.5, 0.17)
"""Pours are shrunk by these and grown again to find their necks: up to 3 mm wide (TRACK_MAX_MM of blobs.py). Our choice."""
LEAST_RADII = 0.6
"""Strips narrower than this many radii are slivers of the rim at that radius; a real one is found with the next."""
PLAIN_RADII = 0.1
"""Outlines are simplified by this share of the radius to see at little cost that a pour has no necks."""
GRID_MM = 1e-6
"""Parts of a shape are taken on this grid, on which the overlay cannot fail by rounding."""
MOST_CORNERS = 64
"""A pour whose width changes is tried as a tapering track if its outline has at most this many corners, simplified as ROUGH says. Our choice."""
SETTLED_RADII = 3.0
"""A shrunk pour in one piece whose corners all lie within this many radii of it has no necks."""
LEAST_TRACK_MM = 0.03
"""Copper that runs out to less than this is a point, no track: none is etched so narrow. Our choice."""
EVEN_SPREAD = 1.5
"""Strokes whose widths differ by at most this factor make one track however the width changes. Our choice."""
SPUR_WIDTHS = 1.2
"""An axis branch that ends freely within this many local widths is a corner. Our choice."""
LEAST_SPUR = 0.5
"""The least that a spur's width counts as, as a share of the mean width: round ends have fine axes. Our choice."""
FULL_END = 0.85
"""A track's end begins where it is this share as wide as within its first width. Our choice."""
WIDTH_CHANGE = 1.08
"""Where the width has changed by this factor a new stroke begins. Our choice."""
NICK = 0.84
"""A strip is cut where it is at most this share of its width: between that and its width it counts as even. Our choice."""
ROUGH = 0.04
"""Outlines are simplified by this share of the width before they are shrunk: strips painted across have scalloped rims. Our choice."""
LEAST_STRIP, CRUMB = 3.0, 0.3
"""What lies between wide parts is a strip from this many widths on; less than this share of a square is a crumb of a corner. Our choice."""
AREA_SLACK = 0.3
"""Strokes that differ from the copper by more than this share of its area do not stand for it. Our choice."""


@dataclass(frozen=True, slots=True)
class Bone:
    """A piece of the axis: its path in mm and half the copper's width along it."""

    path: tuple[Point, ...]
    radius: float


def slim_size(area_mm2: float, perimeter_mm: float) -> tuple[float, float]:
    """Length and width in mm of the rectangle with that area and perimeter (a strip bent or not); a square where there is none.

    >>> slim_size(12.0, 120.4)
    (60.0, 0.2)
    """
    half = perimeter_mm / 2.0
    root = half * half - 4.0 * area_mm2
    if area_mm2 <= 0.0 or root <= 0.0:
        side = math.sqrt(max(area_mm2, 0.0))
        return side, side
    length = (half + math.sqrt(root)) / 2.0
    return round(length, 9), round(area_mm2 / length, 9)


def is_slim(shape: Any, slim: float = SLIM) -> bool:
    """Whether a polygon is at least ``slim`` times as long as wide, measured along its bends; round its openings where it has any."""
    if shape.geom_type != "Polygon" or shape.is_empty or len(shape.interiors) > MOST_LOOPS:
        return False
    length, width = slim_size(float(shape.area), float(shape.length))
    return length >= slim * width > 0.0


def is_even(shape: Any) -> bool:
    """Whether a slim polygon is nowhere much wider than it is on the mean: a strip, not a pour with a tail."""
    width = slim_size(float(shape.area), float(shape.length))[1]
    return bool(shapely.buffer(shapely.simplify(shape, ROUGH * width), -0.75 * width, quad_segs=2).is_empty)


def is_plain(shape: Any) -> bool:
    """Whether the outline of a slim polygon has at most MOST_CORNERS corners: a taper, not a ragged pour."""
    width = slim_size(float(shape.area), float(shape.length))[1]
    return bool(shapely.get_num_coordinates(shapely.simplify(shape, ROUGH * width)) <= MOST_CORNERS)


def is_nicked(shape: Any, width_mm: float) -> bool:
    """Whether a strip of that width has a place at most NICK times as wide: shrunk by a little less than half, it falls apart there.

    >>> strip = shapely.box(0, 0, 20, 0.6)
    >>> is_nicked(strip, 0.6), is_nicked(strip.difference(shapely.Point(10, 0.8).buffer(0.5)), 0.6)
    (False, True)
    """
    plain = shapely.simplify(shape, ROUGH * width_mm)
    return len(shapely.get_parts(shapely.buffer(plain, -NICK / 2.0 * width_mm, quad_segs=2))) > 1


def parted(shape: Any) -> tuple[list[Any], list[Any]]:
    """A slim polygon as its narrow strips and the wide parts between them (pads in one outline with their track).

    No strips where the polygon does not fall into these two: what lies between its wide parts is no track.

    >>> dogbone = shapely.union_all([shapely.box(-1, -1, 1, 1), shapely.box(19, -1, 21, 1), shapely.box(0, -0.1, 20, 0.1)])
    >>> strips, wide = parted(dogbone)
    >>> len(strips), len(wide)
    (1, 2)
    """
    if is_even(shape):
        return [shape], []
    width = slim_size(float(shape.area), float(shape.length))[1]
    wide = shapely.buffer(shapely.buffer(shape, -0.75 * width, join_style="mitre"), 0.75 * width, join_style="mitre")
    wide = shapely.intersection(wide, shape, grid_size=GRID_MM)
    rest = shapely.get_parts(shapely.difference(shape, wide, grid_size=GRID_MM))
    fat = [p for p in shapely.get_parts(wide) if p.geom_type == "Polygon" and p.area > 0]
    strips = [p for p in rest if p.geom_type == "Polygon" and p.area > CRUMB * width * width]
    return (strips, fat) if all(is_slim(p, LEAST_STRIP) for p in strips) else ([], fat)


def necks(shape: Any) -> list[Any]:
    """The narrow even strips of a pour: at most twice NECK_RADII_MM wide and at least SLIM times as long.

    >>> pour = shapely.union_all([shapely.box(0, 0, 20, 20), shapely.box(40, 0, 60, 20), shapely.box(20, 9.85, 40, 10.15)])
    >>> [tuple(round(v, 6) for v in strip.bounds) for strip in necks(pour)]
    [(20.0, 9.85, 40.0, 10.15)]
    """
    found: list[Any] = []
    todo = [shape]
    for radius in NECK_RADII_MM:
        ahead: list[Any] = []
        for part in todo:
            plain = shapely.simplify(part, PLAIN_RADII * radius)
            strips = _strips(plain if plain.is_valid else part, radius)
            if strips and plain.is_valid:
                strips = _strips(part, radius)
            if strips:
                found += strips
                left = shapely.difference(part, shapely.union_all(strips), grid_size=GRID_MM)
                ahead += [p for p in shapely.get_parts(left) if p.geom_type == "Polygon"]
            elif strips is not None:
                ahead.append(part)
        todo = ahead
    return found


def _strips(part: Any, radius: float) -> list[Any] | None:
    """The even strips that go when a pour is shrunk by ``radius`` and grown again; None where it has no narrow place at all."""
    core = shapely.buffer(part, -radius, join_style="mitre")
    if core.is_empty:
        return []
    if core.geom_type == "Polygon" and _is_near(part, core, SETTLED_RADII * radius):
        return None
    wide = shapely.buffer(core, radius, join_style="mitre")
    rest = shapely.get_parts(shapely.difference(part, wide, grid_size=GRID_MM))
    return [p for p in rest if is_slim(p) and _width(p) >= LEAST_RADII * radius and is_even(p)]


def _width(shape: Any) -> float:
    return slim_size(float(shape.area), float(shape.length))[1]


def _is_near(part: Any, core: Any, far: float) -> bool:
    shapely.prepare(core)
    return bool(shapely.dwithin(core, shapely.points(shapely.get_coordinates(part)), far).all())


def spine(shape: Any, rim: Any = None) -> list[Bone] | None:
    """The axis of a narrow polygon as strokes that meet at their ends; None where it has no such axis.

    ``rim`` the edge of the copper, where the polygon was cut out of more copper; its own outline else.

    >>> [(b.path, b.radius) for b in spine(shapely.box(0, -0.1, 60, 0.1))]
    [(((0.0, 0.0), (60.0, 0.0)), 0.1)]
    >>> ring = shapely.box(0, 0, 20, 20).difference(shapely.box(0.2, 0.2, 19.8, 19.8))
    >>> round(sum(math.dist(p, q) for b in spine(ring) for p, q in itertools.pairwise(b.path)))
    79
    """
    if shape.geom_type != "Polygon" or shape.is_empty or len(shape.interiors) > MOST_LOOPS:
        return None
    straight = None if len(shape.interiors) else _strip(shape)
    if straight is not None and is_nicked(shape, 2.0 * straight.radius):
        straight = None
    bones = [straight] if straight is not None else _chordal(shape, rim)
    if not bones:
        return None
    flat = [shapely.buffer(shapely.LineString(b.path), b.radius, quad_segs=4, cap_style="flat") for b in bones]
    cover = shapely.union_all(flat)
    return bones if shapely.symmetric_difference(cover, shape).area <= AREA_SLACK * shape.area else None


def is_steady(bones: list[Bone]) -> bool:
    """Whether strokes make tracks: all about as wide, or long against the widest and nowhere widening faster than SLOPE.

    >>> is_steady([Bone(((0.0, 0.0), (9.0, 0.0)), 0.1), Bone(((9.0, 0.0), (18.0, 0.0)), 0.3)])
    True
    >>> is_steady([Bone(((0.0, 0.0), (9.0, 0.0)), 0.1), Bone(((9.0, 0.0), (12.0, 0.0)), 3.0)])
    False
    """
    if not bones:
        return False
    widest, narrowest = max(b.radius for b in bones), min(b.radius for b in bones)
    if 2.0 * narrowest < LEAST_TRACK_MM:
        return False
    if widest <= EVEN_SPREAD * narrowest:
        return True
    if sum(_length(b.path) for b in bones) < SLIM * 2.0 * widest:
        return False
    for one, other in itertools.pairwise(bones):
        step = (_length(one.path) + _length(other.path)) / 2.0
        if one.path[-1] == other.path[0] and abs(one.radius - other.radius) > SLOPE * step:
            return False
    return True


def _strip(shape: Any) -> Bone | None:
    box = shapely.oriented_envelope(shape)
    if box.geom_type != "Polygon" or not shape.area <= (1.0 + 1e-6) * box.area <= shape.area / FULL:
        return None  # GEOS gives a box of no area for some turned outlines
    c: list[Point] = [(x, y) for x, y in shapely.get_coordinates(box.exterior)[:4].tolist()]
    if math.dist(c[0], c[1]) < math.dist(c[1], c[2]):
        c = [*c[1:], c[0]]
    first = math.dist(c[0], c[1])
    width = float(shape.area) / first
    ends = sorted((round(x, 9), round(y, 9)) for x, y in (_middle(c[0], c[3]), _middle(c[1], c[2])))
    return Bone(tuple(ends), round(width / 2, 9))


def _middle(a: Point, b: Point) -> Point:
    return ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)


def _length(path: tuple[Point, ...]) -> float:
    return sum(math.dist(p, q) for p, q in itertools.pairwise(path))


def _chordal(shape: Any, rim: Any) -> list[Bone]:
    width = slim_size(float(shape.area), float(shape.length))[1]
    shape = shapely.simplify(shape, 0.02 * width)
    if shape.geom_type != "Polygon":
        return []
    points = shape.length / (STEP_WIDTHS * width) + shapely.get_num_coordinates(shape)
    step = STEP_WIDTHS * width * max(1.0, points / MOST_POINTS)
    if step > COARSE_WIDTHS * width:
        return []
    shapely.prepare(room := shapely.buffer(shape, 1e-3 * width, join_style="mitre"))
    near = _axis(shape, room, step)
    if not near and 2.0 * points <= MOST_POINTS:
        near = _axis(shape, room, step / 2.0)
    if not near:
        return []
    places = list(near)
    shapely.prepare(rim := shape.boundary if rim is None else rim)
    gaps = shapely.distance(shapely.points(np.array(places)), rim).tolist()
    radius = dict(zip(places, gaps, strict=True))
    _prune(near, radius, LEAST_SPUR * width)
    paths = []
    for path in _branches(near):
        for _ in range(2):
            if len(near[path[0]]) == 1:
                path = _ended(path, radius, width, shape)
            path = path[::-1]
        paths.append(path)
    return [bone for path in paths for bone in _sections(path, radius)]


def _ended(path: list[Point], radius: dict[Point, float], window: float, shape: Any) -> list[Point]:
    """A path without its start, where the axis turns to a corner and is not as wide as soon after, led straight on to the outline instead.

    ``window`` mm from the end tell how wide it is there.
    """
    at = [0.0, *itertools.accumulate(math.dist(p, q) for p, q in itertools.pairwise(path))]
    full = FULL_END * max(radius[p] for p, s in zip(path, at, strict=True) if s <= window)
    gone = next((k for k in range(len(path) - 2) if radius[path[k]] >= full), max(len(path) - 2, 0))
    far = at[gone]
    path = path[gone:]
    back, (x1, y1) = _back(path, 1.5 * radius[path[0]]), path[0]
    x0, y0 = back
    for place in path[: path.index(back)]:
        radius[place] = max(radius[place], radius[back])
    length = math.dist((x0, y0), (x1, y1))
    reach = (far + 3.0 * radius[path[0]]) / length if length > 0 else 0.0
    beam = shapely.LineString([path[0], (x1 + (x1 - x0) * reach, y1 + (y1 - y0) * reach)])
    held = shapely.get_parts(shapely.intersection(beam, shape))
    ends = [p for p in held if p.geom_type == "LineString" and shapely.distance(p, shapely.Point(path[0])) < 1e-9]
    if not ends:
        return path
    tip = max(shapely.get_coordinates(ends[0]).tolist(), key=lambda p: math.dist(p, (x1, y1)))
    return [(tip[0], tip[1]), *path]


def _back(path: list[Point], far: float) -> Point:
    """The first place on the path at least ``far`` from its start, its end where there is none."""
    return next((p for p in path[1:] if math.dist(p, path[0]) >= far), path[-1])


def _axis(shape: Any, room: Any, step: float) -> dict[Point, set[Point]]:
    """Neighbours on the axis: middles of inner edges, and the centres of triangles with three of them; none where triangles leave ``room``."""
    rim = np.unique(np.round(shapely.get_coordinates(shapely.segmentize(shape, step)), 9), axis=0)
    corner = Delaunay(rim).simplices
    xy = rim[corner]
    centre = xy.mean(axis=1)
    u, v = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
    flat = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) < 1e-6 * np.sum(u * u + v * v, axis=1)
    held = shapely.contains_xy(shape, centre[:, 0], centre[:, 1]) & ~flat
    corner, xy = corner[held], xy[held]
    sides = np.sort(np.stack([corner, np.roll(corner, -1, axis=1)], axis=-1), axis=-1)
    edges, of, count = np.unique(sides.reshape(-1, 2), axis=0, return_inverse=True, return_counts=True)
    middle = [(x, y) for x, y in rim[edges].mean(axis=1).tolist()]
    inner = count[of.reshape(-1, 3)] == 2
    if not shapely.covers(room, shapely.linestrings(rim[edges[count == 2]])).all():
        return {}
    near: dict[Point, set[Point]] = {}
    for triangle, own, flags in zip(xy.tolist(), of.reshape(-1, 3).tolist(), inner.tolist(), strict=True):
        across = [middle[edge] for edge, is_inner in zip(own, flags, strict=True) if is_inner]
        if len(across) == 2:
            _link(near, across[0], across[1])
        elif len(across) == 3:
            branching = (sum(x for x, _ in triangle) / 3, sum(y for _, y in triangle) / 3)
            for place in across:
                _link(near, place, branching)
    return near


def _link(near: dict[Point, set[Point]], a: Point, b: Point) -> None:
    if a != b:
        near.setdefault(a, set()).add(b)
        near.setdefault(b, set()).add(a)


def _prune(near: dict[Point, set[Point]], radius: dict[Point, float], least: float) -> None:
    """Takes spurs away, the shortest first, as long as a branching is left at their foot. ``least`` mm of width count at least: round ends have fine ones."""
    while True:
        spurs = []
        for end in [p for p, others in near.items() if len(others) == 1]:
            path = [end]
            while len(near[path[-1]]) <= 2:
                ahead = [q for q in near[path[-1]] if len(path) < 2 or q != path[-2]]
                if not ahead:
                    break
                path.append(ahead[0])
            length = _length(tuple(path))
            if len(near[path[-1]]) > 2 and length <= SPUR_WIDTHS * max(least, 2.0 * max(radius[p] for p in path)):
                spurs.append((length, path))
        if not spurs:
            return
        for _, path in sorted(spurs):
            if len(near[path[-1]]) > 2:
                near[path[-1]].discard(path[-2])
                for place in path[:-1]:
                    near.pop(place)


def _branches(near: dict[Point, set[Point]]) -> list[list[Point]]:
    """The axis as paths between its ends and branchings; a ring of neither as two halves."""
    out: list[list[Point]] = []
    seen: set[tuple[Point, Point]] = set()
    stops = {p for p, others in near.items() if len(others) != 2}
    for start in sorted(stops):
        for first in sorted(near[start]):
            if (start, first) in seen:
                continue
            path = _walked(near, start, first, stops)
            seen.update([(start, first), (path[-1], path[-2])])
            out.append(path)
    left = set(near) - {p for path in out for p in path}
    while left:
        start = min(left)
        ring = _walked(near, start, min(near[start]), {start})
        half = len(ring) // 2
        out += [ring[: half + 1], ring[half:]]
        left -= set(ring)
    return out


def _walked(near: dict[Point, set[Point]], start: Point, first: Point, stops: set[Point]) -> list[Point]:
    path = [start, first]
    while path[-1] not in stops:
        path.append(next(q for q in near[path[-1]] if q != path[-2]))
    return path


def _sections(path: list[Point], radius: dict[Point, float]) -> list[Bone]:
    """A branch cut where its width changes; each section as wide as its resistance says (mean of the reciprocals)."""
    for tip, inner in ((0, 1), (-1, -2)):
        radius.setdefault(path[tip], radius.get(path[inner], 0.0))
    starts = [0]
    low = high = radius[path[0]]
    for k in range(1, len(path)):
        low, high = min(low, radius[path[k]]), max(high, radius[path[k]])
        if high > WIDTH_CHANGE * low and _length(tuple(path[starts[-1] : k + 1])) > low:
            starts.append(k)
            low = high = radius[path[k]]
    if len(starts) > 1 and _length(tuple(path[starts[-1] :])) < 2.0 * radius[path[-1]]:
        starts.pop()
    out = []
    for a, b in itertools.pairwise([*starts, len(path) - 1]):
        part = path[a : b + 1]
        if len(part) < 2 or _length(tuple(part)) <= 0.0:
            continue
        total, squares = 0.0, 0.0
        for p, q in itertools.pairwise(part):
            step = math.dist(p, q)
            total += step
            squares += step / max(radius[p] + radius[q], 1e-6)
        mean = total / squares / 2.0
        line = shapely.simplify(shapely.LineString(part), 0.1 * mean)
        out.append(Bone(tuple((x, y) for x, y in shapely.get_coordinates(line).tolist()), mean))
    return out
