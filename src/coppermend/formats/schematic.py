"""A schematic's PDF: its pages, the words on them with their places, a page as a picture.

Places are in points (1/72 inch) from the page's upper left corner, x right, y down, as the page is seen (ISO 32000-1, 8.3.2.3: the default user space has
its origin at the lower left; its y is turned over here). A page that was scanned or drawn without text has no words, and says so.
"""

from __future__ import annotations

import io
import re
import zlib
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Place, Refusal, refuse

LARGEST_BYTES = 64 * 1024 * 1024
MOST_PAGES = 200
MOST_WORDS = 50_000
"""Words of one page that are read."""
MOST_LETTERS = 1_000_000
"""Letters of a whole file, and drawn things (``MOST_DRAWN``): a schematic's page has some thousands of each, a few kilobytes can hold millions."""
MOST_DRAWN = 3_000_000
MOST_UNPACKED = 16 * 1024 * 1024
"""Bytes that a packed stream may hold, pictures and fonts apart; the drawing of a dense page takes one or two million."""
GAP = 0.35
"""Letters further apart than this share of their height belong to two words."""
LARGEST_PX = 4000


@dataclass(frozen=True, slots=True)
class PageWord:
    """A word on a page and its box (x0, y0, x1, y1 in points, y down)."""

    text: str
    box: tuple[float, float, float, float]

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of its box."""
        return (self.box[0] + self.box[2]) / 2, (self.box[1] + self.box[3]) / 2


@dataclass(frozen=True, slots=True)
class SchematicPage:
    """A page: width and height in points, its words in the order of the file."""

    number: int
    width: float
    height: float
    words: tuple[PageWord, ...]


def read_schematic(data: bytes, name: str = "") -> tuple[SchematicPage, ...]:
    """The pages of a PDF with their words. Refusals SCH-001 (no PDF, or damaged), SCH-002 (locked), SCH-003 (too large, too many pages, none)."""
    with _opened(data, name) as document:
        left = _Left(name)
        return tuple(_readable(document.pdf, k, left) for k in range(len(document.pdf)))


def page_png(data: bytes, number: int, scale: float = 2.0, name: str = "") -> bytes:
    """A page (from 1) as PNG, ``scale`` pixels a point, at most 4000 pixels a side. Refusal SCH-004 for a page that is not there."""
    with _opened(data, name) as document:
        if not 1 <= number <= len(document.pdf):
            raise refuse(
                "SCH-004",
                f"The schematic has {len(document.pdf)} pages, not page {number}.",
                f"Ask for 1 to {len(document.pdf)}.",
                Place(file=name or None),
            )
        try:
            page = document.pdf[number - 1]
        except document.error as err:
            raise refuse(
                "SCH-001",
                f"Page {number} cannot be read: {err}.",
                "Open the PDF in a viewer and save it again.",
                Place(file=name or None),
            ) from None
        width, height = page.get_size()
        most = LARGEST_PX / max(width, height, 1.0)
        out = io.BytesIO()
        page.render(scale=min(scale, most)).to_pil().convert("L").save(out, "PNG", optimize=True)
        return out.getvalue()


class _opened:  # noqa: N801  (used as a with statement reads it)
    """The document of some bytes, closed at the end."""

    def __init__(self, data: bytes, name: str) -> None:
        self._data, self._name = data, name
        self.pdf: Any = None
        self.error: type[Exception] = Exception

    def __enter__(self) -> _opened:
        import pypdfium2

        self.error = pypdfium2.PdfiumError
        place = Place(file=self._name or None)
        if len(self._data) > LARGEST_BYTES:
            raise refuse(
                "SCH-003",
                f"The file has {len(self._data) / 2**20:.0f} MiB, at most {LARGEST_BYTES // 2**20} are read.",
                "Give the pages that matter.",
                place,
            )
        if b"%PDF-" not in self._data[:1024]:
            raise refuse(
                "SCH-001", "The file is no PDF.", "Give the schematic as PDF; a picture goes in as a photo.", place
            )
        if endless(self._data) > MOST_ENDLESS:
            raise refuse(
                "SCH-001",
                f"The PDF cannot be read: {endless(self._data)} streams have no end.",
                "Open it in a viewer and save it again.",
                place,
            )
        if overfull(self._data):
            raise _overfull(self._name)
        try:
            self.pdf = pypdfium2.PdfDocument(self._data)
            pages = len(self.pdf)
        except pypdfium2.PdfiumError as err:
            if "password" in str(err).lower():
                raise refuse(
                    "SCH-002", "The PDF is locked by a password.", "Save it without a password, then attach it.", place
                ) from None
            raise refuse(
                "SCH-001", f"The PDF cannot be read: {err}.", "Open it in a viewer and save it again.", place
            ) from None
        if not 1 <= pages <= MOST_PAGES:
            self.pdf.close()
            raise refuse(
                "SCH-003",
                f"The PDF has {pages} pages, 1 to {MOST_PAGES} are read.",
                "Give the pages of the schematic only.",
                place,
            )
        return self

    def __exit__(self, *_: object) -> None:
        if self.pdf is not None:
            self.pdf.close()


class _Left:
    """How many letters and drawn things a file may still have."""

    def __init__(self, name: str) -> None:
        self._name, self._letters, self._drawn = name, MOST_LETTERS, MOST_DRAWN

    def take(self, letters: int = 0, drawn: int = 0) -> None:
        """Count them. Refusal SCH-003 when it is too much."""
        self._letters -= letters
        self._drawn -= drawn
        if self._letters < 0 or self._drawn < 0:
            raise _overfull(self._name)


def _overfull(name: str) -> Refusal:
    words = "The PDF unpacks to far more than a schematic holds."
    return refuse("SCH-003", words, "Print its pages to a new PDF, then attach that.", Place(file=name or None))


_STREAM = re.compile(rb"stream\r?\n")
_END = re.compile(rb"endstream\r?\n")
_PIECE = 64 * 1024
MOST_ENDLESS = 200
"""Streams without an end of a PDF that is read: a torn file has one, a picture's bytes may look like a few."""
_PACKED = re.compile(rb"/Fl(?:ate)?(?:Decode)?\b")
_NO_DRAWING = re.compile(rb"/Image\b|/Length1\b")


