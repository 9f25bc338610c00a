"""Patch wires against brute force over all wire sets, and what the plan says."""

from __future__ import annotations

from itertools import combinations
from math import hypot, inf

import networkx as nx
import numpy as np
import pytest

from coppermend.core.board.model import PartState
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.findings import Refusal
from coppermend.core.rework.pieces import Difficulty
from coppermend.core.rework.prove import Neighbour, prove_wire
from coppermend.core.rework.wires import WirePlan, propose_wires, replaced_copper

EASE = Difficulty()


def run(number: int, a: int, b: int, mm: float = 10.0, kind: SiteKind = SiteKind.RUN, width: float = 0.3) -> Site:
    """A track run of a hand-made net."""
    name = f"run@{number}"
    return Site(name, kind, 0, a, b, "s", (), (width,), mm, width, mm * 1e-3, words=f"the track {number}")


def point(
    node: int, x: float, y: float, *, kind: str = "joint", side: str = "s", part: str | None = None
) -> ProbePoint:
    """A probe point of a hand-made net; ``part`` "" makes it a via."""
    ref = f"U{node}" if part is None else part
    name = f"{ref}.1/{kind}-{side}" if ref else f"via@{node}/{side}"
    return ProbePoint(name, node, 0, x, y, side, ref, "1" if ref else "", kind)


def net(
    nodes: int, sites: list[Site], points: list[ProbePoint], states: dict[str, PartState] | None = None
) -> CopperGraph:
    """One net as a graph."""
    return CopperGraph(
        "hand-made",
        ("A0",),
        (0,) * nodes,
        tuple((0.0, 0.0, "s") for _ in range(nodes)),
        ("land",) * nodes,
        tuple(sites),
        tuple(points),
        tuple((states or {}).items()),
    )


def random_net(rng: np.random.Generator, pieces: int) -> tuple[CopperGraph, list[str]]:
    """A tree net of random places that falls into exactly ``pieces`` pieces; some hold only a via, some nodes have no point."""
    nodes = int(rng.integers(pieces, 3 * pieces + 1))
    sites = [run(i, int(rng.integers(0, i)), i, float(rng.uniform(3, 30))) for i in range(1, nodes)]
    places = rng.uniform(0, 100, (nodes, 2))
    kinds = rng.choice(["pin", "via", "bare"], nodes, p=[0.5, 0.3, 0.2])
    points = []
    for i in range(nodes):
        side = str(rng.choice(["c", "s"]))
        if kinds[i] == "pin":
            points.append(point(i, *places[i], side=side))
        elif kinds[i] == "via":
            points.append(point(i, *places[i], kind="via", side=side, part=""))
    broken = [str(name) for name in rng.choice([s.id for s in sites], pieces - 1, replace=False)]
    return net(nodes, sites, points), broken


def pieces_by_networkx(graph: CopperGraph, broken: list[str]) -> list[set[int]]:
    """The pieces, found by a library that the code under test does not use."""
    g = nx.Graph()
    g.add_nodes_from(range(graph.node_count))
    g.add_edges_from((s.a, s.b) for s in graph.sites if s.id not in broken)
    return [set(c) for c in nx.connected_components(g)]


def join_cost(a: ProbePoint, b: ProbePoint) -> float:
    """The stated cost of one wire: straight length, both difficulties, 25 mm when the sides differ."""
    ease = {"joint": EASE.leg, "via": EASE.via}
    return hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) + ease[a.kind] + ease[b.kind] + (25.0 if a.side != b.side else 0.0)


