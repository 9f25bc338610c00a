"""Which checks prove a patch wire: the bridge, what lies beyond it in both directions, and that nothing was shorted. Each with a reason."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.rework.pieces import components, sites_of


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
    """One reading that belongs to the proof of a wire: ``purpose`` bridge, beyond or isolation, both points, what it must say, and why."""

    purpose: str
    point_a: str
    point_b: str
    expect: str
    expected_ohm: float | None
    reason: str

    def as_dict(self) -> dict[str, object]:
        """The check as plain JSON values."""
        return {
            "purpose": self.purpose,
            "point_a": self.point_a,
            "point_b": self.point_b,
            "expect": self.expect,
            "expected_ohm": self.expected_ohm,
            "reason": self.reason,
        }


def prove_wire(
    graph: CopperGraph,
    end_a: str,
    end_b: str,
    broken: Collection[str],
    neighbours: Sequence[Neighbour] = (),
    wire_ohm: float | None = None,
) -> tuple[ProofCheck, ...]:
    """The checks that prove the wire between two points of ``graph`` (the board without that wire).

    First the bridge, between points other than the soldered ones where there are any, so that both new joints carry the reading; then
    far points of both pieces in pairs, each pair crossing the wire, so that every far point of either piece is met once: max(far
    points of the two) readings; then one isolation reading for each neighbour net, nearest first. ``broken`` are the site ids that the
    readings showed open.
    """
    points = {point.id: point for point in graph.points}
    net = points[end_a].net
    gone = frozenset(broken)
    joins = [(s.a, s.b) for s in sites_of(graph, net) if s.id not in gone]
    home = components([n for n in range(graph.node_count) if graph.node_net[n] == net], joins)
    far_a = _far(graph, home, points[end_a], joins)
    far_b = _far(graph, home, points[end_b], joins)
    checks = list(_crossing(points[end_a], points[end_b], far_a, far_b, wire_ohm))
    checks.extend(_isolation(end_a, end_b, neighbours))
    return tuple(checks)


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
    for point in graph.points:
        if not point.reachable or home.get(point.node) != piece or point.node == end.node:
            continue
        if degree.get(point.node, 0) <= 1 or point.kind in ("leg", "contact"):
            known = best.get(point.node)
            if known is None or (point.side == end.side) > (known.side == end.side):
                best[point.node] = point
    return sorted(best.values(), key=lambda p: ((p.x_mm - end.x_mm) ** 2 + (p.y_mm - end.y_mm) ** 2, p.id))


def _crossing(
    end_a: ProbePoint,
    end_b: ProbePoint,
    far_a: Sequence[ProbePoint],
    far_b: Sequence[ProbePoint],
    wire_ohm: float | None,
) -> Iterable[ProofCheck]:
    """Readings that cross the wire: the bridge first, then far points of both sides in pairs."""
    side_a, side_b = list(far_a) or [end_a], list(far_b) or [end_b]
    first_a, first_b = side_a[0], side_b[0]
    yield ProofCheck(
        "bridge",
        first_a.id,
        first_b.id,
        "closed",
        wire_ohm,
        f"The wire and both its joints: it is the only way from {first_a.id} to {first_b.id}.",
    )
    for i in range(1, max(len(side_a), len(side_b))):
        a = side_a[min(i, len(side_a) - 1)]
        b = side_b[min(i, len(side_b) - 1)]
        new = [p.id for k, p in ((len(side_a), a), (len(side_b), b)) if i < k]
        yield ProofCheck(
            "beyond",
            a.id,
            b.id,
            "closed",
            wire_ohm,
            f"What lies beyond the wire was out of reach of every earlier reading: {' and '.join(new)}.",
        )


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
            f"Solder at {near} could have run over to {one.point}, {one.gap_mm:.2f} mm away.",
        )
