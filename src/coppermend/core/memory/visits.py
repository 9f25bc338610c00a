"""What a test visited: the words of the log, and those between them that must have read right, with what was written there as far as it shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.memory.errors import ErrorLog, ErrorWord
from coppermend.core.memory.ways import pattern_of, runs

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
MOST_PASSED = 4096
"""Words that read right and are weighed one by one; more stand for the rest by weight."""
NEAR = 512


@dataclass(frozen=True, slots=True)
class Run:
    """One way through the memory: ``way`` +1 up or -1 down, ``first`` and ``last`` address it can have visited, ``pattern`` what it wrote ("" unknown)."""

    way: int
    first: int
    last: int
    pattern: str


@dataclass(frozen=True, slots=True)
class Visits:
    """Rows, one a visit: address, written (-1: not known), read, run index, weight (rows that read right can stand for several), seconds waited (-1: not said),
    seen in the picture."""

    address: Ints
    wrote: Ints
    read: Ints
    run: Ints
    weight: Floats
    after: Floats
    runs: tuple[Run, ...]
    passed: float
    """Different addresses that were visited and read right each time."""
    picture: Flags

    @property
    def wrong(self) -> Flags:
        """Which rows are error words."""
        return np.asarray((self.wrote >= 0) & (self.wrote != self.read))


def visits(log: ErrorLog, block: tuple[int, int], *, whole: bool, through: bool = False) -> Visits:
    """The visits of a log. ``block`` the memory it ran over; ``whole`` True: each way began at its end of the block, and all but the last ran through (``through``: that too);
    False: only what lies between a way's first and last error was visited.

    Only errors say how far the test came: words that read right may have been looked up anywhere and in any order. A picture is no test that ran on: nothing
    is said of the characters that nobody wrote down."""
    parts = _parts(log.words)
    made: list[Run] = []
    rows: list[tuple[Ints, Ints, Ints, Ints, Floats, Floats]] = []
    shown: list[Flags] = []
    passed: set[int] = set()
    wrong = {one.address for one in log.words if one.bits}
    share = max(NEAR, MOST_PASSED // max(1, len(parts)))
    for k, (way, errors, words) in enumerate(parts):
        low, high = min(one.address for one in errors), max(one.address for one in errors)
        most, least = max(high, *(one.address for one in words)), min(low, *(one.address for one in words))
        if whole:
            begin, end = (min(block[0], low), max(block[1], high))
            final = k == len(parts) - 1 and not through
            low, high = (begin, high if final else end) if way > 0 else (low if final else begin, end)
        name, make = pattern_of(words)
        if make is None:
            name, make = pattern_of(errors)
        made.append(Run(way, min(block[0], least), max(block[1], most), name))
        rows.append(_said(words, k))
        shown.append(np.array([one.picture for one in words]))
        if all(one.picture for one in words) or (len(errors) < 2 and not whole):
            continue
        quiet, weight = _quiet(words, low, high, share)
        passed.update(quiet.tolist())
        wrote = make(quiet) if make is not None else np.full(len(quiet), -1, np.int64)
        shown.append(np.zeros(len(quiet), dtype=bool))
        rows.append(
            (quiet, wrote, wrote, np.full(len(quiet), k), np.full(len(quiet), weight), np.full(len(quiet), -1.0))
        )
    scale = max((float(row[4][0]) for row in rows if len(row[4])), default=1.0)
    return Visits(
        np.concatenate([row[0] for row in rows]),
        np.concatenate([row[1] for row in rows]),
        np.concatenate([row[2] for row in rows]),
        np.concatenate([row[3] for row in rows]),
        np.concatenate([row[4] for row in rows]),
        np.concatenate([row[5] for row in rows]),
        tuple(made),
        len(passed - wrong) * scale,
        np.concatenate(shown),
    )


def _parts(words: Sequence[ErrorWord]) -> list[tuple[int, tuple[ErrorWord, ...], tuple[ErrorWord, ...]]]:
    """The log's ways through the memory: (direction, its errors, these and the words that read right, noted after them). Without an error as it stands."""
    errors = [one for one in words if one.bits]
    if not errors:
        return [(way, part, part) for way, part in runs(words)]
    found, taken = [], 0
    parts = list(runs(errors))
    for k, (way, mine) in enumerate(parts):
        begin, last = taken, mine[-1]
        taken = next(n for n in range(taken, len(words)) if words[n] is last) + 1
        if k == len(parts) - 1:
            taken = len(words)
        else:
            while not words[taken].bits:
                taken += 1
        every = tuple(words[begin:taken])
        if len({one.address for one in mine}) < 2:
            way = next(iter(runs(every)))[0]
        found.append((way, mine, every))
    return found


def _said(words: Sequence[ErrorWord], k: int) -> tuple[Ints, Ints, Ints, Ints, Floats, Floats]:
    n = len(words)
    return (
        np.array([one.address for one in words], np.int64),
        np.array([one.wrote for one in words], np.int64),
        np.array([one.read for one in words], np.int64),
        np.full(n, k),
        np.ones(n),
        np.array([-1.0 if one.after_s is None else one.after_s for one in words]),
    )


def _quiet(words: Sequence[ErrorWord], low: int, high: int, most: int) -> tuple[Ints, float]:
    """Addresses from low to high that the words do not name: all, or the ``NEAR`` first at either end and a fixed scatter of the rest with its weight."""
    count = high - low + 1
    if count <= 8 * most:
        every = np.arange(low, high + 1, dtype=np.int64)
    else:
        number = np.arange(4 * most, dtype=np.int64)
        every = np.unique(
            np.concatenate([low + number[:NEAR], high - number[:NEAR], low + number * 2654435761 % count])
        )
    every = every[~np.isin(every, np.array([one.address for one in words], np.int64))]
    if len(every) <= most:
        return every, max(1.0, (count - len(words)) / max(1, len(every)))
    order = np.argsort((every * 2654435761) & 0xFFFFFFFF, kind="stable")
    near = np.concatenate([every[: NEAR // 2], every[-NEAR // 2 :]])
    kept = np.unique(np.concatenate([near, every[order[: most - NEAR]]]))
    return kept, (count - len(words)) / len(kept)
