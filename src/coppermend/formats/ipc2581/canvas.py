"""The objects of one layer while a file is read, made into shapes in bulk at the end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.records import GerberImage, ObjectAttributes
from coppermend.core.findings import Finding, refuse
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.formats.ipc2581.shapes import TOLERANCE_MM, Piece

MAX_OBJECTS = 1_000_000
"""Objects of one layer; more is refused."""

Point = tuple[float, float]


class Canvas:
    """Collects pieces in drawing order; ``image`` gives them as a GerberImage."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._templates: dict[int, tuple[Any, int]] = {}
        self._keep: list[Any] = []
        self._place: list[tuple[int, float, float]] = []
        self._radius: list[float] = []
        self._kind: list[str] = []
        self._dark: list[bool] = []
        self._attribute: list[int] = []
        self._at: list[Point] = []
        self._attributes: dict[ObjectAttributes, int] = {}
        self.findings: list[Finding] = []

    def __len__(self) -> int:
        return len(self._radius)

    def add(
        self, pieces: Sequence[Piece], at: Point, said: ObjectAttributes, clear: bool = False, land: bool = False
    ) -> None:
        """Pieces moved to ``at``. ``clear`` turns their polarity round; ``land``: they are one land (kind flash, placed at ``at``)."""
        if len(self._radius) + len(pieces) > MAX_OBJECTS:
            words = f"{self.name} has more than {MAX_OBJECTS:,} objects."
            raise refuse("IPC-005", words, "Check that the file is one board's and whole.")
        number = self._attributes.setdefault(said, len(self._attributes))
        for one in pieces:
            key = self._templates.get(id(one.skeleton))
            if key is None:
                key = self._templates[id(one.skeleton)] = (one.skeleton, len(self._keep))
                self._keep.append(one.skeleton)
            self._place.append((key[1], at[0], at[1]))
            self._radius.append(one.radius_mm)
            self._kind.append("flash" if land else one.kind)
            self._dark.append(one.dark != clear)
            self._attribute.append(number)
            self._at.append(at if land else (np.nan, np.nan))

    def _skeletons(self) -> NDArray[Any]:
        """Every template's copies at their places, made per template in one go."""
        out = np.empty(len(self._place), dtype=object)
        if not self._place:
            return out
        table = np.array(self._place)
        which = table[:, 0].astype(np.int64)
        keep = np.empty(len(self._keep), dtype=object)
        keep[:] = self._keep
        still = (table[:, 1] == 0) & (table[:, 2] == 0)
        out[still] = keep[which[still]]
        rest = np.flatnonzero(~still)
        if len(rest):
            copies = keep[which[rest]]
            coordinates, owner = shapely.get_coordinates(copies, return_index=True)
            out[rest] = shapely.set_coordinates(copies, coordinates + table[rest[owner], 1:])
        return out

    def image(self, negative: bool, findings: Sequence[Finding] = (), polarity: str = "") -> GerberImage:
        """The layer as a GerberImage; ``polarity`` as the file states it, "" where it does not."""
        skeleton = self._skeletons()
        at = np.array(self._at, dtype=np.float64).reshape(-1, 2)
        unplaced = np.isnan(at[:, 0])
        if unplaced.any():
            first, owner = shapely.get_coordinates(skeleton[unplaced], return_index=True)
            _, begin = np.unique(owner, return_index=True)
            at[unplaced] = first[begin]
        kind = np.empty(len(skeleton), dtype=object)
        kind[:] = self._kind
        return GerberImage(
            name=self.name,
            kind=kind,
            dark=np.array(self._dark, dtype=bool),
            shapes=ShapeSet(skeleton, np.array(self._radius, dtype=np.float64)),
            attribute=np.array(self._attribute, dtype=np.int32),
            attributes=tuple(self._attributes),
            file_attributes={".FilePolarity": (polarity.capitalize(),)} if polarity else {},
            negative=negative,
            findings=(*self.findings, *findings),
            tolerance_mm=TOLERANCE_MM,
            at_mm=at,
        )
