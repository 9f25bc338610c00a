"""Contacts, swaps, chips held on top, checks of chips and the supply's figures as evidence: each against an update reckoned by hand.

The rule is Bayes': odds after = odds before times P(seen | one) / P(seen | other). The chances are the project's own assumptions (core/belief/suspects/hands.py,
services/handsevidence.py), so what is tested is the arithmetic and the direction, on single faults of the demonstration machine. The share of a contact in
a span is by the priors of the kinds of sites: joint 0.04, contact 0.03, leg 0.0005 (docs/reference/constants.md).
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from coppermend import bootstrap
from coppermend.core.belief.suspects.hands import HANDS, Effect, Worked, cured_by, odds_after
from coppermend.core.belief.suspects.posterior import (
    Observation,
    Start,
    State,
    Swapped,
    Warmth,
    Witness,
    initial,
    log_likelihood,
    observed,
)
from coppermend.core.belief.suspects.reasons import observation_words
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.suspects_hands import HAND_KINDS, HandsNow
from coppermend.core.planning.suspects_next import BenchNow, ranked_steps
from coppermend.core.planning.suspects_words import step_caution, step_risk, step_words
from coppermend.services.powered import PoweredBoard

CONTACT = (0.03 + 0.0005) / (0.04 + 0.03 + 0.0005)
"""Share of contact and leg in the span joint, contact, leg of a socketed pin."""
PIN = "span /CIORQ 1"
"""The span of U1.20: joint, contact and leg, and nothing else."""


@pytest.fixture(scope="module")
def board(demo_package: Path) -> PoweredBoard:
    return bootstrap.powered_setting(str(demo_package), most=20_000)


def alone(board: PoweredBoard, unit: str, key: str = "") -> int:
    """The index of a unit's fault (of that key) among the single faults."""
    return next(k for k, one in enumerate(board.field.causes) if one.unit == unit and key in ("", str(one.key[0])))


def chance(board: PoweredBoard, seen: Observation, *causes: int) -> list[float]:
    """P(seen | each single fault)."""
    logs = log_likelihood(board.field, board.field.singles(), seen)
    return [float(np.exp(logs[k])) for k in causes]


def test_the_span_is_what_its_shares_are_reckoned_for(board: PoweredBoard) -> None:
    assert board.field.causes[alone(board, PIN)].sites == ("joint@U1.20", "contact@U1.20", "leg@U1.20")


def test_pressing_speaks_for_what_is_pressed(board: PoweredBoard) -> None:
    """P(effect | that pin) = 1 - 0.98 * (1 - 0.5) = 0.51; inside U1 1 - 0.98 * (1 - 0.03) = 0.0494; elsewhere 0.02: odds of pin against elsewhere x 25.5."""
    here, inside, there = alone(board, PIN), alone(board, "part U1"), alone(board, "part U4")
    seen = Effect("press", "U1", (), True)
    assert chance(board, seen, here, inside, there) == pytest.approx([0.51, 0.0494, 0.02])
    none = Effect("press", "U1", (), False)
    assert chance(board, none, here, inside, there) == pytest.approx([0.49, 0.9506, 0.98])
    before = initial(board.field)
    odds = [s.weights[1 + here] / s.weights[1 + there] for s in (before, observed(before, [seen], widen=False))]
    assert odds[1] / odds[0] == pytest.approx(25.5)
    at_pin = Effect("press", "U1", ("20",), True)
    other_pin = alone(board, "span /CM1 2")
    assert chance(board, at_pin, here, other_pin) == pytest.approx([0.51, 0.02])
    by_id = Effect("press", "", (), True, sites=("joint@U1.20",))
    assert chance(board, by_id, here, inside) == pytest.approx([1 - 0.98 * (1 - 0.5 * (1 - CONTACT)), 0.02])
    tapped = Effect("tap", "U1", (), True)
    assert chance(board, tapped, here, there) == pytest.approx([1 - 0.98 * 0.7, 0.02])


