"""One layer's copper sorted into strokes (what tracks are made of) and blobs (lands and sheets).

A land is metal without a site inside: flashes that touch, the rim of a plated hole, a pad painted by strokes or a region with a
pin or hole on it, with its teardrop. A sheet is a pour or plane. Strokes that lie alongside each other are painted copper:
a land where a pin or hole sits on them, one wide stroke where they run together, else a sheet. Whatever it was made with, copper
that is narrow and joins places far apart is strokes along its axis (bodies.py): a track, never a land of no ohms.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board, CopperLayer
from coppermend.core.copper.bodies import APART_WIDTHS, Body, Reach, necked, stroked
from coppermend.core.copper.inside import Interval, merged
from coppermend.core.copper.spine import MOST_LOOPS, SLIM, is_even, is_nicked, is_slim, is_steady, slim_size, spine
from coppermend.core.copper.unite import Union

Point = tuple[float, float]

LAND_PER_HOLE = 16.0
"""A region or painted patch of at most this many times its hole's area is a pad, else a pour with a hole in it. Our choice."""
LAND_MAX_MM2 = 30.0
"""A region with a surface pin on it is a pad up to this area. Our choice."""
TEARDROP_SHARE = 1.5
"""A region that touches one land and is at most this many times as large belongs to the land. Our choice."""
PARALLEL_SINE = 0.02
"""Strokes whose directions differ by at most this sine run alongside each other."""
PAINT_LENGTH_RADII = 3.0
"""Strokes alongside for at least this many radii are painted copper, less is a joint. Our choice."""
PAINT_SHARE = 0.5
"""A stroke is paint when others lie alongside for at least this share of its length. Our choice."""
LONG_ASPECT = 3.0
"""Painted copper at least this many times as long as wide is a track. Our choice."""
SURE_ASPECT = 10.0
"""Painted copper (or a narrow region) this many times as long as wide is a track whatever lands it holds. Our choice."""
PER_LAND = 2.0
"""Shorter painted copper is a track up to this many times as wide as the smallest land on it: in wider the current goes round. Our choice."""
REACH_MM = 1e-6
BRUSH_SHARE = 0.8
"""No place of painted copper that carries current is narrower than this share of the narrowest stroke. Our choice."""
TRACK_MAX_MM = 3.0
"""Wider copper that was no single stroke is a track only beside lands of its own size. Our choice."""
MOST_RIM = 1500
"""Pours with more points in their outline are not searched for necks: that takes 50 us a point, more than all else of a build."""


@dataclass(slots=True)
class Stroke:
    """A centre line with a round end at both sides: path in mm, half width, net, and the piece it came from."""

    path: list[Point]
    radius: float
    net: int
    piece: int

    @property
    def straight(self) -> bool:
        """Two points only."""
        return len(self.path) == 2


@dataclass(slots=True)
class Blob:
    """A land or sheet: its exact pieces as (skeleton, radius), the holes and X2 pins on it, and a place that names it."""

    kind: str
    net: int
    pieces: list[tuple[Any, float]] = field(default_factory=list)
    piece_ids: list[int] = field(default_factory=list)
    holes: list[int] = field(default_factory=list)
    place: Point = (0.0, 0.0)
    flashed: bool = False

    def area_mm2(self) -> float:
        """Area, overlaps counted twice: good enough to tell a land from a sheet."""
        return float(sum(_area(g, r) for g, r in self.pieces))


@dataclass(slots=True)
class LayerParts:
    """What one layer is made of. ``stroke_pairs``, ``stroke_blobs`` (stroke, blob), ``blob_pairs`` (land, sheet): who touches whom.

    ``hole_blob`` hole index -> land on this layer, ``piece_blob`` piece -> blob. ``pin_blobs`` lands and sheets that narrow copper was
    cut into, without a piece of their own: (outline, blob).
    """

    key: str
    strokes: list[Stroke]
    blobs: list[Blob]
    stroke_pairs: list[tuple[int, int]]
    stroke_blobs: list[tuple[int, int]]
    blob_pairs: list[tuple[int, int]]
    hole_blob: dict[int, int]
    piece_blob: dict[int, int]
    pin_blobs: list[tuple[Any, int]] = field(default_factory=list)


def _area(skeleton: Any, radius: float) -> float:
    if radius <= 0.0:
        return float(skeleton.area)
    length = float(skeleton.length) / (2.0 if skeleton.area > 0 else 1.0)
    if skeleton.area > 0:
        return float(skeleton.area) + float(skeleton.length) * radius + math.pi * radius * radius
    return 2.0 * radius * length + math.pi * radius * radius


