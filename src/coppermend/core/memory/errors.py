"""Error words of a memory test as people and programs write them: address, what was written, what was read, in three notations.

``8000 55 54``                    columns, also with commas, semicolons or tabs; a heading may name them in another order
``8000: wrote 55 read 54``        labelled, also ``addr=8000 expected=55 got=54``
``8000 55 -> 54``                 with an arrow, ``>`` or ``/`` between written and read
A fourth number or ``after 2s`` says how long after writing it was read. ``screen 2000 80`` and ``picture COLUMN,ROW A E`` say it by what a text screen
shows. ``range 8000-FFFF`` names what was tested. Numbers are hexadecimal (``$``, ``0x``, ``h``, ``&H`` allowed), ``%`` binary. ``#`` and ``;`` begin a remark.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from coppermend.core.findings import Finding, Place, Severity, refuse

MOST_WORDS = 4096
"""Error words that are weighed; what follows is counted and said."""
MOST_SAID = 20
"""Lines that cannot be read and are named one by one; the rest is counted."""
MOST_ADDRESS = 1 << 24
_NUMBER = re.compile(r"(?:0[xX]|\$|&[hH]?)?([0-9A-Fa-f]{1,8})[hH]?|%([01]{1,32})")
_LABELS = {
    "address": ("address", "addr", "adr", "at", "location", "loc"),
    "wrote": ("wrote", "written", "write", "expected", "exp", "should", "good"),
    "read": ("read", "got", "found", "actual", "act", "is", "bad"),
    "after": ("after", "after_s", "wait", "delay", "seconds"),
}
_LABEL_OF = {word: name for name, words in _LABELS.items() for word in words}
_LABELLED = re.compile(r"\b(" + "|".join(sorted(_LABEL_OF, key=len, reverse=True)) + r")\b\s*[:=]?\s*", re.IGNORECASE)
_SECONDS = re.compile(r"(\d+(?:\.\d+)?)\s*(us|ms|s|sec|seconds|min)?", re.IGNORECASE)
_SCALE = {"us": 1e-6, "ms": 1e-3, "min": 60.0}


@dataclass(frozen=True, slots=True)
class ErrorWord:
    """One word: address, what was written, what was read. ``after_s`` seconds between both, None when nobody said. ``line`` counts from 1;
    ``picture``: it was seen on the screen, not read by the processor."""

    address: int
    wrote: int
    read: int
    after_s: float | None = None
    line: int = 0
    picture: bool = False

    @property
    def bits(self) -> int:
        """The bits that differ.

        >>> bin(ErrorWord(0x8000, 0x55, 0x54).bits)
        '0b1'
        """
        return self.wrote ^ self.read


@dataclass(frozen=True, slots=True)
class ErrorLog:
    """What a file of error words holds: ``words`` in the order of the test (those that read right too), the range tested where it was said,
    ``left_out`` words beyond ``MOST_WORDS``, ``findings`` a line for each that could not be read."""

    words: tuple[ErrorWord, ...]
    tested: tuple[int, int] | None
    left_out: int
    findings: tuple[Finding, ...]

    @property
    def errors(self) -> tuple[ErrorWord, ...]:
        """The words that read wrong."""
        return tuple(one for one in self.words if one.bits)


def read_errors(text: str, file: str = "") -> ErrorLog:
    """The error words of a text; lines that are none are said (MEM-001) and skipped. Refusal MEM-002 when no line is one.

    >>> [hex(one.address) for one in read_errors("8000 55 54\\n8001: wrote 55, read 54\\n$8002 55 -> 54").words]
    ['0x8000', '0x8001', '0x8002']
    """
    reader = _Reader(file)
    for number, line in enumerate(text.replace("\x00", "?").splitlines(), 1):
        reader.take(number, line)
    if not reader.words:
        raise refuse(
            "MEM-002",
            "No error words were found"
            + (f" ({reader.bad} lines could not be read, the first: {reader.findings[0].words})" if reader.bad else "")
            + ".",
            "Write one a line: address, wrote, read, such as 8000 55 54.",
            Place(file=file or None),
        )
    return reader.log()


class _Reader:
    """Reads line after line; knows the heading and the screen that were named before."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.words: list[ErrorWord] = []
        self.findings: list[Finding] = []
        self.columns: tuple[str, ...] = ("address", "wrote", "read", "after")
        self.tested: tuple[int, int] | None = None
        self.screen: tuple[int, int] | None = None
        self.bad = self.left_out = 0

    def take(self, number: int, line: str) -> None:
        """One line."""
        text = re.split(r"#|;(?=\s*[A-Za-z]{3})", line, maxsplit=1)[0].strip().strip(",;")
        if not text or self._heading(text) or self._said(text, number, line):
            return
        try:
            found = self._word(text, number)
        except ValueError as err:
            self._skip(number, line, str(err))
            return
        if len(self.words) < MOST_WORDS:
            self.words.append(found)
        else:
            self.left_out += 1

    def log(self) -> ErrorLog:
        """All that was read."""
        more = []
        if self.bad > MOST_SAID:
            words = f"{self.bad - MOST_SAID} more lines could not be read."
            more.append(Finding("MEM-001", Severity.WARNING, Place(file=self.file or None), words))
        if self.left_out:
            words = f"Only the first {MOST_WORDS} words are weighed; {self.left_out} more were left out."
            more.append(Finding("MEM-001", Severity.NOTE, Place(file=self.file or None), words))
        return ErrorLog(tuple(self.words), self.tested, self.left_out, (*self.findings, *more))

    def _skip(self, number: int, line: str, why: str) -> None:
        self.bad += 1
        if self.bad <= MOST_SAID:
            place = Place(file=self.file or None, line=number, text=line[:80])
            words = f"Line {number} is left out: {why}."
            self.findings.append(Finding("MEM-001", Severity.WARNING, place, words, "Write it as 8000 55 54."))

    def _heading(self, text: str) -> bool:
        names = [one for one in re.split(r"[\s,;|]+", text.lower()) if one]
        known = [_LABEL_OF.get(one, "") for one in names]
        if (
            len(known) < 3
            or not {"address", "wrote", "read"} <= set(known)
            or any(_is_number(one) for one in names if one not in _LABEL_OF)
        ):
            return False
        self.columns = tuple(known)
        return True

    def _said(self, text: str, number: int, line: str) -> bool:
        """Lines that say something of the whole test: range and screen. True when the line was one, right or wrong."""
        head, _, rest = text.partition(" ")
        name = head.lower().rstrip(":")
        if name not in ("range", "tested", "screen", "base"):
            return False
        parts = [one for one in re.split(r"[\s,\-.]+|to", rest) if one]
        try:
            if len(parts) != 2:
                raise ValueError("it takes two numbers")
            if name in ("range", "tested"):
                first, last = _number(parts[0]), _number(parts[1])
                self.tested = (min(first, last), max(first, last))
            else:
                columns = int(parts[1])
                if not 1 <= columns <= 1024:
                    raise ValueError("a screen has 1 to 1024 columns")
                self.screen = (_number(parts[0]), columns)
        except ValueError as err:
            self._skip(number, line, f"{name}: {err}")
        return True

    def _word(self, text: str, number: int) -> ErrorWord:
        if text.lower().startswith("picture"):
            return self._picture(text, number)
        if _LABELLED.search(text):
            return self._labelled(text, number)
        parts = [one for one in re.split(r"\s*(?:->|=>|>|/|:|,|;|\||\s)\s*", text) if one]
        if len(parts) < 3:
            raise ValueError(f"{len(parts)} of 3 numbers (address, wrote, read)")
        if len(parts) > max(4, len(self.columns)):
            raise ValueError(f"{len(parts)} numbers where 3 or 4 are expected")
        held = dict(zip(self.columns, parts, strict=False))
        return _made(held, number)

    def _labelled(self, text: str, number: int) -> ErrorWord:
        marks = list(_LABELLED.finditer(text))
        held: dict[str, str] = {}
        lead = text[: marks[0].start()].strip(" :,;")
        if lead:
            held["address"] = lead
        for one, following in zip(marks, [*marks[1:], None], strict=True):
            name = _LABEL_OF[one.group(1).lower()]
            held[name] = text[one.end() : following.start() if following else len(text)].strip(" :,;()")
        missing = [name for name in ("address", "wrote", "read") if name not in held]
        if missing:
            raise ValueError(f"it does not say {' and '.join(missing)}")
        return _made(held, number)

    def _picture(self, text: str, number: int) -> ErrorWord:
        found = re.fullmatch(r"picture:?\s+(\d+)\s*,\s*(\d+)\s+(\S+)\s*(?:->|>|/|\s)\s*(\S+)", text, re.IGNORECASE)
        if found is None:
            raise ValueError("a picture word reads: picture COLUMN,ROW SHOULD SHOWS, such as picture 3,0 A E")
        if self.screen is None:
            raise ValueError("say first where the screen's memory begins and how wide it is: screen 2000 80")
        base, columns = self.screen
        column, row = int(found[1]), int(found[2])
        if column >= columns or row > 1023:
            raise ValueError(f"column {column}, row {row} is outside a screen of {columns} columns")
        return ErrorWord(base + row * columns + column, _code(found[3]), _code(found[4]), None, number, True)


def _code(text: str) -> int:
    """A character's code (ASCII), or a number of two digits or more."""
    return ord(text) if len(text) == 1 and text.isascii() else _number(text)


def _is_number(text: str) -> bool:
    return _NUMBER.fullmatch(text) is not None


def _number(text: str) -> int:
    text = text.strip().strip("'\"")
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise ValueError(f"{text[:24]!r} is no hexadecimal number")
    return int(found[2], 2) if found[2] else int(found[1], 16)


def _made(held: dict[str, str], number: int) -> ErrorWord:
    address, wrote, read = (_number(held[name]) for name in ("address", "wrote", "read"))
    if address >= MOST_ADDRESS:
        raise ValueError(f"the address {address:X} is beyond {MOST_ADDRESS - 1:X}")
    if max(wrote, read) >= 1 << 32:
        raise ValueError("a word of more than 32 bits")
    return ErrorWord(address, wrote, read, _after(held.get("after", "")), number)


def _after(text: str) -> float | None:
    if not text:
        return None
    found = _SECONDS.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"{text[:24]!r} is no time such as 2s or 10ms")
    return float(found[1]) * _SCALE.get((found[2] or "s").lower(), 1.0)
