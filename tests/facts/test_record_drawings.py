"""Pictures of the record: a wave drawn from known samples, a thermal picture drawn from known places. Expected places are reckoned by hand."""

from __future__ import annotations

import re

import numpy as np

from coppermend.core.signals.measure import measure
from coppermend.core.signals.model import Expected
from coppermend.core.signals.picture import picture
from coppermend.core.signals.wave import Wave
from coppermend.services.heatdrawing import draw_heat
from coppermend.services.wavedrawing import HIGH, LEFT, TOP, WIDE, draw_svg


def square() -> Wave:
    """1 MHz, 0 and 4 V, ten periods at 100 samples each."""
    t = np.arange(1000) * 1e-8
    return Wave("CH1", "V", np.where((t * 1e6) % 1 < 0.5, 4.0, 0.0), 0.0, 1e-8)


def test_edges_stand_where_they_are() -> None:
    """19 edges half a microsecond apart, each at its share of the width; levels 0 and 4 V beside their lines."""
    wave = square()
    svg = draw_svg(picture(wave, measure(wave, Expected(), None)))
    at = [float(x) for x in re.findall(r'class="edge" x1="([\d.]+)"', svg)]
    want = [LEFT + WIDE * (k * 0.5e-6 - 0.5e-8) / 9.99e-6 for k in range(1, 20)]
    assert len(at) == 19 and np.abs(np.array(at) - want).max() < 0.2
    assert ">0 V<" in svg and ">4 V<" in svg and ">us<" in svg
    heights = [float(y) for _, y in re.findall(r"([\d.]+),([\d.]+)", svg.split('<polyline points="')[1].split('"')[0])]
    low, high = 0.0 - 0.08 * 4, 4.0 + 0.08 * 4
    assert abs(min(heights) - (TOP + HIGH * (high - 4.0) / (high - low))) < 0.2
    assert abs(max(heights) - (TOP + HIGH * (high - 0.0) / (high - low))) < 0.2


def test_a_part_is_drawn_where_it_lies_north_up() -> None:
    """A board of 100 by 50 mm, a part from 10 to 20 mm and 30 to 40 mm above its lower edge: 10 pixels a mm, downwards from the top."""
    ring = [[10.0, 30.0], [20.0, 30.0], [20.0, 40.0], [10.0, 40.0]]
    part = {"part": "U<1>", "verdict": "cold", "celsius": 21.4, "outline": ring}
    drawn = {"box_mm": [0, 0, 100, 50], "outline": [], "parts": [part, {**part, "part": "U2", "verdict": "even"}], "low_c": 20.0, "high_c": 40.0}  # fmt: skip
    svg, ratio = draw_heat(drawn, b"png")
    assert "M100.0 200.0 L200.0 200.0 L200.0 100.0 L100.0 100.0Z" in svg and "U2" not in svg
    assert "U&lt;1&gt; cold 21 degC" in svg and 'x="150.0" y="159.0"' in svg
    assert abs(ratio - (500 + 70) / 1000) < 1e-9 and ">30 degC<" in svg