def _as_stroke(polygon: Any) -> tuple[list[Point], float] | None:
    """A swept rectangle as centre line and half width, None where the polygon is no long rectangle."""
    box = shapely.oriented_envelope(polygon)
    if box.geom_type != "Polygon" or not polygon.area <= (1.0 + 1e-6) * box.area <= polygon.area / 0.9:
        return None  # GEOS gives a box of no area for some turned outlines
    c = [tuple(p) for p in shapely.get_coordinates(box.exterior)[:4].tolist()]
    first, second = math.dist(c[0], c[1]), math.dist(c[1], c[2])
    if first < second:
        c = [*c[1:], c[0]]
        first, second = second, first
    if first < 2.0 * second:
        return None
    start = ((c[0][0] + c[3][0]) / 2, (c[0][1] + c[3][1]) / 2)
    end = ((c[1][0] + c[2][0]) / 2, (c[1][1] + c[2][1]) / 2)
    inset = second / 2 / first
    dx, dy = (end[0] - start[0]) * inset, (end[1] - start[1]) * inset
    return [(start[0] + dx, start[1] + dy), (end[0] - dx, end[1] - dy)], second / 2


class _Sorter:
    """Works on one layer: roles of pieces first, then groups, then who touches whom."""

    def __init__(
        self,
        board: Board,
        layer: CopperLayer,
        wanted: NDArray[np.bool_],
        spots: Sequence[tuple[Point, float]],
        holes: Sequence[tuple[Any, float]],
    ) -> None:
        self.board, self.layer, self.hole_shape = board, layer, holes
        self.skeleton, self.radius = layer.shapes.skeleton, layer.shapes.radius_mm
        self.island = layer.island
        self.wanted = wanted[self.island] if len(self.island) else np.zeros(0, bool)
        self.spots = spots
        self.role: dict[int, str] = {}
        self.strokes: list[Stroke] = []
        self.stroke_of: dict[int, int] = {}
        self.at_hole: dict[int, list[int]] = {}
        for hole, piece in layer.walls.tolist():
            if self.wanted[piece]:
                self.at_hole.setdefault(hole, []).append(piece)
        self.holes_at: dict[int, list[int]] = {}
        for hole, pieces in self.at_hole.items():
            for piece in pieces:
                self.holes_at.setdefault(piece, []).append(hole)
        self.contacts = [(i, j) for i, j in layer.contacts.tolist() if self.wanted[i]]
        self.given = len(self.skeleton)
        self.spot_xy: NDArray[np.float64] | None = None
        self.partners: dict[int, list[int]] | None = None
        self.pin_tree: tuple[Any, NDArray[np.int64]] | None = None

    def run(self) -> LayerParts:
        """The sorted layer."""
        self._roles()
        self._narrow()
        self._paint()
        blobs, piece_blob, hole_blob = self._group()
        return self._touch(blobs, piece_blob, hole_blob)

    # roles ------------------------------------------------------------------------------------------------

    def _roles(self) -> None:
        kinds = np.asarray(self.layer.kind).astype(str)
        types = shapely.get_type_id(self.skeleton)
        regions: list[int] = []
        drawn = np.flatnonzero(self.wanted & (types == 1) & (kinds != "flash"))
        xy, of = shapely.get_coordinates(self.skeleton[drawn], return_index=True)
        places, ends = list(map(tuple, xy.tolist())), np.searchsorted(of, np.arange(len(drawn) + 1)).tolist()
        paths = {p: places[a:b] for p, a, b in zip(drawn.tolist(), ends, ends[1:], strict=False)}
        long = set(drawn[shapely.length(self.skeleton[drawn]) > 1e-6].tolist())
        for p in np.flatnonzero(self.wanted).tolist():
            if kinds[p] == "flash":
                self.role[p] = "land"
            elif types[p] == 1:
                if p in long:
                    self._add_stroke(p, paths[p], float(self.radius[p]))
                else:
                    self.role[p] = "dot"
            elif types[p] == 0:
                self.role[p] = "dot"
            else:
                made = _as_stroke(self.skeleton[p]) if kinds[p] == "draw" and types[p] == 3 else None
                if made is None:
                    regions.append(p)
                elif not (is_nicked(self.skeleton[p], 2.0 * made[1]) and self._nicked(p)):
                    self._add_stroke(p, made[0], made[1])
        self._dots()
        self._regions(regions)

    def _add_stroke(self, p: int, path: list[Any], radius: float) -> None:
        self.role[p] = "stroke"
        self.stroke_of[p] = len(self.strokes)
        self.strokes.append(Stroke(path, radius, int(self.island[p]), p))

    def _nicked(self, p: int) -> bool:
        """A track that a cleared shape has narrowed: strokes of its real widths. Whether it has an axis."""
        bones = spine(self.skeleton[p])
        if bones is None:
            return False
        self._replace([p], Body(bones), "land")
        return True

    def _replace(self, pieces: list[int], body: Body, wide_role: str) -> None:
        """Strokes, wide parts and lands under pins take the pieces' place: they touch what the pieces touched where they reach it, the nearest at least."""
        net, first = int(self.island[pieces[0]]), len(self.skeleton)
        beside = sorted({q for p in pieces for q in self._touching(p)} - set(pieces))
        holes = sorted({h for p in pieces for h in self.holes_at.get(p, [])})
        made = body.parts()
        self.skeleton = np.concatenate([self.skeleton, np.array([*made, None], dtype=object)[:-1]])
        radii = [bone.radius for bone in body.bones] + [0.0] * (len(body.wide) + len(body.discs))
        self.radius = np.concatenate([self.radius, radii])
        self.island = np.concatenate([self.island, np.full(len(made), net, dtype=self.island.dtype)])
        for p in pieces:
            self.stroke_of.pop(p, None)
            self.role[p] = "none"
            self.holes_at.pop(p, None)
        for k, bone in enumerate(body.bones):
            self._add_stroke(first + k, list(bone.path), bone.radius)
        wide = range(first + len(body.bones), first + len(body.bones) + len(body.wide))
        discs = range(wide.stop, first + len(made))
        self.role |= {p: "land" if self._is_inner_pad(p) else wide_role for p in wide}
        self.role |= dict.fromkeys(discs, "land")
        for a, b in body.contacts():
            self._add_contact(first + a, first + b)
        for q in beside:
            for p in self._reaching(range(first, first + len(made)), self.skeleton[q], float(self.radius[q])):
                self._add_contact(p, q)
        for hole in holes:
            kept = [p for p in self.at_hole[hole] if p not in pieces]
            near = self._reaching(range(first, first + len(made)), *self.hole_shape[hole])
            self.at_hole[hole] = kept + near
            for p in near:
                self.holes_at.setdefault(p, []).append(hole)

    def _add_contact(self, a: int, b: int) -> None:
        self.contacts.append((a, b))
        if self.partners is not None:
            self.partners.setdefault(a, []).append(b)
            self.partners.setdefault(b, []).append(a)

    def _reaching(self, parts: Sequence[int], skeleton: Any, radius: float) -> list[int]:
        """Those of the parts that reach a shape; the nearest where none does."""
        gaps = (
            shapely.distance(skeleton, self.skeleton[parts[0] : parts[-1] + 1]) - self.radius[parts[0] : parts[-1] + 1]
        ).tolist()
        reached = [p for p, gap in zip(parts, gaps, strict=True) if gap <= radius + REACH_MM]
        return reached or [parts[gaps.index(min(gaps))]]

    def _is_inner_pad(self, p: int) -> bool:
        """Whether a wide part of narrow copper is a pad: a pin or hole stands on it, and it is as small as a pad."""
        if self.spot_xy is None:
            self.spot_xy = np.array([place for place, _ in self.spots], dtype=np.float64).reshape(-1, 2)
        x0, y0, x1, y1 = self.skeleton[p].bounds
        x, y = self.spot_xy.T
        near = np.flatnonzero((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1))
        held = near[shapely.intersects_xy(self.skeleton[p], x[near], y[near])].tolist()
        return self._is_pad_size(p, held)

    def _dots(self) -> None:
        """A dot (zero-length draw) is a flash, unless a stroke at least as wide covers it."""
        dots = {p for p, role in self.role.items() if role == "dot"}
        if not dots:
            return
        covered: set[int] = set()
        for i, j in self.contacts:
            for a, b in ((i, j), (j, i)):
                if a in dots and self.role.get(b) == "stroke" and a not in self.holes_at:
                    slack = self.radius[b] - self.radius[a] + 1e-6
                    if slack >= 0 and shapely.distance(self.skeleton[a], self.skeleton[b]) <= slack:
                        covered.add(a)
        for p in dots:
            self.role[p] = "none" if p in covered else "land"

    def _regions(self, regions: list[int]) -> None:
        if not regions:
            return
        places = shapely.points([s[0] for s in self.spots]) if self.spots else np.empty(0, dtype=object)
        own = self.skeleton[np.asarray(regions)]
        holds: dict[int, list[int]] = {}
        if len(places):
            which, spot = shapely.STRtree(places).query(own, predicate="intersects")
            for w, s in zip(which.tolist(), spot.tolist(), strict=True):
                holds.setdefault(regions[w], []).append(s)
        for p in regions:
            self.role[p] = "land" if self._is_pad(p, holds.get(p, [])) else "sheet"
        self._teardrops(regions)

    def _is_pad(self, p: int, held: list[int]) -> bool:
        if "pad" in str(self.layer.function[p]).lower() or str(self.layer.pin[p]):
            return True
        return self._is_pad_size(p, held)

    def _is_pad_size(self, p: int, held: list[int]) -> bool:
        area = _area(self.skeleton[p], float(self.radius[p]))
        for s in held:
            hole = self.spots[s][1]
            if area <= (LAND_PER_HOLE * math.pi * hole * hole / 4 if hole > 0 else LAND_MAX_MM2):
                return True
        return False

    def _teardrops(self, regions: list[int]) -> None:
        loose = {p for p in regions if self.role[p] == "sheet"}
        lands: dict[int, set[int]] = {}
        for i, j in self.contacts:
            for a, b in ((i, j), (j, i)):
                if a in loose and self.role.get(b) == "land":
                    lands.setdefault(a, set()).add(b)
        for p, near in lands.items():
            area = _area(self.skeleton[p], float(self.radius[p]))
            if len(near) == 1 and area <= TEARDROP_SHARE * max(
                _area(self.skeleton[b], float(self.radius[b])) for b in near
            ):
                self.role[p] = "land"

    # narrow copper ----------------------------------------------------------------------------------------

    def _narrow(self) -> None:
        """Long flashes and narrow regions that join places far apart become strokes, where they have no axis a sheet; pours are parted at their necks."""
        rows = np.array([p for p, role in self.role.items() if role in ("land", "sheet")], dtype=np.int64)
        if not len(rows):
            return
        skeleton, radius = self.skeleton[rows], self.radius[rows]
        flat = (shapely.get_type_id(skeleton) == 3) & (shapely.get_num_interior_rings(skeleton) <= MOST_LOOPS)
        area, rim = shapely.area(skeleton), shapely.length(skeleton)
        slim = flat & (rim * rim > 4.0 * (SLIM + 1.0) ** 2 / SLIM * area)
        slim |= (shapely.get_type_id(skeleton) == 1) & (rim >= 2.0 * (SLIM - 1.0) * radius) & (radius > 0)
        slim &= ~(self._is_annulus(skeleton, area, rim) & flat)
        bars = flat & ~slim & (rim * rim >= 4.0 * (LONG_ASPECT + 1.0) ** 2 / LONG_ASPECT * area)
        bars &= self._lands_beside(rows) >= 2
        pours = [p for p in rows[shapely.get_type_id(skeleton) == 3].tolist() if self.role[p] == "sheet"]
        for p in rows[slim].tolist():
            shape = self.skeleton[p] if self.radius[p] <= 0 else shapely.buffer(self.skeleton[p], self.radius[p])
            if is_slim(shape) and not (
                self.role[p] == "sheet" and any(self.role.get(q) == "sheet" for q in self._touching(p))
            ):
                self._stretch([p], shape, self.role[p])
        for p in rows[bars].tolist():
            if p not in self.holes_at and self.radius[p] <= 0:
                self._bar(p)
        for p in pours:
            if self.role[p] == "sheet" and shapely.get_num_coordinates(self.skeleton[p]) <= MOST_RIM:
                self._part_pour(p)

    @staticmethod
    def _is_annulus(skeleton: NDArray[Any], area: NDArray[np.float64], rim: NDArray[np.float64]) -> NDArray[np.bool_]:
        """(n,) which pieces extend over less than APART_WIDTHS of their width: nothing on them lies far apart (a land with an opening)."""
        x0, y0, x1, y1 = shapely.bounds(skeleton).T
        return np.asarray(np.hypot(x1 - x0, y1 - y0) * rim < APART_WIDTHS * 2.0 * area)

    def _lands_beside(self, rows: NDArray[np.int64]) -> NDArray[np.int64]:
        """(rows,) how many other lands each piece touches."""
        is_land = np.zeros(self.given, dtype=bool)
        is_land[[p for p, role in self.role.items() if role == "land" and p < self.given]] = True
        pairs = self.layer.contacts[is_land[self.layer.contacts].all(axis=1)]
        count = np.bincount(pairs.ravel(), minlength=self.given)
        return np.where(is_land[rows], count[rows], 0)

    def _bar(self, p: int) -> None:
        """A flash that is no pin's own land and joins other lands at least LONG_ASPECT of its widths apart is a track."""
        reach = self._reach([p], self.skeleton[p])
        if not reach.pins and self.role[p] == "land":
            body = stroked(self.skeleton[p], reach, LONG_ASPECT)
            if body is not None and body.bones and not body.wide:
                self._replace([p], body, "land")

    def _part_pour(self, p: int) -> None:
        """A pour is parted at its necks: they are tracks between sheets."""
        if (
            len(self._touching(p))
            + len(self.holes_at.get(p, []))
            + len(self._pins_in(self.skeleton[p], int(self.island[p])))
            < 2
        ):
            return
        try:
            body = necked(
                self.skeleton[p],
                lambda: self._reach([p], self.skeleton[p]),
                lambda length, width: self._is_track([p], length, width),
            )
        except shapely.GEOSException:  # as in _stretch
            return
        if body is not None:
            self._replace([p], body, "sheet")

    def _stretch(self, pieces: list[int], shape: Any, role: str, brush_mm: float = 0.0) -> bool:
        """Makes a slim body of one net strokes if what it joins lies far apart; a land without an axis becomes a sheet. Whether it did.

        ``brush_mm`` the narrowest stroke that painted it: an axis that says less is none.
        """
        if role == "sheet" and not self._is_track(pieces, *slim_size(float(shape.area), float(shape.length))):
            return False
        try:
            body = stroked(shape, self._reach(pieces, shape), whole=role == "sheet")
        except shapely.GEOSException:  # an outline that no overlay can be made of stays what it is
            return False
        if body is None:
            return False
        if any(2.0 * bone.radius < BRUSH_SHARE * brush_mm for bone in body.bones):
            body.bones.clear()
        if role == "sheet" and not is_steady(body.bones):
            return False
        if body.bones:
            self._replace(pieces, body, "land")
            return True
        for p in pieces:
            self.stroke_of.pop(p, None)
            self.role[p] = "sheet"
        return True

    def _reach(self, pieces: list[int], shape: Any) -> Reach:
        """What a body joins: lands and holes by their middles, tracks and pours by their nearest places, pins without a land of their own."""
        own = set(pieces)
        holes = sorted({h for p in pieces for h in self.holes_at.get(p, [])})
        spots = [(b.x_mm + b.x2_mm, b.y_mm + b.y2_mm) for b in (self.board.holes[h] for h in holes)]
        middles = [(x / 2, y / 2) for x, y in spots]
        lands, others, pours = [], [], []
        for q in sorted({q for p in pieces for q in self._touching(p)} - own):
            role = self.role.get(q)
            if role == "land":
                lands.append(q)
                middle = shapely.centroid(self.skeleton[q])
                middles.append((float(middle.x), float(middle.y)))
            elif role in ("stroke", "sheet"):
                others.append(self.skeleton[q])
            if role == "sheet" and not (part := self._on(shape, q)).is_empty:
                pours.append(part)
        bare = [
            spot
            for spot in self._pins_in(shape, int(self.island[pieces[0]]))
            if not any(shapely.distance(self.skeleton[q], spot) <= self.radius[q] + 1e-6 for q in lands)
        ]
        return Reach(middles, others, [(float(s.x), float(s.y)) for s in bare], pours)

    def _on(self, shape: Any, sheet: int) -> Any:
        """What of a shape lies on a piece of a sheet."""
        x0, y0, x1, y1 = shape.bounds
        reach = float(self.radius[sheet])
        part = shapely.clip_by_rect(
            self.skeleton[sheet], x0 - reach - 1, y0 - reach - 1, x1 + reach + 1, y1 + reach + 1
        )
        part = part if part.is_valid else shapely.make_valid(part)
        return shapely.intersection(shape, shapely.buffer(part, reach) if reach > 0 else part)

    def _touching(self, p: int) -> list[int]:
        if self.partners is None:
            self.partners = {}
            for i, j in self.contacts:
                self.partners.setdefault(i, []).append(j)
                self.partners.setdefault(j, []).append(i)
        return self.partners.get(p, [])

    def _pins_in(self, shape: Any, net: int) -> list[Any]:
        """The places of surface pins of the net on this layer within the shape."""
        if self.pin_tree is None:
            pins = [
                pin
                for part in self.board.parts
                for pin in part.pins
                if pin.hole is None and self.layer.key in pin.layers
            ]
            nets = np.array([-1 if pin.net is None else pin.net for pin in pins], dtype=np.int64)
            self.pin_tree = (shapely.STRtree([shapely.Point(pin.x_mm, pin.y_mm) for pin in pins]), nets)
        tree, nets = self.pin_tree
        hit = sorted(tree.query(shape, predicate="intersects").tolist())
        return [tree.geometries[k] for k in hit if nets[k] in (-1, net)]

    # painted copper ---------------------------------------------------------------------------------------

    def _paint(self) -> None:
        pairs = [
            (self.stroke_of[i], self.stroke_of[j])
            for i, j in self.contacts
            if i < self.given and j < self.given and i in self.stroke_of and j in self.stroke_of
        ]
        beside = alongside(self.strokes, pairs)
        if not beside:
            return
        group = Union(len(self.strokes))
        for a, b in beside:
            group.join(a, b)
        clusters: dict[int, list[int]] = {}
        for k in sorted({k for pair in beside for k in pair}):
            clusters.setdefault(group.find(k), []).append(k)
        for members in clusters.values():
            self._settle(members)

    def _settle(self, members: list[int]) -> None:
        strokes = [self.strokes[k] for k in members]
        pieces, made, brush = [s.piece for s in strokes], None, 2.0 * min(s.radius for s in strokes)
        holes = sorted({h for p in pieces for h in self.holes_at.get(p, [])})
        cover = shapely.union_all([shapely.buffer(shapely.LineString(s.path), s.radius) for s in strokes])
        drill = max((self.board.holes[h].diameter_mm for h in holes), default=0.0)
        spots = shapely.points([s[0] for s in self.spots]) if self.spots else np.empty(0, dtype=object)
        pins = bool(len(spots)) and bool(shapely.intersects(cover, spots).any())
        if (drill > 0 and cover.area <= LAND_PER_HOLE * math.pi * drill * drill / 4) or (
            not holes and pins and cover.area <= LAND_MAX_MM2
        ):
            role = "land"
        else:
            made = one_stroke(strokes)
            if made is not None and self._is_track(pieces, math.dist(made[0][0], made[0][-1]), 2.0 * made[1]):
                if pins and is_slim(cover) and self._reach(pieces, cover).pins and self._stretch(pieces, cover, "land"):
                    return
                keep = strokes[0]
                keep.path, keep.radius = made
                for s in strokes[1:]:
                    self.stroke_of[s.piece] = members[0]
                return
            role = "sheet"
        if (
            is_slim(cover)
            and (role == "land" or (made is None and is_even(cover)))
            and self._stretch(pieces, cover, role, brush)
        ):
            return
        for s in strokes:
            self.role[s.piece] = role
            del self.stroke_of[s.piece]

    def _is_track(self, pieces: Iterable[int], length: float, width: float) -> bool:
        """Whether narrow copper is a track: long for its width, or little wider than the lands it holds; else current goes round them."""
        if width <= TRACK_MAX_MM and length >= SURE_ASPECT * width:
            return True
        lands = {q for p in pieces for q in self._touching(p) if self.role.get(q) == "land"}
        sizes = [math.sqrt(_area(self.skeleton[q], float(self.radius[q]))) for q in lands]
        sizes += (
            [self.board.holes[h].diameter_mm for p in pieces for h in self.holes_at.get(p, [])] if not sizes else []
        )
        return width <= (PER_LAND * min(sizes) if sizes else TRACK_MAX_MM)

    # groups -----------------------------------------------------------------------------------------------

    def _group(self) -> tuple[list[Blob], dict[int, int], dict[int, int]]:
        items: list[tuple[str, int]] = [("piece", p) for p in sorted(self.role) if self.role[p] in ("land", "sheet")]
        items += [("hole", h) for h in sorted(self.at_hole)]
        number = {item: k for k, item in enumerate(items)}
        group = Union(len(items))
        for i, j in self.contacts:
            if self.role.get(i) in ("land", "sheet") and self.role.get(i) == self.role.get(j):
                group.join(number["piece", i], number["piece", j])
        for hole, pieces in self.at_hole.items():
            for p in pieces:
                if self.role[p] == "land":
                    group.join(number["hole", hole], number["piece", p])
        blobs: list[Blob] = []
        blob_at: dict[int, int] = {}
        piece_blob: dict[int, int] = {}
        hole_blob: dict[int, int] = {}
        for item, k in number.items():
            root = group.find(k)
            if root not in blob_at:
                blob_at[root] = len(blobs)
                what, first = items[root]
                net = int(self.island[first if what == "piece" else self.at_hole[first][0]])
                blobs.append(Blob(self.role[first] if what == "piece" else "land", net))
            blob = blobs[blob_at[root]]
            what, index = item
            if what == "piece":
                piece_blob[index] = blob_at[root]
                blob.pieces.append((self.skeleton[index], float(self.radius[index])))
                blob.piece_ids.append(index)
                blob.flashed = blob.flashed or (self.role[index] == "land" and index < self.given)
            else:
                hole_blob[index] = blob_at[root]
                blob.pieces.append(self.hole_shape[index])
                blob.holes.append(index)
        for blob in blobs:
            blob.place = self._place(blob)
        return blobs, piece_blob, hole_blob

    def _place(self, blob: Blob) -> Point:
        if blob.holes:
            hole = self.board.holes[blob.holes[0]]
            return ((hole.x_mm + hole.x2_mm) / 2, (hole.y_mm + hole.y2_mm) / 2)
        skeleton = blob.pieces[0][0]
        spot = shapely.centroid(skeleton) if blob.kind == "land" else shapely.point_on_surface(skeleton)
        return (float(spot.x), float(spot.y))

    # who touches whom -------------------------------------------------------------------------------------

    def _touch(self, blobs: list[Blob], piece_blob: dict[int, int], hole_blob: dict[int, int]) -> LayerParts:
        strokes_used = sorted(set(self.stroke_of.values()))
        renumber = {old: new for new, old in enumerate(strokes_used)}
        stroke_of = {p: renumber[k] for p, k in self.stroke_of.items()}
        ss: set[tuple[int, int]] = set()
        sb: set[tuple[int, int]] = set()
        bb: set[tuple[int, int]] = set()
        for i, j in self.contacts:
            si, sj, bi, bj = stroke_of.get(i), stroke_of.get(j), piece_blob.get(i), piece_blob.get(j)
            if si is not None and sj is not None and si != sj:
                ss.add((min(si, sj), max(si, sj)))
            elif si is not None and bj is not None:
                sb.add((si, bj))
            elif sj is not None and bi is not None:
                sb.add((sj, bi))
            elif bi is not None and bj is not None and bi != bj:
                bb.add(_land_first(bi, bj, blobs))
        for hole, pieces in self.at_hole.items():
            own = hole_blob[hole]
            for p in pieces:
                if p in stroke_of:
                    sb.add((stroke_of[p], own))
                elif p in piece_blob and piece_blob[p] != own:
                    bb.add(_land_first(own, piece_blob[p], blobs))
        return LayerParts(
            self.layer.key,
            [self.strokes[k] for k in strokes_used],
            blobs,
            sorted(ss),
            sorted(sb),
            sorted(bb),
            hole_blob,
            {p: b for p, b in piece_blob.items() if p < self.given},
            [(self.skeleton[p], b) for p, b in piece_blob.items() if p >= self.given],
        )


