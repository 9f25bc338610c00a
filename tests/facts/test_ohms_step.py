"""``next`` and ohms: the reading it names settles a way round; a coarse meter is refused; somebody without a meter is not held up."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coppermend.core.belief.engine import belief
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.belief.ohmic import FOUR_WIRE, Instrument, two_wire
from coppermend.core.planning.costs import CostTable, TipState
from coppermend.core.planning.ohms_step import MOST_TIMES, OhmsWork, ohms_work
from coppermend.core.planning.risk import risk_of
from coppermend.core.planning.spans import spans

GRAPH = example_graph([(0, 1), (1, 2), (2, 0), (2, 3)], [0, 1, 2, 3], ohms=0.05)
BASIS = Basis()


def work(said: list[Evidence], meter: Instrument | None = FOUR_WIRE) -> OhmsWork:
    now = belief(GRAPH, (EXAMPLE_AREA,), said, BASIS)
    return ohms_work(now, risk_of(now), meter, CostTable(), TipState())


def taken(said: list[Evidence], ohm: float) -> list[Evidence]:
    check = work(said).step.check  # type: ignore[union-attr]
    assert check is not None
    return [*said, Evidence(str(len(said)), check.point_a, check.point_b, "ohms", ohm, instrument=FOUR_WIRE)]


def test_the_values_named_are_those_of_ohms_law_and_the_reading_settles_the_way() -> None:
    """Across one of three equal stretches in a ring: 50 x 100 / 150 milliohm when whole, 100 when it is broken."""
    step = work([]).step
    assert step is not None and step.check is not None
    assert step.check.expected_ohm == pytest.approx(0.05 * 0.10 / 0.15)
    assert "33" in step.reason and "0.1 Ω" in step.reason
    said: list[Evidence] = []
    while work(said).step is not None:
        said = taken(said, 0.0333)
    assert len(said) == 1  # any of the three broken would read 50 or 100 instead of 33
    assert belief(GRAPH, (EXAMPLE_AREA,), said, BASIS).sites[:3].max() < BASIS.proven_below


def test_a_broken_way_is_found_and_one_value_is_no_advice() -> None:
    """s2 is broken: 100 milliohm across it; across s0 50 (its own), across s1 50. Ohms of its excess would read the same: broken or nearly so, 0.99."""
    readings = [("p0", "p2", 0.1), ("p0", "p1", 0.05), ("p1", "p2", 0.05)]
    said = [Evidence(str(k), a, b, "ohms", ohm, instrument=FOUR_WIRE) for k, (a, b, ohm) in enumerate(readings)]
    now = belief(GRAPH, (EXAMPLE_AREA,), said, BASIS)
    assert now.p("s2") > 0.9
    assert now.p("s2") + sum(e.p for e in now.partials if e.sites == ("s2",)) > 0.99
    one = belief(GRAPH, (EXAMPLE_AREA,), said[:1], BASIS)
    assert spans(GRAPH, one, BASIS) == ()


def test_a_coarse_meter_is_refused_with_why() -> None:
    found = work([], two_wire(0.1))
    assert found.step is None
    assert len(found.notes) == 3 and all("too coarse" in note for note in found.notes)


def test_without_a_meter_nothing_is_proposed_and_beeps_end_the_question() -> None:
    assert work([], None).step is None
    check = work([]).step.check  # type: ignore[union-attr]
    assert check is not None
    beeps = [Evidence(str(k), check.point_a, check.point_b, "closed") for k in range(MOST_TIMES + 1)]
    then = work(beeps).step
    assert (
        then is not None
        and then.check is not None
        and (then.check.point_a, then.check.point_b) != (check.point_a, check.point_b)
    )


def test_a_partial_open_is_followed_up_with_the_value_it_would_have() -> None:
    """A row of four stretches of 50 milliohm that reads 0.5 ohm instead of 0.2: the next reading tells which stretch holds the 0.3 too much."""
    row = example_graph([(k, k + 1) for k in range(4)], range(5), ohms=0.05)
    said = [
        Evidence("1", "p0", "p4", "ohms", 0.5, instrument=FOUR_WIRE),
        Evidence("2", "p0", "p4", "ohms", 0.5, instrument=FOUR_WIRE),
    ]
    now = belief(row, (EXAMPLE_AREA,), said, BASIS)
    assert sum(e.p for e in now.partials) > 0.5
    step = ohms_work(now, risk_of(now), replace(FOUR_WIRE), CostTable(), TipState()).step
    assert step is not None and step.check is not None and "too much" in step.reason
    half = [*said, Evidence("3", "p0", "p1", "ohms", 0.35, instrument=FOUR_WIRE)]
    found = belief(row, (EXAMPLE_AREA,), half, BASIS).partials[0]
    assert found.sites == ("s0",) and found.p > 0.9 and found.ohm == pytest.approx(0.3, abs=0.1)
