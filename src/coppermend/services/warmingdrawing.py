"""The warming of a board as an SVG picture that reads in black and white: temperature against time, both sides, target and the laminate's limit."""

from __future__ import annotations

import math
from collections.abc import Iterable

from coppermend.services.plans import WarmingKept

INK, GREY, PAPER = "#1d1d1b", "#5c5c58", "#ffffff"
WIDTH, HEIGHT = 1000, 430
LEFT, TOP, WIDE, HIGH = 70.0, 30.0, 900.0, 320.0
BELOW_TG_K = 10.0
"""The laminate's limit lies so far under its glass transition (preheat practice, docs/sources.md)."""


def draw_warming(plan: WarmingKept) -> str:
    """The plan as SVG text: full lines the component side, broken ones the solder side, each its coldest (thick) and hottest place (thin)."""
    last = max(plan.rows[-1][0], 1.0)
    limit = plan.tg_c - BELOW_TG_K
    every = [value for row in plan.rows for value in row[1:]] + [limit, plan.target_c]
    low, high = 20 * math.floor(min(every) / 20), 20 * math.ceil((max(every) + 6) / 20)

    def place(second: float, celsius: float) -> tuple[float, float]:
        return LEFT + WIDE * second / last, TOP + HIGH * (high - celsius) / (high - low)

    def line(column: int, width: float, dash: str) -> str:
        points = " ".join("{:.1f},{:.1f}".format(*place(row[0], row[column])) for row in plan.rows)
        return f'<polyline points="{points}" fill="none" stroke="{INK}" stroke-width="{width}"{_dashed(dash)}/>'

    body = [
        *_axes(low, high, last),
        line(3, 2.6, ""),
        line(4, 1.0, ""),
        line(1, 2.6, "9 5"),
        line(2, 1.0, "9 5"),
    ]
    y = place(0, limit)[1]
    body.append(_level(y, "2 3", 1.8))
    body.append(_text(LEFT + 8, y - 6, f"limit of the laminate: {limit:.0f} degC ({BELOW_TG_K:g} K under its Tg)"))
    y = place(0, plan.target_c)[1]
    body.append(_level(y, "12 3 2 3", 1.2))
    body.append(_text(LEFT + 8, y - 6, f"target {plan.target_c:.0f} degC"))
    if plan.time_s is not None and plan.time_s <= last:
        x = place(plan.time_s, low)[0]
        body.append(f'<line x1="{x:.1f}" y1="{TOP}" x2="{x:.1f}" y2="{TOP + HIGH}" stroke="{INK}" stroke-width="1"/>')
        body.append(_text(x - 6, TOP + HIGH - 10, f"there after {_time(plan.time_s)}", anchor="end"))
    words = "full: component side; broken: solder side; thick: coldest place of the heated area, thin: hottest"
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'font-family="sans-serif" font-size="15" fill="{INK}">'
    )
    paper = f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>'
    return "\n".join([head, paper, *body, _text(LEFT, HEIGHT - 12, words), "</svg>"]) + "\n"


def _axes(low: int, high: int, last: float) -> Iterable[str]:
    """Frame, degrees and minutes."""
    yield f'<rect x="{LEFT}" y="{TOP}" width="{WIDE}" height="{HIGH}" fill="none" stroke="{GREY}"/>'
    for celsius in range(low, high + 1, 20):
        y = TOP + HIGH * (high - celsius) / (high - low)
        yield f'<line x1="{LEFT}" y1="{y:.1f}" x2="{LEFT + WIDE}" y2="{y:.1f}" stroke="{GREY}" stroke-opacity="0.3"/>'
        yield _text(LEFT - 8, y + 5, f"{celsius}", anchor="end")
    step = next(one for one in (10, 30, 60, 120, 300, 600, 1200, 3600, 86400, 1e6) if last / one <= 10)
    for k in range(int(last / step) + 1):
        yield _text(LEFT + WIDE * k * step / last, TOP + HIGH + 20, _time(k * step), anchor="middle")
    yield _text(LEFT, TOP - 10, "degC")


def _time(second: float) -> str:
    if second < 90:
        return f"{second:.0f} s"
    return f"{second / 60:.1f} min" if second % 60 else f"{second / 60:.0f} min"


def _dashed(dash: str) -> str:
    return f' stroke-dasharray="{dash}"' if dash else ""


def _level(y: float, dash: str, width: float) -> str:
    return f'<line x1="{LEFT}" y1="{y:.1f}" x2="{LEFT + WIDE}" y2="{y:.1f}" stroke="{INK}" stroke-width="{width}"{_dashed(dash)}/>'


def _text(x: float, y: float, words: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{words}</text>'
