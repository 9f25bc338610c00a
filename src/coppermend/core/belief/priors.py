"""How likely a site is broken before anything was read: by its kind, its width and whether a work area touches it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.belief.model import Basis, WorkArea
from coppermend.core.copper.model import CopperGraph, Site, SiteKind


def prior(site: Site, areas: Sequence[WorkArea], basis: Basis) -> float:
    """Prior probability that one site is broken; inside = any part of its path lies in a work area's polygon.

    A patch wire has the wire's prior wherever it lies. A site without a path counts as outside.

    >>> from coppermend.core.copper.model import Site, SiteKind
    >>> run = Site("run@c:0,0>9,0", SiteKind.RUN, 0, 0, 1, "c", ((0, 0), (9, 0)), (0.5,), 9, 0.5, 0.01)
    >>> square = WorkArea("a", ((8, -1), (12, -1), (12, 1), (8, 1)), "rework", 2)
    >>> prior(run, (square,), Basis()), prior(run, (), Basis())
    (0.02, 0.0005)
    """
    inside = [area for area in areas if _touches(site, area)]
    return site_prior(site, max((severity_factor(area, basis) for area in inside), default=0.0), basis)


def site_prior(site: Site, factor: float, basis: Basis) -> float:
    """Prior of a site inside an area of severity factor ``factor`` (0 = outside every area)."""
    if site.kind is SiteKind.WIRE:
        return basis.prior_in["wire"]
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
    """Greatest severity factor of the areas that touch each site, (sites,) float64; 0 = outside every area."""
    factor = np.zeros(len(graph.sites))
    if not areas or not graph.sites:
        return factor
    shapes = np.array([_extent(graph, site) for site in graph.sites], dtype=object)
    for area in areas:
        if len(area.polygon) >= 3:
            hit = shapely.intersects(_polygon(area), shapes)
            factor[hit] = np.maximum(factor[hit], severity_factor(area, basis))
    return _spread_unknown(graph, factor)


def _spread_unknown(graph: CopperGraph, factor: NDArray[np.float64]) -> NDArray[np.float64]:
    """Copper that nobody has seen may run anywhere between its pins: where an area touches one pin of such a net, all its unknown copper is inside."""
    unknown = [k for k, site in enumerate(graph.sites) if site.kind is SiteKind.UNKNOWN]
    worst: dict[int, float] = {}
    for k in unknown:
        worst[graph.sites[k].net] = max(worst.get(graph.sites[k].net, 0.0), float(factor[k]))
    for k in unknown:
        factor[k] = worst[graph.sites[k].net]
    return factor


def _extent(graph: CopperGraph, site: Site) -> shapely.Geometry:
    """Where a site lies; of unknown copper its two pins alone."""
    return _shape(site.path or (_place(graph, site.a),), site.kind is SiteKind.UNKNOWN)


def _place(graph: CopperGraph, node: int) -> tuple[float, float]:
    x, y, _ = graph.node_place[node]
    return (x, y)


def _touches(site: Site, area: WorkArea) -> bool:
    return bool(site.path) and len(area.polygon) >= 3 and bool(shapely.intersects(_polygon(area), _shape(site.path)))


def _polygon(area: WorkArea) -> shapely.Geometry:
    return shapely.make_valid(shapely.Polygon(area.polygon))


def _shape(path: Sequence[tuple[float, float]], points_only: bool = False) -> shapely.Geometry:
    if points_only:
        return shapely.MultiPoint(path)
    return shapely.LineString(path) if len(path) > 1 else shapely.Point(path[0])
