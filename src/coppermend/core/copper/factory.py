"""Wires added at the factory in the copper graph: sites of their own between the probe points nearest to their ends."""

from __future__ import annotations

import math
from dataclasses import replace

from coppermend.core.board.factory import factory_wires
from coppermend.core.board.model import Board
from coppermend.core.board.sources import WireEnd
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.copper.worked import PatchWire, worked
from coppermend.core.findings import Finding, Place, Severity

NEAR_MM = 2.0
"""A wire's end is held by the probe point nearest to it, at most this far off."""


def with_board_wires(graph: CopperGraph, board: Board) -> CopperGraph:
    """The graph with a site ``wire@factoryN`` for each wire that the board's corrections add; the same graph where there is none.

    A wire with an end that no probe point is near joins nets all the same (the board was built with it) but can be no site: finding GRF-014.
    """
    wires = []
    findings = []
    for number, wire in enumerate(factory_wires(board), 1):
        ends = [_point(graph, end) for end in (wire.start, wire.end)]
        if ends[0] and ends[1]:
            wires.append(PatchWire(f"factory{number}", ends[0], ends[1], wire.diameter_mm))
        findings += [_unreached(end) for end, held in zip((wire.start, wire.end), ends, strict=True) if not held]
    if findings:
        graph = replace(graph, findings=(*graph.findings, *findings), memo={})
    if not wires:
        return graph
    wired = worked(graph, wires=wires)
    ids = {f"wire@{wire.entry}" for wire in wires}
    sites = tuple(
        replace(one, words=one.words.replace("the patch wire", "the wire added at the factory", 1))
        if one.id in ids and one.kind is SiteKind.WIRE
        else one
        for one in wired.sites
    )
    return replace(wired, sites=sites, memo={})


def _unreached(end: WireEnd) -> Finding:
    return Finding(
        "GRF-014",
        Severity.WARNING,
        Place(x_mm=end.x_mm, y_mm=end.y_mm, layer=end.layer, thing="a wire added at the factory"),
        f"The wire ends on copper that no probe tip can touch within {NEAR_MM:g} mm. Its two nets count as one, but the wire is no site: "
        "no check is planned for it, and a break in it is not looked for.",
        "Put this end of the wire in the corrections file on the pin, via or land that it is soldered to.",
    )


def _point(graph: CopperGraph, end: WireEnd) -> str:
    """The probe point nearest to a wire's end, those of the end's side first; "" where the graph has none within reach of its copper."""
    best = min(
        (
            (point.side not in ("", end.layer), math.hypot(point.x_mm - end.x_mm, point.y_mm - end.y_mm), point.id)
            for point in graph.points
            if math.hypot(point.x_mm - end.x_mm, point.y_mm - end.y_mm) <= NEAR_MM
        ),
        default=(True, 0.0, ""),
    )
    return best[2]
