"""Narrow copper is a track whatever it was made with: parallel strokes, cross strokes, a region, one long flash; wide painted copper is a pour.

The truth is known by construction: a strip of length L and width w is L / w squares of rho / t (0.4926 mohm at 35 um, IACS copper, as in
tests/facts/test_copper_resistance.py), whatever drew it. Two lands of 1 mm on a strip of 60 mm leave 59 mm free.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import shapely
from tests.copper_boards import Piece, board, pad, part, region, track
from tests.facts.test_copper_digest import poured, teed

from coppermend.adapters.files.packages import DiskPackages
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.copper.provable import net_view
from coppermend.core.copper.resistance import effective_ohm
from coppermend.core.copper.spine import spine
from coppermend.core.copper.unite import Union
from coppermend.core.units import sheet_resistance_ohm
from coppermend.services.packages import build_board

SQUARE = sheet_resistance_ohm(0.035)
JOINTS = 2 * 0.0002


def strokes(width: float, offsets: list[float]) -> list[Piece]:
    return [piece for y in offsets for piece in track(width, (0, y), (60, y))]


def across(pitch: float = 0.08) -> list[Piece]:
    """A strip 60 mm long and 0.5 mm wide painted by strokes of 0.1 mm across it."""
    count = int(60 / pitch)
    return [p for k in range(count + 1) for p in track(0.1, (k * pitch, -0.2), (k * pitch, 0.2))]


def torn(graph: CopperGraph) -> list[str]:
    """The nets whose nodes the sites join to more than one piece. Here a net is an island, so that one piece is the truth."""
    group = Union(graph.node_count)
    for site in graph.sites:
        if site.a < graph.node_count and site.b < graph.node_count:
            group.join(site.a, site.b)
    held: dict[int, set[int]] = {}
    for node, net in enumerate(graph.node_net):
        held.setdefault(net, set()).add(group.find(node))
    return [graph.net_names[net] for net, groups in held.items() if net >= 0 and len(groups) > 1]


def whole(graph: CopperGraph) -> CopperGraph:
    """The graph, after every island of it was found in one piece."""
    assert torn(graph) == []
    return graph


def surface(copper: list[Piece], where: list[tuple[float, float]], lands: bool = True) -> CopperGraph:
    """Surface pins at the places, with a land of 1 mm each if asked."""
    pads = [pad(x, y, 1.0) for x, y in where] if lands else []
    parts = [part(f"P{k}", "c", [("1", x, y, None)]) for k, (x, y) in enumerate(where, 1)]
    return whole(build_graph(board({"c": [*pads, *copper], "s": []}, [], parts)))


def through(copper: list[Piece], where: list[tuple[float, float]]) -> CopperGraph:
    """Plated holes of 0.6 mm with lands of 1 mm at the places."""
    pads = [pad(x, y, 1.0) for x, y in where]
    holes = [(x, y, 0.6) for x, y in where]
    parts = [part(f"P{k}", "c", [("1", x, y, k - 1)]) for k, (x, y) in enumerate(where, 1)]
    return whole(build_graph(board({"c": [*pads, *copper], "s": pads}, holes, parts)))


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


def test_every_island_of_the_hand_made_boards_is_one_piece_and_a_lost_joint_is_seen() -> None:
    for make in (teed, poured):
        whole(build_graph(make()))
    graph = surface(strokes(0.2, [0.0]), ENDS)
    cut = replace(graph, sites=tuple(s for s in graph.sites if s.kind is not SiteKind.RUN), memo={})
    assert torn(cut) == [graph.net_names[graph.node_net[graph.point("P1.1/leg").node]]]


def test_every_island_of_the_demonstration_machine_is_one_piece(demo_package: Path) -> None:
    whole(build_graph(build_board(DiskPackages(), str(demo_package))))


def slim_pad(kind: str, x: float, width: float, length: float) -> Piece:
    """A land length times width (mm), its length along y."""
    return (kind, shapely.box(x - width / 2, -length / 2, x + width / 2, length / 2), 0.0)


def pour(painted: bool) -> list[Piece]:
    """20 x 20 mm of copper about (10, 0), as a region or painted by strokes."""
    if not painted:
        return [region(shapely.box(0, -10, 20, 10))]
    return [p for k in range(132) for p in track(0.2, (0.1, -9.9 + 0.15 * k), (19.9, -9.9 + 0.15 * k))]


@pytest.mark.parametrize(
    "size", [(0.3, 1.5), (0.3, 2.95), (0.3, 3.0), (0.25, 2.5), (0.2, 2.4), (0.3, 4.0), (0.5, 5.0), (1.0, 10.0)]
)
@pytest.mark.parametrize(("kind", "painted"), [("flash", False), ("flash", True), ("region", False)])
def test_a_narrow_land_on_a_pour_is_one_metal_with_it(kind: str, painted: bool, size: tuple[float, float]) -> None:
    lands = [slim_pad(kind, x, *size) for x in (5.0, 15.0)]
    if kind == "region":
        lands += [pad(10, 5, 1.0)]
    graph = surface([*pour(painted), *lands], [(5, 0), (15, 0)], lands=False)
    assert not runs(graph)
    # two lands 10 mm apart on a square of 20 mm are two to three squares apart at most, and the joints
    assert JOINTS < effective_ohm(graph, "P1.1/leg", "P2.1/leg").value < JOINTS + 3 * SQUARE


def test_two_equal_narrow_bodies_over_the_corner_of_a_painted_pour_lose_no_pin() -> None:
    slant = shapely.Polygon([(2.626, -2.273), (-2.273, 2.626), (-2.626, 2.273), (2.273, -2.626)])
    graph = surface(
        [*pour(True), ("flash", slant, 0.0), region(slant)], [(0.48, -0.42), (-0.4, 0.35), (10, 0)], lands=False
    )
    assert effective_ohm(graph, "P1.1/leg", "P2.1/leg").value < JOINTS + 4 * SQUARE


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8, 1.0])
@pytest.mark.parametrize("size", [(0.5, 5.0), (0.5, 10.0), (1.0, 10.0)])
def test_a_narrow_land_flush_on_the_end_of_a_pour_is_joined_along_its_length(
    share: float, size: tuple[float, float]
) -> None:
    width, length = size
    strip = region(shapely.box(0, -length / 2, 20, length / 2))
    ends = [width * (share - 0.5), 20 - width * (share - 0.5)]
    graph = surface([strip, *(slim_pad("flash", x, *size) for x in ends)], [(x, 0) for x in ends], lands=False)
    assert not runs(graph)
    squares = 20 / length  # the strip from end to end; the lands and their joints with it are short and as wide
    assert effective_ohm(graph, "P1.1/leg", "P2.1/leg").value < JOINTS + 1.2 * squares * SQUARE


def test_a_bar_that_leaves_a_pour_is_a_run_outside_it_and_two_pours_are_joined_by_one() -> None:
    bar = ("flash", shapely.box(18, -0.25, 38, 0.25), 0.0)
    (run,) = runs(surface([*pour(False), bar], [(37.5, 0), (5, 0)], lands=False))
    assert run.length_mm == pytest.approx(37.5 - 0.25 - 20, abs=0.1)
    other = region(shapely.box(36, -10, 56, 10))
    (run,) = runs(surface([*pour(False), other, bar, pad(5, 0, 1), pad(50, 0, 1)], [(5, 0), (50, 0)], lands=False))
    assert run.length_mm == pytest.approx(16.0, abs=0.1)
