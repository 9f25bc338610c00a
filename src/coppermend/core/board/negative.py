"""Whether an inner layer that does not say its polarity is drawn as a negative plane: clearances round holes instead of copper.

Such a file holds a round clearance or a thermal at its holes, little else, and no track between two of them; a frame along the board's edge and the
moats that part a split plane are lines that end at no hole. Taken as copper it would join nothing and split every plane net, so it is judged by what
it draws. The limits are ours, tried on synthetic planes and signal layers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from coppermend.core.board.joined import Holes
from coppermend.core.board.match import SAME_PLACE_MM
from coppermend.core.board.records import GerberImage
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.groups import labels
from coppermend.core.geometry.shapes import ShapeSet

FEWEST = 8
"""Fewer spots without a thermal, or fewer holes, than this tell nothing: the layer is taken as positive, and that is said."""

AT_HOLES = 0.85
"""At least this share of the flashes lies at holes."""

OF_HOLES = 0.3
"""At least this share of the holes has one: the others are joined to the plane without thermals."""

TRACKS = 3
"""So many holes from which a stroke leads away make a signal layer; fewer only when one track leads from hole to hole."""

FILLED = 0.3
"""At most this share of the layer's box is covered by strokes and areas (without a frame along its edge)."""

ALIKE = 0.5
"""With at least this share of the spots as large as the outer layer's land at the same hole they are lands."""

SIZE_MM = 0.02
"""Spots that differ by less are equally large."""

