"""Parts lists (CSV) to rows: reference designator, value, package, state.

``read_partslist(data: bytes, name: str) -> tuple[PartRow, ...] | None``: None when the table has no column of reference designators.
Columns are found by their headings; one cell may name several parts (``R1, R2, R5-R8``).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from io import StringIO
from itertools import islice

from coppermend.core.board.model import PartState
from coppermend.core.board.sources import PartRow

MAX_ROWS = 20_000

_HEADINGS = {
    "ref": ("ref", "refs", "reference", "references", "refdes", "designator", "designators", "reference designator"),
    "value": ("value", "val", "type", "comment", "device", "part"),
    "package": ("package", "footprint", "case", "pattern"),
    "state": ("state", "mounting", "socket", "socketed", "fitted", "populate", "dnp", "dnf"),
}
_STATES = {
    "soldered": PartState.SOLDERED,
    "socketed": PartState.SOCKETED,
    "socket": PartState.SOCKETED,
    "in socket": PartState.SOCKETED,
    "out": PartState.OUT,
    "not fitted": PartState.NOT_FITTED,
    "dnp": PartState.NOT_FITTED,
    "dnf": PartState.NOT_FITTED,
    "replaced": PartState.REPLACED,
}
_YES = ("yes", "y", "true", "1", "x")
_NO = ("no", "n", "false", "0")


def read_partslist(data: bytes, name: str) -> tuple[PartRow, ...] | None:
    """The rows of a parts list; comma, semicolon or tab between the cells.

    >>> rows = read_partslist(b"ref;value;state\\nU1,U2;74LS00;socketed\\n", "parts.csv")
    >>> [(row.ref, row.value, str(row.state)) for row in rows]
    [('U1', '74LS00', 'socketed'), ('U2', '74LS00', 'socketed')]
    """
    text = data.decode("utf-8-sig", errors="replace")
    head = text[:2000].splitlines()[0] if text.strip() else ""
    mark = max(";\t,", key=head.count)
    try:
        reader = csv.reader(StringIO(text), delimiter=mark)
        table = [(cells, reader.line_num) for cells in islice(reader, MAX_ROWS + 1)]
    except csv.Error:
        return None
    columns = _columns(table[0][0]) if table else {}
    if "ref" not in columns or len(columns) < 2:
        return None
    rows: list[PartRow] = []
    for cells, line in table[1:]:
        rows += _rows(cells, columns, table[0][0], f"{name} line {line}")
    return tuple(rows)


def _columns(heading: Sequence[str]) -> dict[str, int]:
    out: dict[str, int] = {}
    cells = [cell.strip().lower().lstrip("#").strip() for cell in heading]
    for field, words in _HEADINGS.items():
        for word in words:
            if word in cells:
                out[field] = cells.index(word)
                break
    return out


def _rows(cells: Sequence[str], columns: dict[str, int], heading: Sequence[str], source: str) -> list[PartRow]:
    def cell(field: str) -> str:
        at = columns.get(field, -1)
        return cells[at].strip() if 0 <= at < len(cells) else ""

    state = _state(cell("state"), heading[columns["state"]].strip().lower() if "state" in columns else "")
    refs = [ref for word in re.split(r"[,;\s]+", cell("ref")) for ref in _refs(word)]
    return [PartRow(ref, cell("value"), cell("package"), state, source) for ref in refs]


def _refs(word: str) -> list[str]:
    run = re.fullmatch(r"([A-Za-z]+)(\d{1,5})-([A-Za-z]*)(\d{1,5})", word)
    if run and run[3] in ("", run[1]) and 0 <= int(run[4]) - int(run[2]) < 1000:
        return [f"{run[1]}{n}" for n in range(int(run[2]), int(run[4]) + 1)]
    return [word] if word else []


def _state(text: str, heading: str) -> PartState | None:
    word = text.strip().lower()
    if heading in ("socket", "socketed"):
        return PartState.SOCKETED if word in _YES or "socket" in word else None
    if heading in ("dnp", "dnf"):
        return PartState.NOT_FITTED if word in _YES or word == heading else None
    if heading in ("fitted", "populate"):
        return PartState.NOT_FITTED if word in _NO else None
    return _STATES.get(word)
