"""The device book's pins: consistent in themselves, and the same as a second entry that was written apart from it.

Expected pin numbers come from tests/facts/pins_second_look (from memory of the data sheets, another notation, another order); the supply
rule is common practice of the 74 and 4000 series: ground at half the pins, supply at the last one.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from coppermend.devices import DRIVING, Chip, PinKind, evaluate, names_in, shipped

BOOK = shipped()
TRANSISTORS = [one for one in BOOK.chips.values() if one.family.name in ("NPN", "PNP")]
CHIPS = [one for one in BOOK.chips.values() if one not in TRANSISTORS]
LOOK = Path(__file__).parent / "pins_second_look"
RANGE = re.compile(r"^(.*?)(\d+)\.\.(\d+)$")
DIP_SIZES = {8, 14, 16, 18, 20, 22, 24, 28, 40, 64}


def spread(words: str) -> list[str]:
    """``A0..2`` to A0 A1 A2, ``5..3`` to 5 4 3."""
    found: list[str] = []
    for word in words.split():
        match = RANGE.match(word)
        if match is None:
            found.append(word)
            continue
        stem, first, last = match.group(1), int(match.group(2)), int(match.group(3))
        step = 1 if last >= first else -1
        found += [f"{stem}{n}" for n in range(first, last + step, step)]
    return found


def second_look() -> dict[str, dict[int, str]]:
    """Type number to pin number to name, as the second entry has it."""
    found: dict[str, dict[int, str]] = {}
    for path in sorted(LOOK.glob("*.toml")):
        for types, text in tomllib.loads(path.read_text(encoding="utf-8"))["pins"].items():
            pins: dict[int, str] = {}
            for part in text.split("; "):
                names, numbers = (spread(half) for half in part.split(": "))
                assert len(names) == len(numbers), (types, part)
                for name, number in zip(names, map(int, numbers), strict=True):
                    assert number not in pins, (types, number)
                    pins[number] = name
            for one in types.split():
                assert one not in found, one
                found[one] = pins
    return found


SECOND = second_look()


def test_how_many() -> None:
    """Issue 6: at least 150 chips, 80 or more of the 74 series."""
    assert len(CHIPS) >= 150
    assert sum(re.fullmatch(r"74\d\d+", one.type) is not None for one in CHIPS) >= 80


def test_every_chip_was_entered_twice() -> None:
    assert set(SECOND) == set(BOOK.chips)


@pytest.mark.parametrize("chip", [*CHIPS, *TRANSISTORS], ids=lambda c: c.type)
def test_both_entries_agree(chip: Chip) -> None:
    assert {pin.number: pin.name for pin in chip.pins} == SECOND[chip.type]


@pytest.mark.parametrize("chip", CHIPS, ids=lambda c: c.type)
def test_consistent(chip: Chip) -> None:
    """A package that exists, a supply, a rail for every supply pin, needs for everything driven, needs that can be met."""
    if chip.package.startswith("DIP"):
        assert len(chip.pins) in DIP_SIZES
        assert chip.package == f"DIP-{len(chip.pins)}"
    else:
        assert len(chip.pins) == 3
    assert [pin.number for pin in chip.pins] == list(range(1, len(chip.pins) + 1))
    assert chip.of_kind(*DRIVING), "something moves"
    rails = {pin.name for pin in chip.of_kind(PinKind.POWER) if pin.name not in chip.rails}
    assert rails == ({"VEE"} if chip.type in ("4051", "4052", "4053") else set())
    assert all(rail.nominal_v and 0 < rail.tolerance_percent <= 60 for rail in chip.rails.values())
    assert chip.theta_k_per_w is not None and 20 <= chip.theta_k_per_w <= 200
    regulator = bool(chip.makes)
    for pin in chip.pins:
        if pin.drives and not regulator:
            assert chip.needs[pin.name], pin.name
            assert pin.name not in chip.needs[pin.name]
        if not pin.drives:
            assert pin.name not in chip.needs
    told = [pin for pin in chip.pins if pin.kind in (PinKind.CLOCK, PinKind.SELECT)]
    used = {name for names in chip.needs.values() for name in names} | {
        n for t in chip.drive.values() for n in names_in(t)
    }
    used |= {name for one in chip.functions for names in one.pins.values() for name in names}
    assert [pin.name for pin in told if pin.name not in used] == [], "a clock or a select that moves nothing"


@pytest.mark.parametrize("chip", TRANSISTORS, ids=lambda c: c.type)
def test_a_transistor_has_each_leg_once(chip: Chip) -> None:
    assert sorted(str(pin.kind) for pin in chip.pins) == ["base", "collector", "emitter"]
    assert chip.package in ("TO-92", "TO-220") and not chip.needs and not chip.rails
    if (
        chip.package == "TO-220"
    ):  # the tab is the collector, and so is the middle leg (common practice of TO-220 bipolar transistors)
        assert str(chip.pins[1].kind) == "collector"


@pytest.mark.parametrize("chip", [one for one in CHIPS if not one.unusual_power], ids=lambda c: c.type)
def test_supply_at_the_usual_pins(chip: Chip) -> None:
    """Common practice: ground at pin n/2, supply at pin n. Chips that differ say so (``unusual_power``), or have their supply in the middle."""
    n = len(chip.pins)
    middle = {"7473", "7475", "7476", "7483", "7490", "7492", "7493"}  # TI TTL Data Book: supply at pins 4 or 5
    if chip.type in middle:
        assert chip.pins[-1].kind is not PinKind.POWER
        return
    assert chip.pins[n - 1].kind is PinKind.POWER
    assert chip.pins[n // 2 - 1].kind is PinKind.GROUND


def test_unusual_supplies_are_the_known_ones() -> None:
    """The flag is no way out: each of these really has no supply pin n with ground n/2."""
    for chip in CHIPS:
        if chip.unusual_power:
            n = len(chip.pins)
            usual = chip.pins[n - 1].kind is PinKind.POWER and chip.pins[n // 2 - 1].kind is PinKind.GROUND
            assert not usual, chip.type


def outputs(kind: str, at: str, **levels: bool) -> object:
    """The level of a pin's logic."""
    return evaluate(BOOK.get(kind).logic[at], levels)


