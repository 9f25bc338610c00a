"""Resistance against closed forms and networkx. Sources beside each value; rho = 1/58 ohm mm2/m (100 % IACS, NBS Handbook 100, 1966)."""

from __future__ import annotations

import math
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu
from tests.copper_boards import board, pad, part, region, track

from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.copper.path import way
from coppermend.core.copper.resistance import SPREAD, all_pairs_ohm, effective_ohm, transfer_ohm
from coppermend.core.copper.sheets import sheet_model
from coppermend.core.copper.squares import CORNER_SQUARES, barrel_ohm, slot_ohm, track_ohm, track_squares, wire_ohm


def test_track_by_squares() -> None:
    # 100 mm x 0.25 mm x 35 um at 20 degC: 197.04 mohm; at 70 degC: 235.76 mohm (rho L / (w t); alpha 0.00393/K, Dellinger 1911)
    line = [(0.0, 0.0), (100.0, 0.0)]
    assert track_ohm(line, [0.25], 0.035) == pytest.approx(0.19704, rel=5e-4)
    assert track_ohm(line, [0.25], 0.035, 70.0) == pytest.approx(0.23576, rel=5e-4)
    # 1 inch x 10 mil x 34.8 um: 49.54 mohm
    assert track_ohm([(0.0, 0.0), (25.4, 0.0)], [0.254], 0.0348) == pytest.approx(0.04954, rel=5e-4)


def test_a_right_angle_corner_counts_its_closed_form() -> None:
    # 1 - (2/pi) ln 2 = 0.558729 squares (book value 0.559)
    assert pytest.approx(0.558729, abs=1e-6) == CORNER_SQUARES
    elbow = track_squares([(0.0, 0.0), (10.0, 0.0), (10.0, 10.0)], [1.0, 1.0])
    assert elbow == pytest.approx(9.5 + 9.5 + 0.558729, abs=1e-6)
    assert track_squares([(0.0, 0.0), (10.0, 0.0), (20.0, 0.0)], [1.0, 1.0]) == pytest.approx(20.0)


def test_barrel_by_its_annulus() -> None:
    # rho H / (pi (D - t) t): 0.3/1.6/25 um 1.2772; 0.8/1.6/25 0.4532; 0.8/1.6/20 0.5629; 1.0/1.6/25 0.3602 mohm
    for drill, plating, expected in (
        (0.3, 0.025, 1.2772),
        (0.8, 0.025, 0.4532),
        (0.8, 0.020, 0.5629),
        (1.0, 0.025, 0.3602),
    ):
        assert barrel_ohm(drill, 1.6, plating) * 1e3 == pytest.approx(expected, rel=5e-4)
    assert slot_ohm(0.8, 0.0, 1.6) == pytest.approx(barrel_ohm(0.8, 1.6), rel=1e-12)


def test_wire() -> None:
    # AWG after ASTM B258, 1/58: 24: 84.22, 30: 338.56 ohm/km
    for awg, per_km in ((24, 84.22), (30, 338.56)):
        diameter = 0.127 * 92 ** ((36 - awg) / 39)
        assert wire_ohm(diameter, 1e6) == pytest.approx(per_km, rel=2e-4)


# sheets -------------------------------------------------------------------------------------------------------


def between(area: object, contacts: list[tuple[tuple[float, float], float]], a: int = 0, b: int = 1) -> float:
    """Ohms between two contacts of a sheet of one ohm per square."""
    model = sheet_model(area, contacts, 1.0)
    assert model.note == ""
    matrix = model.matrix.tocsc()
    keep = np.delete(np.arange(matrix.shape[0]), a)
    right = np.zeros(matrix.shape[0])
    right[b] = 1.0
    return float(splu(matrix[keep][:, keep].tocsc()).solve(right[keep])[b if b < a else b - 1])


@pytest.mark.parametrize(
    ("apart", "radius", "expected"), [(40.0, 1.0, 1.174008), (10.0, 1.0, 0.729704), (4.0, 1.0, 0.419201)]
)
def test_two_discs_on_a_wide_sheet(apart: float, radius: float, expected: float) -> None:
    # infinite sheet, exact: arcosh(d / 2a) / pi per ohm-square (dual of the two-wire line); the plate is 60 times as wide as d
    plate = shapely.Point(0, 0).buffer(60 * apart, 64)
    found = between(plate, [((-apart / 2, 0.0), radius), ((apart / 2, 0.0), radius)])
    assert found == pytest.approx(expected, rel=0.03)


def test_a_strip_between_two_bars() -> None:
    # R = rho_s L / W. Two rows of contacts tied by symmetry: the middle pair of a strip periodic in y carries a straight field, so the
    # resistance between far discs on a strip grows by L / W for every added L: 20 mm more on a 5 mm strip is 4 squares more.
    short = between(shapely.box(0, 0, 60, 5), [((15.0, 2.5), 0.5), ((35.0, 2.5), 0.5)])
    long = between(shapely.box(0, 0, 60, 5), [((10.0, 2.5), 0.5), ((50.0, 2.5), 0.5)])
    assert long - short == pytest.approx(20 / 5, rel=0.03)


