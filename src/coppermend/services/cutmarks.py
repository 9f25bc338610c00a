"""Where a noted cut is drawn: a short stroke across its track, on the side that the knife was on."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from math import hypot

from coppermend.core.copper.model import Site, SiteKind
from coppermend.core.copper.worked import CUT_NEAR_MM
from coppermend.core.log.state import Cut

BEYOND_MM = 0.6
"""The stroke reaches this far beyond the track on both sides, so that it is seen."""

Spot = tuple[float, float]


def cut_stroke(sites: Iterable[Site], cut: Cut) -> tuple[Spot, Spot]:
    """The two ends (mm) of the stroke across the track that was cut; level where no track is found there.

    >>> across((0.0, 0.0), (10.0, 0.0), (4.0, 0.1), 0.3)
    ((4.0, 0.85), (4.0, -0.65))
    """
    best: tuple[float, Spot, Spot, float] | None = None
    for site in sites:
        if site.kind is SiteKind.RUN and site.layer == cut.side:
            for a, b in pairwise(site.path):
                far = _apart((cut.x_mm, cut.y_mm), a, b)
                if far <= CUT_NEAR_MM and (best is None or far < best[0]):
                    best = far, a, b, site.width_mm or 0.0
    here = (cut.x_mm, cut.y_mm)
    if best is None:
        return across((0.0, 0.0), (0.0, 1.0), here, 0.0)
    return across(best[1], best[2], here, best[3])


def across(a: Spot, b: Spot, at: Spot, width_mm: float) -> tuple[Spot, Spot]:
    """A stroke through ``at``, square to the line from ``a`` to ``b``, as long as a track of that width asks for; mm."""
    long = hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    reach = width_mm / 2 + BEYOND_MM
    dx, dy = -(b[1] - a[1]) / long * reach, (b[0] - a[0]) / long * reach
    return (round(at[0] + dx, 6), round(at[1] + dy, 6)), (round(at[0] - dx, 6), round(at[1] - dy, 6))


def _apart(p: Spot, a: Spot, b: Spot) -> float:
    """Distance of a place from a stretch, mm."""
    long = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2
    t = (
        0.0
        if long == 0.0
        else max(0.0, min(1.0, ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / long))
    )
    return hypot(p[0] - a[0] - t * (b[0] - a[0]), p[1] - a[1] - t * (b[1] - a[1]))
