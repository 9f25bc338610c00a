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
from coppermend.core.geometry.polarity import Pieces, as_polygons, box_pairs, cut, overlapping
from coppermend.core.geometry.shapes import ShapeSet

REACH_MM = 0.05
"""A middle line this little beyond the edge does not cross it (edges drawn on the copper, rounding)."""

DOUBTED = 0.1
"""With more than this share of the lands wholly beyond the edge, the edge is doubted and cuts nothing. Our choice."""

MARGIN_MM = 10.0


@dataclass(frozen=True, slots=True)
class _Beyond:
    """What of one layer lies beyond the edge: ``crossing`` tracks and areas, ``across`` lands of which a part lies outside, ``along`` tracks whose
    middle line keeps inside and whose rim does not, ``apart`` objects wholly outside, all as indices of pieces.
    """

    crossing: NDArray[np.int64]
    across: NDArray[np.int64]
    along: NDArray[np.int64]
    apart: NDArray[np.int64]
    lands: int
    lands_apart: int


def within_edge(
    outline: Sequence[NDArray[np.float64]], layers: Sequence[CopperSource], holes: Holes, profile: bool
) -> tuple[tuple[CopperSource, ...], list[Finding]]:
    """The layers without what lies beyond the board's edge, and findings (BRD-009) about copper that crosses it, reaches over it or lies outside.

    ``outline`` rings (m, 2) in mm; ``profile``: the file is stated or named to be the board's outline, else nothing is cut. Nothing is cut
    either where plated holes or many lands lie outside too: then the edge, not the copper, is doubted. Whole stay lands with a plated hole
    (halved holes at the edge) or with their middle outside, and tracks whose middle line keeps inside.
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
    believed = profile and not doubted
    open_ones = [_open_to_the_cut(layer, one.across, holes, near) for layer, one in zip(layers, found, strict=True)]
    across = [(layer, one.across) for layer, one in zip(layers, found, strict=True) if len(one.across)]
    if across:
        whole = sum(len(one.across) for one in found) - sum(len(one) for one in open_ones) * believed
        findings.append(_across_finding(across, board, whole, profile, doubted))
    along = [(layer, one.along) for layer, one in zip(layers, found, strict=True) if len(one.along)]
    findings += [_along_finding(along, board)] if along else []
    if believed:
        layers = [
            _cut(layer, np.union1d(one.crossing, lands), board)
            for layer, one, lands in zip(layers, found, open_ones, strict=True)
        ]
    return tuple(layers), findings


def _beyond(layer: CopperSource, board: Any, near: Any) -> _Beyond:
    shapes, source = layer.pieces.shapes, layer.pieces.source
    none = np.empty(0, np.int64)
    if not len(shapes):
        return _Beyond(none, none, none, none, 0, 0)
    shapely.prepare(near)
    filled = ~shapely.is_empty(shapes.skeleton)
    inside = shapely.covers(near, shapes.skeleton)
    out = np.flatnonzero(~inside & filled)
    away = ~shapely.dwithin(shapes.skeleton[out], board, shapes.radius_mm[out])
    flash = np.zeros(len(shapes), dtype=bool)
    drawn = source >= 0
    flash[drawn] = layer.image.kind[source[drawn]] == "flash"
    rim = board.boundary
    shapely.prepare(rim)
    reach = np.flatnonzero(inside & filled & (shapes.radius_mm > REACH_MM))
    reach = reach[shapely.dwithin(rim, shapes.skeleton[reach], shapes.radius_mm[reach] - REACH_MM)]
    along = reach[~flash[reach]]
    along = along[~shapely.covers(shapely.buffer(rim, REACH_MM), shapes.skeleton[along])]  # the edge itself, drawn
    across = np.union1d(out[~away & flash[out]], reach[flash[reach]])
    return _Beyond(out[~away & ~flash[out]], across, along, out[away], int(flash.sum()), int(flash[out[away]].sum()))


def _open_to_the_cut(layer: CopperSource, across: NDArray[np.int64], holes: Holes, near: Any) -> NDArray[np.int64]:
    """The lands that the edge may cut: their place lies on the board, and no plated hole goes through them."""
    if not len(across):
        return across
    pieces = layer.pieces
    if layer.image.at_mm is not None:
        at = layer.image.at_mm[pieces.source[across]]
    else:
        box = pieces.shapes.take(across).bounds_mm()
        at = (box[:, :2] + box[:, 2:]) / 2
    across = across[shapely.intersects_xy(near, at[:, 0], at[:, 1])]
    drills = holes.take(np.flatnonzero(holes.plated)).shapes()
    lands = pieces.shapes.take(across)
    i, j = box_pairs(lands.bounds_mm(), drills.bounds_mm())
    drilled = i[overlapping(lands, drills, i, j)] if len(i) else i
    return np.delete(across, np.unique(drilled))


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


def _across_finding(
    across: Sequence[tuple[CopperSource, NDArray[np.int64]]], board: Any, whole: int, profile: bool, doubted: bool
) -> Finding:
    """Lands over the edge; ``whole`` of them are left as they are."""
    count, keys = sum(len(one) for _, one in across), ", ".join(one.key for one, _ in across)
    words = f"{count} lands reach over the board's edge (layer {keys}). "
    if whole < count:
        words += "The file is the board's profile: the copper beyond the edge is taken away. "
    if whole and profile and not doubted:
        words += f"{whole} of them, with a plated hole or with their middle outside, are taken as whole."
    elif whole:
        why = "The edge is in doubt" if doubted else "The file is not stated to be the board's profile"
        words += f"{why}: they are taken as whole."
    remedy = "Look at the board: lands halved at the edge are made so; else mend the outline file."
    return Finding("BRD-009", Severity.WARNING, _beyond_place(across[0], board), words.strip(), remedy)


def _along_finding(along: Sequence[tuple[CopperSource, NDArray[np.int64]]], board: Any) -> Finding:
    count, keys = sum(len(one) for _, one in along), ", ".join(one.key for one, _ in along)
    words = (
        f"{count} tracks run so near to the board's edge that a part of their width lies beyond it (layer {keys}). They are taken as whole: "
        "their resistance is stated too low."
    )
    remedy = "Look at the board along that edge: a track may be cut there."
    return Finding("BRD-009", Severity.WARNING, _beyond_place(along[0], board), words, remedy)


def _beyond_place(where: tuple[CopperSource, NDArray[np.int64]], board: Any) -> Place:
    """A place of the first object on its layer that lies beyond the edge."""
    layer, which = where
    beyond = shapely.difference(as_polygons(layer.pieces.shapes.take(which[:1]))[0], board)
    x, y = shapely.get_coordinates(shapely.point_on_surface(beyond))[0].tolist()
    return Place(thing="board outline", x_mm=x, y_mm=y, layer=layer.key)


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
