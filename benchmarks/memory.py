"""Which chip or line is bad, from the first ten error words of a memory test: how often the answer is right.

Patients: four boards (the demonstration machine and three of the same ways of building: 4116 in two banks behind multiplexers and a transceiver, 2114 in
pairs, 6116 behind a decoder and buffers), one fault each, drawn evenly over the boards and then over the kinds below; a march test (MATS+, March C-) or a
fill by the address or by words without any rule, up to its tenth error. The memory is simulated here, cell by cell, and shares nothing with what explains it
but the board's netlist.

Faults after A. J. van de Goor, "Using March Tests to Test SRAMs", IEEE Design & Test of Computers 10(1), 1993 (from memory): stuck-at, transition, inversion,
idempotent and state coupling, address decoder A to D inside a chip; and a chip's data pin, its address pin, a row, a column; on lines: a data line stuck or
bridged to another, an address line stuck or bridged, a select that never comes, multiplexers that are
never switched over. Lines over which the testing program is read are not drawn: it would not run.

A patient is ``right`` when the first named unit is the bad one, ``named`` when it is that or one of those that make the same of every word (``sizes`` counts
how many were named so). Of two bridged lines either counts. ``--seeds A-B`` (default 1-400), ``--words`` (default 10),
``--said``: the words come with the range that was tested, else nobody says it.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from time import process_time
from typing import Any

import numpy as np

from benchmarks.round import wilson
from coppermend import bootstrap
from coppermend.cli.practice import _range
from coppermend.core.circuit.build import PartInput, build_circuit
from coppermend.core.memory.derive import memory_map
from coppermend.core.memory.errors import read_errors
from coppermend.core.memory.explain import explain
from coppermend.core.memory.model import MemoryMap
from coppermend.services.powered import circuit_of

CHIP_KINDS = (
    "stuck cell", "transition", "inversion coupling", "idempotent coupling", "state coupling", "decoder A", "decoder B", "decoder C", "decoder D",
    "row", "column", "data pin", "address pin", "dead",
)  # fmt: skip
LINE_KINDS = ("data stuck", "data bridge", "address stuck", "address bridge", "select", "multiplexer")
TESTS = ("MATS+", "March C-", "fill", "mixed fill")
MARCHES: dict[str, tuple[tuple[int, str], ...]] = {
    "MATS+": ((1, "w0"), (1, "r0w1"), (-1, "r1w0")),
    "March C-": ((1, "w0"), (1, "r0w1"), (1, "r1w0"), (-1, "r0w1"), (-1, "r1w0"), (1, "r0")),
}
"""Elements as direction and operations, after van de Goor 1993 (from memory)."""


@dataclass(frozen=True, slots=True)
class Bench:
    """A board as this file knows it. ``chips`` ref to (first address, last, data bits); ``data`` net to its bit and chips; ``address`` net to the bits that it
    carries and chips; ``selects`` net to chips; ``own`` ref to the address bits of each of its pins; what carries the program is not in them."""

    name: str
    map: MemoryMap
    tested: tuple[int, int]
    chips: dict[str, tuple[int, int, tuple[int, ...]]]
    data: dict[str, tuple[int, tuple[str, ...]]]
    address: dict[str, tuple[tuple[int, ...], tuple[str, ...]]]
    selects: dict[str, tuple[str, ...]]
    own: dict[str, tuple[tuple[int, ...], ...]]
    switches: dict[str, tuple[tuple[int, int], ...]] = field(default_factory=dict)
    """Net that switches multiplexers over, to the two address bits of each of their outputs."""


# ---- boards ----
def _part(ref: str, kind: str, wiring: dict[str, str], socketed: bool = False) -> PartInput:
    book = bootstrap.device_book(None)
    chip = book.find(kind)
    if chip is None:
        raise ValueError(f"{kind} is not in the device book")
    supply = {"VCC": "VCC", "VDD": "VDD", "VBB": "VBB", "GND": "GND", "VSS": "GND"}
    pins = tuple((str(pin.number), pin.name, wiring.get(pin.name, supply.get(pin.name, ""))) for pin in chip.pins)
    return PartInput(ref, kind, pins, socketed)


def _bus(pin: str, net: str, count: int, start: int = 0) -> dict[str, str]:
    return {pin.format(k): net.format(k + start) for k in range(count)}


def _z80(select_extra: dict[str, str]) -> dict[str, str]:
    return {
        **_bus("A{}", "A{}", 16), **_bus("D{}", "D{}", 8), "CLK": "CLK", "/RESET": "/RESET", "/MREQ": "/MREQ", "/RD": "/RD", "/WR": "/WR",
        "/RFSH": "/RFSH", **select_extra,
    }  # fmt: skip


def _map(parts: list[PartInput]) -> MemoryMap:
    return memory_map(build_circuit(parts, bootstrap.device_book(None).find))


def demo_board() -> Bench:
    """The demonstration machine: eight 4164 on the processor's own data lines, addresses through two 74LS257 and 33 ohm."""
    board = bootstrap.open_board("demo/package")
    refs = tuple(f"U{50 + bit}" for bit in range(8))
    return Bench(
        "demo",
        memory_map(circuit_of(board, bootstrap.device_book(None))),
        (0x8000, 0xFFFF),
        {ref: (0x8000, 0xFFFF, (bit,)) for bit, ref in enumerate(refs)},
        {},
        {f"RA{k}": ((k, k + 8), refs) for k in range(8)},
        dict.fromkeys(("/DRAS", "/DCAS", "/DWE"), refs),
        {ref: tuple((k, k + 8) for k in range(8)) for ref in refs},
        {"MUX": tuple((k, k + 8) for k in range(8))},
    )


