"""Where copper meets: hand-made layers whose runs can be measured with a ruler."""

from __future__ import annotations

import math

import pytest
import shapely
from tests.copper_boards import Piece, arc, board, box, pad, part, region, track

from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.copper.provable import net_view


def runs(graph: CopperGraph) -> list[Site]:
    return sorted((s for s in graph.sites if s.kind is SiteKind.RUN), key=lambda s: s.length_mm)


def kinds(graph: CopperGraph) -> dict[str, int]:
    out: dict[str, int] = {}
    for node in {n for s in graph.sites for n in (s.a, s.b)}:
        out[graph.node_kind[node]] = out.get(graph.node_kind[node], 0) + 1
    return out


def one_layer(*pieces: Piece | list[Piece]) -> CopperGraph:
    flat: list[Piece] = []
    for piece in pieces:
        flat += piece if isinstance(piece, list) else [piece]
    return build_graph(board({"c": flat}))


def test_a_run_is_measured_between_the_edges_of_its_lands() -> None:
    graph = one_layer(pad(0, 0, 2), pad(10, 0, 1), track(0.5, (0, 0), (10, 0)))
    (run,) = runs(graph)
    assert run.length_mm == pytest.approx(10 - 1 - 0.5, abs=1e-9)
    assert run.width_mm == 0.5
    assert run.id == "run@c:0,0>10000,0"


def test_a_bend_is_one_run_with_both_segments() -> None:
    (run,) = runs(one_layer(pad(0, 0, 1), pad(5, 5, 1), track(0.3, (0, 0), (5, 0), (5, 5))))
    assert run.length_mm == pytest.approx(9.0, abs=1e-9)
    assert len(run.path) == 3


def test_a_change_of_width_stays_one_run_with_a_width_per_segment() -> None:
    (run,) = runs(one_layer(pad(0, 0, 1), pad(9, 0, 1), track(0.3, (0, 0), (5, 0)), track(0.6, (5, 0), (9, 0))))
    assert sorted(run.widths_mm) == [0.3, 0.6]
    assert run.width_mm == 0.3


def test_a_track_that_ends_on_another_cuts_it_in_two() -> None:
    graph = one_layer(
        pad(0, 0, 1), pad(10, 0, 1), pad(4, 6, 1), track(0.3, (0, 0), (10, 0)), track(0.3, (4, 6), (4, 0))
    )
    assert [round(r.length_mm, 6) for r in runs(graph)] == [3.5, 5.5, 5.5]
    assert kinds(graph) == {"land": 3, "junction": 1}


def test_a_crossing_makes_four_runs() -> None:
    graph = one_layer(
        pad(0, 0, 1),
        pad(10, 0, 1),
        pad(5, 5, 1),
        pad(5, -5, 1),
        track(0.3, (0, 0), (10, 0)),
        track(0.3, (5, 5), (5, -5)),
    )
    assert [round(r.length_mm, 6) for r in runs(graph)] == [4.5] * 4


def test_a_tee_whose_centre_lines_miss_but_whose_edges_overlap_is_joined() -> None:
    graph = one_layer(
        pad(0, 0, 1), pad(10, 0, 1), pad(4, 6, 1), track(0.4, (0, 0), (10, 0)), track(0.4, (4, 6), (4, 0.3))
    )
    assert len(runs(graph)) == 3
    assert kinds(graph)["junction"] == 1


def test_short_chords_of_a_bend_keep_their_length() -> None:
    """A quarter circle of radius 5 in 100 chords, each far shorter than the width: the run's length is the sum of the chords."""
    n = 100
    turn = [(5 * math.cos(k * math.pi / 2 / n), 5 * math.sin(k * math.pi / 2 / n)) for k in range(n + 1)]
    drawn = one_layer(pad(5, -4, 1), pad(-4, 5, 1), track(0.4, (5, -4), *turn, (-4, 5)))
    chords = n * 2 * 5 * math.sin(math.pi / 4 / n)
    (run,) = runs(drawn)
    assert run.length_mm == pytest.approx(3.5 + chords + 3.5, abs=1e-6)
    as_arc = one_layer(
        pad(5, -4, 1), pad(-4, 5, 1), track(0.4, (5, -4), (5, 0)), arc(0.4, *turn), track(0.4, (0, 5), (-4, 5))
    )
    assert runs(as_arc)[0].length_mm == pytest.approx(run.length_mm, abs=1e-6)


