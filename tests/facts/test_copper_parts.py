"""Part states, patch wires and cuts: which metal there is, where a tip can touch it, what a beep there proves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from tests.copper_boards import board, pad, part, track

from coppermend.core.board.model import Board, PartState, Pin
from coppermend.core.board.parts import through_ohm
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.copper.path import sites_between, way
from coppermend.core.copper.provable import net_view
from coppermend.core.copper.resistance import effective_ohm
from coppermend.core.copper.worked import PatchWire, TrackCut, node_of, worked
from coppermend.core.findings import Refusal
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.services.graph_pack import pack_graph, unpack_graph

BODY = np.array([(-2.0, -2.0), (12.0, -2.0), (12.0, 2.0), (-2.0, 2.0), (-2.0, -2.0)])


def two_chips(**more: object) -> Board:
    """U1 soldered, U2 in a socket, joined on the solder side; a via under U3's body in the middle."""
    lands = [pad(0, 0, 1.6), pad(40, 0, 1.6), pad(20, 0, 1.0)]
    return board(
        {"c": lands, "s": [*lands, *track(0.3, (0, 0), (40, 0))]},
        [(0, 0, 0.8), (40, 0, 0.8), (20, 0, 0.6)],
        [
            part("U1", "c", [("1", 0, 0, 0)]),
            part("U2", "c", [("1", 40, 0, 1)], state=PartState.SOCKETED),
            part("U3", "c", [("1", 18, 0, None)], outline=BODY + np.array([15.0, 0.0])),
        ],
        **more,  # type: ignore[arg-type]
    )


def points(graph: CopperGraph, ref: str) -> dict[str, bool]:
    return {p.id: p.reachable for p in graph.points if p.part == ref}


def test_points_of_soldered_and_socketed_pins() -> None:
    graph = build_graph(two_chips())
    assert points(graph, "U1") == {"U1.1/leg": True, "U1.1/joint-c": True, "U1.1/joint-s": True}
    assert points(graph, "U2") == {"U2.1/leg": True, "U2.1/joint-c": False, "U2.1/joint-s": True}
    assert [s.kind.value for s in sites_between(graph, "U2.1/leg", "U2.1/joint-s")] == ["leg", "contact", "joint"]


def test_a_beep_at_the_joint_never_passes_the_contact() -> None:
    graph = build_graph(two_chips())
    passed = {s.kind for s in sites_between(graph, "U1.1/leg", "U2.1/joint-s")}
    assert SiteKind.CONTACT not in passed and SiteKind.LEG not in passed
    assert SiteKind.CONTACT in {s.kind for s in sites_between(graph, "U1.1/leg", "U2.1/leg")}


def test_out_of_its_socket_the_contact_can_be_touched() -> None:
    graph = worked(build_graph(two_chips()), {"U2": PartState.OUT})
    assert points(graph, "U2") == {"U2.1/contact": True, "U2.1/joint-c": False, "U2.1/joint-s": True}
    assert [s.kind.value for s in sites_between(graph, "U2.1/contact", "U2.1/joint-s")] == ["joint"]


def test_a_desoldered_part_leaves_bare_holes() -> None:
    graph = worked(build_graph(two_chips()), {"U1": PartState.OUT})
    assert set(points(graph, "U1")) == {"U1.1/hole", "land@0,0/c", "land@0,0/s"}
    assert [s.kind.value for s in sites_between(graph, "land@0,0/c", "land@0,0/s")] == ["barrel"]
    without_socket = worked(build_graph(two_chips()), {"U2": PartState.NOT_FITTED})
    assert "U2.1/hole" in points(without_socket, "U2")


def test_a_via_under_a_body_is_out_of_reach_until_the_part_is_gone() -> None:
    graph = build_graph(two_chips())
    via = graph.point("via@20000,0/c")
    assert not via.reachable and via.why_not == "under the body of U3"
    assert graph.point("via@20000,0/s").reachable
    assert worked(graph, {"U3": PartState.OUT}).point("via@20000,0/c").reachable


def test_the_mask_decides_where_vias_can_be_touched() -> None:
    assert {f.code for f in build_graph(two_chips()).findings} >= {"GRF-001"}
    openings = ShapeSet.of([shapely.Point(0, 0), shapely.Point(40, 0)], [1.0, 1.0])
    masked = build_graph(two_chips(masks=[("s", openings)]))
    assert masked.point("via@20000,0/s").why_not == "covered by the solder mask"
    assert masked.point("U1.1/joint-s").reachable


def test_a_patch_wire_is_a_site_with_the_wires_resistance() -> None:
    base = build_graph(two_chips())
    wire = PatchWire("e1", "U1.1/joint-s", "U2.1/joint-s", diameter_mm=0.254639, length_mm=100.0)
    graph = worked(base, wires=[wire])
    # 30 AWG, 100 mm: 33.86 mohm (ASTM B258 diameter, 100 % IACS)
    assert graph.site("wire@e1").resistance_ohm == pytest.approx(33.86e-3, rel=5e-4)
    assert net_view(graph, graph.site("wire@e1").net).blocks
    assert (
        effective_ohm(graph, wire.point_a, wire.point_b).value < effective_ohm(base, wire.point_a, wire.point_b).value
    )


