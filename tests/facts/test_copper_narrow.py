"""Narrow copper is a track whatever it was made with: parallel strokes, cross strokes, a region, one long flash; wide painted copper is a pour.

The truth is known by construction: a strip of length L and width w is L / w squares of rho / t (0.4926 mohm at 35 um, IACS copper, as in
tests/facts/test_copper_resistance.py), whatever drew it. Two lands of 1 mm on a strip of 60 mm leave 59 mm free.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest
import shapely
from tests.copper_boards import Piece, board, pad, part, region, track

from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.copper.provable import net_view
from coppermend.core.copper.resistance import effective_ohm
from coppermend.core.copper.spine import spine
from coppermend.core.units import sheet_resistance_ohm

SQUARE = sheet_resistance_ohm(0.035)
JOINTS = 2 * 0.0002


def strokes(width: float, offsets: list[float]) -> list[Piece]:
    return [piece for y in offsets for piece in track(width, (0, y), (60, y))]


def across(pitch: float = 0.08) -> list[Piece]:
    """A strip 60 mm long and 0.5 mm wide painted by strokes of 0.1 mm across it."""
    count = int(60 / pitch)
    return [p for k in range(count + 1) for p in track(0.1, (k * pitch, -0.2), (k * pitch, 0.2))]


def surface(copper: list[Piece], where: list[tuple[float, float]], lands: bool = True) -> CopperGraph:
    """Surface pins at the places, with a land of 1 mm each if asked."""
    pads = [pad(x, y, 1.0) for x, y in where] if lands else []
    parts = [part(f"P{k}", "c", [("1", x, y, None)]) for k, (x, y) in enumerate(where, 1)]
    return build_graph(board({"c": [*pads, *copper], "s": []}, [], parts))


def through(copper: list[Piece], where: list[tuple[float, float]]) -> CopperGraph:
    """Plated holes of 0.6 mm with lands of 1 mm at the places."""
    pads = [pad(x, y, 1.0) for x, y in where]
    holes = [(x, y, 0.6) for x, y in where]
    parts = [part(f"P{k}", "c", [("1", x, y, k - 1)]) for k, (x, y) in enumerate(where, 1)]
    return build_graph(board({"c": [*pads, *copper], "s": pads}, holes, parts))


def runs(graph: CopperGraph) -> list[Any]:
    return [s for s in graph.sites if s.kind is SiteKind.RUN]


ENDS = [(0.0, 0.0), (60.0, 0.0)]
STRIPS = {
    "two strokes": (strokes(0.2, [0.0, 0.1]), 0.3),
    "three strokes": (strokes(0.1, [-0.08, 0.0, 0.08]), 0.26),
    "five strokes": (strokes(0.1, [-0.16, -0.08, 0.0, 0.08, 0.16]), 0.42),
    "strokes across": (across(), 0.5),
    "a region": ([region(shapely.box(0, -0.1, 60, 0.1))], 0.2),
    "one long flash": ([("flash", shapely.box(0, -0.1, 60, 0.1), 0.0)], 0.2),
    "one long oblong flash": ([("flash", shapely.LineString([(0, 0), (60, 0)]), 0.1)], 0.2),
    "four flashes end to end": (
        [("flash", shapely.box(15.0 * k - 0.1, -0.1, 15.0 * k + 15.1, 0.1), 0.0) for k in range(4)],
        0.2,
    ),
    "one stroke": (strokes(0.2, [0.0]), 0.2),
}


@pytest.mark.parametrize("make", [surface, through])
@pytest.mark.parametrize("name", STRIPS)
def test_a_strip_is_one_provable_run_of_its_length_and_width(name: str, make: Any) -> None:
    copper, width = STRIPS[name]
    graph = make(copper, ENDS)
    (run,) = runs(graph)
    assert run.length_mm == pytest.approx(59.0, abs=0.1)
    assert run.width_mm == pytest.approx(width, rel=0.03)
    assert run.resistance_ohm == pytest.approx(59.0 / width * SQUARE, rel=0.03)
    assert run.id in net_view(graph, run.net).provable_sites()
    read = effective_ohm(graph, "P1.1/leg", "P2.1/leg")
    barrels = sum(s.resistance_ohm for s in graph.sites if s.kind is SiteKind.BARREL)
    assert run.resistance_ohm < read.value <= (run.resistance_ohm + JOINTS + barrels) * (1 + 1e-9)


def test_a_bent_region_is_a_run_of_its_length() -> None:
    bent = shapely.Polygon([(0, -0.1), (30.1, -0.1), (30.1, 30), (29.9, 30), (29.9, 0.1), (0, 0.1)])
    graph = surface([region(bent)], [(0, 0), (30, 30)])
    # two arms of 29.9 mm less half a land of 1 mm each, 0.2 mm wide, and a corner of 0.559 squares (handbook value)
    squares = 2 * 29.4 / 0.2 + 0.559
    assert effective_ohm(graph, "P1.1/leg", "P2.1/leg").value == pytest.approx(squares * SQUARE + JOINTS, rel=0.02)


def test_pads_and_track_in_one_region_are_lands_and_a_run() -> None:
    bone = shapely.union_all([shapely.box(-1, -1, 1, 1), shapely.box(19, -1, 21, 1), shapely.box(0, -0.1, 20, 0.1)])
    graph = surface([region(bone)], [(0, 0), (20, 0)], lands=False)
    (run,) = runs(graph)
    assert (run.length_mm, run.width_mm) == (pytest.approx(18.0, abs=0.2), pytest.approx(0.2, rel=0.03))
    assert graph.point("P1.1/leg").node != graph.point("P2.1/leg").node
    assert effective_ohm(graph, "P1.1/leg", "P2.1/leg").value == pytest.approx(90 * SQUARE + JOINTS, rel=0.03)


def test_pins_on_a_bare_strip_have_lands_of_their_own() -> None:
    for copper in ([region(shapely.box(0, -0.1, 60, 0.1))], strokes(0.2, [0.0, 0.1])):
        graph = surface(copper, [(0.5, 0), (30, 0), (59.5, 0)], lands=False)
        assert len({graph.point(f"P{k}.1/leg").node for k in (1, 2, 3)}) == 3
        assert [round(r.length_mm) for r in runs(graph) if r.length_mm > 1] == [29, 29]


def test_the_axis_of_a_wedge_has_the_squares_of_the_integral() -> None:
    wedge = shapely.Polygon([(0, -0.1), (20, -0.3), (20, 0.3), (0, 0.1)])
    squares = sum(math.dist(p, q) / (2 * b.radius) for b in spine(wedge) or [] for p, q in itertools.pairwise(b.path))
    assert squares == pytest.approx(20 / 0.4 * math.log(0.6 / 0.2), rel=0.04)  # integral of dx / w(x)


def test_lands_painted_by_strokes_and_fingers_stay_lands() -> None:
    square = [p for k in range(8) for p in track(0.2, (-0.6, -0.6 + 0.17 * k), (0.6, -0.6 + 0.17 * k))]
    finger = [p for k in range(8) for p in track(0.2, (18.0, -0.6 + 0.17 * k), (26.0, -0.6 + 0.17 * k))]
    lead = [p for y in (-0.05, 0.05) for p in track(0.2, (39.1, y), (40.9, y))]
    joins = [*track(0.2, (0, 0), (22, 0)), *track(0.2, (22, 0), (40, 0))]
    graph = surface([*square, *finger, *lead, *joins], [(0, 0), (22, 0), (40, 0)], lands=False)
    assert [(round(r.length_mm), r.width_mm) for r in runs(graph)] == [(17, 0.2), (13, 0.2)]


def test_a_wide_pour_painted_by_strokes_is_a_sheet_as_the_region_is() -> None:
    pins = [(5.0, 10.0), (115.0, 10.0), (45.0, 10.0), (75.0, 12.0)]
    painted = [p for k in range(133) for p in track(0.2, (0.1, 0.1 + 0.15 * k), (119.9, 0.1 + 0.15 * k))]
    graphs = [through(painted, pins), through([region(shapely.box(0, 0, 120, 20))], pins)]
    for graph in graphs:
        assert not runs(graph)
        assert "sheet" in graph.node_kind
    pairs = [("P1.1", "P2.1"), ("P1.1", "P3.1"), ("P3.1", "P4.1")]
    for a, b in pairs:
        one, two = (effective_ohm(g, f"{a}/leg", f"{b}/leg").value for g in graphs)
        assert one == pytest.approx(two, rel=0.03)


def test_a_track_nicked_by_a_cleared_circle_has_its_least_width() -> None:
    """0.6 mm wide, a circle of 1 mm at 0.55 mm from the axis leaves 0.35 mm; squares by the integral of dx / w(x)."""
    nick = shapely.Point(10, 0.55).buffer(0.5, quad_segs=64)
    left = shapely.LineString([(0, 0), (20, 0)]).buffer(0.3).difference(nick)
    graph = surface([("draw", left, 0.0)], [(0, 0), (20, 0)])
    (run,) = runs(graph)
    assert run.width_mm == pytest.approx(0.35, rel=0.05)
    steps = [0.5 + 19.0 * (k + 0.5) / 4000 for k in range(4000)]
    widths = [min(0.6, 0.3 + 0.55 - math.sqrt(max(0.0, 0.25 - (x - 10) ** 2))) for x in steps]
    assert run.resistance_ohm == pytest.approx(sum(19.0 / 4000 / w for w in widths) * SQUARE, rel=0.03)
