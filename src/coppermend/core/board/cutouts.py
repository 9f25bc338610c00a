"""Closed shapes in the board's outline that copper runs across: milled there, the copper is cut; only drawn there, it is whole.

Source of what a profile means: Ucamco, The Gerber Layer Format Specification, 5.6.3 (``.FileFunction`` Profile: the file holds the
board's outer and inner contours and nothing else), read from memory. What merely lies on an unnamed drawing layer is said, not cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.joined import Holes
from coppermend.core.board.stack import CopperSource
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.polarity import Pieces, box_pairs, cut, overlapping
from coppermend.core.geometry.shapes import ShapeSet

MOST_SAID = 12
"""More shapes than this are said in one finding. Our choice."""

OFF_RIM_MM = 0.05
"""A stroke whose middle lies this near to a closed shape's line belongs to it."""

_LOOK = "Look at the board: where it is milled through, write a [[cut]] along it in coppermend-corrections.toml for each layer."

NARROWEST_MM = 0.4
"""A shape narrower than this is no cut-out: no usual cutter makes it. Common practice, no source."""


def without_milled(
    outline: Sequence[NDArray[np.float64]], layers: Sequence[CopperSource], holes: Holes, profile: bool
) -> tuple[tuple[CopperSource, ...], list[Finding]]:
    """The layers without the copper that cut-outs of the outline take away, and a warning (BRD-009) for each shape that lies across copper.

    ``outline`` rings (m, 2) in mm, as ``board_rings`` gives them; ``profile``: the file states that it is the board's profile. Copper
    that keeps clear of a shape, as of a real cut-out, says nothing. A shape is milled when it lies in a profile, is wide enough for a
    cutter, and holds no hole and no copper of its own (a board in its panel's frame does).
    """
    inner = _inner(outline)
    crossed = _crossed(inner, layers) if inner else {}
    if not crossed:
        return tuple(layers), []
    milled = [k for k in crossed if profile and _open_to_a_cutter(inner[k], layers, holes)]
    said = [_said(inner[k], keys, k in milled) for k, keys in sorted(crossed.items())]
    if milled:
        cutters = ShapeSet.of([inner[k] for k in milled], [0.0] * len(milled))
        layers = [replace(layer, pieces=_cut(layer.pieces, cutters)) for layer in layers]
    if len(said) > MOST_SAID:
        place, words, remedy = said[0]
        many = f"{len(said)} closed shapes of the outline lie across copper ({len(milled)} of them cut it, in the others it is taken as whole)"
        said = [(place, f"{many}; the first: {words}", remedy)]
    return tuple(layers), [Finding("BRD-009", Severity.WARNING, *one) for one in said]


def loose_strokes(
    outline: Sequence[NDArray[np.float64]], strokes: ShapeSet, layers: Sequence[CopperSource]
) -> list[Finding]:
    """A warning (BRD-009) when strokes of the profile that close no shape lie across copper inside the board: slots drawn as one line, or mere drawing.

    ``strokes`` all strokes of the outline file. The copper is taken as whole.
    """
    if not outline or not len(strokes):
        return []
    rims = shapely.union_all([shapely.Polygon(ring).exterior for ring in outline])
    board = shapely.Polygon(outline[0])
    middle = shapely.line_interpolate_point(strokes.skeleton, 0.5, normalized=True)
    loose = strokes.take(
        shapely.contains_properly(board, strokes.skeleton) & (shapely.distance(middle, rims) > OFF_RIM_MM)
    )
    if not len(loose):
        return []
    crossed: list[str] = []
    first: NDArray[np.int64] = np.empty(0, np.int64)
    for layer in layers:
        shapes = layer.pieces.shapes
        i, j = box_pairs(loose.bounds_mm(), shapes.bounds_mm()) if len(shapes) else (first[:0], first[:0])
        hit = np.unique(i[overlapping(loose, shapes, i, j)]) if len(i) else i
        if len(hit):
            crossed.append(layer.key)
            first = np.union1d(first, hit)
    if not crossed:
        return []
    x, y = shapely.get_coordinates(shapely.line_interpolate_point(loose.skeleton[first[:1]], 0.5, normalized=True))[0]
    place = Place(thing="board outline", x_mm=float(x), y_mm=float(y), layer=crossed[0])
    words = (
        f"{len(first)} strokes of the outline that close no shape lie across copper (layer {', '.join(crossed)}). Slots drawn as a line would cut it; "
        "the copper is taken as whole."
    )
    return [Finding("BRD-009", Severity.WARNING, place, words, _LOOK)]


