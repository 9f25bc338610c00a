"""The map may be wrong: Bayes by hand for single readings, boards that differ are noticed, boards that agree are not accused.

Outside values: Bayes' rule written out; pins swapped at random on a simulated other revision, answers drawn with 2 % false opens and 0.2 % false closeds.
"""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.core.belief.engine import belief, prior_of
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.maptrust import MAP_WRONG, MAP_WRONG_ONCE_CORRECTED, PIN_DIFFERS, p_map_wrong
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.copper.mapfix import MapFix, with_map_fixes
from coppermend.core.copper.model import CopperGraph
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.map_first import MOST, map_step, map_trust

BASIS, COSTS = Basis(), CostTable()


def many_nets(nets: int = 14, pins: int = 12) -> CopperGraph:
    """Nets in rows, untouched (all sites cold), pins of different parts."""
    from dataclasses import replace

    ends = [(pins * n + k, pins * n + k + 1) for n in range(nets) for k in range(pins - 1)]
    spots = [(5.0 * k, 80.0 + 3.0 * n) for n in range(nets) for k in range(pins)]
    graph = example_graph(
        ends, range(nets * pins), nets=[n for n in range(nets) for _ in range(pins)], spots=spots, cold=range(len(ends))
    )
    return replace(
        graph, points=tuple(replace(p, part=f"U{p.node % pins}", pin=str(p.net)) for p in graph.points), memo={}
    )


GRAPH = many_nets()


def trust(evidence: list[Evidence], graph: CopperGraph = GRAPH):  # type: ignore[no-untyped-def]
    return map_trust(graph, (EXAMPLE_AREA,), evidence, BASIS, COSTS)


def test_one_closed_reading_by_hand() -> None:
    check = trust([]).chosen[0]
    found = trust([Evidence("1", check.point_a, check.point_b, "closed")])
    sites = 11
    old = 1.0 - (1.0 - BASIS.prior_out) ** sites
    right = (1 - old) * (1 - BASIS.false_open) + old * BASIS.false_closed
    wrong = np.mean([(1 - q) ** 2 * right + (1 - (1 - q) ** 2) * BASIS.false_closed for q in PIN_DIFFERS])
    assert found.p_wrong == pytest.approx(MAP_WRONG * wrong / (MAP_WRONG * wrong + (1 - MAP_WRONG) * right), rel=1e-9)


def test_at_most_eight_checks_outside_the_work_areas_on_different_parts() -> None:
    found = trust([]).chosen
    assert len(found) == MOST
    assert len({c.net_a for c in found}) == MOST
    node = {p.id: p for p in GRAPH.points}
    assert all(node[c.point_a].part != node[c.point_b].part for c in found)
    inside = example_graph([(0, 1)], [0, 1])  # lies in the work area
    assert map_trust(inside, (EXAMPLE_AREA,), (), BASIS, COSTS).chosen == ()


def ask(rng: np.random.Generator, moved: set[tuple[int, str]]) -> tuple[float, int]:
    """Follow the steps on a board on which these (net, part) pins hang elsewhere; P(map wrong) and readings at the end."""
    node = {p.id: p for p in GRAPH.points}
    said: list[Evidence] = []
    for n in range(30):
        now = trust(said)
        step = map_step(now, GRAPH)
        if step is None or step.check is None:
            return now.p_wrong, n
        a, b = node[step.check.point_a], node[step.check.point_b]
        joined = not {(a.net, a.part), (b.net, b.part)} & moved
        closed = rng.random() >= 0.02 if joined else rng.random() < 0.002
        said.append(Evidence(str(n), a.id, b.id, "closed" if closed else "open"))
    return trust(said).p_wrong, 30


def test_the_right_board_is_trusted_and_another_board_is_noticed() -> None:
    right = [ask(np.random.default_rng(seed), set()) for seed in range(40)]
    assert sum(p < 0.03 for p, _ in right) >= 36
    assert max(p for p, _ in right) < 0.9
    assert np.mean([n for _, n in right]) < 9.5
    every = [(p.net, p.part) for p in GRAPH.points]
    for share, least in (
        (0.30, 36),
        (0.15, 22),
    ):  # two of eight must differ: binomial with 1 - (1 - share)^2 gives 98 % and 70 %
        noticed = 0
        for seed in range(40):
            rng = np.random.default_rng(1000 + seed)
            moved = {every[k] for k in rng.choice(len(every), int(share * len(every)), replace=False)}
            noticed += ask(rng, moved)[0] > 0.5
        assert noticed >= least


def test_a_contradiction_later_raises_it_again_and_order_does_not_matter() -> None:
    checks = trust([]).chosen
    agree = [Evidence(str(k), c.point_a, c.point_b, "closed") for k, c in enumerate(checks)]
    low = trust(agree).p_wrong
    odd = [Evidence(f"x{k}", f"p{12 * 9 + 1}", f"p{12 * 9 + 10}", "open") for k in range(2)]
    high = trust([*agree, *odd])
    assert low < 0.02 < 2 * low < high.p_wrong
    assert trust([*odd, *reversed(agree)]).p_wrong == pytest.approx(high.p_wrong, rel=1e-9)
    bridged = trust([*agree, Evidence("y", "p3", "p15", "closed")])
    assert bridged.p_wrong > low and bridged.contradictions[0].joined is False
    assert map_step(bridged, GRAPH).check.purpose == "isolation"  # type: ignore[union-attr]


def test_no_reading_is_the_prior() -> None:
    assert trust([]).p_wrong == pytest.approx(MAP_WRONG)
    assert p_map_wrong((), 0.3) == pytest.approx(0.3)


def test_a_corrected_map_is_judged_as_corrected_and_trusted_less_elsewhere() -> None:
    """Copper between two nets that the map lacks: before the correction a closed reading there contradicts; after it, it agrees; Bayes' odds start at 0.3."""
    said = [Evidence(str(k), "p0", "p12", "closed") for k in range(2)]
    before = trust(said)
    assert [(r.point_a, r.point_b) for r in before.contradictions] == [("p0", "p12")]
    fixed = with_map_fixes(GRAPH, [MapFix("e", "joined", "p0", "p12")])
    after = map_trust(fixed, (EXAMPLE_AREA,), said, BASIS, COSTS, before=MAP_WRONG_ONCE_CORRECTED)
    assert after.contradictions == ()
    assert after.state == "open" and after.p_wrong > MAP_WRONG
    assert prior_of(fixed, (EXAMPLE_AREA,), BASIS)[-1] == BASIS.prior_out  # no patch wire: copper as old as the rest


def test_a_pin_taken_off_its_net_leaves_the_others_joined() -> None:
    """Pin at the third node of a row: beyond it nothing hangs on the first two any more; the pin itself is on nothing."""
    fixed = with_map_fixes(GRAPH, [MapFix("e", "apart", "p2")])
    lost = {s.id for s in GRAPH.sites} - {s.id for s in fixed.sites}
    assert lost == {"s1", "s2"}
    assert belief(fixed, (EXAMPLE_AREA,), [], BASIS).joined("p0", "p1") > 0.9
    assert belief(fixed, (EXAMPLE_AREA,), [], BASIS).joined("p2", "p1") < 0.01


def test_a_correction_at_a_point_that_is_not_there_is_said() -> None:
    fixed = with_map_fixes(GRAPH, [MapFix("e", "joined", "p0", "nowhere")])
    assert [f.code for f in fixed.findings[len(GRAPH.findings) :]] == ["GRF-013"]
    assert fixed.sites == GRAPH.sites
