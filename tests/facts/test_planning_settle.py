"""A break next to another possible one: the reading that tells them apart, against the plain enumerator (every break pattern, from the definition)."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from math import log

import pytest

from coppermend.core.belief.engine import CopperBelief, belief, prior_of
from coppermend.core.belief.enumerator import enumerate_breaks
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.copper.model import CopperGraph
from coppermend.core.planning.costs import CostTable, TipState, check_seconds
from coppermend.core.planning.localise import best_readings
from coppermend.core.planning.next import next_step
from coppermend.core.planning.risk import Risk, risk_of
from coppermend.core.planning.settle import ATTENTION_S, LEAST_NATS, best_across
from coppermend.core.planning.spans import confirmed, hinge

AREAS = (EXAMPLE_AREA,)
BASIS = Basis(damage_scales=(), open_scales=(), contact_shares=((0.05, 1.0),))
PLAIN = replace(BASIS, contact_shares=(), contact_bad=0.05)
"""The same suppositions as the enumerator takes them."""


def leg_land_spur() -> tuple[CopperGraph, list[Evidence]]:
    """A leg (p0), its land (p1) and the net behind a spur (p2, p3, p4): open from the leg into the net, the land once closed to it."""
    graph = example_graph([(0, 1), (1, 2), (2, 3), (2, 4)], [0, 1, 2, 3, 4], cold={2, 3})
    said = [("p0", "p2", "open"), ("p0", "p3", "open"), ("p0", "p4", "open"), ("p1", "p2", "closed")]
    return graph, [Evidence(str(k), a, b, s) for k, (a, b, s) in enumerate(said)]


@pytest.mark.parametrize("answer", ["open", "closed"])
def test_the_chance_after_a_reading_is_the_enumerators(answer: str) -> None:
    graph, said = leg_land_spur()
    now = belief(graph, AREAS, said, BASIS)
    prior = prior_of(graph, AREAS, BASIS)
    for a, b in combinations([p.id for p in graph.points], 2):
        then = enumerate_breaks(graph, prior, [*said, Evidence("?", a, b, answer)], PLAIN)
        assert now.chance_after(a, b, answer == "closed", [0]) == pytest.approx(float(then.sites[0]), abs=1e-9)


def test_a_leg_is_read_to_its_own_land_before_its_joint_is_named() -> None:
    """What an open reading adds to the odds of the joint, by the enumerator: most between leg and land, where the spur has no say."""
    graph, said = leg_land_spur()
    now = belief(graph, AREAS, said, BASIS)
    risk = risk_of(now)
    points = {p.id: p for p in graph.points}
    tips = TipState(points["p1"], points["p2"], "c")
    before = float(now.sites[0])
    wanted = max(log((1.0 - before) / (1.0 - BASIS.advice_above)), LEAST_NATS)
    prior = prior_of(graph, AREAS, BASIS)
    worth = {}
    for other in ("p1", "p2", "p3", "p4"):
        after = float(enumerate_breaks(graph, prior, [*said, Evidence("?", "p0", other, "open")], PLAIN).sites[0])
        nats = log(after / (1.0 - after)) - log(before / (1.0 - before))
        seconds = check_seconds(CostTable(), tips, points["p0"], points[other])[0]
        worth[other] = (nats, min(nats, wanted) / (seconds + ATTENTION_S))
    assert max(worth, key=lambda k: worth[k][0]) == "p1"
    number = risk.frame.super_of["s0"]
    sides = ([points["p0"]], [points[p] for p in ("p1", "p2", "p3", "p4")])
    chosen = best_across(now, risk, number, sides, CostTable(), tips, {}, any_pair=True)
    assert chosen is not None
    assert chosen.nats == pytest.approx(worth[chosen.b.id][0], abs=1e-9)
    assert worth[chosen.b.id][1] == pytest.approx(max(w for _, w in worth.values()), abs=1e-9)
    step = next_step(graph, AREAS, said, BASIS)
    assert step.check is not None
    assert {step.check.point_a, step.check.point_b} == {"p0", "p1"}


def _many_opens_and(closed: int) -> tuple[CopperBelief, Risk]:
    """p0 -s0- p1 -s1- p2 -s2- p3: twelve open readings across s0 and s1, s2 read closed twice, s0 ``closed`` times."""
    graph = example_graph([(0, 1), (1, 2), (2, 3)], [0, 0, 1, 2, 3])
    said = [Evidence(f"open {k}", ("p0", "p0b")[k % 2], ("p3", "p2")[k % 2], "open") for k in range(12)]
    said += [Evidence(f"far {k}", "p2", "p3", "closed") for k in range(2)]
    said += [Evidence(f"near {k}", "p0", "p1", "closed") for k in range(closed)]
    posterior = belief(graph, (EXAMPLE_AREA,), said, Basis(false_closed=0.004))
    return posterior, risk_of(posterior)


def test_a_break_is_not_named_while_one_closed_reading_alone_keeps_its_rival_out() -> None:
    """Common practice, no source: many open readings say that something on the way is broken, one closed reading that it is not the first stretch."""
    posterior, risk = _many_opens_and(1)
    number = int(risk.chance.argmax())
    assert posterior.basis.broken_above < risk.chance[number] < posterior.basis.advice_above
    found = hinge(posterior, risk, number)
    assert found is not None and {found.point_a, found.point_b} == {"p0", "p1"}
    assert not confirmed(posterior, risk, number)
    step = best_readings(posterior, risk, 0, CostTable(), TipState())
    assert [{c.a.id, c.b.id} for c in step] == [{"p0", "p1"}]
    posterior, risk = _many_opens_and(2)
    assert confirmed(posterior, risk, number)
    assert hinge(*_many_opens_and(3), number) is None
