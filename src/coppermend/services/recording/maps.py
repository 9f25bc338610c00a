"""Maps of a board for the record, as SVG: outline, faint copper, parts, and what the case lays over them.

Everything that matters is told apart by shape and pattern, so that a black and white print says the same. The solder side is drawn as one
sees it after turning the board over about its upright axis: left and right exchanged, letters readable.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from itertools import pairwise
from math import hypot
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board
from coppermend.core.geometry.shapes import ShapeSet

INK, SOFT, FAINT, PAPER = "#1b1a17", "#77705f", "#d0c7b2", "#fffdf8"
SOUND, BREAK, AREA = "#1f6b4a", "#b4420c", "#6b4e9b"

Path = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of copper to mark: layer key ("" goes through the board), its path in mm, and its number on the map (0 for none)."""

    layer: str
    path: Path
    number: int = 0


@dataclass(frozen=True, slots=True)
class WireMark:
    """A patch wire to draw: number, both ends in mm, the side it lies on (c, s or both), and the corners of its way where they were noted."""

    number: int
    a: tuple[float, float]
    b: tuple[float, float]
    side: str
    path: Path = ()


@dataclass(frozen=True, slots=True)
class SeenMark:
    """A place where a look found something: ``number`` of its entry, mm, and the side it was seen from ("" any)."""

    number: str
    x_mm: float
    y_mm: float
    side: str


@dataclass(frozen=True, slots=True)
class Marks:
    """What a case lays over the board: work areas (polygon, label), proven and open copper at risk, breaks, wires."""

    areas: tuple[tuple[Path, str], ...] = ()
    proven: tuple[Stretch, ...] = ()
    open_risk: tuple[Stretch, ...] = ()
    breaks: tuple[Stretch, ...] = ()
    wires: tuple[WireMark, ...] = ()
    shorts: tuple[Stretch, ...] = ()
    """Places of shorts between two nets: the closed edge of the 90 % ellipse of each."""
    cuts: tuple[Stretch, ...] = ()
    """Tracks cut on purpose: a stroke across each."""
    seen: tuple[SeenMark, ...] = ()
    """What looks found."""


@dataclass(frozen=True, slots=True)
class _View:
    """The window onto the board: millimetres of the copper files to millimetres of the drawing."""

    x0: float
    y0: float
    x1: float
    y1: float
    mirrored: bool

    @property
    def width(self) -> float:
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        return self.y1 - self.y0

    @property
    def unit(self) -> float:
        """A hundredth of the longer edge: marks and letters are sized in it."""
        return max(self.width, self.height) / 100.0

    def xy(self, x: float, y: float) -> tuple[float, float]:
        """A place of the board on the drawing."""
        return (self.x1 - x if self.mirrored else x - self.x0, self.y1 - y)

    def flat(self, coords: Any) -> NDArray[np.float64]:
        """Many places at once."""
        xy = np.asarray(coords, dtype=np.float64)[:, :2]
        across = self.x1 - xy[:, 0] if self.mirrored else xy[:, 0] - self.x0
        return np.column_stack([across, self.y1 - xy[:, 1]])


@dataclass(slots=True)
class _Drawing:
    view: _View
    parts: list[str] = field(default_factory=list)

    def add(self, text: str) -> None:
        self.parts.append(text)

    def path(self, coords: Any, closed: bool = False) -> str:
        """Path data through these places."""
        steps = " ".join(f"{_num(x)} {_num(y)}" for x, y in self.view.flat(coords))
        return f"M{steps}" + ("Z" if closed else "")


