"""The kinds of the next step under power: each chosen somewhere, none that is dangerous, and the end said. Odd signals and warmth as evidence.

Expected kinds follow from what the patient has: nothing here is a number from a book. The boards are the demonstration machine's.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coppermend import bootstrap
from coppermend.core.belief.suspects.causes import timing_parts
from coppermend.core.belief.suspects.field import padded
from coppermend.core.belief.suspects.hands import Effect
from coppermend.core.belief.suspects.oddity import EARLY, RUNTS, odd_causes
from coppermend.core.belief.suspects.posterior import (
    Apart,
    Beep,
    Look,
    Odd,
    Renewed,
    Sink,
    Start,
    State,
    Warmth,
    apart_tones,
    bridge_ends,
    initial,
    log_likelihood,
    observed,
    path_causes,
    sharing_sets,
    short_causes,
    verdict,
)
from coppermend.core.belief.suspects.reasons import suspects
from coppermend.core.belief.suspects.table import FLOATING, HIGH, LOW, PULSING, WRONG
from coppermend.core.belief.suspects.together import Tone, false_open_now, sink_logs
from coppermend.core.belief.suspects.warmth import likelihoods, warms
from coppermend.core.circuit.model import Rail
from coppermend.core.circuit.planes import Key
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.suspects_checks import likely_checks
from coppermend.core.planning.suspects_hands import HandsNow
from coppermend.core.planning.suspects_next import BenchNow, SuspectStep, best_of_kinds, ranked_steps
from coppermend.core.planning.suspects_words import step_caution, step_reason, step_risk, step_words
from coppermend.practice.powered import Lies, PoweredPatient
from coppermend.services import powered_practice as practice
from coppermend.services.powered import PoweredBoard

SPARES = ("U1", "U4", "U5", "U22", "U29")


@pytest.fixture(scope="module")
def board() -> PoweredBoard:
    return bootstrap.powered_setting("demo", most=20_000)


def look(board: PoweredBoard, net: str, pin: str, outcome: int, judged: bool = False) -> Look:
    return Look(net, board.behaviour.trees[net].taps[pin], outcome, judged)


def after(board: PoweredBoard, *seen: object) -> State:
    return observed(initial(board.field), [Start(-1), *seen])  # type: ignore[list-item]


def steps(state: State, bench: BenchNow) -> tuple[SuspectStep, ...]:
    return ranked_steps(state, bench, CostTable(), 99)


def test_a_thermal_picture_a_rail_and_a_swap_are_each_chosen(board: PoweredBoard) -> None:
    """A ROM whose outputs stay low holds the whole bus: no look tells it from the others on the bus. A known-good one does, after its rail;
    where none is at hand, its warmth."""
    key: Key = ("low", "U4")
    k = next(k for k, one in enumerate(board.field.causes) if one.key == key)
    patient = PoweredPatient(board.behaviour, [key], 3, Lies())
    conditions = [(s.still, s.moving, s.right, s.not_right) for s in board.field.screens]
    case = practice.PoweredCase(patient, (k,), 3, patient.screen(conditions, 0))
    row = practice.run_powered(board, case)
    kinds = [one["kind"] for one in row["acts"]]
    assert row["named"] == "part U4" and kinds[-2:] == ["rail", "swap"]
    without = practice._Run(board, practice.PoweredCase(patient, (k,), 3, case.screen), CostTable())
    without.bench = replace(without.bench, swaps=())
    for _ in without.planned():
        if without.named():
            break
    acts = {one.kind: one.answers for one in without.acts}
    assert "heat" in acts and "swap" not in acts and "U4 cold" in acts["heat"]


def test_a_power_up_is_chosen_after_a_repair_and_not_twice(board: PoweredBoard) -> None:
    state = after(board, look(board, "/CMREQ", "U1.19", FLOATING), Renewed("U1"))
    bench = BenchNow(powered=False, seen_start=False, mended=0.5)
    first = next(
        one for one in steps(state, bench) if one.kind not in ("check", "apart")
    )  # a check of seconds may come first, power is off
    assert first.kind == "start" and "Power up" in step_words(board.field, first)
    assert "abort value" in step_caution(first) and "qualified" in step_caution(first)
    assert "start" not in {one.kind for one in steps(state, replace(bench, seen_start=True, mended=0.0))}
    seen = observed(state, [Start(2)])
    assert "start" not in {one.kind for one in steps(seen, bench)}


def test_power_is_paid_when_it_is_switched_and_the_probe_set_up_once(board: PoweredBoard) -> None:
    """Modelled seconds (our table of bench times): power off 45, both tips 4, a reading 1; the scope on a pin 25 first, 12 next. On again is the next look's 45, not the
    check's, but it counts when the steps are ranked."""
    state = after(board, look(board, "CPUCLK", "U1.6", FLOATING))
    on, off, ready = (
        steps(state, bench) for bench in (BenchNow(), BenchNow(powered=False), BenchNow(scope_ready=True))
    )
    check = next(one for one in on if one.kind == "check")
    assert (check.seconds, check.then_s, check.risk_s) == (50.0, 45.0, 0.0)
    cold = next(one for one in off if one.kind == "check" and one.spots == check.spots)
    assert (cold.seconds, cold.then_s) == (5.0, 0.0) and cold.score > check.score
    first, again, dark = (next(one for one in rows if one.kind == "look") for rows in (on, ready, off))
    assert (first.seconds, again.seconds, dark.seconds) == (25.0, 12.0, 70.0)
    assert first.spots == again.spots and first.score == pytest.approx(again.score)
    assert first.gain_per_minute < again.gain_per_minute


