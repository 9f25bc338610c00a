"""The policies that ours is compared with read exactly what their definitions say (docs/reference: commands, practice): no policy is made weak."""

from __future__ import annotations

import networkx as nx
import pytest

from coppermend.core.belief.engine import belief
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis
from coppermend.core.copper.model import CopperGraph
from coppermend.core.planning.costs import CostTable
from coppermend.practice.policies import POLICIES, Bench

ARMS = ((0, 1), (0, 2), (0, 3), (0, 4), (0, 5))
STAR = example_graph(ARMS, [1, 2, 3, 4, 5])
"""Five pins on one junction without a point, 2.54 mm apart in a row."""
CHAIN = example_graph(((0, 1), (1, 2), (2, 3), (3, 4)), [0, 1, 2, 3, 4])
"""Five pins in a row along one track."""


def readings(policy: str, graph: CopperGraph, broken: frozenset[str] = frozenset()) -> list[tuple[str, str, str]]:
    """What a policy reads on a truthful board, with the answers; the circuit is joined or not by networkx."""
    copper = nx.Graph()
    copper.add_nodes_from(range(graph.node_count))
    copper.add_edges_from((s.a, s.b) for s in graph.sites if s.id not in broken)
    areas = (EXAMPLE_AREA,)
    bench = Bench(graph, areas, Basis(), CostTable(), posterior=belief(graph, areas, (), Basis()))
    steps = POLICIES[policy](bench)
    said: list[tuple[str, str, str]] = []
    try:
        a, b = next(steps)
        while len(said) < 100:
            answer = "closed" if nx.has_path(copper, a.node, b.node) else "open"
            said.append((a.id, b.id, answer))
            a, b = steps.send(answer)
    except StopIteration:
        pass
    return said


def test_star_goes_from_one_pin_to_every_other_nearest_first() -> None:
    said = readings("star", STAR)
    assert len(said) == 4
    hubs = {a for a, _, _ in said}
    assert len(hubs) == 1
    assert {b for _, b, _ in said} == {"p1", "p2", "p3", "p4", "p5"} - hubs


def test_star_takes_the_pin_with_the_most_neighbours_as_hub() -> None:
    tree = example_graph(((0, 1), (1, 2), (1, 3), (3, 4)), [0, 1, 2, 3, 4])
    assert {a for a, _, _ in readings("star", tree)} == {"p1"}


def test_star_repeats_an_open_once_and_then_walks_towards_it() -> None:
    said = readings("star", CHAIN, frozenset({"s3"}))
    hub = said[0][0]
    opens = [one for one in said if one[2] == "open"]
    assert [one[:2] for one in opens[:2]] == [(hub, "p4")] * 2
    walked = said[said.index((hub, "p4", "open")) + 2 :]
    assert {one[1] for one in walked if one[2] == "closed"} >= {"p3"}


def test_chain_reads_neighbours_in_position_order() -> None:
    assert [one[:2] for one in readings("chain", CHAIN)] == [("p0", "p1"), ("p1", "p2"), ("p2", "p3"), ("p3", "p4")]


def test_pin_reads_each_pin_against_its_nearest() -> None:
    said = readings("pin", CHAIN)
    assert len(said) == 5
    assert all(abs(int(a[1:]) - int(b[1:])) == 1 for a, b, _ in said)


@pytest.mark.parametrize("graph", [STAR, CHAIN], ids=["star", "chain"])
def test_cover_reads_half_the_leaves_rounded_up(graph: CopperGraph) -> None:
    """ceil(L/2) paths cover a tree of L leaves: 3 for five arms, 1 for a row."""
    leaves = sum(d == 1 for _, d in nx.Graph((s.a, s.b) for s in graph.sites).degree)
    assert len(readings("cover", graph)) == (leaves + 1) // 2


@pytest.mark.parametrize("policy", ["star", "chain", "pin", "cover"])
def test_every_open_reading_is_repeated_once(policy: str) -> None:
    said = readings(policy, CHAIN, frozenset({"s1"}))
    opens = [i for i, one in enumerate(said) if one[2] == "open"]
    assert opens
    first = opens[0]
    assert said[first + 1] == said[first]
    assert said[first + 2 : first + 3] != [said[first]]


def test_cover_bisects_an_open_path_down_to_one_stretch() -> None:
    said = readings("cover", CHAIN, frozenset({"s1"}))
    assert ("p0", "p1", "closed") in said
    assert ("p0", "p2", "open") in said  # so it lies between p1 and p2, found with three pairs instead of four
    assert len({one[:2] for one in said}) == 3
