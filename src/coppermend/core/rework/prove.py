"""Which checks prove a patch wire: the bridge, what lies beyond it in both directions, and that nothing was shorted. Each with a reason."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from coppermend.core.copper.model import CopperGraph, ProbePoint, SiteKind
from coppermend.core.copper.provable import TWO_WAYS
from coppermend.core.rework.pieces import components, nodes_of, points_of, sites_of

COPPER = (
    "The copper from {a} to {b} is not confirmed broken and may be what beeps. "
    "Open says that both fail. To prove the wire, lift one end and read the old copper first, or read it by ohms (ohms ways)."
)
"""Why a beep across a wire proves nothing where sound copper may join its ends."""
ANOTHER_WIRE = (
    "Another patch wire joins {a} and {b}, too, and may be what beeps. Open says that both fail. "
    "To prove this wire, lift one end of the other and read again, then solder that end back; or read it by ohms (ohms ways)."
)
"""Why a beep across a wire proves nothing where only another wire joins its ends."""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A foreign net near a soldered point: ``point`` to probe it at, and the edge-to-edge ``gap_mm``."""

    net: int
    point: str
    gap_mm: float
    beside: str
    """The soldered point it lies beside."""


@dataclass(frozen=True, slots=True)
class ProofCheck:
    """One reading that belongs to the proof of a wire: ``purpose`` bridge, beyond, isolation, again (read open before the wire) or cut (read with the wire
    lifted), both points, what it must say, and why."""

    purpose: str
    point_a: str
    point_b: str
    expect: str
    expected_ohm: float | None
    reason: str
    proves: bool = True
    """False where the reading may come out as expected with the wire bad: there is another way round."""

    def as_dict(self) -> dict[str, object]:
        """The check as plain JSON values."""
        return {
            "purpose": self.purpose,
            "point_a": self.point_a,
            "point_b": self.point_b,
            "expect": self.expect,
            "expected_ohm": self.expected_ohm,
            "reason": self.reason,
            "proves": self.proves,
        }


def prove_wire(
    graph: CopperGraph,
    end_a: str,
    end_b: str,
    broken: Collection[str],
    neighbours: Sequence[Neighbour] = (),
    wire_ohm: float | None = None,
    doubtful: Collection[str] | None = None,
) -> tuple[ProofCheck, ...]:
    """The checks that prove the wire between two points of ``graph`` (the board without that wire).

    First the bridge, between points other than the soldered ones where there are any, so that both new joints carry the reading; then
    far points of both pieces in pairs, each pair crossing the wire, so that every far point of either piece is met once: max(far
    points of the two) readings; then one isolation reading for each neighbour net, nearest first. ``broken`` are the site ids that the
    readings showed open. ``doubtful``: sites that are not proven sound; far points behind none of them need no reading of their own
    (without it every site is). Where copper that is not among the ``broken`` joins both ends, the bridge is read at
    the ends themselves and its reason says that a beep is no proof.
    """
    net = graph.point(end_a).net
    points = {point.id: point for point in points_of(graph, net)}
    gone = frozenset(broken)
    joins = [(s.a, s.b) for s in sites_of(graph, net) if s.id not in gone]
    home = components(nodes_of(graph, net), joins)
    ways: dict[int, list[tuple[int, bool]]] = {}
    for site in sites_of(graph, net):
        if site.id not in gone:
            doubt = doubtful is None or site.id in doubtful
            ways.setdefault(site.a, []).append((site.b, doubt))
            ways.setdefault(site.b, []).append((site.a, doubt))
    sides: list[tuple[list[ProbePoint], list[ProbePoint]]] = []
    for end in (points[end_a], points[end_b]):
        far = _far(graph, home, end, joins)
        behind = _behind_doubt(ways, end.node)
        sides.append((far[:1], [point for point in far if point.node in behind]))
    round_about = home[points[end_a].node] == home[points[end_b].node]
    if round_about:  # one piece: no far point lies beyond the wire, and what is in doubt is for the round
        sides = [([], []), ([], [])]
    beside = ""
    if round_about:
        copper = components(nodes_of(graph, net), _copper(graph, net, gone))
        beside = COPPER if copper[points[end_a].node] == copper[points[end_b].node] else ANOTHER_WIRE
    checks = list(_crossing(points[end_a], points[end_b], sides[0], sides[1], wire_ohm, beside))
    checks.extend(_isolation(end_a, end_b, neighbours))
    return tuple(checks)


