"""The device book's pins against a source that has nothing to do with it: partinfo, a general reference of parts on the Python registry.

partinfo 0.1.6 when this was written; a dependency of the tests only.
Expected: every pin of every type that both have is the same one, under the names of either side.
"""

from __future__ import annotations

import json
import re
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from coppermend.devices import Chip, shipped

BOOK = shipped()

# Their name, after cleaning, for ours: the same signal under another maker's word.
WORDS = {
    "INPUT": "IN", "VIN": "IN", "OUTPUT": "OUT", "VOUT": "OUT", "GROUND": "GND", "ADJUST": "ADJ", "V+": "VCC", "VCC+": "VCC", "V-": "VEE",
    "VCC-": "VEE", "CONT": "CTRL", "QH'": "/QH", "CLKINH": "CLKINH", "COM": "COM",
}  # fmt: skip
# One chip's words.
OWN: dict[str, dict[str, str]] = {
    "74595": {"Q0": "QA", "Q1": "QB", "Q2": "QC", "Q3": "QD", "Q4": "QE", "Q5": "QF", "Q6": "QG", "Q7": "QH", "Q7S": "QH'", "MR": "/SRCLR",
              "SHCP": "SRCLK", "STCP": "RCLK", "OE": "/G", "DS": "SER"},
    "74245": {"OE": "/G"}, "74373": {"OE": "/OC", "LE": "C"}, "74374": {"OE": "/OC"}, "74165": {"SH/LD": "SH//LD"},
    "4013": {"1RST": "1R", "2RST": "2R", "1SET": "1S", "2SET": "2S"}, "4017": {"CE": "/CE", "MR": "R"}, "4040": {"MR": "R"},
    "4060": {"RS": "CLK", "RESET": "R"}, "LM324": {"VCC-": "GND"}, "LM358": {"V-": "GND"},
    "4051": {"COM": "Z", "INH": "/E", **{f"CH{n}": f"Y{n}" for n in range(8)}},
    # the two ends of an analogue switch are alike: either name of one switch will do
    "4066": {f"{n}{a}": f"{n}" for n in "1234" for a in "AB"} | {f"{n}CTL": f"{n}E" for n in "1234"},
    # Texas Instruments numbers the first two comparators the other way round than National: pins 2, 4, 5 belong together, and 1, 6, 7
    "LM339": {"1OUT": "2OUT", "2OUT": "1OUT", "1IN-": "2IN-", "2IN-": "1IN-", "1IN+": "2IN+", "2IN+": "1IN+"},
    "741": {"OFFSETNULL": "OFFSET"}, "ULN2003": {"E": "GND"},
}  # fmt: skip


def theirs() -> list[tuple[Chip, str, dict[int, str]]]:
    """Our chip, their id, their pins, for every part that both have in the same package."""
    spec = find_spec("partinfo")
    if spec is None or not spec.submodule_search_locations:
        return []
    found = []
    for path in sorted(Path(spec.submodule_search_locations[0]).glob("data/parts/**/*.json")):
        data: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        chip = BOOK.find(data["name"]) or BOOK.find(data["id"])
        for package in data["packages"].values() if chip is not None else ():
            pins = {int(one["pin"]): str(one["name"]) for one in package["pins"]}
            if chip is not None and len(pins) == len(chip.pins):
                found.append((chip, data["id"], pins))
                break
    return found


PARTS = theirs()


def same(chip: Chip, ours: str, name: str) -> bool:
    """Whether two names mean one signal."""
    word = re.sub(r"\s+", "", name.upper())
    word = re.sub(r"^([A-D])(OUT|IN[+-])$", lambda m: f"{'ABCD'.index(m[1]) + 1}{m[2]}", word)
    word = re.sub(r"^(OUT|IN)(\d)([+-]?)$", r"\2\1\3", word)
    word = OWN.get(chip.type, {}).get(word, WORDS.get(word, word))
    if chip.type == "4066" and word in ("1", "2", "3", "4"):
        return ours in (f"{word}Y", f"{word}Z")
    if word == "OFFSET":
        return ours.startswith("OFFSET")
    return re.sub(r"^/|'$", "", ours) == re.sub(r"^/|'$", "", word)


def test_share() -> None:
    """At least 50 types can be compared (55 of 290 with version 0.1.6, 12 of them transistors)."""
    assert len({chip.type for chip, _, _ in PARTS}) >= 50


@pytest.mark.parametrize(("chip", "name", "pins"), PARTS, ids=[name for _, name, _ in PARTS])
def test_pins_are_the_same(chip: Chip, name: str, pins: dict[int, str]) -> None:
    assert [(p.number, p.name, pins[p.number]) for p in chip.pins if not same(chip, p.name, pins[p.number])] == []