def two_banks() -> Bench:
    """Z80, two banks of eight 4116 from 8000 and C000, 74LS157 and 33 ohm on the addresses, a 74LS245 on the data, ROM on the processor's own lines."""
    parts = [_part("U1", "Z80", _z80({}))]
    parts.append(_part("U2", "2716", {**_bus("A{}", "A{}", 11), **_bus("D{}", "D{}", 8), "/CE": "/ROM", "/OE": "/RD"}))
    parts.append(
        _part(
            "U3", "74LS139", {"1B": "A15", "1A": "A14", "/1G": "/MREQ", "/1Y0": "/ROM", "/1Y2": "/CS0", "/1Y3": "/CS1"}
        )
    )
    wiring = {**{f"A{k + 1}": f"D{k}" for k in range(8)}, **{f"B{k + 1}": f"MD{k}" for k in range(8)}}
    parts.append(_part("U4", "74LS245", {**wiring, "DIR": "/RD", "/G": "/RAM"}))
    parts.append(_part("U5", "74LS08", {"1A": "/CS0", "1B": "/CS1", "1Y": "/RAM"}))
    parts.append(
        _part(
            "U8", "74LS32", {"1A": "/CS0", "1B": "/CASEN", "1Y": "/CAS0", "2A": "/CS1", "2B": "/CASEN", "2Y": "/CAS1"}
        )
    )
    for ref, low in (("U6", 0), ("U7", 4)):
        wiring = {"SEL": "MUX", "/G": "GND"}
        for k in range(4):
            if low + k < 7:
                wiring |= {f"{k + 1}A": f"A{low + k}", f"{k + 1}B": f"A{low + k + 7}", f"{k + 1}Y": f"MX{low + k}"}
        parts.append(_part(ref, "74LS157", wiring))
    parts += [PartInput(f"R{k}", "33R", (("1", "", f"MX{k}"), ("2", "", f"MA{k}"))) for k in range(7)]
    chips: dict[str, tuple[int, int, tuple[int, ...]]] = {}
    for bank, first in enumerate((0x8000, 0xC000)):
        for bit in range(8):
            ref = f"U{20 + 10 * bank + bit}"
            wiring = {
                **_bus("A{}", "MA{}", 7),
                "DIN": f"MD{bit}",
                "DOUT": f"MD{bit}",
                "/WE": "/WR",
                "/RAS": "/RAS",
                "/CAS": f"/CAS{bank}",
            }
            parts.append(_part(ref, "4116", wiring))
            chips[ref] = (first, first + 0x3FFF, (bit,))
    refs = tuple(chips)
    banks = (refs[:8], refs[8:])
    return Bench(
        "two banks of 4116",
        _map(parts),
        (0x8000, 0xFFFF),
        chips,
        {f"MD{bit}": (bit, (banks[0][bit], banks[1][bit])) for bit in range(8)},
        {f"MA{k}": ((k, k + 7), refs) for k in range(7)},
        {"/CAS0": banks[0], "/CAS1": banks[1]},
        {ref: tuple((k, k + 7) for k in range(7)) for ref in refs},
        {"MUX": tuple((k, k + 7) for k in range(7))},
    )


