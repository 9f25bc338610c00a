"""Small parts: values and tolerances as printed, what ohms across them in circuit say, and their faults in the field of suspects.

Values: IEC 60062 (codes and letters; from memory). In circuit a reading above the value is the part's own: whatever lies in parallel only lowers it (Kirchhoff).
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from coppermend.bootstrap import device_book, powered_setting, workshop
from coppermend.core.belief.suspects.causes import list_causes
from coppermend.core.belief.suspects.posterior import Look, Start, Witness, initial, observed
from coppermend.core.belief.suspects.table import FLOATING, FaultTable
from coppermend.core.circuit.build import PartInput, build_circuit
from coppermend.core.circuit.model import Circuit
from coppermend.core.circuit.passives import PRIORS, across_rail, feeders_of, kind_of, passive_of, read_across
from coppermend.core.circuit.planes import FLOATS, Behaviour, whole_trees
from coppermend.services.bind import bind
from coppermend.services.cases import new_case
from coppermend.services.notes import note
from coppermend.services.passivework import passives_view
from coppermend.services.powered import PoweredBoard
from coppermend.services.suspects import suspects_for_case
from coppermend.services.typed import request_from_words


def circuit(*more: PartInput) -> Circuit:
    """A power connector, a fuse, a coil and capacitors before two inverters of the book."""
    book = device_book(None)
    rows = [
        PartInput("J1", "", (("1", "", "+5IN"), ("2", "", "GND"))),
        PartInput("F1", "T1A", (("1", "", "+5IN"), ("2", "", "VCC"))),
        PartInput("C1", "22u tant 16V", (("1", "", "VCC"), ("2", "", "GND"))),
        PartInput("C2", "100u 16V", (("1", "", "VCC"), ("2", "", "GND"))),
        PartInput("C3", "100n", (("1", "", "VCC"), ("2", "", "GND"))),
        PartInput("R1", "4k7 1%", (("1", "", "VCC"), ("2", "", "A"))),
        PartInput("U1", "74LS04", (("1", "", "A"), ("2", "", "B"), ("3", "", "B"), ("4", "", "C"), ("7", "", "GND"), ("14", "", "VCC"))),
        *more,
    ]  # fmt: skip
    return build_circuit(rows, book.find)


def test_kinds_values_and_tolerances() -> None:
    made = circuit()
    assert {ref: kind_of(made.by_ref[ref]) for ref in ("F1", "C1", "C2", "C3", "R1", "U1")} == {
        "F1": "fuse", "C1": "tantalum", "C2": "electrolytic", "C3": "ceramic", "R1": "resistor", "U1": "",
    }  # fmt: skip
    fuse, tantalum, resistor = (passive_of(made.by_ref[ref]) for ref in ("F1", "C1", "R1"))
    assert (
        fuse
        and fuse.value == 1.0
        and tantalum
        and tantalum.value == pytest.approx(22e-6)
        and tantalum.faults[0] == "shorted"
    )
    assert (
        resistor
        and resistor.value == 4700
        and resistor.tolerance_percent == 1.0
        and resistor.most == pytest.approx(4700 * 1.03)
    )
    assert passive_of(made.by_ref["U1"]) is None


def test_what_a_rail_hangs_on() -> None:
    made = circuit()
    assert (
        feeders_of(made, "VCC") == ("F1",)
        and across_rail(made, "VCC") == ("C1", "C2")
        and feeders_of(made, "GND") == ()
    )


@pytest.mark.parametrize(("ref", "ohm", "bad"), [
    ("R1", 4700.0, False), ("R1", 5000.0, True), ("R1", None, True), ("R1", 900.0, None), ("R1", 0.0, None), ("F1", 0.3, False), ("F1", None, True), ("F1", 47.0, None),
    ("C1", 0.4, True), ("C1", 3000.0, False), ("C1", 20.0, None), ("C2", None, False),
])  # fmt: skip
def test_ohms_across_a_part(ref: str, ohm: float | None, bad: bool | None) -> None:
    facts = passive_of(circuit().by_ref[ref])
    assert facts is not None
    said, words = read_across(facts, ohm)
    assert said is bad and words.startswith("reads ")


def test_a_parallel_way_never_reads_above_the_value() -> None:
    """R parallel to anything from 0 to infinity is at most R: of a thousand such readings none blames the resistor, whose own drift up to tolerance is allowed."""
    facts = passive_of(circuit().by_ref["R1"])
    assert facts is not None and facts.value is not None
    rng = np.random.default_rng(5)
    for other, drift in zip(10 ** rng.uniform(0, 8, 1000), rng.uniform(-0.01, 0.01, 1000), strict=True):
        own = facts.value * (1 + drift)
        assert read_across(facts, float(own * other / (own + other)))[0] is not True


def test_faults_of_supply_parts_take_the_rail_down() -> None:
    made = circuit()
    behaviour = Behaviour(made, whole_trees(made))
    causes = {c.key: c for c in list_causes(made, {}, (), FaultTable(), ())}
    assert {("open", "F1"), ("shorted", "C1"), ("dried", "C1"), ("shorted", "C2"), ("dried", "C2")} - set(causes) == {
        ("dried", "C1")
    }
    assert causes["shorted", "C1"].prior == PRIORS["tantalum", "shorted"] and causes["open", "F1"].part == "F1"
    one = np.array([1], np.uint64)
    for key in (("open", "F1"), ("shorted", "C1"), ("norail", "VCC")):
        out = behaviour.simulate({key: one}, 1)
        assert int(out.present["VCC"][0][0]) & 1 == 0, key
    healthy = behaviour.simulate({}, 1)
    assert int(healthy.present["VCC"][0][0]) & 1 == 1
    assert int(behaviour.simulate({("dried", "C2"): one}, 1).low["VCC"][0]) & 1 == 1
    assert FLOATS >= 0


def test_a_shorted_capacitor_explains_a_missing_rail() -> None:
    """The demonstration machine: VCC is away at a supply pin; the rail and what can pull it down gain, by Bayes' rule over their priors."""
    board: PoweredBoard = powered_setting("demo", most=20_000)
    field = board.field
    spot = next(s for s in field.spots if s.net == "VCC")
    other = next(s for s in field.spots if s.net == "VCC" and s.node != spot.node)
    looks = [Look("VCC", one.node, FLOATING) for one in (spot, other)]
    state = observed(initial(field), [Start(-1), *looks])
    p = dict(zip((c.key for c in field.causes), state.causes().tolist(), strict=True))
    before = dict(
        zip((c.key for c in field.causes), observed(initial(field), [Start(-1)]).causes().tolist(), strict=True)
    )
    assert p["norail", "VCC"] > before["norail", "VCC"] and p["shorted", "C10"] > before["shorted", "C10"]
    # a tenth of the belief is that the table of priors does not know this board: that share of the mean of all odds is added to each
    mean = math.fsum(c.prior / (1.0 - c.prior) for c in field.causes) / len(field.causes)
    rail, short = (0.9 * odds + 0.1 * mean for odds in (0.01 / 0.99, 0.0002 / 0.9998))
    assert p["norail", "VCC"] / p["shorted", "C10"] == pytest.approx(
        rail / short, rel=0.1
    )  # sets of several faults blur it
    shown = observed(state, [Witness((("part", "C10", 0.0),), math.log(0.02), "C10 reads 0.4 ohm: shorted")])
    assert shown.causes()[[c.key for c in field.causes].index(("shorted", "C10"))] > 5 * p["shorted", "C10"]


