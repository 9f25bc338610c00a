"""The legend (silkscreen) of the component side: outlines with notches, designators, type names, the machine's name."""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from demo.copper import Board
from demo.footprints import PITCH_MM
from demo.lettering import Points, text, width_mm
from demo.placement import Placed
from demo.spacing import land_shape

LINE_MM = 0.2
MASK_GROWTH_MM = 0.1
NAME, ISSUE = "LARKENFELL 64", "MAIN BOARD ISSUE 2"
_KEEP_MM = 0.05  # from the edge of a mask opening to the nearest printed edge


@dataclass(frozen=True, slots=True)
class Printed:
    """Printed strokes that belong together: the part's designator ("" for the board's own words) and the strokes."""

    ref: str
    strokes: tuple[Points, ...]


_TITLES: tuple[tuple[str, float, float, float], ...] = (
    (NAME, 22, 2.3, 3.4),
    (ISSUE, 44, 2.3, 2.0),
    ("BUILT FOR PRACTICE 1983", 78, 2.3, 2.0),
    ("KEYBOARD", 12.5, 78, 1.5),
    ("EXPANSION", 33.5, 78, 1.5),
    ("RESET", 57, 78, 1.3),
    ("BREAK", 63, 78, 1.3),
    ("VIDEO", 74.5, 77.3, 1.4),
    ("TAPE", 84, 77.3, 1.4),
    ("SPKR", 90.5, 77.3, 1.2),
    ("POWER +5V", 103, 77.6, 1.4),
    ("ON", 50.7, 76, 1.3),
)


def _inside(item: Placed, words: str, largest: float) -> list[Points]:
    """Words in the middle of the body along its long side, as large as fits."""
    x0, y0, x1, y1 = item.body_mm()
    upright = y1 - y0 > x1 - x0
    long, short = (y1 - y0, x1 - x0) if upright else (x1 - x0, y1 - y0)
    height = min(largest, (short - 0.7), (long - 1.2) * 1.0 / width_mm(words, 1.0))
    return text(words, (x0 + x1) / 2, (y0 + y1) / 2, height, 90 if upright else 0)


def _words(item: Placed) -> list[Points]:
    part, package = item.part, item.footprint.name
    x0, y0, x1, y1 = item.body_mm()
    middle = (x0 + x1) / 2
    if part.ref == "SW1" or package.startswith("DIP"):
        return _inside(
            item,
            f"{part.ref}  {part.value if part.ref != 'SW1' else ''}".strip(),
            1.6 if item.footprint.lands[-1].x_mm < 10 else 2.2,
        )
    if package == "CELL":
        return text(part.ref, middle - 2.5, (y0 + y1) / 2, 2.6, 90) + text(
            part.value, middle + 2.5, (y0 + y1) / 2, 2.0, 90
        )
    if package == "SIP9":
        upright = y1 - y0 > x1 - x0
        return text(part.ref, x0 - 1.0, y0 + 3.5, 1.3, 90) if upright else text(part.ref, x0 + 2.6, y1 + 1.0, 1.3)
    if package in ("AXIAL400", "DIODE400", "AXIAL500", "DISC200", "HC18", "WATCH"):
        return _inside(item, part.ref, 1.3)
    if package == "TO92":
        return text(part.ref, middle, y1 - 0.75, 1.1)
    if package == "BUTTON":
        return text(part.ref, middle, (y0 + y1) / 2, 1.1)
    if package == "LED100":
        return text(part.ref, middle, y1 + 1.0, 1.3)
    return text(part.ref, x0 - 1.9, (y0 + y1) / 2, 1.3, 90)


def _clip(strokes: list[Points], openings: shapely.STRtree) -> tuple[Points, ...]:
    """The strokes without what would print on bare lands."""
    kept: list[Points] = []
    for stroke in strokes:
        line = shapely.LineString(stroke)
        near = openings.geometries[sorted(openings.query(line, predicate="intersects"))]
        for item in near:
            line = shapely.difference(line, item)
        for piece in shapely.get_parts(line):
            if piece.length > 0.15:
                kept.append(tuple((round(x, 4), round(y, 4)) for x, y in piece.coords))
    return tuple(kept)


def _openings(board: Board) -> shapely.STRtree:
    grow = MASK_GROWTH_MM + LINE_MM / 2 + _KEEP_MM
    rounds = [
        land_shape(p).buffer(grow, quad_segs=4, join_style="mitre" if p.land.form == "square" else "round")
        for p in board.lands
    ]
    rounds += [shapely.Point(v.x_mm, v.y_mm).buffer(v.land_mm / 2 + grow, quad_segs=8) for v in board.vias]
    return shapely.STRtree(rounds)


def solder_legend(board: Board) -> list[Printed]:
    """The printing of the solder side: designators of chips and plugs, readable when the board is turned over."""
    openings = _openings(board)
    printed = []
    for item in board.parts:
        if item.part.ref[0] in "UJ":
            x0, y0, x1, y1 = item.body_mm()
            middle, upright = (x0 + x1) / 2, y1 - y0 > x1 - x0
            low = item.part.ref[0] == "J"
            words = text(item.part.ref, middle, y0 - 1.2 if low else (y0 + y1) / 2, 1.6, 90 if upright else 0)
            turned = [tuple((2 * middle - x, y) for x, y in stroke) for stroke in words]
            printed.append(Printed(item.part.ref, _clip(turned, openings)))
    return printed


def legend(board: Board) -> list[Printed]:
    """All printing of the component side, clear of every opening in the mask; parts in order, the board's words last."""
    openings = _openings(board)
    printed = []
    for item in board.parts:
        strokes = [tuple(item.at(x, y) for x, y in s.points) for s in item.footprint.strokes]
        printed.append(Printed(item.part.ref, _clip(strokes + _words(item), openings)))
    titles: list[Points] = []
    for words, ux, uy, height in _TITLES:
        titles += text(words, ux * PITCH_MM, uy * PITCH_MM, height)
    printed.append(Printed("", _clip(titles, openings)))
    return printed
