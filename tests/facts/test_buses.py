"""What a processor's data bus shows when a memory, a port or a piece of its copper is gone, reckoned by hand for a small machine of book chips.

Expected values follow from the data sheets (Z80: D0-D7 both ways; 2764: outputs high impedance without /CE or /OE; 74LS244: three-state) and from what
a bus is: at each moment one output drives it, so that without one of them its pattern is not the expected one. Common practice, no source, beyond that.
"""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.core.circuit.build import PartInput, build_circuit
from coppermend.core.circuit.buses import is_master, is_memory
from coppermend.core.circuit.planes import RIGHT, WRONG, Behaviour, Key, NetTree, symbol_of_bits, whole_trees
from coppermend.devices.book import shipped

ALL = np.full(1, 0xFFFFFFFFFFFFFFFF, np.uint64)
SUPPLIES = {"VCC": "VCC", "GND": "GND"}


def machine() -> Behaviour:
    """A Z80 with a 2764, a 2K RAM and a keyboard's 74LS244 on one data bus; D0 is a tree: U1 - U2 - U3 - U4."""
    book = shipped()

    def part(ref: str, kind: str, nets: dict[str, str]) -> PartInput:
        chip = book.find(kind)
        assert chip is not None
        return PartInput(ref, kind, tuple((str(p.number), "", nets.get(p.name, "")) for p in chip.pins))

    data = {f"D{k}": f"D{k}" for k in range(8)}
    address = {f"A{k}": f"A{k}" for k in range(16)}
    tied = {"/WAIT": "VCC", "/INT": "VCC", "/NMI": "VCC", "/BUSRQ": "VCC", "/RESET": "VCC"}
    rows = [
        part("U1", "Z80", {**data, **address, **SUPPLIES, **tied, "CLK": "CK", "/RD": "/RD", "/WR": "/WR", "/MREQ": "/MREQ"}),
        part("U2", "2764", {**data, **address, **SUPPLIES, "/CE": "A15", "/OE": "/RD", "/PGM": "VCC", "VPP": "VCC"}),
        part("U3", "6116", {**data, **address, **SUPPLIES, "/CE": "A14", "/OE": "/RD", "/WE": "/WR"}),
        part("U4", "74LS244", {**SUPPLIES, "/1G": "/MREQ", "/2G": "/MREQ", "1A1": "K", "1Y1": "D0"}),
        PartInput("R1", "10k", (("1", "", "K"), ("2", "", "VCC"))),
        PartInput("J1", "", (("1", "", "VCC"), ("2", "", "GND"), ("3", "", "CK"))),
    ]  # fmt: skip
    circuit = build_circuit(rows, book.find)
    trees = whole_trees(circuit)
    pin = {t.part: t.id for t in circuit.nets["D0"]}
    taps = {pin["U1"]: 0, pin["U2"]: 1, pin["U3"]: 2, pin["U4"]: 3}
    trees["D0"] = NetTree("D0", 4, ((0, 1), (1, 2), (2, 3)), taps)
    return Behaviour(circuit, trees)


@pytest.fixture(scope="module")
def bench() -> Behaviour:
    return machine()


def seen(b: Behaviour, net: str, node: int, *faults: Key) -> int:
    place = b.simulate(dict.fromkeys(faults, ALL), 1).seen(net, node)
    return symbol_of_bits([int(p[0]) & 1 for p in place])


def test_memories_and_masters_are_known_by_their_address_pins(bench: Behaviour) -> None:
    """Data sheets: the Z80 drives A0-A15, the 2764 reads 13 and the 6116 reads 11 address lines, the 74LS244 neither."""
    parts = {ref: bench.circuit.by_ref[ref] for ref in ("U1", "U2", "U3", "U4")}
    assert [is_memory(one) for one in parts.values()] == [False, True, True, False]
    assert [is_master(one) for one in parts.values()] == [True, False, False, False]


def test_a_healthy_bus_moves_as_expected(bench: Behaviour) -> None:
    assert [seen(bench, "D0", node) for node in range(4)] == [RIGHT] * 4 and seen(bench, "A3", 0) == RIGHT


def test_without_its_program_the_bus_is_wrong(bench: Behaviour) -> None:
    """A dead EPROM whose outputs float: the bus still moves, driven by the others, but not as expected, on all eight lines."""
    assert [seen(bench, f"D{k}", 0, ("float", "U2")) for k in range(8)] == [WRONG] * 8


def test_a_cut_between_processor_and_memory_makes_one_line_wrong_on_both_sides(bench: Behaviour) -> None:
    """A scope sees it move on both sides; only a meter finds the cut."""
    assert [seen(bench, "D0", node, ("cut", "D0", 0)) for node in range(4)] == [WRONG] * 4
    assert seen(bench, "D1", 0, ("cut", "D0", 0)) == RIGHT


def test_without_a_port_only_its_share_of_the_pattern_is_missing(bench: Behaviour) -> None:
    """The keyboard's buffer is dead: its line of the bus is not as expected, the program runs on."""
    assert seen(bench, "D0", 0, ("float", "U4")) == WRONG
    assert seen(bench, "D1", 0, ("float", "U4")) == RIGHT and seen(bench, "A3", 0, ("float", "U4")) == RIGHT


def test_a_select_that_never_comes_is_like_a_dead_memory(bench: Behaviour) -> None:
    """/CE of the EPROM held high inside the chip that drives it."""
    high = bench.circuit.by_ref["U1"].named("A15")
    assert high is not None
    assert seen(bench, "D0", 0, ("stuck1", high.id)) == WRONG
