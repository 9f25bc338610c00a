"""Tracks cut at the factory, as the corrections file says: clear strokes drawn over a layer last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board
from coppermend.core.board.records import GerberImage, ObjectAttributes
from coppermend.core.board.sources import Cut
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.shapes import ShapeSet


def with_cuts(image: GerberImage, cuts: Sequence[Cut]) -> GerberImage:
    """The image with the cuts drawn last: clear on a positive image, dark on a negative one (what it draws is missing copper)."""
    if not cuts:
        return image
    count = len(cuts)
    lines = np.empty(count, dtype=object)
    lines[:] = [
        shapely.Point(c.x_mm, c.y_mm)
        if (c.x_mm, c.y_mm) == (c.x2_mm, c.y2_mm)
        else shapely.LineString([(c.x_mm, c.y_mm), (c.x2_mm, c.y2_mm)])
        for c in cuts
    ]
    kind = np.empty(count, dtype=object)
    kind[:] = "draw"
    begin = np.array([(c.x_mm, c.y_mm) for c in cuts])
    return replace(
        image,
        kind=np.concatenate([image.kind, kind]),
        dark=np.concatenate([image.dark, np.full(count, image.negative)]),
        shapes=ShapeSet(
            np.concatenate([image.shapes.skeleton, lines]),
            np.concatenate([image.shapes.radius_mm, np.array([c.width_mm / 2 for c in cuts])]),
        ),
        attribute=np.concatenate([image.attribute, np.full(count, len(image.attributes), np.int32)]),
        attributes=(*image.attributes, ObjectAttributes()),
        at_mm=None if image.at_mm is None else np.concatenate([image.at_mm, begin]),
    )


FILE = "coppermend-corrections.toml"


def cut_findings(cuts: Sequence[Cut], uncut: Mapping[str, ShapeSet], keys: Sequence[str]) -> list[Finding]:
    """What each cut did: copper cut (COR-010), or nothing (BRD-035: a layer that the board does not have, or no copper there).

    ``uncut``: copper by layer key as it was before the cuts, for every layer that has any. A cut that takes copper away and leaves it in
    one piece (a spot narrower than its track) is said to part nothing.
    """
    out = []
    for cut in cuts:
        place = Place(file=FILE, thing=f"layer {cut.layer}", x_mm=cut.x_mm, y_mm=cut.y_mm, layer=cut.layer)
        others = [one for one in cuts if one.layer == cut.layer and one != cut]
        if cut.layer not in keys:
            words = f"The corrections cut copper on layer {cut.layer}; the board has {', '.join(keys)}. The cut is not applied."
            out.append(Finding("BRD-035", Severity.WARNING, place, words, "Give one of the board's layers."))
            continue
        parted = _parted(cut, others, uncut[cut.layer])
        if parted is None:
            words = f"The corrections cut copper {_where(cut)} on layer {cut.layer}, but no copper lies there. Nothing was cut."
            remedy = "Give a place on copper, in the coordinates of the copper files, and its layer."
            out.append(Finding("BRD-035", Severity.WARNING, place, words, remedy))
        elif parted:
            out.append(Finding("COR-010", Severity.NOTE, place, f"Corrected by the user: copper is cut {_where(cut)}."))
        else:
            words = f"The cut of the corrections {_where(cut)} on layer {cut.layer} takes copper away but parts none: copper is left beside it."
            remedy = "Make it wider (width_mm) or longer (from_mm, to_mm) where it is to part a track."
            out.append(Finding("BRD-035", Severity.WARNING, place, words, remedy))
    return out


def cut_shape(cut: Cut) -> shapely.Geometry:
    """The area of a cut in mm."""
    return shapely.LineString([(cut.x_mm, cut.y_mm), (cut.x2_mm, cut.y2_mm)]).buffer(cut.width_mm / 2)


def _where(cut: Cut) -> str:
    width = f"({cut.width_mm:g} mm wide)"
    if (cut.x_mm, cut.y_mm) == (cut.x2_mm, cut.y2_mm):
        return f"at {cut.x_mm:g}, {cut.y_mm:g} mm {width}"
    return f"from {cut.x_mm:g}, {cut.y_mm:g} to {cut.x2_mm:g}, {cut.y2_mm:g} mm {width}"


def _parted(cut: Cut, others: Sequence[Cut], shapes: ShapeSet) -> bool | None:
    """Whether a cut leaves the copper that it meets in more pieces, or takes a piece away whole; None where it meets none.

    The copper that the other cuts leave is looked at, so that two cuts that part a track together both part it.
    """
    area = cut_shape(cut)
    if not len(shapes):
        return None
    met = shapely.intersects(shapes.skeleton, area.buffer(float(shapes.radius_mm.max())))
    copper = shapely.union_all(_areas(shapes.take(met)))
    if not copper.intersection(area).area > 0:
        return None
    before = copper.difference(shapely.union_all([cut_shape(one) for one in others]))
    return bool(_pieces(before) != _pieces(before.difference(area)))


def _areas(shapes: ShapeSet) -> NDArray[np.object_]:
    out = shapes.skeleton.copy()
    drawn = shapes.radius_mm > 0
    out[drawn] = shapely.buffer(out[drawn], shapes.radius_mm[drawn])
    return out


def _pieces(copper: shapely.Geometry) -> int:
    return len(shapely.get_parts(copper)) if not copper.is_empty else 0


_KEY = "cut "


def kept_cuts(cuts: Sequence[Cut]) -> dict[str, str]:
    """What a board keeps (``Board.extra``) of its cuts; ``factory_cuts`` reads it."""
    rows = [(c.layer, c.x_mm, c.y_mm, c.x2_mm, c.y2_mm, c.width_mm) for c in cuts]
    return {f"{_KEY}{k}": f"{layer} " + " ".join(map(repr, numbers)) for k, (layer, *numbers) in enumerate(rows, 1)}


def factory_cuts(board: Board) -> tuple[Cut, ...]:
    """The cuts of the corrections that the board was built with."""
    rows = [words.split() for key, words in board.extra.items() if key.startswith(_KEY)]
    return tuple(Cut(row[0], *(float(number) for number in row[1:])) for row in rows)
