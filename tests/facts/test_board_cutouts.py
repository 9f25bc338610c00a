"""A closed shape of the outline that copper runs across is said; one that copper keeps clear of is a cut-out. Truth by construction."""

from __future__ import annotations

import pytest
import shapely
from tests.handmade import Drawn, area, board, drill, image, land, track

from coppermend.core.findings import Finding

SLOT = shapely.box(9, -4, 11, 24)


def closed(shape: shapely.Polygon) -> list[Drawn]:
    """The rim of a shape as strokes."""
    places = list(shape.exterior.coords)
    return [track(places[k], places[k + 1], width=0.1) for k in range(len(places) - 1)]


def said(copper: list[Drawn]) -> list[Finding]:
    edge = image("edge", [*closed(shapely.box(-5, -5, 25, 25)), *closed(SLOT)])
    made = board([copper, [land(0, 0)]], [drill([(0, 0, 0.8)])], others=[(edge, "outline", "")])
    return [f for f in made.findings if f.code == "BRD-009"]


@pytest.mark.parametrize("copper", [area(shapely.box(-3, -3, 23, 23)), track((0, 10), (20, 10), width=0.2)])
def test_copper_across_a_milled_shape_is_said_with_its_place(copper: Drawn) -> None:
    (finding,) = said([land(0, 0), copper])
    assert (finding.place.x_mm, finding.place.y_mm, finding.place.layer) == (10.0, 10.0, "c")
    assert "lies across copper (layer c)" in finding.words


def test_copper_clear_of_a_cut_out_says_nothing() -> None:
    assert not said([land(0, 0), area(shapely.box(-3, -3, 23, 23).difference(SLOT.buffer(0.3)))])


def test_copper_wholly_inside_a_shape_says_nothing() -> None:
    assert not said([land(0, 0), track((10, 5), (10, 15), width=0.2)])  # a board within its panel's frame
