"""Apertures to templates: the shape around the origin that a flash puts down, as one skeleton and one radius."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.geometry.arcs import CHORD_ERROR_MM, TAU, chord_count
from coppermend.core.geometry.tangles import Tangles
from coppermend.formats.gerber.macro import MacroError

Geometry = Any
"""A shapely geometry (shapely ships no types)."""

Piece = tuple[bool, Geometry, float]
"""One primitive of a macro: exposure on, skeleton, radius."""

MAX_VERTICES = 100_000


@dataclass(frozen=True, slots=True)
class Template:
    """A flash at the origin: everything within ``radius_mm`` of ``skeleton``. ``convex``: its hull can be swept."""

    skeleton: Geometry
    radius_mm: float
    convex: bool = True

    @property
    def round(self) -> bool:
        """Whether it is a disc around the origin."""
        return isinstance(self.skeleton, shapely.Point) and self.skeleton.x == 0.0 and self.skeleton.y == 0.0


HAIRLINE = Template(shapely.Point(0, 0), 0.0)
"""A circle of size 0."""


@dataclass(frozen=True, slots=True)
class Turn:
    """LM, LR, LS of a flash: mirrored at the x axis first if ``flip``, then multiplied by the complex number ``z``."""

    z: complex = 1.0 + 0.0j
    flip: bool = False

    def after(self, inner: Turn) -> Turn:
        """This turn applied to something already turned by ``inner``."""
        return Turn(self.z * (inner.z.conjugate() if self.flip else inner.z), self.flip != inner.flip)

    def apply(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) points turned."""
        c = xy[:, 0] + 1j * xy[:, 1]
        out = self.z * (c.conj() if self.flip else c)
        return np.column_stack([out.real, out.imag])

    def point(self, x: float, y: float) -> tuple[float, float]:
        """One point turned."""
        out = self.z * complex(x, -y if self.flip else y)
        return out.real, out.imag


NO_TURN = Turn()


def turn_of(mirror_x: bool, mirror_y: bool, degrees: float, scale: float) -> Turn:
    """LM, then LR counter-clockwise, then LS. Mirroring both axes is half a turn.

    >>> turn_of(True, False, 0.0, 1.0).point(1.0, 2.0)
    (-1.0, 2.0)
    """
    z = scale * rotation(degrees)
    return Turn(-z if mirror_x else z, mirror_x != mirror_y)


def rotation(degrees: float) -> complex:
    """e^(i a), exact at multiples of 90 degrees."""
    quarter = degrees / 90.0
    if quarter == int(quarter):
        return (1 + 0j, 1j, -1 + 0j, -1j)[int(quarter) % 4]
    a = math.radians(degrees)
    return complex(math.cos(a), math.sin(a))


def turned(template: Template, turn: Turn) -> Template:
    """The template mirrored, rotated and scaled about the origin."""
    if turn == NO_TURN:
        return template
    skeleton = shapely.transform(template.skeleton, turn.apply)
    return Template(skeleton, template.radius_mm * abs(turn.z), template.convex)


def circle_ring(radius_mm: float, x: float = 0.0, y: float = 0.0) -> NDArray[np.float64]:
    """(n, 2) points on a circle, chords within CHORD_ERROR_MM, a multiple of four of them."""
    n = 4 * max(2, math.ceil(chord_count(radius_mm, TAU) / 4))
    a = np.arange(n) * (TAU / n)
    return np.column_stack([x + radius_mm * np.cos(a), y + radius_mm * np.sin(a)])


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Geometry:
    """An axis-parallel rectangle."""
    return shapely.Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def standard(kind: str, values: Sequence[float]) -> Template | None:
    """Template of C, R, O or P; ``values`` in mm (P: vertices and degrees as they stand). None where it has no area.

    Raises MacroError for missing or impossible numbers.

    >>> standard("O", [3.0, 1.0]).radius_mm
    0.5
    """
    need = {"C": 1, "R": 2, "O": 2, "P": 2}[kind]
    if len(values) < need:
        raise MacroError(f"aperture {kind} needs {need} numbers, {len(values)} found")
    if min(values[: 1 if kind == "P" else need]) < 0:
        raise MacroError(f"aperture {kind} has a negative size")
    solid = _solid(kind, values)
    hole = values[{"C": 1, "R": 2, "O": 2, "P": 3}[kind] :]
    if solid is None or not hole or max(hole[:2]) <= 0:
        return solid
    return _with_hole(kind, solid, values, hole)


