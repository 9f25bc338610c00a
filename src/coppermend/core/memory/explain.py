"""Error words weighed: which one chip, line or buffer explains them, what speaks for and against each, and what tells the first ones apart.

Every unit's ways of failing (``faults``) give a likelihood of all that was visited; its prior and theirs are assumptions. Units that make the same of every
word are named together: no error word can part them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.memory import faults
from coppermend.core.memory.errors import ErrorLog
from coppermend.core.memory.faults import Rows
from coppermend.core.memory.model import Between, Line, MemoryChip, MemoryMap, range_words, ranges_of
from coppermend.core.memory.visits import Ints, Visits, visits

PRIOR = {"chip": 1.0, "line": 0.15, "short": 0.05, "buffer": 0.1, "refresh": 0.1, "several": 0.02}
"""How likely a chip, a line, a bridge between two lines, a buffer or multiplexer, the refresh, several at once are before a word is read, against each other."""
PROGRAM = 0.02
"""A line over which the testing program itself is read is that much less likely than another: the program ran."""
WHOLE = 0.96
"""Chance that a test ran over the whole of a block that nobody named."""
SAID_WHOLE = 0.98
"""The same when the block was named."""
ROUND_SIZES = (0x100, 0x400, 0x1000)
ROUND = 0.02
"""Chance that it began at a round address inside such a block. Else it began where the first error is, at any address as likely."""
ENOUGH_WORDS, THROUGH = 10, 0.8
"""A log of fewer words than this is of a test that ran to its end with this chance; else it stopped at its last word."""
LARGEST = 0.96
"""A test over a whole block was over all writable memory in one piece rather than over one chip's range."""
OVERLAID = 0.2
"""A memory at an address that a smaller one answers to as well (banked over it) is that much less likely the one that was tested."""
ALIKE = 0.35
"""Units whose likelihoods differ by less (natural logarithm) make the same of the words."""
ALIKE_PRIOR = 0.1
"""A unit that was so much less likely before is not named beside another that the words cannot part from it."""
SPEAKS_FROM = 1e-4

Mode = tuple[str, float, Callable[[Rows], float], str]
"""A way of failing: words, share, likelihood, the pins it hangs on."""


@dataclass(frozen=True, slots=True)
class MemorySuspect:
    """A unit with its probability. ``kind`` chip, line, short, buffer, refresh, several; ``mode`` the likeliest way of failing, ``pins`` and ``nets`` it
    hangs on, ``parts`` of it; ``log_like`` natural logarithm of its likelihood; ``alike`` other units that make the same of every word."""

    unit: str
    kind: str
    p: float
    mode: str
    pins: tuple[str, ...]
    nets: tuple[str, ...]
    parts: tuple[str, ...]
    pro: tuple[str, ...]
    con: tuple[str, ...]
    alike: tuple[str, ...]
    log_like: float
    program: bool = False


@dataclass(frozen=True, slots=True)
class MemoryExplained:
    """The answer: suspects with the likeliest first, the error words counted by bit, what they look like, what to do next."""

    suspects: tuple[MemorySuspect, ...]
    words: int
    errors: int
    bits: tuple[tuple[int, int], ...]
    looks: tuple[str, ...]
    then: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def named(self) -> tuple[str, ...]:
        """The first unit and those that no error word parts from it."""
        return (self.suspects[0].unit, *self.suspects[0].alike) if self.suspects else ()


@dataclass(frozen=True, slots=True)
class _Unit:
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

    def mask(self, address: Ints) -> Ints:
        """The bits it can touch at each address."""
        found = np.zeros(len(address), np.int64)
        for chip in self.chips:
            found |= np.where(chip.covers(address), chip.mask, 0)
        return np.asarray(found & self.keep)


