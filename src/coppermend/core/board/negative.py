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
"""Fewer clearances, or fewer holes, than this tell nothing: the layer is taken as positive, and that is said."""

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


def says_negative(image: GerberImage) -> bool:
    """Whether a copper file is a negative image by its own word (IPNEG, X2 FilePolarity) or the user's, whatever its role was found by.

    Source: Ucamco, The Gerber Layer Format Specification, 5.6.4 (.FilePolarity stands by itself, beside .FileFunction), from memory.
    """
    polarity = image.file_attributes.get(".FilePolarity", ())
    return image.negative or (bool(polarity) and polarity[0].strip().lower() == "negative")


def looks_negative(image: GerberImage, holes: Holes) -> bool:
    """Whether the image of an inner layer shows clearances of a plane. False where it states its polarity or there is too little to tell."""
    return _enough(image, holes) and _draws_clearances(image, holes)


def too_few_to_tell(image: GerberImage, holes: Holes) -> bool:
    """Whether an inner layer draws what a negative plane would, and too little of it (``FEWEST``) to be taken for one."""
    return not _enough(image, holes) and _draws_clearances(image, holes)


def _enough(image: GerberImage, holes: Holes) -> bool:
    return min(len(holes), int((image.kind == "flash").sum())) >= FEWEST


def _draws_clearances(image: GerberImage, holes: Holes) -> bool:
    if states_polarity(image) or image.negative or image.at_mm is None or not len(holes) or not image.dark.all():
        return False
    flash = image.kind == "flash"
    if not flash.any():
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


def untold_finding(name: str) -> Finding:
    """What the user is told about a layer that might be a negative plane and draws too little to tell."""
    return Finding(
        "BRD-008",
        Severity.GUESS,
        Place(file=name),
        f"The file does not say its polarity. It draws lands or clearances at holes and leads no track to any of them; with fewer than {FEWEST} "
        "that tells nothing. It is taken as positive. Were it a negative plane, all that the plane joins would be missing.",
        'Say polarity = "negative" for this file in coppermend-corrections.toml if these are clearances, "positive" if they are lands.',
    )