def test_what_the_bench_lacks_is_not_proposed(board: PoweredBoard) -> None:
    state = after(board, Warmth("U29", "cold"))
    assert {"wave", "heat"} <= {one.kind for one in steps(state, BenchNow())}
    assert not {"wave", "heat"} & {one.kind for one in steps(state, BenchNow(analyser=False, camera=False))}


def test_no_swap_before_the_rails_are_right(board: PoweredBoard) -> None:
    """A wrong rail kills the known-good part too (common practice, no source): first the rail, no swap after a bad one."""
    bus = [
        look(board, net, pin, LOW) for net, pin in (("D0", "U1.14"), ("D1", "U1.15"), ("D2", "U1.12"), ("D7", "U1.13"))
    ]
    bench = BenchNow(swaps=SPARES)
    before = [one for one in steps(after(board, *bus), bench) if one.part]
    assert before and all(one.kind == "rail" and one.then_s > 0 for one in before)
    assert "known-good" in step_words(board.field, before[0])
    good = steps(after(board, *bus, look(board, "VCC", "U1.11", HIGH)), bench)
    swap = next(one for one in good if one.kind == "swap")
    assert (
        swap.risk_s > 0 and "bent pin" in step_risk(swap) and swap.gain_per_minute < 60 * swap.gain_bits / swap.seconds
    )
    assert not [one for one in steps(after(board, *bus, look(board, "VCC", "U1.11", LOW)), bench) if one.part]


def test_nothing_with_power_while_it_must_stay_off(board: PoweredBoard) -> None:
    bench = BenchNow(powered=False, may_power=False, swaps=SPARES, seen_start=False, mended=0.5)
    for seen in (
        look(board, "D0", "U1.14", LOW),
        look(board, "VCC", "U1.11", HIGH),
        look(board, "CPUCLK", "U1.6", FLOATING),
    ):
        assert {one.kind for one in steps(after(board, seen), bench)} <= {"check", "apart"}


def test_no_tip_on_a_rail_that_must_not_be_touched(board: PoweredBoard) -> None:
    """60 V DC is the limit of what may be touched (class ES1 of IEC 62368-1, from memory)."""
    silent = [look(board, "/CMREQ", "U1.19", FLOATING), look(board, "/CRD", "U1.21", FLOATING)]
    state = after(board, *silent, look(board, "CPUCLK", "U1.6", PULSING, True), look(board, "/RESET", "U1.26", HIGH))
    assert "rail" in {one.kind for one in steps(state, BenchNow())}
    rails = board.circuit.rails
    high = {net: Rail(net, 400.0, one.tolerance_percent, one.ground, one.sources) for net, one in rails.items()}
    object.__setattr__(board.behaviour.circuit, "rails", high)  # the circuit is frozen; put back below
    try:
        nets = {
            net for one in steps(state, BenchNow(swaps=SPARES)) for net, _ in one.spots if one.kind in ("rail", "look")
        }
        assert not nets & set(rails)
    finally:
        object.__setattr__(board.behaviour.circuit, "rails", rails)


