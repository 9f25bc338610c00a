"""A label for the machine: its name, serial number, case number, and the same as a QR picture (ISO/IEC 18004)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from coppermend.core.log.canonical import Json
from coppermend.services.cases import case_state
from coppermend.services.recording.gather import document_date
from coppermend.services.recording.html import printable
from coppermend.services.workshop import Workshop

WIDTH_MM, HEIGHT_MM = 62.0, 29.0
"""A usual size of label (common practice, no source)."""
MOST_LETTERS = 60
"""A longer name is cut on the label and in its QR picture, so that the modules stay wide enough to be read from a hand's distance."""


class LabelPrinter(Protocol):
    """Sets a label as a PDF."""

    def label(self, words: Mapping[str, Any], picture: bytes) -> bytes:
        """The PDF of these words with the QR picture (SVG) beside them."""

    def lacking(self, letters: Iterable[str]) -> tuple[str, ...]:
        """Those of these letters that no font has."""


@dataclass(frozen=True, slots=True)
class Label:
    """What a label says. ``code`` is the text in the QR picture: lines of name and value, the case's id first, nothing secret and no address."""

    title: str
    serial: str
    number: int
    case: str
    opened: str
    date: tuple[int, int, int, int, int, int]
    code: str

    def as_dict(self) -> dict[str, Json]:
        """The label as plain JSON values."""
        return {"title": self.title, "serial": self.serial, "number": self.number, "case": self.case, "opened": self.opened, "code": self.code}  # fmt: skip


def label_of(workshop: Workshop, case: str) -> Label:
    """The label of a case. Its QR picture finds the case again: scanned into the field that looks for cases, or read by a person."""
    state = case_state(workshop, case)
    title, serial = _cut(state.title), _cut(state.serial)
    lines = [f"Coppermend case {state.case}", title, f"Serial {serial}" if serial else ""]
    last = max(entry.recorded_at for entry in workshop.store.entries(case))
    return Label(
        title,
        serial,
        workshop.store.number_of(case),
        state.case,
        state.opened_at[:10],
        document_date(last),
        "\n".join(filter(None, lines)),
    )


def label_pdf(label: Label, printer: LabelPrinter, qr: Callable[[str], Sequence[str]]) -> bytes:
    """The label as a PDF of one page, ``WIDTH_MM`` by ``HEIGHT_MM``; ``qr`` gives a text's modules as rows of 1 and 0. Same case, same bytes."""
    words = {**label.as_dict(), "date": list(label.date), "width_mm": WIDTH_MM, "height_mm": HEIGHT_MM}
    stand_in = {ord(one): f"[U+{ord(one):04X}]" for one in printer.lacking("".join(str(one) for one in words.values()))}
    shown = {name: one.translate(stand_in) if isinstance(one, str) else one for name, one in printable(words).items()}
    return printer.label(shown, qr_svg(qr(label.code)).encode())


def qr_svg(rows: Sequence[str]) -> str:
    """The modules as one path, a unit each.

    >>> qr_svg(["01", "11"])
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 2 2" shape-rendering="crispEdges"><path d="M1 0h1v1h-1zM0 1h2v1h-2z"/></svg>'
    """
    runs = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            end = x
            while end < len(row) and row[end] == "1":
                end += 1
            if end > x:
                runs.append(f"M{x} {y}h{end - x}v1h-{end - x}z")
            x = max(end, x + 1)
    size = f"0 0 {len(rows[0])} {len(rows)}"
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{size}" shape-rendering="crispEdges"><path d="{"".join(runs)}"/></svg>'


def _cut(words: str) -> str:
    """One line, no longer than a label."""
    line = " ".join(words.split())
    return line if len(line) <= MOST_LETTERS else f"{line[: MOST_LETTERS - 1]}…"
