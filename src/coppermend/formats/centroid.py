"""Centroid files (placement lists) to rows: reference designator, value, package, place in mm, rotation, side.

``read_centroids(data: bytes, name: str) -> Centroids | None``: None where the file is no such list. Columns are found by their headings, which may
stand below a preamble or behind ``#``; comma, semicolon, tab, bar, exclamation mark or runs of spaces part the cells. Units come from the
heading (``Mid X (mil)``), a number's own ending (``12.7mm``) or the preamble (``Units used: mil``). Dialects: common practice, no source.
"""

from __future__ import annotations

import contextlib
import csv
import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from io import StringIO

from coppermend.core.board.model import PartState
from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Finding, Place, Severity
from coppermend.formats.collect import FindingList

MAX_ROWS = 100_000
MAX_PREAMBLE = 60
LARGEST_MM = 5_000.0
MAX_BYTES = 32 * 1024 * 1024

_HEADINGS: dict[str, tuple[str, ...]] = {
    "ref": ("ref", "refdes", "designator", "reference", "referencedesignator", "part", "partreference", "component", "name", "designators", "bauteil",
            "bezeichner", "refdesignator"),
    "value": ("val", "value", "comment", "description", "partvalue", "compvalue", "symvalue", "parttype", "wert", "valeur"),
    "package": ("package", "footprint", "pattern", "symname", "pcbfootprint", "decal", "packagename", "case", "gehause", "boitier", "bauform"),
    "x": ("x", "midx", "posx", "centerx", "centrex", "xmid", "xpos", "xcenter", "locationx", "xlocation", "symx", "xcoord", "xcoordinate", "placementcentrex",
          "centroidx", "compx", "xposition", "coordx", "positionx"),
    "y": ("y", "midy", "posy", "centery", "centrey", "ymid", "ypos", "ycenter", "locationy", "ylocation", "symy", "ycoord", "ycoordinate", "placementcentrey",
          "centroidy", "compy", "yposition", "coordy", "positiony"),
    "rotation": ("rot", "rotation", "rotate", "angle", "orientation", "symrotate", "rotationdeg", "theta", "drehung", "winkel", "rotationcw", "rotationccw", "r"),
    "side": ("side", "layer", "tb", "topbottom", "mountside", "boardside", "symmirror", "mirror", "placelayer", "mountingside", "placementside", "seite", "face", "location"),
    "unit": ("unit", "units", "einheit", "unite"),
    "fitted": ("dnp", "dnf", "populate", "fitted"),
}  # fmt: skip
"""Field -> headings that name it, letters only, without unit; common practice, no source."""

_OF_PINS = frozenset(("net", "netname", "signal", "signalname", "pin", "pinnumber", "pinno", "pinname", "padnumber"))
"""Headings of a list of pins, which is none of parts."""

_UNITS = {
    "mm": 1.0,
    "millimeter": 1.0,
    "millimeters": 1.0,
    "millimetre": 1.0,
    "millimetres": 1.0,
    "metric": 1.0,
    "mil": 0.0254,
    "mils": 0.0254,
    "thou": 0.0254,
    "in": 25.4,
    "inch": 25.4,
    "inches": 25.4,
    "imperial": 0.0254,
    "cm": 10.0,
    "um": 0.001,
    "\u00b5m": 0.001,
    "\u03bcm": 0.001,
    "micron": 0.001,
    "microns": 0.001,
}
_UNIT_WORD = "|".join(sorted(_UNITS, key=len, reverse=True))
_IN_HEADING = re.compile(rf"[(\[_ /-]\s*({_UNIT_WORD})\s*[)\]]?\s*$", re.I)
_IN_PREAMBLE = re.compile(
    rf"\bu?units?\b(?:\s+used)?[\s:=\",;]*({_UNIT_WORD})\b|\bin\s+(mils|millimeters|inches|mm)\b", re.I
)
_NUMBER = re.compile(
    rf"([-+]?(?:\d{{1,3}}(?:,\d{{3}})+\.\d*|\d{{1,3}}(?:\.\d{{3}})+,\d*|\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d{{1,2}})?)\s*({_UNIT_WORD}|\")?\s*",
    re.I,
)
UTF16 = (b"\xff\xfe", b"\xfe\xff")
"""Marks at the beginning of a text in UTF-16."""
_CLOCKWISE = re.compile(r"(?<!c)(?<![a-z])cw\b|(?<!counter)(?<!counter[- ])(?<!anti)(?<!anti[- ])\bclockwise\b", re.I)
_TOP = frozenset(
    (
        "t",
        "top",
        "toplayer",
        "topside",
        "front",
        "frontside",
        "oben",
        "dessus",
        "cs",
        "f",
        "fcu",
        "c",
        "component",
        "componentside",
        "cmp",
        "primary",
        "no",
        "0",
        "1",
        "a",
    )
)
_BOTTOM = frozenset(
    (
        "b",
        "bot",
        "bottom",
        "bottomlayer",
        "bottomside",
        "back",
        "backside",
        "unten",
        "dessous",
        "ss",
        "bcu",
        "s",
        "solder",
        "solderside",
        "secondary",
        "yes",
        "m",
        "2",
    )
)


