"""The demonstration machine's chips against rules that are not the project's own."""

from __future__ import annotations

import re

import pytest
from demo.circuit import parts
from demo.devices import DEVICES, device
from demo.footprints import FOOTPRINTS

CHIPS = [d for d in DEVICES.values() if d.package.startswith("DIP") and d.name != "code switch"]
LOGIC = [d for d in CHIPS if d.name.startswith("74LS")]


@pytest.mark.parametrize("chip", LOGIC, ids=lambda d: d.name)
def test_supply_pins_of_the_74ls_family_lie_in_the_corners(chip):
    """Corner supply: ground at pin n/2, +5 V at pin n, for all 74LS types used here (TTL data book, from memory)."""
    assert chip.pin("GND").number == str(len(chip.pins) // 2)
    assert chip.pin("VCC").number == str(len(chip.pins))


# Data sheets, from memory: Z80 CPU (Zilog), MC6845/HD6845S, 4164, JEDEC byte-wide memories; MC146818: pins 12 and 24 (ardent-tool.com, read).
SUPPLIES = {
    "Z80A CPU": ("29", "11"),
    "6845 CRTC": ("1", "20"),
    "4164": ("16", "8"),
    "6116": ("12", "24"),
    "2732": ("12", "24"),
    "2764": ("14", "28"),
    "27128": ("14", "28"),
    "146818": ("12", "24"),
}


@pytest.mark.parametrize("name", SUPPLIES)
def test_supply_pins_of_the_large_chips(name):
    ground = next(p.number for p in device(name).pins if p.kind == "gnd")
    supply = next(p.number for p in device(name).pins if p.kind in ("vcc", "vbb"))
    assert (ground, supply) == SUPPLIES[name]


def test_all_pins_of_the_picture_shift_register():
    """74LS166 as a public page of its data sheet lists it (components101.com, SN74LS166; read)."""
    listed = {"SER": 1, "A": 2, "B": 3, "C": 4, "D": 5, "INH": 6, "CLK": 7, "GND": 8, "/CLR": 9, "E": 10, "F": 11, "G": 12, "QH": 13,
              "H": 14, "SH//LD": 15, "VCC": 16}  # fmt: skip
    assert {p.name: int(p.number) for p in device("74LS166").pins} == listed


def test_what_the_screen_controllers_outputs_can_sink():
    """MC6845 data sheet: output low voltage stated at 1.6 mA (stored copy at cpctech, read)."""
    assert {p.sink_ma for p in device("6845 CRTC").pins if p.kind == "out"} == {1.6}


# Single pins that a wrong order of names would move (data sheets, from memory).
@pytest.mark.parametrize(("chip", "function", "number"), [
    ("Z80A CPU", "A0", "30"), ("Z80A CPU", "A15", "5"), ("Z80A CPU", "D0", "14"), ("Z80A CPU", "D7", "13"), ("Z80A CPU", "CLK", "6"),
    ("Z80A CPU", "/RESET", "26"), ("Z80A CPU", "/MREQ", "19"), ("Z80A CPU", "/RFSH", "28"), ("Z80A CPU", "/M1", "27"),
    ("6845 CRTC", "MA0", "4"), ("6845 CRTC", "CLK", "21"), ("6845 CRTC", "D0", "33"), ("6845 CRTC", "RA0", "38"), ("6845 CRTC", "VSYNC", "40"),
    ("4164", "D", "2"), ("4164", "Q", "14"), ("4164", "/RAS", "4"), ("4164", "/CAS", "15"), ("4164", "A0", "5"), ("4164", "A7", "9"),
    ("2764", "/CE", "20"), ("2764", "/OE", "22"), ("27128", "A13", "26"), ("2764", "A0", "10"), ("6116", "/WE", "21"), ("2732", "A11", "21"),
    ("146818", "AS", "14"), ("146818", "/IRQ", "19"), ("74LS138", "/Y0", "15"), ("74LS138", "/Y7", "7"), ("74LS157", "4Y", "12"),
    ("74LS163", "QA", "14"), ("74LS166", "QH", "13"), ("74LS174", "6Q", "15"), ("74LS244", "2Y1", "9"), ("74LS245", "B1", "18"),
    ("74LS273", "CLK", "11"), ("74LS02", "1Y", "1"), ("74LS10", "1Y", "12"), ("74LS74", "2Q", "9"), ("74LS145", "A", "15"),
])  # fmt: skip
def test_pin_numbers(chip, function, number):
    assert device(chip).pin(function).number == number


@pytest.mark.parametrize("chip", CHIPS, ids=lambda d: d.name)
def test_every_pin_has_its_place_and_its_name(chip):
    pins = int(re.sub(r"\D", "", chip.package))
    assert [p.number for p in chip.pins] == [str(i + 1) for i in range(pins)]
    names = [p.name for p in chip.pins if p.name not in ("NC", "GND", "VCC")]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("chip", CHIPS, ids=lambda d: d.name)
def test_rows_stand_three_or_six_tenths_of_an_inch_apart(chip):
    """JEDEC MS-001 and MS-011: pins 2.54 mm apart, rows 7.62 mm (up to 20 pins here) or 15.24 mm."""
    footprint = FOOTPRINTS[chip.package]
    row = 7.62 if len(chip.pins) <= 20 else 15.24
    half = len(chip.pins) // 2
    first, second, across = footprint.lands[0], footprint.lands[1], footprint.lands[-1]
    assert abs(first.y_mm - second.y_mm) == pytest.approx(2.54)
    assert across.x_mm - first.x_mm == pytest.approx(row) and across.y_mm == pytest.approx(first.y_mm)
    assert footprint.lands[half - 1].y_mm == pytest.approx(footprint.lands[half].y_mm)


def test_every_part_has_lands_for_its_pins():
    for part in parts():
        assert [n for n, _ in part.nets] == [land.number for land in FOOTPRINTS[part.device.package].lands], part.ref
