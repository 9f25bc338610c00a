"""Value change dumps (IEEE 1364, four-state): declarations, then changes, read in blocks so that ten million changes stay within bounds.

A variable of several bits becomes one trace a bit, named ``bus[3]``; a real variable becomes a wave that holds its value; strings are left out and said.
Source: IEEE 1364-2005 section 18 (value change dump files); section number from memory.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.signals.wave import (
    HIGH,
    LOW,
    RELEASED,
    UNKNOWN,
    Capture,
    Channel,
    Floats,
    Ints,
    Levels,
    Trace,
    Wave,
)

MOST_CHANGES = 20_000_000
MOST_BITS = 8192
LARGEST_HEAD = 16_000_000
BLOCK = 1 << 22
_SHORT = 64
SCOPES = ("module", "task", "function", "begin", "fork")
_TYPES = (
    "event",
    "integer",
    "parameter",
    "real",
    "realtime",
    "reg",
    "supply0",
    "supply1",
    "time",
    "tri",
    "triand",
    "trior",
    "trireg",
    "tri0",
    "tri1",
    "wand",
    "wire",
    "wor",
    "logic",
    "bit",
    "string",
)
_LEVEL = {
    **dict.fromkeys(b"0Ll", LOW),
    **dict.fromkeys(b"1Hh", HIGH),
    **dict.fromkeys(b"xXuUwW-", UNKNOWN),
    **dict.fromkeys(b"zZ", RELEASED),
}
_TABLE = np.full(256, -1, np.int8)
for _byte, _value in _LEVEL.items():
    _TABLE[_byte] = _value
_UNIT = {b"s": 1.0, b"ms": 1e-3, b"us": 1e-6, b"ns": 1e-9, b"ps": 1e-12, b"fs": 1e-15}
REMEDY = "Save the record again as VCD (IEEE 1364), or as CSV."


@dataclass(slots=True)
class _Variable:
    name: str
    width: int
    real: bool
    first: int
    """Number of its first (most significant) bit among all bits."""


@dataclass(slots=True)
class _Work:
    """What the walk through the file has gathered."""

    name: str
    scale_s: float = 1.0
    variables: dict[bytes, _Variable] = field(default_factory=dict)
    bits: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    times: list[Ints] = field(default_factory=list)
    channels: list[Ints] = field(default_factory=list)
    levels: list[Levels] = field(default_factory=list)
    reals: dict[bytes, tuple[list[int], list[float]]] = field(default_factory=dict)
    last: dict[int, tuple[bytes, bytes]] = field(default_factory=dict)
    """The last value of each vector, by its first bit: what it is filled up with on the left, and its digits."""
    now: int = -1
    begin: int | None = None
    changes: int = 0
    strange: int = 0
    strings: int = 0
    pending: bytes | None = None
    comment: bool = False


def looks_like_vcd(data: bytes) -> bool:
    """Whether the file begins as a value change dump does."""
    head = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    return bool(re.match(rb"\$(date|version|timescale|comment|scope|var|upscope|enddefinitions|attrbegin)\b", head))


def read_vcd(data: bytes, name: str = "") -> Capture:
    """The channels of a value change dump. Refusal WAV-010 when it is none or breaks off in its head, WAV-003 when it holds too much, WAV-006 when time goes back.

    >>> text = b"$timescale 1ns $end $var wire 1 ! CLK $end $enddefinitions $end #0 0! #5 1! #10 0!"
    >>> [(c.name, c.times_s.tolist(), c.levels.tolist()) for c in read_vcd(text).channels]
    [('CLK', [0.0, 5e-09, 1e-08], [0, 1, 0])]
    """
    end = re.compile(rb"\$enddefinitions\b").search(data, 0, LARGEST_HEAD)
    if end is None:
        raise refuse("WAV-010", "The value change dump has no $enddefinitions.", REMEDY, Place(file=name))
    work = _Work(name)
    _head(work, data[: end.start()])
    if not work.bits and not work.reals:
        raise refuse("WAV-010", "The value change dump declares no variable.", REMEDY, Place(file=name))
    tail = re.compile(rb"\s*\$end\b").match(data, end.end())
    for block in _blocks(data, tail.end() if tail else end.end()):
        _block(work, block)
    return _capture(work)


# ---- head ----
def _head(work: _Work, head: bytes) -> None:
    scope: list[str] = []
    for word, words in _sections(head):
        if word == "timescale":
            work.scale_s = _scale(work, b"".join(words))
        elif word == "scope":
            kind, called = ([*words, b"", b""])[:2]
            scope.append(_text(called))
            if _text(kind) not in SCOPES:
                named = _text(called) or "without a name"
                _say(work, "WAV-011", f"Scope {named} is of the unknown kind {_text(kind)!r}; read as a module.")
        elif word == "upscope":
            if scope:
                scope.pop()
        elif word == "var":
            _declare(work, words, scope)


def _sections(head: bytes) -> Iterator[tuple[str, list[bytes]]]:
    """Each ``$word ... $end`` of the head; in one pass, however broken it is."""
    word, words = "", list[bytes]()
    for one in head.split():
        if one == b"$end":
            if word:
                yield word, words
            word, words = "", []
        elif not word and one[:1] == b"$":
            word = one[1:41].decode("ascii", "replace")
        elif len(words) < 64:
            words.append(one)


def _scale(work: _Work, text: bytes) -> float:
    found = re.fullmatch(rb"(\d+)\s*([munpf]?s)", text)
    if found is None or int(found[1]) not in (1, 10, 100):
        _say(work, "WAV-012", f"The time scale {_text(text)[:40]!r} is none (1, 10 or 100 of s to fs).")
        if found is None:
            return 1e-9
    return int(found[1]) * _UNIT[found[2]]


def _declare(work: _Work, words: list[bytes], scope: list[str]) -> None:
    if len(words) < 4 or not words[1].isdigit():
        _say(work, "WAV-013", f"A variable cannot be read: {_text(b' '.join(words))[:60]!r}. It is left out.")
        return
    kind, width, key = _text(words[0]), int(words[1][:6]), words[2]
    name = ".".join([*filter(None, scope[1:]), _text(words[3])])
    if kind not in _TYPES:
        _say(work, "WAV-011", f"Variable {name} is of the unknown kind {kind!r}; read as a wire.")
    if key in work.variables:
        return
    real = kind in ("real", "realtime", "string")
    if real:
        work.reals[key] = ([], [])
        width = 0
    if not real and (width < 1 or len(work.bits) + width > MOST_BITS):
        raise refuse(
            "WAV-003", f"More than {MOST_BITS} bits are declared.", "Save fewer signals.", Place(file=work.name)
        )
    work.variables[key] = _Variable(name, width, real, len(work.bits))
    work.bits += _bit_names(name, width, words[4] if len(words) > 4 else b"")


def _bit_names(name: str, width: int, index: bytes) -> list[str]:
    if width == 1:
        return [name + (_text(index) if re.fullmatch(rb"\[\d+\]", index) else "")]
    found = re.fullmatch(rb"\[(\d{1,6}):(\d{1,6})\]", index)
    first, last = (int(found[1]), int(found[2])) if found else (width - 1, 0)
    step = 1 if last >= first else -1
    return [f"{name}[{first + step * k}]" for k in range(width)]


# ---- changes ----
def _blocks(data: bytes, at: int) -> Iterator[bytes]:
    """The changes in pieces that end at a line's end (or at a blank where lines are endless)."""
    while at < len(data):
        end = min(len(data), at + BLOCK)
        if end < len(data):
            cut = max(data.rfind(b"\n", at, end), data.rfind(b"\r", at, end))
            cut = cut if cut > at else data.rfind(b" ", at, end)
            end = cut + 1 if cut > at else end
        yield data[at:end]
        at = end