def brute_force(graph: CopperGraph, broken: list[str]) -> tuple[float, int]:
    """Least cost over all sets of wires that join every pin, and the number of pieces that hold a pin."""
    pieces = pieces_by_networkx(graph, broken)
    points = [[p for p in graph.points if p.node in piece] for piece in pieces]
    needed = [i for i, here in enumerate(points) if any(p.part for p in here)]
    wires = []
    for i, j in combinations(range(len(pieces)), 2):
        costs = [join_cost(a, b) for a in points[i] for b in points[j]]
        if costs:
            wires.append((min(costs), i, j))
    best = inf if len(needed) > 1 else 0.0
    for count in range(len(wires) + 1):
        for chosen in combinations(wires, count):
            cost = sum(w[0] for w in chosen)
            if cost >= best:
                continue
            g = nx.Graph()
            g.add_nodes_from(range(len(pieces)))
            g.add_edges_from((i, j) for _, i, j in chosen)
            if len({frozenset(nx.node_connected_component(g, i)) for i in needed}) <= 1:
                best = cost
    return best, len(needed)


def restored(graph: CopperGraph, broken: list[str], plan: WirePlan) -> bool:
    """Simulation: with the wires laid, every pin of the net is joined to every other."""
    g = nx.Graph()
    g.add_nodes_from(range(graph.node_count))
    g.add_edges_from((s.a, s.b) for s in graph.sites if s.id not in broken)
    g.add_edges_from((w.a.node, w.b.node) for w in plan.wires)
    pins = [p.node for p in graph.points if p.part]
    return all(nx.has_path(g, pins[0], pin) for pin in pins[1:])


def test_equal_to_brute_force_on_500_random_nets() -> None:
    """shared target: the optimum over all wire sets on at least 500 random nets of at most 5 pieces, 100 % of nets restored."""
    rng = np.random.default_rng(20)
    counted = 0
    while counted < 500:
        graph, broken = random_net(rng, int(rng.integers(2, 6)))
        want, needed = brute_force(graph, broken)
        plans = propose_wires(graph, broken)
        assert plans[0].cost_mm == pytest.approx(want, abs=1e-9)
        assert plans[0].exact
        assert all(plan.cost_mm >= plans[0].cost_mm - 1e-9 for plan in plans)
        assert all(plan.restores and restored(graph, broken, plan) for plan in plans)
        counted += needed > 1  # nets whose pins still hang together are tried too, but not counted


def test_every_pair_of_ends_is_considered() -> None:
    """With up to three pieces: all sets of at most two wires between any two points of the net, not only the best per pair of pieces."""
    rng = np.random.default_rng(3)
    for _ in range(60):
        graph, broken = random_net(rng, 3)
        want, _ = brute_force(graph, broken)
        all_wires = list(combinations(graph.points, 2))
        pins = [p.node for p in graph.points if p.part]
        best = inf
        for count in range(3):
            for chosen in combinations(all_wires, count):
                cost = sum(join_cost(a, b) for a, b in chosen)
                if cost >= best:
                    continue
                g = nx.Graph()
                g.add_nodes_from(range(graph.node_count))
                g.add_edges_from((s.a, s.b) for s in graph.sites if s.id not in broken)
                g.add_edges_from((a.node, b.node) for a, b in chosen)
                if len({frozenset(nx.node_connected_component(g, n)) for n in pins}) <= 1:
                    best = cost
        assert propose_wires(graph, broken)[0].cost_mm == pytest.approx(best, abs=1e-9)
        assert best == pytest.approx(want, abs=1e-9)


def two_breaks() -> tuple[CopperGraph, list[str]]:
    """U0 - bare stretch - U3: both ends of the middle break. The stretch has a via far from the way."""
    sites = [run(1, 0, 1, 20.0), run(2, 1, 2, 20.0), run(3, 2, 3, 20.0)]
    points = [
        point(0, 0.0, 0.0),
        point(1, 20.0, 40.0, kind="via", part=""),
        point(3, 30.0, 0.0),
    ]
    return net(4, sites, points), ["run@1", "run@3"]


def test_two_breaks_need_one_wire_round_the_lost_stretch() -> None:
    """The trap: bridging each break next to itself takes two wires; one wire between the pins is enough."""
    graph, broken = two_breaks()
    best = propose_wires(graph, broken)[0]
    assert len(best.wires) == 1
    assert {best.wires[0].a.point, best.wires[0].b.point} == {"U0.1/joint-s", "U3.1/joint-s"}
    assert best.cost_mm == pytest.approx(30.0 + 3.0 + 3.0)
    assert any("stays cut off" in note for note in best.notes)


