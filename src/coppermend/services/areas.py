"""Work areas: where copper was disturbed or attacked."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from coppermend.core.findings import refuse
from coppermend.core.log.kinds import AREA_KINDS
from coppermend.services.around import LARGEST_MARGIN_MM, MARGIN_MM, around_part, corners_of
from coppermend.services.bind import bind
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.points import known_part
from coppermend.services.workshop import Workshop

__all__ = ["LARGEST_MARGIN_MM", "MARGIN_MM", "Polygon", "add_area", "around_part", "checked_polygon"]

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
    return corners_of(shape)
