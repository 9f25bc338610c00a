"""Tracks cut at the factory, as the corrections file says: clear strokes drawn over a layer last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

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


def cuts_nowhere(cuts: Sequence[Cut], keys: Sequence[str]) -> list[Finding]:
    """A finding for each cut on a layer that the board does not have."""
    return [
        Finding(
            "BRD-035",
            Severity.WARNING,
            Place(file="coppermend-corrections.toml", x_mm=cut.x_mm, y_mm=cut.y_mm, layer=cut.layer),
            f"The corrections cut copper on layer {cut.layer}; the board has {', '.join(keys)}. The cut is not applied.",
            "Give one of the board's layers.",
        )
        for cut in cuts
        if cut.layer not in keys
    ]
