"""Boards whose copper nobody has seen: what the readings of a case say about which pins hang together."""

from __future__ import annotations

from collections.abc import Sequence

from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.unknown import has_unknown, rehung
from coppermend.core.log.state import CaseState, PointRef, Reading, Wire

CLOSED_OHM = 10.0
"""An ohms reading up to this ties two pins (the 10 ohm of a continuity pass, docs/sources.md)."""

Ties = tuple[tuple[str, str], ...]


def ties_read(state: CaseState, graph: CopperGraph, wires: Sequence[Wire]) -> tuple[Ties, Ties]:
    """Pairs of pins that read closed, in the order of the log: before a wire was on their net, and with one there. Empty where all copper is known.

    ``wires``: those fitted at the moment that is looked at; readings taken after the next one are not of that moment.
    """
    if not has_unknown(graph):
        return (), ()
    here = {wire.id for wire in wires}
    until = min((wire.at for wire in state.wires if wire.id not in here), default=None)
    first: dict[str, int] = {}
    for wire in wires:
        for end in (wire.a, wire.b):
            first[end.net] = min(first.get(end.net, wire.at), wire.at)
    before: list[tuple[str, str]] = []
    after: list[tuple[str, str]] = []
    for one in state.readings:
        if until is not None and one.at > until:
            continue
        if len(one.points) == 2 and _closed(one) and one.points[0].net == one.points[1].net:
            a, b = (pin_name(end) for end in one.points)
            if a and b and a != b:
                (before if one.at < first.get(one.points[0].net, one.at + 1) else after).append((a, b))
    return tuple(before), tuple(after)


def along_readings(state: CaseState, graph: CopperGraph, wires: Sequence[Wire], broken: Sequence[str]) -> CopperGraph:
    """The graph with its unknown copper hung along the readings; the same object where all copper is known."""
    if not has_unknown(graph):
        return graph
    before, after = ties_read(state, graph, wires)
    return rehung(graph, before, after, {pin_name(end) for wire in wires for end in (wire.a, wire.b)}, broken)


def pin_name(ref: PointRef) -> str:
    """The pin a point belongs to (``U1.8``), "" for a bare place."""
    return f"{ref.part}.{ref.pin}" if ref.part else ""


def _closed(one: Reading) -> bool:
    return one.kind == "closed" or (one.kind == "ohms" and one.value is not None and one.value <= CLOSED_OHM)
