"""Wires lapped on a bared track: the run parts at the place, its resistance adds up, and an earlier break stays on the wire's side.

A run begins at the rim of its 1.6 mm land, 0.8 mm from the middle. Expected numbers are arithmetic on the track as drawn: a strip's resistance is its
squares times the sheet's, so a run's parts add up to the run.
"""

from __future__ import annotations

from typing import Any

import networkx as nx
import pytest
from tests.copper_boards import board, pad, part, track

from coppermend.core.copper.build import build_graph
from coppermend.core.copper.laps import bared_point, middle_stretches, run_of, still_broken
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.copper.resistance import effective_ohm
from coppermend.core.copper.worked import PatchWire, worked


def two_pins(bend: bool = False) -> CopperGraph:
    """J1 at 0,0 and J2 at 40,0 with one 0.4 mm track between on the solder side, straight or over 20,10; J3 stands apart."""
    way = ((0.0, 0.0), (20.0, 10.0), (40.0, 0.0)) if bend else ((0.0, 0.0), (40.0, 0.0))
    spots = ((0.0, 0.0), (40.0, 0.0), (20.0, 30.0))
    layers: dict[str, Any] = {
        "c": [pad(x, y, 1.6) for x, y in spots],
        "s": [*(pad(x, y, 1.6) for x, y in spots), *track(0.4, *way)],
    }
    parts = [part(f"J{k}", "c", [("1", x, y, k - 1)]) for k, (x, y) in enumerate(spots, 1)]
    return build_graph(board(layers, [(x, y, 0.8) for x, y in spots], parts))


def the_run(graph: CopperGraph) -> Site:
    """The one track of the board."""
    (found,) = [site for site in graph.sites if site.kind is SiteKind.RUN]
    return found


def hang(graph: CopperGraph, without: frozenset[str] = frozenset()) -> nx.Graph:
    """The copper as a graph of networkx."""
    made = nx.Graph()
    made.add_nodes_from(range(graph.node_count))
    made.add_edges_from((s.a, s.b) for s in graph.sites if s.id not in without)
    return made


@pytest.mark.parametrize("bend", [False, True])
def test_a_wire_on_a_bared_track_parts_the_run_and_its_parts_add_up(bend: bool) -> None:
    base = two_pins(bend)
    spot = "track@10000,5000/s" if bend else "track@10000,0/s"
    graph = worked(base, wires=[PatchWire("e1", spot, "J3.1/joint-s")])
    whole, halves = the_run(base), [s for s in graph.sites if s.kind is SiteKind.RUN]
    assert [run_of(one.id) for one in halves] == [whole.id, whole.id] and halves[0].b == halves[1].a
    assert sum(one.resistance_ohm for one in halves) == pytest.approx(whole.resistance_ohm)
    assert sum(one.length_mm for one in halves) == pytest.approx(whole.length_mm)
    assert min(one.length_mm for one in halves) == pytest.approx(whole.length_mm / 4, rel=0.05)
    point = graph.point(spot)
    assert (point.kind, point.reachable, point.node) == ("track", True, halves[0].b)
    assert graph.site("wire@e1").a == point.node
    there = effective_ohm(graph, "J1.1/joint-s", spot).value + effective_ohm(graph, spot, "J2.1/joint-s").value
    assert there == pytest.approx(effective_ohm(base, "J1.1/joint-s", "J2.1/joint-s").value, rel=1e-6)


def test_a_wire_across_a_break_on_its_own_run_leaves_the_stretch_between_its_ends_broken() -> None:
    base = two_pins()
    graph = worked(base, wires=[PatchWire("e1", "track@10000,0/s", "track@30000,0/s")])
    gone = still_broken(graph, [the_run(base).id])
    assert [one.split("|")[1] for one in gone] == ["9200-29200"]
    joined = hang(graph, gone)
    assert nx.has_path(joined, graph.point("J1.1/joint-s").node, graph.point("J2.1/joint-s").node)
    assert not nx.has_path(
        hang(graph, gone | {"wire@e1"}), graph.point("J1.1/joint-s").node, graph.point("J2.1/joint-s").node
    )


@pytest.mark.parametrize(
    ("other", "left"),
    [("J2.1/joint-s", ["9200-38400"]), ("J1.1/joint-s", ["0-9200"]), ("J3.1/joint-s", ["0-9200", "9200-38400"])],
)
def test_a_wire_with_one_end_on_the_broken_run_was_put_across_the_break(other: str, left: list[str]) -> None:
    """The break lies towards the end that hangs together with the wire's other end; nobody knows where when neither does."""
    base = two_pins()
    graph = worked(base, wires=[PatchWire("e1", "track@10000,0/s", other)])
    assert sorted(one.split("|")[1] for one in still_broken(graph, [the_run(base).id])) == left


def test_a_break_found_later_in_one_stretch_stays_there_when_that_stretch_is_parted_again() -> None:
    base = two_pins()
    first = PatchWire("e1", "track@10000,0/s", "J3.1/joint-s")
    once = worked(base, wires=[first])
    far = next(s.id for s in once.sites if s.id.endswith("|9200-38400"))
    twice = worked(base, wires=[first, PatchWire("e2", "track@20000,0/s", "J2.1/joint-s")])
    assert [one.split("|")[1] for one in still_broken(twice, [far])] == ["19200-38400"]
    assert still_broken(twice, ["joint@J1.1"]) == {"joint@J1.1"}


def test_a_place_at_the_runs_end_parts_nothing_and_one_off_every_track_is_said() -> None:
    base = two_pins()
    graph = worked(base, wires=[PatchWire("e1", "track@0,0/s", "J3.1/joint-s")])
    assert the_run(graph).id == the_run(base).id and graph.site("wire@e1").a in (the_run(base).a, the_run(base).b)
    lost = worked(base, wires=[PatchWire("e2", "track@10000,9000/s", "J3.1/joint-s")])
    assert [f.code for f in lost.findings if f.code == "GRF-011"]
    assert bared_point(base, "track@10000,9000/s") is None and bared_point(base, "track@10000,0/c") is None


def test_a_place_is_named_in_micrometres_or_mm_and_snaps_to_the_middle_of_its_track() -> None:
    base = two_pins()
    on, beside = bared_point(base, "track@10.0,0.1/s"), bared_point(base, "track@10.0,0.9/s")
    assert on is not None and on.id == "track@10000,100/s"
    assert beside is not None and beside.id == "track@10000,0/s"


def test_a_practice_boards_break_lies_in_the_stretch_that_holds_the_runs_middle() -> None:
    base = two_pins()
    graph = worked(base, wires=[PatchWire("e1", "track@10000,0/s", "J3.1/joint-s")])
    assert [one.split("|")[1] for one in middle_stretches(graph, [the_run(base).id])] == ["9200-38400"]
