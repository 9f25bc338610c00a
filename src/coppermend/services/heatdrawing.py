"""A thermal picture on the board as an SVG picture: the colours as they lie, the board's outline, the parts that are cold or hot named, a scale in degC."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

from coppermend.services.heatpicture import RAMP

INK, PAPER, HALO = "#1d1d1b", "#ffffff", "#ffffff"
WIDTH, SCALE_HIGH = 1000.0, 70.0
MARKS = {"cold": "12 6", "hot": ""}
"""Dashes of a part's outline: broken where it is cold, full where it is hot."""


def draw_heat(drawn: Mapping[str, Any], png: bytes) -> tuple[str, float]:
    """(SVG text, height by width) of a thermal picture drawn on the board (``heatpicture.heat_drawn``, ``heat_png``)."""
    x0, y0, x1, y1 = (float(v) for v in drawn["box_mm"])
    scale = WIDTH / (x1 - x0)
    high = scale * (y1 - y0)

    def path(ring: Sequence[Sequence[float]]) -> str:
        points = " L".join(f"{scale * (float(x) - x0):.1f} {scale * (y1 - float(y)):.1f}" for x, y in ring)
        return f"M{points}Z"

    picture = base64.b64encode(png).decode()
    body = [
        f'<rect width="{WIDTH:g}" height="{high + SCALE_HIGH:.1f}" fill="{PAPER}"/>',
        f'<image x="0" y="0" width="{WIDTH:g}" height="{high:.1f}" preserveAspectRatio="none" href="data:image/png;base64,{picture}"/>',
        *(f'<path d="{path(ring)}" fill="none" stroke="{INK}" stroke-width="2"/>' for ring in drawn["outline"] if len(ring) > 2),
    ]  # fmt: skip
    for one in drawn["parts"]:
        if one["verdict"] in MARKS:
            dash = MARKS[one["verdict"]]
            data = path(one["outline"])
            body.append(f'<path d="{data}" fill="none" stroke="{HALO}" stroke-width="7"/>')
            body.append(f'<path d="{data}" fill="none" stroke="{INK}" stroke-width="3" stroke-dasharray="{dash or "none"}"/>')  # fmt: skip
            body += _label(one, scale, x0, y1)
    body += _colours(float(drawn["low_c"]), float(drawn["high_c"]), high)
    whole = high + SCALE_HIGH
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {whole:.1f}" width="{WIDTH:g}" height="{whole:.1f}" '
        f'font-family="sans-serif" font-size="26" fill="{INK}">'
    )
    return "\n".join([head, *body, "</svg>"]) + "\n", whole / WIDTH


def _label(one: Mapping[str, Any], scale: float, x0: float, y1: float) -> Iterable[str]:
    xs, ys = [float(x) for x, _ in one["outline"]], [float(y) for _, y in one["outline"]]
    x, y = scale * ((min(xs) + max(xs)) / 2.0 - x0), scale * (y1 - (min(ys) + max(ys)) / 2.0)
    celsius = one.get("celsius")
    words = escape(f"{one['part']} {one['verdict']}" + (f" {celsius:.0f} degC" if isinstance(celsius, (int, float)) else ""))  # fmt: skip
    at = f'x="{x:.1f}" y="{y + 9:.1f}" text-anchor="middle"'
    yield f'<text {at} stroke="{HALO}" stroke-width="6" stroke-linejoin="round" fill="{HALO}">{words}</text>'
    yield f'<text {at} fill="{INK}">{words}</text>'


def _colours(low: float, high: float, top: float) -> Iterable[str]:
    """The ramp from cold to hot, with its ends and middle in degC."""
    stops = "".join(f'<stop offset="{k / (len(RAMP) - 1):.2f}" stop-color="rgb{one}"/>' for k, one in enumerate(RAMP))
    yield f'<defs><linearGradient id="ramp">{stops}</linearGradient></defs>'
    yield f'<rect x="100" y="{top + 14:.1f}" width="800" height="18" fill="url(#ramp)" stroke="{INK}"/>'
    for k, anchor in ((0.0, "start"), (0.5, "middle"), (1.0, "end")):
        words = f"{low + k * (high - low):.0f} degC"
        yield f'<text x="{100 + 800 * k:.1f}" y="{top + 56:.1f}" text-anchor="{anchor}">{words}</text>'
