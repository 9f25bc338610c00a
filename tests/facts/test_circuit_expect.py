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


def _board(*rows: tuple[str, str, dict[str, str]], pulls: tuple[tuple[str, str, str], ...] = ()) -> Circuit:
    """Chips of the shipped book by pin number to net, resistors between two nets; VCC and GND come from a connector."""
    book = shipped()
    parts = [PartInput(ref, value, tuple((n, "", net) for n, net in pins.items())) for ref, value, pins in rows]
    parts += [PartInput(ref, "4k7", (("1", "", a), ("2", "", b))) for ref, a, b in pulls]
    parts.append(PartInput("J1", "", (("1", "", "VCC"), ("2", "", "GND"))))
    return build_circuit(parts, book.find)


VIA = {"1": "GND", "20": "VCC", "25": "CLK", **{str(k): f"PA{k - 2}" for k in range(2, 10)}, "39": "CA2"}
CAN = {"1": "", "7": "GND", "8": "CLK", "14": "VCC"}
"""An oscillator in a can drives CLK."""


def test_a_port_does_what_the_program_has_it_do() -> None:
    """6522 data sheet: port A is set pin by pin as input or output, its level by the program. A port that rests is no fault; nor does TXD of a 6551 move
    while nothing is sent (its data sheet: marking, high)."""
    acia = {"1": "GND", "15": "VCC", "6": "CLK", "27": "CLK", "10": "TX", "11": "DTR", "12": "RX"}
    circuit = _board(("U1", "6522", VIA), ("U2", "6551", acia), ("X1", "1 MHz", CAN))
    nets = {one.net: one.expect for one in expectations(circuit, Behaviour(circuit, whole_trees(circuit))).nets}
    assert nets["CLK"] == "clock"
    assert {nets[net] for net in ("PA0", "PA7", "CA2", "TX", "DTR")} == {"by program"}


def test_a_flip_flop_clocked_by_a_part_without_a_type_is_not_said_to_follow_the_program() -> None:
    """A 74112 (TTL data book: J, K high toggle on the clock) divides the clock that an unknown chip makes: it moves."""
    half = {"1": "IN", "2": "VCC", "3": "VCC", "4": "VCC", "5": "OUT", "8": "GND", "15": "VCC", "16": "VCC"}
    circuit = _board(("U1", "74LS112", half), ("U2", "", {"1": "IN", "2": "GND"}))
    found = expectations(circuit, Behaviour(circuit, whole_trees(circuit)))
    nets = {one.net: one.expect for one in found.nets}
    assert nets["IN"] == "unknown" and nets["OUT"] == "moving"


def test_parts_without_a_type_and_open_supply_pins_say_what_to_do() -> None:
    """A package without a parts list: one finding for all its nameless chips that says how to name them, not one each that leads to the device book."""
    pins = {"1": "", "14": "GND", "28": "VCC"}
    rom = {**pins, "1": "NOWHERE"}
    circuit = _board(("U1", "27128", rom), *((f"U{k}", "", {"1": "A", "2": "GND"}) for k in range(2, 14)))
    found = expectations(circuit, Behaviour(circuit, whole_trees(circuit)))
    rows = {one.code: one for one in found.findings}
    assert [one.code for one in found.findings].count("EXP-005") == 1 and "EXP-003" not in rows
    assert (
        "U2, U3" in rows["EXP-005"].words
        and "4 more" in rows["EXP-005"].words
        and "parts.csv" in rows["EXP-005"].remedy
    )
    assert "U1.1 VPP" in rows["EXP-006"].words
    vpp = next(one for one in found.of_part("U1") if one.pin == "U1.1")
    assert vpp.expect == "not connected" and vpp.low_v is None


def test_a_select_that_no_address_reaches_says_so() -> None:
    """Two addresses' NAND and its own inverse: never both low. ``active for`` is then not left empty."""
    address = {str(30 + k): f"A{k}" for k in range(11)} | {str(k - 10): f"A{k}" for k in range(11, 16)}
    cpu = {**address, "11": "VCC", "29": "GND", "6": "CLK", "26": "RES"}
    nand = {"1": "A11", "2": "A11", "3": "N", "4": "A11", "5": "N", "6": "NEVERLOW", "7": "GND", "14": "VCC"}
    ram = {"20": "NEVERLOW2", "14": "GND", "28": "VCC"}
    gate = {"9": "NEVERLOW", "10": "NEVERLOW", "8": "LOW", "12": "LOW", "13": "LOW", "11": "NEVERLOW2"}
    circuit = _board(("U1", "Z80", cpu), ("U2", "74LS00", {**nand, **gate}), ("U3", "62256", ram), ("X1", "4 MHz", CAN))
    (select,) = expectations(circuit, Behaviour(circuit, whole_trees(circuit))).selects
    assert select.pin == "U3.20" and select.active == () and "no address at all" in select.words()
