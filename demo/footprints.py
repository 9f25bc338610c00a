"""Footprints: where a part's lands lie, how large they are, and what the legend shows of the body.

All coordinates are millimetres relative to pin 1, y up, for rotation 0; DIP chips stand with pin 1 at the top left
and their long side vertical. The pin spacings are those of the trade's 0.1 inch raster (DIP rows 0.3 or 0.6 inch
apart, JEDEC MS-001/MS-011); land and hole sizes are common practice of about 1983, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin

PITCH_MM = 2.54


@dataclass(frozen=True, slots=True)
class Land:
    """A plated land: pin number, centre, land size (width, height), drilled hole, and its form (round or square)."""

    number: str
    x_mm: float
    y_mm: float
    size_mm: float
    hole_mm: float
    form: str


@dataclass(frozen=True, slots=True)
class Stroke:
    """A stroke of the legend: an open or closed polyline in millimetres, drawn 0.2 mm wide."""

    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Footprint:
    """A package: its lands, the strokes of its outline, its body's rectangle (x0, y0, x1, y1) and where words go."""

    name: str
    lands: tuple[Land, ...]
    strokes: tuple[Stroke, ...]
    body_mm: tuple[float, float, float, float]


def _box(x0: float, y0: float, x1: float, y1: float) -> Stroke:
    return Stroke(((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)))


def _circle(x: float, y: float, radius: float, steps: int = 32) -> Stroke:

    return Stroke(
        tuple((x + radius * cos(2 * pi * i / steps), y + radius * sin(2 * pi * i / steps)) for i in range(steps + 1))
    )


def _dip(pins: int, row_mm: float) -> Footprint:
    """A dual in-line package: outline between the rows with the notch at the end of pin 1."""

    half = pins // 2
    lands = []
    for i in range(pins):
        x, y = (0.0, -i * PITCH_MM) if i < half else (row_mm, -(pins - 1 - i) * PITCH_MM)
        lands.append(Land(str(i + 1), x, y, 1.4 if i == 0 else 1.5, 0.8, "square" if i == 0 else "round"))
    top, bottom = 1.27, -(half - 1) * PITCH_MM - 1.27
    x0, x1, middle, notch = 1.05, row_mm - 1.05, row_mm / 2, 0.8
    arc = tuple((middle + notch * cos(pi + pi * i / 12), top + notch * sin(pi + pi * i / 12)) for i in range(13))
    outline = Stroke(((x0, top), *arc, (x1, top), (x1, bottom), (x0, bottom), (x0, top)))
    return Footprint(f"DIP{pins}", tuple(lands), (outline,), (x0, bottom, x1, top))


def _row(
    name: str,
    places: list[tuple[float, float]],
    size: float,
    hole: float,
    body: tuple[float, float, float, float],
    strokes: tuple[Stroke, ...],
    first: str = "round",
) -> Footprint:
    lands = tuple(
        Land(str(i), x, y, size - (0.1 if i == 1 and first == "square" else 0), hole, first if i == 1 else "round")
        for i, (x, y) in enumerate(places, 1)
    )
    return Footprint(name, lands, strokes, body)


def _axial(name: str, span: float, body: float, thick: float, band: bool) -> Footprint:
    a, b = (span - body) / 2, (span + body) / 2
    strokes = [_box(a, -thick / 2, b, thick / 2), Stroke(((1.0, 0.0), (a, 0.0))), Stroke(((b, 0.0), (span - 1.0, 0.0)))]
    if band:
        strokes.append(Stroke(((a + 0.9, -thick / 2), (a + 0.9, thick / 2))))
    return _row(
        name,
        [(0, 0), (span, 0)],
        1.5,
        0.8,
        (a, -thick / 2, b, thick / 2),
        tuple(strokes),
        "square" if band else "round",
    )


def _header(name: str, columns: int, rows: int) -> Footprint:
    """A pin header with `rows` rows of `columns` pins; numbers run across the rows first, as on ribbon cable headers."""
    places = [(c * PITCH_MM, -r * PITCH_MM) for c in range(columns) for r in range(rows)]
    x1, y0 = (columns - 1) * PITCH_MM + 1.27, -(rows - 1) * PITCH_MM - 1.27
    return _row(name, places, 1.5, 0.9, (-1.27, y0, x1, 1.27), (_box(-1.27, y0, x1, 1.27),), "square")


