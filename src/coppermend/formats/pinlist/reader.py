"""A table of pins (CSV with comma, semicolon, tab or bar) to a PinList. Columns are found by their headings.

``part, pin, net`` are needed (a pin written ``U1.8`` needs no column for the part); ``x, y, side, function, value, package, state`` may be there.
Units of places come from the heading (``x_mm``, ``X (mil)``, ``x[inch]``) or stand behind each number (``12.7mm``, ``500mil``, ``0.5in``); else mm.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import StringIO

from coppermend.core.board.model import PartState
from coppermend.core.board.pinlist import PinList, PinRow
from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Place, Severity, refuse
from coppermend.formats.collect import FindingList, decode

MAX_ROWS = 100_000
MAX_CELL = 200
LARGEST_MM = 5_000.0

HEADINGS: dict[str, tuple[str, ...]] = {
    "part": (
        "part",
        "ref",
        "refdes",
        "ref des",
        "reference",
        "reference designator",
        "designator",
        "component",
        "comp",
        "device",
    ),
    "pin": (
        "pin",
        "pin number",
        "pin no",
        "pin no.",
        "pin #",
        "pinnumber",
        "pin num",
        "pad",
        "pad number",
        "number",
        "node",
        "terminal",
    ),
    "net": ("net", "net name", "netname", "signal", "signal name", "node name", "network", "line"),
    "x": ("x", "pos x", "x pos", "pin x", "x coord", "x coordinate", "center x"),
    "y": ("y", "pos y", "y pos", "pin y", "y coord", "y coordinate", "center y"),
    "side": ("side", "layer", "board side", "mount side", "tb"),
    "function": ("function", "pin name", "pinname", "pin function", "name"),
    "value": ("value", "val", "type", "comment"),
    "package": ("package", "footprint", "case", "template"),
    "state": ("state", "mounting"),
}
"""Field -> headings that name it, in lower case, without unit and with spaces for _ and -. Usual variants; common practice, no source."""

_SIDES = {
    **dict.fromkeys(
        ("c", "t", "top", "component", "component side", "comp", "front", "f", "f.cu", "1", "a", "primary"), "c"
    ),
    **dict.fromkeys(("s", "b", "bottom", "bot", "solder", "solder side", "back", "b.cu", "2", "secondary"), "s"),
    **dict.fromkeys(("", "both", "through", "thru", "all", "th", "0", "*"), ""),
}
_NO_NET = ("", "nc", "n/c", "n.c.", "none", "no net", "nonet", "unconnected", "-", "--")
_UNIT_MM = {
    "mm": 1.0,
    "millimeter": 1.0,
    "millimetre": 1.0,
    "mil": 0.0254,
    "mils": 0.0254,
    "thou": 0.0254,
    "in": 25.4,
    "inch": 25.4,
    "inches": 25.4,
    '"': 25.4,
    "cm": 10.0,
}
_NUMBER = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*([a-zA-Z\"]*)")
_JOINED = re.compile(r"\s*([A-Za-z_]+\w*?)\s*[.\-:/]\s*([A-Za-z0-9+]+)\s*")


@dataclass(frozen=True, slots=True)
class _Columns:
    at: dict[str, int]
    scale: dict[str, float]

    def cell(self, cells: Sequence[str], field: str) -> str:
        k = self.at.get(field, -1)
        return cells[k].strip()[:MAX_CELL] if 0 <= k < len(cells) else ""


def looks_like_pinlist(data: bytes) -> bool:
    """Whether a table has headings for pins and nets. Never raises.

    >>> looks_like_pinlist(b"part,pin,net\\nU1,1,GND\\n"), looks_like_pinlist(b"ref,value\\nU1,74LS00\\n")
    (True, False)
    """
    head = data[:20_000]
    if b"\0" in head or not head.strip():
        return False
    text = head.decode("utf-8-sig", errors="replace")
    try:
        table = csv.reader(StringIO(text, newline=""), delimiter=_mark(text))
        return any(_columns(cells) is not None for cells, _ in zip(table, range(20), strict=False))
    except csv.Error:
        return False


def read_pinlist(data: bytes, name: str) -> PinList:
    """The pins of a table. Raises Refusal PIN-001 to PIN-003 for what is no pin list; a row that cannot be used is a finding (PIN-010 to PIN-013).

    >>> found = read_pinlist(b"RefDes;Pin;Net name;X (mil);Y (mil)\\nU1;1;GND;100;200\\nU1;2;n/c;200;200\\n", "pins.csv")
    >>> [(row.name, row.net, row.x_mm) for row in found.rows]
    [('U1.1', 'GND', 2.54), ('U1.2', '', 5.08)]
    """
    text = decode(data, name, "PIN-001")
    lines = _lines(text, name)
    columns: _Columns | None = None
    notes = FindingList()
    rows: dict[str, PinRow] = {}
    parts: dict[str, PartRow] = {}
    for number, cells in lines:
        if columns is None:
            columns = _columns(cells)
            if columns is None and number > 20:
                break
            continue
        if len(rows) > MAX_ROWS:
            raise refuse(
                "PIN-003", f"The list has more than {MAX_ROWS:,} pins.", "Give the pins of one board.", Place(file=name)
            )
        row = _row(cells, columns, number, name, notes)
        if row is not None:
            _take(rows, row, name, notes)
            _part(parts, row, cells, columns, name, notes)
    if columns is None:
        first = text.strip().splitlines()[0][:80]
        raise refuse(
            "PIN-002",
            f"The table has no headings for part, pin and net; its first line is {first!r}.",
            "Give it a first line such as: part,pin,net,x_mm,y_mm,side",
            Place(file=name, line=1),
        )
    if not rows:
        raise refuse(
            "PIN-001", "The pin list holds no pin.", "Write one pin a line below the headings.", Place(file=name)
        )
    return PinList(name, tuple(rows.values()), tuple(parts.values()), notes.close(name))


def _lines(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(StringIO(text, newline=""), delimiter=_mark(text))
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith(("#", "//")):
                yield reader.line_num, cells
            elif cells and cells[0].lstrip().startswith("#") and _columns([cells[0].lstrip("# "), *cells[1:]]):
                yield reader.line_num, [cells[0].lstrip("# "), *cells[1:]]
    except csv.Error as error:
        raise refuse(
            "PIN-001",
            f"The table cannot be read: {error}.",
            "Save it as plain CSV.",
            Place(file=name, line=reader.line_num),
        ) from None


def _mark(text: str) -> str:
    head = [line for line in text[:4000].splitlines() if line.strip() and not line.lstrip().startswith("//")][:5]
    return max(
        ";\t|,",
        key=lambda mark: (min((line.count(mark) for line in head), default=0), sum(line.count(mark) for line in head)),
    )


def _heading(cell: str) -> tuple[str, float]:
    word = cell.strip().lower().lstrip("#").strip()
    unit = 1.0
    found = re.fullmatch(r"(.*?)[\s_]*[\(\[]?\s*(mm|mils?|thou|in|inch|inches|cm)\s*[\)\]]?", word)
    if found and found[1].strip(" _-") in {*HEADINGS["x"], *HEADINGS["y"], "x", "y"} | {
        w.replace(" ", "_") for w in (*HEADINGS["x"], *HEADINGS["y"])
    }:
        word, unit = found[1].strip(" _-"), _UNIT_MM[found[2]]
    return re.sub(r"[\s_\-]+", " ", word).strip(), unit


def _columns(cells: Sequence[str]) -> _Columns | None:
    words = [_heading(cell) for cell in cells[:60]]
    at: dict[str, int] = {}
    scale: dict[str, float] = {}
    for field, names in HEADINGS.items():
        for name in names:
            k = next((i for i, (word, _) in enumerate(words) if word == name and i not in at.values()), -1)
            if k >= 0:
                at[field], scale[field] = k, words[k][1]
                break
    return _Columns(at, scale) if "pin" in at and "net" in at else None


def _row(cells: Sequence[str], columns: _Columns, line: int, name: str, notes: FindingList) -> PinRow | None:
    part, pin = columns.cell(cells, "part"), columns.cell(cells, "pin")
    if not part:
        joined = _JOINED.fullmatch(pin)
        part, pin = (joined[1], joined[2]) if joined else ("", pin)
    elif pin.upper().startswith((f"{part.upper()}.", f"{part.upper()}-")):
        pin = pin[len(part) + 1 :]
    place = Place(file=name, line=line, text=",".join(cells)[:60])
    if not part or not pin:
        notes.add(
            "PIN-010",
            Severity.WARNING,
            place,
            f"No {'part' if not part else 'pin'} is named here; the line was left out.",
            "Write part, pin and net, as in U1,8,RESET.",
        )
        return None
    net = columns.cell(cells, "net")
    net = "" if net.lower() in _NO_NET else net
    x, y = (_place_mm(columns.cell(cells, axis), columns.scale.get(axis, 1.0)) for axis in ("x", "y"))
    if (
        (("x" in columns.at) and (x is None) != (y is None))
        or math.nan in (x, y)
        or any(v is not None and math.isnan(v) for v in (x, y))
    ):
        notes.add(
            "PIN-011",
            Severity.WARNING,
            place,
            f"The place of {part}.{pin} cannot be read; the pin counts as not placed.",
            "Write x and y as numbers of mm.",
        )
        x = y = None
    side = _SIDES.get(columns.cell(cells, "side").lower())
    if side is None:
        notes.add(
            "PIN-012",
            Severity.WARNING,
            place,
            f"{columns.cell(cells, 'side')[:20]!r} is no side of a board; the component side is taken.",
            "Write c (component side) or s (solder side).",
        )
        side = ""
    return PinRow(part, pin, net, x, y, side, columns.cell(cells, "function"), line)


def _place_mm(text: str, scale: float) -> float | None:
    """A place in mm; None for an empty cell, nan for what is no place."""
    if not text:
        return None
    found = _NUMBER.fullmatch(text)
    if not found or (found[2] and found[2].lower() not in _UNIT_MM):
        return math.nan
    value = float(found[1].replace(",", ".")) * (_UNIT_MM[found[2].lower()] if found[2] else scale)
    return round(value, 9) if abs(value) <= LARGEST_MM else math.nan


def _take(rows: dict[str, PinRow], row: PinRow, name: str, notes: FindingList) -> None:
    known = rows.get(row.name)
    if known is None:
        rows[row.name] = row
    elif known.net != row.net:
        words = f"{row.name} stands in net {known.net or 'none'} (line {known.line}) and in net {row.net or 'none'}; the first counts."
        notes.add(
            "PIN-013",
            Severity.WARNING,
            Place(file=name, line=row.line),
            words,
            "Find out which is right, or whether the two are one net.",
        )


def _part(
    parts: dict[str, PartRow], row: PinRow, cells: Sequence[str], columns: _Columns, name: str, notes: FindingList
) -> None:
    value, package, state = (columns.cell(cells, field) for field in ("value", "package", "state"))
    if (value or package or state) and row.part not in parts:
        known = state.lower() in {str(one) for one in PartState}
        parts[row.part] = PartRow(
            row.part, value, package, PartState(state.lower()) if known else None, f"{name} line {row.line}"
        )
    elif value and parts[row.part].value and value != parts[row.part].value:
        known_value = parts[row.part].value
        words = f"{row.part} has the value {known_value!r} before and {value!r} here; the first counts."
        notes.add(
            "PIN-015",
            Severity.WARNING,
            Place(file=name, line=row.line, thing=row.part),
            words,
            "Look at the part and mend the list.",
        )
