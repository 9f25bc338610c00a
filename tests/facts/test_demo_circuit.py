"""The demonstration machine as a circuit: it breaks no electrical rule, its maps come out, and the check sees what is wrong."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from demo.circuit import Part, decoupled, nets, parts
from demo.electrical import check, ohms
from demo.logic import all_states, cpu_state, drivers, settle
from demo.placement import HEIGHT_MM, WIDTH_MM

ROOT = Path(__file__).resolve().parents[2]
PARTS = parts()
MACHINE = json.loads((ROOT / "demo" / "machine.json").read_text(encoding="utf-8"))


def rewire(ref: str, key: str, net: str) -> tuple[Part, ...]:
    """The circuit with one pin moved to another net."""
    changed = []
    for part in PARTS:
        if part.ref == ref:
            number = part.device.pin(key).number
            part = replace(part, nets=tuple((n, net if n == number else old) for n, old in part.nets))
        changed.append(part)
    return tuple(changed)


def test_the_circuit_breaks_no_rule():
    assert check(PARTS) == []


@pytest.mark.parametrize(("ref", "key", "net", "rule"), [
    ("U9", "/Y0", "/VSEL", "two drivers"),  # two push-pull outputs on one net
    ("U35", "/1G", "/STRD", "contention"),  # the keyboard buffer answers for the status port
    ("U4", "/CE", "/ROM1", "contention"),  # both ROMs at 4000
    ("U16", "1Y", "", "no driver"),  # nothing selects the BASIC ROM
    ("U1", "/INT", "", "floating input"),
    ("U20", "VCC", "GND", "supply"),
    ("U43", "1Y", "GND", "output on a rail"),
    ("U57", "NC", "D7", "supply"),
    ("R18", "2", "GND", "no pull-up"),  # the interrupt line of the open-drain clock
])  # fmt: skip
def test_the_check_sees_a_wrong_wire(ref, key, net, rule):
    assert rule in {f.rule for f in check(rewire(ref, key, net))}


def test_the_check_sees_too_strong_a_pull_up():
    """(5 - 0.4) V / 330 ohm = 13.9 mA is more than the 8 mA that a 74LS output can take (TTL data book)."""
    strong = tuple(replace(p, value="330R") if p.ref == "R14" else p for p in PARTS)
    assert [(f.rule, f.where) for f in check(strong)] == [("load", "CPUCLK")]


def test_an_unfitted_decoupling_capacitor_is_seen():
    first = next(p.ref for p in PARTS if p.value == "100n" and {n for _, n in p.nets} == {"GND", "VCC"})
    assert "decoupling" in {f.rule for f in check(tuple(p for p in PARTS if p.ref != first))}


@pytest.mark.parametrize("row", MACHINE["memory_map"], ids=lambda r: f"{r['from']:04X} ROMs {r['rom']}")
def test_the_memory_map_of_the_manual_is_that_of_the_gates(row):
    """Every 1 KiB of the stated range is answered by the stated part and by no other."""
    for address in range(row["from"], row["to"], 1024):
        given, writes = cpu_state("read", address)
        levels = settle(PARTS, given | {"ROMOFF": row["rom"] == "off", "CASEN": True, "MUX": True, "/CKCE": False})
        for bit in range(8):
            part = f"U{50 + bit}" if row["part"] == "U50-U57" else row["part"]
            assert drivers(PARTS, levels, f"D{bit}", writes) == [part]


@pytest.mark.parametrize(("port", "part"), [(0x20, "U35"), (0x40, "U36"), (0x80, "U38"), (0xE0, "U2")])
def test_the_ports_that_can_be_read(port, part):
    given, writes = cpu_state("in", port)
    levels = settle(PARTS, given | {"CASEN": False, "MUX": False, "/CKCE": False, "ROMOFF": False})
    assert drivers(PARTS, levels, "D3", writes) == [part]


@pytest.mark.parametrize(
    ("port", "net", "level"),
    [(0x00, "CRTE", True), (0x40, "/LATCH", False), (0x60, "CKAS", True), (0x80, "/CKWR", False)],
)
def test_each_port_written_pulses_its_own_strobe(port, net, level):
    strobes = {"CRTE": False, "/LATCH": True, "CKAS": False, "/CKWR": True}  # at rest
    given, _ = cpu_state("out", port)
    levels = settle(PARTS, given | {"CASEN": False, "MUX": False, "/CKCE": False, "ROMOFF": False})
    assert {k: levels[k] for k in strobes} == strobes | {net: level}


def test_refresh_opens_a_row_and_nothing_else():
    """A refresh cycle pulls /RAS alone (4164 data sheet: RAS-only refresh) and nobody drives the bus."""
    for kind, _, given, writes in all_states():
        if kind == "refresh":
            levels = settle(PARTS, given)
            assert (levels["/DRAS"], levels["/DCAS"]) == (False, True)
            assert drivers(PARTS, levels, "D0", writes) == []


def test_a_ram_write_is_an_early_write():
    """/WE is low before /CAS falls, so the RAM's output stays off (4164 data sheet: early write)."""
    given, writes = cpu_state("setup", 0x8000)
    state = {"ROMOFF": False, "CASEN": True, "MUX": True, "/CKCE": False}
    assert settle(PARTS, given | state)["/DCAS"] is True
    given, writes = cpu_state("write", 0x8000)
    levels = settle(PARTS, given | state)
    assert (levels["/DCAS"], levels["/DWE"]) == (False, False)
    assert drivers(PARTS, levels, "D0", writes) == ["U1"]


