"""Corrections of the map at one place: copper that this board has and the map lacks, and a pin that is not on the net that the map puts it on.

They describe the board as it always was, not work on it: every reading is judged on the corrected map, whenever it was taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.copper.worked import node_of
from coppermend.core.findings import Finding, Place, Severity

JOINED, APART = "joined", "apart"
MAP_SITE = "map@"
"""Sites with this beginning are copper that the map lacks."""
TRACK_MM, SLACK, OHM_A_MM = 0.3, 1.5, 0.0016
"""What is taken for such copper: a track of 0.3 mm (1.6 milliohm a mm at 35 um), half as long again as the straight way (an assumption)."""


@dataclass(frozen=True, slots=True)
class MapFix:
    """One correction: ``says`` joined (points a and b are on one net here) or apart (the pin of point a is not on the map's net). ``entry`` its log id."""

    entry: str
    says: str
    point_a: str
    point_b: str = ""


def with_map_fixes(graph: CopperGraph, fixes: Sequence[MapFix]) -> CopperGraph:
    """The copper with the corrections laid over it; one that names a point which this board does not have is a finding (GRF-013).

    >>> from coppermend.core.belief.examples import example_graph
    >>> graph = example_graph([(0, 1), (1, 2)], [0, 1, 2])
    >>> [s.id for s in with_map_fixes(graph, [MapFix("e", "apart", "p2")]).sites]
    ['s0']
    >>> [s.id for s in with_map_fixes(graph, [MapFix("e", "joined", "p0", "p2")]).sites]
    ['s0', 's1', 'map@e']
    """
    found: list[Finding] = []
    for fix in fixes:
        ends = [node_of(graph, point) for point in (fix.point_a, fix.point_b) if point]
        if any(node is None for node in ends) or len(ends) < (2 if fix.says == JOINED else 1):
            words = f"The correction of the map at {fix.point_a} was left out: this board has no such point."
            found.append(
                Finding("GRF-013", Severity.WARNING, Place(thing=fix.point_a), words, "Take it back: note CASE undo.")
            )
            continue
        nodes = [node for node in ends if node is not None]
        graph = _tied(graph, fix, nodes[0], nodes[1]) if fix.says == JOINED else _parted(graph, fix, nodes[0])
    return replace(graph, findings=graph.findings + tuple(found), memo={}) if found else graph


def _tied(graph: CopperGraph, fix: MapFix, a: int, b: int) -> CopperGraph:
    if a == b:
        return graph
    (xa, ya, layer), (xb, yb, _) = graph.node_place[a], graph.node_place[b]
    length = SLACK * math.dist((xa, ya), (xb, yb))
    words = f"copper from {fix.point_a} to {fix.point_b} that the map lacks"
    path = ((xa, ya), (xb, yb))
    site = Site(
        f"{MAP_SITE}{fix.entry}", SiteKind.WIRE, graph.node_net[a], a, b, layer, path, (TRACK_MM,), length, TRACK_MM,
        max(length * OHM_A_MM, 1e-4), words=words,
    )  # fmt: skip
    return replace(graph, sites=(*graph.sites, site), memo={})


def _parted(graph: CopperGraph, fix: MapFix, node: int) -> CopperGraph:
    """The graph without the copper that leads from the pin at ``node`` to elsewhere; its own leg, contact, joint and hole stay together."""
    point = next((p for p in graph.points if p.id == fix.point_a), None)
    own = {node}
    if point is not None and point.part:
        pin = (point.part, point.pin)
        own |= {p.node for p in graph.points if (p.part, p.pin) == pin}
        inner = (SiteKind.LEG, SiteKind.CONTACT, SiteKind.JOINT)
        own |= {n for s in graph.sites if (s.part, s.pin) == pin and s.kind in inner for n in (s.a, s.b)}
    sites = tuple(s for s in graph.sites if s.kind is SiteKind.THROUGH or (s.a in own) == (s.b in own))
    return replace(graph, sites=sites, memo={})
