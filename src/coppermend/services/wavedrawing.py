"""A wave as an SVG picture that reads in black and white: the signal with its measured levels, the thresholds and the edges, time and volts beside it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

INK, GREY, PAPER = "#1d1d1b", "#5c5c58", "#ffffff"
WIDTH, HEIGHT = 1000, 330
LEFT, TOP, WIDE, HIGH = 78.0, 34.0, 770.0, 226.0
STEPS = {"0": 0.0, "x": 0.5, "z": 0.5, "1": 1.0}
"""Height of a logic level between the lines of low and high; x and z lie between."""


def draw_svg(drawn: Mapping[str, Any]) -> str:
    """A drawn channel (``core.signals.picture``) as SVG text: the signal a full line or a band, levels long dashes, thresholds dots, edges ticks below.

    >>> one = {"kind": "line", "time_s": [0, 1e-6, 2e-6], "volt": [0.2, 3.6, 3.6], "begin_s": 0, "end_s": 2e-6, "low_v": 0.2, "high_v": 3.6,
    ...        "thresholds": None, "edges_s": [5e-7]}
    >>> text = draw_svg(one)
    >>> "3.6 V" in text and "0.2 V" in text and text.count('class="edge"') == 1
    True
    """
    begin, end = float(drawn["begin_s"]), float(drawn["end_s"])
    span = max(end - begin, 1e-15)
    low, high = _range(drawn)

    def x(second: float) -> float:
        return LEFT + WIDE * (min(max(second, begin), end) - begin) / span

    def y(volt: float) -> float:
        return TOP + HIGH * (high - volt) / (high - low)

    body = [f'<rect x="{LEFT}" y="{TOP}" width="{WIDE}" height="{HIGH}" fill="none" stroke="{GREY}"/>']
    body += _time_axis(begin, end, x)
    if drawn["kind"] != "steps":
        body += _volt_axis(low, high, y)
    body.append(_signal(drawn, x, y))
    body += _levels(drawn, y)
    for second in drawn.get("edges_s") or ():
        at = x(float(second))
        body.append(f'<line class="edge" x1="{at:.1f}" x2="{at:.1f}" y1="{TOP + HIGH:.1f}" y2="{TOP + HIGH - 9:.1f}" stroke="{INK}" stroke-width="1.6"/>')  # fmt: skip
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'font-family="sans-serif" font-size="15" fill="{INK}">'
    )
    marks = "ticks: edges" if drawn.get("edges_s") else ""
    levels = "dashes: measured levels" if drawn["kind"] != "steps" and drawn.get("low_v") is not None else ""
    key = "; ".join(one for one in (levels, _dots(drawn), marks) if one)
    foot = _text(LEFT, HEIGHT - 10, key) if key else ""
    return "\n".join([head, f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{PAPER}"/>', *body, foot, "</svg>"]) + "\n"


def _dots(drawn: Mapping[str, Any]) -> str:
    limits = drawn.get("thresholds") if drawn["kind"] != "steps" else None
    return f"dots: input thresholds of {escape(str(limits['family']))}" if limits else ""


def _range(drawn: Mapping[str, Any]) -> tuple[float, float]:
    """Volts from the lowest to the highest of what is shown, with a little air; 0 to 1 of logic levels."""
    if drawn["kind"] == "steps":
        return -0.25, 1.25
    limits = drawn.get("thresholds") or {}
    every = [*drawn.get("volt", ()), *drawn.get("least_v", ()), *drawn.get("most_v", ())]
    every += [v for v in (drawn.get("low_v"), drawn.get("high_v"), limits.get("low_v"), limits.get("high_v")) if v is not None]  # fmt: skip
    known = [float(v) for v in every if math.isfinite(float(v))] or [0.0]
    low, high = min(known), max(known)
    air = 0.08 * (high - low) or 0.5
    return low - air, high + air


def _signal(drawn: Mapping[str, Any], x: Any, y: Any) -> str:
    times = [float(t) for t in drawn["time_s"]]
    if drawn["kind"] == "steps":
        points: list[tuple[float, float]] = []
        for k, (t, level) in enumerate(zip(times, drawn["level"], strict=True)):
            height = y(STEPS[str(level)])
            points += [(x(t), points[-1][1]), (x(t), height)] if k else [(x(t), height)]
        points.append((x(float(drawn["end_s"])), points[-1][1]))
        return _line(points)
    if drawn["kind"] == "envelope":
        top = [(x(t), y(float(v))) for t, v in zip(times, drawn["most_v"], strict=True)]
        bottom = [(x(t), y(float(v))) for t, v in zip(times, drawn["least_v"], strict=True)]
        data = " ".join(f"{a:.1f},{b:.1f}" for a, b in [*top, *reversed(bottom)])
        return f'<polygon points="{data}" fill="{INK}" stroke="{INK}" stroke-width="0.8"/>'
    return _line([(x(t), y(float(v))) for t, v in zip(times, drawn["volt"], strict=True)])


def _line(points: Sequence[tuple[float, float]]) -> str:
    data = " ".join(f"{a:.1f},{b:.1f}" for a, b in points if math.isfinite(b))
    return f'<polyline points="{data}" fill="none" stroke="{INK}" stroke-width="1.5" stroke-linejoin="round"/>'


def _levels(drawn: Mapping[str, Any], y: Any) -> Iterable[str]:
    if drawn["kind"] == "steps":
        yield _text(LEFT - 8, y(0.0) + 5, "low", "end")
        yield _text(LEFT - 8, y(1.0) + 5, "high", "end")
        return
    levels = dict.fromkeys(f"{float(drawn[name]):.3g}" for name in ("low_v", "high_v") if drawn.get(name) is not None)
    for words in levels:
        at = y(float(words))
        yield _across(at, "12 5", 1.2)
        yield _text(LEFT + WIDE + 8, at + 5, f"{words} V")
    for name in ("low_v", "high_v"):
        limit = (drawn.get("thresholds") or {}).get(name)
        if limit is not None:
            yield _across(y(float(limit)), "2 5", 1.2)
            yield _text(LEFT + WIDE + 68, y(float(limit)) + 5, f"{float(limit):.3g} V")


def _volt_axis(low: float, high: float, y: Any) -> Iterable[str]:
    step = _nice((high - low) / 5.0)
    yield _text(LEFT, TOP - 12, "V")
    for k in range(math.ceil(low / step), math.floor(high / step) + 1):
        yield _text(LEFT - 8, y(k * step) + 5, f"{k * step:g}", "end")


def _time_axis(begin: float, end: float, x: Any) -> Iterable[str]:
    unit, scale = next(((u, s) for u, s in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6), ("ns", 1e-9)) if end - begin >= s), ("ns", 1e-9))  # fmt: skip
    step = _nice((end - begin) / scale / 8.0)
    for k in range(math.ceil(begin / scale / step - 1e-9), math.floor(end / scale / step + 1e-9) + 1):
        at = x(k * step * scale)
        yield f'<line x1="{at:.1f}" x2="{at:.1f}" y1="{TOP}" y2="{TOP + HIGH}" stroke="{GREY}" stroke-opacity="0.25"/>'
        yield _text(at, TOP + HIGH + 20, f"{k * step:g}", "middle")
    yield _text(LEFT + WIDE + 8, TOP + HIGH + 20, unit)


def _nice(step: float) -> float:
    """The next of 1, 2, 5 times a power of ten.

    >>> _nice(0.3), _nice(7.0), _nice(1.2)
    (0.5, 10.0, 2.0)
    """
    power = 10.0 ** math.floor(math.log10(max(step, 1e-30)))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= step * (1 - 1e-9))


def _across(y: float, dash: str, width: float) -> str:
    return f'<line x1="{LEFT}" x2="{LEFT + WIDE}" y1="{y:.1f}" y2="{y:.1f}" stroke="{INK}" stroke-width="{width}" stroke-dasharray="{dash}"/>'


def _text(x: float, y: float, words: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{words}</text>'
