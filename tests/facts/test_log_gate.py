"""The gate before power. Its items, the 5 ohm and the 0.1 V threshold are common practice on repair benches, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.fakes import CountingIds, MemoryStore

from coppermend.core.log.fold import fold
from coppermend.core.log.gate import GateStatus, SupplyProof, gate_status, is_ground, is_rail
from coppermend.core.log.model import Draft
from coppermend.core.log.state import CaseState

WHEN = "2026-03-01T09:00:00.000Z"


def at(name: str, net: str) -> dict[str, object]:
    return {"id": name, "x_mm": 0.0, "y_mm": 0.0, "side": "c", "net": net}


RAIL = ("ohms", {"points": [at("J1.1/leg", "+5V"), at("J1.2/leg", "GND")], "ohm": 320.0})
SHORTED = ("ohms", {"points": [at("J1.1/leg", "+5V"), at("J1.2/leg", "GND")], "ohm": 0.4})
LIMIT = ("gate", {"item": "limit", "limit_a": 0.5, "abort_a": 0.8})
SUPPLY = ("gate", {"item": "supply", "volt": 5.02})
LOOKED = ("gate", {"item": "orientation"})
TAKEN_IN = ("gate", {"item": "intake"})
WIRE = ("patch", {"points": [at("U1.1/leg", "D0"), at("U2.1/leg", "D0")]})
ON = ("power", {"on": True})


def state_of(*acts: tuple[str, dict[str, object]]) -> CaseState:
    store, ids = MemoryStore("a"), CountingIds()
    case = ids.new()
    for kind, payload in (("case", {"title": "M"}), TAKEN_IN, *acts):
        store.append(Draft(ids.new(), case, "a", WHEN, WHEN, "x", kind, 1, payload))  # type: ignore[arg-type]
    return fold(store.entries(case))


def missing(state: CaseState) -> list[str]:
    return [one.item for one in gate_status(state.gate, state.readings, state.last_soldering).missing]


def without_intake(*acts: tuple[str, dict[str, object]]) -> CaseState:
    state = state_of(*acts)
    return replace(state, gate=tuple(one for one in state.gate if one.item != "intake"))


def test_intake_is_asked_for_once_a_case() -> None:
    """A word at the gate, or what intake says of display, cables and the minimum configuration; the latest of each counts, and solder does not undo it."""
    done = (LOOKED, RAIL, SUPPLY, LIMIT)
    good, ready = (("intake", {"item": item, "yes": True}) for item in ("known good", "minimum"))
    bad = ("intake", {"item": "known good", "yes": False, "words": "picture tube unknown"})

    def status(*acts: tuple[str, dict[str, object]]) -> GateStatus:
        state = without_intake(*acts)
        return gate_status(state.gate, state.readings, state.last_soldering, intake=state.intake)

    assert [one.item for one in status(*done).missing] == ["intake"]
    assert "minimum configuration" in status(*done, good).missing[0].words
    assert status(*done, good, ready).open and status(good, ready, WIRE, *done).open
    assert "picture tube unknown" in status(*done, good, ready, bad).missing[0].words
    assert status(*done, bad, ready, good).open


def test_a_supply_out_of_tolerance_is_not_ticked_off_by_a_word() -> None:
    state = state_of(LOOKED, RAIL, SUPPLY, LIMIT)
    for proof, missing_now, words in (
        (SupplyProof("VCC 5.02 V", (), "VCC 5.9 V"), True, "5.9 V"),
        (SupplyProof("VCC 5.02 V"), False, ""),
    ):
        status = gate_status(state.gate, state.readings, state.last_soldering, supply=proof)
        assert status.open is not missing_now and words in "".join(one.words for one in status.missing)
    bare = state_of(LOOKED, RAIL, LIMIT)
    half = gate_status(bare.gate, bare.readings, bare.last_soldering, supply=SupplyProof("VCC 5.02 V", ("VDD",)))
    assert [one.item for one in half.missing] == ["supply"] and "VDD" in half.missing[0].words


def test_an_override_covers_what_was_known_and_no_later_short() -> None:
    """Power into a short: a word from before the short was read opens nothing; one that follows it is a decision with a reason."""
    over = ("gate", {"item": "override", "words": "in a hurry"})
    early, late = state_of(over, SHORTED), state_of(SHORTED, over)
    assert not gate_status(early.gate, early.readings, early.last_soldering).open
    assert gate_status(late.gate, late.readings, late.last_soldering).overridden == "in a hurry"


def test_an_override_covers_no_supply_found_wrong_later() -> None:
    over = state_of(("gate", {"item": "override", "words": "in a hurry"}))
    position = over.gate[-1].at
    for at_place, is_open in ((position - 1, True), (position + 1, False)):
        proof = SupplyProof("VCC 12 V", ("VCC",), "VCC 12 V, wanted 4.75 to 5.25 V", at_place)
        assert gate_status(over.gate, (), -1, supply=proof).open is is_open


def test_diode_mode_finds_a_short_too() -> None:
    low = ("diode", {"points": [at("J1.1/leg", "+5V"), at("J1.2/leg", "GND")], "volt": 0.012})
    fine = ("diode", {"points": [at("J1.1/leg", "+5V"), at("J1.2/leg", "GND")], "volt": 0.41})
    state = state_of(LOOKED, RAIL, low, SUPPLY, LIMIT)
    status = gate_status(state.gate, state.readings, state.last_soldering)
    assert [(one.item, one.danger) for one in status.missing] == [("rails", True)] and "diode" in status.missing[
        0
    ].words
    assert missing(state_of(LOOKED, RAIL, low, fine, SUPPLY, LIMIT)) == []


def test_nothing_done_leaves_the_other_four() -> None:
    assert missing(state_of()) == ["orientation", "rails", "supply", "limit"]


def test_each_item_opens_its_part_of_the_gate() -> None:
    assert missing(state_of(LOOKED, RAIL)) == ["supply", "limit"]
    assert missing(state_of(LOOKED, RAIL, SUPPLY, LIMIT)) == []


def test_soldering_closes_the_gate_again() -> None:
    done = (LOOKED, RAIL, SUPPLY, LIMIT)
    assert missing(state_of(*done, WIRE)) == ["orientation", "rails", "supply", "limit"]
    assert missing(state_of(WIRE, *done)) == []


@pytest.mark.parametrize(
    ("act", "closes"),
    [
        (("swap", {"part": "U1", "state": "socketed", "states": {"U1": "socketed"}}), False),
        (("swap", {"part": "U1", "state": "replaced", "states": {"U1": "soldered"}}), True),
        (("remove", {"part": "U1", "state": "out", "states": {"U1": "socketed"}}), False),
        (("remove", {"part": "U1", "state": "not fitted", "states": {"U1": "soldered"}}), True),
        (("fit", {"part": "U1", "state": "socketed", "states": {"U1": "out"}}), False),
        (("fit", {"part": "U1", "state": "soldered", "states": {"U1": "not fitted"}}), True),
        (("solder", {"points": [at("U1.1/leg", "D0")]}), True),
        (("cut", {"x_mm": 1.0, "y_mm": 1.0, "side": "c"}), True),
        (("reseat", {"part": "U1"}), False),
        (("look", {"part": "U1"}), False),
    ],
)
def test_only_solder_and_cuts_close_it(act: tuple[str, dict[str, object]], closes: bool) -> None:
    assert bool(missing(state_of(LOOKED, RAIL, SUPPLY, LIMIT, act))) is closes


def test_a_shorted_rail_keeps_the_gate_shut_until_it_is_measured_well() -> None:
    status = state_of(LOOKED, SHORTED, SUPPLY, LIMIT)
    assert missing(status) == ["rails"]
    assert "0.4 Ω" in gate_status(status.gate, status.readings, status.last_soldering).missing[0].words
    assert missing(state_of(LOOKED, SHORTED, SUPPLY, LIMIT, RAIL)) == []


BATTERY = ("ohms", {"points": [at("U2.24/leg", "VBB"), at("J1.2/leg", "GND")], "ohm": 5600.0})


def test_every_rail_of_the_board_is_asked_for() -> None:
    """One of two measured is not done, both are; a board whose rails nobody knows is as before."""
    one, both = state_of(LOOKED, RAIL, SUPPLY, LIMIT), state_of(LOOKED, RAIL, BATTERY, SUPPLY, LIMIT)
    rails = ("+5V", "VBB")
    half = gate_status(one.gate, one.readings, one.last_soldering, rails)
    assert [item.item for item in half.missing] == ["rails"]
    assert "1 of 2" in half.missing[0].words and "VBB" in half.missing[0].words
    whole = gate_status(both.gate, both.readings, both.last_soldering, rails)
    assert whole.open and next(item for item in whole.items if item.item == "rails").words.startswith("2 of 2")
    assert gate_status(one.gate, one.readings, one.last_soldering).open


def test_a_hands_word_counts_and_says_what_it_did_not_read() -> None:
    state = state_of(LOOKED, SUPPLY, LIMIT, RAIL, ("gate", {"item": "rails", "words": "all above 300 ohm"}))
    status = gate_status(state.gate, state.readings, state.last_soldering, ("+5V", "VBB"))
    assert status.open and "by hand; no reading of VBB" in next(i for i in status.items if i.item == "rails").words
    named = state_of(LOOKED, SUPPLY, LIMIT, ("gate", {"item": "rails", "words": "+5V 320 ohm"}))
    half = gate_status(named.gate, named.readings, named.last_soldering, ("+5V", "VBB"))
    assert not half.open and "1 of 2" in half.missing[0].words, "a word that names one rail counts for that one"


def test_a_rail_that_no_name_tells() -> None:
    """The device book says that the net feeds supply pins: it counts as a rail, and so does a ground by another name."""
    odd = ("ohms", {"points": [at("U1.8/leg", "N$7"), at("U1.4/leg", "N$1")], "ohm": 410.0})
    state = state_of(LOOKED, SUPPLY, LIMIT, odd)
    assert not gate_status(state.gate, state.readings, state.last_soldering).open
    assert gate_status(state.gate, state.readings, state.last_soldering, ("N$7",), ("N$1",)).open


def test_a_power_up_keeps_what_was_asked_of_it() -> None:
    """The entry keeps the rails there were, so that the fold judges that power-up by them; an older entry without them folds as before."""
    asked = ("power", {"on": True, "rails": ["+5V", "VBB"], "grounds": ["GND"]})
    assert not state_of(LOOKED, RAIL, SUPPLY, LIMIT, asked).power_ups[0].gate_open
    assert state_of(LOOKED, RAIL, BATTERY, SUPPLY, LIMIT, asked).power_ups[0].gate_open
    assert state_of(LOOKED, RAIL, SUPPLY, LIMIT, ON).power_ups[0].gate_open


def test_a_limit_without_an_abort_value_is_no_limit() -> None:
    assert missing(state_of(LOOKED, RAIL, SUPPLY, ("gate", {"item": "limit", "limit_a": 0.5}))) == ["limit"]


def test_an_override_opens_it_and_the_power_up_says_so() -> None:
    state = state_of(WIRE, ("gate", {"item": "override", "words": "owner insists"}), ON, ("seen", {"screen": "black"}))
    assert gate_status(state.gate, state.readings, state.last_soldering).open
    assert (state.power_ups[0].overrides, state.power_ups[0].gate_open) == ("owner insists", True)
    assert not gate_status(state_of(("gate", {"item": "override", "words": "x"}), WIRE).gate, (), 3).open


def test_each_power_up_knows_the_repairs_before_it() -> None:
    state = state_of(
        WIRE, ("reseat", {"part": "U1"}), ON, ("seen", {"words": "dead"}), ("power", {"on": False}), WIRE, ON
    )
    assert [len(up.repairs) for up in state.power_ups] == [2, 1]
    assert [len(up.seen) for up in state.power_ups] == [1, 0]
    assert state.power_ups[0].off_at and state.power_on


@pytest.mark.parametrize(
    "net", ["+5V", "VCC", "5V", "+12V", "-12V", "-5V", "3V3", "+3.3V", "VDD", "VBAT", "P5V", "VPP", "+5"]
)
def test_names_that_rails_go_by(net: str) -> None:
    assert is_rail(net) and not is_ground(net)


@pytest.mark.parametrize("net", ["GND", "AGND", "VSS", "0V", "DGND", "GND1"])
def test_names_that_ground_goes_by(net: str) -> None:
    assert is_ground(net) and not is_rail(net)


@pytest.mark.parametrize(
    "net", ["D0", "A15", "/RESET", "CLK", "N$12", "V", "5", "Net-(U1-Pad5)", "VIDEO", "VSYNC", "12MHZ"]
)
def test_other_names_are_neither(net: str) -> None:
    assert not is_rail(net) and not is_ground(net)