def _num(value: float) -> str:
    """A coordinate with 10 um steps, without trailing zeros.

    >>> _num(1.50), _num(2.0), _num(-0.001)
    ('1.5', '2', '0')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def board_map(
    board: Board, side: str, marks: Marks, name: str, window: tuple[float, float, float, float] | None = None
) -> tuple[str, float]:
    """The map of one side (c, s, or an inner layer seen from the component side) as an SVG document, and its height by its width.

    ``window`` (x0, y0, x1, y1) in mm shows a part of the board.

    ``name`` goes before every id in the document, so that several maps can stand in one page.
    """
    x0, y0, x1, y1 = window or _bounds(board)
    pad = 0.02 * max(x1 - x0, y1 - y0) + 0.5
    view = _View(x0 - pad, y0 - pad, x1 + pad, y1 + pad, side == "s")
    marks = _seen_here(marks, view, side)
    drawing = _Drawing(view)
    clip = f"{name}-clip"
    drawing.add(f'<clipPath id="{clip}"><rect width="{_num(view.width)}" height="{_num(view.height)}"/></clipPath>')
    drawing.add(f'<g clip-path="url(#{clip})">')
    _draw_outline(drawing, board)
    _draw_copper(drawing, board, side)
    _draw_parts(drawing, board, side)
    _draw_areas(drawing, marks)
    _draw_stretches(drawing, marks, side)
    _draw_wires(drawing, marks, side)
    _draw_cuts(drawing, marks)
    _draw_shorts(drawing, marks)
    _draw_seen(drawing, marks)
    _draw_labels(drawing, marks)
    _draw_numbers(drawing, marks, side)
    drawing.add("</g>")
    legend = _legend(drawing, marks, side)
    height = view.height + legend
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_num(view.width)} {_num(height)}" '
        f'font-family="Libertinus Serif, serif" fill="none" stroke-linecap="round" stroke-linejoin="round">'
    )
    paper = f'<rect width="{_num(view.width)}" height="{_num(height)}" fill="{PAPER}"/>'
    return head + paper + "".join(drawing.parts) + "</svg>", height / view.width


def _bounds(board: Board) -> tuple[float, float, float, float]:
    """The box round outline and copper; a 100 mm square for a board with neither."""
    boxes = [np.array([[*o.min(axis=0), *o.max(axis=0)]]) for o in board.outline if len(o)]
    if not boxes:
        boxes = [layer.shapes.bounds_mm() for layer in board.layers if len(layer.shapes)]
    if not boxes:
        return (0.0, 0.0, 100.0, 100.0)
    rows = np.vstack(boxes)
    low, high = np.nanmin(rows[:, :2], axis=0), np.nanmax(rows[:, 2:], axis=0)
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def _seen_here(marks: Marks, view: _View, side: str) -> Marks:
    """The marks that this window and side show; wires of the other side stay, they are drawn dotted."""

    def inside(path: Path) -> bool:
        xs, ys = [x for x, _ in path], [y for _, y in path]
        return min(xs) < view.x1 and max(xs) > view.x0 and min(ys) < view.y1 and max(ys) > view.y0

    def shown(stretches: Iterable[Stretch]) -> tuple[Stretch, ...]:
        return tuple(one for one in stretches if one.layer in ("", side) and one.path and inside(one.path))

    return Marks(
        tuple(area for area in marks.areas if inside(area[0])),
        shown(marks.proven),
        shown(marks.open_risk),
        shown(marks.breaks),
        tuple(wire for wire in marks.wires if side in ("c", "s") and inside((wire.a, wire.b))),
        shown(marks.shorts),
        shown(marks.cuts),
        tuple(one for one in marks.seen if one.side in ("", side) and inside(((one.x_mm, one.y_mm),))),
    )


def _draw_outline(drawing: _Drawing, board: Board) -> None:
    """The board's edge."""
    for ring in board.outline:
        if len(ring):
            data = drawing.path(ring, closed=True)
            drawing.add(
                f'<path d="{data}" fill="#f7f2e6" stroke="{INK}" stroke-width="{_num(0.25 * drawing.view.unit)}"/>'
            )


def _draw_copper(drawing: _Drawing, board: Board, side: str) -> None:
    """The copper of this side, faint; strokes of one width share a path."""
    for layer in board.layers:
        if layer.key == side:
            _draw_shapes(drawing, layer.shapes)


