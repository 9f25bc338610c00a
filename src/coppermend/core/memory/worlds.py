"""How a memory test may have gone: over which block it ran, whether it went through to its end. Chances are assumptions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from coppermend.core.memory.errors import ErrorLog
from coppermend.core.memory.model import MemoryChip, MemoryMap, ranges_of
from coppermend.core.memory.visits import Visits, visits

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


def worlds_of(log: ErrorLog, board: MemoryMap) -> Iterator[tuple[float, Visits]]:
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