def _solid(kind: str, values: Sequence[float]) -> Template | None:
    if kind == "C":
        return Template(shapely.Point(0, 0), values[0] / 2) if values[0] > 0 else None
    if kind == "P":
        n = int(values[1])
        if not 3 <= n <= 1000:
            raise MacroError(f"a polygon aperture has 3 to 12 corners, {values[1]:g} found")
        if values[0] <= 0:
            return None
        return Template(_regular(n, values[0], values[2] if len(values) > 2 else 0.0), 0.0)
    w, h = values[0], values[1]
    if w <= 0 or h <= 0:
        return None
    if kind == "R":
        return Template(rectangle(-w / 2, -h / 2, w / 2, h / 2), 0.0)
    if w == h:
        return Template(shapely.Point(0, 0), w / 2)
    dx, dy = max(0.0, (w - h) / 2), max(0.0, (h - w) / 2)
    return Template(shapely.LineString([(-dx, -dy), (dx, dy)]), min(w, h) / 2)


def _with_hole(kind: str, solid: Template, values: Sequence[float], hole: Sequence[float]) -> Template | None:
    if len(hole) > 1 and hole[1] > 0:
        cut: Geometry = rectangle(-hole[0] / 2, -hole[1] / 2, hole[0] / 2, hole[1] / 2)
    elif kind == "C":
        if hole[0] >= values[0]:
            return None
        ring = circle_ring((values[0] + hole[0]) / 4)
        return Template(shapely.LineString(np.vstack([ring, ring[:1]])), (values[0] - hole[0]) / 4, convex=False)
    else:
        cut = shapely.Polygon(circle_ring(hole[0] / 2))
    rest = shapely.difference(flattened(solid.skeleton, solid.radius_mm), cut)
    return None if rest.is_empty else Template(rest, 0.0, convex=False)


def _regular(n: int, diameter: float, degrees: float, x: float = 0.0, y: float = 0.0) -> Geometry:
    a = math.radians(degrees) + np.arange(n) * (TAU / n)
    return shapely.Polygon(np.column_stack([x + diameter / 2 * np.cos(a), y + diameter / 2 * np.sin(a)]))


def flattened(skeleton: Geometry, radius_mm: float) -> Geometry:
    """Skeleton + radius as a polygon, round ends within CHORD_ERROR_MM."""
    if radius_mm <= 0:
        return skeleton
    quad_segs = max(2, math.ceil(chord_count(radius_mm, TAU) / 4))
    return shapely.buffer(skeleton, radius_mm, quad_segs=quad_segs)


def pieces_of(primitives: Sequence[tuple[int, list[float]]], scale: float) -> list[Piece]:
    """The primitives of an evaluated macro as pieces in mm. Raises MacroError for wrong counts or codes."""
    out: list[Piece] = []
    for code, v in primitives:
        maker = _MAKERS.get(code)
        if maker is None:
            raise MacroError(f"primitive code {code} does not exist; known are 1, 2, 4, 5, 6, 7, 20, 21, 22")
        need, make = maker
        if len(v) < need:
            raise MacroError(f"primitive {code} needs {need} numbers, {len(v)} found")
        out.extend(make(v, scale))
    return out


def _spin(geometry: Geometry, degrees: float) -> Geometry:
    if degrees == 0.0:
        return geometry
    return shapely.transform(geometry, Turn(rotation(degrees)).apply)


def _rot(v: Sequence[float], at: int) -> float:
    return v[at] if len(v) > at else 0.0


def _circle(v: list[float], k: float) -> list[Piece]:
    centre = _spin(shapely.Point(v[2] * k, v[3] * k), _rot(v, 4))
    return [(v[0] >= 0.5, centre, v[1] * k / 2)] if v[1] > 0 else []