def _draw_shapes(drawing: _Drawing, shapes: ShapeSet) -> None:
    """Shapes of round tools as strokes, regions filled."""
    if not len(shapes):
        return
    view = drawing.view
    box = shapes.bounds_mm()
    seen = (box[:, 0] < view.x1) & (box[:, 2] > view.x0) & (box[:, 1] < view.y1) & (box[:, 3] > view.y0)
    shown = shapes.take(np.flatnonzero(seen))
    strokes: dict[str, list[str]] = {}
    regions: list[str] = []
    for skeleton, radius in zip(shown.skeleton, shown.radius_mm, strict=True):
        for geometry in shapely.get_parts(skeleton):
            if geometry.is_empty:
                continue
            if geometry.geom_type == "Polygon":
                rings = [geometry.exterior, *geometry.interiors]
                regions.append("".join(drawing.path(r.coords, closed=True) for r in rings))
            else:
                coords = list(geometry.coords)
                coords = coords if len(coords) > 1 else [*coords, *coords]
                strokes.setdefault(_num(2 * float(radius)), []).append(drawing.path(coords))
    if regions:
        drawing.add(f'<path d="{"".join(regions)}" fill="{FAINT}" fill-rule="evenodd"/>')
    drawing.add(f'<g stroke="{FAINT}">')
    for width, paths in sorted(strokes.items()):
        drawing.add(f'<path stroke-width="{width}" d="{"".join(paths)}"/>')
    drawing.add("</g>")


def _draw_parts(drawing: _Drawing, board: Board, side: str) -> None:
    """Part outlines with their names; parts of the other side dotted."""
    unit = drawing.view.unit
    for part in board.parts:
        if len(part.outline) < 3:
            continue
        middle = part.outline.mean(axis=0)
        if not (drawing.view.x0 < middle[0] < drawing.view.x1 and drawing.view.y0 < middle[1] < drawing.view.y1):
            continue
        dots = "" if part.side == side else f' stroke-dasharray="{_num(0.1 * unit)} {_num(0.5 * unit)}"'
        drawing.add(
            f'<path d="{drawing.path(part.outline, closed=True)}" stroke="{SOFT}" stroke-width="{_num(0.16 * unit)}"{dots}/>'
        )
        size = np.ptp(part.outline, axis=0)
        letters = max(len(part.ref), 1)
        font = min(1.7 * unit, 0.8 * float(min(size)), 1.5 * float(max(size)) / letters)
        if font >= 0.75 * unit:
            x, y = drawing.view.xy(float(middle[0]), float(middle[1]))
            turn = f' transform="rotate(-90 {_num(x)} {_num(y)})"' if size[1] > 1.3 * size[0] else ""
            drawing.add(_text(x, y + 0.35 * font, part.ref, font, SOFT, turn))


_TURNING = {
    code: f"[{unicodedata.name(chr(code)).lower()}]" for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))
}
"""Embeddings, overrides and isolates of Unicode's bidirectional algorithm (UAX 9, 2.1 to 2.4): with them, words can be shown in another order than they stand."""


def printable(words: str) -> str:
    r"""Words without control characters, which XML forbids and no printer shows; those that turn the direction of letters stand as their names.

    >>> printable("a\x07b"), printable("fine\u202eton")
    ('ab', 'fine[right-to-left override]ton')
    """
    words = words.translate(_TURNING)
    return "".join(c for c in words if c >= " " and c not in "\x7f\ufffe\uffff" and not "\ud800" <= c <= "\udfff")


def _text(x: float, y: float, words: str, size: float, colour: str, more: str = "", anchor: str = "middle") -> str:
    """One line of letters."""
    return (
        f'<text x="{_num(x)}" y="{_num(y)}" font-size="{_num(size)}" fill="{colour}" text-anchor="{anchor}"{more}>'
        f"{escape(printable(words))}</text>"
    )


def _draw_areas(drawing: _Drawing, marks: Marks) -> None:
    """Work areas: long dashes."""
    unit = drawing.view.unit
    for polygon, _ in marks.areas:
        data = drawing.path(polygon, closed=True)
        drawing.add(
            f'<path d="{data}" stroke="{AREA}" stroke-width="{_num(0.3 * unit)}" '
            f'stroke-dasharray="{_num(1.6 * unit)} {_num(0.9 * unit)}"/>'
        )