LOCAL_MM = 1.6
"""A stroke whose ends both lie this near to one hole paints a land, a clearance or a thermal there. Our choice."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Look:
    """What an inner layer without a stated polarity shows. ``negative``: taken so; ``finding`` what is said about it, None where it is plainly copper."""

    negative: bool
    finding: Finding | None = None


COPPER = Look(False)


def states_polarity(image: GerberImage) -> bool:
    """Whether the file (or the user) says its polarity: X2 FilePolarity, or an X2 copper function, which is positive unless said."""
    return ".FilePolarity" in image.file_attributes or ".FileFunction" in image.file_attributes


def says_negative(image: GerberImage) -> bool:
    """Whether a copper file is a negative image by its own word (IPNEG, X2 FilePolarity) or the user's, whatever its role was found by.

    Source: Ucamco, The Gerber Layer Format Specification, 5.6.4 (.FilePolarity stands by itself, beside .FileFunction), from memory.
    """
    polarity = image.file_attributes.get(".FilePolarity", ())
    return image.negative or (bool(polarity) and polarity[0].strip().lower() == "negative")


def look(image: GerberImage, holes: Holes, outer: Sequence[GerberImage], frame: Any) -> Look:
    """What the image of an inner layer shows; ``holes`` those that go through it, ``outer`` the outer layers' images, ``frame`` the board's polygon.

    A thermal makes it a plane. Without one, spots at holes that no track joins are clearances unless they are as large as the outer lands or too few.
    """
    if states_polarity(image) or image.negative or image.at_mm is None or not len(holes) or not len(image.shapes):
        return COPPER
    drawn = _Drawn(image, holes)
    if not drawn.at_holes or drawn.tracks() or drawn.poured() or drawn.covered(frame) > FILLED:
        return COPPER
    thermals, alike = drawn.thermals(), drawn.alike(outer) >= ALIKE
    if not image.dark.all() and not thermals:
        return COPPER
    if thermals and not alike:
        return Look(True, _negative_finding(image.name, len(drawn.spotted), thermals))
    enough = min(len(holes), len(drawn.spotted)) >= FEWEST
    if not enough or len(drawn.spotted) < OF_HOLES * len(holes):
        return _untold(image, drawn, f"{len(drawn.spotted)} of them at {len(holes)} holes tell nothing")
    if alike:
        return _untold(image, drawn, "they are as large as the lands of an outer layer")
    return Look(True, _negative_finding(image.name, len(drawn.spotted), 0))


def _untold(image: GerberImage, drawn: _Drawn, why: str) -> Look:
    """Positive; said, unless a plane would join no two holes here."""
    return COPPER if drawn.bare < 2 else Look(False, _untold_finding(image.name, why))


class _Drawn:
    """The dark objects of a layer held against the holes: spots (flashes, dots and what is painted round one hole) and the rest."""

    def __init__(self, image: GerberImage, holes: Holes) -> None:
        dark = np.flatnonzero(image.dark & ~shapely.is_empty(image.shapes.skeleton))
        lines = shapely.get_type_id(image.shapes.skeleton) == 1
        self.clear_order = np.flatnonzero(~image.dark & lines & ~shapely.is_empty(image.shapes.skeleton))
        self.clear, self.order = image.shapes.take(self.clear_order), dark
        self.shapes = image.shapes.take(dark)
        self.middle = np.column_stack([(holes.x_mm + holes.x2_mm) / 2, (holes.y_mm + holes.y2_mm) / 2])
        self.tree = cKDTree(self.middle)
        kind = shapely.get_type_id(self.shapes.skeleton)
        at = np.asarray(image.at_mm)[dark]
        dot = (image.kind[dark] != "flash") & (kind == 0)
        at[dot] = shapely.get_coordinates(self.shapes.skeleton[dot])
        flash = image.kind[dark] == "flash"
        spot = flash | dot
        apart, hole = self.tree.query(at)
        home = spot & (apart <= SAME_PLACE_MM)
        self.flashes, self.flash_hole = np.flatnonzero(home), np.asarray(hole)[home]
        line = ~spot & (kind == 1)
        self.lines = np.flatnonzero(line)
        self.ends = _ends(self.shapes.skeleton[self.lines])
        self.local = self._local()
        self.rest = np.concatenate([np.flatnonzero(~spot & ~line), self.lines[self.local < 0]])
        painted = [k for k in np.unique(self.local[self.local >= 0]).tolist() if self._covers(k)]
        self.spotted = np.unique(np.concatenate([self.flash_hole, np.array(painted, dtype=np.int64)]))
        self.at_holes = len(self.spotted) > 0 and int((home & flash).sum()) >= AT_HOLES * int(flash.sum())
        self.bare = int(np.sum(np.delete(holes.plated, self.spotted)))

    def _local(self) -> Ints:
        """(lines,) the hole that a line is painted round; -1 for lines that go elsewhere."""
        if not len(self.lines):
            return np.empty(0, np.int64)
        (near, first), (far, second) = self.tree.query(self.ends[:, 0]), self.tree.query(self.ends[:, 1])
        here = (np.maximum(near, far) <= LOCAL_MM) & (first == second) & (self._away(self.ends) > SAME_PLACE_MM)
        return np.where(here, first, -1).astype(np.int64)

    def _away(self, ends: Floats) -> Floats:
        """(lines,) how far the nearer end of each line lies from a hole's middle: what begins in the middle leads away."""
        return np.asarray(np.minimum(self.tree.query(ends[:, 0])[0], self.tree.query(ends[:, 1])[0]), dtype=np.float64)

    def _covers(self, hole: int) -> bool:
        mine = self.lines[self.local == hole]
        gap = (
            shapely.distance(self.shapes.skeleton[mine], shapely.Point(self.middle[hole])) - self.shapes.radius_mm[mine]
        )
        return bool(np.any(gap <= 0))

    def tracks(self) -> bool:
        """Whether strokes lead away from holes: from several, or one from hole to hole."""
        led = self._led()
        if len(np.unique(led[:, 1])) >= TRACKS:
            return True
        if len(np.unique(led[:, 1])) < 2:
            return False
        group = self._groups()
        holes: dict[int, set[int]] = {}
        for line, hole in led.tolist():
            holes.setdefault(int(group[line]), set()).add(hole)
        return any(len(one) > 1 for one in holes.values())

    def _led(self) -> Ints:
        """(k, 2) line and hole: lines that end in the middle of a hole and go beyond its spot, or whose free end lies in a spot."""
        if not len(self.lines):
            return np.empty((0, 2), np.int64)
        size = np.full(len(self.middle), 0.0)
        box = self.shapes.take(self.flashes).bounds_mm()
        np.maximum.at(size, self.flash_hole, (box[:, 2:] - box[:, :2]).max(axis=1, initial=0.0) / 2)
        out = []
        flat = self.ends.reshape(-1, 2)
        beside = np.array([len(one) for one in cKDTree(flat).query_ball_point(flat, SAME_PLACE_MM)]).reshape(-1, 2)
        for end in (0, 1):
            apart, hole = self.tree.query(self.ends[:, end])
            far = np.hypot(*(self.ends[:, 1 - end] - self.middle[hole]).T)
            inside = (apart <= SAME_PLACE_MM) | ((apart < size[hole]) & (beside[:, end] == 1))
            at = np.flatnonzero(inside & (far > size[hole] + SAME_PLACE_MM) & (self.local < 0))
            out.append(np.column_stack([at, hole[at]]))
        return np.concatenate(out).astype(np.int64)

    def _groups(self) -> Ints:
        """(lines,) label of the strokes that touch one another."""
        return labels(self.shapes.take(self.lines).near_pairs(), len(self.lines))

    def poured(self) -> bool:
        """Whether areas lie over the middles of holes, or leave openings round them, as pours do (a frame has one opening for all)."""
        areas = self.shapes.skeleton[self.rest]
        areas = shapely.get_parts(areas[shapely.get_dimensions(areas) == 2])
        if not len(areas):
            return False
        inner = [ring for area in areas for ring in area.interiors]
        rings = shapely.polygons(inner) if inner else np.empty(0, dtype=object)
        middles = shapely.points(self.middle)
        on = len(np.unique(shapely.STRtree(areas).query(middles, predicate="intersects")[0]))
        within = len(np.unique(shapely.STRtree(rings).query(middles, predicate="within")[1])) if len(rings) else 0
        return on >= TRACKS or within >= TRACKS

    def covered(self, frame: Any) -> float:
        """The share of the layer's box that strokes and areas cover, without strokes along the board's edge."""
        box = self.shapes.bounds_mm()
        whole = float(np.prod(np.nanmax(box[:, 2:], axis=0) - np.nanmin(box[:, :2], axis=0)))
        rest = self.shapes.take(self.rest)
        rims = shapely.union_all([frame.exterior, shapely.box(*shapely.total_bounds(self.shapes.skeleton)).exterior])
        line = shapely.get_type_id(rest.skeleton) == 1
        inner = ~line | ~np.array(
            [
                shapely.covers(rims.buffer(r + 1.0), one) if s else False
                for one, r, s in zip(rest.skeleton, rest.radius_mm, line, strict=True)
            ],
            dtype=bool,
        )
        rest = rest.take(np.flatnonzero(inner))
        cover = float(
            np.sum(
                shapely.area(rest.skeleton)
                + 2 * rest.radius_mm * shapely.length(rest.skeleton) * (shapely.get_type_id(rest.skeleton) == 1)
            )
        )
        return cover / whole if whole > 0 else 1.0

    def thermals(self) -> int:
        """Holes with a thermal: parts round the middle that leave it and gaps between them open, or a spot with clear spokes across it."""
        found = {
            int(h) for k, h in zip(self.flashes.tolist(), self.flash_hole.tolist(), strict=True) if self._open(k, h)
        }
        flashed = set(self.flash_hole.tolist())
        for hole in np.unique(self.local[self.local >= 0]).tolist():
            if hole not in flashed and not self._covers(hole) and int((self.local == hole).sum()) > 1:
                found.add(hole)
        found |= self._spoked()
        return len(found)

    def _spoked(self) -> set[int]:
        """Holes with clear strokes drawn across their spot after it: the spokes of a thermal."""
        if not len(self.clear) or not len(self.flashes):
            return set()
        ends = _ends(self.clear.skeleton)
        apart = np.stack([self.tree.query(ends[:, k]) for k in (0, 1)])
        hole = apart[0, 1].astype(np.int64)
        local = (apart[:, 0] <= LOCAL_MM).all(axis=0) & (apart[1, 1] == apart[0, 1])
        drawn = np.full(len(self.middle), np.inf)
        np.minimum.at(drawn, self.flash_hole, self.order[self.flashes])
        return set(hole[local & (self.clear_order > drawn[hole])].tolist())

    def _open(self, k: int, hole: int) -> bool:
        skeleton = self.shapes.skeleton[k]
        if self.shapes.radius_mm[k] > 0 or shapely.get_dimensions(skeleton) < 2:
            return False
        parts = shapely.get_parts(skeleton)
        middle = shapely.Point(self.middle[hole])
        outside = not np.any(shapely.intersects(shapely.polygons(shapely.get_exterior_ring(parts)), middle))
        return outside and bool(shapely.intersects(shapely.convex_hull(skeleton), middle))

    def alike(self, outer: Sequence[GerberImage]) -> float:
        """The share of the flashed spots that are as large as the land at the same hole on one of the outer layers."""
        size = _sizes(self.shapes.take(self.flashes))
        best = 0.0
        for image in outer:
            if image.at_mm is None or not len(size):
                continue
            lands = np.flatnonzero(((image.kind == "flash") | image.shapes.dots()) & image.dark)
            if len(lands):
                apart, at = cKDTree(image.at_mm[lands]).query(self.middle[self.flash_hole])
                same = np.all(np.abs(_sizes(image.shapes.take(lands[at])) - size) <= SIZE_MM, axis=1)
                best = max(best, float(np.mean(same & (apart <= SAME_PLACE_MM))))
        return best