def _vector_line(v: list[float], k: float) -> list[Piece]:
    w, x0, y0, x1, y1 = (n * k for n in v[1:6])
    length = math.hypot(x1 - x0, y1 - y0)
    if length == 0 or w <= 0:
        return []
    nx, ny = -(y1 - y0) / length * w / 2, (x1 - x0) / length * w / 2
    body = shapely.Polygon([(x0 + nx, y0 + ny), (x0 - nx, y0 - ny), (x1 - nx, y1 - ny), (x1 + nx, y1 + ny)])
    return [(v[0] >= 0.5, _spin(body, _rot(v, 6)), 0.0)]


def _center_line(v: list[float], k: float) -> list[Piece]:
    w, h, x, y = (n * k for n in v[1:5])
    if w <= 0 or h <= 0:
        return []
    return [(v[0] >= 0.5, _spin(rectangle(x - w / 2, y - h / 2, x + w / 2, y + h / 2), _rot(v, 5)), 0.0)]


def _lower_left_line(v: list[float], k: float) -> list[Piece]:
    w, h, x, y = (n * k for n in v[1:5])
    if w <= 0 or h <= 0:
        return []
    return [(v[0] >= 0.5, _spin(rectangle(x, y, x + w, y + h), _rot(v, 5)), 0.0)]


def _outline(v: list[float], k: float) -> list[Piece]:
    n = int(v[1])
    if not 1 <= n <= MAX_VERTICES or len(v) < 2 + 2 * (n + 1):
        raise MacroError(
            f"outline with {v[1]:g} corners needs {2 * (n + 1) if n > 0 else '?'} coordinates, {len(v) - 2} found"
        )
    ring = np.asarray(v[2 : 2 + 2 * (n + 1)], dtype=np.float64).reshape(-1, 2) * k
    if n < 3:
        return []
    body = polygonal(shapely.Polygon(ring))
    if body.is_empty:
        return []
    return [(v[0] >= 0.5, _spin(body, _rot(v, 2 + 2 * (n + 1))), 0.0)]


def _polygon(v: list[float], k: float) -> list[Piece]:
    n = int(v[1])
    if not 3 <= n <= 1000:
        raise MacroError(f"polygon primitive with {v[1]:g} corners")
    if v[4] <= 0:
        return []
    return [(v[0] >= 0.5, _spin(_regular(n, v[4] * k, 0.0, v[2] * k, v[3] * k), _rot(v, 5)), 0.0)]


def _moire(v: list[float], k: float) -> list[Piece]:
    x, y, outer, ring, gap = (n * k for n in v[:5])
    cross, length, spin = v[6] * k, v[7] * k, _rot(v, 8)
    out: list[Piece] = []
    centre = _spin(shapely.Point(x, y), spin)
    for _ in range(min(1000, int(v[5]))):
        if outer <= 0:
            break
        inner = outer - 2 * ring
        if inner <= 0:
            out.append((True, centre, outer / 2))
            break
        circle = circle_ring((outer + inner) / 4, centre.x, centre.y)
        out.append((True, shapely.LineString(np.vstack([circle, circle[:1]])), (outer - inner) / 4))
        outer = inner - 2 * gap
    if cross > 0 and length > 0:
        for w, h in ((length, cross), (cross, length)):
            out.append((True, _spin(rectangle(x - w / 2, y - h / 2, x + w / 2, y + h / 2), spin), 0.0))
    return out


def _thermal(v: list[float], k: float) -> list[Piece]:
    x, y, outer, inner, gap = (n * k for n in v[:5])
    if outer <= 0 or outer <= inner:
        return []
    body = shapely.Polygon(circle_ring(outer / 2, x, y))
    cuts = [
        rectangle(x - outer, y - gap / 2, x + outer, y + gap / 2),
        rectangle(x - gap / 2, y - outer, x + gap / 2, y + outer),
    ]
    if inner > 0:
        cuts.append(shapely.Polygon(circle_ring(inner / 2, x, y)))
    rest = shapely.difference(body, shapely.union_all(cuts))
    return [] if rest.is_empty else [(True, _spin(rest, _rot(v, 5)), 0.0)]


