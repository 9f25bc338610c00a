"""The board's own ground as a polygon: its outline without the cut-outs in it."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from coppermend.core.board.model import Board


def board_ground(board: Board) -> Any:
    """The area inside the board's outline (shapely, mm), cut-outs taken away; None where no outline was found.

    A closed shape inside the outline counts as a cut-out when no plated hole lies in it; one that holds plated holes is drawing.
    """
    rings = [shapely.make_valid(shapely.Polygon(ring)) for ring in board.outline if len(ring) >= 3]
    if not rings:
        return None
    plated = np.array([(h.x_mm, h.y_mm) for h in board.holes if h.plated]).reshape(-1, 2)
    outer = [one for k, one in enumerate(rings) if not _inside(one, rings, k)]
    inner = [one for k, one in enumerate(rings) if _inside(one, rings, k) and not _holds(one, plated)]
    whole = shapely.union_all(outer)
    return shapely.difference(whole, shapely.union_all(inner)) if inner else whole


def _inside(one: Any, rings: list[Any], own: int) -> bool:
    return any(k != own and big.contains_properly(one) for k, big in enumerate(rings))


def _holds(shape: Any, spots: Any) -> bool:
    return bool(len(spots) and shapely.contains_xy(shape, spots[:, 0], spots[:, 1]).any())
