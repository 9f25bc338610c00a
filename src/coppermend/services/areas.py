"""Work areas: where copper was disturbed or attacked."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from coppermend.core.board.model import Board
from coppermend.core.findings import refuse
from coppermend.core.log.kinds import AREA_KINDS
from coppermend.services.bind import bind
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.points import known_part
from coppermend.services.workshop import Workshop

MARGIN_MM = 3.0
"""Default margin round a part's pins (shared bench table: standard damage)."""
LARGEST_MARGIN_MM = 50.0

Polygon = Sequence[tuple[float, float]]


def add_area(
    workshop: Workshop,
    case: str,
    *,
    part: str = "",
    polygon: Polygon = (),
    margin_mm: float = MARGIN_MM,
    kind: str = "rework",
    severity: int = 2,
    label: str = "",
    entry_id: str | None = None,
) -> Noted:
    """Mark a work area: round the pins of ``part`` with a margin, or a drawn polygon (mm, copper coordinates). ``severity`` 1 (light) to 3 (heavy).

    Refuses unknown parts with the nearest names, polygons that cross themselves or enclose nothing, kinds and severities that are none.
    """
    if bool(part) == bool(polygon):
        raise refuse(
            "ARE-001", "A work area is either round a part or a polygon.", "Name --part U1 or --polygon 'x,y x,y x,y'."
        )
    if kind not in AREA_KINDS:
        raise refuse("ARE-002", f"{kind!r} is no kind of work area.", f"Say one of: {', '.join(AREA_KINDS)}.")
    if severity not in (1, 2, 3):
        raise refuse("ARE-002", f"Severity {severity} is none.", "Say 1 (light), 2 or 3 (heavy).")
    payload: dict[str, object] = {"kind": kind, "severity": severity, "label": label}
    if part:
        binding = bind(workshop, case)
        ref = known_part(binding.graph, part)
        payload |= {
            "part": ref,
            "margin_mm": margin_mm,
            "polygon": [list(one) for one in around_part(binding.board, ref, margin_mm)],
        }
    else:
        payload["polygon"] = [list(one) for one in checked_polygon(polygon)]
    return noted(write(workshop, case, "area", payload, entry_id=entry_id))  # type: ignore[arg-type]


def around_part(board: Board, ref: str, margin_mm: float) -> tuple[tuple[float, float], ...]:
    """The outline round a part's pins, ``margin_mm`` away from their centres: corners in mm, rounded to micrometres."""
    if not 0.0 <= margin_mm <= LARGEST_MARGIN_MM:
        raise refuse(
            "ARE-003", f"A margin of {margin_mm:g} mm is out of range.", f"Give 0 to {LARGEST_MARGIN_MM:g} mm."
        )
    pins = [(pin.x_mm, pin.y_mm) for pin in board.part(ref).pins]
    if not pins:
        raise refuse("ARE-004", f"{ref} has no pins on this board.", "Draw the area: --polygon 'x,y x,y x,y'.")
    hull = shapely.MultiPoint(pins).convex_hull
    grown = hull.buffer(max(margin_mm, 0.001), cap_style="square", join_style="mitre")
    return _corners(grown)


def checked_polygon(polygon: Polygon) -> tuple[tuple[float, float], ...]:
    """A drawn polygon, checked: three or more corners, finite, no crossing edges, some area."""
    if len(polygon) < 3:
        raise refuse(
            "ARE-005",
            f"A polygon needs three corners, found {len(polygon)}.",
            "Write it like --polygon '10,10 40,10 40,30 10,30'.",
        )
    shape = shapely.Polygon(polygon)
    if not all(abs(value) < 1e5 for corner in polygon for value in corner) or not shape.is_valid or shape.area < 0.01:
        raise refuse(
            "ARE-005",
            "The polygon crosses itself or encloses nothing.",
            "Name its corners in order round the area, in mm.",
        )
    return _corners(shape)


def _corners(shape: shapely.Polygon) -> tuple[tuple[float, float], ...]:
    corners = [(round(float(x), 3) + 0.0, round(float(y), 3) + 0.0) for x, y in shape.exterior.coords]
    return tuple(corners[:-1])
