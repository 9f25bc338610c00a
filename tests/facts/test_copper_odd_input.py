"""Odd copper: nothing on a layer, shapes without area, slots, broken polygons. A graph comes out, never an exception, never a NaN."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from tests.copper_boards import Piece, arc, board, pad, part, region, track

from coppermend.core.board.model import Board, Hole
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.neighbours import neighbours
from coppermend.core.copper.provable import all_views
from coppermend.core.copper.resistance import all_pairs_ohm


def sound(made: Board) -> None:
    """Everything the graph offers can be computed and is a number."""
    graph = build_graph(made)
    assert len({s.id for s in graph.sites}) == len(graph.sites)
    assert len({p.id for p in graph.points}) == len(graph.points)
    assert all(math.isfinite(s.resistance_ohm) and s.resistance_ohm >= 0 and s.length_mm >= 0 for s in graph.sites)
    for net, view in all_views(graph).items():
        assert view.pieces <= 1
        names = [p.id for p in graph.points if p.net == net]
        ohms = all_pairs_ohm(graph, net, names) if names else np.zeros(0)
        assert np.isfinite(ohms).all() and (ohms >= 0).all()
    neighbours(made, graph, [[(-9.0, -9.0), (9.0, -9.0), (9.0, 9.0), (-9.0, 9.0)]])


def test_nothing_at_all() -> None:
    sound(board({"c": []}))
    sound(board({"c": [], "s": [pad(0, 0, 1)]}, [(0, 0, 0.5), (5, 5, 0.5)]))
    assert build_graph(board({"c": []})).sites == ()


def test_shapes_without_area_or_of_many_parts() -> None:
    line = ("draw", shapely.LineString([(0, 0), (4, 0)]), 0.0)
    dot: Piece = ("draw", shapely.LineString([(2, 0), (2, 0)]), 0.3)
    several = region(shapely.MultiPolygon([shapely.box(3, -1, 5, 1), shapely.box(6, -1, 7, 1)]))
    sound(board({"c": [line, dot, several, pad(0, 0, 1)]}, [(0, 0, 0.5)]))


def test_a_closed_arc_and_a_spiral() -> None:
    ring = [(3 * math.cos(k / 20 * math.pi), 3 * math.sin(k / 20 * math.pi)) for k in range(40)]
    spiral = [(k / 30 * math.cos(k / 6), k / 30 * math.sin(k / 6)) for k in range(200)]
    sound(
        board(
            {"c": [*arc(0.3, *ring, ring[0]), pad(3, 0, 1), pad(-3, 0, 1), *track(0.3, (3, 0), (6, 0)), pad(6, 0, 1)]}
        )
    )
    graph = build_graph(board({"c": [*arc(0.1, *spiral), pad(0, 0, 0.3), pad(*spiral[-1], 0.5)]}))
    (run,) = graph.sites
    drawn = shapely.LineString(spiral).length
    assert run.length_mm == pytest.approx(drawn, abs=0.5)


def test_a_slot_is_a_plated_hole() -> None:
    land: Piece = ("flash", shapely.LineString([(0, 0), (3, 0)]), 1.0)
    made = board({"c": [land, *track(0.3, (0, 0), (9, 0)), pad(9, 0, 1)], "s": [land]}, [(0, 0, 0.8)])
    slot = Hole(0.0, 0.0, 3.0, 0.0, 0.8, True, ("c", "s"), 0)
    graph = build_graph(replace(made, holes=(slot,)))
    assert [s.id for s in graph.sites if s.kind.value == "barrel"] == ["barrel@1500,0:c-s"]


def test_pins_without_copper_are_said() -> None:
    made = board({"c": [pad(0, 0, 1)]}, [], [part("U1", "c", [("1", 0, 0, None), ("2", 9, 9, None)])])
    graph = build_graph(made)
    assert [f.code for f in graph.findings if f.code == "GRF-002"]
    assert {p.id for p in graph.points if p.part} == {"U1.1/leg"}


def test_a_land_smaller_than_its_hole_is_drilled_away_and_parts_nothing() -> None:
    sides = {"c": [pad(0, 0, 1.0)], "s": [pad(0, 0, 0.4), *track(0.3, (-1, -4), (0, 1)), pad(-1, -4, 1.0)]}
    sound(board(sides, [(0, 0, 0.6)], [part("U1", "c", [("1", 0, 0, 0)])]))


@st.composite
def heaps(draw: st.DrawFn) -> Board:
    """Strokes, arcs, pads and regions thrown on a heap, lattice coordinates so that many fall on each other."""
    spot = st.tuples(st.integers(-6, 6), st.integers(-6, 6))
    pieces: list[Piece] = [pad(0, 0, 1.0)]
    for _ in range(draw(st.integers(0, 10))):
        kind = draw(st.sampled_from(["track", "arc", "pad", "region", "wide"]))
        points = draw(st.lists(spot, min_size=2, max_size=4, unique=True))
        if kind == "pad":
            pieces.append(pad(*points[0], draw(st.sampled_from([0.4, 1.0, 2.5]))))
        elif kind == "region":
            hull = shapely.MultiPoint(points).convex_hull
            pieces.append(region(hull if hull.area > 0 else hull.buffer(0.5)))
        elif kind == "arc":
            pieces += arc(0.3, *points)
        else:
            pieces += track(2.0 if kind == "wide" else 0.3, *points)
    half = draw(st.integers(0, len(pieces)))
    sides = {"c": pieces[:half] or [pad(0, 0, 1.0)], "s": pieces[half:] or [pad(0, 0, 1.0)]}
    return board(sides, [(0, 0, 0.6), (3, 3, 0.6)], [part("U1", "c", [("1", 0, 0, 0), ("2", 3, 3, 1)])])


@given(heaps())
def test_any_heap_of_copper_gives_a_sound_graph(made: Board) -> None:
    sound(made)