def test_an_end_on_a_piece_without_a_needed_pin_is_said() -> None:
    sites = [run(1, 0, 1), run(2, 1, 2)]
    points = [point(0, 0, 0), point(1, 50, 0, kind="via", part=""), point(2, 100, 0)]
    graph = net(3, sites, points)
    far = propose_wires(graph, ["run@1", "run@2"])[0]
    assert len(far.wires) == 1  # 106 against 2 x 57: the long wire is cheaper
    cheap_via = Difficulty(via=0.0, leg=0.0)
    two = propose_wires(
        net(3, sites, [points[0], point(1, 50, 0, kind="via", part="", side="c"), points[2]]),
        ["run@1", "run@2"],
        difficulty=Difficulty(via=-30.0, other_side=0.0),
    )[0]
    assert len(two.wires) == 2
    assert any("holds no needed pin" in note for note in two.notes)
    assert propose_wires(graph, ["run@1", "run@2"], difficulty=cheap_via)[0].restores


def test_the_same_side_is_preferred() -> None:
    sites = [run(1, 0, 1)]
    points = [point(0, 0, 0, side="s"), point(1, 10, 0, side="c"), point(1, 20, 0, kind="via", part="", side="s")]
    best = propose_wires(net(2, sites, points), ["run@1"])[0].wires[0]
    assert best.side == "s"
    assert best.b.kind == "via"


def test_no_wire_is_soldered_into_a_socket() -> None:
    states = {"U1": PartState.SOCKETED}
    points = [
        ProbePoint("U1.1/leg", 0, 0, 0, 0, "c", "U1", "1", "leg"),
        ProbePoint("U1.1/contact", 1, 0, 0, 0, "c", "U1", "1", "contact"),
        ProbePoint("U1.1/joint-s", 2, 0, 0, 0, "s", "U1", "1", "joint"),
        point(3, 40, 0),
    ]
    sites = [
        Site("leg@U1.1", SiteKind.LEG, 0, 0, 1, "", (), (), 0, 0, 0),
        Site("joint@U1.1", SiteKind.JOINT, 0, 1, 2, "", (), (), 0, 0, 0),
        run(1, 2, 3, 40),
    ]
    graph = net(4, sites, points, states)
    wire = propose_wires(graph, ["run@1"])[0].wires[0]
    assert {wire.a.point, wire.b.point} == {"U1.1/joint-s", "U3.1/joint-s"}
    assert wire.cost_mm == pytest.approx(40 + EASE.socket_pin + EASE.leg)
    lost = propose_wires(graph, ["leg@U1.1"])[0]
    assert lost.left_out == ("U1.1/leg",)
    assert not lost.restores
    assert lost.notes


def test_a_whole_net_needs_no_wire() -> None:
    sites = [run(1, 0, 1), run(2, 0, 1)]
    plan = propose_wires(net(2, sites, [point(0, 0, 0), point(1, 9, 0)]), ["run@1"])[0]
    assert plan.wires == ()
    assert plan.restores
    assert "no wire is needed" in " ".join(plan.notes)


def test_gauge_follows_the_track() -> None:
    """A 5 mm rail of 35 um foil has 0.175 mm2: 24 AWG has 0.205 mm2, 26 AWG only 0.129 mm2 (ASTM B258)."""
    points = [point(0, 0, 0), point(1, 30, 0)]
    rail = propose_wires(net(2, [run(1, 0, 1, 30.0, width=5.0)], points), ["run@1"])[0].wires[0]
    thin = propose_wires(net(2, [run(1, 0, 1, 30.0, width=0.3)], points), ["run@1"])[0].wires[0]
    assert (rail.gauge.awg, thin.gauge.awg) == (24, 30)
    assert rail.replaces_width_mm == 5.0
    assert rail.cut_mm >= rail.straight_mm