def _draw_labels(drawing: _Drawing, marks: Marks) -> None:
    """The names of the areas on plates of their own, over the copper and apart from each other."""
    unit = drawing.view.unit
    taken: list[tuple[float, float, float, float]] = []
    for polygon, label in marks.areas:
        flat = drawing.view.flat(polygon)
        low, high = flat.min(axis=0), flat.max(axis=0)
        words = _cut_to(printable(label), int((drawing.view.width - 0.6 * unit) / (LETTER * LABEL * unit)))
        x, y, box = _free_place(drawing.view, len(words), (*low.tolist(), *high.tolist()), taken)
        taken.append(box)
        drawing.add(_plate(*box))
        drawing.add(_text(x, y, words, LABEL * unit, AREA, anchor="start"))


def _plate(x0: float, y0: float, x1: float, y1: float) -> str:
    """A light ground for letters that lie over copper."""
    size = f'width="{_num(x1 - x0)}" height="{_num(y1 - y0)}"'
    return f'<rect x="{_num(x0)}" y="{_num(y0)}" {size} fill="{PAPER}" fill-opacity="0.9"/>'


LABEL, LETTER = 1.5, 0.56
"""Height of an area's label in units, and the width of a letter by its height, generous for a serif face."""


def _cut_to(words: str, letters: int) -> str:
    """Words no longer than that, the cut said by an ellipsis.

    >>> _cut_to("under the cell", 9), _cut_to("cell", 9)
    ('under th…', 'cell')
    """
    return words if len(words) <= letters else f"{words[: max(letters - 1, 1)]}…"


def _free_place(
    view: _View, letters: int, box: tuple[float, ...], taken: Sequence[tuple[float, float, float, float]]
) -> tuple[float, float, tuple[float, float, float, float]]:
    """Left end and base line of a label at its area (``box`` on the drawing): above it, below it, or a line further where another stands; within the picture."""
    unit, high = view.unit, LABEL * view.unit
    wide = letters * LETTER * high
    x = min(max(box[0], 0.3 * unit), max(view.width - wide - 0.3 * unit, 0.3 * unit))
    steps = [k * 1.2 * high for k in range(12)]
    rows = [box[1] - 0.5 * unit, *(box[3] + 0.2 * unit + high + s for s in steps[:1])]
    rows += [box[1] - 0.5 * unit - s for s in steps[1:]] + [box[3] + 0.2 * unit + high + s for s in steps[1:]]
    last = (x, 0.0, (0.0, 0.0, 0.0, 0.0))
    for row in rows:
        y = min(max(row, high + 0.1 * unit), view.height - 0.3 * high)
        its = (x, y - high, x + wide, y + 0.3 * high)
        last = (x, y, its)
        if not any(its[0] < b[2] and its[2] > b[0] and its[1] < b[3] and its[3] > b[1] for b in taken):
            return last
    return last


def _stroke(drawing: _Drawing, stretches: Iterable[Stretch], side: str) -> str:
    """One path through all of these that are seen from this side; a place through the board becomes a dot."""
    out = []
    for one in stretches:
        if one.layer not in ("", side) or not one.path:
            continue
        coords = list(one.path) if len(one.path) > 1 else [one.path[0], one.path[0]]
        out.append(drawing.path(coords))
    return "".join(out)