@dataclass(frozen=True, slots=True)
class Centroids:
    """A placement list: ``rows`` with places in mm, in the list's own coordinates; ``unit_stated``: whether anything says the unit."""

    rows: tuple[PartRow, ...]
    unit_stated: bool
    findings: tuple[Finding, ...]


def looks_like_centroids(text: str) -> bool:
    """Whether the beginning of a text has the headings of a placement list.

    >>> looks_like_centroids("Designator,Mid X,Mid Y,Layer\\n"), looks_like_centroids("ref,value\\n")
    (True, False)
    """
    head = text[:20_000].rpartition("\n")[0] or text[:20_000]
    with contextlib.suppress(UnicodeError):
        head = head.encode("latin-1").decode("utf-8")  # bytes taken for characters one by one
    return _heading(head.splitlines()[:MAX_PREAMBLE]) is not None


def read_centroids(data: bytes, name: str) -> Centroids | None:
    """The rows of a placement list; None where no line has the headings of one. Rows that cannot be read are findings (CEN-...).

    >>> found = read_centroids(b"Ref,Val,Package,PosX,PosY,Rot,Side\\nU1,74LS00,DIP-14,25.4,-10,90,top\\n", "place.csv")
    >>> [(row.ref, row.x_mm, row.y_mm, row.rotation_deg, row.side) for row in found.rows]
    [('U1', 25.4, -10.0, 90.0, 'c')]
    """
    if len(data) > MAX_BYTES or (b"\0" in data and data[:2] not in UTF16):
        return None
    text = _decode(data)
    lines = text.splitlines()
    found = _heading(lines[:MAX_PREAMBLE])
    if found is None:
        return None
    at, mark, cells = found
    columns = _columns(cells)
    preamble = "\n".join(lines[:at])
    unit, stated = _unit(cells, columns, preamble)
    if not stated and at + 1 < len(lines):
        unit, stated = _unit_below(_split(lines[at + 1], mark), columns)
    table = _Table(name, columns, cells, unit)
    for number, line in enumerate(lines[at + 1 : at + 1 + MAX_ROWS], at + 2):
        table.add(_split(line, mark), number)
    return Centroids(tuple(table.rows), stated or table.unit_seen, table.notes.close(name))


def _decode(data: bytes) -> str:
    if data[:2] in UTF16:
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _plain(heading: str) -> str:
    """A heading as letters only, without accents, without its unit and other words in brackets at its end."""
    bare = heading.strip().strip('"#* ').lower()
    bare = re.sub(r"\s*[(\[][^)\]]*[)\]]\s*$", "", _IN_HEADING.sub("", bare))
    return re.sub(r"[^a-z]", "", unicodedata.normalize("NFKD", bare))


def _heading(lines: Sequence[str]) -> tuple[int, str, list[str]] | None:
    """Line index, mark between cells and cells of the first line that names a part and its place."""
    for at, line in enumerate(lines):
        if len(line) > 5_000:
            continue
        for mark in (",", ";", "\t", "!", "|", " "):
            if mark not in line:
                continue
            cells = _split(line.lstrip("#* "), mark)
            if (
                len(cells) >= 3
                and {"ref", "x", "y"} <= set(_columns(cells))
                and not _OF_PINS & {_plain(c) for c in cells}
            ):
                return at, mark, cells
    return None


def _columns(cells: Sequence[str]) -> dict[str, int]:
    plain = [_plain(cell) for cell in cells]
    out: dict[str, int] = {}
    for field, words in _HEADINGS.items():
        at = next((plain.index(word) for word in words if word in plain), -1)
        if at >= 0:
            out[field] = at
    return out


def _split(line: str, mark: str) -> list[str]:
    if mark == " ":
        found = re.findall(r'"([^"]*)"|(\S+)', line)
        return [quoted or bare for quoted, bare in found]
    try:
        return [cell.strip() for cell in next(csv.reader(StringIO(line), delimiter=mark), [])]
    except csv.Error:
        return []


