"""Two ways round: the reading of a stretch in a loop, whole and broken, by the closed form of a ring and by networkx on random meshes."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import numpy as np
import pytest

from coppermend.core.belief.examples import example_graph
from coppermend.core.belief.ohmic import FOUR_WIRE, two_wire
from coppermend.core.belief.ratio import chance_broken, fine_enough, ratio_readings, with_ohms_words


def test_a_ring_by_its_closed_form() -> None:
    """A ring of n equal sites: neighbours read (n - 1) / n of one site when whole, n - 1 sites when the one between them is broken: ratio n."""
    n, ohm = 6, 0.05
    graph = example_graph([(k, (k + 1) % n) for k in range(n)], range(n), ohms=ohm)
    found, none = ratio_readings(graph, 0)
    assert len(found) == n and none == ()
    for one in found:
        assert one.whole_ohm == pytest.approx(ohm * (n - 1) / n, rel=1e-9)
        assert one.broken_ohm == pytest.approx(ohm * (n - 1), rel=1e-9)
        assert one.ratio == pytest.approx(n, rel=1e-9)


def test_a_tree_has_none() -> None:
    assert ratio_readings(example_graph([(0, 1), (1, 2)], range(3)), 0) == ((), ())


@pytest.mark.parametrize("seed", range(6))
def test_random_meshes_against_networkx(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ends = [(int(rng.integers(0, k)), k) for k in range(1, 12)] + [(0, 7), (3, 11), (5, 9)]
    graph = example_graph(ends, [0, 2, 3, 5, 7, 8, 9, 11])
    graph = replace(
        graph,
        sites=tuple(
            replace(s, resistance_ohm=float(r))
            for s, r in zip(graph.sites, rng.uniform(0.01, 0.2, len(ends)), strict=True)
        ),
        memo={},
    )
    node = {p.id: p.node for p in graph.points}
    found, _ = ratio_readings(graph, 0, least=1.0)
    assert found
    for one in found:
        for gone, expected in (((), one.whole_ohm), (one.sites, one.broken_ohm)):
            outside = nx.MultiGraph()
            for site in graph.sites:
                if site.id not in gone:
                    outside.add_edge(site.a, site.b, weight=site.resistance_ohm)
            part = outside.subgraph(nx.node_connected_component(outside, node[one.point_a])).copy()
            assert nx.resistance_distance(part, node[one.point_a], node[one.point_b], weight="weight") == pytest.approx(
                expected, rel=1e-7
            )


def test_what_a_reading_says_and_when_a_meter_is_too_coarse() -> None:
    graph = example_graph([(k, (k + 1) % 4) for k in range(4)], range(4), ohms=0.02)
    one = ratio_readings(graph, 0)[0][0]  # 15 milliohm whole, 60 broken
    assert chance_broken(one, 0.06, 0.02, FOUR_WIRE) > 0.99 > 0.01 > chance_broken(one, 0.016, 0.02, FOUR_WIRE)
    assert fine_enough(one, FOUR_WIRE) and not fine_enough(one, two_wire(0.1))
    assert abs(chance_broken(one, 0.03, 0.02, two_wire(0.1)) - 0.02) < 0.02
    rows = with_ohms_words(graph, [("s0", "two ways", "look"), ("nowhere", "why", "what")])
    assert "when whole" in rows[0][2] and rows[0][2].endswith("; or look") and rows[1][2] == "what"


def test_copper_of_unsure_thickness_needs_values_further_apart() -> None:
    """0.1 ohm beside 0.06: whole 0.0375, broken 0.06. Three sd of 11.2 % of the whole value lie between them; of 28 % (spread 0.3) they do not."""
    graph = example_graph([(0, 1), (1, 2), (2, 0)], range(3))
    ohm = (0.1, 0.03, 0.03)
    graph = replace(
        graph, sites=tuple(replace(s, resistance_ohm=r) for s, r in zip(graph.sites, ohm, strict=True)), memo={}
    )
    sure = next(one for one in ratio_readings(graph, 0)[0] if one.sites == ("s0",))
    unsure = next(
        one for one in ratio_readings(replace(graph, copper_spread=0.3, memo={}), 0)[0] if one.sites == ("s0",)
    )
    assert (sure.whole_ohm, sure.broken_ohm) == pytest.approx((0.0375, 0.06))
    assert fine_enough(sure, FOUR_WIRE) and not fine_enough(unsure, FOUR_WIRE)
    scale = (
        0.04**2 + (0.1**2 - 0.04**2) * 9 + 0.05**2 + FOUR_WIRE.gain**2
    )  # temperature, thickness, the net's own, the meter
    variance = [scale * v**2 + FOUR_WIRE.variance for v in (0.0375, 0.06)]
    logs = [-0.5 * (0.05 - v) ** 2 / w - 0.5 * np.log(w) for v, w in zip((0.0375, 0.06), variance, strict=True)]
    assert chance_broken(unsure, 0.05, 0.5, FOUR_WIRE) == pytest.approx(1 / (1 + np.exp(logs[0] - logs[1])), rel=1e-6)