def test_replaced_copper_is_the_least_resistance_way() -> None:
    sites = [run(1, 0, 1, 10.0, width=1.0), run(2, 1, 2, 10.0, width=0.2), run(3, 0, 2, 30.0, width=0.5)]
    graph = net(3, sites, [])
    assert replaced_copper(graph, 0, 0, 2) == (pytest.approx(0.020), 0.2)
    assert replaced_copper(graph, 0, 0, 0) == (0.0, 0.0)


def test_refusals_say_what_to_do() -> None:
    graph, broken = two_breaks()
    for words in (["run@99"], []):
        with pytest.raises(Refusal) as caught:
            propose_wires(graph, words)
        assert caught.value.finding.remedy
    with pytest.raises(Refusal, match="WIR-005"):
        propose_wires(graph, broken, ["U77.1/leg"])


def test_a_wire_never_splits() -> None:
    """Invariant 2: whatever was joined before the wire is joined after it."""
    rng = np.random.default_rng(8)
    for _ in range(100):
        graph, broken = random_net(rng, 4)
        for plan in propose_wires(graph, broken):
            before = pieces_by_networkx(graph, broken)
            g = nx.Graph()
            g.add_nodes_from(range(graph.node_count))
            g.add_edges_from((s.a, s.b) for s in graph.sites if s.id not in broken)
            g.add_edges_from((w.a.node, w.b.node) for w in plan.wires)
            after = [set(c) for c in nx.connected_components(g)]
            assert all(any(piece <= whole for whole in after) for piece in before)


def test_the_proof_crosses_the_wire_and_meets_every_far_point() -> None:
    rng = np.random.default_rng(11)
    for _ in range(200):
        graph, broken = random_net(rng, 2)
        plans = propose_wires(graph, broken)
        if not plans[0].wires:
            continue
        wire = plans[0].wires[0]
        checks = prove_wire(graph, wire.a.point, wire.b.point, broken, wire_ohm=wire.gauge.resistance_ohm)
        node = {p.id: p.node for p in graph.points}
        piece_a, piece_b = (
            next(p for p in pieces_by_networkx(graph, broken) if n in p) for n in (wire.a.node, wire.b.node)
        )
        assert checks[0].purpose == "bridge"
        met = set()
        for check in checks:
            assert check.expect == "closed"
            assert {node[check.point_a] in piece_a, node[check.point_b] in piece_b} == {True}
            met |= {node[check.point_a], node[check.point_b]}
        g = nx.Graph((s.a, s.b) for s in graph.sites if s.id not in broken)
        ends = {wire.a.node, wire.b.node}
        far = {p.node for p in graph.points if (g.degree(p.node) if p.node in g else 0) <= 1} - ends
        assert far <= met


def test_isolation_once_per_neighbour_nearest_first() -> None:
    graph, broken = two_breaks()
    beside = [
        Neighbour(2, "U8.2/leg", 0.9, "U0.1/joint-s"),
        Neighbour(1, "U8.1/leg", 0.4, "U3.1/joint-s"),
        Neighbour(1, "U9.1/leg", 1.1, "U0.1/joint-s"),
    ]
    found = [c for c in prove_wire(graph, "U0.1/joint-s", "U3.1/joint-s", broken, beside) if c.purpose == "isolation"]
    assert [(c.point_a, c.point_b, c.expect) for c in found] == [
        ("U3.1/joint-s", "U8.1/leg", "open"),
        ("U0.1/joint-s", "U8.2/leg", "open"),
    ]
    assert all(c.reason for c in found)


def test_what_was_cut_on_purpose_stays_apart() -> None:
    """A track that was cut is no longer a site: its far side is not joined again by a wire for a break elsewhere."""
    sites = [run(1, 0, 1), run(3, 2, 3)]  # the run between 1 and 2 was cut
    points = [point(i, 20.0 * i, 0.0) for i in range(4)]
    plan = propose_wires(net(4, sites, points), ["run@1"])[0]
    assert [{w.a.point, w.b.point} for w in plan.wires] == [{"U0.1/joint-s", "U1.1/joint-s"}]