def test_the_end_is_said(board: PoweredBoard) -> None:
    """With every place looked at and right, no further look is worth much: an open line that shows the level it should have is left to a beep."""
    right = {0: LOW, 1: HIGH, 2: PULSING, 4: FLOATING}
    seen = [
        Look(s.net, s.node, (LOW if s.ground else HIGH) if s.rail else right.get(s.healthy, PULSING), True)
        for s in board.field.spots
        for _ in range(2)
        if s.healthy in right or s.rail
    ]
    state = observed(initial(board.field), [Start(-1), *seen], widen=False)
    left = steps(state, BenchNow(camera=False, seen_start=True))
    assert max((one.gain_bits for one in left if one.kind in ("look", "rail", "wave")), default=0.0) < 0.3


def test_before_it_ends_what_tells_any_sets_apart_is_asked(board: PoweredBoard) -> None:
    """Two halves of one rail that nothing tells apart lead every set (0.85): another fault of the same patient is found and named instead of an end."""
    setting = bootstrap.powered_setting("demo")
    marked = practice.run_powered(setting, practice.powered_patient(setting, 2027, 3, "any"), "next")
    assert marked["named"] and marked["named_true"] and marked["p_named"] >= 0.95


def test_of_each_kind_the_best() -> None:
    rows = (SuspectStep("wave", (), 60.0, 2.0), SuspectStep("look", (), 25.0, 1.0), SuspectStep("wave", (), 60.0, 0.5))
    assert [(one.kind, one.gain_bits) for one in best_of_kinds(rows)] == [("wave", 2.0), ("look", 1.0)]


def test_warmth_is_a_share_of_each_state() -> None:
    assert np.allclose(likelihoods().sum(axis=1), 1.0)


def test_runts_speak_for_what_drives_two_ways(board: PoweredBoard) -> None:
    """Runts on D0: a held pin, a bridge or a bad joint of that net gain, others do not."""
    node = board.behaviour.trees["D0"].taps["U1.14"]
    field = board.field
    odd = {field.causes[k].key for k in odd_causes(field, "D0", node, RUNTS)}
    assert ("stuck0", "U1.14") in odd and ("lowrail", "VCC") in odd and ("float", "U1") not in odd
    before, now = after(board).causes(), after(board, Odd("D0", node, RUNTS)).causes()
    held = [k for k, one in enumerate(field.causes) if one.key in (("stuck0", "U1.14"), ("stuck1", "U1.14"))]
    assert all(now[k] > 3 * before[k] for k in held)


def test_a_reset_let_go_too_early_speaks_for_its_capacitor(board: PoweredBoard) -> None:
    """C2 with R16 holds the demonstration machine's reset (demo/circuit.py). A dead gate holds a level and lets nothing go."""
    assert "C2" in timing_parts(board.circuit)
    node = board.behaviour.trees["/RESET"].taps["U1.26"]
    field = board.field
    before = after(board).causes()
    now = after(board, Odd("/RESET", node, EARLY)).causes()
    k = next(k for k, one in enumerate(field.causes) if one.key == ("open", "C2"))
    assert now[k] > 10 * before[k]
    dead = next(k for k, one in enumerate(field.causes) if one.key == ("low", "U37"))
    assert now[dead] < before[dead]
    told = suspects(after(board, Odd("/RESET", node, EARLY)), 1)[0]
    assert told.part == "C2" and any("too early" in one.words for one in told.pro)


def test_a_rival_beside_another_fault_is_not_passed_over(board: PoweredBoard) -> None:
    """D2's pattern is wrong, and CKPS, held by R35 alone, floats: R35 open explains that as well as the joint of R35.1, D2 being explained by another fault.
    Only their priors differ, so neither is named before a look between joint and resistor told them apart."""
    trees = board.trees["CKPS"].points
    joint = next(node for node, points in trees.items() if any(p.id.startswith("R35.1/joint") for p in points))
    seen = [look(board, "D2", pin, WRONG, judged=True) for pin in ("U38.6", "U1.12", "U5.13", "U52.2")]
    seen += [look(board, "CKPS", pin, FLOATING) for pin in ("U38.22", "C7.1", "U38.18", "U38.22", "C7.1")]
    found = verdict(after(board, *seen, Look("CKPS", joint, FLOATING)))
    assert found.rivals == ("part R35",) and not found.stands
    assert found.asked is not None
    told = board.field.spots[board.field.spot_at[found.asked.spots[0]]]
    assert told.net == "CKPS" and any(p.id == "R35.1/leg" for p in trees[told.node])