def nibbles() -> Bench:
    """6502, four pairs of 2114 from 0000 on the processor's own data lines, selects from a 74LS138; ROM from E000."""
    wiring = {
        **_bus("A{}", "A{}", 16), **_bus("D{}", "D{}", 8), "PHI0": "CLK", "/RES": "/RES", "R/W": "R/W", "PHI2": "PHI2",
    }  # fmt: skip
    parts = [_part("U1", "6502", wiring)]
    parts.append(_part("U2", "2716", {**_bus("A{}", "A{}", 11), **_bus("D{}", "D{}", 8), "/CE": "/ROM", "/OE": "GND"}))
    parts.append(_part("U9", "74LS10", {"1A": "A15", "1B": "A14", "1C": "A13", "1Y": "/ROM"}))
    parts.append(
        _part(
            "U10",
            "74LS32",
            {
                "1A": "A15",
                "1B": "A14",
                "1Y": "HI1",
                "2A": "A13",
                "2B": "A12",
                "2Y": "HI2",
                "3A": "HI1",
                "3B": "HI2",
                "3Y": "/LOW4",
            },
        )
    )
    parts.append(
        _part("U11", "74LS139", {"1B": "A11", "1A": "A10", "/1G": "/LOW4", **{f"/1Y{k}": f"/S{k}" for k in range(4)}})
    )
    buffer = {"/1G": "GND", "/2G": "GND"}
    for k in range(8):
        half, row = divmod(k, 4)
        buffer |= {f"{half + 1}A{row + 1}": f"A{k}", f"{half + 1}Y{row + 1}": f"BA{k}"}
    parts.append(_part("U12", "74LS244", buffer))
    chips: dict[str, tuple[int, int, tuple[int, ...]]] = {}
    for pair in range(4):
        for half in range(2):
            ref = f"U{20 + 2 * pair + half}"
            names = {
                **{f"A{k}": f"BA{k}" if k < 8 else f"A{k}" for k in range(10)},
                **{f"IO{k + 1}": f"D{4 * half + k}" for k in range(4)},
            }
            parts.append(_part(ref, "2114", {**names, "/CS": f"/S{pair}", "/WE": "R/W"}))
            chips[ref] = (0x400 * pair, 0x400 * pair + 0x3FF, tuple(range(4 * half, 4 * half + 4)))
    refs = tuple(chips)
    return Bench(
        "pairs of 2114",
        _map(parts),
        (0x0000, 0x0FFF),
        chips,
        {},
        {f"BA{k}": ((k,), refs) for k in range(8)},
        {f"/S{pair}": refs[2 * pair : 2 * pair + 2] for pair in range(4)},
        {ref: tuple((k,) for k in range(10)) for ref in refs},
    )


