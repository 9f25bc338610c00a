"""What must hold of every belief: order, swapped tips, new numbers for nodes, a site split in two, undo, and what a closed reading can do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.core.belief.engine import CopperBelief, belief
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site

AREAS = (EXAMPLE_AREA,)


@st.composite
def cases(draw: st.DrawFn) -> tuple[CopperGraph, tuple[Evidence, ...]]:
    """A connected graph of up to nine sites with up to two rings, and up to seven readings on it."""
    nodes = draw(st.integers(2, 8))
    ends = [(draw(st.integers(0, k - 1)), k) for k in range(1, nodes)]
    for _ in range(draw(st.integers(0, 2))):
        a, b = draw(st.integers(0, nodes - 1)), draw(st.integers(0, nodes - 1))
        if a != b:
            ends.append((a, b))
    cold = draw(st.sets(st.integers(0, len(ends) - 1)))
    graph = example_graph(ends, list(range(nodes)), cold=cold)
    names = [p.id for p in graph.points]
    count = draw(st.integers(1, 7))
    readings = tuple(
        Evidence(
            str(i),
            draw(st.sampled_from(names)),
            draw(st.sampled_from(names)),
            draw(st.sampled_from(["closed", "open"])),
        )
        for i in range(count)
    )
    return graph, readings


def same(a: CopperBelief, b: CopperBelief) -> bool:
    return bool(np.abs(a.sites - b.sites).max() <= 1e-12) and abs(a.log_evidence - b.log_evidence) <= 1e-9


@settings(max_examples=60)
@given(cases(), st.randoms(use_true_random=False))
def test_the_order_of_independent_readings_changes_nothing(
    case: tuple[CopperGraph, tuple[Evidence, ...]], rnd: object
) -> None:
    graph, readings = case
    shuffled = list(readings)
    rnd.shuffle(shuffled)  # type: ignore[attr-defined]
    assert same(belief(graph, AREAS, readings, Basis()), belief(graph, AREAS, shuffled, Basis()))


@settings(max_examples=60)
@given(cases())
def test_swapping_the_tips_changes_nothing(case: tuple[CopperGraph, tuple[Evidence, ...]]) -> None:
    graph, readings = case
    swapped = [replace(e, point_a=e.point_b, point_b=e.point_a) for e in readings]
    assert same(belief(graph, AREAS, readings, Basis()), belief(graph, AREAS, swapped, Basis()))


@settings(max_examples=60)
@given(cases(), st.randoms(use_true_random=False))
def test_new_numbers_for_the_nodes_change_nothing(case: tuple[CopperGraph, tuple[Evidence, ...]], rnd: object) -> None:
    graph, readings = case
    new = list(range(graph.node_count))
    rnd.shuffle(new)  # type: ignore[attr-defined]
    old = sorted(range(len(new)), key=new.__getitem__)
    renamed = replace(
        graph,
        sites=tuple(replace(s, a=new[s.a], b=new[s.b]) for s in graph.sites),
        points=tuple(replace(p, node=new[p.node]) for p in graph.points),
        node_place=tuple(graph.node_place[o] for o in old),
        memo={},
    )
    assert same(belief(graph, AREAS, readings, Basis()), belief(renamed, AREAS, readings, Basis()))


@settings(max_examples=60)
@given(cases(), st.integers(0, 100))
def test_splitting_a_site_in_two_in_series_changes_no_other_site(
    case: tuple[CopperGraph, tuple[Evidence, ...]], which: int
) -> None:
    """Halves with prior 1 - sqrt(1 - p) each: the chance that one of them is broken is the old site's, before and after the readings."""
    graph, readings = case
    k = which % len(graph.sites)
    whole = belief(graph, AREAS, readings, Basis())
    p = float(whole.prior[k])
    half = 1.0 - (1.0 - p) ** 0.5
    site = graph.sites[k]
    middle = graph.node_count
    first = replace(site, b=middle)
    second = replace(site, id="second half", a=middle)
    split = replace(
        graph,
        node_net=(*graph.node_net, 0),
        node_place=(*graph.node_place, (0.0, 0.0, "c")),
        node_kind=(*graph.node_kind, "junction"),
        sites=(*graph.sites[:k], first, *graph.sites[k + 1 :], second),
        memo={},
    )
    basis = with_priors({first.id: half, second.id: half}, split, whole)
    parts = belief(*basis, readings, Basis())
    others = [i for i in range(len(graph.sites)) if i != k]
    assert np.abs(parts.sites[others] - whole.sites[others]).max(initial=0.0) <= 1e-12
    assert len(parts.scales) == len(whole.scales)
    for one, other in zip(parts.scales, whole.scales, strict=True):
        assert abs(one.weight - other.weight) <= 1e-9
        assert abs(one.sites[k] / one.prior[k] - other.sites[k] / other.prior[k]) <= 1e-9
    assert abs(parts.log_evidence - whole.log_evidence) <= 1e-9


def with_priors(
    special: dict[str, float], graph: CopperGraph, like: CopperBelief
) -> tuple[CopperGraph, tuple[object, ...]]:
    """The graph and areas whose priors are those of ``like``, with the ``special`` ones: through the prior cache, the one door for it."""
    from coppermend.core.belief import engine

    prior = np.array(
        [
            special.get(s.id, like.prior[like.copper.site[s.id]] if s.id in like.copper.site else 0.0)
            for s in graph.sites
        ]
    )
    engine._PRIORS[(id(graph), AREAS, repr(Basis()))] = (graph, prior)
    return graph, AREAS


@settings(max_examples=60)
@given(cases(), st.integers(0, 100), st.integers(0, 100))
def test_a_closed_reading_never_raises_a_site_on_its_only_way(
    case: tuple[CopperGraph, tuple[Evidence, ...]], a: int, b: int
) -> None:
    graph, readings = case
    names = [p.id for p in graph.points]
    one = Evidence("new", names[a % len(names)], names[b % len(names)], "closed")
    before, after = belief(graph, AREAS, readings, Basis()), belief(graph, AREAS, (*readings, one), Basis())
    copper = before.copper
    for block, _, _ in copper.tree.route(copper.points[one.point_a].node, copper.points[one.point_b].node):
        if len(copper.block_sites[block]) == 1:
            k = copper.block_sites[block][0]
            assert after.sites[k] <= before.sites[k] + 1e-12


@settings(max_examples=40)
@given(cases())
def test_taking_a_reading_back_restores_the_belief_bit_for_bit(case: tuple[CopperGraph, tuple[Evidence, ...]]) -> None:
    graph, readings = case
    before = belief(graph, AREAS, readings[:-1], Basis())
    belief(graph, AREAS, readings, Basis())
    fresh = replace(graph, memo={})
    again = belief(fresh, AREAS, readings[:-1], Basis())
    assert before.sites.tobytes() == again.sites.tobytes()
    assert before.log_evidence == again.log_evidence


@settings(max_examples=40)
@given(cases(), st.floats(0.0, 0.9), st.floats(0.0, 0.09))
def test_no_rates_give_a_number_that_is_none(
    case: tuple[CopperGraph, tuple[Evidence, ...]], false_open: float, false_closed: float
) -> None:
    graph, readings = case
    got = belief(graph, AREAS, readings, Basis(false_open=false_open, false_closed=false_closed))
    assert np.isfinite(got.sites).all()
    assert ((got.sites >= 0.0) & (got.sites <= 1.0)).all()


def test_types_used_here_are_the_models() -> None:
    """The strategies build the contract's own types."""
    graph = example_graph([(0, 1)], [0, 1])
    assert isinstance(graph.sites[0], Site) and isinstance(graph.points[0], ProbePoint)