def of_part(board: PoweredBoard, mode: str) -> tuple[Key, str]:
    """The first cause of that mode, and its part."""
    one = next(c for c in board.field.causes if c.key[0] == mode)
    return one.key, one.part


def test_a_rail_that_a_dried_capacitor_pulls_low_reads_low(board: PoweredBoard) -> None:
    """The patient shows what the belief expects of it (symbol 5: there, but too low), and a good capacitor held across it tells it from its supply."""
    key, part = of_part(board, "dried")
    patient = PoweredPatient(board.behaviour, [key], 1, Lies())
    node = board.behaviour.trees["VCC"].taps["U1.11"]
    assert patient.look("VCC", node, False) == "low" and not patient.all_right()
    state = after(board, *[Look("VCC", node, LOW)] * 3)
    bench = BenchNow(swaps=(), camera=False, analyser=False, hands=HandsNow(tops=(part,)))
    held = next(one for one in steps(state, bench) if one.kind == "piggyback")
    assert (
        held.part == part and "capacitor" in step_words(board.field, held) and "+ on +" in step_words(board.field, held)
    )
    k = next(k for k, c in enumerate(board.field.causes) if c.key == key)
    changed = observed(state, [Effect("piggyback", part, (), True)])
    assert changed.causes()[k] > 5 * state.causes()[k]


def test_a_shorted_capacitor_is_told_from_a_missing_rail_with_power_off(board: PoweredBoard) -> None:
    """Ohms from rail to ground before power: first on every checklist (common practice, no source)."""
    key, _ = of_part(board, "shorted")
    causes = {" ".join(map(str, c.key)): k for k, c in enumerate(board.field.causes)}
    node = board.behaviour.trees["VCC"].taps["U1.11"]
    state = after(board, *[Look("VCC", node, FLOATING)] * 3)
    joined = observed(state, [Apart("VCC", "GND", True)])
    apart = observed(state, [Apart("VCC", "GND", False)])
    shorted, missing = causes[" ".join(map(str, key))], causes["norail VCC"]
    assert (
        joined.causes()[shorted] > 10 * state.causes()[shorted] and joined.causes()[missing] < state.causes()[missing]
    )
    assert apart.causes()[shorted] < state.causes()[shorted]
    assert any(
        {net for net, _ in one.spots} == {"VCC", "GND"} for one in steps(joined, BenchNow()) if one.kind == "apart"
    )


