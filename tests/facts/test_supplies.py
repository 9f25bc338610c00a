"""The supply judged, the draw to expect, which part shorts a rail, and consent.

Outside figures: 5 V with 5 % is 4.75 to 5.25 V (the TTL families' supply, TTL data books); 50 mV peak to peak on 5 V and 120 mV on 12 V (ATX12V Power
Supply Design Guide, from memory); VBB of a 2708 and a 4116 before the other supplies (Intel 2708 and Mostek MK4116 data sheets, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coppermend.core.circuit.model import Circuit, CircuitPart, Rail, Terminal
from coppermend.core.circuit.supplies import (
    RailWant,
    expected_draw,
    far_drop,
    first_rails,
    rise_faults,
    supply_faults,
)
from coppermend.core.log.consent import consent_of
from coppermend.core.log.kinds import IRREVERSIBLE
from coppermend.core.log.state import IntakeNote
from coppermend.devices.book import shipped
from coppermend.services.railshort import kind_of

VCC, VDD, VBB = RailWant("VCC", 5.0, 5.0), RailWant("VDD", 12.0, 10.0), RailWant("VBB", -5.0, 10.0)


@pytest.mark.parametrize(
    ("want", "volt", "right"),
    [
        (VCC, 4.75, True),
        (VCC, 5.25, True),
        (VCC, 4.74, False),
        (VCC, 5.26, False),
        (VBB, -4.5, True),
        (VBB, 5.0, False),
    ],
)
def test_a_rail_within_the_tolerance_of_the_book(want: RailWant, volt: float, right: bool) -> None:
    assert (supply_faults(want, volt, None, None) == ()) is right


def test_ripple_and_noise() -> None:
    assert VCC.ripple_v == pytest.approx(0.05) and VDD.ripple_v == pytest.approx(0.12)
    assert supply_faults(VCC, 5.0, 0.05, 0.049) == ()
    assert len(supply_faults(VCC, 5.0, 0.051, 0.2)) == 2
    assert supply_faults(VCC, None, None, None), "an overload is no proof"


def chip(ref: str, type_name: str, nets: dict[str, str]) -> CircuitPart:
    found = shipped().find(type_name)
    assert found is not None
    pins = tuple(Terminal(ref, str(p.number), p.name, str(p.kind), nets.get(p.name, "")) for p in found.pins)
    return CircuitPart(ref, type_name, "chip", pins, found)


def circuit(*parts: CircuitPart) -> Circuit:
    nets: dict[str, list[Terminal]] = {}
    for part in parts:
        for t in part.terminals:
            if t.net:
                nets.setdefault(t.net, []).append(t)
    rails = {
        "VCC": Rail("VCC", 5.0, 5.0, False, ()),
        "VDD": Rail("VDD", 12.0, 10.0, False, ()),
        "VBB": Rail("VBB", -5.0, 10.0, False, ()),
    }
    rails["GND"] = Rail("GND", 0.0, 0.0, True, ())
    return Circuit(parts, {k: tuple(v) for k, v in nets.items()}, rails, (), (), frozenset(), {p.ref: p for p in parts})  # fmt: skip


RAM = {"VBB": "VBB", "VDD": "VDD", "VCC": "VCC", "VSS": "GND"}


def test_the_rail_that_must_come_first() -> None:
    made = circuit(chip("U1", "4116", RAM))
    first = first_rails(made, {"U1": shipped().find("4116").power_first})  # type: ignore[union-attr]
    assert first == {"VBB": ("VCC", "VDD")}
    assert rise_faults({"VBB": 0.01, "VDD": 0.02, "VCC": 0.02}, first) == ()
    assert rise_faults({"VBB": 0.03, "VDD": 0.02}, first) == ("VBB comes up 10 ms after VDD and must come before it",)


def test_the_draw_is_the_sum_of_the_books_dissipations_over_the_voltage() -> None:
    """Two chips of 0.5 W and 0.25 W on 5 V draw 0.15 A; abort 1.3 times that, limit 1.6 times, each rounded up to 50 mA."""
    made = circuit(
        chip("U1", "7400", {"VCC": "VCC", "GND": "GND"}),
        chip("U2", "7404", {"VCC": "VCC", "GND": "GND"}),
        chip("U3", "4116", RAM),
    )
    draws = {one.net: one for one in expected_draw(made, {"U1": 0.5, "U2": 0.25, "U3": None})}
    assert draws["VCC"].ampere == pytest.approx(0.15) and draws["VCC"].counted == ("U1", "U2")
    assert (draws["VCC"].abort_a, draws["VCC"].limit_a) == (0.2, 0.25)
    assert draws["VDD"].unknown == ("U3",), "a chip on several rails counts on that of the largest voltage"


def test_what_is_lost_on_the_way() -> None:
    """0.25 V of 5 V is 5 %; 0.03 V is 0.6 %."""
    assert far_drop(VCC, 5.02, 4.77).share == pytest.approx(0.05) and far_drop(VCC, 5.02, 4.77).bad
    assert not far_drop(VCC, 5.02, 4.99).bad and far_drop(VBB, -5.0, -4.7).bad


@pytest.mark.parametrize(
    ("value", "kind"),
    [
        ("10u tant", "tantalum"),
        ("Tantalum 4u7", "tantalum"),
        ("22u 16V", "electrolytic"),
        ("1m", "electrolytic"),
        ("100n", "capacitor"),
        ("22p", "capacitor"),
    ],
)
def test_capacitors_told_by_their_value(value: str, kind: str) -> None:
    assert kind_of(CircuitPart("C1", value, "capacitor", ())) == kind


def test_only_data_sheets_that_allow_it_take_a_chip_on_top() -> None:
    book = shipped()
    assert {t: book.find(t).piggyback for t in ("4164", "4116", "7400", "Z80", "7805")} == {  # type: ignore[union-attr]
        "4164": "tri-state", "4116": "tri-state", "7400": "", "Z80": "", "7805": "",
    }  # fmt: skip
    for one in book.chips.values():
        if one.piggyback:
            assert not one.makes and any(str(p.kind) in ("tri-state", "bidirectional") for p in one.pins), one.type


def intake(at: int, item: str, **said: object) -> IntakeNote:
    blank = IntakeNote(f"e{at}", at, item, "", None, None, "", (), (), "")
    return replace(blank, **said)  # type: ignore[arg-type]


def test_the_owners_latest_word_counts() -> None:
    assert not consent_of(()).allows("unsolder")
    some = [intake(1, "consent", yes=True, acts=("unsolder",)), intake(2, "limit", amount=80.0, currency="EUR")]
    assert [act for act in IRREVERSIBLE if consent_of(some).allows(act)] == ["unsolder"]
    assert consent_of(some).affords(70.0, 10.0) and not consent_of(some).affords(70.0, 10.5)
    all_of_it = [*some, intake(3, "consent", yes=True)]
    assert all(consent_of(all_of_it).allows(act) for act in IRREVERSIBLE)
    taken_back = [*all_of_it, intake(4, "consent", yes=False, acts=("cut track",))]
    assert not consent_of(taken_back).allows("cut track") and consent_of(taken_back).allows("coat")
    assert np.isfinite(consent_of(some).limit or 0.0) and consent_of(()).affords(1e9, 1.0)
