"""A closed shape of the outline that copper runs across is said; one that copper keeps clear of is a cut-out. Truth by construction."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from tests.handmade import Drawn, area, board, drill, image, land, records, track

from coppermend.core.board.model import Board
from coppermend.core.copper.fabricate import board_from
from coppermend.core.findings import Finding

SLOT = shapely.box(9, -4, 11, 24)


def closed(shape: shapely.Polygon) -> list[Drawn]:
    """The rim of a shape as strokes."""
    places = list(shape.exterior.coords)
    return [track(places[k], places[k + 1], width=0.1) for k in range(len(places) - 1)]


def made_of(copper: list[Drawn], name: str = "edge", slot: shapely.Polygon = SLOT) -> Board:
    edge = image(name, [*closed(shapely.box(-5, -5, 25, 25)), *closed(slot)])
    return board([copper, [land(0, 0)]], [drill([(0, 0, 0.8)])], others=[(edge, "outline", "")])


def said(copper: list[Drawn], name: str = "edge", slot: shapely.Polygon = SLOT) -> list[Finding]:
    return [f for f in made_of(copper, name, slot).findings if f.code == "BRD-009"]


@pytest.mark.parametrize("copper", [area(shapely.box(-3, -3, 23, 23)), track((0, 10), (20, 10), width=0.2)])
def test_copper_across_a_milled_shape_is_said_with_its_place(copper: Drawn) -> None:
    (finding,) = said([land(0, 0), copper])
    assert (finding.place.x_mm, finding.place.y_mm, finding.place.layer) == (10.0, 10.0, "c")
    assert "lies across copper (layer c)" in finding.words


def test_copper_clear_of_a_cut_out_says_nothing() -> None:
    assert not said([land(0, 0), area(shapely.box(-3, -3, 23, 23).difference(SLOT.buffer(0.3)))])


def test_copper_wholly_inside_a_shape_says_nothing() -> None:
    assert not said([land(0, 0), track((10, 5), (10, 15), width=0.2)])  # a board within its panel's frame


ACROSS = track((0, 10), (20, 10), width=0.2)
POUR = area(shapely.box(-3, -3, 23, 23))


def area_of(made: Board) -> float:
    layer = made.layers[0].shapes
    return float(shapely.area(shapely.union_all(shapely.buffer(layer.skeleton, layer.radius_mm, quad_segs=64))))


@pytest.mark.parametrize("name", ["b-Edge_Cuts.gm1", "b_outline.gbr", "b.gko", "board profile.gbr"])
def test_a_shape_of_the_profile_takes_its_copper_away_and_says_so(name: str) -> None:
    """A track across a slot becomes two islands; a pour loses the slot's area: 26 x 26 less 2 x 26 (the slot is 2 by 28, the pour 26 high)."""
    made = made_of([land(0, 0), ACROSS], name)
    assert len(made.nets) == len(made_of([land(0, 0), ACROSS], "b-mech1.gbr").nets) + 1
    assert "taken away" in said([land(0, 0), ACROSS], name)[0].words
    pour = area_of(made_of([POUR], name))
    assert pour == pytest.approx(26 * 26 - 2 * 26, abs=1e-6)


def test_a_track_is_cut_at_the_edge_of_the_slot() -> None:
    layer = made_of([ACROSS], "b-Edge_Cuts.gm1").layers[0].shapes
    ends = sorted(float(x) for box in layer.bounds_mm() for x in (box[0], box[2]))
    assert ends == pytest.approx([-0.1, 9.0, 11.0, 20.1], abs=1e-9)


@pytest.mark.parametrize(("copper", "slot"), [
    ([ACROSS, track((10, 5), (10, 8), width=0.2)], SLOT),  # copper of its own within: a board in its panel's frame
    ([land(0, 0), track((-3, 0), (3, 0), width=0.2)], shapely.box(-2, -2, 2, 2)),  # a plated hole within
    ([ACROSS], shapely.box(9, -4, 9.1, 24)),  # no cutter is as narrow
])  # fmt: skip
def test_a_shape_that_cannot_be_milled_is_said_and_cuts_nothing(copper: list[Drawn], slot: shapely.Polygon) -> None:
    (finding,) = said(copper, "b-Edge_Cuts.gm1", slot)
    assert "taken as whole" in finding.words
    assert area_of(made_of(copper, "b-Edge_Cuts.gm1", slot)) == pytest.approx(
        area_of(made_of(copper, "b-mech.gbr", slot))
    )