def test_an_isolation_check_that_read_open_is_taken_between_other_places(board: PoweredBoard) -> None:
    """A bridge of D2 and D7 read apart once: the same two places say less a second time (what the tip bites on badly stays so), so others are asked; a bridge
    behind a cut is no bridge to tips on the other side of it, for belief and patient alike."""
    field, behaviour = board.field, board.behaviour
    bridge = next(
        k for k, c in enumerate(field.causes) if c.key[0] == "short" and set(bridge_ends(field, k)) == {"D2", "D7"}
    )
    ends = bridge_ends(field, bridge)
    members, causes = padded([(bridge,), ()]), np.zeros(len(field.causes))
    causes[bridge] = 0.5
    even = np.full(2, 0.5)
    first = likely_checks(field, members, even, causes)
    assert [dict(one.spots) for one in first] == [ends] and first[0].there.tolist() == [True, False]
    open_ = Apart("D2", "D7", False, "", ends["D2"], ends["D7"])
    tones = apart_tones([open_], field, "D7", "D2")
    found = likely_checks(field, members, even, causes, [open_])
    miss = {one.spots: false_open_now(field.table.copper, tones, Tone((), *one.spots, False, True)) for one in found}
    same = next(one for one in found if dict(one.spots) == ends)
    fresh = next(one for one in found if not set(one.spots) & set(ends.items()))
    assert len(found) == 9 and miss[same.spots] > 2.5 * miss[fresh.spots]
    assert miss[fresh.spots] == pytest.approx(1.0 - 0.98 * (1.0 - 0.08 * 0.3) ** 2, rel=1e-9)
    cut = next(
        k
        for k, c in enumerate(field.causes)
        if c.key[0] == "cut" and c.net == "D2" and k in path_causes(field, "D2", ends["D2"], dict(fresh.spots)["D2"])
    )
    block = field.remembered(padded([(bridge,), (bridge, cut)]))
    far = Apart("D2", "D7", True, "", dict(fresh.spots)["D2"], dict(fresh.spots)["D7"])
    near = Apart("D2", "D7", True, "", ends["D2"], ends["D7"])
    beeps = 1.0 - miss[fresh.spots]
    assert np.exp(log_likelihood(field, block, near)) == pytest.approx([beeps, beeps], rel=1e-9)
    assert np.exp(log_likelihood(field, block, far)) == pytest.approx(
        [beeps, field.table.copper.false_closed], rel=1e-9
    )
    patient = PoweredPatient(behaviour, [field.causes[k].key for k in (bridge, cut)], 1, Lies())
    keys = [field.causes[k].key for k in short_causes(field, "D2", "D7")]
    assert patient.bridged(keys, tuple(ends.items())) and not patient.bridged(keys, fresh.spots)


def test_millivolts_that_mislead_once_mislead_again(board: PoweredBoard) -> None:
    """Of the patient's wrong answers half are the board's: asked again they are mostly the same, as the belief takes them (the share is an assumption)."""
    patient = PoweredPatient(board.behaviour, [("stuck0", "U1.30")], 5, Lies(level=0.08))
    nets = [net for net, rows in board.circuit.nets.items() if net not in board.circuit.rails and len(rows) > 2]
    first = {net: patient.lowest(net, ["U90.1", "U90.2", "U90.3"]) for net in nets}
    wrong = [net for net, pin in first.items() if pin]
    assert 0.2 < len(wrong) / len(nets) < 0.5
    same = sum(patient.lowest(net, ["U90.1", "U90.2", "U90.3"]) == first[net] for net in wrong) / len(wrong)
    like = np.exp(sink_logs(board.field.table, (0, 2, 0, 0)) - sink_logs(board.field.table, (0, 1, 0, 0)))
    assert 0.35 < same < 0.8, same
    assert float(like[0]) == pytest.approx(same, abs=0.2)


def test_two_cuts_that_share_the_symptoms_are_found_against_the_bridge_that_explains_all(board: PoweredBoard) -> None:
    """As in practice patient 3001 drawn evenly: a cut of D7 makes one wave wrong, one of RA3 another; a bridge of D2 and D7 both, but it reads apart. By hand:
    each cut gains 4 on its own reading, together they miss nothing; the pair is too unlikely before any reading to be enumerated."""
    field = board.field
    truth = tuple(
        sorted(next(k for k, c in enumerate(field.causes) if c.unit == unit) for unit in ("span D7 27", "span RA3 18"))
    )
    bridge = next(k for k in short_causes(field, "D2", "D7") if field.causes[k].key[0] == "short")
    assert truth not in {tuple(sorted(c for c in row if c >= 0)) for row in field.main.members.tolist()}
    gain = np.zeros((3, len(field.causes)))
    gain[0, truth[0]] = gain[1, truth[1]] = 4.0
    gain[:2, bridge], gain[2, bridge] = 4.0, -9.0
    found = sharing_sets(field, gain)
    assert found[0] == truth and len(found) == 4
    weight = float(field.log_prior(padded([truth]))[0]) + 8.0
    assert truth in sharing_sets(field, gain, weight - 0.1) and truth not in sharing_sets(field, gain, weight + 0.1)