@pytest.mark.parametrize("n", range(8))
@pytest.mark.parametrize("lines", [("C", "B", "A")])
def test_138_selects_one_output(n: int, lines: tuple[str, ...]) -> None:
    """TI TTL Data Book, function table of the 74LS138 (from memory): enabled, output n alone is low; disabled, all are high."""
    chip = BOOK.get("74LS138")
    address = {name: bool(n >> (2 - i) & 1) for i, name in enumerate(lines)}
    on = {"G1": True, "/G2A": False, "/G2B": False}
    low = [pin for pin, text in chip.logic.items() if evaluate(text, {**address, **on}) is False]
    assert low == [f"/Y{n}"]
    for name, level in (("G1", False), ("/G2A", True), ("/G2B", True)):
        assert all(evaluate(t, {**address, **on, name: level}) is True for t in chip.logic.values())


@pytest.mark.parametrize("n", range(16))
def test_154_and_42_count_in_binary(n: int) -> None:
    """TI TTL Data Book, function tables of the 74154 and the 7442 (from memory)."""
    levels = {name: bool(n >> i & 1) for i, name in enumerate("ABCD")}
    low = [
        p for p, t in BOOK.get("74154").logic.items() if evaluate(t, {**levels, "/G1": False, "/G2": False}) is False
    ]
    assert low == [f"/Y{n}"]
    for kind in ("7442", "7445", "74145"):
        assert [p for p, t in BOOK.get(kind).logic.items() if evaluate(t, levels) is False] == (
            [f"/Y{n}"] if n < 10 else []
        )


@pytest.mark.parametrize("n", range(4))
def test_dual_decoders_and_multiplexers(n: int) -> None:
    """TI TTL Data Book, function tables of the 74139, 74155, 74153 (from memory)."""
    a, b = bool(n & 1), bool(n & 2)
    low = [
        p
        for p, t in BOOK.get("74139").logic.items()
        if evaluate(t, {"/1G": False, "1A": a, "1B": b, "/2G": True}) is False
    ]
    assert low == [f"/1Y{n}"]
    on = {"A": a, "B": b, "1C": True, "/1G": False, "/2C": False, "/2G": False}
    assert [p for p, t in BOOK.get("74155").logic.items() if evaluate(t, on) is False] == [f"/1Y{n}", f"/2Y{n}"]
    data = {f"1C{k}": k == n for k in range(4)}
    assert evaluate(BOOK.get("74153").logic["1Y"], {**data, "A": a, "B": b, "/1G": False}) is True
    data = {f"1C{k}": k != n for k in range(4)}
    assert evaluate(BOOK.get("74153").logic["1Y"], {**data, "A": a, "B": b, "/1G": False}) is False


@pytest.mark.parametrize("n", range(8))
def test_151_and_251_pick_one_input(n: int) -> None:
    """TI TTL Data Book, function table of the 74151 (from memory); W is the inverse of Y."""
    levels = (
        {name: bool(n >> i & 1) for i, name in enumerate("ABC")} | {f"D{k}": k == n for k in range(8)} | {"/G": False}
    )
    for kind in ("74151", "74251"):
        logic = BOOK.get(kind).logic
        assert (evaluate(logic["Y"], levels), evaluate(logic["/W"], levels)) == (True, False)
    assert evaluate(BOOK.get("74151").logic["Y"], {**levels, "/G": True}) is False


NAND, NOR, AND, OR, XOR = (
    0b0111,
    0b0001,
    0b1000,
    0b1110,
    0b0110,
)  # bit n: the output for B A = n, from the gates' definitions
GATES = {
    "7400": NAND, "7401": NAND, "7403": NAND, "7426": NAND, "7437": NAND, "7438": NAND, "74132": NAND, "4011": NAND, "4093": NAND,
    "7402": NOR, "7428": NOR, "7433": NOR, "4001": NOR, "7408": AND, "7409": AND, "4081": AND, "7432": OR, "4071": OR,
    "7486": XOR, "74136": XOR, "74386": XOR, "4070": XOR, "74266": 0b1001,
}  # fmt: skip


@pytest.mark.parametrize(("kind", "table"), GATES.items())
def test_two_input_gates(kind: str, table: int) -> None:
    for section in "1234":
        for n in range(4):
            levels = {f"{section}A": bool(n & 1), f"{section}B": bool(n & 2)}
            assert evaluate(BOOK.get(kind).logic[f"{section}Y"], levels) is bool(table >> n & 1)


def test_buffers_drive_when_enabled() -> None:
    """TI TTL Data Book, function tables (from memory): 125 drives at a low enable, 126 at a high one; the 245's DIR high sends A to B."""
    assert evaluate(BOOK.get("74125").drive["1Y"], {"/1G": False}) is True
    assert evaluate(BOOK.get("74126").drive["1Y"], {"1G": False}) is False
    chip = BOOK.get("74245")
    assert evaluate(chip.drive["B1"], {"/G": False, "DIR": True}) is True
    assert evaluate(chip.drive["A1"], {"/G": False, "DIR": True}) is False
    assert evaluate(chip.drive["A1"], {"/G": True, "DIR": False}) is False
