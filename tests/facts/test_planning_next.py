"""The next step on small nets: following up, lying readings, several breaks, cut-off fragments, advice to solder, stopping early."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from coppermend.core.belief.engine import belief
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.copper.model import CopperGraph
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.isolation import Neighbours
from coppermend.core.planning.localise import information
from coppermend.core.planning.model import NextStep
from coppermend.core.planning.next import next_step, tips_at
from coppermend.core.planning.risk import risk_of
from coppermend.core.planning.round import plan_round
from coppermend.core.planning.spans import not_proven, spans
from coppermend.core.units import chance_words

AREAS = (EXAMPLE_AREA,)
BASIS = Basis()


def row(sites: int, points_per_node: int = 1) -> CopperGraph:
    """Sites in a row with ``points_per_node`` points at each node."""
    terminals = [n for n in range(sites + 1) for _ in range(points_per_node)]
    return example_graph([(k, k + 1) for k in range(sites)], terminals)


def bench(
    graph: CopperGraph, broken: set[str], lies: Callable[[int], bool] = lambda n: False, most: int = 60
) -> tuple[list[Evidence], NextStep]:
    """Answer every check truthfully (but the n-th where ``lies(n)``) until no more is asked; the readings and the last step."""
    node = {p.id: p.node for p in graph.points}
    root = list(range(graph.node_count))

    def find(n: int) -> int:
        while root[n] != n:
            n = root[n]
        return n

    for s in graph.sites:
        if s.id not in broken:
            root[find(s.a)] = find(s.b)
    evidence: list[Evidence] = []
    for n in range(most):
        step = next_step(graph, AREAS, evidence, BASIS)
        if step.check is None:
            return evidence, step
        joined = find(node[step.check.point_a]) == find(node[step.check.point_b])
        said = "closed" if joined != lies(n) else "open"
        evidence.append(Evidence(str(n), step.check.point_a, step.check.point_b, said))
    raise AssertionError(f"still asking after {most} checks")


def test_a_sound_net_takes_exactly_its_bound() -> None:
    evidence, last = bench(row(8), set())
    assert len(evidence) == 1
    assert last.kind == "done"


def test_a_break_is_narrowed_to_its_span_and_named_in_words() -> None:
    graph = row(8, 2)
    evidence, last = bench(graph, {"s5"})
    assert last.kind == "patch"
    assert last.span is not None and last.span.sites == ("s5",)
    assert last.span.p > BASIS.broken_above
    assert "site 5" in last.words
    assert last.span.path == (("c", graph.sites[5].path),)
    assert len(evidence) <= 1 + 9  # one check finds it; log2(8) = 3 halvings, the rest confirms


def test_two_breaks_in_one_net_are_both_found() -> None:
    graph = row(8, 2)
    evidence, _ = bench(graph, {"s1", "s6"})
    found = spans(graph, belief(graph, AREAS, evidence, BASIS), BASIS)
    assert {s.sites for s in found} == {("s1",), ("s6",)}


def test_one_lying_open_is_read_again_and_costs_no_wire() -> None:
    evidence, last = bench(row(6, 2), set(), lies=lambda n: n == 0)
    assert last.kind == "done"
    assert 2 <= len(evidence) <= 4  # two halves closed clear it, or the whole once more


def test_one_lying_open_in_the_search_does_not_name_a_sound_stretch() -> None:
    for when in range(1, 7):
        graph = row(8, 2)
        evidence, _ = bench(graph, {"s5"}, lies=lambda n, when=when: n == when)  # type: ignore[misc]
        found = spans(graph, belief(graph, AREAS, evidence, BASIS), BASIS)
        assert [s.sites for s in found] == [("s5",)]


def test_advice_to_solder_needs_two_readings_that_share_no_point() -> None:
    """However often one pair reads open, the advice waits for another pair while other points exist."""
    graph = row(1, 2)
    sure = Basis(contact_shares=(), damage_scales=(), open_scales=(), contact_bad=0.0)
    same = [Evidence(str(k), "p0", "p1", "open") for k in range(4)]
    posterior = belief(graph, AREAS, same, sure)
    assert posterior.p("s0") > sure.broken_above
    assert spans(graph, posterior, sure) == ()
    step = next_step(graph, AREAS, same, sure)
    assert step.check is not None and {step.check.point_a, step.check.point_b} == {"p0b", "p1b"}
    more = [*same, Evidence("x", "p0b", "p1b", "open")]
    assert [s.sites for s in spans(graph, belief(graph, AREAS, more, sure), sure)] == [("s0",)]


def test_where_there_are_no_other_points_a_repeated_reading_may_confirm() -> None:
    graph = row(1)
    sure = Basis(contact_shares=(), damage_scales=(), open_scales=(), contact_bad=0.0)
    said = [Evidence(str(k), "p0", "p1", "open") for k in range(4)]
    assert [s.sites for s in spans(graph, belief(graph, AREAS, said, sure), sure)] == [("s0",)]


def test_a_fragment_cut_off_on_all_sides_is_stated_and_not_asked_for_ever() -> None:
    """A junction without a point, three ways out of it; two are broken, so nothing can be said of the third."""
    graph = example_graph([(0, 1), (0, 2), (0, 3)], [1, 1, 2, 2, 3, 3])
    evidence, last = bench(graph, {"s0", "s1"}, most=80)
    assert len(evidence) < 40
    assert last.notes
    assert any("read again after the repair" in n for n in last.notes)


def test_a_point_that_cannot_be_reached_is_not_asked_for() -> None:
    graph = row(3, 2)
    step = next_step(graph, AREAS, (), BASIS, skipped={"p0"})
    assert step.check is not None
    assert "p0" not in (step.check.point_a, step.check.point_b)
    assert {step.check.point_a, step.check.point_b} & {"p0b"}


def test_with_every_point_beyond_out_of_reach_the_site_is_listed_as_not_provable() -> None:
    graph = row(3)
    plan = plan_round(graph, AREAS, (), BASIS, skipped={"p0"})
    (one,) = plan.unprovable
    assert one[0] == "s0"
    assert "could not be reached" in one[1]


def test_the_reason_says_what_it_clears_and_what_it_costs() -> None:
    step = next_step(row(4), AREAS, (), BASIS)
    assert "4 sites in doubt" in step.reason and "5 s" in step.reason
    assert step.seconds == 5.0  # two tips placed (2 s each) and one reading (1 s): the shared bench table
    assert 0.0 < step.gain_bits < 1.0


def test_stopping_early_says_what_is_not_proven() -> None:
    graph = example_graph([(0, 1), (2, 3)], [0, 1, 2, 3], nets=[0, 0, 1, 1])
    posterior = belief(graph, AREAS, (Evidence("1", "p0", "p1", "closed"),), BASIS)
    (line,) = not_proven(graph, posterior, BASIS)
    assert line.startswith("net N1, site 1: not proven")


def test_isolation_comes_after_continuity_adjacent_pins_first_and_a_short_is_confirmed_before_it_is_named() -> None:
    graph = example_graph([(0, 1), (2, 3), (4, 5)], [0, 1, 2, 3, 4, 5], nets=[0, 0, 1, 1, 2, 2])
    near = (
        Neighbours(0, 1, "p1", "p2", 0.4, "track and track"),
        Neighbours(1, 2, "p3", "p4", 0.9, "adjacent soldered pins"),
    )
    proven = [Evidence(str(k), a, b, "closed") for k, (a, b) in enumerate([("p0", "p1"), ("p2", "p3"), ("p4", "p5")])]
    step = next_step(graph, AREAS, proven, BASIS, neighbours=near)
    assert step.kind == "isolation"
    assert step.check is not None and {step.check.point_a, step.check.point_b} == {"p3", "p4"}
    once = [*proven, Evidence("s1", "p3", "p4", "closed")]
    again = next_step(graph, AREAS, once, BASIS, neighbours=near)
    assert again.kind == "retest"
    for k in range(3):
        once.append(Evidence(f"t{k}", "p3", "p4", "closed"))
    assert next_step(graph, AREAS, once, BASIS, neighbours=near).kind == "short"


def test_after_the_round_the_gate_holds_the_power_up() -> None:
    proven = (Evidence("1", "p0", "p2", "closed"),)
    graph = row(2)
    assert next_step(graph, AREAS, proven, BASIS, gate=("measure the rails to ground",)).kind == "gate"
    assert next_step(graph, AREAS, proven, BASIS, gate=()).kind == "power"


@pytest.mark.parametrize(
    ("move", "seconds"),
    [((2.54, 0.0), 2.0), ((10.0, 0.0), 3.0), ((30.0, 0.0), 5.0)],
    ids=["neighbour pin", "elsewhere", "further than 25 mm"],
)
def test_seconds_of_moving_one_tip_are_those_of_the_bench_table(move: tuple[float, float], seconds: float) -> None:
    """Shared bench table: reading 1, one tip 2, at most 3 mm 1, further than 25 mm +2."""
    graph = example_graph([(0, 1), (1, 2)], [0, 1, 2], spots=[(0.0, 0.0), (100.0, 0.0), move])
    by = {p.id: p for p in graph.points}
    got, _ = check_seconds(CostTable(), TipState(by["p0"], by["p1"]), by["p2"], by["p1"])
    assert got == seconds


def test_turning_the_board_and_mixed_sides_cost_what_the_table_says() -> None:
    """Turning 20 + both tips anew 4 + reading 1; mixed sides + 6."""
    from dataclasses import replace

    graph = row(2)
    a, b, c = graph.points
    under = replace(a, id="ua", side="s"), replace(b, id="ub", side="s")
    assert check_seconds(CostTable(), TipState(a, b), *under)[0] == 25.0
    assert check_seconds(CostTable(), TipState(), a, under[1])[0] == 1 + 4 + 6
    assert tips_at(graph, a.id, c.id).a == a


def test_information_equals_the_difference_of_entropies_by_hand() -> None:
    """pi = 0.3, a = 0.98, b = 0.002: H(answer) - H(answer | joined), summed by hand."""

    def h(p: float) -> float:
        return float(-p * np.log2(p) - (1 - p) * np.log2(1 - p))

    mixed = 0.3 * 0.98 + 0.7 * 0.002
    assert float(information(0.3, 0.98, 0.002)) == pytest.approx(h(mixed) - 0.3 * h(0.98) - 0.7 * h(0.002), rel=1e-12)


def test_an_open_over_sites_likely_broken_from_the_start_is_followed_up_not_asked_for_ever() -> None:
    """Three sites of prior 0.25 and an open over all: each rises to 0.25 / (1 - 0.75^3) = 0.43 only, and yet the next check must split them."""
    graph = example_graph([(0, 1), (1, 2), (2, 3)], [0, 1, 2, 3])
    sure = Basis(
        prior_in={**Basis().prior_in, "run": 0.25},
        false_open=0.0,
        false_closed=0.0,
        contact_bad=0.0,
        contact_shares=(),
        damage_scales=(),
        open_scales=(),
    )
    step = next_step(graph, (EXAMPLE_AREA,), (Evidence("1", "p0", "p3", "open"),), sure)
    assert step.check is not None
    assert {step.check.point_a, step.check.point_b} != {"p0", "p3"}
    assert "splits" in step.reason


def test_a_reason_never_claims_certainty() -> None:
    """A break read open again and again is "more than 99.9 %" sure, not "100.0 %": readings can all lie (the belief itself stays below 1)."""
    graph = row(1, points_per_node=4)
    ends = [[p.id for p in graph.points if p.node == node] for node in (0, 1)]
    evidence = [Evidence(f"{a}{b}", a, b, "open") for a in ends[0] for b in ends[1]]
    step = next_step(graph, AREAS, evidence, BASIS)
    assert step.kind == "patch"
    assert step.span is not None and 0.9995 < step.span.p < 1.0
    assert step.reason.startswith("more than 99.9 % sure")


@pytest.mark.parametrize(("opens", "kind"), [(10, "retest"), (12, "retest"), (14, "patch")])
def test_opens_through_one_point_have_to_make_it_as_sure_as_any_other(opens: int, kind: str) -> None:
    """All through the only point of one end: an oxidised one reads open 31 times of 100 where the copper is whole (0.02 and 0.3 together), so ten or twelve of
    them are no rarity among thousands of points: no number of them is enough by itself, the belief has to be above ``advice_above``.
    """
    graph = example_graph([(0, 1)], [0, 1, 1, 1, 1])
    left, *right = [p.id for p in graph.points]
    evidence = [Evidence(str(k), left, right[k % 4], "open") for k in range(opens)]
    chance = float(risk_of(belief(graph, AREAS, evidence, Basis())).chance[0])
    assert chance > Basis().broken_above
    assert (chance > Basis().advice_above) == (kind == "patch")
    assert next_step(graph, AREAS, evidence, Basis()).kind == kind


def test_a_break_known_through_one_point_alone_says_so() -> None:
    """Fourteen opens across one site, all through the only point of its left end, are no two witnesses; with two points on either end they are."""
    alone = example_graph([(0, 1)], [0, 1, 1, 1, 1])
    left, *right = [p.id for p in alone.points]
    evidence = [Evidence(str(k), left, right[k % 4], "open") for k in range(14)]
    step = next_step(alone, AREAS, evidence, Basis())
    assert step.kind == "patch"
    assert "14 open readings" in step.reason and "independent" not in step.reason
    (note,) = (n for n in step.notes if "before you solder" in n)
    assert note.startswith("All 14 open readings across it went through X1.0 (leg), component side")
    both = row(1, points_per_node=4)
    ends = [[p.id for p in both.points if p.node == node] for node in (0, 1)]
    known = next_step(both, AREAS, [Evidence(a + b, a, b, "open") for a in ends[0] for b in ends[1]], Basis())
    assert known.kind == "patch"
    assert "two independent readings" in known.reason
    assert not any("before you solder" in n for n in known.notes)


@pytest.mark.parametrize("decimals", [0, 1, 2])
def test_chances_in_words_lie_on_the_right_side(decimals: int) -> None:
    for p in [*np.linspace(0.0, 1.0, 2001), 1e-9, 1 - 1e-9, 0.99949, 0.9995, 0.00049]:
        words = chance_words(float(p), decimals)
        number = float(words.split()[-2])
        assert 0 < number < 100
        if words.startswith("more than"):
            assert 100 * p > number
        elif words.startswith("less than"):
            assert 100 * p < number
        else:
            assert abs(100 * p - number) <= 0.5 * 10**-decimals + 1e-9