def _inner(outline: Sequence[NDArray[np.float64]]) -> list[shapely.Polygon]:
    if len(outline) < 2:
        return []
    areas = [shapely.Polygon(ring) for ring in outline]
    return [
        one for k, one in enumerate(areas) if any(big.contains_properly(one) for j, big in enumerate(areas) if j != k)
    ]


def _crossed(inner: Sequence[shapely.Polygon], layers: Sequence[CopperSource]) -> dict[int, list[str]]:
    """The shapes whose line lies on copper, each with the keys of the layers."""
    lines = np.array([one.exterior for one in inner], dtype=object)
    out: dict[int, list[str]] = {}
    for layer in layers:
        shapes = layer.pieces.shapes
        if not len(shapes):
            continue
        boxes = shapely.box(*shapes.bounds_mm().T)
        at, piece = shapely.STRtree(boxes).query(lines, predicate="intersects")
        hit = shapely.distance(lines[at], shapes.skeleton[piece]) < np.maximum(shapes.radius_mm[piece], 1e-6)
        for k in np.unique(at[hit]).tolist():
            out.setdefault(k, []).append(layer.key)
    return out


def _open_to_a_cutter(shape: shapely.Polygon, layers: Sequence[CopperSource], holes: Holes) -> bool:
    """Whether a shape is wide enough to be milled and nothing that belongs to a board lies wholly within it."""
    if shape.buffer(-NARROWEST_MM / 2).is_empty:
        return False
    if len(holes) and bool(np.any(holes.plated & shapely.contains_xy(shape, holes.x_mm, holes.y_mm))):
        return False
    for layer in layers:
        shapes = layer.pieces.shapes
        near = (
            np.flatnonzero(shapely.contains_properly(shape, shapes.skeleton)) if len(shapes) else np.empty(0, np.int64)
        )
        if len(near):
            away = shapely.distance(shape.exterior, shapes.skeleton[near])
            if np.any(away > shapes.radius_mm[near]):
                return False
    return True


def _cut(pieces: Pieces, cutters: ShapeSet) -> Pieces:
    left = (
        cut(pieces.shapes, cutters, *box_pairs(pieces.shapes.bounds_mm(), cutters.bounds_mm()))
        if len(pieces.shapes)
        else pieces
    )
    return Pieces(left.shapes, pieces.source[left.source]) if left is not pieces else pieces


def _said(shape: shapely.Polygon, keys: Sequence[str], milled: bool) -> tuple[Place, str, str]:
    """Place, words and remedy of the finding about one shape."""
    x0, y0, x1, y1 = shape.bounds
    place = Place(thing="board outline", x_mm=(x0 + x1) / 2, y_mm=(y0 + y1) / 2, layer=keys[0])
    where = f"A closed shape of the outline, {x0:.3f} to {x1:.3f} by {y0:.3f} to {y1:.3f} mm, lies across copper (layer {', '.join(keys)})."
    if milled:
        words = f"{where} The file is the board's profile: the shape is milled, and the copper within it is taken away."
        remedy = "Look at the board: where the shape is only drawn, take it out of the outline file."
    else:
        words = f"{where} Milled there, it would cut the copper; the copper is taken as whole."
        remedy = _LOOK
    return place, words, remedy
