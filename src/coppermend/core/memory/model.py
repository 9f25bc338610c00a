"""A board's memory map as values: chips with the bits and addresses they hold, and the lines that serve several of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which combinations of address bits select a chip: ``bits`` highest first, ``active`` the combinations as numbers over them."""

    bits: tuple[int, ...]
    active: tuple[int, ...]

    def hit(self, address: Ints) -> Flags:
        """Which addresses are among them."""
        number = np.zeros(len(address), np.int64)
        for bit in self.bits:
            number = (number << 1) | ((address >> bit) & 1)
        table = np.zeros(1 << len(self.bits), np.bool_)
        table[list(self.active)] = True
        return np.asarray(table[number])


@dataclass(frozen=True, slots=True)
class MemoryChip:
    """A memory. ``bits`` (data bit of the processor, pins); ``lines`` (address pin, the processor's bits that come to it in turn);
    ``chosen`` what selects it: every one must hold; ``dynamic`` needs refresh; ``rom`` cannot be written; ``shown``: the picture is fetched from it."""

    ref: str
    type: str
    bits: tuple[tuple[int, tuple[str, ...]], ...]
    lines: tuple[tuple[str, tuple[int, ...]], ...]
    chosen: tuple[Chosen, ...]
    dynamic: bool = False
    rom: bool = False
    first_last: tuple[tuple[int, int], ...] = ()
    shown: bool = False

    @property
    def mask(self) -> int:
        """Its bits in the processor's word."""
        return sum(1 << bit for bit, _ in self.bits)

    def covers(self, address: Ints) -> Flags:
        """Which addresses it answers to."""
        hit = np.ones(len(address), np.bool_)
        for one in self.chosen:
            hit &= one.hit(address)
        if self.first_last:
            hit &= np.logical_or.reduce([(address >= a) & (address <= b) for a, b in self.first_last])
        return hit


@dataclass(frozen=True, slots=True)
class Line:
    """A line between processor and memories, with the series resistors in it. ``kind`` data, address, select or multiplex (it
    switches multiplexers over; ``pairs`` the address bits that each of their outputs hands on in turn); ``bits`` the processor's bits it
    carries; ``chips`` it serves; ``by`` the pin that drives it; ``program`` a ROM is read over it as well."""

    name: str
    kind: str
    bits: tuple[int, ...]
    nets: tuple[str, ...]
    chips: tuple[str, ...]
    pins: tuple[str, ...]
    by: str = ""
    through: tuple[str, ...] = ()
    program: bool = False
    pairs: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Between:
    """A buffer, latch or multiplexer between processor and memories; ``mask`` data bits and ``bits`` address bits that pass it, ``chips`` behind it."""

    ref: str
    type: str
    mask: int
    bits: tuple[tuple[int, ...], ...]
    chips: tuple[str, ...]
    program: bool = False


@dataclass(frozen=True, slots=True)
class MemoryMap:
    """All of it. ``width`` data bits, ``space`` address bits of the processor; ``asides`` memories that the processor does not reach, and why."""

    processor: str
    width: int
    space: int
    chips: tuple[MemoryChip, ...]
    lines: tuple[Line, ...]
    between: tuple[Between, ...]
    asides: tuple[str, ...] = ()

    @property
    def rams(self) -> tuple[MemoryChip, ...]:
        """The chips that can be written."""
        return tuple(one for one in self.chips if not one.rom)

    def drawn(self, address: Ints, picture: Flags) -> Flags:
        """Which of the words seen in the picture lie where a memory answers that the picture is known to be fetched from."""
        shown = np.zeros(len(address), np.bool_)
        for one in self.chips:
            if one.shown:
                shown |= one.covers(address)
        return np.asarray(picture & shown)

    def chip(self, ref: str) -> MemoryChip | None:
        """The chip of that reference designator."""
        return next((one for one in self.chips if one.ref == ref), None)


def ranges_of(chip: MemoryChip, space: int) -> tuple[tuple[int, int], ...]:
    """The addresses a chip answers to as (first, last); worked out in steps of its lowest deciding bit.

    >>> chip = MemoryChip("U1", "6116", ((0, ("U1.9",)),), (), (Chosen((15, 14), (2,)),))
    >>> [(hex(a), hex(b)) for a, b in ranges_of(chip, 16)]
    [('0x8000', '0xbfff')]
    """
    if chip.first_last:
        return chip.first_last
    low = min((bit for one in chip.chosen for bit in one.bits), default=space)
    low = max(low, space - 16)
    starts = np.arange(1 << (space - low), dtype=np.int64) << low
    found: list[tuple[int, int]] = []
    for start in starts[chip.covers(starts)].tolist():
        last = start + (1 << low) - 1
        if found and found[-1][1] + 1 == start:
            found[-1] = (found[-1][0], last)
        else:
            found.append((start, last))
    return tuple(found)


def range_words(ranges: Sequence[tuple[int, int]], space: int) -> str:
    """Ranges in words.

    >>> range_words([(0x2000, 0x3FFF)], 16)
    '2000-3FFF'
    """
    wide = max(4, -(-space // 4))
    said = [f"{a:0{wide}X}-{b:0{wide}X}" for a, b in ranges[:6]]
    return ", ".join(said) + (" ..." if len(ranges) > 6 else "")
