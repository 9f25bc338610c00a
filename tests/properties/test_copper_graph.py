"""Invariants of the copper graph on random small boards: moving changes nothing, breaking never joins, wires never split."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.copper_boards import Piece, board, moved, pad, part, track

from coppermend.core.board.model import Board, PartState
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.copper.provable import all_views, net_view
from coppermend.core.copper.resistance import all_pairs_ohm, effective_ohm
from coppermend.core.copper.worked import PatchWire, worked

GRID = 4
PITCH = 6.0


@st.composite
def boards(draw: st.DrawFn) -> Board:
    """Lands on a 4 x 4 grid, L-shaped tracks of mixed widths on two sides between them, tees and crossings as they fall."""
    spots = [(PITCH * i, PITCH * j) for i in range(GRID) for j in range(GRID)]
    used = draw(st.lists(st.sampled_from(spots), min_size=4, max_size=9, unique=True))
    layers: dict[str, list[Piece]] = {"c": [pad(x, y, 1.5) for x, y in used], "s": [pad(x, y, 1.5) for x, y in used]}
    for _ in range(draw(st.integers(2, 7))):
        a, b = draw(st.sampled_from(used)), draw(st.sampled_from(used))
        if a == b:
            continue
        width = draw(st.sampled_from([0.25, 0.3, 0.5, 0.9]))
        shift = draw(st.sampled_from([0.0, 1.75]))
        corner = (b[0] + shift, a[1]) if draw(st.booleans()) else (a[0], b[1] + shift)
        path = list(dict.fromkeys([a, corner, b]))
        layers[draw(st.sampled_from("cs"))] += track(width, *path)
    holes = [(x, y, 0.8) for x, y in used]
    half = len(used) // 2
    states = [draw(st.sampled_from([PartState.SOLDERED, PartState.SOCKETED])) for _ in range(2)]
    parts = [
        part("U1", "c", [(str(k + 1), *used[k], k) for k in range(half)], state=states[0]),
        part(
            "U2", "c", [(str(k + 1), *used[half + k], half + k) for k in range(len(used) - half - 1)], state=states[1]
        ),
    ]
    return board(layers, holes, parts)


def facts(graph: CopperGraph) -> tuple[object, ...]:
    """What must not change when a board is moved: pins by net, sites by kind, resistances between the pins of each net."""
    nets = sorted(tuple(sorted(p.name for p in graph.pins if p.net == n)) for n in range(len(graph.net_names)))
    kinds = sorted(s.kind.value for s in graph.sites)
    proofs = sorted(len(view.provable_sites()) for view in all_views(graph).values())
    return nets, kinds, proofs


def pin_ohms(graph: CopperGraph) -> dict[tuple[str, str], float]:
    out = {}
    for n in range(len(graph.net_names)):
        names = sorted(p.name for p in graph.pins if p.net == n)
        ohms = all_pairs_ohm(graph, n, names) if names else np.zeros((0, 0))
        out |= {(a, b): float(ohms[i, j]) for i, a in enumerate(names) for j, b in enumerate(names)}
    return out


@settings(max_examples=40)
@given(
    boards(),
    st.sampled_from([0.0, 90.0, 180.0, 270.0, 33.0, 217.5]),
    st.booleans(),
    st.floats(-300, 300),
    st.floats(-300, 300),
)
def test_moving_turning_and_mirroring_change_nothing(
    made: Board, degrees: float, mirror: bool, dx: float, dy: float
) -> None:
    first, second = build_graph(made), build_graph(moved(made, degrees, dx, dy, mirror))
    assert facts(first) == facts(second)
    before, after = pin_ohms(first), pin_ohms(second)
    assert before.keys() == after.keys()
    for pair, ohm in before.items():
        assert after[pair] == pytest.approx(ohm, rel=1e-9, abs=1e-15)


def groups(graph: CopperGraph) -> dict[int, int]:
    """Node -> connected piece over all sites."""
    near: dict[int, set[int]] = {n: set() for n in range(graph.node_count)}
    for s in graph.sites:
        near[s.a].add(s.b)
        near[s.b].add(s.a)
    out: dict[int, int] = {}
    for start in near:
        todo = [] if start in out else [start]
        while todo:
            node = todo.pop()
            if node not in out:
                out[node] = start
                todo += near[node]
    return out


@settings(max_examples=40)
@given(boards(), st.randoms(use_true_random=False))
def test_taking_a_site_away_joins_nothing_and_a_wire_parts_nothing(made: Board, dice: object) -> None:
    graph = build_graph(made)
    before = groups(graph)
    if graph.sites:
        gone = dice.choice(graph.sites)  # type: ignore[attr-defined]
        after = groups(replace(graph, sites=tuple(s for s in graph.sites if s.id != gone.id), memo={}))
        assert all(before[a] == before[b] for a in before for b in (after[a],))
    ends = [p.id for p in graph.points if p.reachable]
    a, b = dice.choice(ends), dice.choice(ends)  # type: ignore[attr-defined]
    wired = worked(graph, wires=[PatchWire("e1", a, b)])
    after = groups(wired)
    assert all(after[x] == after[before[x]] for x in before)
    assert after[wired.point(a).node] == after[wired.point(b).node]


@settings(max_examples=30)
@given(boards(), st.randoms(use_true_random=False))
def test_swapping_the_tips_changes_no_ohms(made: Board, dice: object) -> None:
    graph = build_graph(made)
    ends = [p.id for p in graph.points]
    a, b = dice.choice(ends), dice.choice(ends)  # type: ignore[attr-defined]
    there, back = effective_ohm(graph, a, b).value, effective_ohm(graph, b, a).value
    assert there == back or there == pytest.approx(back, rel=1e-12)


@settings(max_examples=40)
@given(boards())
def test_the_graph_joins_exactly_what_the_islands_join(made: Board) -> None:
    graph = build_graph(made)
    piece = groups(graph)
    copper = [n for n, kind in enumerate(graph.node_kind) if kind in ("land", "sheet")]
    for a in copper:
        for b in copper:
            assert (piece[a] == piece[b]) == (graph.node_net[a] == graph.node_net[b])


@settings(max_examples=30)
@given(boards(), st.sampled_from(list(PartState)))
def test_part_states_change_no_copper(made: Board, state: PartState) -> None:
    base = build_graph(made)
    graph = worked(base, {"U1": state})
    copper = {s.id for s in base.sites if s.kind in (SiteKind.RUN, SiteKind.BARREL, SiteKind.SPOKE)}
    assert copper == {s.id for s in graph.sites if s.kind in (SiteKind.RUN, SiteKind.BARREL, SiteKind.SPOKE)}
    back = worked(graph, {"U1": made.part("U1").state})
    assert {p.id: p.reachable for p in back.points} == {p.id: p.reachable for p in base.points}
    assert facts(back) == facts(base)
    for net in range(len(base.net_names)):
        assert net_view(graph, net).pieces <= 1
