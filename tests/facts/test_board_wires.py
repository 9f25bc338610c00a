"""Wires added at the factory, by the corrections file: what they join follows from the drawing."""

from __future__ import annotations

from tests.handmade import board, land, track

from coppermend.core.board.sources import Corrections, FactoryWire, WireEnd
from coppermend.core.copper.model import SiteKind
from coppermend.formats.package import read_corrections
from coppermend.services.board_corrections import builder_corrections
from coppermend.services.graphs import graph_of, way_between


def test_a_wire_added_at_the_factory_joins_its_two_ends_and_is_a_site_of_its_own() -> None:
    """Two tracks that nothing joins; the wire makes one net, a path with a resistance of a round wire, and the copper's own count is one less."""
    copper = [[land(0, 0, "U1.1"), land(10, 0, "U2.1"), track((0, 0), (10, 0)), land(0, 20, "U1.2"), land(10, 20, "U2.2"), track((0, 20), (10, 20))]]  # fmt: skip
    wire = FactoryWire(WireEnd(10.0, 0.0, "c"), WireEnd(0.0, 20.0, "c"), 0.25)
    plain, wired = board(copper), board(copper, corrections=Corrections(wires=(wire,)))
    assert (len(plain.nets), len(wired.nets)) == (2, 1)
    graph = graph_of(wired)
    (site,) = [one for one in graph.sites if one.kind is SiteKind.WIRE]
    assert site.id == "wire@factory1" and "added at the factory" in site.words
    assert way_between(graph, "U1.1", "U2.2") is not None and way_between(graph_of(plain), "U1.1", "U2.2") is None


def test_a_wire_that_ends_on_no_copper_is_said_and_not_applied() -> None:
    wire = FactoryWire(WireEnd(10.0, 0.0, "c"), WireEnd(0.0, 7.0, "c"))
    made = board([[land(10, 0, "U1.1"), land(0, 20, "U1.2")]], corrections=Corrections(wires=(wire,)))
    assert len(made.nets) == 2 and "BRD-036" in {one.code for one in made.findings}


def test_a_wire_soldered_where_no_tip_can_touch_is_no_site_and_that_is_said() -> None:
    """It ends in the middle of a 20 mm track: the nearest probe points are the lands at its ends, 10 mm off (limit 2 mm)."""
    copper = [[land(0, 0, "U1.1"), land(20, 0, "U2.1"), track((0, 0), (20, 0)), land(0, 20, "U1.2")]]
    wire = FactoryWire(WireEnd(10.0, 0.0, "c"), WireEnd(0.0, 20.0, "c"))
    made = board(copper, corrections=Corrections(wires=(wire,)))
    graph = graph_of(made)
    assert len(made.nets) == 1 and not [one for one in graph.sites if one.kind is SiteKind.WIRE]
    (found,) = [one for one in graph.findings if one.code == "GRF-014"]
    assert (found.place.x_mm, found.place.y_mm, found.place.layer) == (10.0, 0.0, "c")
    assert "no site" in found.words and "corrections file" in found.remedy
    reached = graph_of(board(copper, corrections=Corrections(wires=(FactoryWire(WireEnd(19.0, 0.0, "c"), wire.end),))))
    assert "GRF-014" not in {one.code for one in reached.findings}


def test_wires_of_a_corrections_file() -> None:
    text = '[[wire]]\nfrom = "12.7, 30.48 c"\nto = "50.8, 30.48 s"\n\n[[wire]]\nfrom = "1, 2"\nto = "3, 4 s"\n'
    said, findings = builder_corrections(read_corrections(text.encode(), "coppermend-corrections.toml"))
    assert said.wires == (FactoryWire(WireEnd(12.7, 30.48, "c"), WireEnd(50.8, 30.48, "s")),)
    assert sorted(one.code for one in findings) == ["COR-004", "COR-010"]
