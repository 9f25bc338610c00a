"""Cutting a track on purpose, to free a stretch that touches another net: where to cut, so that a wire can go round."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.findings import Place, refuse

BESIDE_MM = 1.0
"""A cut keeps at least this far from the place that it frees, and three track widths. Common practice, no source."""
NEAR_TRACK_MM = 1.0
"""A named place belongs to the track this near to it."""
MOVED_MM = 0.3
"""A single cut that lies farther than this from the named place is said to be moved. Our choice."""
TOUCHES_MM = 0.05
"""A track whose copper comes this near to the named place meets the track there. Our choice."""
BLADE = "away from your hand, the board held down, eye protection on. Read open across the cut before the wire goes on."


@dataclass(frozen=True, slots=True)
class CutPlace:
    """One cut: its place in mm, ``side`` c or s, the track's ``width_mm``, the ``site`` it parts, and the place in words."""

    x_mm: float
    y_mm: float
    side: str
    width_mm: float
    site: str
    words: str

    def as_dict(self) -> dict[str, object]:
        """The cut as plain JSON values."""
        return {
            "x_mm": round(self.x_mm, 3),
            "y_mm": round(self.y_mm, 3),
            "side": self.side,
            "width_mm": round(self.width_mm, 3),
            "site": self.site,
            "words": self.words,
        }


def cut_words(cuts: Sequence[CutPlace]) -> str:
    """How the listed cuts are made; "" for none.

    >>> one = CutPlace(1, 0, "s", 0.3, "run@s:0,0>20,0", "")
    >>> cut_words([one])[:25], cut_words([one, one])[:25]
    ('One cut across the track ', 'Two cuts across the track')
    """
    if not cuts:
        return ""
    pairs = {one.site for one in cuts if sum(other.site == one.site for other in cuts) > 1}
    single = len({one.site for one in cuts} - pairs)
    how = "with a sharp blade"
    if not single:
        return f"Two cuts across the track {how}, the copper between them lifted off; {BLADE}"
    if not pairs:
        return f"One cut across {'the track' if single == 1 else 'each track'} {how}, wide enough to see through with a lens; {BLADE}"
    return f"Cuts across the tracks {how}; where two are listed on one track, the copper between them is lifted off; {BLADE}"


def place_words(graph: CopperGraph, site: Site, at: tuple[float, float], cuts: Sequence[CutPlace]) -> tuple[str, ...]:
    """What the named place ``at`` (mm) does not get: a single cut that had to be moved along its track, other arms of a junction that stay joined."""
    on_track = _cut(site, _nearest(site, *at)[1])
    said = []
    far = hypot(cuts[0].x_mm - at[0], cuts[0].y_mm - at[1])
    if len(cuts) == 1 and far > MOVED_MM:
        said.append(
            f"The cut is moved {far:.1f} mm from {at[0]:g}, {at[1]:g} mm, to {cuts[0].x_mm:.1f}, {cuts[0].y_mm:.1f} mm: the track ends there, "
            "and only one cut finds room on it."
        )
    arms = sum(
        1
        for one in graph.sites
        if one.kind is SiteKind.RUN and one.net == site.net and one.layer == site.layer and one.id != site.id
        and len(one.path) >= 2
        and min(_nearest(one, *at)[0], _nearest(one, on_track.x_mm, on_track.y_mm)[0]) <= one.width_mm / 2 + TOUCHES_MM
    )  # fmt: skip
    if arms:
        others = "1 other track" if arms == 1 else f"{arms} other tracks"
        said.append(
            f"At {at[0]:g}, {at[1]:g} mm {others} of the net meet{'s' if arms == 1 else ''} this one: only one arm is cut, {site.words or site.id}. "
            "Name a place on each arm that is to be cut."
        )
    return tuple(said)


def track_at(graph: CopperGraph, x_mm: float, y_mm: float, side: str) -> Site:
    """The track run on an outer layer that lies at a place. Refusal WIR-011 where none does."""
    best: tuple[float, Site] | None = None
    for site in graph.sites:
        if site.kind is SiteKind.RUN and site.layer == side and len(site.path) >= 2:
            far, _ = _nearest(site, x_mm, y_mm)
            if far <= NEAR_TRACK_MM + site.width_mm / 2 and (best is None or far < best[0]):
                best = (far, site)
    if best is None:
        raise refuse(
            "WIR-011",
            f"No track lies within {NEAR_TRACK_MM:g} mm of {x_mm:g}, {y_mm:g} mm on side {side}.",
            "Give the place as X,Y/c or X,Y/s in mm as the map shows it, or a run's site id from 'coppermend board graph'.",
            Place(x_mm=x_mm, y_mm=y_mm, layer=side),
        )
    return best[1]


def cut_places(site: Site, at: tuple[float, float] | None = None) -> tuple[CutPlace, ...]:
    """Where to cut a track: on both sides of the place ``at`` (mm), or once in its middle. A run on an inner layer is refused (WIR-012).

    >>> run = Site("run@s:0,0>20,0", SiteKind.RUN, 0, 0, 1, "s", ((0, 0), (20, 0)), (0.3,), 20, 0.3, 0.03)
    >>> [(one.x_mm, one.y_mm) for one in cut_places(run, (8.0, 0.1))]
    [(7.0, 0.0), (9.0, 0.0)]
    """
    if site.kind is not SiteKind.RUN or site.layer not in ("c", "s"):
        raise refuse(
            "WIR-012",
            f"{site.words or site.id} cannot be cut from outside.",
            "Name a track on the component or the solder side; inside the board only a drill of the via or hole parts it.",
            Place(thing=site.id),
        )
    length = sum(hypot(q[0] - p[0], q[1] - p[1]) for p, q in itertools.pairwise(site.path))
    if at is None:
        return (_cut(site, length / 2),)
    _, along = _nearest(site, *at)
    away = max(BESIDE_MM, 3.0 * site.width_mm)
    spots = [s for s in (along - away, along + away) if 0.3 <= s <= length - 0.3]
    return tuple(_cut(site, s) for s in spots) or (_cut(site, length / 2),)


def _cut(site: Site, along: float) -> CutPlace:
    """A cut at a length along the run."""
    left = along
    for p, q in itertools.pairwise(site.path):
        step = hypot(q[0] - p[0], q[1] - p[1])
        if left <= step + 1e-9 and step > 0:
            t = min(left / step, 1.0)
            x, y = p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])
            break
        left -= step
    else:
        x, y = site.path[-1]
    return CutPlace(x, y, site.layer, site.width_mm, site.id, f"at {x:.1f}, {y:.1f} mm: {site.words or site.id}")


def _nearest(site: Site, x_mm: float, y_mm: float) -> tuple[float, float]:
    """How far a place lies from a run's middle line, and the length along the run of the nearest point, mm."""
    best, walked = (float("inf"), 0.0), 0.0
    for p, q in itertools.pairwise(site.path):
        dx, dy = q[0] - p[0], q[1] - p[1]
        step = hypot(dx, dy)
        t = 0.0 if step == 0 else min(max(((x_mm - p[0]) * dx + (y_mm - p[1]) * dy) / step**2, 0.0), 1.0)
        best = min(best, (hypot(x_mm - p[0] - t * dx, y_mm - p[1] - t * dy), walked + t * step))
        walked += step
    return best