def test_a_wire_to_a_leg_stays_when_the_chip_is_taken_out() -> None:
    base = build_graph(two_chips())
    graph = worked(base, {"U1": PartState.OUT}, wires=[PatchWire("e1", "U1.1/leg", "U2.1/joint-s")])
    assert graph.site("wire@e1").a == base.pins[0].land("s")
    lost = worked(base, wires=[PatchWire("e2", "U9.1/leg", "U2.1/joint-s")])
    assert [f.code for f in lost.findings if f.code == "GRF-011"]


def test_a_cut_parts_the_track_and_a_wire_over_it_joins_it_again() -> None:
    base = build_graph(two_chips())
    cut = TrackCut("c1", layer="s", x_mm=10.0, y_mm=0.1)
    graph = worked(base, cuts=[cut])
    assert np.isinf(effective_ohm(graph, "U1.1/joint-s", "U2.1/joint-s").value)
    assert net_view(graph, graph.pins[0].net).pieces == 2
    halves = [s for s in graph.sites if "|c1" in s.id]
    whole = next(s for s in base.sites if s.id == halves[0].id.partition("|")[0])
    assert sum(s.length_mm for s in halves) == pytest.approx(whole.length_mm)
    mended = worked(base, cuts=[cut], wires=[PatchWire("e1", "U1.1/joint-s", "U2.1/joint-s")])
    assert net_view(mended, graph.pins[0].net).pieces == 1
    by_points = worked(base, cuts=[TrackCut("c2", "via@20000,0/s", "U1.1/joint-s")])
    assert np.isinf(effective_ohm(by_points, "U1.1/joint-s", "via@20000,0/s").value)
    assert [
        f.code
        for f in worked(base, cuts=[TrackCut("c3", layer="s", x_mm=90.0, y_mm=0.0)]).findings
        if f.code == "GRF-012"
    ]


def test_a_resistor_that_rings_through_is_no_copper() -> None:
    lands = [pad(0, 0, 1.6), pad(10, 0, 1.6), pad(0, 10, 1.6), pad(10, 10, 1.6)]
    made = board(
        {"c": [*lands, *track(0.3, (0, 0), (0, 10)), *track(0.3, (10, 0), (10, 10))]},
        [(0, 0, 0.8), (10, 0, 0.8), (0, 10, 0.8), (10, 10, 0.8)],
        [
            part("R1", "c", [("1", 0, 0, 0), ("2", 10, 0, 1)], through_ohm=(("1", "2", 33.0),)),
            part("U1", "c", [("1", 0, 10, 2), ("2", 10, 10, 3)]),
        ],
    )
    graph = build_graph(made)
    assert graph.site("through@R1.1-2").resistance_ohm == 33.0
    with pytest.raises(Refusal, match="No copper joins"):
        way(graph, "U1.1", "U1.2")
    assert not [s for s in worked(graph, {"R1": PartState.OUT}).sites if s.kind is SiteKind.THROUGH]


def test_a_pin_alone_means_what_its_state_exposes() -> None:
    base = build_graph(two_chips())
    assert node_of(base, "U2.1") == base.point("U2.1/leg").node
    out = worked(base, {"U2": PartState.OUT})
    assert node_of(out, "U2.1") == out.point("U2.1/contact").node
    assert node_of(base, "U2.9") is None


def test_unknown_parts_are_said_and_left_out() -> None:
    graph = worked(build_graph(two_chips()), {"U77": PartState.OUT})
    assert [f.place.thing for f in graph.findings if f.code == "GRF-010"] == ["U77"]


def test_a_packed_graph_comes_back_equal() -> None:
    base = worked(build_graph(two_chips()), {"U2": PartState.OUT}, [PatchWire("e1", "U1.1/leg", "U2.1/joint-s")])
    assert unpack_graph(*pack_graph(base)) == base


def test_a_network_says_how_many_before_its_value() -> None:
    """Pull-up networks are written "8 x 10k" in parts lists (common practice, no source): they join nothing that a beep would hear."""
    pins = [Pin("RN1", str(k), 2.54 * k, 0.0, None, ("c",), None) for k in range(1, 10)]
    assert through_ohm("RN1", "8 x 10k", "SIP9", pins) == ()
    assert through_ohm("RN1", "8 x 33R", "SIP9", pins) == tuple(("1", str(k), 33.0) for k in range(2, 10))
    assert through_ohm("RN1", "4×22R", "DIP8", pins[:8]) == tuple((str(k), str(9 - k), 22.0) for k in range(1, 5))


def test_no_part_of_the_demonstration_machine_joins_two_lines_of_its_data_bus(demo_package: Path) -> None:
    """Its networks are 8 x 10k (demo/package/parts.csv): a bridge between D3 and D4 is told by a beep, and its isolation is checked."""
    from coppermend.bootstrap import practice_setting
    from coppermend.core.belief.engine import belief
    from coppermend.core.belief.model import Basis
    from coppermend.core.planning.costs import CostTable, TipState
    from coppermend.core.planning.isolation import isolation_checks

    setting = practice_setting(str(demo_package), "")
    checks, _ = isolation_checks(
        belief(setting.graph, setting.areas, (), Basis()), setting.neighbours, CostTable(), TipState()
    )
    asked = {frozenset((c.net_a, c.net_b)) for c in checks}
    near = {frozenset((setting.graph.net_names[n.net_a], setting.graph.net_names[n.net_b])) for n in setting.neighbours}
    assert frozenset(("D3", "D4")) in asked
    assert near == asked
