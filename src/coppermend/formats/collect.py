"""Help shared by the readers: bytes to text, places in a text, and a bounded list of findings."""

from __future__ import annotations

from coppermend.core.findings import Finding, Place, Severity, refuse

SHOWN_PER_CODE = 3
"""How many findings of one code are listed one by one; the rest is counted in a last one."""

MAX_TEXT_BYTES = 64 * 1024 * 1024
"""A single text file beyond this is refused: the largest we know has 10 MB, and reading takes some ten times its size in memory."""

_TEXT_SHOWN = 60

PADDING = b"\0\x1a\x0c"
"""Bytes that old systems filled the last block of a text file with (NUL, end of file, form feed); they are no part of the text."""


def decode(data: bytes, name: str, code: str) -> str:
    """The text of a file: UTF-8 where it is valid, else Latin-1, without byte order mark.

    Raises Refusal ``code`` for an empty file, one that is not text (NUL bytes) and one larger than MAX_TEXT_BYTES.

    >>> decode(b"M48\\n", "a.drl", "DRL-001")
    'M48\\n'
    """
    if len(data) > MAX_TEXT_BYTES:
        raise refuse(
            code,
            f"The file has {len(data) / 2**20:,.0f} MiB; at most {MAX_TEXT_BYTES // 2**20} MiB are read.",
            "Check that it is fabrication data; split a panel into single boards.",
            Place(file=name),
        )
    data = data.rstrip(PADDING)
    if not data.strip():
        raise refuse(code, "The file is empty.", "Export it again, or take it out of the package.", Place(file=name))
    if b"\0" in data:
        found = data.index(b"\0")
        raise refuse(
            code,
            f"The file is not text: a NUL byte at byte {found + 1}.",
            "Check that the right file has this name; fabrication files are plain text.",
            Place(file=name),
        )
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    return text.removeprefix("\ufeff")


def place_at(name: str, text: str, offset: int) -> Place:
    """The place of character ``offset`` of ``text``: line and column from 1 and the text that stands there.

    >>> place_at("a.gbr", "G01*\\nXY*", 5).line
    2
    """
    line = text.count("\n", 0, offset) + 1
    column = offset - (text.rfind("\n", 0, offset) + 1) + 1
    shown = text[offset : offset + _TEXT_SHOWN].split("\n", 1)[0].strip()
    return Place(file=name, line=line, column=column, text=shown)


class FindingList:
    """Collects findings of one file; keeps the first few of a code and counts the others, so that it stays bounded."""

    def __init__(self) -> None:
        self._kept: list[Finding] = []
        self._count: dict[str, int] = {}

    def add(self, code: str, severity: Severity, place: Place, words: str, remedy: str = "") -> None:
        """Notes one finding."""
        if self.wants(code):
            self._kept.append(Finding(code, severity, place, words, remedy))
        self._count[code] = self._count.get(code, 0) + 1

    def count(self, code: str, more: int) -> None:
        """Notes that a kept code was found ``more`` times without keeping those."""
        self._count[code] = self._count.get(code, 0) + more

    def wants(self, code: str) -> bool:
        """Whether another finding of ``code`` would be kept (else it is only counted)."""
        return self._count.get(code, 0) < SHOWN_PER_CODE

    def close(self, name: str) -> tuple[Finding, ...]:
        """The findings in order; for each code that had more than were kept, one that says how many."""
        out = list(self._kept)
        for code, count in self._count.items():
            if count > SHOWN_PER_CODE:
                severity = next(f.severity for f in self._kept if f.code == code)
                words = f"The same was found {count - SHOWN_PER_CODE} more times in this file."
                out.append(Finding(code, severity, Place(file=name), words))
        return tuple(out)
