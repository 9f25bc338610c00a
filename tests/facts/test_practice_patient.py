"""The practice patient: same seed same patient, answers that follow its truth, noise at its stated rates, refusals in words."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import Refusal
from coppermend.practice import policies
from coppermend.practice.drawing import draw_breaks, draw_noise, read_truth
from coppermend.practice.patient import Noise, Patient, Truth
from coppermend.services.practice import PracticeSetting, full_marks, marks, patient_of, run

AREAS = (EXAMPLE_AREA,)


def comb(teeth: int = 12) -> CopperGraph:
    """A trunk with a tooth at each node; two points at each node and each tooth's end."""
    ends = [(k, k + 1) for k in range(teeth - 1)] + [(k, teeth + k) for k in range(teeth)]
    return example_graph(ends, [n for n in range(2 * teeth) for _ in (0, 1)], cold=range(teeth - 1))


SETTING = PracticeSetting(comb(), AREAS)


def test_a_truthful_patient_says_what_the_copper_says() -> None:
    graph = comb()
    patient = Patient(graph, Truth(("s11",)))
    assert patient.ask("p12", "p13").says == "open"  # s11 is the tooth at node 0, whose end is node 12
    assert patient.ask("p13", "p14").says == "closed"
    assert patient.ask("p0", "p11").says == "closed"


def test_the_same_question_in_its_turn_has_the_same_answer_whatever_was_asked_between() -> None:
    noise = Noise(0.3, 0.3)
    one, two = Patient(comb(), Truth((), noise=noise), 7), Patient(comb(), Truth((), noise=noise), 7)
    first = [one.ask("p0", "p5").says for _ in range(20)]
    second = []
    for _ in range(20):
        two.ask("p3", "p4")
        second.append(two.ask("p5", "p0").says)
    assert first == second
    assert set(first) == {"open", "closed"}


def test_noise_comes_at_its_rates() -> None:
    """4,000 readings each: shares within four standard errors of 0.06, 0.02 and, at an oxidised point, 0.3."""
    graph = example_graph([(0, 1), (1, 2)], [0, 1, 2])
    patient = Patient(graph, Truth(("s1",), noise=Noise(0.06, 0.02)), 3, ohms=False)
    opens = np.mean([patient.ask("p0", "p1").says == "open" for _ in range(4000)])
    closed = np.mean([patient.ask("p1", "p2").says == "closed" for _ in range(4000)])
    assert abs(opens - 0.06) < 4 * (0.06 * 0.94 / 4000) ** 0.5
    assert abs(closed - 0.02) < 4 * (0.02 * 0.98 / 4000) ** 0.5
    rusty = Patient(graph, Truth((), noise=Noise(0.0, 0.0, frozenset({"p0"}))), 3, ohms=False)
    misses = np.mean([rusty.ask("p0", "p1").says == "open" for _ in range(4000)])
    assert abs(misses - 0.3) < 4 * (0.3 * 0.7 / 4000) ** 0.5


def test_drawn_rates_lie_in_the_ranges_of_the_bench_table() -> None:
    """Log-uniform 0.5-6 % and 0.1-2 %: medians at the geometric means 1.73 % and 0.447 %."""
    drawn = [draw_noise(comb(), seed) for seed in range(400)]
    opens, closed = np.array([n.false_open for n in drawn]), np.array([n.false_closed for n in drawn])
    assert opens.min() >= 0.005 and opens.max() <= 0.06
    assert closed.min() >= 0.001 and closed.max() <= 0.02
    assert np.median(opens) == pytest.approx((0.005 * 0.06) ** 0.5, rel=0.15)
    assert np.median(closed) == pytest.approx((0.001 * 0.02) ** 0.5, rel=0.2)
    shares = [len(n.oxidised) / len(comb().points) for n in drawn]
    assert np.mean(shares) == pytest.approx(0.1, abs=0.01)


