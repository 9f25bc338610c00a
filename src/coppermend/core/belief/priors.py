"""How likely a site is broken before anything was read: by its kind, its width and whether a work area touches it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.belief.model import Basis, WorkArea
from coppermend.core.copper.mapfix import MAP_SITE
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.copper.unknown import LARGE_NET_PINS, has_unknown


def prior(site: Site, areas: Sequence[WorkArea], basis: Basis) -> float:
    """Prior probability that one site is broken; inside = any part of its path lies in a work area's polygon.

    A patch wire has the wire's prior wherever it lies. A site without a path counts as outside.

    >>> from coppermend.core.copper.model import Site, SiteKind
    >>> run = Site("run@c:0,0>9,0", SiteKind.RUN, 0, 0, 1, "c", ((0, 0), (9, 0)), (0.5,), 9, 0.5, 0.01)
    >>> square = WorkArea("a", ((8, -1), (12, -1), (12, 1), (8, 1)), "rework", 2)
    >>> prior(run, (square,), Basis()), prior(run, (), Basis())
    (0.02, 0.0005)
    """
    inside = [area for area in areas if _touches(site, area) and not area.lowers]
    return site_prior(site, max((severity_factor(area, basis) for area in inside), default=0.0), basis)


def site_prior(site: Site, factor: float, basis: Basis) -> float:
    """Prior of a site inside an area of severity factor ``factor`` (0 = outside every area)."""
    if site.kind is SiteKind.WIRE:
        return basis.prior_out if site.id.startswith(MAP_SITE) else basis.prior_in["wire"]
    if factor <= 0.0:
        return basis.prior_out
    kind = str(site.kind)
    if site.kind is SiteKind.UNKNOWN:
        kind = "run"
    if site.kind is SiteKind.RUN and site.width_mm <= basis.narrow_mm + 1e-9:
        kind = "run_narrow"
    return min(0.5, basis.prior_in.get(kind, basis.prior_out) * factor)


def severity_factor(area: WorkArea, basis: Basis) -> float:
    """What an area's severity multiplies the priors inside it by; 1 for a severity that the basis does not name."""
    return basis.severity_factor.get(area.severity, 1.0)


def priors(graph: CopperGraph, areas: Sequence[WorkArea], basis: Basis) -> NDArray[np.float64]:
    """Prior of every site of the graph, (sites,) float64, in site order."""
    factor = area_factors(graph, areas, basis)
    return np.array(
        [site_prior(site, f, basis) for site, f in zip(graph.sites, factor.tolist(), strict=True)], dtype=np.float64
    )


def area_factors(graph: CopperGraph, areas: Sequence[WorkArea], basis: Basis) -> NDArray[np.float64]:
    """Greatest severity factor of the areas that touch each site, (sites,) float64; 0 = outside every area. Remembered for the last few questions."""
    key = (id(graph), tuple(areas), tuple(sorted(basis.severity_factor.items())))
    hit = _FACTORS.get(key)
    if hit is None or hit[0] is not graph:
        hit = (graph, _area_factors(graph, areas, basis))
        _FACTORS[key] = hit
        while len(_FACTORS) > 16:
            _FACTORS.popitem(last=False)
    return hit[1]


_FACTORS: OrderedDict[tuple[object, ...], tuple[CopperGraph, NDArray[np.float64]]] = OrderedDict()


def _area_factors(graph: CopperGraph, areas: Sequence[WorkArea], basis: Basis) -> NDArray[np.float64]:
    factor = np.zeros(len(graph.sites))
    if not areas or not graph.sites:
        return factor
    shapes = np.array([_extent(graph, site) for site in graph.sites], dtype=object)
    for area in areas:
        if len(area.polygon) >= 3 and not area.lowers:
            hit = shapely.intersects(_polygon(area), shapes)
            scaled = severity_factor(area, basis) * _scales(graph, area)
            factor[hit] = np.maximum(factor[hit], scaled[hit])
    return _spread_unknown(graph, areas, basis, factor) * _unseen(graph, areas, shapes)


LEAST_BY_LOOKING = 0.25
"""However often and whatever was looked for in vain, this share of a site's chance stays: there are breaks that no eye finds (an assumption, no source)."""


