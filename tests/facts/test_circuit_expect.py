"""Expectations of the demonstration machine and of small circuits, against its own description and the chips' data sheets."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from coppermend import bootstrap
from coppermend.core.circuit.build import PartInput, build_circuit
from coppermend.core.circuit.expect import Expectations, expectations
from coppermend.core.circuit.model import Circuit
from coppermend.core.circuit.planes import SYMBOL_WORDS, Behaviour, whole_trees
from coppermend.core.circuit.toychip import Toy
from coppermend.core.findings import Refusal
from coppermend.devices.book import shipped
from coppermend.formats.machinefile import read_machine
from coppermend.services.expect import expect_for_board

DEMO = Path(__file__).resolve().parents[2] / "demo"


@pytest.fixture(scope="module")
def found() -> Expectations:
    return expect_for_board(bootstrap.open_board("demo"), bootstrap.device_book(), bootstrap.machine_model("demo"))


def test_clocks_follow_from_the_crystal(found: Expectations) -> None:
    """demo/circuit.py: 16 MHz crystal, a 74163 divides; QA is the clock halved, QB a quarter, QC an eighth (TTL data book)."""
    hz = {one.net: one.hz for one in found.nets}
    assert (
        hz["DOTCLK"] == 16e6 and hz["DIV8M"] == 8e6 and hz["CPUCLK"] == 4e6 and hz["XCLK"] == 4e6 and hz["CCLK"] == 2e6
    )
    cpu = {one.pin: one for one in found.of_part("U1")}
    assert cpu["U1.6"].expect == "clock" and "4 MHz" in cpu["U1.6"].words


def test_resets_say_their_polarity(found: Expectations) -> None:
    """Z80 data sheet: /RESET is active low. The board's RC holds RSTRC low at first; two Schmitt inverters follow."""
    cpu = {one.pin: one for one in found.of_part("U1")}
    assert cpu["U1.26"].expect == "high" and "active low" in cpu["U1.26"].words
    nets = {one.net: one for one in found.nets}
    assert nets["RESET"].expect == "low" and nets["/WAIT"].expect == "high" and "R19 up" in nets["/WAIT"].pulls


def test_supply_pins(found: Expectations) -> None:
    """Z80: pin 11 is VCC (5 V), pin 29 ground (data sheet)."""
    cpu = {one.pin: one for one in found.of_part("U1")}
    assert cpu["U1.11"].expect == "rail" and cpu["U1.11"].low_v == pytest.approx(4.75)
    assert cpu["U1.29"].expect == "ground"


def test_selects_answer_to_the_machines_memory_map(found: Expectations) -> None:
    """demo/machine.json states the memory map; the decoding is worked out from netlist and book alone."""
    said = {
        row["part"]: (row["from"], row["to"])
        for row in json.loads((DEMO / "machine.json").read_text(encoding="utf-8"))["memory_map"]
        if row.get("rom") == "on" and row["part"] in ("U4", "U5", "U27")
    }
    ranges = {one.pin.split(".")[0]: one.ranges for one in found.selects if one.ranges}
    assert said and all(ranges[part] == (span,) for part, span in said.items())


def test_the_checklist_goes_in_the_order_of_common_practice(found: Expectations) -> None:
    order = [
        "look",
        "resistance",
        "rails",
        "clock",
        "reset",
        "processor",
        "selects",
        "buses",
        "memory",
        "video",
        "rest",
    ]
    steps = [one.step for one in found.checklist]
    assert [one for one in order if one in steps] == sorted(set(steps), key=order.index)
    assert steps == sorted(steps, key=order.index)
    pins = [one.pin for one in found.checklist if one.pin]
    assert len(pins) == len(set(pins))


def test_a_machine_file_adds_what_the_book_cannot_know(found: Expectations) -> None:
    nets = {one.net: one for one in found.nets}
    assert nets["ROMOFF"].expect == "low" and "program" in nets["ROMOFF"].words
    assert [s.name for s in bootstrap.machine_model("demo").screens][:3] == ["works", "no sync", "blank"]


def two_outputs() -> Circuit:
    buffer = Toy("BUF", "1 A input|2 Y output|7 GND ground|14 VCC power", {"Y": "A"})
    supply = (("7", "", "GND"), ("14", "", "VCC"))
    rows = (
        PartInput("U1", "BUF", (("1", "", "IN"), ("2", "", "OUT"), *supply)),
        PartInput("U2", "BUF", (("1", "", ""), ("2", "", "OUT"), *supply)),
        PartInput("R1", "1k", (("1", "", "IN"), ("2", "", "VCC"))),
        PartInput("U3", "something rare", (("1", "", "OUT"),)),
    )
    return build_circuit(rows, lambda text: buffer if text == "BUF" else None)


