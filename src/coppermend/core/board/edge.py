"""Copper that crosses the board's own edge: cut there where the edge is stated and believed, said in every case.

Source of what a profile means: Ucamco, The Gerber Layer Format Specification, 5.6.3 (``.FileFunction`` Profile), read from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.joined import Holes
from coppermend.core.board.stack import CopperSource
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.polarity import Pieces, cut
from coppermend.core.geometry.shapes import ShapeSet

REACH_MM = 0.05
"""A middle line this little beyond the edge does not cross it (edges drawn on the copper, rounding)."""

DOUBTED = 0.1
"""With more than this share of the lands wholly beyond the edge, the edge is doubted and cuts nothing. Our choice."""

MARGIN_MM = 10.0


@dataclass(frozen=True, slots=True)
class _Beyond:
    """What of one layer lies beyond the edge: ``crossing`` tracks and areas, ``apart`` objects wholly outside, all as indices of pieces."""

    crossing: NDArray[np.int64]
    apart: NDArray[np.int64]
    lands: int
    lands_apart: int


def within_edge(
    outline: Sequence[NDArray[np.float64]], layers: Sequence[CopperSource], holes: Holes, profile: bool
) -> tuple[tuple[CopperSource, ...], list[Finding]]:
    """The layers without what tracks and areas draw beyond the board's edge, and findings (BRD-009) about copper that crosses it or lies outside.

    ``outline`` rings (m, 2) in mm; ``profile``: the file is stated or named to be the board's outline, else nothing is cut. Nothing is cut
    either where plated holes or many lands lie outside too: then the edge, not the copper, is doubted. Lands across the edge stay whole.
    """
    if not outline:
        return tuple(layers), []
    board = shapely.union_all(shapely.make_valid(np.array([shapely.Polygon(ring) for ring in outline], dtype=object)))
    near = shapely.buffer(board, REACH_MM)
    found = [_beyond(layer, board, near) for layer in layers]
    doubted = _doubted(found, holes, near)
    crossed = [(layer, one.crossing) for layer, one in zip(layers, found, strict=True) if len(one.crossing)]
    findings = [_crossing_finding(crossed, board, profile, doubted)] if crossed else []
    apart = [(layer, one.apart) for layer, one in zip(layers, found, strict=True) if len(one.apart)]
    findings += [_apart_finding(apart, doubted)] if apart else []
    if profile and not doubted:
        layers = [_cut(layer, one.crossing, board) for layer, one in zip(layers, found, strict=True)]
    return tuple(layers), findings


def _beyond(layer: CopperSource, board: Any, near: Any) -> _Beyond:
    shapes, source = layer.pieces.shapes, layer.pieces.source
    none = np.empty(0, np.int64)
    if not len(shapes):
        return _Beyond(none, none, 0, 0)
    shapely.prepare(near)
    out = np.flatnonzero(~shapely.covers(near, shapes.skeleton) & ~shapely.is_empty(shapes.skeleton))
    away = ~shapely.dwithin(shapes.skeleton[out], board, shapes.radius_mm[out])
    flash = np.zeros(len(shapes), dtype=bool)
    drawn = source >= 0
    flash[drawn] = layer.image.kind[source[drawn]] == "flash"
    return _Beyond(out[~away & ~flash[out]], out[away], int(flash.sum()), int(flash[out[away]].sum()))


def _doubted(found: Sequence[_Beyond], holes: Holes, near: Any) -> bool:
    if len(holes) and bool(np.any(holes.plated & ~shapely.intersects_xy(near, holes.x_mm, holes.y_mm))):
        return True
    return sum(one.lands_apart for one in found) > DOUBTED * sum(one.lands for one in found)


def _cut(layer: CopperSource, crossing: NDArray[np.int64], board: Any) -> CopperSource:
    if not len(crossing):
        return layer
    pieces = layer.pieces
    box = pieces.shapes.take(crossing).bounds_mm()
    x0, y0 = np.nanmin(box[:, :2], axis=0) - MARGIN_MM
    x1, y1 = np.nanmax(box[:, 2:], axis=0) + MARGIN_MM
    outside = ShapeSet.of([shapely.difference(shapely.box(x0, y0, x1, y1), board)], [0.0])
    left = cut(pieces.shapes, outside, crossing, np.zeros(len(crossing), np.int64))
    return replace(layer, pieces=Pieces(left.shapes, pieces.source[left.source]))


def _crossing_finding(
    crossed: Sequence[tuple[CopperSource, NDArray[np.int64]]], board: Any, profile: bool, doubted: bool
) -> Finding:
    layer, which = crossed[0]
    beyond = shapely.difference(layer.pieces.shapes.skeleton[which[0]], board)
    x, y = shapely.get_coordinates(shapely.point_on_surface(beyond))[0].tolist()
    place = Place(thing="board outline", x_mm=x, y_mm=y, layer=layer.key)
    count, keys = sum(len(one) for _, one in crossed), ", ".join(one.key for one, _ in crossed)
    words = f"Copper crosses the board's edge in {count} tracks or areas (layer {keys}). "
    if profile and not doubted:
        words += "The file is the board's profile: the copper beyond the edge is taken away."
        remedy = "Look at the board: where its edge does not run there, mend the outline file."
    elif doubted:
        words += "Plated holes or lands lie outside too, so the edge is in doubt: it cuts nothing, and the copper is taken as whole."
        remedy = "Look at the board; mend the outline file where the edge is wrong, else write a [[cut]] in coppermend-corrections.toml."
    else:
        words += "Routed there, the copper would be cut; the file is not stated to be the board's profile, and the copper is taken as whole."
        remedy = 'Say role = "outline" for the file in coppermend-corrections.toml if it is the board\'s profile.'
    return Finding("BRD-009", Severity.WARNING, place, words, remedy)


def _apart_finding(apart: Sequence[tuple[CopperSource, NDArray[np.int64]]], doubted: bool) -> Finding:
    layer, which = apart[0]
    box = layer.pieces.shapes.take(which[:1]).bounds_mm()[0]
    place = Place(
        thing="board outline",
        x_mm=float(box[0] + box[2]) / 2,
        y_mm=float(box[1] + box[3]) / 2,
        layer=layer.key,
    )
    count, keys = sum(len(one) for _, one in apart), ", ".join(one.key for one, _ in apart)
    words = f"{count} pieces of copper lie wholly outside the board's edge (layer {keys}); they stay on the map."
    remedy = (
        "Text and marks of the panel lie there as a rule; where they belong to the board, the outline file is wrong."
    )
    return Finding("BRD-009", Severity.WARNING if doubted else Severity.NOTE, place, words, remedy)