def overfull(data: bytes) -> bool:
    """Whether a packed stream of a PDF holds more than a page's drawing may. Only so much is unpacked as the limit is.

    A stream's dictionary stands right before it (ISO 32000-1, 7.3.8). Pictures and fonts are left out: a scan is large and costs no time.
    """
    for found in _STREAM.finditer(data):
        first = max(0, found.start() - 2000)
        head = data[max(data.rfind(b"obj", first, found.start()), first) : found.start()]
        if not _PACKED.search(head) or _NO_DRAWING.search(head):
            continue
        if _unpacks_beyond(data, found.end()):
            return True
    return False


def _unpacks_beyond(data: bytes, begin: int) -> bool:
    """Whether the packed stream that begins there holds more than ``MOST_UNPACKED``; read piece by piece, to its own end."""
    unpack, held = zlib.decompressobj(), 0
    for at in range(begin, min(len(data), begin + MOST_UNPACKED), _PIECE):
        try:
            held += len(unpack.decompress(data[at : at + _PIECE], MOST_UNPACKED + 1 - held))
        except zlib.error:
            return False
        if held > MOST_UNPACKED:
            return True
        if unpack.eof:
            return False
    return False


def endless(data: bytes) -> int:
    """How many streams of a PDF lack their ``endstream`` (ISO 32000-1, 7.3.8.1). The reader looks for each such end through all the rest of the file."""
    ends = data.count(b"endstream")
    return max(0, len(_STREAM.findall(data)) - len(_END.findall(data)) - ends)


def _readable(document: Any, k: int, left: _Left) -> SchematicPage:
    """A page; one that the file has damaged has no size and no words."""
    import pypdfium2

    try:
        return _page(document, k, left)
    except pypdfium2.PdfiumError:
        return SchematicPage(k + 1, 0.0, 0.0, ())


def _page(document: Any, k: int, left: _Left) -> SchematicPage:
    import pypdfium2

    page = document[k]
    left.take(drawn=pypdfium2.raw.FPDFPage_CountObjects(page))
    width, height = page.get_size()
    text = page.get_textpage()
    words: list[PageWord] = []
    letters: list[tuple[str, tuple[float, float, float, float]]] = []

    def end() -> None:
        if letters:
            boxes = [box for _, box in letters]
            box = (
                min(b[0] for b in boxes),
                height - max(b[3] for b in boxes),
                max(b[2] for b in boxes),
                height - min(b[1] for b in boxes),
            )
            words.append(PageWord("".join(c for c, _ in letters), tuple(round(v, 2) for v in box)))  # type: ignore[arg-type]
            letters.clear()

    left.take(letters=text.count_chars())
    said = text.get_text_range()
    count = min(text.count_chars(), len(said))
    for i in range(count):
        if len(words) >= MOST_WORDS:
            break
        letter = said[i]
        if letter.isspace() or letter in "\x00\ufffe\uffff":
            end()
            continue
        box = text.get_charbox(i, loose=True)
        if letters and _apart(letters[-1][1], box):
            end()
        letters.append((letter, box))
    end()
    text.close()
    page.close()
    return SchematicPage(k + 1, round(width, 2), round(height, 2), tuple(words))


def _apart(last: tuple[float, float, float, float], box: tuple[float, float, float, float]) -> bool:
    """Whether two letters that follow each other belong to two words: a gap along both axes wider than ``GAP`` of their size."""
    size = max(last[3] - last[1], box[3] - box[1], last[2] - last[0], box[2] - box[0], 1.0)
    dx = max(box[0] - last[2], last[0] - box[2], 0.0)
    dy = max(box[1] - last[3], last[1] - box[3], 0.0)
    return max(dx, dy) > GAP * size
