"""Primitives of IPC-2581 as skeletons and radii in mm.

Names and meanings of the elements: IPC-2581 revisions A to C, 3.5 (standard primitives, user primitives, simple shapes); from memory,
checked against files of one design system. Arcs become chords within CHORD_ERROR_MM.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.geometry.arcs import CHORD_ERROR_MM, TAU, chord_count, multi_quadrant
from coppermend.core.geometry.arcs import points as arc_points
from coppermend.core.geometry.tangles import Tangles
from coppermend.formats.ipc2581.xmlread import BadNumber, Element, local, number, numbers

MAX_PIECES = 20_000
"""Pieces of one primitive; more is refused (primitives that refer to primitives multiply)."""

MAX_NESTING = 8

Points = list[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of a primitive: skeleton, radius, what drew it (``draw``, ``arc``, ``region``), dark or clear."""

    skeleton: Any
    radius_mm: float
    kind: str
    dark: bool = True

    @property
    def bare(self) -> bool:
        """Whether it is a line without width. A line with square or cut ends has its width in its area and no radius."""
        return (
            self.kind != "region" and self.radius_mm == 0 and self.skeleton.geom_type not in ("Polygon", "MultiPolygon")
        )


class TooMany(Exception):
    """A primitive has more pieces or deeper nesting than is read."""


