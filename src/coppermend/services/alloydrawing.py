"""The alloy diagram as one SVG picture: the section the joint walks along, and its path over the triangle of tin, lead and bismuth."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from coppermend.core.rework.alloy.answer import modelled_part
from coppermend.core.rework.alloy.composition import Alloy, mix
from coppermend.core.rework.alloy.diagram import Section, isotherms, section

INK, GREY, LIQUID_LINE, SOLID_LINE, PATH = "#1d1d1b", "#5c5c58", "#b04a00", "#1b5e8a", "#6a1b7a"
WIDTH, HEIGHT = 1000, 470
LEFT, TOP, WIDE, HIGH = 70.0, 50.0, 400.0, 350.0
SIDE = 380.0
CORNER = (560.0, 400.0)


def draw_alloys(base: Alloy, add: Alloy, shares: Sequence[float], keep_c: float | None = None) -> str:
    """The diagram of a joint of ``base`` to which ``add`` is fed, its doses at ``shares`` (0 to 1, by mass) numbered, as SVG text.

    ``keep_c``: the temperature at which the joint is to stay liquid, drawn as a line across.
    """
    found = section(base, add)
    body = [*_section_part(found, base, add, shares, keep_c), *_triangle_part(base, add, shares)]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'font-family="sans-serif" font-size="15" fill="{INK}" role="img">'
    )
    title = f"<title>What a joint of {base.name} melts at as {add.name} is fed</title>"
    note = "Thermodynamic model of tin, lead and bismuth; experiment may lie up to 9 degC off (solidus), 5 degC (liquidus)."
    paper = f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>'
    return "\n".join([head, title, paper, *body, _text(20, HEIGHT - 12, note, fill=GREY), "</svg>"]) + "\n"


def _section_part(
    found: Section, base: Alloy, add: Alloy, shares: Sequence[float], keep_c: float | None
) -> Iterable[str]:
    """Degrees over the added alloy's share."""
    every = [*found.liquidus_c, *found.solidus_c, *([] if keep_c is None else [keep_c])]
    low, high = 20 * math.floor(min(every) / 20 - 0.2), 20 * math.ceil(max(every) / 20 + 0.2)

    def place(share: float, celsius: float) -> tuple[float, float]:
        return LEFT + WIDE * share, TOP + HIGH * (high - celsius) / (high - low)

    yield f'<rect x="{LEFT}" y="{TOP}" width="{WIDE}" height="{HIGH}" fill="none" stroke="{GREY}"/>'
    for celsius in range(low, high + 1, 20):
        x, y = place(0, celsius)
        yield f'<line x1="{x}" y1="{y:.1f}" x2="{x + WIDE}" y2="{y:.1f}" stroke="{GREY}" stroke-opacity="0.25"/>'
        yield _text(x - 8, y + 5, f"{celsius}", anchor="end")
    for percent in range(0, 101, 20):
        x, _ = place(percent / 100, low)
        yield _text(x, TOP + HIGH + 18, f"{percent}", anchor="middle")
    yield _text(LEFT + WIDE / 2, TOP + HIGH + 36, f"% by mass of {add.name} in the joint", anchor="middle")
    yield _text(LEFT, TOP - 14, f"{base.name}: degC")
    yield _line([place(s, c) for s, c in zip(found.share, found.liquidus_c, strict=True)], LIQUID_LINE)
    yield _line([place(s, c) for s, c in zip(found.share, found.solidus_c, strict=True)], SOLID_LINE, dash="6 3")
    yield _text(LEFT + WIDE - 8, TOP + 18, "above the full line: all liquid", anchor="end", fill=LIQUID_LINE)
    yield _text(LEFT + WIDE - 8, TOP + 36, "below the broken line: all solid", anchor="end", fill=SOLID_LINE)
    if keep_c is not None:
        y = place(0, keep_c)[1]
        yield f'<line x1="{LEFT}" y1="{y:.1f}" x2="{LEFT + WIDE}" y2="{y:.1f}" stroke="{INK}" stroke-dasharray="2 3"/>'
        yield _text(LEFT + 6, y - 5, f"board at {keep_c:g}")
    for number, share in enumerate(shares):
        top = place(share, _between(found, share))
        yield f'<line x1="{top[0]:.1f}" y1="{top[1]:.1f}" x2="{top[0]:.1f}" y2="{TOP + HIGH}" stroke="{PATH}" stroke-opacity="0.5"/>'
        yield _dot(top, number)


def _between(found: Section, share: float) -> float:
    """Liquidus at a share, by line between the section's points."""
    step = 1 / (len(found.share) - 1)
    i = min(len(found.share) - 2, int(share / step))
    part = share / step - i
    return found.liquidus_c[i] * (1 - part) + found.liquidus_c[i + 1] * part


def _triangle_part(base: Alloy, add: Alloy, shares: Sequence[float]) -> Iterable[str]:
    """The triangle by mass with lines of equal liquidus and the joint's path."""
    corners = [_at((0, 1, 0)), _at((0, 0, 1)), _at((1, 0, 0))]
    yield f'<polygon points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in corners)}" fill="none" stroke="{INK}"/>'
    for (x, y), word, dx, dy in zip(corners, ("Pb", "Sn", "Bi"), (-10, 10, 0), (18, 18, -10), strict=True):
        yield _text(x + dx, y + dy, word, anchor="middle")
    for line in isotherms():
        strokes = " ".join(
            f"M{x1:.1f},{y1:.1f}L{x2:.1f},{y2:.1f}" for (x1, y1), (x2, y2) in ((_at(a), _at(b)) for a, b in line.pieces)
        )
        if strokes:
            yield f'<path d="{strokes}" fill="none" stroke="{LIQUID_LINE}" stroke-opacity="0.55"/>'
            x, y = max(_at(end) for piece in line.pieces for end in piece)
            yield _text(x + 3, y + 3, f"{line.celsius:g}", fill=LIQUID_LINE, size=11)
    dots = [_at(_mass(mix(base, add, share))) for share in shares]
    yield _line([_at(_mass(base)), _at(_mass(add))], PATH, dash="3 3")
    for number, dot in enumerate(dots):
        yield _dot(dot, number)
    yield _text(CORNER[0], TOP - 14, "Liquidus in degC over all tin-lead-bismuth alloys (% by mass)")


def _mass(of: Alloy) -> tuple[float, float, float]:
    b, p, s = (one / 100 for one in modelled_part(of))
    return b, p, s


def _at(mass: tuple[float, float, float]) -> tuple[float, float]:
    """Place of an alloy in the triangle: lead left, tin right, bismuth on top."""
    bismuth, _, tin = mass
    return CORNER[0] + SIDE * (tin + bismuth / 2), CORNER[1] - SIDE * math.sqrt(3) / 2 * bismuth


def _line(points: Sequence[tuple[float, float]], colour: str, dash: str = "") -> str:
    said = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<polyline points="{said}" fill="none" stroke="{colour}" stroke-width="2"{dashes}/>'


def _dot(at: tuple[float, float], number: int) -> str:
    circle = f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="4" fill="{PATH}"/>'
    return circle + _text(at[0] + 6, at[1] - 6, f"{number}", fill=PATH, size=14)


def _text(x: float, y: float, words: str, *, anchor: str = "start", fill: str = INK, size: int = 15) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}" font-size="{size}">{words}</text>'
