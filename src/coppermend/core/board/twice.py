"""Lists that name one part more than once: the row whose place is the part's pins counts, else what the rows agree in; said in either case."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from coppermend.core.board.centroids import AT_PINS_MM, ELSEWHERE_MM, ENOUGH_PARTS, Fit, boxes_of, fit, off_box
from coppermend.core.board.model import Pin
from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Finding, Place, Severity

MOST_SAID = 8
"""So many parts of one list are said one by one; the others are counted."""

_Box = tuple[float, float, float, float]


def told_once(rows: Sequence[PartRow], pins: Sequence[Pin]) -> tuple[list[PartRow], list[Finding]]:
    """The rows with each part once a file, and a warning (CEN-013) for each part of the board that a file names more than once in unlike words.

    Of several rows the one counts whose place alone lies at the part's pins (the list laid on them as ``centroids.fit`` lays it); where no place
    decides, only what all of them say alike counts. Rows of parts that have no pin stay as they are.

    >>> rows = [PartRow("R1", "10k", source="a.csv line 2"), PartRow("R1", "47k", source="a.csv line 3")]
    >>> kept, findings = told_once(rows, [Pin("R1", "1", 0.0, 0.0, None, ("c",), None)])
    >>> [(row.ref, row.value) for row in kept], [one.code for one in findings]
    ([('R1', '')], ['CEN-013'])
    """
    boxes = boxes_of(pins)
    groups: dict[tuple[str, str], list[PartRow]] = {}
    for row in rows:
        groups.setdefault((_file(row), row.ref), []).append(row)
    if all(len(group) == 1 for group in groups.values()):
        return list(rows), []
    kept: list[PartRow] = []
    said: dict[str, list[Finding]] = {}
    laid: dict[str, Fit] = {}
    for (file, ref), group in groups.items():
        if ref not in boxes or _alike(group):
            kept += group[:1] if ref in boxes else group
            continue
        if file not in laid:
            laid[file] = _laid([one[0] for (name, _), one in groups.items() if name == file and len(one) == 1], boxes)
        chosen = _at_pins(group, boxes[ref], laid[file])
        kept.append(_common(group) if chosen is None else group[chosen])
        said.setdefault(file, []).append(_finding(file, group, chosen))
    return kept, [finding for file, found in said.items() for finding in _few(file, found)]


def _file(row: PartRow) -> str:
    return row.source.rpartition(" line ")[0] or row.source


def _told(row: PartRow) -> tuple[object, ...]:
    """What a row says, places to 0.01 mm and degrees in whole."""
    place = (None, None) if row.x_mm is None or row.y_mm is None else (round(row.x_mm, 2), round(row.y_mm, 2))
    turn = None if row.rotation_deg is None else round(row.rotation_deg) % 360
    return (row.value, row.package, row.state, row.side, *place, turn, row.outline)


def _alike(group: Sequence[PartRow]) -> bool:
    return len({_told(row) for row in group}) == 1


def _laid(rows: Sequence[PartRow], boxes: Mapping[str, _Box]) -> Fit:
    """How the list lies on the pins, by the parts that it names once."""
    placed = [row for row in rows if row.x_mm is not None and row.y_mm is not None and row.ref in boxes]
    if len(placed) < ENOUGH_PARTS:
        return Fit("", 1.0, 1.0, 0.0, 0.0, 1.0)
    return fit(np.array([(row.x_mm, row.y_mm) for row in placed]), np.array([boxes[row.ref] for row in placed]))


def _at_pins(group: Sequence[PartRow], box: _Box, how: Fit) -> int | None:
    """The one row whose place lies at the pins (or, where none does, near them); None where none or several do, or a row has no place."""
    if any(row.x_mm is None or row.y_mm is None for row in group):
        return None
    off = [_off(row, box, how) for row in group]
    for reach in (AT_PINS_MM, ELSEWHERE_MM):
        near = [k for k, away in enumerate(off) if away <= reach]
        if near:
            return near[0] if len(near) == 1 else None
    return None


def _off(row: PartRow, box: _Box, how: Fit) -> float:
    at = np.array([[(row.x_mm or 0.0) * how.sx + how.dx_mm, (row.y_mm or 0.0) * how.sy + how.dy_mm]])
    return float(off_box(at, np.array([box]))[0])


def _common(group: Sequence[PartRow]) -> PartRow:
    """What all rows say alike; nothing where they differ."""
    first = group[0]

    def same(field: str) -> bool:
        return len({getattr(row, field) for row in group}) == 1

    placed = len({(row.x_mm, row.y_mm) for row in group}) == 1
    return replace(
        first,
        value=first.value if same("value") else "",
        package=first.package if same("package") else "",
        state=first.state if same("state") else None,
        side=first.side if same("side") else "",
        x_mm=first.x_mm if placed else None,
        y_mm=first.y_mm if placed else None,
        rotation_deg=first.rotation_deg if same("rotation_deg") else None,
        outline=first.outline if same("outline") else None,
    )


def _row_words(row: PartRow) -> str:
    what = " ".join(one for one in (repr(row.value) if row.value else "no value", row.package) if one)
    where = "" if row.x_mm is None or row.y_mm is None else f" at {row.x_mm:.3f}, {row.y_mm:.3f} mm"
    side = {"c": ", component side", "s": ", solder side"}.get(row.side, "")
    state = f", {row.state}" if row.state else ""
    line = row.source.rpartition(" line ")[2] if " line " in row.source else ""
    return f"{what}{where}{side}{state}" + (f" (line {line})" if line else "")


def _finding(file: str, group: Sequence[PartRow], chosen: int | None) -> Finding:
    ref = group[0].ref
    shown = "; ".join(_row_words(row) for row in group[:4]) + ("; ..." if len(group) > 4 else "")
    if chosen is None:
        counts = "No place tells which of them is the part; only what they say alike is taken."
    else:
        row = group[chosen]
        counts = f"Its pins lie at {row.x_mm:.3f}, {row.y_mm:.3f} mm of the list, so that row counts."
    words = f"{ref} stands {len(group)} times in the list: {shown}. {counts}"
    remedy = f"Look at the part; say its value under [part.{ref}] in coppermend-corrections.toml, and find out which part the other row means."
    return Finding("CEN-013", Severity.WARNING, Place(file=file, thing=ref), words, remedy)


def _few(file: str, found: Sequence[Finding]) -> list[Finding]:
    out = list(found[:MOST_SAID])
    if len(found) > MOST_SAID:
        refs = ", ".join(one.place.thing or "" for one in found[MOST_SAID : 2 * MOST_SAID])
        words = f"{len(found) - MOST_SAID} more parts stand more than once in the list: {refs}{' ...' if len(found) > 2 * MOST_SAID else ''}."
        out.append(Finding("CEN-013", Severity.WARNING, Place(file=file), words, found[0].remedy))
    return out
