"""What the tool noticed and says to the person at the bench.

``Finding``   one thing noticed: code, severity, place, words, remedy. A value; it never stops work by itself.
``Refusal``   the one exception family of the core and the formats: an input that cannot be used. It carries a Finding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding matters: a note, a guess the user can overrule, a warning, an error that costs an answer."""

    NOTE = "note"
    GUESS = "guess"
    WARNING = "warning"
    ERROR = "error"


@dataclass(frozen=True, slots=True)
class Place:
    """Where something was found: in a file (line and column from 1) or on the board (mm, layer key)."""

    file: str | None = None
    line: int | None = None
    column: int | None = None
    text: str | None = None
    x_mm: float | None = None
    y_mm: float | None = None
    layer: str | None = None
    thing: str | None = None

    def words(self) -> str:
        """The place as a short phrase.

        >>> Place(file="top.gtl", line=12).words()
        'top.gtl line 12'
        >>> Place(x_mm=1.5, y_mm=2.0, layer="c").words()
        'at 1.500, 2.000 mm on layer c'
        """
        parts: list[str] = []
        if self.thing:
            parts.append(self.thing)
        if self.file:
            where = self.file
            if self.line is not None:
                where += f" line {self.line}"
            if self.column is not None:
                where += f" column {self.column}"
            parts.append(where)
        if self.x_mm is not None and self.y_mm is not None:
            spot = f"at {self.x_mm:.3f}, {self.y_mm:.3f} mm"
            if self.layer:
                spot += f" on layer {self.layer}"
            parts.append(spot)
        return " ".join(parts)


NOWHERE = Place()


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing noticed: ``code`` is stable (``GBR-012``), ``words`` say what was found and what was expected, ``remedy`` what to do.

    >>> Finding("DRL-001", Severity.GUESS, Place(file="a.drl"), "No unit stated; inch fits the copper.", "Say it in the corrections file.").line()
    'guess DRL-001 a.drl: No unit stated; inch fits the copper. Say it in the corrections file.'
    """

    code: str
    severity: Severity
    place: Place
    words: str
    remedy: str = ""

    def line(self) -> str:
        """The finding as one line of text."""
        where = self.place.words()
        head = f"{self.severity} {self.code}" + (f" {where}" if where else "")
        return f"{head}: {self.words}" + (f" {self.remedy}" if self.remedy else "")

    def as_dict(self) -> dict[str, object]:
        """The finding as plain JSON values; empty places are left out."""
        place: Mapping[str, object] = {
            name: getattr(self.place, name)
            for name in ("file", "line", "column", "text", "x_mm", "y_mm", "layer", "thing")
            if getattr(self.place, name) is not None
        }
        return {
            "code": self.code,
            "severity": str(self.severity),
            "place": dict(place),
            "words": self.words,
            "remedy": self.remedy,
        }


class Refusal(Exception):
    """An input that cannot be used. ``finding`` says what, where, what was found, what was expected, what to do."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.line())
        self.finding = finding


def refuse(code: str, words: str, remedy: str, place: Place = NOWHERE) -> Refusal:
    """A Refusal with an error finding, to be raised by the caller.

    >>> str(refuse("PKG-001", "The folder is empty.", "Name a folder with Gerber files."))
    'error PKG-001: The folder is empty. Name a folder with Gerber files.'
    """
    return Refusal(Finding(code, Severity.ERROR, place, words, remedy))