def explain(log: ErrorLog, board: MemoryMap, most: int = 8) -> MemoryExplained:
    """Which unit explains the error words of a log. Refusals: MEM-005 when none of them is an error, MEM-006 when none lies in a memory of the map or
    a word is wider than the data bus."""
    errors = log.errors
    if not errors:
        raise refuse(
            "MEM-005",
            f"None of the {len(log.words)} words differs from what was written.",
            "Nothing failed here: give the words that read wrong, or look elsewhere.",
        )
    _check_width(log, board)
    address = np.array([one.address for one in errors], np.int64)
    held = np.logical_or.reduce([one.covers(address) for one in board.rams])
    if not held.any():
        said = "; ".join(f"{one.ref} {range_words(ranges_of(one, board.space), board.space)}" for one in board.rams[:8])
        raise refuse(
            "MEM-006",
            f"No writable memory of this board answers at {', '.join(f'{int(a):04X}' for a in address[:3])}: {said}.",
            "See whether the addresses are the processor's and the board is the right one, or give the map: --map FILE.",
        )
    notes = list(log.findings)
    if not held.all():
        lost = [f"{int(a):04X}" for a in address[~held]]
        words = f"{len(lost)} error words lie in no writable memory of the map: {', '.join(lost[:4])}."
        notes.append(Finding("MEM-006", Severity.WARNING, Place(), words, "They count for none of its chips."))
    worlds = tuple(_worlds(log, board))
    rows = [row for unit in _units(board, address, _timed(log)) if (row := _weighed(unit, worlds, board)) is not None]
    return _answer(rows, log, board, notes, most)


def _check_width(log: ErrorLog, board: MemoryMap) -> None:
    wide = next((one for one in log.words if max(one.wrote, one.read) >> board.width), None)
    if wide is not None:
        raise refuse(
            "MEM-006",
            f"The word {max(wide.wrote, wide.read):X} at {wide.address:04X} is wider than the {board.width} data bits of this board.",
            "Give words as the processor reads them.",
            Place(line=wide.line or None),
        )


def _timed(log: ErrorLog) -> bool:
    return any(one.after_s is not None for one in log.words)


# ---- what was visited ----
def _worlds(log: ErrorLog, board: MemoryMap) -> Iterator[tuple[float, Visits]]:
    """The ways the test may have gone, with their chances."""
    low = min(one.address for one in log.words)
    high = max(one.address for one in log.words)
    if log.tested is not None:
        natural, rest = [(min(log.tested[0], low), max(log.tested[1], high))], []
    else:
        natural = _blocks(low, high, board)
        rest = [(low & -size, max(natural[0][1], high)) for size in ROUND_SIZES]
        rest = [one for one in dict.fromkeys(rest) if one not in natural]
    whole = SAID_WHOLE if log.tested is not None else WHOLE
    ends = ((True, THROUGH), (False, 1.0 - THROUGH)) if len(log.words) < ENOUGH_WORDS else ((False, 1.0),)
    others = len(natural) - 1
    shares = [LARGEST, *[(1.0 - LARGEST) / others] * others] if others else [1.0]
    for through, part in ends:
        for block, share in zip(natural, shares, strict=True):
            yield whole * share * part, visits(log, block, whole=True, through=through)
        for block in rest:
            yield ROUND / len(rest) * part, visits(log, block, whole=True, through=through)
    bare = visits(log, natural[0], whole=False)
    chance = 1.0 / (natural[0][1] - natural[0][0] + 1)
    yield (1.0 - whole) * max(chance ** min(len(bare.runs), 50), 1e-200), bare


def _blocks(low: int, high: int, board: MemoryMap) -> list[tuple[int, int]]:
    """Blocks of memory that hold the errors, the likeliest first: all writable memory in one piece without what ROMs and smaller memories over it answer
    to, then each chip's own range."""
    ranges = {chip.ref: ranges_of(chip, board.space) for chip in board.chips}
    every = sorted({one for chip in board.rams for one in ranges[chip.ref]})
    over = [one for one in board.chips if one.rom or any(_inside(ranges[one.ref], big) for big in ranges.values())]
    most: list[tuple[int, int]] = []
    own: list[tuple[int, int]] = []
    for first, last in every:
        if first <= low <= last:
            most.append(_freed(_joined((first, last), every), low, high, over, board.space))
            own.append((first, max(last, high)))
    kept = [one for one in dict.fromkeys([*most, *own]) if one[0] <= low and one[1] >= high]
    return kept or [(low & ~0xFF, high | 0xFF)]


