"""Ways through the copper that services ask for."""

from __future__ import annotations

from collections import deque

import numpy as np
import shapely

from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.services.evidence import Pieces


def tracks_between(graph: CopperGraph, a: ProbePoint, b: ProbePoint) -> tuple[Site, ...]:
    """The track runs that alone join two points: those on the way whose removal parts them. In order from a to b; empty when there are two ways."""
    return tuple(
        site
        for site in way_between(graph, a.node, b.node)
        if site.kind is SiteKind.RUN and Pieces(graph, (site.id,)).apart(a, b)
    )


def way_between(graph: CopperGraph, start: int, end: int) -> tuple[Site, ...]:
    """The sites of the way with the fewest sites between two nodes; empty when there is none. Parts that are rung through are no copper."""
    ways: dict[int, list[Site]] = {}
    for site in graph.sites:
        if site.kind is not SiteKind.THROUGH:
            ways.setdefault(site.a, []).append(site)
            ways.setdefault(site.b, []).append(site)
    came: dict[int, Site | None] = {start: None}
    queue = deque([start])
    while queue and end not in came:
        node = queue.popleft()
        for site in ways.get(node, ()):
            other = site.b if site.a == node else site.a
            if other not in came:
                came[other] = site
                queue.append(other)
    return _back(came, end)


def _back(came: dict[int, Site | None], end: int) -> tuple[Site, ...]:
    way: list[Site] = []
    node = end
    while (site := came.get(node)) is not None:
        way.append(site)
        node = site.b if site.a == node else site.a
    return tuple(reversed(way))


def nearest_run(graph: CopperGraph, x_mm: float, y_mm: float, layer: str, within_mm: float) -> Site | None:
    """The track run whose centre line passes nearest to a place on a layer, None when none does within ``within_mm``."""
    runs = [site for site in graph.sites if site.kind is SiteKind.RUN and site.layer == layer and len(site.path) > 1]
    if not runs:
        return None
    lines = np.array([shapely.LineString(site.path) for site in runs], dtype=object)
    apart = shapely.distance(lines, shapely.Point(x_mm, y_mm))
    best = int(apart.argmin())
    return runs[best] if apart[best] <= within_mm else None
