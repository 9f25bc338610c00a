"""Under what the copper's resistance is taken: how well its thickness is known, and its temperature. Kept with the board as words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coppermend.core.board.model import Board

SPREAD = 0.10
"""Spread of finished copper thickness and width taken for the error band: +-10 %. Common practice, no source; foil alone is +-3 %. An input."""

ROOM_C = 20.0
"""The temperature at which resistivity is tabled (docs/sources.md), taken where none is said, degC."""

_SPREAD, _TEMPERATURE = "copper spread", "copper temperature"


def condition_words(spread: float | None, temperature_c: float | None) -> dict[str, str]:
    """What a board keeps (``Board.extra``) of the conditions that were said.

    >>> condition_words(0.2, None)
    {'copper spread': '0.2'}
    """
    said = {_SPREAD: spread, _TEMPERATURE: temperature_c}
    return {key: repr(value) for key, value in said.items() if value is not None}


def copper_spread(board: Board) -> float:
    """How far the copper's thickness and width may lie from what the board states, as a share."""
    return float(board.extra.get(_SPREAD, SPREAD))


def copper_temperature_c(board: Board) -> float:
    """The temperature of the board's copper in degC."""
    return float(board.extra.get(_TEMPERATURE, ROOM_C))


_GAPS = "laminate gaps mm"
LEAST_GAP_MM, MOST_GAP_MM = 0.02, 8.0
"""Laminate between two copper layers lies in this range; what says otherwise says nothing. Our choice."""


def gap_words(gaps_mm: Sequence[float]) -> dict[str, str]:
    """What a board keeps (``Board.extra``) of the laminate between its copper layers, from the component side; nothing where a gap cannot be.

    >>> gap_words((0.2, 1.1, 0.2))
    {'laminate gaps mm': '0.2 1.1 0.2'}
    >>> gap_words((0.2, 0.0))
    {}
    """
    if not gaps_mm or not all(LEAST_GAP_MM <= one <= MOST_GAP_MM for one in gaps_mm):
        return {}
    return {_GAPS: " ".join(f"{one:.6g}" for one in gaps_mm)}


def laminate_gaps(board: Board) -> tuple[float, ...]:
    """The laminate between the board's copper layers in mm from the component side, as its package states it; () where it does not."""
    found = tuple(float(one) for one in board.extra.get(_GAPS, "").split())
    return found if len(found) == len(board.layers) - 1 else ()


def with_conditions(
    board: Board, copper_mm: float | None = None, spread: float | None = None, temperature_c: float | None = None
) -> Board:
    """The board with another thickness of all its copper (mm), spread or temperature; None leaves what it has."""
    thick: Sequence[tuple[str, float]] = board.copper_thickness_mm
    if copper_mm is not None:
        thick = [(layer.key, copper_mm) for layer in board.layers]
    extra = {**board.extra, **condition_words(spread, temperature_c)}
    return replace(board, copper_thickness_mm=tuple(thick), extra=extra)