def test_ohms_noted_across_a_resistor_weigh_it(tmp_path: Path) -> None:
    store = str(tmp_path / "store")
    shop = workshop(store)
    case = new_case(shop, "demo", "Machine", complaint="dark").state.case
    book = device_book(store)
    rows = passives_view(shop, case, book)["parts"]
    one = next(r for r in rows if r["kind"] == "resistor" and r["value"] and r["value"] < 20_000)
    part = next(p for p in bind(shop, case).board.parts if p.ref == one["ref"])
    a, b = (pin.name for pin in part.pins[:2])
    note(shop, case, request_from_words(shop, case, "ohms", [a, b, f"{3 * one['value']:.0f}"]))
    read = next(r for r in passives_view(shop, case, book)["parts"] if r["ref"] == one["ref"])["read"]
    assert read[0]["bad"] is True and "drifted" in read[0]["words"]
    view = suspects_for_case(shop, case, book)
    assert any(one["ref"] in words and "open or drifted up" in words for _, words in view.used)


def test_one_element_of_a_network_fails_alone(tmp_path: Path) -> None:
    """RN1, 8 x 10k with pin 1 in common (demo/circuit.py): 15 k between 1 and 3 is that element's fault (parallel ways only lower a reading, Kirchhoff); the
    9.9 k between 1 and 4, read later, is sound and speaks not against it. Read again and right, the first reading counts no more."""
    store = f"sqlite:///{tmp_path / 'cases.db'}"
    shop = workshop(store)
    case = new_case(shop, "demo", "Machine", complaint="dark").state.case
    book = device_book(store)

    def read(*words: str) -> list[str]:
        note(shop, case, request_from_words(shop, case, "ohms", list(words)))
        return [one for _, one in suspects_for_case(shop, case, book).used if one.startswith("RN1")]

    read("RN1.1", "RN1.3", "15k")
    assert read("RN1.1", "RN1.4", "9.9k") == [
        "RN1.1 to RN1.3 reads 15 kohm where at most 10.7 kohm can be: open or drifted up"
    ]
    shown = next(r for r in passives_view(shop, case, book)["parts"] if r["ref"] == "RN1")["read"]
    assert [one["bad"] for one in shown] == [True, False] and shown[0]["words"].startswith("RN1.1 to RN1.3")
    assert all("its value" in one for one in read("RN1.3", "RN1.1", "9.95k"))