def _copper(graph: CopperGraph, net: int, gone: Collection[str]) -> list[tuple[int, int]]:
    """What joins the net's nodes without any patch wire."""
    return [(s.a, s.b) for s in sites_of(graph, net) if s.id not in gone and s.kind is not SiteKind.WIRE]


def _far(
    graph: CopperGraph, home: dict[int, int], end: ProbePoint, joins: Sequence[tuple[int, int]]
) -> list[ProbePoint]:
    """Reachable points of the piece that ``end`` is on from which nothing leads further, the soldered node left out; nearest first."""
    piece = home[end.node]
    degree: dict[int, int] = {}
    for a, b in joins:
        degree[a] = degree.get(a, 0) + 1
        degree[b] = degree.get(b, 0) + 1
    best: dict[int, ProbePoint] = {}
    for point in points_of(graph, end.net):
        if not point.reachable or home.get(point.node) != piece or point.node == end.node:
            continue
        if degree.get(point.node, 0) <= 1 or point.kind in ("leg", "contact"):
            known = best.get(point.node)
            if known is None or (point.side == end.side) > (known.side == end.side):
                best[point.node] = point
    return sorted(best.values(), key=lambda p: ((p.x_mm - end.x_mm) ** 2 + (p.y_mm - end.y_mm) ** 2, p.id))


def _behind_doubt(ways: dict[int, list[tuple[int, bool]]], start: int) -> set[int]:
    """Nodes that the walk from ``start`` reaches over at least one doubtful site."""
    seen, behind, queue = {start}, set(), deque([start])
    while queue:
        node = queue.popleft()
        for there, doubt in ways.get(node, ()):
            if there not in seen:
                seen.add(there)
                queue.append(there)
                if doubt or node in behind:
                    behind.add(there)
    return behind


def _crossing(
    end_a: ProbePoint,
    end_b: ProbePoint,
    side_a: tuple[list[ProbePoint], list[ProbePoint]],
    side_b: tuple[list[ProbePoint], list[ProbePoint]],
    wire_ohm: float | None,
    beside: str = "",
) -> Iterable[ProofCheck]:
    """Readings that cross the wire: the bridge first, then far points of both sides in pairs. A side is (nearest far point, far points in doubt).

    ``beside``: what else joins both ends (a sentence, "{a}" and "{b}" its ends), so that a closed reading proves neither; "" nothing.
    """
    far_a, far_b = (far or near or [end] for end, (near, far) in ((end_a, side_a), (end_b, side_b)))
    a, b = far_a[0], far_b[0]
    words = f"The wire and both its joints: it is the only way from {a.id} to {b.id}."
    if beside:
        words = f"Not proof of the wire: {TWO_WAYS}. {beside.format(a=end_a.id, b=end_b.id)}"
    yield ProofCheck("bridge", a.id, b.id, "closed", wire_ohm, words, not beside)
    for i in range(1, max(len(far_a), len(far_b))):
        a, b = far_a[min(i, len(far_a) - 1)], far_b[min(i, len(far_b) - 1)]
        new = [far[i].id for far in (far_a, far_b) if i < len(far)]
        words = f"What lies beyond the wire is not proven yet: {' and '.join(new)}."
        yield ProofCheck("beyond", a.id, b.id, "closed", wire_ohm, words)


def _isolation(end_a: str, end_b: str, neighbours: Sequence[Neighbour]) -> Iterable[ProofCheck]:
    """One reading per neighbour net of a soldered point."""
    seen: set[int] = set()
    for one in sorted(neighbours, key=lambda n: (n.gap_mm, n.point)):
        if one.net in seen:
            continue
        seen.add(one.net)
        near = one.beside if one.beside in (end_a, end_b) else end_a
        yield ProofCheck(
            "isolation",
            near,
            one.point,
            "open",
            None,
            f"Solder at {near} could have run over to the copper that {one.point} hangs on, {one.gap_mm:.2f} mm away.",
        )
