"""A net that lies in pieces because its track was cut on purpose: which pins lost each other, and where a tip can tell that a cut is open."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot

from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.rework.pieces import components, nodes_of, pins_of, points_of, sites_of


@dataclass(frozen=True, slots=True)
class CutEnds:
    """One cut on the copper: the nodes where the track ends on either side of it."""

    entry: str
    node_a: int
    node_b: int


@dataclass(frozen=True, slots=True)
class Apart:
    """Pins of one net that hung together before the ``cuts`` (entry ids) and do not now. ``pieces``: pin points of each piece that has any.

    ``checks``: (entry id, point, point) for every cut with a reachable point on both sides: a reading between them crosses that cut alone.
    ``across``: the points on the first two pieces nearest to the first cut, for cuts that no reading crosses alone; ("", "") where there are none.
    """

    net: int
    cuts: tuple[str, ...]
    pieces: tuple[tuple[str, ...], ...]
    checks: tuple[tuple[str, str, str], ...]
    across: tuple[str, str]

    @property
    def pins(self) -> tuple[str, ...]:
        """Every pin that must be joined again."""
        return tuple(pin for piece in self.pieces for pin in piece)


def closed_again(graph: CopperGraph, ends: Collection[CutEnds]) -> CopperGraph:
    """The graph with these cuts closed by 0 ohm, under the same node numbers."""
    made = [
        Site(f"cut@{one.entry}", SiteKind.RUN, graph.node_net[one.node_a], one.node_a, one.node_b, graph.node_place[one.node_a][2], (), (), 0.0, 0.0, 0.0)
        for one in ends
    ]  # fmt: skip
    return replace(graph, sites=(*graph.sites, *made), memo={}) if made else graph


def apart_by_cuts(graph: CopperGraph, net: int, ends: Sequence[CutEnds]) -> tuple[Apart, ...]:
    """The groups of pins of ``net`` that these cuts keep apart on the board as it is, patch wires included; empty when every one is joined again.

    A stretch between two cuts that no pin hangs on is nobody's piece: it may stay cut off.
    """
    here = [one for one in ends if graph.node_net[one.node_a] == net]
    if not here:
        return ()
    nodes = nodes_of(graph, net)
    joins = [(s.a, s.b) for s in sites_of(graph, net)]
    now = components(nodes, joins)
    before = components(nodes, [*joins, *((one.node_a, one.node_b) for one in here)])
    at = {point.id: point.node for point in points_of(graph, net)}
    groups: dict[int, dict[int, list[str]]] = {}
    for pin in pins_of(graph, net):
        groups.setdefault(before[at[pin]], {}).setdefault(now[at[pin]], []).append(pin)
    found = []
    for home, pieces in sorted(groups.items()):
        mine = [one for one in here if before[one.node_a] == home and now[one.node_a] != now[one.node_b]]
        if len(pieces) > 1 and mine:
            found.append(_apart(graph, net, mine, pieces, now))
    return tuple(found)


def _apart(
    graph: CopperGraph, net: int, cuts: Sequence[CutEnds], pieces: Mapping[int, list[str]], now: Mapping[int, int]
) -> Apart:
    checks = []
    for one in cuts:
        a, b = (_nearest(graph, net, node, now[node], now) for node in (one.node_a, one.node_b))
        b = _same_side(graph, net, one.node_b, now, a, b)
        if a is not None and b is not None:
            checks.append((one.entry, a.id, b.id))
    across = ("", "")
    if len(checks) < len(cuts):
        first, second = list(pieces)[:2]
        a, b = (_nearest(graph, net, cuts[0].node_a, piece, now) for piece in (first, second))
        across = (a.id, b.id) if a is not None and b is not None else across
    return Apart(net, tuple(one.entry for one in cuts), tuple(tuple(p) for p in pieces.values()), tuple(checks), across)


def _nearest(
    graph: CopperGraph, net: int, node: int, piece: int, now: Mapping[int, int], side: str = ""
) -> ProbePoint | None:
    """The reachable point of a piece that lies nearest to a node; a leg or joint of a pin before other points."""
    x, y, _ = graph.node_place[node]
    near = [p for p in points_of(graph, net) if p.reachable and now[p.node] == piece and side in ("", p.side)]
    return min(near, key=lambda p: (not p.part, hypot(p.x_mm - x, p.y_mm - y), p.id), default=None)


def _same_side(
    graph: CopperGraph, net: int, node: int, now: Mapping[int, int], a: ProbePoint | None, b: ProbePoint | None
) -> ProbePoint | None:
    """The second point on the side of the first, where there is one: no turning over between two tips."""
    if a is None or b is None or a.side == b.side:
        return b
    return _nearest(graph, net, node, now[node], now, a.side) or b


def sides_of(graph: CopperGraph, one: CutEnds) -> tuple[frozenset[int], frozenset[int]]:
    """The nodes that hang on either side of a cut now; two equal sets where something else joins them."""
    net = graph.node_net[one.node_a]
    now = components(nodes_of(graph, net), [(s.a, s.b) for s in sites_of(graph, net)])
    a, b = (frozenset(n for n, piece in now.items() if piece == now[end]) for end in (one.node_a, one.node_b))
    return a, b
