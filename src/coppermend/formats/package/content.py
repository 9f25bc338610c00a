"""Roles by content alone: the last resort for files that neither state what they are nor are called like it.

Copper is the one image whose strokes end in its own flashes: tracks run from land to land. An outline is a few strokes as large as the
whole board. Masks, paste and silkscreen are not told apart by content: a wrong mask would hide points that can be touched, so they are
left out and said to be. Which of two copper files is the component side no content tells either: they are taken in the order of their
names, and said to be guessed. Inner planes without lands are not found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.findings import Refusal
from coppermend.formats.gerber import read_gerber
from coppermend.formats.gerber.model import ARC, DRAW, FLASH, GerberImage
from coppermend.formats.package.model import Format, LayerRole, PlannedFile, RoleKind, Source

LANDED = 0.2
"""A copper image has a stroke's end on at least this share of its flashes. Common practice of layout, no source: most lands carry a track."""
FEWEST_FLASHES = 4
OUTLINE_STROKES = 400
OUTLINE_SHARE = 0.98
"""An outline spans at least this share of the largest image's box in both directions."""


@dataclass(frozen=True, slots=True)
class Likeness:
    """What one image looks like: counts of strokes and flashes, share of flashes with a stroke's end on them, its box's width and height in mm."""

    strokes: int
    flashes: int
    landed: float
    width_mm: float
    height_mm: float


def likeness(image: GerberImage) -> Likeness:
    """The likeness of an image; ``landed`` 0 where it flashes nothing."""
    drawn = (image.kind == DRAW) | (image.kind == ARC)
    flashed = image.at_mm[image.kind == FLASH]
    ends = _ends_mm(image.shapes.skeleton[drawn])
    landed = 0.0
    if len(flashed) and len(ends):
        tree = shapely.STRtree(shapely.points(ends))
        hit, _ = tree.query(shapely.points(flashed), predicate="dwithin", distance=0.01)
        landed = len(np.unique(hit)) / len(flashed)
    box = image.shapes.bounds_mm()
    if not len(box):
        return Likeness(0, 0, 0.0, 0.0, 0.0)
    wide, high = np.nanmax(box[:, 2:], axis=0) - np.nanmin(box[:, :2], axis=0)
    return Likeness(int(drawn.sum()), len(flashed), landed, float(wide), float(high))


def by_content(files: Sequence[PlannedFile]) -> list[PlannedFile]:
    """The files with roles for those Gerber files that had none: copper and outline, each marked as read from content.

    Files that cannot be read keep their role; without any copper among them nothing is guessed.
    """
    out = list(files)
    seen: dict[int, Likeness] = {}
    for n, file in enumerate(files):
        if file.format is Format.GERBER and file.role.kind is RoleKind.OTHER:
            try:
                seen[n] = likeness(read_gerber(file.member.data, file.member.name, hairlines=True))
            except Refusal:
                continue
    copper = [n for n, one in seen.items() if one.flashes >= FEWEST_FLASHES and one.landed >= LANDED]
    if not copper:
        return out
    copper.sort(key=lambda n: files[n].member.base)
    for number, n in enumerate(copper, 1):
        side = "c" if number == 1 else "s" if number == len(copper) else None
        out[n] = _as(files[n], RoleKind.COPPER, side, number)
    for n in sorted(seen, key=lambda n: files[n].member.base):
        if n not in copper and _is_outline(seen[n], list(seen.values())):
            out[n] = _as(files[n], RoleKind.OUTLINE, None, None)
            break
    return out


def _is_outline(one: Likeness, others: Sequence[Likeness]) -> bool:
    wide, high = max(o.width_mm for o in others), max(o.height_mm for o in others)
    spans = one.width_mm >= OUTLINE_SHARE * wide and one.height_mm >= OUTLINE_SHARE * high
    return 3 <= one.strokes <= OUTLINE_STROKES and not one.flashes and spans


def _ends_mm(skeletons: NDArray[Any]) -> NDArray[np.float64]:
    """(k, 2) first and last points of the line strings among these skeletons."""
    lines = skeletons[shapely.get_type_id(skeletons) == shapely.GeometryType.LINESTRING]
    if not len(lines):
        return np.empty((0, 2))
    ends = np.concatenate([shapely.get_point(lines, 0), shapely.get_point(lines, -1)])
    return np.asarray(shapely.get_coordinates(ends))


def _as(file: PlannedFile, kind: RoleKind, side: str | None, number: int | None) -> PlannedFile:
    return replace(file, role=LayerRole(kind, side=side, number=number, source=Source.CONTENT))
