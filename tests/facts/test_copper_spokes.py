"""Copper between a land and a pour counts once: in the spoke or in the sheet, never in both.

A bar of length L and width w between lands as wide as it is L / w squares of rho / t (0.4926 mohm at 35 um, IACS copper, as in
tests/facts/test_copper_resistance.py).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu
from tests.copper_boards import board, pad, part, region
from tests.facts.test_copper_branched import lobes
from tests.facts.test_copper_narrow import JOINTS, SQUARE, slim_pad, surface

from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import SiteKind
from coppermend.core.copper.onsheet import crowding
from coppermend.core.copper.path import way
from coppermend.core.copper.resistance import effective_ohm
from coppermend.core.copper.sheets import sheet_model


@pytest.mark.parametrize("width", [4.0, 8.0, 10.0, 15.0])
@pytest.mark.parametrize("length", [30.0, 60.0])
def test_a_wide_bar_between_lands_as_wide_has_its_squares(width: float, length: float) -> None:
    bar = region(shapely.box(0, -width / 2, length, width / 2))
    lands = [slim_pad("flash", x, 2.0, width) for x in (0.0, length)]
    graph = surface([bar, *lands], [(0, 0), (length, 0)], lands=False)
    squares = (length - 2.0) / width  # each land lies on 1 mm of the bar
    assert effective_ohm(graph, "P1.1/leg", "P2.1/leg").value == pytest.approx(squares * SQUARE + JOINTS, rel=0.02)


def test_the_crowding_at_an_edge_is_its_closed_forms() -> None:
    # the end of a strip is the half plane's image under the sine; as wide as the strip: ln(pi / 2) / pi more than a disc of w / 4
    assert crowding(3.0, 3.0) == pytest.approx(math.log(math.pi / 2) / math.pi)
    assert crowding(1.0, 1e4) == pytest.approx(0.0, abs=1e-8)
    assert crowding(1.0, math.inf) == 0.0


@pytest.mark.parametrize(
    ("high", "deep", "pad_high"),
    [(10, 0.1, 1), (10, 0.1, 10), (10, 0.5, 1), (10, 0.5, 2), (20, 0.5, 20), (5, 0.5, 5), (3, 0.1, 0.3), (3, 0.5, 1)],
)
def test_lands_at_the_edge_of_a_pour_against_finite_volumes(high: float, deep: float, pad_high: float) -> None:
    """A pour of 20 mm, a land at either end that stands ``deep`` mm into it; square cells by another method, the lands at one potential."""
    pour = shapely.box(0, -high / 2, 20, high / 2)
    places = [(deep - 0.5, 0.0), (20.5 - deep, 0.0)]
    shapes = [shapely.box(x - 0.5, -pad_high / 2, x + 0.5, pad_high / 2) for x, _ in places]
    graph = surface([region(pour), *(("flash", shape, 0.0) for shape in shapes)], places, lands=False)
    value = effective_ohm(graph, "P1.1/leg", "P2.1/leg").value
    assert value == pytest.approx(cells(pour, shapes, 0.05) * SQUARE + JOINTS, rel=0.03)


def cells(area: Any, lands: list[Any], step: float) -> float:
    """Squares between two lands on a sheet: square cells of equal conductance to their four neighbours, solved anew here."""
    x0, y0, x1, y1 = area.bounds
    gx, gy = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
    number = np.arange(gx.size).reshape(gx.shape) + 2
    for k, land in enumerate(lands):
        number[shapely.contains_xy(land, gx, gy)] = k
    pairs = [(number[:, 1:], number[:, :-1]), (number[1:], number[:-1])]
    i, j = (np.concatenate([pair[k].ravel() for pair in pairs]) for k in range(2))
    i, j = i[i != j], j[i != j]
    used, flat = np.unique(np.concatenate([i, j]), return_inverse=True)
    i, j = flat[: len(i)], flat[len(i) :]
    one = np.ones(len(i))
    rows, columns = np.r_[i, j, i, j], np.r_[i, j, j, i]
    matrix = coo_matrix((np.r_[one, one, -one, -one], (rows, columns)), shape=(len(used),) * 2).tocsc()
    right = np.zeros(len(used) - 1)
    right[0] = 1.0
    return float(splu(matrix[1:, 1:].tocsc()).solve(right)[0])


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


@pytest.mark.parametrize("width", [0.3, 2.0])
def test_the_way_through_a_pour_counts_the_pour_and_is_never_less_than_the_whole(width: float) -> None:
    for copper in ([region(lobes(width))], [region(shapely.box(-5, -10, 65, 20))]):
        graph = surface(copper, [(10, 10), (50, 10)])
        found = way(graph, "P1.1", "P2.1")
        assert found.sheets_ohm > 0.0
        assert found.along_ohm == pytest.approx(
            sum(s.resistance_ohm for s in found.steps) + found.sheets_ohm, rel=1e-12
        )
        # one way only: alone it is the whole
        assert found.along_ohm == pytest.approx(found.ohms.value, rel=1e-6)
        assert f"{found.sheets_ohm * 1e3:.1f} of them in the pour" in "\n".join(found.lines())


def test_a_way_beside_others_is_more_than_all_of_them() -> None:
    two = shapely.union_all([lobes(0.3), shapely.box(20, 3, 40, 3.5)])
    found = way(surface([region(two)], [(10, 10), (50, 10)]), "P1.1", "P2.1")
    assert found.other_ways
    assert found.along_ohm > 1.2 * found.ohms.value
