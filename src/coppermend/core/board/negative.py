"""Whether an inner layer that does not say its polarity is drawn as a negative plane: clearances round holes instead of copper.

Such a file holds a round clearance or a thermal at nearly every hole, little else, and nothing that leads a track to any of them. Taken as
copper it would join nothing and split every plane net, so it is judged by what it draws. The limits are ours, tried on synthetic planes.
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.spatial import cKDTree

from coppermend.core.board.joined import Holes
from coppermend.core.board.match import SAME_PLACE_MM
from coppermend.core.board.records import GerberImage
from coppermend.core.findings import Finding, Place, Severity

FEWEST = 8
"""Fewer clearances than this tell nothing."""

AT_HOLES = 0.85
"""At least this share of the flashes lies at holes."""

OF_HOLES = 0.3
"""At least this share of the holes has one: the others are joined to the plane without thermals."""

LED_AWAY = 0.05
"""At most this share of the flashes at holes is touched by a stroke or an area."""

FILLED = 0.3
"""At most this share of the layer's box is covered by strokes and areas."""


def states_polarity(image: GerberImage) -> bool:
    """Whether the file (or the user) says its polarity: X2 FilePolarity, or an X2 copper function, which is positive unless said."""
    return ".FilePolarity" in image.file_attributes or ".FileFunction" in image.file_attributes


def looks_negative(image: GerberImage, holes: Holes) -> bool:
    """Whether the image of an inner layer shows clearances of a plane. False where it states its polarity or there is too little to tell."""
    if states_polarity(image) or image.negative or image.at_mm is None or len(holes) < FEWEST or not image.dark.all():
        return False
    flash = image.kind == "flash"
    if int(flash.sum()) < FEWEST:
        return False
    middle = np.column_stack([(holes.x_mm + holes.x2_mm) / 2, (holes.y_mm + holes.y2_mm) / 2])
    apart, hole = cKDTree(middle).query(image.at_mm[flash])
    at_hole = apart <= SAME_PLACE_MM
    if float(np.mean(at_hole)) < AT_HOLES or len(np.unique(hole[at_hole])) < OF_HOLES * len(holes):
        return False
    rest = image.shapes.take(~flash)
    box = image.shapes.bounds_mm()
    whole = float(np.prod(np.nanmax(box[:, 2:], axis=0) - np.nanmin(box[:, :2], axis=0)))
    covered = float(np.sum(shapely.area(rest.skeleton) + 2 * rest.radius_mm * shapely.length(rest.skeleton)))
    if whole <= 0 or covered > FILLED * whole:
        return False
    lands = image.shapes.take(np.flatnonzero(flash)[at_hole])
    touched = np.unique(lands.near_pairs(other=rest)[:, 0]) if len(rest) else np.empty(0, np.int64)
    return len(touched) <= LED_AWAY * len(lands)


def negative_finding(name: str) -> Finding:
    """What the user is told about a plane taken as negative."""
    return Finding(
        "BRD-008",
        Severity.GUESS,
        Place(file=name),
        "The file does not say its polarity. It draws clearances at the holes and leads no track to any of them: it is taken as a negative plane.",
        'Say polarity = "positive" for this file in coppermend-corrections.toml if these are lands.',
    )
