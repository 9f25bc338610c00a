"""Copper between a land and a pour counts once: in the spoke or in the sheet, never in both.

A bar of length L and width w between lands as wide as it is L / w squares of rho / t (0.4926 mohm at 35 um, IACS copper, as in
tests/facts/test_copper_resistance.py).
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from tests.copper_boards import board, pad, part, region
from tests.facts.test_copper_narrow import JOINTS, SQUARE, slim_pad, surface

from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import SiteKind
from coppermend.core.copper.resistance import effective_ohm
from coppermend.core.copper.sheets import sheet_model


@pytest.mark.parametrize("width", [10.0, 15.0])
@pytest.mark.parametrize("length", [30.0, 60.0])
def test_a_wide_bar_between_lands_as_wide_has_its_squares(width: float, length: float) -> None:
    bar = region(shapely.box(0, -width / 2, length, width / 2))
    lands = [slim_pad("flash", x, 2.0, width) for x in (0.0, length)]
    graph = surface([bar, *lands], [(0, 0), (length, 0)], lands=False)
    squares = (length - 2.0) / width  # each land lies on 1 mm of the bar
    # the disc that stands for a land's edge is between the two closed forms: 0.073 squares at either end
    assert effective_ohm(graph, "P1.1/leg", "P2.1/leg").value == pytest.approx(
        squares * SQUARE + JOINTS, abs=0.18 * SQUARE
    )


@pytest.mark.parametrize("gap", [0.4, 0.8])
def test_thermal_spokes_and_pour_are_as_the_mesh_of_the_whole(gap: float) -> None:
    """One mesh of the whole outline, the land as a disc at one potential; the mesh itself is checked against closed forms elsewhere."""
    reach = 1.0 + gap
    ring = shapely.Point(0, 0).buffer(reach, quad_segs=32)
    cross = shapely.box(-reach - 0.1, -0.2, reach + 0.1, 0.2).union(shapely.box(-0.2, -reach - 0.1, 0.2, reach + 0.1))
    pour = shapely.box(-10, -10, 10, 10).difference(ring.difference(cross))
    holes = [(0, 0, 0.8), (7, 7, 0.6)]
    parts = [part(f"U{k}", "c", [("1", x, y, k - 1)]) for k, (x, y, _) in enumerate(holes, 1)]
    graph = build_graph(board({"c": [pad(0, 0, 2), region(pour), pad(7, 7, 1.2)], "s": []}, holes, parts))
    assert [s.kind for s in graph.sites].count(SiteKind.SPOKE) == 4
    model = sheet_model(pour, [((0.0, 0.0), 1.0), ((7.0, 7.0), 0.5)], SQUARE)
    rest = model.matrix.toarray()[2:, 2:]
    to = model.matrix.toarray()[2:, 0]
    # one ampere in at the land: the pour's other contact is held at zero, the mesh points follow
    follow = np.linalg.solve(rest, -to)
    row = model.matrix.toarray()[0]
    whole = 1.0 / float(row[0] + row[2:] @ follow)
    assert effective_ohm(graph, "U1.1/leg", "U2.1/leg").value == pytest.approx(whole + JOINTS, rel=0.05)