def test_reseating_changes_what_is_likely_now(board: PoweredBoard) -> None:
    """p' = p (1 - share cure) + (1 - p) harm / pins, as odds; the chip itself is as it was."""
    here, there = alone(board, PIN), alone(board, "part U4")
    p = board.field.causes[here].prior
    touched = sum(1 for one in board.field.causes if any(s.startswith(("contact@U1.", "leg@U1.")) for s in one.sites))
    after = p * (1 - CONTACT * 0.6) + (1 - p) * 0.01 / touched
    wanted = (after / (1 - after)) / (p / (1 - p))
    assert chance(board, Worked("reseat", "U1"), here, there) == pytest.approx([wanted, 1.0])
    assert odds_after(p, CONTACT, 0.6, 0.01 / touched) == pytest.approx(wanted) and wanted < 1
    assert chance(board, Worked("clean", "U1"), here)[0] < wanted, "cleaning cures more often"
    one_pin = Worked("clean", "U1", pins=("20",))
    other_pin = alone(board, "span /CM1 2")
    wanted = odds_after(p, CONTACT, 0.8, 0.01)
    assert chance(board, one_pin, here, other_pin) == pytest.approx([wanted, 1.0])
    healthy = odds_after(1e-6, 1.0, 0.6, 0.001)
    assert healthy > 1, "a sound contact is made likelier bad, never likelier good"


def test_a_swap_is_evidence_on_chip_and_socket(board: PoweredBoard) -> None:
    """P(starts | chip alone) = 0.98 less misreadings of 3 %; | a pin of its socket alone) 0.98 * share * 0.6; | anything else) the misreading."""
    chip, pin, other = alone(board, "part U1"), alone(board, PIN), alone(board, "part U4")
    e, q = 0.03, 0.98 * CONTACT * 0.6
    works = chance(board, Swapped("U1", True, good=0.98, socket=True), chip, pin, other)
    assert works == pytest.approx([0.98 * 0.97 + 0.02 * 0.03, q * (1 - e) + (1 - q) * e, e])
    fails = chance(board, Swapped("U1", False, good=0.98, socket=True), chip, pin, other)
    assert fails == pytest.approx([1 - one for one in works])
    start = observed(initial(board.field), [Start(-1)])
    units = board.field.units
    p = {
        started: observed(start, [Swapped("U1", started, good=0.98, socket=True)], widen=False).units()
        for started in (True, False)
    }
    for unit in ("part U1", PIN):
        k = units.index(unit)
        assert p[True][k] > start.units()[k] > p[False][k], unit
    assert p[True][units.index("part U4")] < start.units()[units.index("part U4")]
    bad_donor = chance(board, Swapped("U1", False, good=0.05, socket=True), chip)[0]
    assert bad_donor > 0.9, "a chip that is known bad changes nothing, whatever is wrong"


def test_a_good_chip_on_top_helps_where_the_one_below_drives_nothing(board: PoweredBoard) -> None:
    """Floating: 1 - 0.98 * 0.1 = 0.902; a level held: 1 - 0.98 * 0.9 = 0.118; elsewhere 0.02."""
    rows = [alone(board, "part U50", "float"), alone(board, "part U50", "low"), alone(board, "part U51", "float")]
    assert chance(board, Effect("piggyback", "U50", (), True), *rows) == pytest.approx([0.902, 0.118, 0.02])


def test_two_faults_show_twice_as_readily(board: PoweredBoard) -> None:
    """Noisy or: P(none | both) = 0.98 * 0.5 * 0.5."""
    pair = np.array([[alone(board, PIN), alone(board, "span /CM1 2"), -1]], np.int32)
    block = board.field.predicted(pair)
    assert math.exp(log_likelihood(board.field, block, Effect("press", "U1", (), False))[0]) == pytest.approx(0.245)
    assert cured_by(board.field, pair, "U1", "reseat")[0] == pytest.approx((CONTACT * 0.6) ** 2)


