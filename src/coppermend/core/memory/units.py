"""What can be wrong with the memory of a board: chips, lines, bridges between lines, buffers, refresh, each with its ways of failing and its prior.

Priors and shares are assumptions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coppermend.core.memory import faults
from coppermend.core.memory.faults import Rows
from coppermend.core.memory.model import Between, Line, MemoryChip, MemoryMap, ranges_of
from coppermend.core.memory.visits import Flags, Ints

PRIOR = {"chip": 1.0, "line": 0.15, "short": 0.05, "buffer": 0.1, "refresh": 0.1, "several": 0.02}
"""How likely a chip, a line, a bridge between two lines, a buffer or multiplexer, the refresh, several at once are before a word is read, against each other."""
PROGRAM = 0.02
"""A line over which the testing program itself is read is that much less likely than another: the program ran."""
OVERLAID = 0.02
"""A memory at an address that a smaller one answers to as well (banked over it) is that much less likely the one that was tested, when no error is elsewhere."""
UNTIMED = 0.3
"""The refresh is that much less likely where no word tells how long it waited."""
BOTH_WAYS = 0.1
"""Cells without refresh come back both high and low, rather than all one way."""
TEAM = 0.02
"""Another chip is bad as well: so likely each, against that one alone."""
MOST_TEAM = 4
"""Bad chips at once that are weighed together, at most."""

Mode = tuple[str, float, Callable[[Rows], float], str]
"""A way of failing: words, share, likelihood, the pins it hangs on."""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit to be weighed. ``bits`` of it at each visit's address."""

    name: str
    kind: str
    chips: tuple[MemoryChip, ...]
    keep: int
    modes: tuple[Mode, ...]
    pins: tuple[str, ...]
    nets: tuple[str, ...]
    parts: tuple[str, ...]
    prior: float
    program: bool = False

    def mask(self, address: Ints, drawn: Flags | None = None) -> Ints:
        """The bits it can touch at each address. ``drawn``: which were seen in the picture, fetched from chips that are shown: no other counts there."""
        found = np.zeros(len(address), np.int64)
        for chip in self.chips:
            here = chip.covers(address)
            if drawn is not None and not chip.shown:
                here &= ~drawn
            found |= np.where(here, chip.mask, 0)
        return np.asarray(found & self.keep)


def units_of(board: MemoryMap, address: Ints, timed: bool) -> Iterator[Unit]:
    """Every unit that an error at these addresses can come from. ``timed``: the words tell how long was waited, so that forgetting can be judged."""
    known = {one.ref: one for one in board.rams}
    for chip in board.rams:
        if chip.covers(address).any():
            yield replace(
                _chip_unit(chip, timed), prior=PRIOR["chip"] * (OVERLAID if _overlaid(chip, board, address) else 1.0)
            )
    for line in board.lines:
        chips = tuple(known[ref] for ref in line.chips if ref in known)
        if chips and any(one.covers(address).any() for one in chips):
            unit = _line_unit(line, chips)
            over = all(_overlaid(one, board, address) for one in chips if one.covers(address).any())
            yield replace(unit, prior=unit.prior * (OVERLAID if over else 1.0))
    yield from _bridges(board, known, address)
    for part in board.between:
        chips = tuple(known[ref] for ref in part.chips if ref in known)
        if chips and any(one.covers(address).any() for one in chips):
            yield _between_unit(part, chips)
    every = tuple(board.rams)
    full = (1 << board.width) - 1
    dynamic = tuple(one for one in every if one.dynamic)
    if dynamic:
        yield _refresh_unit(dynamic, full, timed)
    words = "several faults at once, or none that this knows"
    yield Unit(
        "several",
        "several",
        every,
        full,
        ((words, 0.5, faults.cells, ""), (words, 0.5, faults.loss, "")),
        (),
        (),
        (),
        PRIOR["several"],
    )


def _refresh_unit(dynamic: tuple[MemoryChip, ...], full: int, timed: bool) -> Unit:
    words = "all dynamic memories forget: the refresh is missing or too slow"
    modes: tuple[Mode, ...] = (
        (f"{words}; cells come back low", (1 - BOTH_WAYS) / 2, _as(faults.faded, False), ""),
        (f"{words}; cells come back high", (1 - BOTH_WAYS) / 2, _as(faults.faded, True), ""),
        (words, BOTH_WAYS, faults.loss, ""),
    )
    return Unit("refresh", "refresh", dynamic, full, modes, (), (), (), PRIOR["refresh"] * (1.0 if timed else UNTIMED))