def _draw_stretches(drawing: _Drawing, marks: Marks, side: str) -> None:
    """Proven copper dashed, copper that is still open as a double line, breaks as broad bars with a light core of dots."""
    unit = drawing.view.unit
    wide = max(0.45, 0.42 * unit)
    proven, risk, broken = (_stroke(drawing, s, side) for s in (marks.proven, marks.open_risk, marks.breaks))
    if risk:
        drawing.add(f'<path d="{risk}" stroke="{INK}" stroke-width="{_num(1.5 * wide)}"/>')
        drawing.add(f'<path d="{risk}" stroke="{PAPER}" stroke-width="{_num(0.75 * wide)}"/>')
    if proven:
        dash = f"{_num(1.4 * wide)} {_num(1.5 * wide)}"
        drawing.add(
            f'<path d="{proven}" stroke="{SOUND}" stroke-width="{_num(0.9 * wide)}" stroke-dasharray="{dash}"/>'
        )
    if broken:
        drawing.add(f'<path d="{broken}" stroke="{BREAK}" stroke-width="{_num(2.6 * wide)}"/>')
        dots = f"{_num(0.01 * wide)} {_num(2.4 * wide)}"
        drawing.add(
            f'<path d="{broken}" stroke="{PAPER}" stroke-width="{_num(1.2 * wide)}" stroke-dasharray="{dots}"/>'
        )


def _draw_cuts(drawing: _Drawing, marks: Marks) -> None:
    """Cuts as a double line across the track, the gap that the knife left; long enough to be seen."""
    unit = drawing.view.unit
    for one in marks.cuts:
        (ax, ay), (bx, by) = one.path
        long = hypot(bx - ax, by - ay) or 1.0
        grow = max(0.0, 4.0 * unit - long) / 2 / long
        dx, dy = (bx - ax) * grow, (by - ay) * grow
        drawing.add(_double(drawing.path(((ax - dx, ay - dy), (bx + dx, by + dy))), unit, "cut"))


def _double(data: str, unit: float, kind: str) -> str:
    outer = f'<path class="{kind}" d="{data}" stroke="{INK}" stroke-width="{_num(1.3 * unit)}" stroke-linecap="butt"/>'
    return f'{outer}<path d="{data}" stroke="{PAPER}" stroke-width="{_num(0.6 * unit)}" stroke-linecap="butt"/>'


def _draw_wires(drawing: _Drawing, marks: Marks, side: str) -> None:
    """Patch wires of this side as a bowed line with a filled end at each joint; those of the other side dotted."""
    unit = drawing.view.unit
    for wire in marks.wires:
        (ax, ay), (bx, by) = drawing.view.xy(*wire.a), drawing.view.xy(*wire.b)
        mx, my = _bow(ax, ay, bx, by)
        data = f"M{_num(ax)} {_num(ay)}Q{_num(mx)} {_num(my)} {_num(bx)} {_num(by)}"
        if wire.path:
            data = drawing.path(wire.path)
        here = wire.side in (side, "both")
        dash = "" if here else f' stroke-dasharray="{_num(0.05 * unit)} {_num(0.8 * unit)}"'
        drawing.add(f'<path d="{data}" stroke="{PAPER}" stroke-width="{_num(0.9 * unit)}"/>')
        drawing.add(f'<path d="{data}" stroke="{INK}" stroke-width="{_num(0.42 * unit)}"{dash}/>')
        if here:
            ends = (
                (drawing.view.xy(*wire.path[0]), drawing.view.xy(*wire.path[-1])) if wire.path else ((ax, ay), (bx, by))
            )
            for x, y in ends:
                drawing.add(f'<circle cx="{_num(x)}" cy="{_num(y)}" r="{_num(0.55 * unit)}" fill="{INK}"/>')


def _bow(ax: float, ay: float, bx: float, by: float) -> tuple[float, float]:
    """The control point of a slightly bowed line: a wire is not mistaken for a track."""
    return ((ax + bx) / 2 - 0.18 * (by - ay), (ay + by) / 2 + 0.18 * (bx - ax))


def _draw_shorts(drawing: _Drawing, marks: Marks) -> None:
    """The ellipse of each short, and a cross in its middle that is seen from afar."""
    unit = drawing.view.unit
    for one in marks.shorts:
        drawing.add(
            f'<path class="short" d="{drawing.path(one.path, closed=True)}" stroke="{BREAK}" stroke-width="{_num(0.3 * unit)}"/>'
        )
        x, y = drawing.view.xy(*(sum(corner[k] for corner in one.path[:-1]) / (len(one.path) - 1) for k in (0, 1)))
        drawing.add(f'<g transform="translate({_num(x)} {_num(y)})">{_cross(unit)}</g>')