@dataclass(frozen=True, slots=True)
class Move:
    """What Xform says: turned counter-clockwise, then mirrored about the y axis, then scaled, then moved by its offset.

    The order is that of the attributes in the standard (IPC-2581, section 3.3, from memory; a public reader of the format was corrected to it
    in 2026). Parts, which are known by their pins, are tried in both orders (parts.move_on_board); lands are not.
    """

    degrees: float = 0.0
    mirror: bool = False
    scale: float = 1.0
    dx_mm: float = 0.0
    dy_mm: float = 0.0

    def apply(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) points moved.

        >>> Move(90.0, True).apply(np.array([[1.0, 0.0]])).round(9).tolist()
        [[0.0, 1.0]]
        """
        c, s = _turn(self.degrees)
        x, y = xy[:, 0], xy[:, 1]
        k = self.scale
        across = -k if self.mirror else k
        return np.column_stack([across * (c * x - s * y) + self.dx_mm, k * (s * x + c * y) + self.dy_mm])


STILL = Move()


def _turn(degrees: float) -> tuple[float, float]:
    quarter = degrees / 90.0
    if quarter == int(quarter):
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    return math.cos(math.radians(degrees)), math.sin(math.radians(degrees))


def move_of(element: Element | None, unit: float) -> Move:
    """The Move of an Xform element (None: none)."""
    if element is None:
        return STILL
    scale = number(element, "scale", 1.0, 1.0)
    if not 1e-3 <= scale <= 1e3:
        raise BadNumber("Xform", "scale", element.get("scale", ""))
    return Move(
        number(element, "rotation", 1.0, 0.0),
        element.get("mirror", "false").strip().lower() in ("true", "1"),
        scale,
        number(element, "xOffset", unit, 0.0),
        number(element, "yOffset", unit, 0.0),
    )


def moved(pieces: Sequence[Piece], move: Move) -> tuple[Piece, ...]:
    """The pieces after a Move."""
    if move == STILL:
        return tuple(pieces)
    return tuple(
        Piece(shapely.transform(one.skeleton, move.apply), one.radius_mm * move.scale, one.kind, one.dark)
        for one in pieces
    )


def child(element: Element, name: str) -> Element | None:
    """The first child of that name."""
    for one in element:
        if local(one.tag) == name:
            return one
    return None


def path_points(element: Element, unit: float) -> Points:
    """Points of a Polygon, Polyline or Cutout: PolyBegin, PolyStepSegment, PolyStepCurve (arcs as chords)."""
    steps = list(element)
    tags = {step.tag for step in steps}
    if tags <= {"PolyBegin", "PolyStepSegment"}:
        return list(zip(numbers(steps, "x", unit), numbers(steps, "y", unit), strict=True))
    out: Points = []
    for step in steps:
        tag = local(step.tag)
        if tag in ("PolyBegin", "PolyStepSegment"):
            out.append((number(step, "x", unit), number(step, "y", unit)))
        elif tag == "PolyStepCurve" and out:
            end = (number(step, "x", unit), number(step, "y", unit))
            centre = (number(step, "centerX", unit), number(step, "centerY", unit))
            out += _arc(out[-1], end, centre, _clockwise(step))
    return out


def _clockwise(element: Element) -> bool:
    return element.get("clockwise", "false").strip().lower() in ("true", "1")


def _arc(start: tuple[float, float], end: tuple[float, float], centre: tuple[float, float], clockwise: bool) -> Points:
    arc = multi_quadrant(*start, *end, centre[0] - start[0], centre[1] - start[1], clockwise)
    return arc_points(*start, *end, arc)[0]


def area(rings: Sequence[Points], tangles: Tangles | None = None) -> Any | None:
    """The polygon of an outer ring and its cutouts; rings that cross themselves by the even-odd rule; None without area. ``tangles`` counts for the file; Refusal GEO-001."""
    shells = [ring for ring in rings if len(ring) > 2]
    if not shells or len(rings[0]) < 3:
        return None
    whole = shapely.Polygon(shells[0], list(shells[1:]))
    if not whole.is_valid:
        tangles = tangles or Tangles()
        solids = [_solid(ring, tangles) for ring in shells]
        whole = solids[0] if len(solids) == 1 else shapely.difference(solids[0], shapely.union_all(solids[1:]))
    return None if whole.is_empty or whole.area <= 0 else whole


def _solid(ring: Points, tangles: Tangles) -> Any:
    """The area of a ring by the even-odd rule; where nothing is covered twice (cut-ins) a zero-width buffer is the same and faster."""
    polygon = shapely.Polygon(ring)
    tangles.look(polygon)
    quick = shapely.buffer(polygon, 0)
    if abs(quick.area - polygon.area) <= 1e-9 * max(1.0, polygon.area):
        return quick
    tangles.take(polygon)
    made = shapely.make_valid(polygon)
    return shapely.union_all([one for one in shapely.get_parts(made) if one.geom_type == "Polygon"])


def circle(radius_mm: float) -> Points:
    """Points on a circle round the origin, chords within CHORD_ERROR_MM."""
    n = 4 * max(2, math.ceil(chord_count(radius_mm, TAU) / 4))
    return [(radius_mm * math.cos(k * TAU / n), radius_mm * math.sin(k * TAU / n)) for k in range(n)]


def box(width: float, height: float) -> Points:
    """Corners of a rectangle round the origin."""
    return [
        (-width / 2, -height / 2),
        (width / 2, -height / 2),
        (width / 2, height / 2),
        (-width / 2, height / 2),
    ]


_CORNERS = ("lowerLeft", "lowerRight", "upperRight", "upperLeft")


def _corner_flags(element: Element) -> list[bool]:
    said = [element.get(name) for name in _CORNERS]
    if all(one is None for one in said):
        return [True] * 4
    return [one is not None and one.strip().lower() in ("true", "1") for one in said]


def _rounded(w: float, h: float, r: float, flags: Sequence[bool]) -> tuple[Any, float]:
    r = min(r, w / 2, h / 2)
    if r <= 0 or not any(flags):
        return shapely.Polygon(box(w, h)), 0.0
    if all(flags):
        dx, dy = w / 2 - r, h / 2 - r
        if dx <= 1e-9 and dy <= 1e-9:
            return shapely.Point(0, 0), r
        if dx <= 1e-9 or dy <= 1e-9:
            return shapely.LineString([(-dx, -dy), (dx, dy)]), r
        return shapely.Polygon(box(2 * dx, 2 * dy)), r
    out: Points = []
    n = chord_count(r, TAU / 4)
    for at, ((x, y), on) in enumerate(zip(box(w, h), flags, strict=True)):
        if not on:
            out.append((x, y))
            continue
        cx, cy = x - math.copysign(r, x), y - math.copysign(r, y)
        first = math.pi + at * math.pi / 2
        out += [
            (
                cx + r * math.cos(first + k * math.pi / 2 / n),
                cy + r * math.sin(first + k * math.pi / 2 / n),
            )
            for k in range(n + 1)
        ]
    return shapely.Polygon(out), 0.0


def _chamfered(w: float, h: float, cut: float, flags: Sequence[bool]) -> Any:
    cut = min(cut, w / 2, h / 2)
    out: Points = []
    for at, ((x, y), on) in enumerate(zip(box(w, h), flags, strict=True)):
        if not on or cut <= 0:
            out.append((x, y))
            continue
        along_y, along_x = (x, y - math.copysign(cut, y)), (x - math.copysign(cut, x), y)
        out += [along_y, along_x] if at % 2 == 0 else [along_x, along_y]
    return shapely.Polygon(out)


def _regular(corners: int, across: float, first: float) -> Any:
    r = across / 2
    return shapely.Polygon(
        [(r * math.cos(first + k * TAU / corners), r * math.sin(first + k * TAU / corners)) for k in range(corners)]
    )


def _ring_pieces(outer: float, inner: float, shape: str) -> list[tuple[Any, float]]:
    """A ring (Donut): exact where round, else outer minus inner outline."""
    if inner >= outer:
        raise BadNumber("Donut", "innerDiameter", f"{inner:g}")
    if inner <= 0:
        return [(shapely.Point(0, 0), outer / 2)] if shape == "ROUND" else [(shapely.Polygon(box(outer, outer)), 0.0)]
    if shape == "ROUND":
        return [(shapely.Polygon(circle(outer / 2), [circle(inner / 2)]), 0.0)]

    def make(d: float) -> Any:
        if shape == "HEXAGON":
            return _regular(6, d, 0.0)
        if shape == "OCTAGON":
            return _regular(8, d, math.pi / 8)
        return shapely.Polygon(box(d, d))

    return [(shapely.difference(make(outer), make(inner)), 0.0)]


def _thermal(element: Element, unit: float) -> list[tuple[Any, float]]:
    outer, inner = number(element, "outerDiameter", unit), number(element, "innerDiameter", unit, 0.0)
    ring = _ring_pieces(outer, inner, element.get("shape", "ROUND").upper())[0]
    whole = ring[0] if ring[1] == 0 else shapely.Polygon(circle(ring[1]))
    count = int(number(element, "spokeCount", 1.0, 0.0))
    gap = number(element, "gap", unit, 0.0)
    if not 0 <= count <= 64:
        raise BadNumber("Thermal", "spokeCount", element.get("spokeCount", ""))
    first = number(element, "spokeStartAngle", 1.0, 0.0)
    for k in range(count):
        c, s = _turn(first + 360.0 * k / count)
        along = shapely.LineString([(0, 0), (outer * c, outer * s)])
        whole = shapely.difference(whole, shapely.buffer(along, gap / 2, cap_style="flat"))
    return [(whole, 0.0)]


def standard(element: Element, unit: float) -> list[tuple[Any, float]] | None:
    """Skeletons and radii of a standard primitive; None for an element that is none."""
    tag = local(element.tag)

    def n(key: str, default: float | None = None) -> float:
        value = number(element, key, unit, default)
        if value < 0:
            raise BadNumber(tag, key, element.get(key, ""))
        return value

    if tag == "Circle":
        return [(shapely.Point(0, 0), n("diameter") / 2)]
    if tag == "RectCenter":
        return [(shapely.Polygon(box(n("width"), n("height"))), 0.0)]
    if tag == "RectCorner":
        x0, y0 = number(element, "lowerLeftX", unit), number(element, "lowerLeftY", unit)
        x1, y1 = number(element, "upperRightX", unit), number(element, "upperRightY", unit)
        return [(shapely.box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)), 0.0)]
    if tag == "RectRound":
        return [_rounded(n("width"), n("height"), n("radius"), _corner_flags(element))]
    if tag == "RectCham":
        return [(_chamfered(n("width"), n("height"), n("chamfer"), _corner_flags(element)), 0.0)]
    if tag == "Oval":
        w, h = n("width"), n("height")
        return [_rounded(w, h, min(w, h) / 2, [True] * 4)]
    if tag == "Ellipse":
        w, h = n("width"), n("height")
        if min(w, h) <= 0:
            return [(shapely.Polygon(), 0.0)]
        ring = circle(max(w, h) / 2)
        k = max(w, h)
        return [(shapely.Polygon([(x * w / k, y * h / k) for x, y in ring]), 0.0)]
    if tag == "Donut":
        return _ring_pieces(n("outerDiameter"), n("innerDiameter"), element.get("shape", "ROUND").upper())
    if tag == "Thermal":
        return _thermal(element, unit)
    if tag == "Moire":
        return _moire(element, unit)
    if tag == "Diamond":
        w, h = n("width"), n("height")
        return [(shapely.Polygon([(-w / 2, 0), (0, -h / 2), (w / 2, 0), (0, h / 2)]), 0.0)]
    if tag == "Hexagon":
        return [(_regular(6, n("length"), 0.0), 0.0)]
    if tag == "Octagon":
        return [(_regular(8, n("length"), math.pi / 8), 0.0)]
    if tag == "Triangle":
        b, h = n("base"), n("height")
        return [(shapely.Polygon([(-b / 2, -h / 2), (b / 2, -h / 2), (0, h / 2)]), 0.0)]
    if tag == "Butterfly":
        return _butterfly(element, unit)
    return None


def _butterfly(element: Element, unit: float) -> list[tuple[Any, float]]:
    """Two opposite quarters (upper left and lower right, from memory) of a circle or a square."""
    if element.get("shape", "ROUND").upper() == "ROUND":
        d = number(element, "diameter", unit)
        whole = shapely.Polygon(circle(d / 2))
    else:
        d = number(element, "side", unit)
        whole = shapely.Polygon(box(d, d))
    half = d / 2
    return [
        (shapely.intersection(whole, shapely.box(-half, 0, 0, half)), 0.0),
        (shapely.intersection(whole, shapely.box(0, -half, half, 0)), 0.0),
    ]


def _moire(element: Element, unit: float) -> list[tuple[Any, float]]:
    outer, width = number(element, "diameter", unit), number(element, "ringWidth", unit)
    gap, count = number(element, "ringGap", unit, 0.0), int(number(element, "ringNumber", 1.0, 1.0))
    if not 0 <= count <= 64:
        raise BadNumber("Moire", "ringNumber", element.get("ringNumber", ""))
    out: list[tuple[Any, float]] = []
    for k in range(count):
        middle = outer / 2 - width / 2 - k * (width + gap)
        if middle > 0:
            out.append((shapely.LinearRing(circle(middle)), width / 2))
    length, line = number(element, "lineLength", unit, 0.0), number(element, "lineWidth", unit, 0.0)
    c, s = _turn(number(element, "lineAngle", 1.0, 0.0))
    if length > 0 and line > 0:
        for x, y in ((c * length / 2, s * length / 2), (-s * length / 2, c * length / 2)):
            out.append((shapely.LineString([(-x, -y), (x, y)]), line / 2))
    return [(shapely.LineString(g.coords) if g.geom_type == "LinearRing" else g, r) for g, r in out]


@dataclass(frozen=True, slots=True)
class Lines:
    """The width and end of a line: ``round``, ``flat`` or ``square``."""

    width_mm: float
    end: str


class Dictionary:
    """The shapes and lines that a file names once and refers to: ``EntryStandard``, ``EntryUser``, ``EntryLineDesc``, ``EntryFillDesc``."""

    def __init__(self) -> None:
        self.lines: dict[str, Lines] = {}
        self.fills: dict[str, str] = {}
        self.standard: dict[str, tuple[Piece, ...]] = {}
        self.user: dict[str, tuple[Element, float]] = {}
        self.known: dict[tuple[str, bool], tuple[Piece, ...]] = {}
        self.notes: set[str] = set()
        self.tangles = Tangles()

    def add(self, tag: str, entry: Element, unit: float) -> None:
        """Keeps one dictionary entry; ``tag`` its element's name."""
        name = entry.get("id", "")
        if tag == "EntryLineDesc":
            for one in entry:
                if local(one.tag) == "LineDesc":
                    self.lines[name] = line_desc(one, unit)
        elif tag == "EntryFillDesc":
            for one in entry:
                if local(one.tag) == "FillDesc":
                    self.fills[name] = one.get("fillProperty", "FILL").upper()
        elif tag == "EntryStandard":
            self.standard[name] = tuple(p for one in entry for p in self.shape(one, unit, True))
        elif tag == "EntryUser":
            self.user[name] = (entry, unit)

    def line(self, element: Element, unit: float) -> Lines | None:
        """The line of an element: its LineDesc, or the one its LineDescRef names; None where it has neither."""
        for one in element:
            tag = local(one.tag)
            if tag == "LineDesc":
                return line_desc(one, unit)
            if tag == "LineDescRef":
                return self.lines.get(one.get("id", ""))
        return None

    def fill(self, element: Element) -> str:
        """The fill of an element: FILL where it says nothing."""
        for one in element:
            tag = local(one.tag)
            if tag == "FillDesc":
                return one.get("fillProperty", "FILL").upper()
            if tag == "FillDescRef":
                return self.fills.get(one.get("id", ""), "FILL")
        return "FILL"

    def shape(
        self, element: Element, unit: float, land: bool, depth: int = 0, line: Lines | None = None
    ) -> tuple[Piece, ...]:
        """Pieces of any shape element, in its own coordinates (mm). ``land``: drawn for a land, so that hollow outlines count as filled.

        ``line`` is the line of what holds it. Raises BadNumber, TooMany.
        """
        if depth > MAX_NESTING:
            raise TooMany(local(element.tag))
        tag = local(element.tag)
        if tag == "StandardPrimitiveRef":
            return self._standard(element.get("id", ""), land)
        if tag == "UserPrimitiveRef":
            return self._user(element.get("id", ""), land, depth)
        own = self.line(element, unit) or line
        if tag in ("UserSpecial", "Features", "Outline"):
            out: list[Piece] = []
            for one in element:
                out += self.shape(one, unit, land, depth + 1, own)
                if len(out) > MAX_PIECES:
                    raise TooMany(tag)
            return tuple(out)
        return self._simple(tag, element, unit, land, own)

    def _standard(self, name: str, land: bool) -> tuple[Piece, ...]:
        if name not in self.standard:
            self.notes.add(name)
        return self.standard.get(name, ())

    def _user(self, name: str, land: bool, depth: int) -> tuple[Piece, ...]:
        if (name, land) not in self.known:
            entry = self.user.get(name)
            if entry is None:
                self.notes.add(name)
                return ()
            self.known[name, land] = ()  # a primitive that refers to itself draws nothing the second time
            out: list[Piece] = []
            for one in entry[0]:
                out += self.shape(one, entry[1], land, depth + 1)
                if len(out) > MAX_PIECES:
                    raise TooMany(name)
            self.known[name, land] = tuple(out)
        return self.known[name, land]

    def _simple(self, tag: str, element: Element, unit: float, land: bool, line: Lines | None) -> tuple[Piece, ...]:
        if tag in ("Line", "Arc", "Polyline"):
            return _stroke(tag, element, unit, line)
        if tag in ("Contour", "Polygon"):
            return self._area(tag, element, unit, land, line)
        if tag == "Text":
            self.notes.add("Text")
            return ()
        found = standard(element, unit)
        if found is None:
            return ()
        fill = self.fill(element)
        if fill == "HOLLOW" and not land and line is not None and line.width_mm > 0:
            return tuple(
                Piece(shapely.LineString(_outline(g, r).coords), line.width_mm / 2, "draw")
                for g, r in found
                if not g.is_empty
            )
        return tuple(Piece(g, r, "region", fill != "VOID") for g, r in found if not g.is_empty)

    def _area(self, tag: str, element: Element, unit: float, land: bool, line: Lines | None) -> tuple[Piece, ...]:
        if tag == "Contour":
            outer = child(element, "Polygon")
            rings = [path_points(outer, unit)] if outer is not None else []
            rings += [path_points(one, unit) for one in element if local(one.tag) == "Cutout"]
            fill = self.fill(outer) if outer is not None else "FILL"
            own = (self.line(outer, unit) if outer is not None else None) or line
        else:
            rings, fill, own = [path_points(element, unit)], self.fill(element), line
        if fill == "HOLLOW" and not land and own is not None and own.width_mm > 0 and rings and len(rings[0]) > 1:
            return tuple(Piece(shapely.LineString([*r, r[0]]), own.width_mm / 2, "draw") for r in rings if len(r) > 1)
        found = area(rings, self.tangles) if rings else None
        return () if found is None else (Piece(found, 0.0, "region", fill != "VOID"),)


