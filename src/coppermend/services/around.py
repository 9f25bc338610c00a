"""The outline round a part's pins, and a case's areas laid on the board as its parts sit today."""

from __future__ import annotations

from dataclasses import replace

import shapely

from coppermend.core.board.model import Board
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.findings import refuse
from coppermend.core.log.state import Area, CaseState, PointRef

MARGIN_MM = 3.0
"""Default margin round a part's pins (shared bench table: standard damage)."""
LARGEST_MARGIN_MM = 50.0


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
    return corners_of(grown)


def corners_of(shape: shapely.Polygon) -> tuple[tuple[float, float], ...]:
    """The corners of a polygon in mm, rounded to micrometres, the first one once."""
    corners = [(round(float(x), 3) + 0.0, round(float(y), 3) + 0.0) for x, y in shape.exterior.coords]
    return tuple(corners[:-1])


def on_board(state: CaseState, board: Board) -> CaseState:
    """The state with its places as the board has them today: for boards from a pin list, whose parts move when their places are marked.

    Areas round a part follow the part; wire ends at pins follow their pins. Drawn areas stay where they were drawn. Boards with copper data are left alone.
    """
    if copper_is_known(board):
        return state
    at = {pin.name: (pin.x_mm, pin.y_mm) for part in board.parts for pin in part.pins}
    parts = {part.ref for part in board.parts if part.pins}

    def moved(area: Area) -> Area:
        if area.part not in parts or area.margin_mm is None:
            return area
        return replace(area, polygon=around_part(board, area.part, area.margin_mm))

    def end(ref: PointRef) -> PointRef:
        x, y = at.get(f"{ref.part}.{ref.pin}", (ref.x_mm, ref.y_mm))
        return replace(ref, x_mm=x, y_mm=y)

    wires = tuple(replace(one, a=end(one.a), b=end(one.b)) for one in state.wires)
    return replace(state, areas=tuple(moved(one) for one in state.areas), wires=wires)