def _land_first(a: int, b: int, blobs: list[Blob]) -> tuple[int, int]:
    return (a, b) if blobs[a].kind == "land" else (b, a)


def hole_shapes(board: Board) -> list[tuple[Any, float]]:
    """Every hole as (skeleton, radius): a disc, or a capsule for a slot."""
    ends = np.array([(h.x_mm, h.y_mm, h.x2_mm, h.y2_mm) for h in board.holes]).reshape(-1, 2, 2)
    shapes = shapely.points(ends[:, 0])
    slots = np.flatnonzero(np.any(ends[:, 0] != ends[:, 1], axis=1))
    shapes[slots] = shapely.linestrings(ends[slots])
    return [(shape, h.diameter_mm / 2) for shape, h in zip(shapes, board.holes, strict=True)]


def _ends(strokes: Sequence[Stroke], index: Iterable[int]) -> NDArray[np.float64]:
    return np.array(
        [(*strokes[k].path[0], *strokes[k].path[-1], strokes[k].radius) for k in index], dtype=np.float64
    ).reshape(-1, 5)


def alongside(strokes: Sequence[Stroke], pairs: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """The pairs of straight strokes that overlap sideways over a length: painted copper, not a joint.

    A stroke that lies wholly within the width of another is no paint (it adds nothing).

    >>> a, b = Stroke([(0.0, 0.0), (5.0, 0.0)], 0.2, 0, 0), Stroke([(0.0, 0.3), (5.0, 0.3)], 0.2, 0, 1)
    >>> alongside([a, b], [(0, 1)])
    [(0, 1)]
    """
    straight = [(i, j) for i, j in pairs if strokes[i].straight and strokes[j].straight]
    if not straight:
        return []
    a, b = _ends(strokes, (i for i, _ in straight)), _ends(strokes, (j for _, j in straight))
    swap = np.hypot(a[:, 2] - a[:, 0], a[:, 3] - a[:, 1]) < np.hypot(b[:, 2] - b[:, 0], b[:, 3] - b[:, 1])
    a[swap], b[swap] = b[swap], a[swap]
    ua, ub = a[:, 2:4] - a[:, 0:2], b[:, 2:4] - b[:, 0:2]
    la, lb = np.hypot(*ua.T), np.hypot(*ub.T)
    ua, ub = ua / la[:, None], ub / lb[:, None]
    sine = np.abs(ua[:, 0] * ub[:, 1] - ua[:, 1] * ub[:, 0])
    start, end = b[:, 0:2] - a[:, 0:2], b[:, 2:4] - a[:, 0:2]
    along = np.stack([np.sum(start * ua, axis=1), np.sum(end * ua, axis=1)])
    overlap = np.minimum(la, along.max(axis=0)) - np.maximum(0.0, along.min(axis=0))
    middle = (start + end) / 2
    off = np.abs(middle[:, 0] * ua[:, 1] - middle[:, 1] * ua[:, 0])
    ra, rb = a[:, 4], b[:, 4]
    wide = np.maximum(ra, rb)
    hit = (
        (sine < PARALLEL_SINE)
        & (off > np.abs(ra - rb) + 1e-6)
        & (off < ra + rb)
        & (overlap >= PAINT_LENGTH_RADII * wide)
    )
    found = [straight[k] for k in np.flatnonzero(hit).tolist()]
    paint = _mostly_covered(strokes, found)
    return [(i, j) for i, j in found if i in paint and j in paint]


def _mostly_covered(strokes: Sequence[Stroke], pairs: Sequence[tuple[int, int]]) -> set[int]:
    """The strokes that others lie alongside of for at least half their length: a track that ends in painted copper is none of them."""
    along: dict[int, list[Interval]] = {}
    for i, j in pairs:
        for own, other in ((i, j), (j, i)):
            (x0, y0), (x1, y1) = strokes[own].path
            length = math.dist((x0, y0), (x1, y1))
            at = [((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length for x, y in strokes[other].path]
            along.setdefault(own, []).append((max(0.0, min(at)), min(length, max(at))))
    return {
        k
        for k, parts in along.items()
        if sum(e - s for s, e in merged(parts)) >= PAINT_SHARE * math.dist(*strokes[k].path)
    }


def one_stroke(strokes: Sequence[Stroke]) -> tuple[list[Point], float] | None:
    """Painted strokes that run together as one wide stroke: centre line and half width; None where they make no long strip.

    >>> a, b = Stroke([(0.0, 0.0), (9.0, 0.0)], 0.2, 0, 0), Stroke([(0.0, 0.3), (9.0, 0.3)], 0.2, 0, 1)
    >>> path, radius = one_stroke([a, b])
    >>> [(round(x, 3), round(y, 3)) for x, y in path], round(radius, 3)
    ([(0.0, 0.15), (9.0, 0.15)], 0.35)
    """
    longest = max(strokes, key=lambda s: (math.dist(s.path[0], s.path[-1]), -s.piece))
    (x0, y0), (x1, y1) = longest.path[0], longest.path[-1]
    length = math.dist((x0, y0), (x1, y1))
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    low, high = math.inf, -math.inf
    begin, stop = math.inf, -math.inf
    for s in strokes:
        along = [(x - x0) * ux + (y - y0) * uy for x, y in (s.path[0], s.path[-1])]
        off = [(y - y0) * ux - (x - x0) * uy for x, y in (s.path[0], s.path[-1])]
        if (
            abs(off[1] - off[0]) > 2 * PARALLEL_SINE * max(abs(along[1] - along[0]), s.radius)
            or abs(along[1] - along[0]) < 0.8 * length
        ):
            return None
        low, high = min(low, *(o - s.radius for o in off)), max(high, *(o + s.radius for o in off))
        begin, stop = min(begin, *along), max(stop, *along)
    if stop - begin < LONG_ASPECT * (high - low):
        return None
    mid = (low + high) / 2
    path = [(x0 + ux * t - uy * mid, y0 + uy * t + ux * mid) for t in (begin, stop)]
    return path, (high - low) / 2


def sort_layer(
    board: Board,
    layer: CopperLayer,
    wanted: NDArray[np.bool_],
    spots: Sequence[tuple[Point, float]],
    holes: Sequence[tuple[Any, float]],
) -> LayerParts:
    """One layer as strokes, lands and sheets with who touches whom.

    ``wanted`` (nets,) islands to look at; ``spots`` places of pins and holes as ((x_mm, y_mm), drill_mm), drill 0 for surface pins;
    ``holes`` the board's holes as ``hole_shapes`` gives them.
    """
    return _Sorter(board, layer, wanted, spots, holes).run()