def test_a_second_look_at_a_resting_net_is_no_second_witness(board: PoweredBoard) -> None:
    """Without a supply everything rests somewhere: the same level seen ten times at one net speaks against the missing rail no more than seen once."""
    missing = next(k for k, c in enumerate(board.field.causes) if c.key == ("norail", "VCC"))
    resting = np.flatnonzero(board.field.singles().picked(np.array([missing]), len(board.field.spots))[:, 0] == 5)
    spot = next(board.field.spots[k] for k in resting if not board.field.spots[k].rail)
    rail = [look(board, "VCC", pin, FLOATING) for pin in ("U1.11", "U37.14", "U19.14")]
    once = after(board, *rail, Look(spot.net, spot.node, HIGH)).causes()[missing]
    often = after(board, *rail, *[Look(spot.net, spot.node, HIGH)] * 10).causes()[missing]
    assert once > 0.5 and often > 0.5 * once


@pytest.mark.parametrize("kind", ["check", "sink"])
def test_a_name_that_leans_on_one_beep_or_one_comparison_waits(board: PoweredBoard, kind: str) -> None:
    """Take away one beep (or one comparison of millivolts) and what is about to be named is not sure any more: that reading is asked once more."""
    field = board.field
    table = replace(field.table, sure_above=1.0, named_above=0.95 if kind == "check" else 0.5)
    made = replace(field, table=table, memo={})
    if kind == "check":
        k = max(
            (k for k, c in enumerate(field.causes) if c.key[0] == "cut" and c.net == "CPUCLK"),
            key=lambda k: field.odds[k],
        )
        a, b = field.behaviour.trees["CPUCLK"].edges[int(field.causes[k].key[2])]
        seen = [
            Start(-1),
            look(board, "CPUCLK", "U1.6", FLOATING, True),
            look(board, "CPUCLK", "U1.6", FLOATING, True),
            Beep("CPUCLK", a, b, False),
        ]
    else:
        seen = [Start(-1), *[look(board, "A0", "U1.30", LOW)] * 3, Sink("A0", "U1.30")]
    state = observed(initial(made), seen)
    found = verdict(state)
    assert found.unit and found.asked is not None and found.rivals, (found, sorted(state.units())[-3:])
    step = ranked_steps(state, BenchNow(), CostTable(), 1)[0]
    assert step.kind == found.asked.kind and step_reason(step, 1.0).startswith("What is about to be named")


def test_a_rival_that_shows_only_beside_another_fault_is_listed(board: PoweredBoard) -> None:
    """U38 has lost its ground, so D1 floats at U38.5 beyond a cut, which no cut alone would do there (U38 would drive it). Two cuts explain it, the joint of
    U38.5 and the copper behind it; readings do not tell them apart, so their probabilities stand as their odds do."""
    field = board.field
    seen = [look(board, "GND", "U38.12", FLOATING)] * 2 + [look(board, "D1", "U38.5", FLOATING)] * 2
    seen += [look(board, "D2", pin, WRONG, judged=True) for pin in ("U5.13", "U1.12", "U52.2")]
    p = after(board, *seen, look(board, "CKSQW", "U36.11", FLOATING)).causes()
    joint = next(k for k, c in enumerate(field.causes) if c.net == "D1" and c.sites == ("joint@U38.5",))
    copper = max(
        (k for k, c in enumerate(field.causes) if c.net == "D1" and c.key[0] == "cut"), key=lambda k: float(p[k])
    )
    assert copper != joint and p[copper] > 0.3
    assert p[joint] / p[copper] == pytest.approx(field.odds[joint] / field.odds[copper], rel=0.3)


def test_a_thermal_picture_speaks_as_one_and_the_rail_it_blames_is_measured(board: PoweredBoard) -> None:
    """All chips cold: the picture stands among the reasons of the missing rail, in words, and that rail's voltage is the next step (rails before signals: common
    practice, no source)."""
    field = board.field
    cold = [Warmth(part, "cold", "cold", "picture") for part in field.warm if warms(field, part)]
    state = observed(initial(field), [Start(-1), *cold], widen=False)
    first = suspects(state, 1)[0]
    assert first.unit == "rail VCC" and [r.entry for r in first.pro] == ["picture"] and first.pro[0].factor > 100
    assert (
        first.pro[0].words.startswith("the thermal picture: U1,") and "cold that should be warm" in first.pro[0].words
    )
    step = steps(state, BenchNow())[0]
    assert step.kind == "rail" and step.spots[0][0] == "VCC" and step.gain_bits > 0.3