def _block(work: _Work, block: bytes) -> None:
    raw = np.frombuffer(block, np.uint8)
    solid = np.concatenate([[False], raw > 32, [False]])
    turns = np.flatnonzero(solid[1:] != solid[:-1])
    starts, ends = turns[::2], turns[1::2]
    if not starts.size:
        return
    first = raw[starts]
    lengths = ends - starts
    plain = (first == 35) | (_TABLE[first] >= 0)
    if (
        work.pending is None
        and not work.comment
        and bool(plain.all())
        and int(lengths.max()) <= 9 + 10 * bool(first[lengths.argmax()] == 35)
    ):
        _quick(work, raw, starts, lengths, first)
    else:
        _slow(work, block)
    if work.changes > MOST_CHANGES:
        raise _too_many(work)


def _too_many(work: _Work) -> Exception:
    return refuse(
        "WAV-003",
        f"The record holds more than {MOST_CHANGES} changes.",
        "Save a shorter record.",
        Place(file=work.name),
    )


def _quick(work: _Work, raw: np.ndarray, starts: Ints, lengths: Ints, first: np.ndarray) -> None:
    """A block of times and one-bit changes alone, without a loop over them."""
    is_time = first == 35
    stamps = _stamps(work, raw, starts[is_time] + 1, lengths[is_time] - 1)
    known = np.concatenate([[work.now], stamps])
    if np.any(np.diff(known) < 0):
        at = int(np.flatnonzero(np.diff(known) < 0)[0])
        raise _back(work, int(known[at]), int(known[at + 1]))
    when = known[np.cumsum(is_time)[~is_time]]
    if stamps.size:
        work.begin = int(stamps[0]) if work.begin is None else work.begin
        work.now = int(stamps[-1])
    at, size = starts[~is_time], lengths[~is_time] - 1
    codes = np.zeros(at.size, np.uint64)
    for k in range(int(size.max()) if size.size else 0):
        here = np.minimum(at + 1 + k, raw.size - 1)
        codes |= np.where(size > k, raw[here], 0).astype(np.uint64) << np.uint64(8 * k)
    table = sorted(
        (int.from_bytes(key, "little"), one.first)
        for key, one in work.variables.items()
        if one.width == 1 and len(key) <= 8
    )
    keys = np.array([one for one, _ in table], np.uint64)
    bits = np.array([one for _, one in table], np.int64)
    spot = np.minimum(np.searchsorted(keys, codes), max(keys.size - 1, 0))
    fine = keys[spot] == codes if keys.size else np.zeros(codes.size, np.bool_)
    work.strange += int((~fine).sum())
    work.times.append(np.maximum(when[fine], 0))
    work.channels.append(bits[spot[fine]] if keys.size else np.zeros(0, np.int64))
    work.levels.append(_TABLE[first[~is_time]][fine])
    work.changes += int(fine.sum())


