"""Layers that old statements (IJ, IO) moved on their films: as moved or as their coordinates stand, whichever brings their lands onto the holes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from coppermend.core.board.drillfit import GOOD_SHARE, hits, lands_of
from coppermend.core.board.match import share_on_target
from coppermend.core.board.records import DrillImage, GerberImage, LayerRole
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.shapes import ShapeSet

CLEARLY = 0.1
"""The placing with so much more of the holes on lands is taken."""


def off_film(image: GerberImage) -> GerberImage:
    """The image where its coordinates put it, without what IJ and IO moved."""
    if image.film_mm == (0.0, 0.0):
        return image
    shift = np.array(image.film_mm)
    shapes = ShapeSet(shapely.transform(image.shapes.skeleton, lambda xy: xy - shift), image.shapes.radius_mm)
    at = None if image.at_mm is None else image.at_mm - shift
    return replace(image, shapes=shapes, at_mm=at, film_mm=(0.0, 0.0))


def fit_of_films(images: Sequence[GerberImage], roles: Mapping[str, LayerRole], drills: Sequence[DrillImage]) -> float:
    """Mean share of the holes on the lands of each outer layer; without holes, the share of one outer layer's lands on the other's."""
    outer = [one for one in images if roles[one.name].kind == "copper" and roles[one.name].side in ("c", "s")]
    lands = [lands_of([one]).places for one in outer]
    holes = np.concatenate([np.empty((0, 2)), *(hits(one) for one in drills)])
    if not len(holes):
        return _share(lands[0], lands[1]) if len(lands) == 2 else 0.0
    return float(np.mean([_share(holes, one) for one in lands])) if lands else 0.0


def _share(places: NDArray[np.float64], target: NDArray[np.float64]) -> float:
    return share_on_target(places, cKDTree(target), 0.06) if len(places) and len(target) else 0.0


def film_findings(images: Sequence[GerberImage], moved: float, standing: float) -> list[Finding]:
    """What is said of layers with IJ or IO; ``moved``, ``standing``: the fit of both placings. The first moved file is the place."""
    told = [one for one in images if one.film_mm != (0.0, 0.0)]
    x, y = told[0].film_mm
    what = f"Old statements (IJ, IO) move {len(told)} images on their films, this one by {x:.3f}, {y:.3f} mm. "
    if standing > moved + CLEARLY:
        what += f"So laid {moved:.0%} of the holes lie on lands, {standing:.0%} as the coordinates stand: they are not moved."
    else:
        what += "They were moved so."
    sure = max(moved, standing) >= GOOD_SHARE
    more = "" if sure else " Nothing else in the package tells whether its files lie over each other then."
    severity = Severity.NOTE if sure else Severity.WARNING
    remedy = "Look on the map whether the layers' lands lie on the holes; export them again if they do not."
    return [Finding("GBR-033", severity, Place(file=told[0].name), what + more, "" if sure else remedy)]
