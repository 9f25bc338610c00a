"""Roles by content alone: the last resort for files that neither state what they are nor are called like it.

Copper is the one image whose strokes end in its own flashes: tracks run from land to land. An outline is a few strokes as large as the
whole board. Masks, paste and silkscreen are not told apart by content: a wrong mask would hide points that can be touched, so they are
left out and said to be. Which of two copper files is the component side no content tells either: they are taken in the order of their
names, and said to be guessed.

Beside copper that is known (``more_by_content``) an unknown file is inner copper where its strokes end in flashes that lie on the known
copper's own, or where it is a plane: large areas with many clearances. Drill data drawn as Gerber is known by its name, and by holding
nothing but round flashes and strokes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.findings import Refusal
from coppermend.formats.gerber import read_gerber
from coppermend.formats.gerber.model import ARC, DRAW, FLASH, REGION, GerberImage
from coppermend.formats.package.model import Format, LayerRole, PlannedFile, RoleKind, Source
from coppermend.formats.package.roles import drill_role

LANDED = 0.2
"""A copper image has a stroke's end on at least this share of its flashes. Common practice of layout, no source: most lands carry a track."""
FEWEST_FLASHES = 4
OUTLINE_STROKES = 400
OUTLINE_SHARE = 0.98
"""An outline spans at least this share of the largest image's box in both directions."""


SHARED = 0.3
"""An inner layer has this share of its flashes on those of the outer copper: the lands of the holes. Common practice, no source."""
PLANE_SHARE = 0.25
"""A plane's areas fill at least this share of the box round the known copper's lands ..."""
PLANE_CORNERS = 100
"""... and have at least this many corners and clear objects: their clearances."""
_DRILLED = re.compile(r"drill|drl|(?:^|[^a-z])holes?(?:$|[^a-z])|(?:^|[^a-z])n?pth(?:$|[^a-z])", re.I)
_DRAWN = re.compile(r"map|draw|chart|legend|guide|table|fab", re.I)


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
    images: dict[int, GerberImage] = {}
    for n, file in enumerate(files):
        if (
            file.format is Format.GERBER
            and file.role.kind is RoleKind.OTHER
            and (image := _image(file, True)) is not None
        ):
            images[n], seen[n] = image, likeness(image)
    copper = [n for n, one in seen.items() if one.flashes >= FEWEST_FLASHES and one.landed >= LANDED]
    if not copper:
        return out
    lands = _lands([images[n] for n in copper])
    copper += [n for n in images if n not in copper and _is_plane(images[n], lands)]
    copper.sort(key=lambda n: _counting(files[n].member.base))
    for number, n in enumerate(copper, 1):
        side = "c" if number == 1 else "s" if number == len(copper) else None
        out[n] = _as(files[n], RoleKind.COPPER, side, number)
    for n in sorted(seen, key=lambda n: files[n].member.base):
        if n not in copper and _is_outline(seen[n], list(seen.values())):
            out[n] = _as(files[n], RoleKind.OUTLINE, None, None)
            break
    return out


def more_by_content(files: Sequence[PlannedFile]) -> list[PlannedFile]:
    """The files with roles for those Gerber files that nothing names, beside copper that is known: a missing outer side, inner copper, planes, drill data.

    Each such role is marked as read from content. Nothing is looked at where no file is unknown.
    """
    out = list(files)
    unknown = [n for n, f in enumerate(files) if f.format is Format.GERBER and _nameless(f.role)]
    known = [f for f in files if f.role.kind is RoleKind.COPPER]
    if not unknown or not known:
        return out
    drilled = any(f.role.kind is RoleKind.DRILL for f in files)
    images = {n: image for n in unknown if (image := _image(files[n])) is not None}
    if not drilled:
        for n, image in images.items():
            base = files[n].member.base
            if _DRILLED.search(base) and not _DRAWN.search(base) and _only_round(image):
                out[n] = replace(files[n], role=drill_role(base, ""))
    hopeful = [n for n, image in images.items() if out[n].role.kind is RoleKind.OTHER and _may_be_copper(image)]
    if not hopeful:
        return out
    outer = [image for f in known if f.role.side in ("c", "s") and (image := _image(f)) is not None]
    lands = _lands(outer)
    found = [n for n in hopeful if _on_lands(images[n], lands) or _is_plane(images[n], lands)]
    found.sort(key=lambda n: _counting(files[n].member.base))
    missing = [side for side in ("c", "s") if not any(f.role.side == side for f in known)]
    for number, n in enumerate(found, 1):
        side = None
        if "c" in missing and n == found[0]:
            side = "c"
        elif "s" in missing and n == found[-1]:
            side = "s"
        out[n] = _as(files[n], RoleKind.COPPER, side, None if side or len(found) == 1 else number)
    return out


def _lands(images: Sequence[GerberImage]) -> NDArray[np.float64]:
    """(n, 2) places of all flashes."""
    return np.concatenate([np.empty((0, 2)), *(one.at_mm[one.kind == FLASH] for one in images)])


def _nameless(role: LayerRole) -> bool:
    return role.kind is RoleKind.OTHER and role.source is Source.NONE


def _counting(base: str) -> list[tuple[int, str]]:
    """A name as a key that puts ``L2`` before ``L10``."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", base.lower())]


def _image(file: PlannedFile, hairlines: bool = False) -> GerberImage | None:
    try:
        return read_gerber(file.member.data, file.member.name, hairlines=hairlines)
    except Refusal:
        return None


def _only_round(image: GerberImage) -> bool:
    points = shapely.get_type_id(image.shapes.skeleton) == shapely.GeometryType.POINT
    drawn = (image.kind == DRAW) | (image.kind == ARC)
    return (
        bool(len(image.kind))
        and bool(np.all((image.kind == FLASH) & points | drawn))
        and bool(np.all(image.shapes.radius_mm > 0))
    )


def _may_be_copper(image: GerberImage) -> bool:
    """Whether it is worth reading the known copper for: tracks that end in flashes, or areas with clearances."""
    tracked = int(np.sum(image.kind == FLASH)) >= FEWEST_FLASHES and likeness(image).landed >= LANDED
    return tracked or _clearances(image) >= PLANE_CORNERS


def _clearances(image: GerberImage) -> int:
    """Corners of the dark areas and clear objects; 0 without a dark area."""
    areas = image.shapes.skeleton[(image.kind == REGION) & image.dark]
    return int(shapely.get_num_coordinates(areas).sum()) + int(np.sum(~image.dark)) if len(areas) else 0


def _on_lands(image: GerberImage, lands_mm: NDArray[np.float64]) -> bool:
    """Whether strokes end in the image's flashes and those lie on the known copper's lands."""
    spots = image.at_mm[(image.kind == FLASH) & image.dark]
    if len(spots) < FEWEST_FLASHES or likeness(image).landed < LANDED:
        return False
    if not len(lands_mm):
        return True
    hit, _ = shapely.STRtree(shapely.points(lands_mm)).query(shapely.points(spots), predicate="dwithin", distance=0.01)
    return len(np.unique(hit)) >= SHARED * len(spots)


def _is_plane(image: GerberImage, lands_mm: NDArray[np.float64]) -> bool:
    """Whether the image's areas fill a good part of the known lands' box and have clearances in them."""
    areas = image.shapes.skeleton[(image.kind == REGION) & image.dark]
    if not len(areas) or not len(lands_mm):
        return False
    wide, high = np.ptp(lands_mm, axis=0)
    return float(shapely.area(areas).sum()) >= PLANE_SHARE * float(wide * high) and _clearances(image) >= PLANE_CORNERS


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