def test_a_corner_in_a_sheet_counts_its_closed_form() -> None:
    # An L of two 40 mm arms of 5 mm against a straight strip of the same arms: the difference is the corner, 0.558729 squares.
    straight = shapely.box(0, 0, 80, 5)
    elbow = shapely.box(0, 0, 42.5, 5).union(shapely.box(37.5, 0, 42.5, 40))
    plain = between(straight, [((10.0, 2.5), 0.5), ((70.0, 2.5), 0.5)])
    bent = between(elbow, [((10.0, 2.5), 0.5), ((40.0, 32.5), 0.5)])
    arms = (37.5 - 10.0) / 5 + (32.5 - 5.0) / 5
    corner = bent - (plain - 60.0 / 5) - arms
    assert corner == pytest.approx(0.558729, abs=0.05)


def finite_volume(area: object, contacts: list[tuple[tuple[float, float], float]], step: float) -> float:
    """The same sheet by another method: square cells of equal conductance to their four neighbours; cells inside a contact are one node."""
    x0, y0, x1, y1 = shapely.bounds(area)
    xs, ys = np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)
    gx, gy = np.meshgrid(xs, ys)
    inside = shapely.contains_xy(area, gx, gy)
    number = np.where(inside, np.arange(gx.size).reshape(gx.shape) + 2, -1)
    for k, ((cx, cy), radius) in enumerate(contacts):
        number[np.hypot(gx - cx, gy - cy) <= radius] = k
    pairs = np.vstack(
        [
            np.column_stack([number[:, 1:].ravel(), number[:, :-1].ravel()]),
            np.column_stack([number[1:].ravel(), number[:-1].ravel()]),
        ]
    )
    pairs = pairs[(pairs >= 0).all(axis=1) & (pairs[:, 0] != pairs[:, 1])]
    used, flat = np.unique(pairs, return_inverse=True)
    i, j = flat.reshape(-1, 2).T
    one = np.ones(len(i))
    matrix = coo_matrix(
        (np.r_[one, one, -one, -one], (np.r_[i, j, i, j], np.r_[i, j, j, i])), shape=(len(used),) * 2
    ).tocsc()
    right = np.zeros(len(used) - 1)
    right[0] = 1.0
    return float(splu(matrix[1:, 1:].tocsc()).solve(right)[0])


def test_a_slit_and_a_hole_against_another_method() -> None:
    ends = [((2.0, 5.0), 0.5), ((18.0, 5.0), 0.5)]
    slit = shapely.box(0, 0, 20, 10).difference(shapely.box(9.8, 1, 10.2, 9))
    hole = shapely.box(0, 0, 20, 10).difference(shapely.Point(7, 5).buffer(3))
    for area in (slit, hole):
        assert between(area, ends) == pytest.approx(finite_volume(area, ends, 0.05), rel=0.05)


def test_a_pour_has_a_resistance_never_zero() -> None:
    lands = [pad(-20, 0, 1.6), pad(20, 0, 1.6)]
    made = board(
        {"c": [region(shapely.box(-25, -2.5, 25, 2.5)), *lands]},
        [(-20, 0, 0.8), (20, 0, 0.8)],
        [part("U1", "c", [("1", -20, 0, 0)]), part("U2", "c", [("1", 20, 0, 1)])],
    )
    graph = build_graph(made)
    legs = effective_ohm(graph, "U1.1/leg", "U2.1/leg")
    joints = effective_ohm(graph, "U1.1/joint-c", "U2.1/joint-c")
    assert graph.point("U1.1/joint-c").node == graph.point("U2.1/joint-c").node  # for continuity one conductor
    assert joints.value == pytest.approx(legs.value - 2 * 0.0002, rel=1e-6)  # two sound joints less
    # 40 mm of 5 mm at 35 um is 8 squares of 0.4926 mohm: 3.9 mohm, and two constrictions of some tenths of a square more
    assert 3.9e-3 < legs.value < 6.5e-3
    assert joints.low == pytest.approx(joints.value / (1 + SPREAD), rel=1e-6)
    assert joints.high == pytest.approx(joints.value / (1 - SPREAD), rel=1e-6)


# networks -----------------------------------------------------------------------------------------------------


def random_net(nodes: int, extra: int, seed: int) -> CopperGraph:
    """A random tree with extra edges, every node a probe point."""
    dice = np.random.default_rng(seed)
    edges = [(int(dice.integers(0, k)), k) for k in range(1, nodes)]
    while len(edges) < nodes - 1 + extra:
        a, b = (int(v) for v in dice.integers(0, nodes, 2))
        if a != b:
            edges.append((a, b))
    sites = tuple(
        Site(
            f"r{k}",
            SiteKind.RUN,
            0,
            a,
            b,
            "c",
            ((0.0, 0.0), (1.0, 0.0)),
            (0.3,),
            1.0,
            0.3,
            float(dice.uniform(1e-3, 0.1)),
        )
        for k, (a, b) in enumerate(edges)
    )
    points = tuple(ProbePoint(f"p{k}", k, 0, float(k), 0.0, "c") for k in range(nodes))
    return CopperGraph("x", ("N",), (0,) * nodes, ((0.0, 0.0, "c"),) * nodes, ("land",) * nodes, sites, points, ())


