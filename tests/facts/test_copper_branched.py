"""Narrow copper that branches, bends, widens, closes to a ring or parts a pour is runs with sites along it, as the same copper drawn by strokes is.

A strip of length L and width w is L / w squares of rho / t, whatever drew it; a right-angle bend counts 0.559 squares (handbook value of the
closed form in squares.py); a wedge is the integral of dx / w(x). Lands of 1 mm at the ends take half a millimetre of the strip each.
"""

from __future__ import annotations

import itertools
import json
import math
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.copper_boards import Piece, region, track
from tests.facts.test_copper_narrow import JOINTS, SQUARE, runs, surface

from coppermend.core.copper.model import SiteKind
from coppermend.core.copper.provable import net_view
from coppermend.core.copper.resistance import effective_ohm
from coppermend.services.graphs import net_graph

Point = tuple[float, float]


def flat(width: float, *points: Point) -> Any:
    """The outline of a polyline with square ends and mitred bends."""
    return shapely.LineString(points).buffer(width / 2, cap_style="flat", join_style="mitre")


def made_by(kind: str, outline: Any) -> list[Piece]:
    return [(kind, outline, 0.0)]


TEE = shapely.union_all([flat(0.2, (0, 0), (60, 0)), flat(0.2, (30, 0), (30, 30))])


@pytest.mark.parametrize("kind", ["region", "flash"])
def test_a_branched_region_is_three_provable_runs_that_meet(kind: str) -> None:
    graph = surface(made_by(kind, TEE), [(0, 0), (60, 0), (30, 30)])
    three = runs(graph)
    assert sorted(r.length_mm for r in three) == [pytest.approx(29.5, abs=0.4)] * 3
    assert set(net_view(graph, three[0].net).provable_sites()) >= {r.id for r in three}
    assert not [s for s in graph.sites if s.kind is SiteKind.SPOKE]
    # 59 mm straight through; round the corner 29.5 mm each way less half the width and the corner, about 294 squares
    assert effective_ohm(graph, "P1.1", "P2.1").value == pytest.approx(295 * SQUARE + JOINTS, rel=0.01)
    assert effective_ohm(graph, "P1.1", "P3.1").value == pytest.approx(294 * SQUARE + JOINTS, rel=0.01)


def test_a_meander_is_one_run_of_its_squares() -> None:
    path = [(0, 0), (20, 0), (20, 1), (0, 1), (0, 2), (20, 2), (20, 3), (0, 3), (0, 4), (20, 4)]
    graph = surface([region(flat(0.2, *path))], [(0, 0), (20, 4)])
    (run,) = runs(graph)
    squares = 103 / 0.2 - 8 * (1 - 0.559)  # 104 mm of axis, half a millimetre of it under either land
    assert run.length_mm == pytest.approx(103, rel=0.01)
    assert effective_ohm(graph, "P1.1", "P2.1").value == pytest.approx(squares * SQUARE + JOINTS, rel=0.02)


def test_a_spiral_joins_no_winding_to_the_next() -> None:
    path, x, y = [(0.0, 0.0)], 0.0, 0.0
    for k in range(1, 13):
        x, y = x + k * (1, 0, -1, 0)[(k - 1) % 4] * 0.5, y + k * (0, 1, 0, -1)[(k - 1) % 4] * 0.5
        path.append((x, y))
    total = sum(math.dist(p, q) for p, q in itertools.pairwise(path))
    lands = [("flash", shapely.Point(p), 0.15) for p in (path[0], path[-1])]
    graph = surface([region(flat(0.25, *path)), *lands], [path[0], path[-1]], lands=False)
    (run,) = runs(graph)
    assert run.length_mm == pytest.approx(total - 0.3, rel=0.02)


@pytest.mark.parametrize(("first", "last"), [(0.2, 2.0), (0.2, 0.6), (1.0, 2.0)])
def test_a_tapering_region_has_the_squares_of_its_integral(first: float, last: float) -> None:
    wedge = shapely.Polygon([(0, -first / 2), (40, -last / 2), (40, last / 2), (0, first / 2)])
    ends: list[Piece] = [("flash", shapely.box(x - 0.5, -1.1, x + 0.5, 1.1), 0.0) for x in (0, 40)]
    graph = surface([region(wedge), *ends], [(0, 0), (40, 0)], lands=False)
    (run,) = runs(graph)
    grow = (last - first) / 40
    squares = math.log((first + 39.5 * grow) / (first + 0.5 * grow)) / grow
    assert run.resistance_ohm == pytest.approx(squares * SQUARE, rel=0.03)
    assert run.width_mm == pytest.approx(first, abs=0.1)


