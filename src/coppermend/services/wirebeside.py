"""What lies beside the joints of patch wires: foreign nets that solder there could have run over to, wherever on the board the wire lies."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from coppermend.core.copper.model import ProbePoint
from coppermend.core.copper.neighbours import Neighbour as Pair
from coppermend.core.copper.neighbours import neighbours
from coppermend.core.rework.prove import Neighbour
from coppermend.services.bind import Binding
from coppermend.services.cautions import joined_by_wire_or_part
from coppermend.services.newwire import ends_of

WINDOW_MM = 1.27
"""Neighbours of a soldered point within this edge-to-edge gap are checked (docs/sources.md, bare-board test); an input."""


def beside(bound: Binding, ends: Collection[ProbePoint], window_mm: float = WINDOW_MM) -> tuple[Neighbour, ...]:
    """Foreign nets whose copper lies within the window of a soldered point, with the point to probe each at; not those that a wire or a low-ohm part joins to it."""
    found = []
    for end in ends:
        for pair in _pairs(bound, end, window_mm):
            other, point = (pair.net_b, pair.point_b) if pair.net_a == end.net else (pair.net_a, pair.point_a)
            if point:
                found.append(Neighbour(other, point, pair.gap_mm, end.id))
    return tuple(found)


def beside_wires(bound: Binding) -> tuple[Pair, ...]:
    """The pairs of nets beside the joints of every patch wire that is on the board: what the round reads for bridges beyond the work areas."""
    return tuple(
        pair
        for wire in bound.state.wires
        for end in ends_of(bound.graph, wire)
        for pair in _pairs(bound, end, WINDOW_MM)
    )


def _pairs(bound: Binding, end: ProbePoint, window_mm: float) -> Iterator[Pair]:
    joined = joined_by_wire_or_part(bound.graph, end.net)
    for pair in neighbours(bound.board, bound.graph, nodes=[end.node], window_mm=window_mm):
        other = pair.net_b if pair.net_a == end.net else pair.net_a
        if other not in joined and pair.in_window:
            yield pair