def as_networkx(graph: CopperGraph) -> nx.Graph:
    """The same network with parallel sites added up as conductances."""
    out = nx.Graph()
    for s in graph.sites:
        g = 1.0 / s.resistance_ohm + (1.0 / out[s.a][s.b]["weight"] if out.has_edge(s.a, s.b) else 0.0)
        out.add_edge(s.a, s.b, weight=1.0 / g)
    return out


@pytest.mark.parametrize("seed", range(8))
def test_effective_resistance_equals_networkx(seed: int) -> None:
    graph = random_net(40, 12, seed)
    ours = all_pairs_ohm(graph, 0, [f"p{k}" for k in range(40)])
    theirs = as_networkx(graph)
    for a, b in ((0, 39), (3, 17), (20, 21)):
        expected = nx.resistance_distance(theirs, a, b, weight="weight", invert_weight=True)
        assert ours[a, b] == pytest.approx(expected, rel=1e-9)
    assert np.allclose(ours, ours.T, rtol=0, atol=1e-15)


def test_transfer_resistance_on_a_tree_is_the_shared_stretch() -> None:
    # four-wire reading on a tree: the resistance of the stretch common to both ways
    sites = tuple(
        Site(f"r{k}", SiteKind.RUN, 0, k, k + 1, "c", ((0.0, 0.0), (1.0, 0.0)), (0.3,), 1.0, 0.3, 0.01 * (k + 1))
        for k in range(4)
    )
    graph = CopperGraph("x", ("N",), (0,) * 5, ((0.0, 0.0, "c"),) * 5, ("land",) * 5, sites, (), ())
    assert transfer_ohm(graph, 0, (0, 3), (1, 4)) == pytest.approx(0.02 + 0.03, rel=1e-9)


def test_the_way_adds_up() -> None:
    lands = [pad(0, 0, 1.6), pad(40, 0, 1.6), pad(20, 0, 1.0)]
    made = board(
        {"c": [*lands, *track(0.3, (20, 0), (40, 0))], "s": [*lands, *track(0.5, (0, 0), (20, 0))]},
        [(0, 0, 0.8), (40, 0, 0.8), (20, 0, 0.6)],
        [part("U1", "c", [("1", 0, 0, 0)]), part("U2", "c", [("1", 40, 0, 1)])],
    )
    found = way(build_graph(made), "U1.1", "U2.1")
    assert [s.kind for s in found.steps] == ["joint", "run", "barrel", "run", "barrel", "joint"]
    assert found.length_mm == pytest.approx((20 - 0.8 - 0.5) * 2, abs=1e-9)
    square = 1 / 58_000 / 0.035
    tracks = square * (18.7 / 0.5 + 18.7 / 0.3)
    expected = tracks + barrel_ohm(0.6, 1.6) + barrel_ohm(0.8, 1.6) + 2 * 0.0002
    assert found.along_ohm == pytest.approx(expected, rel=1e-9)
    assert found.ohms.value == pytest.approx(expected, rel=1e-6)
    assert found.vias == 2 and not found.other_ways
    assert math.isfinite(found.as_dict()["effective_ohm"])  # type: ignore[arg-type]


def test_the_band_holds_every_network_whose_sites_lie_in_their_bands() -> None:
    """Resistors drawn inside their bands at random give effective resistances below the stated upper end (Thomson's principle)."""
    graph = random_net(20, 6, 3)
    stated = effective_ohm(graph, "p0", "p19")
    dice = np.random.default_rng(7)
    for _ in range(30):
        scale = dice.uniform(1 / (1 + SPREAD), 1 / (1 - SPREAD), len(graph.sites))
        sites = tuple(
            replace(s, resistance_ohm=s.resistance_ohm * float(k)) for s, k in zip(graph.sites, scale, strict=True)
        )
        found = effective_ohm(replace(graph, sites=sites, memo={}), "p0", "p19").value
        assert stated.low <= found <= stated.high
    assert stated.high == pytest.approx(stated.value / (1 - SPREAD), rel=1e-9)


def test_warm_copper() -> None:
    # R70 / R20 = 1 + 0.00393 * 50 = 1.1965 (temperature coefficient at 20 degC, Dellinger 1911)
    graph = random_net(10, 2, 1)
    assert effective_ohm(graph, "p0", "p9", 70.0).value == pytest.approx(
        1.1965 * effective_ohm(graph, "p0", "p9").value, rel=1e-9
    )