def _ends(lines: NDArray[Any]) -> Floats:
    """(n, 2, 2) first and last point of each line."""
    if not len(lines):
        return np.empty((0, 2, 2))
    first, last = shapely.get_point(lines, 0), shapely.get_point(lines, -1)
    return np.stack([shapely.get_coordinates(first), shapely.get_coordinates(last)], axis=1)


def _sizes(shapes: ShapeSet) -> Floats:
    box = shapes.bounds_mm()
    return np.asarray(box[:, 2:] - box[:, :2], dtype=np.float64)


def _negative_finding(name: str, spots: int, thermals: int) -> Finding:
    """What the user is told about a plane taken as negative."""
    what = f"clearances at {spots} holes" + (f", thermals at {thermals} of them or others," if thermals else "")
    return Finding(
        "BRD-008",
        Severity.GUESS,
        Place(file=name),
        f"The file does not say its polarity. It draws {what} and no track from one hole to another: it is taken as a negative plane. "
        "Were it positive, the nets that the plane joins here would be apart.",
        'Say polarity = "positive" for this file in coppermend-corrections.toml if these are lands.',
    )


def _untold_finding(name: str, why: str) -> Finding:
    """What the user is told about a layer that might be a negative plane."""
    return Finding(
        "BRD-008",
        Severity.WARNING,
        Place(file=name),
        f"The file does not say its polarity. It draws lands or clearances at holes and no track from one to another; {why}. "
        "It is taken as positive. Were it a negative plane, all that the plane joins would be missing.",
        'Say polarity = "negative" for this file in coppermend-corrections.toml if these are clearances, "positive" if they are lands.',
    )