SQUARE_RING = shapely.box(-0.1, -0.1, 20.1, 20.1).difference(shapely.box(0.1, 0.1, 19.9, 19.9))
ROUND_RING = (
    shapely.Point(10, 10).buffer(10.1, quad_segs=32).difference(shapely.Point(10, 10).buffer(9.9, quad_segs=32))
)


@pytest.mark.parametrize("kind", ["region", "flash"])
@pytest.mark.parametrize(
    ("ring", "where", "around"),
    [(SQUARE_RING, [(0, 0), (20, 20)], 80.0), (ROUND_RING, [(0, 10), (20, 10)], 20 * math.pi)],
)
def test_a_narrow_ring_is_two_runs_side_by_side(kind: str, ring: Any, where: list[Point], around: float) -> None:
    graph = surface(made_by(kind, ring), where)
    assert [r.length_mm for r in runs(graph)] == [pytest.approx(around / 2 - 1.0, rel=0.01)] * 2
    one_way = (around / 2 - 1.0) / 0.2
    assert effective_ohm(graph, "P1.1", "P2.1").value == pytest.approx(one_way / 2 * SQUARE + JOINTS, rel=0.02)


def test_a_land_with_an_opening_stays_a_land() -> None:
    rings = [
        ("flash", shapely.Point(x, 0).buffer(0.9, quad_segs=16).difference(shapely.Point(x, 0).buffer(0.75)), 0.0)
        for x in (0.0, 20.0)
    ]
    graph = surface([*rings, *track(0.3, (0.8, 0), (19.2, 0))], [(0.8, 0), (19.2, 0)], lands=False)
    (run,) = runs(graph)
    assert graph.node_kind.count("land") == 2
    assert run.length_mm == pytest.approx(18.4, abs=0.3)


def lobes(width: float, length: float = 20.0) -> Any:
    half = width / 2
    middle = shapely.box(20, 10 - half, 20 + length, 10 + half)
    return shapely.union_all([shapely.box(0, 0, 20, 20), shapely.box(20 + length, 0, 40 + length, 20), middle])


@pytest.mark.parametrize("width", [0.2, 0.3, 0.5, 1.0, 2.0])
def test_a_neck_between_two_pours_is_a_run_between_two_sheets(width: float) -> None:
    graph = surface([region(lobes(width))], [(10, 10), (50, 10)])
    (run,) = runs(graph)
    assert {graph.node_kind[n] for n in (run.a, run.b)} == {"sheet"}
    assert run.a != run.b
    assert run.words.startswith("the neck between two pours ")
    assert run.id in net_view(graph, run.net).provable_sites()
    assert (run.length_mm, run.width_mm) == (pytest.approx(20, abs=0.1), pytest.approx(width, rel=0.02))
    # from a disc of 0.5 mm to a half disc of half the neck's width at the rim of 20 mm of copper: about 3 squares a lobe, from a mesh
    value = effective_ohm(graph, "P1.1", "P2.1").value - JOINTS
    assert 20 / width * SQUARE < value < (20 / width + 6) * SQUARE


ANTIPADS = {
    "round, 2.54 mm apart": [shapely.Point(x + 2.54 * k, y).buffer(0.85, quad_segs=4) for x in (3, 43) for y in (4, 16) for k in range(6)],
    "long, with webs of 0.27 mm": [shapely.box(x + 1.27 * k, y, x + 1.27 * k + 1, y + 6) for x in (3, 43) for y in (2, 12) for k in range(10)],
}  # fmt: skip


@pytest.mark.parametrize("antipads", ANTIPADS)
def test_a_neck_between_pours_of_many_openings_is_a_run(antipads: str) -> None:
    """24 and 40 openings; the webs between them part nothing and stay in the sheets."""
    pour = lobes(0.3).difference(shapely.union_all(ANTIPADS[antipads]))
    graph = surface([region(pour)], [(10, 10), (50, 10)])
    (run,) = runs(graph)
    assert {graph.node_kind[n] for n in (run.a, run.b)} == {"sheet"} and run.a != run.b
    assert run.words.startswith("the neck between two pours ") and run.id in net_view(graph, run.net).provable_sites()
    assert (run.length_mm, run.width_mm) == (pytest.approx(20, abs=0.1), pytest.approx(0.3, rel=0.02))