def _stamps(work: _Work, raw: np.ndarray, at: Ints, size: Ints) -> Ints:
    value = np.zeros(at.size, np.int64)
    if size.size and (int(size.min()) < 1 or int(size.max()) > 18):
        raise refuse("WAV-010", "A time in the value change dump is no number.", REMEDY, Place(file=work.name))
    for k in range(int(size.max()) if size.size else 0):
        digit = raw[np.minimum(at + k, raw.size - 1)].astype(np.int64) - 48
        inside = size > k
        if np.any(inside & ((digit < 0) | (digit > 9))):
            raise refuse("WAV-010", "A time in the value change dump is no number.", REMEDY, Place(file=work.name))
        value = np.where(inside, value * 10 + digit, value)
    return value


def _slow(work: _Work, block: bytes) -> None:
    """A block with vectors, reals, keywords or comments, one word after the other."""
    found = _Found(work)
    for word in block.split():
        head = word[0]
        if work.comment:
            work.comment = word != b"$end"
        elif work.pending is not None:
            _vector(work, work.pending, word, found)
            work.pending = None
        elif head == 35:
            _time(work, word)
        elif head in b"bBrRsS":
            work.pending = word
        elif head == 36:
            work.comment = word == b"$comment"
        elif head in _LEVEL:
            one = work.variables.get(word[1:])
            if one is None or one.width != 1:
                work.strange += 1
            else:
                found.put(one.first, _LEVEL[head])
        else:
            work.strange += 1
    work.times.append(np.frombuffer(found.times, np.int64))
    work.channels.append(np.frombuffer(found.channels, np.int64))
    work.levels.append(np.frombuffer(found.levels, np.int8))


class _Found:
    """The changes of a block read word by word, in few bytes each; refused beyond the most that is read."""

    __slots__ = ("channels", "levels", "times", "work")

    def __init__(self, work: _Work) -> None:
        self.work = work
        self.times, self.channels, self.levels = array("q"), array("q"), array("b")

    def put(self, bit: int, level: int) -> None:
        """One bit changes now."""
        self.times.append(max(self.work.now, 0))
        self.channels.append(bit)
        self.levels.append(level)
        self.work.changes += 1
        if self.work.changes > MOST_CHANGES:
            raise _too_many(self.work)

    def put_many(self, bits: Ints, levels: Levels) -> None:
        """Several bits change now."""
        self.work.changes += bits.size
        if self.work.changes > MOST_CHANGES:
            raise _too_many(self.work)
        self.times.frombytes(np.full(bits.size, max(self.work.now, 0), np.int64).tobytes())
        self.channels.frombytes(bits.astype(np.int64).tobytes())
        self.levels.frombytes(levels.tobytes())


def _time(work: _Work, word: bytes) -> None:
    if not word[1:].isdigit() or len(word) > 19:
        raise refuse(
            "WAV-010",
            f"A time in the value change dump is no number: {_text(word)[:30]!r}.",
            REMEDY,
            Place(file=work.name),
        )
    then = int(word[1:])
    if then < work.now:
        raise _back(work, work.now, then)
    work.begin = then if work.begin is None else work.begin
    work.now = then


