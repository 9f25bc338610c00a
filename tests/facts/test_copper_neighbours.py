"""Neighbours on hand-made boards: gaps that a ruler gives, order by how likely a bridge is, the points to probe."""

from __future__ import annotations

import pytest
from tests.copper_boards import board, pad, part, track

from coppermend.core.board.model import Board, PartState
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.neighbours import WINDOW_MM, neighbours
from coppermend.core.copper.places import Places
from coppermend.core.copper.worked import worked

ALL = [(-5.0, -5.0), (60.0, -5.0), (60.0, 20.0), (-5.0, 20.0)]


def row() -> Board:
    """Three pins at 2.54 mm, a track past the third at 0.4 mm, another 30 mm away."""
    lands = [pad(2.54 * k, 0, 1.5) for k in range(3)]
    far = [pad(40, 0, 1.5), pad(50, 0, 1.5)]
    tracks = [*track(0.3, (5.08 + 0.75 + 0.4 + 0.15, -4), (5.08 + 0.75 + 0.4 + 0.15, 4))]
    return board(
        {"c": [*lands, *far], "s": [*lands, *far, *tracks, pad(6.38, 4, 0.8)]},
        [(2.54 * k, 0, 0.8) for k in range(3)] + [(40, 0, 0.8), (50, 0, 0.8), (6.38, 4, 0.4)],
        [
            part("U1", "c", [(str(k + 1), 2.54 * k, 0, k) for k in range(3)]),
            part("U2", "c", [("1", 40, 0, 3)]),
            part("U3", "c", [("1", 50, 0, 4)]),
        ],
    )


def test_adjacent_pins_come_first_with_their_gap() -> None:
    graph = build_graph(row())
    found = neighbours(row(), graph, [ALL])
    assert [n.kind for n in found if n.in_window] == ["adjacent soldered pins"] * 2 + ["land and track"]
    pins = found[0]
    assert pins.gap_mm == pytest.approx(2.54 - 1.5, abs=1e-9)
    assert {pins.point_a, pins.point_b} == {"U1.1/joint-s", "U1.2/joint-s"}
    assert found[2].gap_mm == pytest.approx(0.4, abs=1e-9)
    assert found[2].layer == "s"
    assert WINDOW_MM == 1.27


def test_a_net_without_neighbour_in_the_window_gets_its_two_nearest() -> None:
    graph = build_graph(row())
    far = [n for n in neighbours(row(), graph, [ALL]) if not n.in_window]
    lonely = {p.net for p in graph.pins if p.part in ("U2", "U3")}
    assert lonely <= {net for n in far for net in (n.net_a, n.net_b)}
    assert min(n.gap_mm for n in far) == pytest.approx(10 - 1.5, abs=1e-9)


def test_only_what_lies_in_the_area_counts() -> None:
    graph = build_graph(row())
    first_two = [(-2.0, -2.0), (3.5, -2.0), (3.5, 2.0), (-2.0, 2.0)]
    found = [n for n in neighbours(row(), graph, [first_two]) if n.in_window]
    assert [(n.kind, round(n.gap_mm, 6)) for n in found] == [("adjacent soldered pins", 1.04)]
    assert neighbours(row(), graph, []) == ()


def test_a_window_of_its_own() -> None:
    graph = build_graph(row())
    found = [n for n in neighbours(row(), graph, [ALL], window_mm=0.5) if n.in_window]
    assert [n.kind for n in found] == ["land and track"]


def test_neighbours_of_one_soldered_point() -> None:
    made = row()
    graph = build_graph(made)
    found = [n for n in neighbours(made, graph, nodes=[graph.point("U1.2/joint-s").node]) if n.in_window]
    assert sorted(round(n.gap_mm, 6) for n in found) == [1.04, 1.04]


def test_points_follow_the_part_states() -> None:
    made = row()
    graph = worked(build_graph(made), {"U1": PartState.OUT})
    names = {point for n in neighbours(made, graph, [ALL]) for point in (n.point_a, n.point_b)}
    assert names <= {p.id for p in graph.points if p.reachable}
    assert any(name.startswith(("U1.1/hole", "land@0,0")) for name in names)


def test_places_in_words() -> None:
    made = row()
    assert Places(made).words(2.6, 0.5) == "by U1.2"
    assert Places(made).words(23.0, 0.0) in ("between U1 and U2", "between U2 and U1")
    empty = board({"c": [pad(0, 0, 1)]})
    assert Places(empty).words(1.0, 2.0) == "at 1.0, 2.0 mm"