def bytes_wide() -> Bench:
    """Z80, four 6116 from 4000 behind a 74LS245 and two 74LS244, selects from a 74LS138; ROM from 0000."""
    parts = [_part("U1", "Z80", _z80({}))]
    parts.append(_part("U2", "2716", {**_bus("A{}", "A{}", 11), **_bus("D{}", "D{}", 8), "/CE": "/ROM", "/OE": "/RD"}))
    parts.append(_part("U3", "74LS32", {"1A": "A15", "1B": "A14", "1Y": "/ROM"}))
    parts.append(
        _part(
            "U5",
            "74LS138",
            {
                "A": "A11",
                "B": "A12",
                "C": "A13",
                "G1": "A14",
                "/G2A": "A15",
                "/G2B": "/MREQ",
                **{f"/Y{k}": f"/S{k}" for k in range(4)},
            },
        )
    )
    parts.append(
        _part(
            "U4",
            "74LS245",
            {
                **{f"A{k + 1}": f"D{k}" for k in range(8)},
                **{f"B{k + 1}": f"MD{k}" for k in range(8)},
                "DIR": "/RD",
                "/G": "A15",
            },
        )
    )
    for ref, low in (("U6", 0), ("U7", 8)):
        names: dict[str, str] = {"/1G": "GND", "/2G": "GND"}
        for k in range(8):
            if low + k < 11:
                half, row = divmod(k, 4)
                names |= {f"{half + 1}A{row + 1}": f"A{low + k}", f"{half + 1}Y{row + 1}": f"BA{low + k}"}
        parts.append(_part(ref, "74LS244", names))
    chips: dict[str, tuple[int, int, tuple[int, ...]]] = {}
    for k in range(4):
        ref = f"U{20 + k}"
        parts.append(
            _part(
                ref,
                "6116",
                {**_bus("A{}", "BA{}", 11), **_bus("D{}", "MD{}", 8), "/CS": f"/S{k}", "/OE": "/RD", "/WE": "/WR"},
            )
        )
        chips[ref] = (0x4000 + 0x800 * k, 0x47FF + 0x800 * k, tuple(range(8)))
    refs = tuple(chips)
    return Bench(
        "four 6116",
        _map(parts),
        (0x4000, 0x5FFF),
        chips,
        {f"MD{bit}": (bit, refs) for bit in range(8)},
        {f"BA{k}": ((k,), refs) for k in range(11)},
        {f"/S{k}": (refs[k],) for k in range(4)},
        {ref: tuple((k,) for k in range(11)) for ref in refs},
    )


BOARDS: tuple[Callable[[], Bench], ...] = (demo_board, two_banks, nibbles, bytes_wide)