def _outline(geometry: Any, radius_mm: float) -> Any:
    whole = shapely.buffer(geometry, radius_mm, quad_segs=32) if radius_mm > 0 else geometry
    return shapely.get_parts(whole)[0].exterior


def line_desc(element: Element, unit: float) -> Lines:
    """Width and end of a LineDesc."""
    end = {"ROUND": "round", "SQUARE": "square", "NONE": "flat"}.get(element.get("lineEnd", "ROUND").upper(), "round")
    width = number(element, "lineWidth", unit)
    if width < 0:
        raise BadNumber("LineDesc", "lineWidth", element.get("lineWidth", ""))
    return Lines(width, end)


def _stroke(tag: str, element: Element, unit: float, line: Lines | None) -> tuple[Piece, ...]:
    if tag == "Polyline":
        points = path_points(element, unit)
    else:
        start = (number(element, "startX", unit), number(element, "startY", unit))
        end = (number(element, "endX", unit), number(element, "endY", unit))
        points = [start, end]
        if tag == "Arc":
            centre = (number(element, "centerX", unit), number(element, "centerY", unit))
            points = [start, *_arc(start, end, centre, _clockwise(element))]
    if not points:
        return ()
    width = line.width_mm if line is not None else 0.0
    kind = "arc" if tag == "Arc" else "draw"
    if len(points) == 1 or all(point == points[0] for point in points):
        if line is not None and line.end == "square" and width > 0:
            (x, y), half = points[0], width / 2
            return (Piece(shapely.box(x - half, y - half, x + half, y + half), 0.0, kind),)
        return (Piece(shapely.Point(points[0]), width / 2, kind),)
    skeleton = shapely.LineString(points)
    if line is None or line.end == "round" or width == 0:
        return (Piece(skeleton, width / 2, kind),)
    return (Piece(shapely.buffer(skeleton, width / 2, cap_style=line.end, quad_segs=32), 0.0, kind),)


def box_of(pieces: Iterable[Piece]) -> tuple[float, float, float, float]:
    """x0, y0, x1, y1 round pieces; NaN for none."""
    rows = [np.asarray(shapely.bounds(one.skeleton)) + one.radius_mm * np.array([-1, -1, 1, 1]) for one in pieces]
    if not rows:
        return (math.nan,) * 4
    table = np.array(rows)
    low, high = table[:, :2].min(axis=0), table[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


UNITS: Mapping[str, float] = {
    "MILLIMETER": 1.0,
    "MM": 1.0,
    "INCH": 25.4,
    "MICRON": 0.001,
    "MIL": 0.0254,
    "THOU": 0.0254,
}
"""mm per unit; the standard has the words MILLIMETER, MICRON and INCH, the others have been seen."""

TOLERANCE_MM = CHORD_ERROR_MM