@pytest.mark.parametrize(("name", "copper", "count"), [
    ("b-Edge_Cuts.gm1", [ACROSS], 1), ("b-Edge_Cuts.gm1", [track((0, 10), (8, 10), width=0.2)], 0), ("b-mech1.gbr", [ACROSS], 0),
])  # fmt: skip
def test_a_slot_drawn_as_one_line_across_copper_is_said(name: str, copper: list[Drawn], count: int) -> None:
    """A stroke of 1 mm from (10, 0) to (10, 20) inside the edge closes no shape: the track across it stays whole, and that is said with the place."""
    edge = image(name, [*closed(shapely.box(-5, -5, 25, 25)), track((10, 0), (10, 20), width=1.0)])
    made = board([copper, [land(0, 0)]], [drill([(0, 0, 0.8)])], others=[(edge, "outline", "")])
    found = [f for f in made.findings if f.code == "BRD-009"]
    assert len(found) == count
    for one in found:
        assert (one.place.x_mm, one.place.y_mm, one.place.layer) == (10.0, 10.0, "c") and "close no shape" in one.words


NOTCHED = shapely.box(-5, -5, 25, 25).difference(SLOT.buffer(0).union(shapely.box(9, -6, 11, 0)))
"""The board with a notch 2 mm wide from its lower edge up to 24 mm: a track along y = 10 mm runs across it."""


def notched(name: str, rim: shapely.Polygon, holes: list[tuple[float, float, float]]) -> Board:
    edge = image(name, closed(rim))
    return board([[land(0, 0), ACROSS], [land(0, 0)]], [drill(holes)], others=[(edge, "outline", "")])


def test_a_notch_of_the_edge_across_a_track_cuts_it_and_says_so() -> None:
    """Closed form: the track from -0.1 to 20.1 mm loses what lies between 9 and 11 mm."""
    made = notched("b-Edge_Cuts.gm1", NOTCHED, [(0, 0, 0.8)])
    ends = sorted(float(x) for box in made.layers[0].shapes.bounds_mm()[1:] for x in (box[0], box[2]))
    assert ends == pytest.approx([-0.1, 9.0, 11.0, 20.1], abs=1e-9)
    (finding,) = [f for f in made.findings if f.code == "BRD-009"]
    assert "taken away" in finding.words and finding.place.x_mm == pytest.approx(10.0, abs=1.0)


@pytest.mark.parametrize(("name", "rim", "holes"), [
    ("b-mech1.gbr", NOTCHED, [(0, 0, 0.8)]),  # not stated to be the profile
    ("b-Edge_Cuts.gm1", shapely.box(-5, -5, 15, 25), [(0, 0, 0.8), (20, 10, 0.8)]),  # a plated hole outside: the edge is doubted
])  # fmt: skip
def test_an_edge_that_is_not_believed_cuts_nothing_and_says_so(name: str, rim: shapely.Polygon, holes: list) -> None:
    made = notched(name, rim, holes)
    (finding,) = [f for f in made.findings if f.code == "BRD-009"]
    assert "taken as whole" in finding.words and len(made.layers[0].shapes) == 2


def test_copper_apart_outside_the_edge_is_said() -> None:
    edge = image("b-Edge_Cuts.gm1", closed(shapely.box(-5, -5, 25, 25)))
    copper = [land(0, 0), ACROSS, track((0, 30), (5, 30), width=0.2)]
    made = board([copper, [land(0, 0)]], [drill([(0, 0, 0.8)])], others=[(edge, "outline", "")])
    assert [f.words for f in made.findings if f.code == "BRD-009"] == [
        "1 pieces of copper lie wholly outside the board's edge (layer c); they stay on the map."
    ]


EDGE = shapely.box(-5, -5, 25, 25)