# ---- one patient ----
class Memory:
    """A simulated memory with one fault: words are written and read through hooks that the fault sets."""

    def __init__(self, bench: Bench, rng: np.random.Generator, kind: str) -> None:
        self.bench, self.rng, self.kind = bench, rng, kind
        self.cells: dict[int, int] = {}
        self.mask = 0
        self.read_bits: Callable[[int, int], int] = lambda address, word: word
        self.cell_of: Callable[[int], int] = lambda address: address
        self.touched: Callable[[int], bool] = lambda address: True
        self.after_write: Callable[[int, int, int], None] | None = None
        self.local: tuple[int, ...] | None = None
        self.truth: tuple[str, ...] = ()
        getattr(self, f"_{'chip' if kind in CHIP_KINDS else 'line'}")()

    # -- access --
    def write(self, address: int, word: int) -> None:
        """Write a word."""
        own = self.cell_of(address) if self.touched(address) else address
        if own == address:
            old = self.cells.get(address, 0)
            self.cells[address] = word
            if self.after_write is not None:
                self.after_write(address, old, word)
            return
        self._put(own, word & self.mask, self.mask)
        self._put(address, word & ~self.mask, ~self.mask & 0xFF)

    def read(self, address: int) -> int:
        """Read a word."""
        own = self.cell_of(address) if self.touched(address) else address
        word = (
            (self.cells.get(address, 0) & ~self.mask) | (self.cells.get(own, 0) & self.mask)
            if own != address
            else self.cells.get(address, 0)
        )
        return self.read_bits(address, word)

    def _put(self, address: int, word: int, mask: int) -> None:
        self.cells[address] = (self.cells.get(address, 0) & ~mask) | word

    # -- faults in one chip --
    def _chip(self) -> None:
        rng, bench = self.rng, self.bench
        ref = str(rng.choice(sorted(bench.chips)))
        first, last, bits = bench.chips[ref]
        self.truth = (f"part {ref}",)
        bit = int(rng.choice(bits))
        one = 1 << bit
        victim, other = (int(x) for x in rng.choice(np.arange(first, last + 1), 2, replace=False))
        level = int(rng.integers(2))
        kind = self.kind
        if kind in ("stuck cell", "transition", "inversion coupling", "idempotent coupling", "state coupling"):
            self.local = tuple(sorted({victim, other}))
            self._cell_fault(kind, victim, other, one, level)
        elif kind.startswith("decoder"):
            self.local = tuple(sorted({victim, other}))
            self._decoder(kind[-1], victim, other, sum(1 << b for b in bits) if rng.random() < 0.5 else one, level)
        elif kind in ("row", "column"):
            half = max(1, len(bench.own[ref]) // 2)
            fixed = range(half) if kind == "row" else range(half, 2 * half)
            same = sum(1 << k for k in fixed)
            self.read_bits = lambda a, w: (
                (w & ~one) | one * level if first <= a <= last and (a ^ victim) & same == 0 else w
            )
        elif kind == "data pin":
            self.read_bits = self._stuck(first, last, one, level)
        elif kind == "address pin":
            mine = bench.own[ref]
            flips = sum(1 << b for b in mine[int(rng.integers(len(mine)))])
            self._meet(flips * level, flips, lambda a: first <= a <= last, sum(1 << b for b in bits))
        else:
            whole = sum(1 << b for b in bits)
            self.read_bits = self._dead(first, last, whole)

    def _stuck(self, first: int, last: int, mask: int, level: int) -> Callable[[int, int], int]:
        return lambda a, w: (w & ~mask) | mask * level if first <= a <= last else w

    def _dead(self, first: int, last: int, mask: int) -> Callable[[int, int], int]:
        way = int(self.rng.integers(3))
        if way < 2:
            return self._stuck(first, last, mask, way)
        return lambda a, w: (w & ~mask) | (int(self.rng.integers(256)) & mask) if first <= a <= last else w

    def _cell_fault(self, kind: str, victim: int, other: int, one: int, level: int) -> None:
        if kind == "stuck cell":
            self.read_bits = lambda a, w: (w & ~one) | one * level if a == victim else w
            return
        if kind == "state coupling":
            when = int(self.rng.integers(2))

            def shown(a: int, w: int) -> int:
                forced = a == victim and (self.cells.get(other, 0) & one != 0) == bool(when)
                return (w & ~one) | one * level if forced else w

            self.read_bits = shown
            return
        rises = bool(self.rng.integers(2))

        def changed(a: int, old: int, new: int) -> None:
            moved = (old ^ new) & one
            up = bool(new & one)
            if kind == "transition" and a == victim and moved and up == rises:
                self._put(a, old & one, one)
            elif a == other and moved and up == rises and kind != "transition":
                was = self.cells.get(victim, 0)
                self._put(victim, (~was & one) if kind == "inversion coupling" else one * level, one)

        self.after_write = changed

    def _decoder(self, which: str, victim: int, other: int, mask: int, level: int) -> None:
        """A: no cell at an address. B: a cell that its own address misses (another one answers). C: an address with two cells. D: two addresses, one cell."""
        self.mask = mask
        if which == "A":
            self.read_bits = lambda a, w: (w & ~mask) | mask * level if a == victim else w
        elif which in ("B", "D"):
            self.cell_of = lambda a: other if a == victim else a
        else:

            def both(a: int, old: int, new: int) -> None:
                if a == victim:
                    self._put(other, new & mask, mask)

            self.after_write = both

            def wired(a: int, w: int) -> int:
                return (w & ~mask) | (w & self.cells.get(other, 0) & mask) if a == victim else w

            self.read_bits = wired

    def _meet(self, value: int, flips: int, where: Callable[[int], bool], mask: int) -> None:
        self.mask, self.touched = mask, where
        self.cell_of = lambda a: (a & ~flips) | value

    # -- faults on lines --
    def _line(self) -> None:
        rng, bench = self.rng, self.bench
        level = int(rng.integers(2))
        if self.kind == "data stuck":
            net = str(rng.choice(sorted(bench.data)))
            self.truth = (f"line {net}",)
            one = 1 << bench.data[net][0]
            random = rng.random() < 0.3
            self.read_bits = lambda a, w: (w & ~one) | ((int(rng.integers(256)) & one) if random else one * level)
        elif self.kind == "data bridge":
            a, b = (str(x) for x in rng.choice(sorted(bench.data), 2, replace=False))
            self.truth = (f"lines {a} and {b}", f"lines {b} and {a}", f"line {a}", f"line {b}")
            x, y = bench.data[a][0], bench.data[b][0]
            self.read_bits = lambda at, w: self._bridged(w, x, y, level)
        elif self.kind == "select":
            net = str(rng.choice(sorted(bench.selects)))
            self.truth = (f"line {net}",)
            chips = bench.selects[net]
            first, last = bench.chips[chips[0]][0], bench.chips[chips[0]][1]
            self.read_bits = self._dead(first, last, sum(1 << b for c in chips for b in bench.chips[c][2]))
        elif self.kind == "multiplexer":
            net = str(rng.choice(sorted(bench.switches)))
            self.truth = (f"line {net}",)
            pairs = bench.switches[net]
            self.mask = 0xFF
            self.cell_of = lambda a: (
                sum((a >> pair[level] & 1) << bit for pair in pairs for bit in pair)
                | a & ~sum(1 << bit for pair in pairs for bit in pair)
            )
        else:
            self._address(level)

    def _address(self, level: int) -> None:
        rng, bench = self.rng, self.bench
        net = str(rng.choice(sorted(bench.address)))
        bits = bench.address[net][0]
        if self.kind == "address stuck":
            self.truth = (f"line {net}",)
            flips = sum(1 << b for b in bits)
            self._meet(flips * level, flips, lambda a: True, 0xFF)
            return
        other = str(rng.choice([one for one in sorted(bench.address) if one != net]))
        self.truth = (f"lines {net} and {other}", f"lines {other} and {net}", f"line {net}", f"line {other}")
        pairs = tuple(zip(bits, bench.address[other][0], strict=True))

        def cell(a: int) -> int:
            for x, y in pairs:
                a = self._bridged(a, x, y, level)
            return a

        self.mask, self.cell_of = 0xFF, cell

    @staticmethod
    def _bridged(word: int, x: int, y: int, high: int) -> int:
        p, q = word >> x & 1, word >> y & 1
        both = p | q if high else p & q
        return (word & ~(1 << x | 1 << y)) | both << x | both << y


def run_test(memory: Memory, name: str, most: int, background: int) -> list[tuple[int, int, int]]:
    """The first ``most`` error words of a test: (address, expected, read)."""
    first, last = memory.bench.tested
    found: list[tuple[int, int, int]] = []
    if name.endswith("fill"):
        mixed = np.random.default_rng([8, first]).integers(0, 256, last - first + 1).tolist()
        for a in _order(memory, first, last, 1):
            memory.write(a, (a ^ a >> 8) & 0xFF if name == "fill" else mixed[a - first])
        for a in _order(memory, first, last, 1):
            want = (a ^ a >> 8) & 0xFF if name == "fill" else mixed[a - first]
            got = memory.read(a)
            if got != want:
                found.append((a, want, got))
                if len(found) == most:
                    break
        return found
    for way, operations in MARCHES[name]:
        for a in _order(memory, first, last, way):
            for k in range(0, len(operations), 2):
                word = background ^ (0xFF if operations[k + 1] == "1" else 0)
                if operations[k] == "w":
                    memory.write(a, word)
                    continue
                got = memory.read(a)
                if got != word:
                    found.append((a, word, got))
                    if len(found) == most:
                        return found
    return found


def _order(memory: Memory, first: int, last: int, way: int) -> Iterator[int]:
    """The addresses in order; of a fault between two cells only these, since nothing else can fail."""
    if memory.local is not None:
        return iter(memory.local if way > 0 else memory.local[::-1])
    return iter(range(first, last + 1) if way > 0 else range(last, first - 1, -1))


def written(words: list[tuple[int, int, int]], notation: int) -> str:
    """Error words in one of three notations."""
    shapes = ("{0:04X} {1:02X} {2:02X}", "{0:04X}: wrote {1:02X}, read {2:02X}", "${0:04X} {1:02X} -> {2:02X}")
    return "\n".join(shapes[notation].format(*word) for word in words)


def patient(benches: tuple[Bench, ...], seed: int, most: int, said: bool = False) -> dict[str, Any]:
    """One patient: fault, test, words, answer."""
    rng = np.random.default_rng([8, seed])
    while True:
        bench = benches[int(rng.integers(len(benches)))]
        kinds = tuple(
            kind
            for kind in (*CHIP_KINDS, *LINE_KINDS)
            if (bench.data or not kind.startswith("data")) and (bench.switches or kind != "multiplexer")
        )
        kind = str(rng.choice(kinds))
        memory = Memory(bench, rng, kind)
        test = str(rng.choice(TESTS))
        words = run_test(memory, test, most, int(rng.choice([0x00, 0x55])))
        if words:
            break
    head = f"range {bench.tested[0]:04X}-{bench.tested[1]:04X}\n" if said else ""
    log = read_errors(head + written(words, int(rng.integers(3))))
    before = process_time()
    found = explain(log, bench.map)
    cpu = process_time() - before
    first = found.suspects[0]
    return {
        "seed": seed, "board": bench.name, "kind": kind, "test": test, "words": len(words), "truth": memory.truth[0], "first": first.unit,
        "mode": first.mode, "p": round(first.p, 4), "right": first.unit in memory.truth, "named": bool(set(found.named) & set(memory.truth)),
        "size": len(found.named), "cpu_s": round(cpu, 3),
    }  # fmt: skip


def share(rows: list[dict[str, Any]], key: str) -> dict[str, Any]:
    """How many of the rows are so, with a 95 % Wilson interval."""
    hit = sum(row[key] for row in rows)
    return {
        "of": len(rows),
        "n": hit,
        "share": round(hit / len(rows), 4),
        "wilson": [round(x, 4) for x in wilson(hit, len(rows))],
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """All patients of the seeds."""
    parser = argparse.ArgumentParser(prog="memory", description=__doc__)
    parser.add_argument("--seeds", default="1-400")
    parser.add_argument("--words", type=int, default=10)
    parser.add_argument("--said", action="store_true")
    asked = parser.parse_args(arguments)
    benches = tuple(make() for make in BOARDS)
    first, last = _range(asked.seeds, "--seeds")
    rows = [patient(benches, seed, asked.words, asked.said) for seed in range(first, last + 1)]
    kinds = {kind: [row for row in rows if row["kind"] == kind] for kind in (*CHIP_KINDS, *LINE_KINDS)}
    return {
        "seeds": asked.seeds,
        "words": asked.words,
        "range_said": asked.said,
        "right": share(rows, "right"),
        "named": share(rows, "named"),
        "by_kind": {kind: share(own, "named") for kind, own in kinds.items() if own},
        "sizes": dict(sorted(Counter(row["size"] for row in rows).items())),
        "cpu_s": {"median": float(np.median([row["cpu_s"] for row in rows])), "max": max(row["cpu_s"] for row in rows)},
        "missed": [row for row in rows if not row["named"]],
    }