def _draw_seen(drawing: _Drawing, marks: Marks) -> None:
    """A triangle that points at each place where something was seen, with the number of its entry beside it."""
    unit = drawing.view.unit
    for one in marks.seen:
        x, y = drawing.view.xy(one.x_mm, one.y_mm)
        drawing.add(f'<g class="seen" transform="translate({_num(x)} {_num(y)})">{_pointer(unit)}</g>')
        right, low = x + (1.5 + LETTER * 1.6 * len(one.number)) * unit, y + 3.0 * unit
        drawing.add(_plate(x + 1.3 * unit, y + 1.2 * unit, right, low))
        drawing.add(_text(x + 1.4 * unit, y + 2.6 * unit, one.number, 1.6 * unit, INK, anchor="start"))


def _pointer(unit: float) -> str:
    """A triangle standing on its tip's place, light inside, so that it is seen on copper and in grey."""
    w, h = _num(1.1 * unit), _num(2.2 * unit)
    return f'<path d="M0 0L{w} {h}H-{w}Z" fill="{PAPER}" stroke="{INK}" stroke-width="{_num(0.4 * unit)}"/>'


def _cross(unit: float) -> str:
    r = _num(1.2 * unit)
    return f'<path d="M-{r} -{r}L{r} {r}M-{r} {r}L{r} -{r}" stroke="{BREAK}" stroke-width="{_num(0.4 * unit)}"/>'