def _unseen(graph: CopperGraph, areas: Sequence[WorkArea], shapes: NDArray[np.object_]) -> NDArray[np.float64]:
    """What places where something was looked for and not seen make of the priors, (sites,): of a site that goes beyond such a place only the share that
    lies in it was looked at, ``share * ratio + 1 - share``."""
    left = np.ones(len(graph.sites))
    for area in areas:
        if not area.lowers or len(area.polygon) < 3:
            continue
        place, scale = _polygon(area), _scales(graph, area)
        for k in np.flatnonzero(shapely.intersects(place, shapes) & (scale < 1.0)).tolist():
            whole = shapely.length(shapes[k])
            share = float(shapely.length(shapely.intersection(place, shapes[k])) / whole) if whole > 0.0 else 1.0
            left[k] *= share * scale[k] + 1.0 - share
    return np.maximum(left, LEAST_BY_LOOKING)


def _scales(graph: CopperGraph, area: WorkArea) -> NDArray[np.float64]:
    """What a look makes of the priors in an area, (sites,): 1 everywhere where nobody looked."""
    if not area.scale and area.rest == 1.0:
        return np.ones(len(graph.sites))
    said = dict(area.scale)
    return np.array(
        [said.get(f"{s.kind}@{s.layer}", said.get(str(s.kind), area.rest)) for s in graph.sites], dtype=np.float64
    )


def _spread_unknown(
    graph: CopperGraph, areas: Sequence[WorkArea], basis: Basis, factor: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Copper that nobody has seen may run anywhere between its pins: where an area touches one pin of such a net, all its unknown copper is inside.

    Of nets with more than ``LARGE_NET_PINS`` pins (supplies) only the ties of the pins in the area are, and one tie of the pin the others hang on.
    """
    if not has_unknown(graph):
        return factor
    nets: dict[int, list[int]] = {}
    for k, site in enumerate(graph.sites):
        if site.kind is SiteKind.UNKNOWN:
            nets.setdefault(site.net, []).append(k)
    for ties in nets.values():
        root = area_at(areas, basis, [graph.sites[k].path[0] for k in ties])
        if len(ties) < LARGE_NET_PINS:
            factor[ties] = max(float(root.max()), float(factor[ties].max()))
        elif root.max() > 0.0:
            inside = [k for k, f in zip(ties, root.tolist(), strict=True) if f > 0.0]
            out = next((k for k in inside if factor[k] == 0.0), inside[0])
            factor[out] = max(float(factor[out]), float(root.max()))
    return factor


def area_at(areas: Sequence[WorkArea], basis: Basis, places: Sequence[tuple[float, float]]) -> NDArray[np.float64]:
    """Greatest severity factor of the areas that hold each place (mm), (n,); 0 = outside every area."""
    out = np.zeros(len(places))
    spots = shapely.points(np.array(places, dtype=np.float64).reshape(-1, 2))
    for area in areas:
        if len(area.polygon) >= 3 and area.rest > 0.0 and not area.lowers:
            hit = shapely.intersects(_polygon(area), spots)
            out[hit] = np.maximum(out[hit], severity_factor(area, basis))
    return out


def _extent(graph: CopperGraph, site: Site) -> shapely.Geometry:
    """Where a site lies; of unknown copper the pin that it ties to the others."""
    return _shape(site.path[-1:] if site.kind is SiteKind.UNKNOWN else site.path or (_place(graph, site.a),))


def _place(graph: CopperGraph, node: int) -> tuple[float, float]:
    x, y, _ = graph.node_place[node]
    return (x, y)


def _touches(site: Site, area: WorkArea) -> bool:
    return bool(site.path) and len(area.polygon) >= 3 and bool(shapely.intersects(_polygon(area), _shape(site.path)))


def _polygon(area: WorkArea) -> shapely.Geometry:
    return shapely.make_valid(shapely.Polygon(area.polygon))


def _shape(path: Sequence[tuple[float, float]]) -> shapely.Geometry:
    return shapely.LineString(path) if len(path) > 1 else shapely.Point(path[0])
