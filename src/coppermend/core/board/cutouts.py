"""Closed shapes in the board's outline that copper runs across: milled there, the copper is cut; only drawn there, it is whole."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.stack import CopperSource
from coppermend.core.findings import Finding, Place, Severity

MOST_SAID = 12
"""More shapes than this are said in one finding. Our choice."""


def cutout_findings(outline: Sequence[NDArray[np.float64]], layers: Sequence[CopperSource]) -> list[Finding]:
    """A warning for each closed shape inside the board's edge whose line lies on copper: the copper is taken as whole across it.

    ``outline`` rings (m, 2) in mm, as ``board_rings`` gives them. Copper that keeps clear of a shape, as of a real cut-out, says nothing.
    """
    if len(outline) < 2:
        return []
    areas = [shapely.Polygon(ring) for ring in outline]
    inner = [
        one for k, one in enumerate(areas) if any(big.contains_properly(one) for j, big in enumerate(areas) if j != k)
    ]
    lines = np.array([one.exterior for one in inner], dtype=object)
    crossed: dict[int, list[str]] = {}
    for layer in layers if inner else ():
        shapes = layer.pieces.shapes
        if not len(shapes):
            continue
        boxes = shapely.box(*shapes.bounds_mm().T)
        at, piece = shapely.STRtree(boxes).query(lines, predicate="intersects")
        hit = shapely.distance(lines[at], shapes.skeleton[piece]) < np.maximum(shapes.radius_mm[piece], 1e-6)
        for k in np.unique(at[hit]).tolist():
            crossed.setdefault(k, []).append(layer.key)
    out = [_finding(inner[k], keys) for k, keys in sorted(crossed.items())]
    if len(out) <= MOST_SAID:
        return out
    words = f"{len(out)} closed shapes of the outline lie across copper, which is taken as whole there; the first: {out[0].words}"
    return [Finding("BRD-009", Severity.WARNING, out[0].place, words, out[0].remedy)]


def _finding(shape: shapely.Polygon, keys: Sequence[str]) -> Finding:
    x0, y0, x1, y1 = shape.bounds
    place = Place(thing="board outline", x_mm=(x0 + x1) / 2, y_mm=(y0 + y1) / 2, layer=keys[0])
    return Finding(
        "BRD-009",
        Severity.WARNING,
        place,
        f"A closed shape of the outline, {x0:.3f} to {x1:.3f} by {y0:.3f} to {y1:.3f} mm, lies across copper (layer {', '.join(keys)}). "
        "Milled there, it would cut the copper; the copper is taken as whole.",
        "Look at the board: where the shape is milled through, write a [[cut]] along it in coppermend-corrections.toml for each layer.",
    )