def _draw_numbers(drawing: _Drawing, marks: Marks, side: str) -> None:
    """Numbers of breaks in squares, of wires in circles; a break that lies on the other side keeps its square there only."""
    unit = drawing.view.unit
    done: set[int] = set()
    for one in marks.breaks:
        if one.number and one.number not in done and one.layer in ("", side) and one.path:
            done.add(one.number)
            x, y = drawing.view.xy(*one.path[len(one.path) // 2])
            drawing.add(_badge(x + 1.6 * unit, y - 1.6 * unit, str(one.number), unit, True))
    for wire in marks.wires:
        (ax, ay), (bx, by) = drawing.view.xy(*wire.a), drawing.view.xy(*wire.b)
        mx, my = _bow(ax, ay, bx, by)
        if len(wire.path) > 1:  # the middle of the longest stretch
            p, q = max(
                pairwise(wire.path), key=lambda pair: abs(pair[0][0] - pair[1][0]) + abs(pair[0][1] - pair[1][1])
            )
            (ax, ay), (bx, by) = drawing.view.xy(*p), drawing.view.xy(*q)
            mx, my = (ax + bx) / 2, (ay + by) / 2
        beside = (
            2.6 * unit if hypot(bx - ax, by - ay) < 5 * unit else 0.0
        )  # a short wire and the cut under it stay seen
        drawing.add(_badge((ax + bx) / 4 + mx / 2, (ay + by) / 4 + my / 2 - beside, str(wire.number), unit, False))


def _badge(x: float, y: float, words: str, unit: float, square: bool) -> str:
    """A number in a square (break) or a circle (wire)."""
    r = 1.25 * unit
    if square:
        shape = (
            f'<rect x="{_num(x - r)}" y="{_num(y - r)}" width="{_num(2 * r)}" height="{_num(2 * r)}" fill="{BREAK}"/>'
        )
        return shape + _text(x, y + 0.62 * unit, words, 1.8 * unit, "#fff")
    shape = f'<circle cx="{_num(x)}" cy="{_num(y)}" r="{_num(r)}" fill="{PAPER}" stroke="{INK}" stroke-width="{_num(0.2 * unit)}"/>'
    return shape + _text(x, y + 0.6 * unit, words, 1.7 * unit, INK)


def _legend(drawing: _Drawing, marks: Marks, side: str) -> float:
    """What the marks mean, below the board; its height in mm."""
    unit = drawing.view.unit
    rows = list(_legend_rows(marks, unit, side))
    per_row = min(3, max(1, int(drawing.view.width / (30 * unit))))
    step = drawing.view.width / per_row
    top = drawing.view.height + 2.2 * unit
    for i, (sample, words) in enumerate(rows):
        x, y = (i % per_row) * step + unit, top + (i // per_row) * 3.0 * unit
        drawing.add(f'<g transform="translate({_num(x)} {_num(y)})">{sample}</g>')
        drawing.add(_text(x + 7.5 * unit, y + 0.55 * unit, words, 1.65 * unit, INK, anchor="start"))
    return 2.6 * unit + 3.0 * unit * -(-len(rows) // per_row)


def _legend_rows(marks: Marks, unit: float, side: str) -> Iterable[tuple[str, str]]:
    """A sample and its words for each kind of mark on this map."""
    wide = max(0.45, 0.42 * unit)
    line = f"M0 0H{_num(6 * unit)}"
    if marks.areas:
        yield (
            f'<path d="{line}" stroke="{AREA}" stroke-width="{_num(0.3 * unit)}" stroke-dasharray="{_num(1.6 * unit)} {_num(0.9 * unit)}"/>',
            "work area",
        )
    if marks.proven:
        yield (
            f'<path d="{line}" stroke="{SOUND}" stroke-width="{_num(0.9 * wide)}" stroke-dasharray="{_num(1.4 * wide)} {_num(1.5 * wide)}"/>',
            "proven sound",
        )
    if marks.open_risk:
        yield (
            f'<path d="{line}" stroke="{INK}" stroke-width="{_num(1.5 * wide)}"/><path d="{line}" stroke="{PAPER}" stroke-width="{_num(0.75 * wide)}"/>',
            "at risk, not proven",
        )
    if marks.breaks:
        yield (
            f'<path d="{line}" stroke="{BREAK}" stroke-width="{_num(2.6 * wide)}"/><path d="{line}" stroke="{PAPER}" '
            f'stroke-width="{_num(1.2 * wide)}" stroke-dasharray="{_num(0.01 * wide)} {_num(2.4 * wide)}"/>',
            "break (number in a square)",
        )
    if marks.shorts:
        yield f'<g transform="translate({_num(3 * unit)} 0)">{_cross(unit)}</g>', "short (cross; 90 % ellipse round it)"
    if marks.seen:
        at = f"{_num(3 * unit)} -{_num(1.1 * unit)}"
        yield f'<g transform="translate({at})">{_pointer(unit)}</g>', "seen here (number of its entry)"
    if marks.cuts:
        yield _double(f"M{_num(3 * unit)} -{_num(1.1 * unit)}V{_num(1.1 * unit)}", unit, "cut-sample"), "cut on purpose"
    if any(wire.side in (side, "both") for wire in marks.wires):
        yield (
            f'<path d="{line}" stroke="{INK}" stroke-width="{_num(0.42 * unit)}"/>'
            f'<circle r="{_num(0.55 * unit)}" fill="{INK}"/><circle cx="{_num(6 * unit)}" r="{_num(0.55 * unit)}" fill="{INK}"/>',
            "patch wire (number in a circle)",
        )
    if any(wire.side not in (side, "both") for wire in marks.wires):
        yield (
            f'<path d="{line}" stroke="{INK}" stroke-width="{_num(0.42 * unit)}" stroke-dasharray="{_num(0.05 * unit)} {_num(0.8 * unit)}"/>',
            "patch wire on the other side",
        )


def window_of(paths: Sequence[Path], margin_mm: float = 4.0) -> tuple[float, float, float, float]:
    """The box round these paths with a margin, in mm, at least 25 mm wide and high.

    >>> window_of([((0.0, 0.0), (40.0, 10.0))])
    (-4.0, -7.5, 44.0, 17.5)
    """
    every = np.array([xy for path in paths for xy in path], dtype=np.float64)
    low, high = every.min(axis=0) - margin_mm, every.max(axis=0) + margin_mm
    short = np.maximum(25.0 - (high - low), 0.0) / 2
    low, high = low - short, high + short
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