def _vector(work: _Work, value: bytes, key: bytes, found: _Found) -> None:
    one = work.variables.get(key)
    if one is None:
        work.strange += 1
        return
    if value[:1] in b"sS":
        work.strings += 1
        return
    if value[:1] in b"rR":
        _real(work, one, value[1:], key)
        return
    digits = value[1:]
    if not digits or one.real:
        work.strange += 1
        return
    fill = digits[:1] if digits[:1] in b"xXzZ" else b"0"
    digits = digits[-one.width :]
    last = work.last.get(one.first)
    work.last[one.first] = (fill, digits)
    size = one.width if last is None or last[0] != fill else max(len(digits), len(last[1]))
    if last is not None and size <= _SHORT:
        before = last[1].rjust(size, last[0])
        for k, digit in enumerate(digits.rjust(size, fill)):
            if digit != before[k]:
                found.put(one.first + one.width - size + k, _LEVEL.get(digit, UNKNOWN))
        return
    now = _TABLE[np.frombuffer(digits.rjust(size, fill), np.uint8)]
    if last is None:
        new = np.arange(size)
    else:
        new = np.flatnonzero(now != _TABLE[np.frombuffer(last[1].rjust(size, last[0]), np.uint8)])
    found.put_many(one.first + one.width - size + new, np.where(now[new] < 0, UNKNOWN, now[new]).astype(np.int8))


def _real(work: _Work, one: _Variable, text: bytes, key: bytes) -> None:
    try:
        value = float(text)
    except ValueError:
        work.strange += 1
        return
    if one.real and np.isfinite(value):
        work.reals[key][0].append(max(work.now, 0))
        work.reals[key][1].append(value)
        work.changes += 1


# ---- together ----
def _capture(work: _Work) -> Capture:
    if work.strange:
        _say(
            work, "WAV-014", f"{work.strange} changes are of no declared variable or cannot be read; they are left out."
        )
    if work.strings:
        _say(work, "WAV-014", f"{work.strings} texts (string variables) are left out.")
    if work.begin is None or not work.changes:
        raise refuse("WAV-010", "The value change dump holds no changes.", REMEDY, Place(file=work.name))
    channels = [*_traces(work), *_waves(work)]
    grid = f"{work.scale_s:.3g} s"
    words = f"value change dump, {len(channels)} channels, {work.changes} changes, time in steps of {grid}"
    return Capture(tuple(channels), words, tuple(work.findings), work.name)


def _traces(work: _Work) -> Iterator[Channel]:
    none = [np.zeros(0, np.int64)]
    times, which = np.concatenate([*none, *work.times]), np.concatenate([*none, *work.channels])
    levels: Levels = np.concatenate([np.zeros(0, np.int8), *work.levels])
    order = np.argsort(which, kind="stable")
    bounds = np.searchsorted(which[order], np.arange(len(work.bits) + 1))
    end = max(work.now, 0) * work.scale_s
    for bit, name in enumerate(work.bits):
        mine = order[bounds[bit] : bounds[bit + 1]]
        at, level = _settled(times[mine], levels[mine])
        if not at.size or at[0] > (work.begin or 0):
            at, level = np.append(work.begin or 0, at), np.append(np.int8(UNKNOWN), level)
        yield Trace(name, np.asarray(at * work.scale_s, dtype=np.float64), level, end, work.scale_s)


def _settled(at: Ints, level: Levels) -> tuple[Ints, Levels]:
    """Changes that last: the last of several at one time, and none that repeats the level."""
    last = np.append(np.diff(at) > 0, True) if at.size else np.zeros(0, np.bool_)
    at, level = at[last], level[last]
    new = np.append(True, level[1:] != level[:-1]) if at.size else np.zeros(0, np.bool_)
    return at[new], level[new]


def _waves(work: _Work) -> Iterator[Channel]:
    for key, (at, values) in work.reals.items():
        if len(at) < 2:
            if at or not work.strings:
                said = "has one value only" if at else "has no value"
                _say(work, "WAV-013", f"Variable {work.variables[key].name} {said}: no wave. It is left out.")
            continue
        times: Floats = np.array(at, np.float64) * work.scale_s
        held = np.repeat(times, 2)[1:]
        yield Wave(
            work.variables[key].name, "", np.repeat(np.array(values), 2)[:-1], float(times[0]), work.scale_s, held
        )


def _back(work: _Work, here: int, there: int) -> Exception:
    return refuse(
        "WAV-006",
        f"Time goes back from {here} to {there} (in steps of {work.scale_s:.3g} s).",
        "The file is damaged or two records in one; save it again.",
        Place(file=work.name),
    )


def _say(work: _Work, code: str, words: str) -> None:
    if len(work.findings) < 20:
        work.findings.append(Finding(code, Severity.WARNING, Place(file=work.name), words))


def _text(raw: bytes) -> str:
    return raw[:200].decode("ascii", "replace")
