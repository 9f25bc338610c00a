"""Radiometric tables: a thermal picture as text, one row of the picture a line, degC (or kelvin), with or without lines of words above."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.findings import Finding, Place, Severity, refuse

LARGEST_BYTES = 16 * 1024 * 1024
LEAST_SIDE, MOST_SIDE = 24, 2048
LEAST_C, MOST_C = -60.0, 700.0
SEPARATORS = (";", "\t", ",", " ")


@dataclass(frozen=True, slots=True)
class Radiometric:
    """``values`` (h, w) as they stand in the file, NaN where a cell held no number; ``findings`` what was guessed."""

    values: NDArray[np.float64]
    findings: tuple[Finding, ...]


def read_table(data: bytes, name: str = "") -> Radiometric:
    """The picture of a text table: separator and decimal sign found, words above and an index row or column left out.

    Refusals THM-001 (too large, no table, too few or too many rows and columns).

    >>> rows = "\\n".join(";".join("21,5" for _ in range(32)) for _ in range(24))
    >>> read_table(rows.encode()).values.shape
    (24, 32)
    """
    place = Place(file=name or None)
    if len(data) > LARGEST_BYTES:
        raise refuse(
            "THM-001",
            f"The file has {len(data) / 2**20:.0f} MiB, at most {LARGEST_BYTES // 2**20} are read.",
            "A picture of 640 x 480 has some 3 MiB as text: give that table alone.",
            place,
        )
    lines = [one for one in _text(data).splitlines() if one.strip()]
    best: tuple[int, str, list[list[float]]] = (0, "", [])
    for sep in SEPARATORS:
        rows = _rows(lines, sep)
        size = sum(len(row) for row in rows)
        if size > best[0]:
            best = (size, sep, rows)
    rows = best[2]
    if len(rows) < LEAST_SIDE or len(rows[0]) < LEAST_SIDE or max(len(rows), len(rows[0])) > MOST_SIDE + 1:
        found = f"{len(rows[0])} columns and {len(rows)} rows" if rows else "none"
        raise refuse(
            "THM-001",
            f"There is no table of temperatures in it: {found} of numbers found, expected {LEAST_SIDE} to {MOST_SIDE} of each.",
            "Export the picture as radiometric CSV: one line a row, a temperature a pixel.",
            place,
        )
    values = np.array(rows, dtype=np.float64)
    findings = []
    if (skipped := len(lines) - len(rows)) > 0:
        findings.append(
            Finding(
                "THM-002", Severity.NOTE, place, f"{skipped} lines that are no row of the picture were left out.", ""
            )
        )
    values, cut = _without_index(values)
    if cut:
        findings.append(Finding("THM-002", Severity.NOTE, place, f"The {cut} only counts: it was left out.", ""))
    if (holes := int(np.isnan(values).sum())) > 0:
        findings.append(
            Finding(
                "THM-002",
                Severity.WARNING,
                place,
                f"{holes} cells hold no number: those pixels are not used.",
                "Look at the file there.",
            )
        )
    return Radiometric(values, tuple(findings))


def _text(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    return data.decode("utf-8-sig", errors="replace")


def _rows(lines: list[str], sep: str) -> list[list[float]]:
    """The lines that are rows of numbers, all of the commonest length."""
    comma = sep != ","
    many = Counter(width for one in lines if LEAST_SIDE <= (width := _width(one, sep)) <= MOST_SIDE + 1)
    if not many:
        return []
    wide = many.most_common(1)[0][0]
    if many[wide] > 2 * MOST_SIDE:
        return []
    made = []
    for one in lines:
        if _width(one, sep) != wide:
            continue
        values = [_number(cell, comma) for cell in _cells(one, sep)]
        if sum(value == value for value in values) >= 0.5 * wide:
            made.append(values)
    return made


def _cells(line: str, sep: str) -> list[str]:
    return line.split() if sep == " " else line.rstrip().rstrip(sep).split(sep)


def _width(line: str, sep: str) -> int:
    """Cells of a line, 0 for one that is far too long to be a row: it is never taken apart."""
    if line.count(sep) > 8 * MOST_SIDE:
        return 0
    return len(_cells(line, sep))


def _number(cell: str, comma: bool) -> float:
    text = cell.strip().strip('"')
    try:
        value = float(text.replace(",", ".") if comma else text)
    except ValueError:
        return float("nan")
    return value if abs(value) < 1e6 else float("nan")


def _without_index(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], str]:
    """Without a first row or column that counts 0, 1, 2 or 1, 2, 3."""
    cut = []
    for name, axis in (("first row", 0), ("first column", 1)):
        line = values[0] if axis == 0 else values[:, 0]
        steps = np.diff(line[np.isfinite(line)])
        if len(steps) > LEAST_SIDE // 2 and np.all(steps == 1.0):
            values = np.delete(values, 0, axis=axis)
            cut.append(name)
    return values, " and the ".join(cut)