def _library() -> tuple[Footprint, ...]:
    p = PITCH_MM
    return (
        *(_dip(n, 7.62) for n in (8, 14, 16, 20)),
        *(_dip(n, 15.24) for n in (24, 28, 40)),
        _axial("AXIAL400", 4 * p, 6.2, 2.2, False),
        _axial("DIODE400", 4 * p, 4.4, 1.9, True),
        _axial("AXIAL500", 5 * p, 5.6, 2.7, True),
        _row("DISC200", [(0, 0), (2 * p, 0)], 1.5, 0.8, (1.1, -0.9, 3.98, 0.9), (_box(1.1, -0.9, 3.98, 0.9),)),
        _row(
            "RADIAL200",
            [(0, 0), (2 * p, 0)],
            1.7,
            0.9,
            (-1.4, -4.0, 6.5, 4.0),
            (_circle(p, 0, 4.0), Stroke(((-2.6, 1.6), (-1.6, 1.6))), Stroke(((-2.1, 1.1), (-2.1, 2.1)))),
            "square",
        ),
        _row("LED100", [(0, 0), (p, 0)], 1.6, 0.9, (-1.2, -2.5, 3.8, 2.5), (_circle(p / 2, 0, 2.5),), "square"),
        _row(
            "TO92",
            [(0, 0), (p, 0), (2 * p, 0)],
            1.5,
            0.8,
            (-1.2, -1.3, 6.28, 2.6),
            (Stroke(((-1.2, -1.3), (6.28, -1.3), (6.28, 0.9), (4.4, 2.6), (0.68, 2.6), (-1.2, 0.9), (-1.2, -1.3))),),
            "square",
        ),
        _row(
            "HC18",
            [(0, 0), (2 * p, 0)],
            1.5,
            0.8,
            (-2.9, -2.2, 8.0, 2.2),
            (
                Stroke(
                    (
                        (-0.9, -2.2),
                        (6.0, -2.2),
                        (7.4, -1.6),
                        (8.0, 0.0),
                        (7.4, 1.6),
                        (6.0, 2.2),
                        (-0.9, 2.2),
                        (-2.3, 1.6),
                        (-2.9, 0.0),
                        (-2.3, -1.6),
                        (-0.9, -2.2),
                    )
                ),
            ),
        ),
        _row(
            "WATCH",
            [(0, 0), (p, 0)],
            1.4,
            0.7,
            (-1.1, -1.1, 3.64, 8.2),
            (_box(-1.1, -1.1, 3.64, 8.2), Stroke(((-1.1, 1.2), (3.64, 1.2)))),
        ),
        _row(
            "CELL",
            [(0, 0), (0, -14 * p)],
            2.2,
            1.2,
            (-5.8, -14 * p - 1.9, 5.8, 1.9),
            (
                _box(-5.8, -14 * p - 1.9, 5.8, 1.9),
                Stroke(((-4.7, -1.2), (-2.9, -1.2))),
                Stroke(((-3.8, -2.1), (-3.8, -0.3))),
                Stroke(((-4.7, -14 * p + 1.2), (-2.9, -14 * p + 1.2))),
            ),
            "square",
        ),
        _row(
            "BUTTON",
            [(0, 0), (2 * p, 0)],
            1.7,
            1.0,
            (-1.2, -3.1, 6.28, 3.1),
            (_box(-1.2, -3.1, 6.28, 3.1), _circle(p, 0, 1.7)),
        ),
        _row(
            "LINK", [(0, 0), (p, 0)], 1.5, 0.9, (-1.27, -1.27, 3.81, 1.27), (_box(-1.27, -1.27, 3.81, 1.27),), "square"
        ),
        _row(
            "SIP9",
            [(i * p, 0) for i in range(9)],
            1.5,
            0.8,
            (-1.27, -1.27, 8 * p + 1.27, 1.27),
            (_box(-1.27, -1.27, 8 * p + 1.27, 1.27), Stroke(((1.27, -1.27), (1.27, 1.27)))),
            "square",
        ),
        _row(
            "POWER4",
            [(i * 2 * p, 0) for i in range(4)],
            2.6,
            1.4,
            (-3.0, -4.0, 6 * p + 3.0, 4.4),
            (_box(-3.0, -4.0, 6 * p + 3.0, 4.4), Stroke(((-3.0, -2.6), (6 * p + 3.0, -2.6)))),
            "square",
        ),
        _header("HEADER2X20", 20, 2),
        _header("HEADER2X10", 10, 2),
        _header("HEADER1X6", 6, 1),
        _header("HEADER1X5", 5, 1),
        _header("HEADER1X2", 2, 1),
    )


FOOTPRINTS: dict[str, Footprint] = {footprint.name: footprint for footprint in _library()}
