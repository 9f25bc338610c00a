"""The ways of a test through the memory: which words belong to one, and what it wrote by rule."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from coppermend.core.memory.errors import ErrorWord

Ints = NDArray[np.int64]
FEW = 4
"""A test that writes no more different words than this writes one of them all along a way."""
PATTERNS: tuple[tuple[str, Callable[[Ints], Ints]], ...] = (
    ("the address's low byte", lambda a: a & 0xFF),
    ("the address's low byte turned over", lambda a: ~a & 0xFF),
    ("the address's high byte", lambda a: a >> 8 & 0xFF),
    ("low byte xor high byte", lambda a: (a ^ a >> 8) & 0xFF),
    ("55 and AA in turn", lambda a: np.where(a & 1 == 0, 0x55, 0xAA)),
    ("AA and 55 in turn", lambda a: np.where(a & 1 == 0, 0xAA, 0x55)),
)
"""What tests write that depends on the address. Common practice, no source."""


def runs(words: Sequence[ErrorWord]) -> Iterator[tuple[int, tuple[ErrorWord, ...]]]:
    """The words cut where the test began anew: (direction +1 or -1, words). A run goes one way; one that writes few different words writes one of them.

    >>> from coppermend.core.memory.errors import read_errors
    >>> [(way, len(part)) for way, part in runs(read_errors("1 0 1\\n2 0 1\\n3 0 1\\n3 1 0\\n2 1 0\\n1 1 0").words)]
    [(1, 3), (-1, 3)]
    """
    few = len({one.wrote for one in words}) <= FEW and pattern_of(words)[0] not in dict(PATTERNS)
    several = _several_a_place(words)
    start = 0
    while start < len(words):
        way, k = 0, start + 1
        while k < len(words):
            step = words[k].address - words[k - 1].address
            sign = (step > 0) - (step < 0)
            way = way or sign
            changed = words[k].wrote != words[k - 1].wrote
            if sign not in (0, way) or (changed and not several and (sign == 0 or few)):
                break
            k += 1
        yield way or 1, tuple(words[start:k])
        start = k


def _several_a_place(words: Sequence[ErrorWord]) -> bool:
    """Whether the test writes and reads several times before it goes on to the next address: at two places or more other words follow each other."""
    return len({a.address for a, b in pairwise(words) if a.address == b.address and a.wrote != b.wrote}) > 1


def pattern_of(words: Sequence[ErrorWord]) -> tuple[str, Callable[[Ints], Ints] | None]:
    """What a run wrote: its name and a function of the address, None where a few words came in turn; ("", None) when it shows no rule.

    >>> from coppermend.core.memory.errors import read_errors
    >>> pattern_of(read_errors("10 10 11\\n12 12 13").words)[0], pattern_of(read_errors("10 55 54\\n12 55 54").words)[0]
    ("the address's low byte", '55')
    """
    address = np.array([one.address for one in words], np.int64)
    wrote = np.array([one.wrote for one in words], np.int64)
    first = int(wrote[0])
    if np.all(wrote == first):
        return f"{first:02X}", lambda a: np.full(len(a), first, np.int64)
    for name, make in PATTERNS:
        if len(set(address.tolist())) > 1 and np.array_equal(make(address), wrote):
            return name, make
    different = sorted({one.wrote for one in words})
    if len(different) <= FEW and len(different) < len(words):
        return " or ".join(f"{one:02X}" for one in different), None
    return "", None