def fingers(name: str, holes: list[tuple[float, float, float]] = [(0, 0, 0.8)], at: float = 24.0) -> Board:  # noqa: B006
    """Three lands of 1 by 4 mm across the right edge at x = 25 mm, joined beyond it by a bar (as for plating edge contacts)."""
    lands = [("flash", shapely.box(at - 2, y - 0.5, at + 2, y + 0.5), 0.0, True, land(at, y)[4]) for y in (0, 5, 10)]
    bar = track((27, -1), (27, 11), width=3.0)
    made = image("copper0", [land(0, 0), *lands, bar])
    made = replace(made, at_mm=np.array([(0, 0), *((at, y) for y in (0, 5, 10)), (27, -1)], dtype=float))
    edge = image(name, closed(EDGE))
    both = records([[land(0, 0)], [land(0, 0)]], [drill(holes)], others=[(edge, "outline", "")])
    return board_from(replace(both, images=(made, *both.images[1:])))


def test_lands_joined_beyond_the_edge_are_parted_by_it() -> None:
    """Three edge contacts on a plating bar: on the board they are three nets. Each keeps 3 of its 4 mm; the bar (25.5 to 28.5 mm) stays outside."""
    made = fingers("b-Edge_Cuts.gm1")
    boxes = sorted(tuple(round(float(v), 6) for v in box) for box in made.layers[0].shapes.bounds_mm()[1:4])
    assert boxes == [(22.0, y - 0.5, 25.0, y + 0.5) for y in (0, 5, 10)]
    assert len(set(made.layers[0].island[1:4].tolist())) == 3
    apart, across = (f for f in made.findings if f.code == "BRD-009")
    assert across.words.startswith("3 lands reach over the board's edge (layer c).") and "taken away" in across.words
    assert 25.0 < (across.place.x_mm or 0.0) < 26.0 and "1 pieces of copper lie wholly outside" in apart.words


@pytest.mark.parametrize(("name", "holes", "at"), [
    ("b-mech1.gbr", [(0, 0, 0.8)], 24.0),  # not stated to be the profile
    ("b-Edge_Cuts.gm1", [(0, 0, 0.8), (25, 0, 0.6), (25, 5, 0.6), (25, 10, 0.6)], 25.0),  # halved plated holes
    ("b-Edge_Cuts.gm1", [(0, 0, 0.8)], 26.0),  # the middle of the lands lies outside: netlist points would be lost
])  # fmt: skip
def test_lands_that_stay_whole_across_the_edge_are_said(name: str, holes: list, at: float) -> None:
    made = fingers(name, holes, at)
    found = [f for f in made.findings if f.code == "BRD-009" and "lands reach over" in f.words]
    assert len(found) == 1 and "taken as whole" in found[0].words
    assert max(float(box[2]) for box in made.layers[0].shapes.bounds_mm()[1:4]) == at + 2


def test_a_round_land_is_cut_too() -> None:
    """Closed form: half of a disc of 2 mm radius lies beyond the edge that goes through its middle."""
    edge = image("b-Edge_Cuts.gm1", closed(EDGE))
    made = board(
        [[land(0, 0), land(24.99, 10, diameter=4)], [land(0, 0)]],
        [drill([(0, 0, 0.8)])],
        others=[(edge, "outline", "")],
    )
    cut_one = made.layers[0].shapes.take(np.array([1]))
    half = np.pi * 2**2 / 2 + 0.01 * 4
    assert float(shapely.area(cut_one.skeleton)[0]) == pytest.approx(half, rel=2e-3)
    assert "1 lands reach over" in next(f.words for f in made.findings if f.code == "BRD-009")


@pytest.mark.parametrize(("line", "said_so"), [
    (((0, 24.9), (20, 24.9)), True), (((0, 24.5), (20, 24.5)), False), (((-5, 25), (25, 25)), False),  # the last: the edge drawn in copper
])  # fmt: skip
def test_a_track_whose_rim_lies_beyond_the_edge_is_said(line: tuple, said_so: bool) -> None:
    edge = image("b-Edge_Cuts.gm1", closed(EDGE))
    made = board(
        [[land(0, 0), track(*line, width=0.4)], [land(0, 0)]], [drill([(0, 0, 0.8)])], others=[(edge, "outline", "")]
    )
    found = [f.words for f in made.findings if f.code == "BRD-009"]
    assert len(found) == said_so and all("a part of their width lies beyond it" in one for one in found)