def test_breaks_are_drawn_by_the_priors_without_repetition() -> None:
    """12 teeth at 0.02 inside, 11 trunk sites at 0.0005 outside: 12*0.02 / (12*0.02 + 11*0.0005) = 97.8 % of single breaks lie inside."""
    graph = comb()
    ones = [draw_breaks(graph, AREAS, seed, 1)[0] for seed in range(600)]
    inside = np.mean([int(s[1:]) >= 11 for s in ones])
    assert inside == pytest.approx(0.24 / 0.2455, abs=4 * (0.978 * 0.022 / 600) ** 0.5)
    assert all(len(set(draw_breaks(graph, AREAS, seed, 5))) == 5 for seed in range(50))
    assert draw_breaks(graph, AREAS, 4, 0) == ()


def test_a_truth_file_names_sites_or_the_way_between_two_points() -> None:
    graph = comb()
    text = json.dumps({"broken": ["s3", {"between": ["p12", "p0"]}], "noise": {"false_open": 0.02, "oxidised": ["p4"]}})
    truth = read_truth(text, graph, AREAS)
    assert truth.broken == ("s3", "s11")
    assert truth.noise == Noise(0.02, 0.0, frozenset({"p4"}))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "not JSON"),
        ('{"broken": ["nothing"]}', "no site nothing"),
        ('{"broken": [{"between": ["p0"]}]}', "not a pair"),
        ('{"noise": {"false_open": 7}}', "between 0 and 1"),
        ('"word"', "neither a list"),
    ],
)
def test_a_bad_truth_file_is_refused_in_words(text: str, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        read_truth(text, comb(), AREAS)


def test_an_unknown_policy_and_an_impossible_rate_are_refused() -> None:
    with pytest.raises(Refusal, match="PRA-008"):
        run(SETTING, patient_of(SETTING, 1, 0), "guess")
    with pytest.raises(Refusal, match="PRA-007"):
        patient_of(SETTING, 1, 0, false_open=2.0)


@pytest.mark.parametrize("policy", ["next", "cover", "star", "chain", "pin"])
def test_every_policy_ends_and_none_calls_a_break_proven_on_a_truthful_patient(policy: str) -> None:
    for seed in range(4):
        patient = patient_of(SETTING, seed, seed % 3, noise_off=True)
        result = run(SETTING, patient, policy)
        got = marks(SETTING, result, patient.truth())
        assert got["wrong_proven"] == 0
        assert not got["stopped"]
        assert got["checks"] == len(result.evidence) > 0


def test_ours_finds_every_provable_break_of_truthful_patients_and_raises_no_false_alarm() -> None:
    for seed in range(8):
        patient = patient_of(SETTING, seed, 1 + seed % 3, noise_off=True)
        got = full_marks(SETTING, run(SETTING, patient, "next"), patient.truth())
        assert got["found_provable"] == got["breaks_provable"]
        assert got["false_alarms"] == 0
        for one in got["announced"]:
            assert one["true"] and one["stands"] and 0 < one["at_check"] <= got["checks"]


def test_without_breaks_and_noise_ours_needs_exactly_the_certified_number_of_checks() -> None:
    patient = patient_of(SETTING, 0, 0, noise_off=True)
    got = full_marks(SETTING, run(SETTING, patient, "next"), patient.truth())
    assert got["checks"] == got["bound"] == got["certificate"]["checks"] == 6  # 12 teeth in doubt: 12 leaves, 6 checks


def test_ours_needs_fewer_checks_and_seconds_than_the_star_on_the_same_patients() -> None:
    ours = star = 0.0
    for seed in range(6):
        for policy in ("next", "star"):
            patient = patient_of(SETTING, seed, seed % 2, false_open=0.02, false_closed=0.002, oxidised=0.0)
            seconds = run(SETTING, patient, policy).seconds
            ours += seconds if policy == "next" else 0.0
            star += seconds if policy == "star" else 0.0
    assert ours < star


def test_a_slipped_tip_reads_from_the_neighbour_pin() -> None:
    """Two nets, pins 2.54 mm apart; a tip on p1 that slips stands on p2 of the other net: open between p0 and p1 as often as a tip slips."""
    graph = example_graph(
        [(0, 1), (2, 3)], [0, 1, 2, 3], nets=[0, 0, 1, 1], spots=[(0, 0), (9, 0), (11.54, 0), (30, 0)]
    )
    patient = Patient(graph, Truth((), noise=Noise(slips=0.1)), 5, ohms=False)
    opens = np.mean([patient.ask("p0", "p1").says == "open" for _ in range(4000)])
    assert abs(opens - 0.1) < 4 * (0.1 * 0.9 / 4000) ** 0.5  # p0 has no neighbour of other copper within 3 mm
    across = np.mean([patient.ask("p1", "p3").says == "closed" for _ in range(4000)])
    assert abs(across - 0.1) < 4 * (0.1 * 0.9 / 4000) ** 0.5


def test_an_intermittent_joint_conducts_only_while_a_tip_presses_on_it() -> None:
    """s1 joins p1 and p2: half of the readings at its ends close, none that only cross it do."""
    graph = example_graph([(0, 1), (1, 2), (2, 3)], [0, 1, 2, 3])
    patient = Patient(graph, Truth(("s1",), intermittent=("s1",)), 5, ohms=False)
    closed = np.mean([patient.ask("p0", "p2").says == "closed" for _ in range(4000)])
    assert abs(closed - 0.5) < 4 * (0.25 / 4000) ** 0.5
    assert {patient.ask("p0", "p3").says for _ in range(100)} == {"open"}


def test_an_answer_to_the_wrong_check_is_that_of_the_check_before() -> None:
    graph = example_graph([(0, 1), (1, 2)], [0, 1, 2])
    patient = Patient(graph, Truth(("s1",), noise=Noise(mixed_up=1.0)), 5, ohms=False)
    assert [patient.ask(*pair).says for pair in (("p0", "p1"), ("p1", "p2"), ("p0", "p1"))] == [
        "closed",
        "closed",
        "open",
    ]


def test_lies_that_are_not_asked_for_change_no_patient() -> None:
    one, two = (
        patient_of(SETTING, 4, 3, **more) for more in ({}, {"slips": 0.0, "intermittent": 0.0, "mixed_up": 0.0})
    )
    assert one.truth() == two.truth()
    assert one.truth().intermittent == () and one.truth().noise.slips == 0.0
    with pytest.raises(Refusal, match="PRA-007"):
        patient_of(SETTING, 4, 3, slips=1.5)


@pytest.mark.parametrize("lies", [{"slips": 0.02}, {"mixed_up": 0.01}, {"intermittent": 1.0}])
def test_lies_unknown_to_the_belief_end_in_finite_numbers_and_no_false_alarm(lies: dict[str, float]) -> None:
    for seed in range(6):
        patient = patient_of(SETTING, seed, 2, false_open=0.02, false_closed=0.002, oxidised=0.0, **lies)
        result = run(SETTING, patient, "next")
        marked = marks(SETTING, result, patient.truth())
        assert marked["false_alarms"] == 0 and marked["error_bound"] <= 1e-4 and not result.stopped


def test_ohms_across_a_short_are_those_of_the_copper_and_the_bridge() -> None:
    """Two nets of three stretches of 100 milliohm, bridged at their third nodes by 20: 2 x 100 + 20 + 2 x 100 from end to end (Ohm's law)."""
    from coppermend.core.belief.examples import example_graph
    from coppermend.practice.patient import Patient, Truth

    graph = example_graph([(0, 1), (1, 2), (2, 3), (4, 5), (5, 6), (6, 7)], range(8), nets=[0] * 4 + [1] * 4, ohms=0.1)
    patient = Patient(graph, Truth(shorts=(("p2", "p6"),)), seed=3)
    answer = patient.ask("p0", "p4")
    assert answer.says == "closed" and answer.ohms is not None
    assert answer.ohms == pytest.approx(0.42, abs=0.08)  # the meter's zero adds up to a few hundredths
    assert Patient(graph, Truth(), seed=3).ask("p0", "p4").says == "open"


def test_a_policy_ends_at_the_first_reading_that_settles_all_though_the_belief_is_worked_out_only_then() -> None:
    """The end by the definition of docs/reference/practice.md, worked out here after every reading from the belief alone."""
    from coppermend.core.belief.engine import belief
    from coppermend.core.belief.model import Basis
    from coppermend.core.planning.risk import risk_of

    basis, ended_before_the_list = Basis(), 0
    for policy in ("star", "chain", "pin", "cover"):
        for seed in range(1, 5):
            patient = patient_of(SETTING, seed, seed % 3, false_open=0.05, false_closed=0.01, noise_off=seed > 2)
            got = run(SETTING, patient, policy)

            def settled(n: int, readings: tuple = got.evidence, provable: tuple = got.provable) -> bool:
                now = belief(SETTING.graph, AREAS, readings[:n], basis)
                risk = risk_of(now)
                return all(now.p(s) < basis.proven_below or risk.broken[risk.frame.super_of[s]] for s in provable)

            assert not any(settled(n) for n in range(len(got.steps))), (policy, seed)
            ended_before_the_list += settled(len(got.steps))
    assert ended_before_the_list > 3


def _hub_above_eight_below() -> PracticeSetting:
    """A pin on the component side on one junction with eight pins 2.54 mm apart that only the solder side shows."""
    graph = example_graph([(0, k) for k in range(1, 9)], range(9))
    below = [p if p.node == 0 else replace(p, x_mm=2.54 * p.node, y_mm=0.0, side="s") for p in graph.points]
    return PracticeSetting(replace(graph, points=tuple(below)), AREAS)


def test_the_star_hub_is_clipped_where_that_is_cheaper_by_the_table_of_bench_seconds() -> None:
    """Seconds of the acts: docs/reference/constants.md. Clip 8, turn 20, tip 2, reading 1, then seven times a tip to the next pin 1 and a reading 1:
    45 s; by hand each check would have its tips on two sides: 11 and seven times 8 s, 67 s.
    """
    setting = _hub_above_eight_below()
    patient = Patient(setting.graph, Truth(), ohms=False)
    got = run(setting, patient, "star")
    assert {a.points[0].id for a in got.steps} == {"p0"} and len(got.steps) == 8
    assert got.seconds == 8 + 20 + 2 + 1 + 7 * (1 + 1)
    assert all(s.clip == "p0" for s in got.steps)


def test_a_lead_that_our_plan_clips_costs_its_clipping_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same seconds as above, for a policy that asks for the clip before it reads."""
    setting = _hub_above_eight_below()
    by_id = {p.id: p for p in setting.graph.points}

    def clips(bench: policies.Bench) -> policies.Steps:
        for k in range(1, 9):
            bench.clip, bench.clip_now = "p0", k == 1
            yield by_id["p0"], by_id[f"p{k}"]
        bench.clip, bench.clip_now = "", False
        yield by_id["p1"], by_id["p2"]

    monkeypatch.setitem(policies.POLICIES, "next", clips)
    got = run(setting, Patient(setting.graph, Truth(), ohms=False), "next")
    assert [s.seconds for s in got.steps[:3]] == [31.0, 2.0, 2.0]
    assert [s.clip for s in got.steps] == ["p0"] * 8 + [""]


def test_more_chained_readings_than_a_belief_can_be_had_over_are_counted_and_not_judged() -> None:
    """A ring of 40 stretches with a pin on a tooth at each corner: the chain crosses the ring 39 times. What a belief would say is left out, not guessed."""
    ring = [(k, (k + 1) % 40) for k in range(40)] + [(k, 40 + k) for k in range(40)]
    setting = PracticeSetting(example_graph(ring, range(40, 80)), AREAS)
    patient = patient_of(setting, 3, 1, noise_off=True)
    got = run(setting, patient, "chain")
    marked = marks(setting, got, patient.truth())
    assert not got.judged and got.announced == () and marked["checks"] >= 39 and marked["seconds_bench"] > 0
    assert marked["found"] is None and marked["wrong_proven"] is None and marked["error_bound"] is None
    assert marks(setting, run(setting, patient, "next"), patient.truth())["found"] is not None