def test_no_place_of_a_graph_is_minus_zero() -> None:
    graph = surface(track(0.3, (-0.0, -0.0), (10, -0.0)), [(-0.0, -0.0), (10, -0.0)])
    told = json.dumps(net_graph(graph, runs(graph)[0].net))
    assert '"x_mm": 0.0' in told
    assert "-0.0," not in told and "-0.0]" not in told and "-0.0}" not in told


def test_a_neck_beside_another_is_two_runs_and_a_handle_of_one_pour_is_none() -> None:
    two = shapely.union_all([lobes(0.3), shapely.box(20, 3, 40, 3.5)])
    graph = surface([region(two)], [(10, 10), (50, 10)])
    assert sorted(r.width_mm for r in runs(graph)) == [pytest.approx(0.3, rel=0.02), pytest.approx(0.5, rel=0.02)]
    handle = shapely.union_all([shapely.box(0, 0, 20, 20), flat(0.4, (20, 5), (26, 5), (26, 15), (20, 15))])
    assert runs(surface([region(handle)], [(5, 5), (15, 15)])) == []


def test_a_tail_of_a_pour_is_a_run_as_the_stroke_is() -> None:
    tail = shapely.union_all([shapely.box(0, 0, 20, 20), shapely.box(20, 9.8, 45, 10.2)])
    drawn = surface([region(shapely.box(0, 0, 20, 20)), *track(0.4, (19, 10), (44.8, 10))], [(5, 5), (44.5, 10)])
    graph = surface([region(tail)], [(5, 5), (44.5, 10)])
    for one in (graph, drawn):
        (run,) = runs(one)
        assert run.length_mm == pytest.approx(24.0, abs=0.1)
    values = [effective_ohm(one, "P1.1", "P2.1").value for one in (graph, drawn)]
    assert values[0] == pytest.approx(values[1], rel=0.03)


def test_a_wide_flash_between_lands_has_its_ohms() -> None:
    lands: list[Piece] = [("flash", shapely.box(x - 1, -3, x + 1, 3), 0.0) for x in (0, 30)]
    graph = surface([("flash", shapely.box(0, -3, 30, 3), 0.0), *lands], [(0, 0), (30, 0)], lands=False)
    assert effective_ohm(graph, "P1.1", "P2.1").value == pytest.approx(28 / 6 * SQUARE + JOINTS, rel=0.03)


@st.composite
def trees(draw: st.DrawFn) -> tuple[float, list[tuple[Point, ...]], list[Point]]:
    """A trunk along x with branches up and down, each perhaps bent once: polylines and the places of lands at their ends."""
    width = draw(st.sampled_from([0.2, 0.3, 0.5]))
    count = draw(st.integers(1, 4))
    lines: list[tuple[Point, ...]] = [((0.0, 0.0), (12.0 * (count + 1), 0.0))]
    ends = [lines[0][0], lines[0][1]]
    for k in range(1, count + 1):
        x, up = 12.0 * k, draw(st.sampled_from([-1.0, 1.0]))
        height = draw(st.floats(6.0, 20.0)) * up
        line: tuple[Point, ...] = ((x, 0.0), (x, height))
        if draw(st.booleans()):
            line = (*line, (x + draw(st.floats(4.0, 8.0)), height))
        lines.append(line)
        ends.append(line[-1])
    return width, lines, ends


@settings(max_examples=25, deadline=None)
@given(trees())
def test_a_region_is_the_runs_and_ohms_of_the_strokes_that_draw_it(tree: Any) -> None:
    width, lines, ends = tree
    drawn = surface([piece for line in lines for piece in track(width, *line)], ends)
    outline = shapely.union_all([shapely.LineString(line).buffer(width / 2, quad_segs=8) for line in lines])
    poured = surface([region(outline)], ends)
    assert len(runs(poured)) == len(runs(drawn))
    assert sum(r.length_mm for r in runs(poured)) == pytest.approx(sum(r.length_mm for r in runs(drawn)), rel=0.01)
    for k in range(2, len(ends) + 1):
        one, two = (effective_ohm(graph, "P1.1", f"P{k}.1").value for graph in (poured, drawn))
        assert one == pytest.approx(two, rel=0.03)