def _overlaid(chip: MemoryChip, board: MemoryMap, address: Ints) -> bool:
    """Whether at every address of the errors that a chip answers to, a memory of a smaller range does so too."""
    mine = _size(chip, board)
    other = np.zeros(len(address), np.bool_)
    for one in board.chips:
        if _size(one, board) < mine:
            other |= one.covers(address)
    return bool(other[chip.covers(address)].all())


def _size(chip: MemoryChip, board: MemoryMap) -> int:
    return sum(last - first + 1 for first, last in ranges_of(chip, board.space))


def _level(high: bool) -> str:
    return "high" if high else "low"


def _chip_unit(chip: MemoryChip, timed: bool) -> Unit:
    modes: list[Mode] = [("cells of it are bad", 0.3, faults.cells, "")]
    regions = _regions(chip)
    modes.append(("a row, a column or a block of its cells is bad", 0.1, lambda rows: faults.block(rows, regions), ""))
    if timed and chip.dynamic:
        modes.append(("cells of it forget between refreshes", 0.2, faults.weak, ""))
    whole = " ".join(pin for _, pins in chip.bits for pin in pins)
    for high in (False, True):
        modes.append((f"it reads {_level(high)} always", 0.1, _as(faults.stuck, high), whole))
    modes.append(("it reads anything: it does not drive, or does not keep", 0.1, faults.floating, whole))
    if len(chip.bits) > 1:
        for bit, pins in chip.bits:
            share = 0.1 / len(chip.bits)
            for high in (False, True):
                modes.append(
                    (
                        f"its D{bit} reads {_level(high)} always",
                        share,
                        _only(1 << bit, _as(faults.stuck, high)),
                        " ".join(pins),
                    )
                )
            modes.append((f"its D{bit} reads anything", share, _only(1 << bit, faults.floating), " ".join(pins)))
    for pin, bits in chip.lines:
        if bits:
            words = f"it does not see {_a(bits)}: pin {pin} open, or its decoder"
            modes.append((words, 0.2 / len(chip.lines), _meet(_flips(bits)), pin))
    pins = tuple(pin for _, of in chip.bits for pin in of)
    return Unit(f"part {chip.ref}", "chip", (chip,), chip.mask, tuple(modes), pins, (), (chip.ref,), PRIOR["chip"])


def _regions(chip: MemoryChip) -> tuple[int, ...]:
    """Address bits that are alike in a row, a column or a block of a chip: one half of its lines, or all from some bit on."""
    every = sorted({bit for _, bits in chip.lines for bit in bits}) or list(range(16))
    half = len(every) // 2
    found = [_flips(every[:half]), _flips(every[half:]), *(_flips(every[k:]) for k in range(1, len(every)))]
    return tuple(dict.fromkeys(one for one in found if one))


def _line_unit(line: Line, chips: tuple[MemoryChip, ...]) -> Unit:
    modes: tuple[Mode, ...]
    keep = -1
    if line.kind == "data":
        keep = sum(1 << bit for bit in line.bits)
        modes = (
            (f"D{_numbers(line.bits)} is stuck low", 0.35, _as(faults.stuck, False), ""),
            (f"D{_numbers(line.bits)} is stuck high", 0.35, _as(faults.stuck, True), ""),
            (f"D{_numbers(line.bits)} is open", 0.3, faults.floating, ""),
        )
    elif line.kind == "address":
        modes = ((f"{_a(line.bits)} is stuck or open: addresses meet", 1.0, _meet(_flips(line.bits)), ""),)
    elif line.kind == "multiplex":
        modes = tuple(
            (
                f"the multiplexers never hand on {_a(tuple(one[k] for one in line.pairs))}: their select does not move",
                0.5,
                _meet(flips),
                "",
            )
            for k, flips in _never_handed(line.pairs)
        )
    else:
        modes = (
            ("these chips are never selected or never written: all read high", 0.3, _as(faults.stuck, True), ""),
            ("these chips are never selected or never written: all read low", 0.2, _as(faults.stuck, False), ""),
            ("these chips are never selected or never written: they read anything", 0.5, faults.floating, ""),
        )
    prior = PRIOR["line"] * (PROGRAM if line.program else 1.0)
    pins = (*((line.by,) if line.by else ()), *line.pins)
    return Unit(f"line {line.name}", "line", chips, keep, modes, pins, line.nets, line.through, prior, line.program)