_MAKERS = {
    1: (4, _circle), 2: (6, _vector_line), 20: (6, _vector_line), 21: (5, _center_line), 22: (5, _lower_left_line),
    4: (2, _outline), 5: (5, _polygon), 6: (8, _moire), 7: (5, _thermal),
}  # fmt: skip


def polygonal(geometry: Geometry) -> Geometry:
    """The area of one polygon whose ring may touch or cross itself (cut-ins): even-odd, lines dropped; may be empty."""
    return mended(np.array([geometry], dtype=object))[0][0]


def mended(polygons: NDArray[Any]) -> tuple[NDArray[Any], int]:
    """Polygons with every ring that touches or crosses itself replaced by its area (even-odd), and how many those were.

    Where nothing is covered twice (cut-ins, touching corners) the area inside the ring by the shoelace formula is that of a
    zero-width buffer, which is 20 times faster than the general repair; only what is left takes the slow way (Refusal GEO-001 where it is too slow).
    """
    bad = np.flatnonzero(~shapely.is_valid(polygons))
    if not len(bad):
        return polygons, 0
    out = polygons.copy()
    broken = polygons[bad]
    tangles = Tangles()
    for one in broken:
        tangles.look(one)
    quick = shapely.buffer(broken, 0)
    ring = shapely.area(broken)
    simple = np.abs(shapely.area(quick) - ring) <= 1e-9 * np.maximum(1.0, ring)
    out[bad[simple]] = quick[simple]
    for n in bad[~simple]:
        out[n] = _even_odd(polygons[n], tangles)
    return out, len(bad)


def _even_odd(polygon: Geometry, tangles: Tangles) -> Geometry:
    tangles.take(polygon)
    made = shapely.make_valid(polygon)
    if made.geom_type in ("Polygon", "MultiPolygon"):
        return made
    areas = [g for g in shapely.get_parts(made) if g.geom_type in ("Polygon", "MultiPolygon")]
    return shapely.union_all(areas) if areas else shapely.Polygon()


def template_of(pieces: Sequence[Piece]) -> Template | None:
    """One template for a macro's pieces: exact where they are one thing grown by a radius, else their area as polygons."""
    if not pieces:
        return None
    if len(pieces) == 1:
        on, skeleton, radius = pieces[0]
        if not on:
            return None
        convex = skeleton.geom_type in ("Point", "LineString") or _is_convex(skeleton)
        return Template(skeleton, radius, convex)
    area = _area(pieces)
    if area.is_empty:
        return None
    return _rounded(pieces, area) or Template(area, 0.0, _is_convex(area))


def _area(pieces: Sequence[Piece]) -> Geometry:
    """The pieces painted one after the other; runs of equal exposure at once."""
    area: Geometry = shapely.Polygon()
    start = 0
    while start < len(pieces):
        stop = start
        while stop < len(pieces) and pieces[stop][0] == pieces[start][0]:
            stop += 1
        run = shapely.union_all([flattened(s, r) for _, s, r in pieces[start:stop]])
        area = shapely.union(area, run) if pieces[start][0] else shapely.difference(area, run)
        start = stop
    return area


def _rounded(pieces: Sequence[Piece], area: Geometry) -> Template | None:
    """The hull of equal circles grown by their radius, where that is the whole area (rounded rectangles, obrounds, capsules)."""
    discs = [(s, r) for on, s, r in pieces if on and s.geom_type == "Point"]
    if len(discs) < 2 or len(discs) > 64 or any(not on for on, _, _ in pieces):
        return None
    radius = discs[0][1]
    if any(abs(r - radius) > 1e-6 for _, r in discs):
        return None
    hull = shapely.convex_hull(shapely.MultiPoint([s for s, _ in discs]))
    grown = flattened(hull, radius)
    allowed = grown.length * 2 * CHORD_ERROR_MM
    if shapely.symmetric_difference(grown, area).area > allowed:
        return None
    return Template(hull, radius)


def _is_convex(area: Geometry) -> bool:
    return bool(area.convex_hull.area - area.area <= 1e-9 * max(1.0, area.area))