@pytest.mark.parametrize("kind", ["unit", "fault"])
def test_witnesses_of_one_unit_and_of_one_fault(board: PoweredBoard, kind: str) -> None:
    """A rail that is too low by itself: 0.9 where that is the fault, 0.02 elsewhere; a whole unit takes both its faults."""
    name = "rail VCC" if kind == "unit" else "lowrail VCC"
    low, missing = alone(board, "rail VCC", "lowrail"), alone(board, "rail VCC", "norail")
    seen = Witness(((kind, name, math.log(0.9)),), math.log(0.02), "too low")
    assert chance(board, seen, low, missing) == pytest.approx([0.9, 0.9 if kind == "unit" else 0.02])


def test_every_observation_is_said_in_words(board: PoweredBoard) -> None:
    rows = [
        Effect("press", "U1", ("20",), True),
        Effect("tap", "U1", (), False),
        Effect("piggyback", "U50", (), True),
        Effect("press", "", (), True, sites=("barrel@1,2:c-s",)),
    ]
    rows += [Worked(act, "U1") for act in ("reseat", "clean", "swap", "press")]  # type: ignore[list-item]
    said = [observation_words(board.field, one) for one in rows]
    assert len(set(said)) == len(rows) and all("U1" in one or "U50" in one or "barrel" in one for one in said)


# ---- steps ----
def shaky(board: PoweredBoard) -> State:
    """A machine whose processor's pins changed something when pressed: much of the belief lies at its contacts."""
    return observed(initial(board.field), [Start(-1), Effect("press", "U1", (), True)])


def steps(state: State, bench: BenchNow) -> dict[tuple[str, str], float]:
    return {(one.kind, one.part): one.gain_bits for one in ranked_steps(state, bench, CostTable(), 99)}


def test_a_reseat_is_proposed_where_contacts_are_suspect_and_what_was_tried_is_not(board: PoweredBoard) -> None:
    bench = BenchNow(hands=HandsNow(sockets=("U1", "U4"), press=True))
    found = steps(shaky(board), bench)
    assert found[("reseat", "U1")] > 0.02 and ("press", "U1") not in found
    assert ("reseat", "U1") not in steps(shaky(board), BenchNow()), "a part that is in no socket is not reseated"
    after = observed(shaky(board), [Worked("reseat", "U1")])
    assert ("reseat", "U1") not in steps(after, bench)
    off = BenchNow(powered=False, may_power=False, hands=bench.hands)
    assert not {kind for kind, _ in steps(shaky(board), off)} & set(HAND_KINDS), (
        "nothing is tried under power that must stay off"
    )


def test_what_a_chip_costs_weighs_in_the_step(board: PoweredBoard) -> None:
    state = observed(initial(board.field), [Start(-1), Warmth("U50", "hot"), Effect("piggyback", "U50", (), True)])
    cheap = BenchNow(hands=HandsNow(replace=("U50",)))
    dear = BenchNow(hands=HandsNow(replace=("U50",), pay=(("U50", 1800.0),)))
    rows = [
        next(one for one in ranked_steps(state, bench, CostTable(), 99) if one.kind == "replace")
        for bench in (cheap, dear)
    ]
    assert rows[1].seconds - rows[0].seconds == pytest.approx(1800.0) and rows[1].score < rows[0].score
    assert rows[0].risk_s > 0 and "cannot be undone" in step_risk(rows[0]) and "local rules" in step_caution(rows[0])
    assert "U50" in step_words(board.field, rows[0])
    assert not [one for one in ranked_steps(state, BenchNow(), CostTable(), 99) if one.kind == "replace"]


def test_every_act_has_its_chances() -> None:
    for name, act in HANDS.items():
        assert 0 <= act.cure < 1 and 0 < act.harm <= 0.05 and 0 <= act.shows < 1 and 0 < act.miss < 0.1, name