def test_the_size_that_was_asked_for():
    """Around 40 DIP chips, a 40-pin CPU in a socket, eight DRAMs, about 20 74LS types and more, some 900 pads and 250 nets."""
    chips = [p for p in PARTS if p.ref.startswith("U")]
    assert 38 <= len(chips) <= 48
    assert sum(p.device.name == "4164" for p in chips) == 8
    assert sum(p.device.name.startswith("74LS") for p in chips) >= 20
    assert 240 <= len(nets(PARTS)) <= 260
    assert sum(len(p.nets) for p in PARTS) >= 900
    cpu = next(p for p in PARTS if p.ref == "U1")
    assert (cpu.state, len(cpu.nets)) == ("socketed", 40)
    assert len(decoupled()) == len([p for p in chips if p.ref != "U38"])


@pytest.mark.parametrize(
    ("marking", "value"), [("33R", 33.0), ("4k7", 4700.0), ("10M", 1e7), ("8 x 10k", 10_000.0), ("470R", 470.0)]
)
def test_resistor_markings(marking, value):
    """Letter and digit code of IEC 60062."""
    assert ohms(marking) == value


def test_the_machine_file_speaks_of_this_machine():
    by_ref, named = {p.ref: p for p in PARTS}, nets(PARTS)
    assert sorted(MACHINE["socketed"]) == sorted(p.ref for p in PARTS if p.state == "socketed")
    assert set(MACHINE["replaced_sockets"]) <= set(MACHINE["socketed"])
    low = {p.ref: ohms(p.value) for p in PARTS if p.device.name == "resistor" and ohms(p.value) < 100}
    assert {r["ref"]: r["ohm"] for r in MACHINE["low_ohm_parts"]} == low
    for step in MACHINE["start"]:
        assert set(step["needs_parts"]) <= set(by_ref), step["step"]
        assert set(step["needs_nets"]) <= set(named), step["step"]
    assert {s["net"] for s in MACHINE["signals"]} <= set(named)
    for area in MACHINE["work_areas"]:
        assert area["kind"] in ("rework", "corrosion", "impact")
        assert all(0 <= x <= WIDTH_MM and 0 <= y <= HEIGHT_MM for x, y in area.get("polygon_mm", ()))
        assert area.get("part", "U1") in by_ref
    frequencies = {s["net"]: s["hertz"] for s in MACHINE["signals"] if s["kind"] == "clock"}
    # a 74LS163 halves at each stage; 128 characters of 8 dots make a line, 312 lines a frame
    assert frequencies["DOTCLK"] == 2 * frequencies["DIV8M"] == 4 * frequencies["CPUCLK"] == 8 * frequencies["CCLK"]
    assert frequencies["HS"] == frequencies["CCLK"] / 128
    assert frequencies["VS"] == pytest.approx(frequencies["HS"] / 312, abs=0.005)