def _unit(cells: Sequence[str], columns: dict[str, int], preamble: str) -> tuple[float, bool]:
    said = _IN_HEADING.search(cells[columns["x"]].strip().strip('"'))
    if said:
        return _UNITS[said[1].lower()], True
    told = _IN_PREAMBLE.search(preamble)
    if told:
        return _UNITS[(told[1] or told[2]).lower()], True
    return 1.0, False


def _unit_below(cells: Sequence[str], columns: dict[str, int]) -> tuple[float, bool]:
    """The unit that a line of units right below the headings gives."""
    words = [cells[columns[k]].strip(' ()[]"').lower() if columns[k] < len(cells) else "" for k in ("x", "y")]
    return (_UNITS[words[0]], True) if words[0] in _UNITS and words[0] == words[1] else (1.0, False)


def _number(text: str) -> float:
    """A number with a decimal point or comma; of both, the last one parts the decimals and the other thousands."""
    point = max(text.rfind("."), text.rfind(","))
    if "." in text and "," in text:
        text = text[:point].replace(".", "").replace(",", "") + "." + text[point + 1 :]
    return float(text.replace(",", "."))


class _Table:
    def __init__(self, name: str, columns: dict[str, int], heading: Sequence[str], unit: float) -> None:
        self.name, self.columns, self.unit = name, columns, unit
        self.mirror_column = "side" in columns and "mirror" in _plain(heading[columns["side"]])
        self.clockwise = "rotation" in columns and bool(_CLOCKWISE.search(heading[columns["rotation"]]))
        fitted = _plain(heading[columns["fitted"]]) if "fitted" in columns else ""
        self.absent = fitted in ("dnp", "dnf")
        self.rows: list[PartRow] = []
        self.notes = FindingList()
        self.unit_seen = False

    def _cell(self, cells: Sequence[str], field: str) -> str:
        at = self.columns.get(field, -1)
        return cells[at].strip() if 0 <= at < len(cells) else ""

    def add(self, cells: Sequence[str], line: int) -> None:
        """Notes one row; empty lines, comments and rows without a name are passed over."""
        ref = self._cell(cells, "ref").strip(' ,;"')
        if not ref or ref.startswith(("#", "*", "=", "-")) or len(cells) < 3 or len(ref) > 100:
            return
        unit = _UNITS.get(self._cell(cells, "unit").lower())
        self.unit_seen = self.unit_seen or unit is not None
        x, y = (self._length(self._cell(cells, k), unit or self.unit) for k in ("x", "y"))
        if x is None or y is None:
            shown = f"{self._cell(cells, 'x')[:20]!r}, {self._cell(cells, 'y')[:20]!r}"
            words = f"{ref} has no usable place ({shown}); expected two numbers within {LARGEST_MM:g} mm. The row gives its value only."
            self.notes.add("CEN-001", Severity.WARNING, Place(file=self.name, line=line), words)
        row = PartRow(
            ref,
            self._cell(cells, "value"),
            self._cell(cells, "package"),
            self._state(cells),
            f"{self.name} line {line}",
            self._side(cells, ref, line),
            x,
            y,
            self._angle(self._cell(cells, "rotation")),
        )
        self.rows.append(replace(row, x_mm=None, y_mm=None) if x is None or y is None else row)

    def _length(self, text: str, unit: float) -> float | None:
        found = _NUMBER.fullmatch(text.strip().strip('"').strip())
        if found is None:
            return None
        if found[2] and found[2] != '"':
            unit, self.unit_seen = _UNITS[found[2].lower()], True
        value = _number(found[1]) * unit
        return value if abs(value) <= LARGEST_MM else None

    def _angle(self, text: str) -> float | None:
        """Degrees counter-clockwise."""
        found = _NUMBER.match(text.strip())
        value = _number(found[1]) if found else math.nan
        return (-value if self.clockwise else value) if math.isfinite(value) else None

    def _state(self, cells: Sequence[str]) -> PartState | None:
        word = self._cell(cells, "fitted").lower()
        yes = word in ("yes", "y", "true", "1", "x", "dnp", "dnf")
        no = word in ("no", "n", "false", "0")
        return PartState.NOT_FITTED if (yes if self.absent else no) else None

    def _side(self, cells: Sequence[str], ref: str, line: int) -> str:
        word = re.sub(r"[^a-z0-9]", "", self._cell(cells, "side").lower())
        if self.mirror_column:
            return "s" if word in ("yes", "y", "true", "1", "m", "mirror", "mirrored") else "c"
        if word in _TOP:
            return "c"
        if word in _BOTTOM:
            return "s"
        if word:
            words = f"{ref} is said to lie on {word[:20]!r}; expected top or bottom. Its side is taken from its lands."
            self.notes.add("CEN-002", Severity.NOTE, Place(file=self.name, line=line), words)
        return ""