def test_fights_open_inputs_and_unknown_chips_are_said() -> None:
    circuit = two_outputs()
    codes = {one.code: one.words for one in expectations(circuit, Behaviour(circuit, whole_trees(circuit))).findings}
    assert "U1.2, U2.2" in codes["EXP-002"] and "U2.1" in codes["EXP-001"] and "U3" in codes["EXP-003"]


def test_a_part_that_is_not_there_is_refused_with_the_nearest() -> None:
    with pytest.raises(Refusal, match="EXP-010"):
        expect_for_board(bootstrap.open_board("demo"), shipped(), None, "U999")


@pytest.mark.parametrize(
    ("text", "code"),
    [(b"\xff", "MAC-001"), (b"[[screen]", "MAC-001"), (b"screen = 1", "MAC-002"), (b"[[screen]]\nwords = 'x'", "MAC-002"),
     (b"[[screen]]\nname = 'a'\nstill = 'VCC'", "MAC-002"), (b"[[expect]]\nnet = 'A'\nlevel = 'loud'", "MAC-002")],
)  # fmt: skip
def test_a_bad_machine_file_is_refused_in_words(text: bytes, code: str) -> None:
    with pytest.raises(Refusal, match=code):
        read_machine(text)


def switches(*rows: PartInput) -> Behaviour:
    """A driver of IN (high), a pull-up of 10k on OUT with a gate behind it, a supply, and these parts."""
    hold = Toy("HLD", "1 A input|2 Y output|7 GND ground|14 VCC power", {"Y": "A"})
    see = Toy("SEE", "1 A input|2 Y output|7 GND ground|14 VCC power", {"Y": "!A"})
    supply = (("7", "", "GND"), ("14", "", "VCC"))
    base = (
        PartInput("U1", "HLD", (("1", "", "VCC"), ("2", "", "IN"), *supply)),
        PartInput("U2", "SEE", (("1", "", "OUT"), ("2", "", "NOT"), *supply)),
        PartInput("R1", "10k", (("1", "", "OUT"), ("2", "", "VCC"))),
        PartInput("J1", "", (("1", "", "VCC"), ("2", "", "GND"))),
    )
    book = {"HLD": hold, "SEE": see}
    circuit = build_circuit((*base, *rows), lambda value: book.get(value) or shipped().find(value))
    return Behaviour(circuit, whole_trees(circuit))


def leg(value: str, **nets: str) -> PartInput:
    chip = shipped().get(value)
    return PartInput("Q1", value, tuple((str(p.number), "", nets[p.name]) for p in chip.pins))


@pytest.mark.parametrize(
    ("part", "net", "is_"),
    [
        (leg("2N3904", E="GND", B="IN", C="OUT"), "OUT", "low"),
        (leg("BC547", E="GND", B="IN", C="OUT"), "OUT", "low"),
        (leg("2SC1815", E="OUT", B="IN", C="VCC"), "OUT", "high"),
        (leg("2N3906", E="VCC", B="IN", C="OUT"), "OUT", "high"),
    ],
)
def test_a_transistor_switches_by_its_type(part: PartInput, net: str, is_: str) -> None:
    """Common emitter inverts, common collector follows (textbook rules): a high base pulls an NPN's collector low, shuts a PNP (R1 then holds OUT high)."""
    made = switches(part)
    assert SYMBOL_WORDS[made.healthy_symbol(net)] == is_
    assert made.circuit.by_ref["Q1"].chip is not None


def test_a_transistor_of_unknown_type_leaves_its_net_unknown() -> None:
    """Nobody knows whether it pulls: the pulled net is not called high."""
    legs = (("1", "", "GND"), ("2", "", "IN"), ("3", "", "OUT"))
    made = switches(PartInput("Q1", "S1234", legs))
    assert "OUT" in made.circuit.unknown_nets and made.circuit.by_ref["Q1"].chip is None
    assert "EXP-004" in [one.code for one in expectations(made.circuit, made, None).findings]
    lost = switches(leg("2N3904", E="GND", B="NOWHERE", C="OUT"))
    assert "OUT" in lost.circuit.unknown_nets, "a base that nothing drives says nothing about the collector"