def _inside(small: tuple[tuple[int, int], ...], big: tuple[tuple[int, int], ...]) -> bool:
    """Whether one memory's ranges lie in another's larger ones."""
    return small != big and all(any(a <= x and y <= b for a, b in big) for x, y in small)


def _joined(block: tuple[int, int], every: list[tuple[int, int]]) -> tuple[int, int]:
    """A block with those that touch it."""
    first, last = block
    for _ in every:
        for a, b in every:
            if a <= last + 1 and b >= first - 1:
                first, last = min(first, a), max(last, b)
    return first, last


def _freed(block: tuple[int, int], low: int, high: int, others: Iterable[MemoryChip], space: int) -> tuple[int, int]:
    first, last = block
    for one in others:
        for a, b in ranges_of(one, space):
            if b < low:
                first = max(first, b + 1)
            elif a > high:
                last = min(last, a - 1)
    return first, max(last, high)


# ---- the units ----
def _units(board: MemoryMap, address: Ints, timed: bool) -> Iterator[_Unit]:
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
        words = "all dynamic memories forget: the refresh is missing or too slow"
        yield _Unit("refresh", "refresh", dynamic, full, ((words, 1.0, faults.loss, ""),), (), (), (), PRIOR["refresh"])
    words = "several faults at once, or none that this knows"
    yield _Unit(
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


def _chip_unit(chip: MemoryChip, timed: bool) -> _Unit:
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
    return _Unit(f"part {chip.ref}", "chip", (chip,), chip.mask, tuple(modes), pins, (), (chip.ref,), PRIOR["chip"])


def _regions(chip: MemoryChip) -> tuple[int, ...]:
    """Address bits that are alike in a row, a column or a block of a chip: one half of its lines, or all from some bit on."""
    every = sorted({bit for _, bits in chip.lines for bit in bits}) or list(range(16))
    half = len(every) // 2
    found = [_flips(every[:half]), _flips(every[half:]), *(_flips(every[k:]) for k in range(1, len(every)))]
    return tuple(dict.fromkeys(one for one in found if one))


def _line_unit(line: Line, chips: tuple[MemoryChip, ...]) -> _Unit:
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
    else:
        modes = (
            ("these chips are never selected or never written: all read high", 0.3, _as(faults.stuck, True), ""),
            ("these chips are never selected or never written: all read low", 0.2, _as(faults.stuck, False), ""),
            ("these chips are never selected or never written: they read anything", 0.5, faults.floating, ""),
        )
    prior = PRIOR["line"] * (PROGRAM if line.program else 1.0)
    pins = (*((line.by,) if line.by else ()), *line.pins)
    return _Unit(f"line {line.name}", "line", chips, keep, modes, pins, line.nets, line.through, prior, line.program)


def _between_unit(part: Between, chips: tuple[MemoryChip, ...]) -> _Unit:
    modes: list[Mode] = []
    if part.mask:
        for high in (False, True):
            modes.append((f"all its data lines are {_level(high)}", 0.3, _as(_only(part.mask, faults.stuck), high), ""))
        modes.append(("it does not drive the data", 0.4, _only(part.mask, faults.floating), ""))
    pairs = [one for one in part.bits if len(one) > 1]
    if pairs:
        for k, which in ((0, "first"), (-1, "last")):
            flips = sum(1 << one[k] for one in pairs)
            modes.append(
                (f"it never hands on its {which} inputs: the multiplexer does not switch", 0.4, _meet(flips), "")
            )
    if part.bits:
        modes.append(("none of its address lines moves", 0.2, _meet(sum(_flips(one) for one in part.bits)), ""))
    prior = PRIOR["buffer"] * (PROGRAM if part.program else 1.0)
    return _Unit(f"part {part.ref}", "buffer", chips, -1, tuple(modes), (), (), (part.ref,), prior, part.program)


def _bridges(board: MemoryMap, known: dict[str, MemoryChip], address: Ints) -> Iterator[_Unit]:
    """Two lines of one kind and one stage that touch. Lines that carry the program are left out: it would not run."""
    groups: dict[tuple[str, tuple[str, ...]], list[Line]] = {}
    for line in board.lines:
        if not line.program and line.kind != "select" and line.bits:
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
                if any(chip.covers(address).any() for chip in chips) and (unit := _bridge(kind, one, other, chips)):
                    yield unit


def _bridge(kind: str, one: Line, other: Line, chips: tuple[MemoryChip, ...]) -> _Unit | None:
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
    return _Unit(
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


# ---- weighing ----
@dataclass(frozen=True, slots=True)
class _Row:
    unit: _Unit
    log_like: float
    mode: Mode
    mode_log: float


def _weighed(unit: _Unit, worlds: tuple[tuple[float, Visits], ...], board: MemoryMap) -> _Row | None:
    """A unit's likelihood over all its ways of failing and all the ways the test may have gone."""
    table = [Rows(seen, unit.mask(seen.address), board.width) for _, seen in worlds]
    if not any(rows.mask[rows.seen.wrong].any() for rows in table):
        return None
    best, best_log, total = unit.modes[0], -math.inf, -math.inf
    share = sum(one[1] for one in unit.modes)
    for mode in unit.modes:
        logs = [math.log(chance) + mode[2](rows) for (chance, _), rows in zip(worlds, table, strict=True)]
        here = float(np.logaddexp.reduce(logs)) + math.log(mode[1] / share)
        total = float(np.logaddexp(total, here))
        if here > best_log:
            best, best_log = mode, here
    return _Row(unit, total, best, best_log) if total > -math.inf else None


def _answer(rows: list[_Row], log: ErrorLog, board: MemoryMap, notes: list[Finding], most: int) -> MemoryExplained:
    logs = np.array([row.log_like + math.log(row.unit.prior) for row in rows])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    order = np.argsort(-weights, kind="stable")
    found: list[MemorySuspect] = []
    for k in order[:most].tolist():
        if weights[k] < SPEAKS_FROM and found:
            break
        found.append(_suspect(rows[k], float(weights[k]), rows, log, board))
    bits = tuple((bit, n) for bit in range(board.width) if (n := sum(one.bits >> bit & 1 for one in log.errors)))
    looks = tuple(_looks(log, board))
    return MemoryExplained(
        tuple(found),
        len(log.words),
        len(log.errors),
        bits,
        looks,
        tuple(_then(found, board)),
        tuple(notes),
    )


def _suspect(row: _Row, p: float, rows: list[_Row], log: ErrorLog, board: MemoryMap) -> MemorySuspect:
    unit = row.unit
    pins = tuple(row.mode[3].split()) or unit.pins
    alike = tuple(
        other.unit.name
        for other in rows
        if other is not row
        and other.unit.kind not in ("several", "refresh")
        and abs(_plain(other) - _plain(row)) < ALIKE
        and other.unit.prior >= ALIKE_PRIOR * unit.prior
    )
    pro, con = _reasons(unit, log, board)
    return MemorySuspect(
        unit.name, unit.kind, p, row.mode[0], pins, unit.nets, unit.parts, pro, con, alike, row.log_like, unit.program
    )


def _plain(row: _Row) -> float:
    """The likelihood of a unit's best way of failing without that way's share."""
    share = row.mode[1] / sum(one[1] for one in row.unit.modes)
    return row.mode_log - math.log(share)


def _reasons(unit: _Unit, log: ErrorLog, board: MemoryMap) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What the error words say for and against a unit, in words."""
    errors = log.errors
    address = np.array([one.address for one in errors], np.int64)
    bits = np.array([one.bits for one in errors], np.int64)
    mask = unit.mask(address)
    inside = int(((bits & ~mask) == 0).sum())
    pro: list[str] = []
    con: list[str] = []
    if unit.kind in ("several", "refresh"):
        touched = sum(
            1 for one in board.rams if any(one.mask & e.bits and one.covers(np.array([e.address]))[0] for e in errors)
        )
        pro.append(f"{touched} chips are touched by the errors")
        return tuple(pro), tuple(con)
    if inside:
        pro.append(f"{inside} of {len(errors)} errors are in its bits and addresses alone")
    if inside < len(errors):
        con.append(f"{len(errors) - inside} of {len(errors)} errors are in bits or addresses it does not reach")
    if unit.program:
        con.append("the testing program itself is read over this: it ran")
    unhurt = [one for one in log.words if not one.bits]
    if unhurt:
        hit = int((unit.mask(np.array([one.address for one in unhurt], np.int64)) != 0).sum())
        if hit:
            con.append(f"{hit} words that it reaches read right")
    common = int(np.bitwise_and.reduce(bits))
    if unit.kind == "chip" and common and inside == len(errors):
        pro.append(f"D{'/'.join(str(b) for b in range(board.width) if common >> b & 1)} is wrong in every error word")
    return tuple(pro), tuple(con)


def _looks(log: ErrorLog, board: MemoryMap) -> Iterator[str]:
    """What the errors look like."""
    errors = log.errors
    wrote = np.array([one.wrote for one in errors], np.int64)
    read = np.array([one.read for one in errors], np.int64)
    address = np.array([one.address for one in errors], np.int64)
    bits = wrote ^ read
    for bit in range(board.width):
        hit = (bits >> bit & 1) == 1
        if hit.any():
            level = set((read[hit] >> bit & 1).tolist())
            way = "high and low" if len(level) > 1 else "high" if 1 in level else "low"
            yield f"D{bit} is wrong in {int(hit.sum())} of {len(errors)} error words, read {way}"
    varies = int(np.bitwise_or.reduce(address ^ address[0]))
    same = [bit for bit in range(board.space) if not varies >> bit & 1]
    if len(set(address.tolist())) >= 4 and same:
        low = [bit for bit in same if bit < varies.bit_length()]
        if low:
            yield f"all error addresses have {', '.join(f'A{b}={int(address[0]) >> b & 1}' for b in low[:8])}"
    if len(set(address.tolist())) == 1 and len(errors) > 1:
        yield f"all errors are at one address, {int(address[0]):04X}"


def _then(found: list[MemorySuspect], board: MemoryMap) -> Iterator[str]:
    """What to do next: what tells the first ones apart."""
    first = found[0]
    if first.kind == "chip":
        chip = board.chip(first.parts[0])
        pins = ", ".join(first.pins[:4])
        yield f"Power off. {first.parts[0]}: look at its legs and joints{f' ({pins})' if pins else ''}, then swap it with a known-good one."
        others = [one for one in board.rams if chip is not None and one.ref != chip.ref and one.type == chip.type]
        if others:
            yield f"In a socket: exchange it with {others[0].ref} and test again; if the bad bit moves with it, the chip is bad, else what it sits on."
    elif first.kind == "line":
        net = first.nets[0] if first.nets else first.unit
        through = f", and through {', '.join(first.parts)}" if first.parts else ""
        by = first.pins[0] if first.pins else "its driver"
        yield f"Continuity of {net} from {by} to every pin on it{through}; then a scope there."
    elif first.kind == "short":
        yield f"Power off. Ohms between {' and '.join(first.nets) or first.unit}: look for a bridge where they run side by side."
    elif first.kind == "buffer":
        yield f"{first.parts[0]}: look at its select or enable and its supply with a scope before it is swapped."
    elif first.kind == "refresh":
        yield "Look whether /RAS goes on while nothing is read, and at what counts the refresh addresses."
    else:
        yield "Test again over one block, all words, and give all of them: more than one fault is likelier than any single one."
    if first.alike:
        yield f"Error words cannot part {first.unit} from {', '.join(first.alike)}: another bank, or a scope at the pin, can."
