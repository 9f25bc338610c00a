"""Holes as columns, and copper joined to islands, as values. ``core.copper.islands`` finds the islands; the board builder names them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.geometry.shapes import ShapeSet


@dataclass(frozen=True, slots=True)
class Holes:
    """Holes as columns of length h. ``x2_mm, y2_mm``: end of a slot's centre line. ``first``, ``last``: positions in the layer list (both included).

    ``file`` (h,) index into ``files``, the drill files they come from (empty where they come from none).
    """

    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    x2_mm: NDArray[np.float64]
    y2_mm: NDArray[np.float64]
    diameter_mm: NDArray[np.float64]
    plated: NDArray[np.bool_]
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    file: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    files: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.x_mm)

    def take(self, index: NDArray[Any]) -> Holes:
        """The holes at ``index`` (integers or a mask), in that order."""
        file = self.file[index] if len(self.file) else self.file
        return Holes(
            self.x_mm[index],
            self.y_mm[index],
            self.x2_mm[index],
            self.y2_mm[index],
            self.diameter_mm[index],
            self.plated[index],
            self.first[index],
            self.last[index],
            file,
            self.files,
        )

    def shapes(self) -> ShapeSet:
        """The holes as shapes: a point or a segment, and half the drill's diameter."""
        round_ = (self.x_mm == self.x2_mm) & (self.y_mm == self.y2_mm)
        skeleton = np.empty(len(self), dtype=object)
        skeleton[round_] = shapely.points(self.x_mm[round_], self.y_mm[round_])
        slot = ~round_
        ends = np.stack([np.c_[self.x_mm[slot], self.y_mm[slot]], np.c_[self.x2_mm[slot], self.y2_mm[slot]]], axis=1)
        if slot.any():
            skeleton[slot] = shapely.linestrings(ends)
        return ShapeSet(skeleton, self.diameter_mm / 2.0)


_NONE, _NO_LAYER = np.empty(0), np.empty(0, np.int64)
NO_HOLES = Holes(_NONE, _NONE, _NONE, _NONE, _NONE, np.empty(0, bool), _NO_LAYER, _NO_LAYER)


@dataclass(frozen=True, slots=True)
class LayerCopper:
    """The pieces of one layer after holes that are not plated were cut out.

    ``source`` (n,) the index of the piece handed in; ``contacts`` (k, 2) pairs of touching pieces; ``walls`` (m, 2) pairs of
    (hole, piece) where a plated wall meets the piece.
    """

    shapes: ShapeSet
    source: NDArray[np.int64]
    contacts: NDArray[np.int64]
    walls: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Islands:
    """``layers`` in the order handed in; ``piece_island[k]`` (n_k,) and ``hole_island`` (h,), -1 for a hole that joins no copper; ``count`` islands.

    Islands are numbered by their first piece, layer by layer in drawing order.
    """

    layers: tuple[LayerCopper, ...]
    piece_island: tuple[NDArray[np.int32], ...]
    hole_island: NDArray[np.int32]
    count: int
