"""Placement lists held to the copper: whether each part lies where its pins do, and on the side of its lands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.model import Pin
from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Finding, Place, Severity

AT_PINS_MM = 0.5
"""A place inside the box of a part's pins, grown by this, is that part's; the middle of a body may lie beside its pins."""

ELSEWHERE_MM = 3.0
"""A place further than this from the box of a part's pins is reported."""

ENOUGH_PARTS = 3
"""Fewer parts than this do not tell a shift from a wrong list."""

_TRIES: tuple[tuple[str, float, float], ...] = tuple(
    (", ".join(w for w in (turn, unit) if w), sx * k, sy * k)
    for unit, k in (
        ("", 1.0),
        ("in mils though read as mm", 0.0254),
        ("in inches though read as mm", 25.4),
        ("in mm though read as mils", 1 / 0.0254),
        ("in mm though read as inches", 1 / 25.4),
        ("in inches though read as mils", 1000.0),
        ("in mils though read as inches", 0.001),
    )
    for turn, sx, sy in (
        ("", 1.0, 1.0),
        ("mirrored top to bottom", 1.0, -1.0),
        ("mirrored left to right", -1.0, 1.0),
        ("turned by 180 degrees", -1.0, -1.0),
    )
)


@dataclass(frozen=True, slots=True)
class Fit:
    """How a list lies on the copper: places times (sx, sy) plus (dx, dy); ``share`` of its parts at their pins; ``words`` unless a plain shift."""

    words: str
    sx: float
    sy: float
    dx_mm: float
    dy_mm: float
    share: float


def boxes_of(pins: Sequence[Pin]) -> dict[str, tuple[float, float, float, float]]:
    """x0, y0, x1, y1 round the pins of each part, mm."""
    out: dict[str, tuple[float, float, float, float]] = {}
    for pin in pins:
        x0, y0, x1, y1 = out.get(pin.part, (np.inf, np.inf, -np.inf, -np.inf))
        out[pin.part] = (min(x0, pin.x_mm), min(y0, pin.y_mm), max(x1, pin.x_mm), max(y1, pin.y_mm))
    return out


def off_box(xy_mm: NDArray[np.float64], box: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance of each of (n, 2) places from its own of (n, 4) boxes; 0 inside."""
    away = np.maximum(np.maximum(box[:, :2] - xy_mm, xy_mm - box[:, 2:]), 0.0)
    return np.asarray(np.hypot(away[:, 0], away[:, 1]))


def fit(places_mm: NDArray[np.float64], box: NDArray[np.float64]) -> Fit:
    """The shift, and where needed the mirroring and unit, that brings most places to their boxes: each part votes for its own offset."""
    middle = (box[:, :2] + box[:, 2:]) / 2
    best = Fit("", 1.0, 1.0, 0.0, 0.0, float(np.mean(off_box(places_mm, box) <= AT_PINS_MM)))
    for words, sx, sy in _TRIES:
        moved = places_mm * np.array([sx, sy])
        dx, dy = np.median(middle - moved, axis=0)
        share = float(np.mean(off_box(moved + np.array([dx, dy]), box) <= AT_PINS_MM))
        if share > best.share + 0.05:
            best = Fit(words, sx, sy, float(dx), float(dy), share)
    return best


def placement_findings(rows: Sequence[PartRow], pins: Sequence[Pin]) -> list[Finding]:
    """What the placement rows say that the copper does not: another origin, unit or mirroring, parts elsewhere, parts on the other side."""
    boxes = boxes_of(pins)
    by_file: dict[str, list[PartRow]] = {}
    for row in rows:
        if row.x_mm is not None and row.y_mm is not None and row.ref in boxes:
            by_file.setdefault(row.source.rpartition(" line ")[0] or row.source, []).append(row)
    out: list[Finding] = []
    for file, group in by_file.items():
        out += _of_file(file, group, boxes)
    return [*out, *_sides(rows, pins)]


def _of_file(
    file: str, rows: Sequence[PartRow], boxes: Mapping[str, tuple[float, float, float, float]]
) -> list[Finding]:
    xy = np.array([(row.x_mm, row.y_mm) for row in rows], dtype=np.float64)
    box = np.array([boxes[row.ref] for row in rows])
    found = fit(xy, box) if len(rows) >= ENOUGH_PARTS else Fit("", 1.0, 1.0, 0.0, 0.0, 1.0)
    out: list[Finding] = []
    if found.words or max(abs(found.dx_mm), abs(found.dy_mm)) > AT_PINS_MM:
        how = f"is {found.words}, and its origin lies" if found.words else "has another origin,"
        words = (
            f"Against the pins, the placement list {how} {found.dx_mm:.3f}, {found.dy_mm:.3f} mm away; "
            f"so laid, {found.share:.0%} of its {len(rows)} parts lie at their pins."
        )
        severity = Severity.WARNING if found.words else Severity.NOTE
        out.append(Finding("CEN-010", severity, Place(file=file), words))
    moved = xy * np.array([found.sx, found.sy]) + np.array([found.dx_mm, found.dy_mm])
    off = off_box(moved, box)
    for k in np.flatnonzero(off > ELSEWHERE_MM)[:8]:
        words = f"The list puts {rows[k].ref} {off[k]:.1f} mm away from its pins. The pins count; the list may be of another state of the board."
        place = Place(file=file, thing=rows[k].ref, x_mm=float(moved[k, 0]), y_mm=float(moved[k, 1]))
        out.append(Finding("CEN-011", Severity.WARNING, place, words))
    return out


def _sides(rows: Sequence[PartRow], pins: Sequence[Pin]) -> list[Finding]:
    lands: dict[str, list[str]] = {}
    for pin in pins:
        if pin.hole is None and pin.layers and pin.layers[0] in ("c", "s"):
            lands.setdefault(pin.part, []).append(pin.layers[0])
    out = []
    for row in rows:
        here = set(lands.get(row.ref, ()))
        if row.side and len(here) == 1 and row.side not in here:
            names = {"c": "component", "s": "solder"}
            words = f"{row.source} puts {row.ref} on the {names[row.side]} side; all its lands are on the {names[next(iter(here))]} side, which counts."
            out.append(Finding("CEN-012", Severity.WARNING, Place(thing=row.ref), words))
    return out[:8]