def test_strokes_drawn_twice_or_over_each_other_are_one_run() -> None:
    plain = track(0.3, (0, 0), (10, 0))
    twice = one_layer(pad(0, 0, 1), pad(10, 0, 1), plain, plain)
    overlapping = one_layer(pad(0, 0, 1), pad(10, 0, 1), track(0.3, (0, 0), (7, 0)), track(0.3, (3, 0), (10, 0)))
    thin_in_wide = one_layer(pad(0, 0, 1), pad(10, 0, 1), plain, track(0.1, (2, 0.05), (6, 0.05)))
    for graph in (twice, overlapping, thin_in_wide):
        assert [round(r.length_mm, 6) for r in runs(graph)] == [9.0]


def test_painted_tracks_and_pads_are_what_they_are_painted_as() -> None:
    rail = [piece for k in range(4) for piece in track(0.3, (0, 0.2 * k), (20, 0.2 * k))]
    (run,) = runs(one_layer(pad(-0.5, 0.3, 1.5), pad(20.5, 0.3, 1.5), rail))
    assert run.width_mm == pytest.approx(0.9, abs=1e-9)
    painted = [piece for k in range(-4, 5) for piece in track(0.2, (-0.6, 0.15 * k), (0.6, 0.15 * k))]
    made = board(
        {"c": [*painted, pad(8, 0, 1), *track(0.3, (0, 0), (8, 0))]}, [(0, 0, 0.8)], [part("U1", "c", [("1", 0, 0, 0)])]
    )
    graph = build_graph(made)
    (run,) = runs(graph)
    assert kinds(graph) == {"land": 2, "pin": 1}
    assert run.length_mm == pytest.approx(8 - 0.5 - 0.7, abs=1e-6)


def test_overshoots_and_free_ends() -> None:
    overshoot = one_layer(
        pad(0, 0, 1), pad(10, 0, 1), pad(4, 6, 1), track(0.4, (0, 0), (10, 0)), track(0.4, (4, 6), (4, -0.2))
    )
    assert len(runs(overshoot)) == 3
    free = one_layer(pad(0, 0, 1), pad(10, 0, 1), track(0.4, (0, 0), (10, 0)), track(0.4, (4, 0), (4, 3)))
    assert len(runs(free)) == 3
    assert kinds(free)["end"] == 1


def test_a_teardrop_belongs_to_its_land() -> None:
    drop = region(shapely.Polygon([(-0.7, -0.7), (-0.7, 0.7), (2.0, 0.15), (2.0, -0.15)]))
    graph = one_layer(pad(0, 0, 2), pad(10, 0, 1), drop, track(0.3, (0, 0), (10, 0)))
    (run,) = runs(graph)
    assert run.length_mm == pytest.approx(10 - 2.0 - 0.5, abs=1e-6)
    assert kinds(graph) == {"land": 2}


def test_a_pour_is_a_sheet_and_its_spokes_are_one_connection() -> None:
    pour = shapely.box(-10, -10, 10, 10).difference(shapely.Point(0, 0).buffer(1.4))
    spokes = [
        p
        for ends in (((0.8, 0), (1.6, 0)), ((-0.8, 0), (-1.6, 0)), ((0, 0.8), (0, 1.6)), ((0, -0.8), (0, -1.6)))
        for p in track(0.4, *ends)
    ]
    made = board(
        {"c": [pad(0, 0, 2), region(pour), *spokes, pad(7, 7, 1.2)]},
        [(0, 0, 0.8), (7, 7, 0.6)],
        [part("U1", "c", [("1", 0, 0, 0)])],
    )
    graph = build_graph(made)
    assert [s.kind for s in graph.sites].count(SiteKind.SPOKE) == 4
    view = net_view(graph, graph.sites[0].net)
    bundles = [link for edge in view.super_edges for link in edge.links if len(link) > 1]
    assert [len(link) for link in bundles] == [4]
    assert all("side by side" in view.why_not[site][0] for site in bundles[0])
    solid = next(p for p in graph.points if p.id.startswith("via@7000,7000"))
    assert graph.node_kind[solid.node] == "sheet"


