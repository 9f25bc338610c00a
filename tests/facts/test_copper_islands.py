"""Islands: which pieces of copper are one conductor. Expected values by looking at the drawing: distances are whole numbers of tenths."""

from __future__ import annotations

import numpy as np
import shapely

from coppermend.core.board.joined import Holes
from coppermend.core.copper.islands import make_nets
from coppermend.core.geometry.shapes import ShapeSet


def discs(*rows: tuple[float, float, float]) -> ShapeSet:
    return ShapeSet.of([shapely.Point(x, y) for x, y, _ in rows], [d / 2 for _, _, d in rows])


def holes(*rows: tuple[float, float, float], plated: bool = True, first: int = 0, last: int = 1) -> Holes:
    x, y, d = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    count = len(rows)
    return Holes(x, y, x.copy(), y.copy(), d, np.full(count, plated), np.full(count, first), np.full(count, last))


def test_copper_that_touches_in_a_point_is_one() -> None:
    assert make_nets([discs((0, 0, 1), (1, 0, 1))]).count == 1


def test_a_gap_of_one_micrometre_is_a_gap() -> None:
    assert make_nets([discs((0, 0, 1), (1.001, 0, 1))]).count == 2


def test_layers_are_apart_without_a_hole_and_joined_by_a_plated_one() -> None:
    layers = [discs((0, 0, 1.6)), discs((0, 0, 1.6))]
    assert make_nets(layers).count == 2
    assert make_nets(layers, holes((0, 0, 0.8))).count == 1
    assert make_nets(layers, holes((0, 0, 0.8), plated=False)).count == 2


def test_a_plane_that_stays_clear_of_the_hole_is_not_joined() -> None:
    plane = shapely.box(-5, -5, 5, 5).difference(shapely.Point(0, 0).buffer(0.9))
    layers = [discs((0, 0, 1.6)), ShapeSet.of([plane], [0.0]), discs((0, 0, 1.6))]
    found = make_nets(layers, holes((0, 0, 0.8), last=2))
    assert found.count == 2
    assert found.hole_island[0] == found.piece_island[0][0] == found.piece_island[2][0] != found.piece_island[1][0]


def test_a_plane_that_reaches_the_hole_is_joined_by_its_wall() -> None:
    plane = shapely.box(-5, -5, 5, 5)
    assert make_nets([discs((0, 0, 1.6)), ShapeSet.of([plane], [0.0])], holes((0, 0, 0.8))).count == 1


def test_copper_smaller_than_the_drill_is_drilled_away_and_joins_nothing() -> None:
    layers = [discs((0, 0, 1.6)), discs((0, 0, 0.5))]
    found = make_nets(layers, holes((0, 0, 0.8)))
    assert found.count == 2


def test_a_buried_via_joins_only_the_layers_it_passes() -> None:
    layers = [discs((0, 0, 1.6))] * 4
    found = make_nets(layers, holes((0, 0, 0.4), first=1, last=2))
    assert [int(island[0]) for island in found.piece_island] == [0, 1, 1, 2]


def test_a_slot_joins_copper_at_its_far_end() -> None:
    slot = Holes(*(np.array([v]) for v in (0.0, 0.0, 4.0, 0.0, 1.0)), np.array([True]), np.array([0]), np.array([1]))
    layers = [discs((0, 0, 2)), discs((4, 0, 2))]
    assert make_nets(layers, slot).count == 1


def test_a_hole_without_plating_cuts_the_track_it_is_drilled_through() -> None:
    track = ShapeSet.of([shapely.LineString([(0, 0), (10, 0)])], [0.15])
    found = make_nets([track], holes((5, 0, 1.0), plated=False, last=0))
    assert found.count == 2
    wide = ShapeSet.of([shapely.LineString([(0, 0), (10, 0)])], [1.0])
    kept = make_nets([wide], holes((5, 0, 1.0), plated=False, last=0))
    assert kept.count == 1
    assert kept.layers[0].shapes.radius_mm.tolist() == [1.0]  # in one piece still: drawn as it was


def test_two_tracks_that_met_only_inside_a_bare_hole_are_apart() -> None:
    tracks = ShapeSet.of([shapely.LineString([(0, 0), (5, 0)]), shapely.LineString([(5, 0), (10, 0)])], [0.15, 0.15])
    assert make_nets([tracks], holes((5, 0, 1.0), plated=False, last=0)).count == 2


def test_a_pour_of_many_corners_meets_only_what_lies_on_it() -> None:
    ring = shapely.Point(0, 0).buffer(10, quad_segs=64).difference(shapely.Point(0, 0).buffer(2, quad_segs=64))
    inside, on, outside = (0.0, 0.0, 1.0), (5.0, 0.0, 1.0), (20.0, 0.0, 1.0)
    shapes = discs(inside, on, outside)
    copper = ShapeSet(np.append(shapes.skeleton, ring), np.append(shapes.radius_mm, 0.0))
    found = make_nets([copper])
    islands = found.piece_island[0].tolist()
    assert islands == [0, 1, 2, 1]


def test_a_board_without_copper_has_no_island() -> None:
    assert make_nets([]).count == 0
    assert make_nets([discs()]).count == 0


def test_islands_are_numbered_by_their_first_piece() -> None:
    row = discs(*((float(k), 0.0, 0.5) for k in range(50)))
    assert make_nets([row]).piece_island[0].tolist() == list(range(50))
