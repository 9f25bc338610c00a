"""Oscillators in a can on small circuits: frequencies, dividers and faults. Outlines of cans: makers' data sheets, from memory; halving by a D flip-flop
whose /Q goes back to D: TTL data books (7474)."""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.core.belief.suspects.causes import list_causes
from coppermend.core.belief.suspects.table import FaultTable
from coppermend.core.circuit.build import PartInput, build_circuit
from coppermend.core.circuit.expect import expectations
from coppermend.core.circuit.planes import FLOATING, RIGHT, WRONG, Behaviour, symbol_of_bits, whole_trees
from coppermend.devices.book import shipped

SUPPLY = (("7", "", "GND"), ("14", "", "VCC"))
HALVER = PartInput("U1", "74LS74", (("2", "", "NQ"), ("3", "", "CK"), ("5", "", "HALF"), ("6", "", "NQ"), ("1", "", "VCC"), ("4", "", "VCC"), *SUPPLY))  # fmt: skip
ALL = np.full(1, 0xFFFFFFFFFFFFFFFF, np.uint64)


def circuit(*pins: tuple[str, str, str], value: str = "25.175MHz", ref: str = "X1"):  # type: ignore[no-untyped-def]
    return build_circuit((PartInput(ref, value, pins), HALVER), shipped().find)


@pytest.mark.parametrize(
    "pins",
    [
        (("1", "", ""), ("7", "", "GND"), ("8", "", "CK"), ("14", "", "VCC")),
        (("1", "", "VCC"), ("4", "", "GND"), ("5", "", "CK"), ("8", "", "VCC")),
        (("1", "", ""), ("2", "", "GND"), ("3", "", "CK"), ("4", "", "VCC")),
        (("7", "", "GND"), ("8", "", "CK"), ("14", "", "VCC")),
    ],
)
def test_a_can_makes_its_frequency_and_what_divides_it(pins: tuple[tuple[str, str, str], ...]) -> None:
    made = circuit(*pins)
    behaviour = Behaviour(made, whole_trees(made))
    assert made.by_ref["X1"].role == "oscillator"
    assert behaviour.hertz["CK"] == 25.175e6 and behaviour.hertz["HALF"] == pytest.approx(25.175e6 / 2)
    said = {one.pin: one for one in expectations(made, behaviour).pins}
    assert said["U1.3"].hz == 25.175e6 and "from X1" in said["U1.3"].words


def test_a_dead_can_gives_no_clock_and_a_wrong_one_another() -> None:
    made = circuit(("1", "", ""), ("7", "", "GND"), ("8", "", "CK"), ("14", "", "VCC"))
    behaviour = Behaviour(made, whole_trees(made))

    def symbol(net: str, *key: str) -> int:
        place = behaviour.simulate({key: ALL} if key else {}, 1).at(net, 0)
        return symbol_of_bits([int(p[0]) & 1 for p in place])

    assert (symbol("CK"), symbol("CK", "float", "X1"), symbol("CK", "hz", "X1")) == (RIGHT, FLOATING, WRONG)
    assert symbol("HALF", "hz", "X1") == WRONG and symbol("CK", "norail", "VCC") == FLOATING
    keys = {one.key for one in list_causes(made, {}, (), FaultTable(), ())}
    assert {("float", "X1"), ("low", "X1"), ("high", "X1"), ("hz", "X1")} <= keys


@pytest.mark.parametrize(
    ("pins", "value"),
    [
        ((("1", "", "CK"), ("2", "", "GND"), ("3", "", "B"), ("4", "", "GND")), "25.175MHz"),
        ((("1", "", ""), ("7", "", "GND"), ("8", "", "CK"), ("14", "", "VCC")), "clock"),
    ],
)
def test_a_crystal_with_four_pads_and_a_can_without_a_figure_are_none(
    pins: tuple[tuple[str, str, str], ...], value: str
) -> None:
    made = circuit(*pins, value=value)
    assert made.by_ref["X1"].role != "oscillator" and "CK" not in Behaviour(made, whole_trees(made)).hertz