def test_thermal_spokes_that_belong_to_the_pour_are_found_too() -> None:
    gap = shapely.Point(0, 0).buffer(1.5, quad_segs=32)
    cross = shapely.box(-1.6, -0.2, 1.6, 0.2).union(shapely.box(-0.2, -1.6, 0.2, 1.6))
    pour = shapely.box(-10, -10, 10, 10).difference(gap.difference(cross))
    graph = build_graph(board({"c": [pad(0, 0, 2), region(pour)]}, [(0, 0, 0.8)], [part("U1", "c", [("1", 0, 0, 0)])]))
    spokes = [s for s in graph.sites if s.kind is SiteKind.SPOKE]
    assert len(spokes) == 4
    assert all(s.width_mm == pytest.approx(0.4, abs=0.03) for s in spokes)


def test_barrels_join_consecutive_layers_that_reach_the_wall() -> None:
    lands = [pad(0, 0, 1.5)]
    layers: dict[str, list[Piece]] = {"c": lands, "i1": [box(5, 5, 9, 9)], "i2": lands, "s": lands}
    graph = build_graph(board(layers, [(0, 0, 0.8)]))
    barrels = [s for s in graph.sites if s.kind is SiteKind.BARREL]
    assert [s.layer for s in barrels] == ["c-i2", "i2-s"]
    assert [s.length_mm for s in barrels] == [pytest.approx(1.6 * 2 / 3), pytest.approx(1.6 / 3)]


def test_a_bare_hole_joins_nothing() -> None:
    graph = build_graph(board({"c": [pad(0, 0, 1.5)], "s": [pad(0, 0, 1.5)]}, [(0, 0, 0.8)], bare_holes=[0]))
    assert not [s for s in graph.sites if s.kind is SiteKind.BARREL]


def test_lettering_in_copper_has_no_sites() -> None:
    graph = one_layer(pad(0, 0, 1), pad(5, 0, 1), track(0.3, (0, 0), (5, 0)), track(0.2, (0, 9), (1, 10), (2, 9)))
    assert len(graph.sites) == 1


def test_a_hatched_pour_is_one_sheet() -> None:
    lines = [k * 1.27 for k in range(12)]
    hatch = [
        piece
        for k in lines
        for ends in (((0, k), (lines[-1], k)), ((k, 0), (k, lines[-1])))
        for piece in track(0.25, *ends)
    ]
    lead = track(0.3, (lines[-1], lines[5]), (20, lines[5]))
    graph = one_layer(hatch, lead, pad(20, lines[5], 1), pad(lines[3], lines[4], 1.6))
    assert kinds(graph) == {"land": 2, "sheet": 1}
    assert [s.kind for s in graph.sites].count(SiteKind.SPOKE) == 4
    (run,) = runs(graph)
    assert run.length_mm == pytest.approx(20 - lines[-1] - 0.5, abs=1e-6)


def test_a_painted_pour_is_one_sheet_with_its_spokes() -> None:
    """Filled by strokes round two clearances; one land inside is tied by four drawn spokes, the other is free."""
    area = shapely.box(0, 0, 20, 12)
    for x in (5, 15):
        area = area.difference(shapely.Point(x, 6).buffer(1.5))
    fill: list[Piece] = []
    for k in range(1, 79):
        for part_line in shapely.get_parts(
            shapely.LineString([(0.1, 0.15 * k), (19.9, 0.15 * k)]).intersection(area.buffer(-0.1))
        ):
            fill.append(("draw", part_line, 0.1))
    ties = [*track(0.4, (5 - 1.9, 6), (5 + 1.9, 6)), *track(0.4, (5, 6 - 1.9), (5, 6 + 1.9))]
    graph = one_layer(fill, ties, pad(5, 6, 1.8), pad(15, 6, 1.8))
    assert [s.kind for s in graph.sites] == [SiteKind.SPOKE] * 4
    assert kinds(graph) == {"land": 1, "sheet": 1}
