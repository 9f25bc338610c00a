"""What must hold of every bench: from any state, whoever answers, ``next`` comes to an end, and it asks only what can be touched."""

from __future__ import annotations

from itertools import count

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.properties.test_belief_properties import cases

from coppermend.core.belief.examples import EXAMPLE_AREA
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.copper.model import CopperGraph
from coppermend.core.planning.next import next_step
from coppermend.core.planning.spans import MOST_REPEATS
from coppermend.practice.patient import Noise, Patient, Truth

AREAS = (EXAMPLE_AREA,)
ASKS = ("check", "retest")


def asked_until_the_end(
    graph: CopperGraph, evidence: tuple[Evidence, ...], answer: object, skipped: frozenset[str] = frozenset()
) -> tuple[int, str]:
    """How many readings ``next`` asks for until it names another act, and which; AssertionError when it goes on beyond the bound."""
    points = {p.id for p in graph.points} - skipped
    taken = list(evidence)
    most = (
        MOST_REPEATS * len(points) * (len(points) - 1) // 2
    )  # each two points so often; what goes on for ever passes it
    for n in count():
        step = next_step(graph, AREAS, taken, Basis(), skipped=skipped)
        assert np.isfinite([step.seconds, step.gain_bits, step.left_seconds]).all()
        if step.kind not in ASKS:
            return n, step.kind
        assert n < most, (step.words, step.reason, [(e.point_a, e.point_b, e.says) for e in taken[-6:]])
        assert step.check is not None and {step.check.point_a, step.check.point_b} <= points
        says = answer(step.check.point_a, step.check.point_b)  # type: ignore[operator]
        taken.append(Evidence(f"n{n}", step.check.point_a, step.check.point_b, says))
    raise AssertionError("unreachable")


@settings(max_examples=15, deadline=None)
@given(cases(), st.integers(0, 2**32 - 1), st.floats(0.0, 1.0))
def test_from_any_state_next_ends_whatever_is_answered(
    case: tuple[CopperGraph, tuple[Evidence, ...]], seed: int, closed: float
) -> None:
    graph, readings = case
    lots = np.random.default_rng(seed)
    asked_until_the_end(graph, readings, lambda a, b: "closed" if lots.random() < closed else "open")


@settings(max_examples=25, deadline=None)
@given(cases(), st.data())
def test_from_any_state_next_ends_on_a_patient_that_lies(
    case: tuple[CopperGraph, tuple[Evidence, ...]], data: st.DataObject
) -> None:
    graph, readings = case
    broken = data.draw(st.sets(st.sampled_from([s.id for s in graph.sites]), max_size=3))
    noise = Noise(data.draw(st.sampled_from([0.0, 0.06, 0.3])), data.draw(st.sampled_from([0.0, 0.02, 0.2])))
    patient = Patient(graph, Truth(tuple(broken), noise=noise), data.draw(st.integers(0, 999)), ohms=False)
    asked_until_the_end(graph, readings, lambda a, b: patient.ask(a, b).says)


@settings(max_examples=15, deadline=None)
@given(cases(), st.data())
def test_from_any_state_next_ends_with_points_that_cannot_be_reached(
    case: tuple[CopperGraph, tuple[Evidence, ...]], data: st.DataObject
) -> None:
    graph, readings = case
    skipped = data.draw(st.sets(st.sampled_from([p.id for p in graph.points])))
    lots = np.random.default_rng(data.draw(st.integers(0, 999)))
    asked_until_the_end(graph, readings, lambda a, b: "closed" if lots.random() < 0.8 else "open", frozenset(skipped))


def test_a_bench_that_answers_open_to_everything_and_one_that_answers_in_turn_are_done_with() -> None:
    """The two most stubborn liars, on a row of eight sites with a tip at each joint of it."""
    from coppermend.core.belief.examples import example_graph

    row = example_graph([(k, k + 1) for k in range(8)], range(9))
    turn = count()
    for answer in (lambda a, b: "open", lambda a, b: ("open", "closed")[next(turn) % 2]):
        asked, ended = asked_until_the_end(row, (), answer)
        assert asked > 0 and ended in ("patch", "done")
