"""Clipped leads and checks beyond the fewest: only where the table of seconds makes them cheaper, against sums by hand and every choice tried."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.planning.clips import Pair, order_with_clips, with_clips
from coppermend.core.planning.costs import CostTable, TipState, check_seconds, clip_lead
from coppermend.core.planning.isolation import Neighbours
from coppermend.core.planning.next import next_step
from coppermend.core.planning.round import plan_round

TABLE = CostTable()


def at(name: str, node: int, x_mm: float, side: str = "c") -> ProbePoint:
    """A probe point on a line."""
    return ProbePoint(name, node, 0, x_mm, 0.0, side)


def every_choice(pairs: list[Pair], tips: TipState) -> float:
    """Least seconds over every way to clip or not at each check: 3 choices a check."""
    least = float("inf")
    for choice in product((None, 0, 1), repeat=len(pairs)):
        total, here = 0.0, tips
        for pair, held in zip(pairs, choice, strict=True):
            if held is not None and here.clip != pair[held].id:
                spent, here = clip_lead(TABLE, here, pair[held])
                total += spent
            spent, here = check_seconds(TABLE, here, *pair)
            total += spent
        least = min(least, total)
    return least


def test_a_point_above_with_many_partners_below_is_clipped_and_the_sum_is_that_of_the_table() -> None:
    """By hand (docs/reference/constants.md): clip 8, turn 20, then 2 + 1, and 1 + 1 for each next pin 2.54 mm on; by hand each costs 6 more."""
    hub = at("hub", 0, 0.0)
    pairs = [(hub, at(f"s{k}", k + 1, 2.54 * k, "s")) for k in range(10)]
    stops = with_clips(pairs, TABLE, TipState())
    assert sum(s.seconds for s in stops) == pytest.approx(8 + 20 + 3 + 9 * 2)
    assert [s.clip_now for s in stops] == [True] + [False] * 9
    assert {s.clip for s in stops} == {"hub"} and stops[0].turned and not stops[1].turned
    few = with_clips(pairs[:3], TABLE, TipState())
    assert {s.clip for s in few} == {""}
    assert sum(s.seconds for s in few) == pytest.approx((4 + 6 + 1) + 2 * (1 + 6 + 1))


def test_on_one_side_a_lead_is_never_clipped_under_the_default_table() -> None:
    """A tip that stays costs nothing by hand either."""
    hub = at("hub", 0, 0.0)
    pairs = [(hub, at(f"p{k}", k + 1, 30.0 * k + 5.0)) for k in range(12)]
    assert {s.clip for s in order_with_clips(pairs, TABLE, TipState())[1]} == {""}


@pytest.mark.parametrize("seed", range(12))
def test_for_a_given_order_no_choice_of_clips_is_cheaper(seed: int) -> None:
    """Five checks with random ends on both sides, against every choice."""
    rng = np.random.default_rng(seed)
    points = [at(f"q{k}", k, float(rng.uniform(0, 60)), "cs"[int(rng.integers(2))]) for k in range(4)]
    pairs = [(points[0], points[int(rng.integers(1, 4))]) for _ in range(5)]
    start = TipState()
    assert sum(s.seconds for s in with_clips(pairs, TABLE, start)) == pytest.approx(every_choice(pairs, start))


def test_isolation_round_and_next_step_say_where_the_lead_is_clipped() -> None:
    """Twelve nets below, one above: the words of the step name the point once, then that the lead stays."""
    nets = 13
    graph = example_graph(
        [(2 * k, 2 * k + 1) for k in range(nets)], list(range(2 * nets)), nets=[k // 2 for k in range(2 * nets)]
    )
    points = tuple(
        replace(p, x_mm=2.54 * p.net, y_mm=float(p.node % 2), side="c" if p.net == 0 else "s") for p in graph.points
    )
    graph = replace(graph, points=points, memo={})
    first = {p.net: p.id for p in reversed(graph.points)}
    pairs = [Neighbours(0, k, first[0], first[k], 0.4, "pins") for k in range(1, nets)]
    plan = plan_round(graph, (), (), Basis(), neighbours=pairs)
    assert {c.clip for c in plan.isolation} == {first[0]}
    assert [c.clip_now for c in plan.isolation].count(True) == 1
    step = next_step(graph, (), (), Basis(), neighbours=pairs)
    assert step.words.startswith(f"Clip a lead on {first[0]} and leave it.")


def star(arms: int) -> CopperGraph:
    """A net of ``arms`` ends: one far off, the rest in a row of neighbouring pins."""
    graph = example_graph([(0, k) for k in range(1, arms + 1)], list(range(1, arms + 1)))
    points = tuple(replace(p, x_mm=100.0 if p.node == 1 else 2.54 * p.node, y_mm=0.0) for p in graph.points)
    return replace(graph, points=points, memo={})


def test_checks_beyond_the_fewest_are_taken_where_they_save_seconds_and_the_saving_is_printed() -> None:
    """With far moves at 60 s a tip is held on the far end; under the default table the fewest checks stand (certificate)."""
    net = star(4)
    usual = plan_round(net, (EXAMPLE_AREA,), (), Basis())
    assert (len(usual.checks), usual.bound, usual.excess, usual.excess_saves_s) == (2, 2, 0, 0.0)
    far = CostTable(far_s=60.0)
    plan = plan_round(net, (EXAMPLE_AREA,), (), Basis(), far)
    assert (plan.bound, plan.excess) == (2, 1)
    assert plan.excess_saves_s >= 5.0
    assert {s for c in plan.checks for s in c.sites} == {s.id for s in net.sites}
    assert "one tip stays" in plan.checks[0].reason
