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


def with_conditions(
    board: Board, copper_mm: float | None = None, spread: float | None = None, temperature_c: float | None = None
) -> Board:
    """The board with another thickness of all its copper (mm), spread or temperature; None leaves what it has."""
    thick: Sequence[tuple[str, float]] = board.copper_thickness_mm
    if copper_mm is not None:
        thick = [(layer.key, copper_mm) for layer in board.layers]
    extra = {**board.extra, **condition_words(spread, temperature_c)}
    return replace(board, copper_thickness_mm=tuple(thick), extra=extra)
