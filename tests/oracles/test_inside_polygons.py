"""Lines cut at polygons against the GEOS overlay (shapely.intersection), an algorithm of other people's: same lengths, same ends, any mix of polygons at once."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from coppermend.core.copper import inside


def polygons(dice: np.random.Generator, count: int) -> list[shapely.Polygon]:
    """Star-like polygons with holes, some of them with hundreds of edges."""
    out: list[shapely.Polygon] = []
    while len(out) < count:
        n = int(dice.integers(3, 300))
        angle, far = np.sort(dice.uniform(0, 2 * np.pi, n)), dice.uniform(4, 10, n)
        shape = shapely.Polygon(np.c_[far * np.cos(angle), far * np.sin(angle)]).buffer(0)
        for x, y, r in dice.uniform((-5, -5, 0.2), (5, 5, 1.5), (4, 3)):
            shape = shape.difference(shapely.Point(x, y).buffer(r))
        out += [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 0.01]
    return out[:count]


@pytest.mark.parametrize("few", [0, 10**9], ids=["by boxes", "each"])
def test_lengths_and_ends_as_the_overlay_finds_them(few: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inside, "FEW_CROSSINGS", few)
    dice = np.random.default_rng(11)
    shapes = np.array(polygons(dice, 25), dtype=object)
    which = dice.integers(0, len(shapes), 600)
    lines = dice.uniform(-11, 11, (600, 4))
    found = inside.in_polygons(lines, shapes[which])
    assert sum(len(parts) > 1 for parts in found) > 50, "lines that leave and come back"
    for (x0, y0, x1, y1), shape, parts in zip(lines.tolist(), shapes[which], found, strict=True):
        line = shapely.LineString([(x0, y0), (x1, y1)])
        cut = shapely.intersection(line, shape)
        assert sum(e - s for s, e in parts) == pytest.approx(cut.length, abs=1e-6)
        for s, e in parts:
            ends = shapely.line_interpolate_point(line, [s, e])
            assert shapely.distance(ends, cut).max() < 1e-6


def test_a_line_without_length_is_in_or_out() -> None:
    box = shapely.box(0, 0, 2, 2)
    lines = np.array([[1.0, 1.0, 1.0, 1.0], [3.0, 1.0, 3.0, 1.0]])
    assert inside.in_polygons(lines, np.array([box, box], dtype=object)) == [[(0.0, 0.0)], []]


def test_a_line_on_an_edge_and_through_corners() -> None:
    """Unit square: along its lower edge, and its diagonal of length sqrt 2."""
    box = shapely.box(0, 0, 1, 1)
    lines = np.array([[-1.0, 0.0, 2.0, 0.0], [-1.0, -1.0, 2.0, 2.0]])
    edge, diagonal = inside.in_polygons(lines, np.array([box, box], dtype=object))
    assert edge == [(pytest.approx(1.0), pytest.approx(2.0))]
    assert diagonal == [(pytest.approx(2**0.5), pytest.approx(2 * 2**0.5))]