def _between_unit(part: Between, chips: tuple[MemoryChip, ...]) -> Unit:
    modes: list[Mode] = []
    if part.mask:
        for high in (False, True):
            modes.append((f"all its data lines are {_level(high)}", 0.3, _as(_only(part.mask, faults.stuck), high), ""))
        modes.append(("it does not drive the data", 0.4, _only(part.mask, faults.floating), ""))
    pairs = [one for one in part.bits if len(one) > 1]
    if pairs:
        for k, flips in _never_handed(pairs):
            lost = _a(tuple(one[k] for one in pairs))
            modes.append((f"it never hands on {lost}: the multiplexer does not switch", 0.4, _meet(flips), ""))
    if part.bits:
        modes.append(("none of its address lines moves", 0.2, _meet(sum(_flips(one) for one in part.bits)), ""))
    prior = PRIOR["buffer"] * (PROGRAM if part.program else 1.0)
    return Unit(f"part {part.ref}", "buffer", chips, -1, tuple(modes), (), (), (part.ref,), prior, part.program)


def _never_handed(pairs: Sequence[tuple[int, ...]]) -> Iterator[tuple[int, int]]:
    """(Which input, mask of its address bits) of multiplexers that hand on the other one alone."""
    for k in (0, -1):
        yield k, sum(1 << one[k] for one in pairs)


def _bridges(board: MemoryMap, known: dict[str, MemoryChip], address: Ints) -> Iterator[Unit]:
    """Two lines of one kind and one stage that touch. Lines that carry the program do not touch: it would not run; data of theirs may be exchanged."""
    groups: dict[tuple[str, tuple[str, ...]], list[Line]] = {}
    for line in board.lines:
        if line.bits and line.kind in (("data",) if line.program else ("data", "address")):
            behind = tuple(sorted({ref for ref in line.chips if ref in known}))
            key = (
                behind
                if line.kind == "address"
                else tuple(sorted({str(ranges_of(known[r], board.space)) for r in behind}))
            )
            groups.setdefault((line.kind, key), []).append(line)
    for (kind, _), lines in groups.items():
        for k, one in enumerate(lines):
            for other in lines[k + 1 :]:
                chips = tuple(known[ref] for ref in dict.fromkeys((*one.chips, *other.chips)) if ref in known)
                if not any(chip.covers(address).any() for chip in chips):
                    continue
                if (unit := _bridge(kind, one, other, chips)) is not None:
                    yield _without_touch(unit) if one.program or other.program else unit


def _without_touch(unit: Unit) -> Unit:
    """What is left of a bridge where the program runs over a line: the memories' own pins exchanged on the way back."""
    return replace(unit, modes=unit.modes[-1:], prior=unit.prior * PROGRAM * unit.modes[-1][1], program=True)


def _bridge(kind: str, one: Line, other: Line, chips: tuple[MemoryChip, ...]) -> Unit | None:
    words = f"{one.name} and {other.name} touch"
    modes: list[Mode] = []
    keep = -1
    if kind == "data":
        a, b = one.bits[0], other.bits[0]
        if a == b:
            return None
        keep = 1 << a | 1 << b
        modes = [
            (f"{words}: both low where one is", 0.45, lambda rows: faults.bridged(rows, a, b, False), ""),
            (f"{words}: both high where one is", 0.45, lambda rows: faults.bridged(rows, a, b, True), ""),
            (
                f"{one.name} and {other.name} are exchanged on the way back",
                0.1,
                lambda rows: faults.exchanged(rows, a, b),
                "",
            ),
        ]
    elif len(one.bits) == len(other.bits) and not set(one.bits) & set(other.bits):
        for high in (False, True):
            modes.append(
                (f"{words}: both {_level(high)} where they differ", 0.5, _meet_short(one.bits, other.bits, high), "")
            )
    if not modes:
        return None
    return Unit(
        f"lines {one.name} and {other.name}",
        "short",
        chips,
        keep,
        tuple(modes),
        (),
        (*one.nets[:1], *other.nets[:1]),
        (),
        PRIOR["short"] / 4,
    )


def _as(make: Callable[[Rows, bool], float], high: bool) -> Callable[[Rows], float]:
    return lambda rows: make(rows, high)


def _only(mask: int, make: Callable[..., float]) -> Callable[..., float]:
    def weigh(rows: Rows, *more: bool) -> float:
        return make(replace(rows, mask=rows.mask & mask), *more)

    return weigh


def _meet(flips: int) -> Callable[[Rows], float]:
    return lambda rows: faults.met(rows, flips)


def _meet_short(one: tuple[int, ...], other: tuple[int, ...], high: bool) -> Callable[[Rows], float]:
    """Of multiplexed lines both halves meet."""
    pairs = tuple((1 << a, 1 << b) for a, b in zip(one, other, strict=True))
    return lambda rows: faults.met_short(rows, pairs, high)


def _flips(bits: Iterable[int]) -> int:
    return sum(1 << bit for bit in bits)


def _a(bits: tuple[int, ...]) -> str:
    return " and ".join(f"A{bit}" for bit in bits)


def _numbers(bits: tuple[int, ...]) -> str:
    return "/".join(str(bit) for bit in bits)
