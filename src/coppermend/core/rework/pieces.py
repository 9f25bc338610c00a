"""What a net falls into when its broken sites are taken away, and where a wire can be soldered to each piece."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from coppermend.core.board.model import PartState
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.findings import Place, refuse
from coppermend.core.geometry.groups import Groups, labels


@dataclass(frozen=True, slots=True)
class Difficulty:
    """What soldering a wire to a kind of place costs, as mm of wire one would rather lay. Assumptions (docs/reference/constants.md)."""

    leg: float = 3.0
    via: float = 4.0
    socket_pin: float = 6.0
    land: float = 3.0
    hole: float = 8.0
    other_side: float = 25.0
    """Added when the two ends lie on two sides: the wire goes round the edge or through a hole."""

    def of(self, point: ProbePoint, states: Mapping[str, PartState]) -> float | None:
        """The difficulty of this probe point in mm, None where nobody should solder a wire."""
        socketed = states.get(point.part) in (PartState.SOCKETED, PartState.OUT)
        if point.kind == "contact" or (point.kind == "leg" and states.get(point.part) is PartState.SOCKETED):
            return None  # inside a socket; the leg of a chip that must come out again
        if point.kind == "joint":
            return self.socket_pin if socketed else self.leg
        known = {"leg": self.leg, "via": self.via, "land": self.land, "hole": self.hole}
        return known.get(point.kind)


@dataclass(frozen=True, slots=True)
class WireEnd:
    """A place where a wire can be soldered: a probe point, or a bared place on a track (kind track, ``track@x,y/s``), its side, and its ``difficulty_mm``."""

    point: str
    node: int
    x_mm: float
    y_mm: float
    side: str
    kind: str
    difficulty_mm: float
    part: str = ""
    pin: str = ""
    lap_mm: float = 0.0
    """How far the wire laps onto a bared track."""
    ohm_on: tuple[tuple[int, float], ...] = ()
    """A bared track: both nodes its run leads to, with the ohms as far as there; () where the end sits on ``node``."""

    @property
    def reach_ohm(self) -> dict[int, float]:
        """The nodes that the copper leads to from here, with the ohms as far as there."""
        return dict(self.ohm_on) if self.ohm_on else {self.node: 0.0}

    def words(self) -> str:
        """The end as a person says it.

        >>> WireEnd("U1.8/joint-s", 4, 1.0, 2.0, "s", "joint", 3.0, "U1", "8").words()
        'the joint of U1.8, solder side'
        """
        side = "solder side" if self.side == "s" else "component side"
        if self.part:
            name = {"joint": "the joint of ", "leg": "the leg ", "hole": "the hole of "}.get(self.kind, "the land of ")
            return f"{name}{self.part}.{self.pin}, {side}"
        if self.kind == "track":
            return f"the track at {self.x_mm:.1f}, {self.y_mm:.1f} mm, {side}, bared over {self.lap_mm:.1f} mm"
        name = "via" if self.kind == "via" else "land"
        return f"the {name} at {self.x_mm:.1f}, {self.y_mm:.1f} mm, {side}"


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of the net that still hangs together: its ``nodes``, the pins on it, the ``needed`` points on it, its solderable ``ends``."""

    index: int
    nodes: tuple[int, ...]
    pins: tuple[str, ...]
    needed: tuple[str, ...]
    ends: tuple[WireEnd, ...] = field(repr=False)

    @property
    def required(self) -> bool:
        """True when it holds a point that must be joined again."""
        return bool(self.needed)

    def words(self) -> str:
        """The piece by its pins: ``the piece with U1.8, U7.3``."""
        if not self.pins:
            return "a piece without a pin"
        shown = ", ".join(self.pins[:4]) + (f" and {len(self.pins) - 4} more" if len(self.pins) > 4 else "")
        return f"the piece with {shown}"


def sites_of(graph: CopperGraph, net: int) -> list[Site]:
    """All sites of one net; sites of ring-through parts are never copper and are left out."""
    return _by_net(graph, "rework sites", lambda: (s for s in graph.sites if s.kind is not SiteKind.THROUGH)).get(
        net, []
    )


def points_of(graph: CopperGraph, net: int) -> list[ProbePoint]:
    """All probe points of one net."""
    return _by_net(graph, "rework points", lambda: graph.points).get(net, [])


def nodes_of(graph: CopperGraph, net: int) -> list[int]:
    """All nodes of one net."""
    if "rework nodes" not in graph.memo:
        index: dict[int, list[int]] = {}
        for node, its in enumerate(graph.node_net):
            index.setdefault(its, []).append(node)
        graph.memo["rework nodes"] = index
    found: list[int] = graph.memo["rework nodes"].get(net, [])
    return found


T = TypeVar("T", Site, ProbePoint)


def _by_net(graph: CopperGraph, name: str, items: Callable[[], Iterable[T]]) -> dict[int, list[T]]:
    """Sites or points sorted by their net, once per graph."""
    if name not in graph.memo:
        index: dict[int, list[T]] = {}
        for item in items():
            index.setdefault(item.net, []).append(item)
        graph.memo[name] = index
    found: dict[int, list[T]] = graph.memo[name]
    return found


def components(nodes: Collection[int], joins: Iterable[tuple[int, int]]) -> dict[int, int]:
    """Which piece each node belongs to (pieces counted from 0 in order of their lowest node).

    >>> components([5, 6, 9], [(5, 6)])
    {5: 0, 6: 0, 9: 1}
    """
    order = sorted(nodes)
    place = {node: i for i, node in enumerate(order)}
    pairs = [(place[a], place[b]) for a, b in joins if a in place and b in place]
    if len(order) <= FEW:
        label = _few(pairs, len(order))
    else:
        label = labels(np.array(pairs, dtype=np.int64).reshape(-1, 2), len(order)).tolist()
    renamed: dict[int, int] = {}
    return {node: renamed.setdefault(label[i], len(renamed)) for i, node in enumerate(order)}


FEW = 100
"""Up to so many nodes union-find in Python is quicker than building a sparse matrix."""


def _few(pairs: Iterable[tuple[int, int]], count: int) -> list[int]:
    """A label for each of few nodes."""
    groups = Groups()
    for a, b in pairs:
        groups.join(a, b)
    return [groups.find(k) for k in range(count)]


def net_of_sites(graph: CopperGraph, broken: Collection[str]) -> int:
    """The net that all these sites belong to; a Refusal when one is unknown or they lie on several nets."""
    nets: set[int] = set()
    for site_id in broken:
        try:
            nets.add(graph.site(site_id).net)
        except KeyError:
            raise refuse(
                "WIR-003",
                f"There is no site {site_id} on this board.",
                "Take the site ids from 'coppermend board graph PACKAGE --net N --json'.",
                Place(thing=site_id),
            ) from None
    if len(nets) != 1:
        names = ", ".join(graph.net_names[net] for net in sorted(nets)) or "none"
        raise refuse(
            "WIR-004",
            f"The broken sites must lie on one net; they lie on {names}.",
            "Plan the wires net by net.",
        )
    return nets.pop()


def pins_of(graph: CopperGraph, net: int) -> tuple[str, ...]:
    """One point id per pin of the net, the one that hangs deepest in the part: its leg, else its contact, joint or hole."""
    rank = {"leg": 0, "contact": 1, "joint": 2, "land": 3, "hole": 4}
    best: dict[tuple[str, str], ProbePoint] = {}
    for point in points_of(graph, net):
        if not point.part or point.kind not in rank:
            continue
        key = (point.part, point.pin)
        if key not in best or rank[point.kind] < rank[best[key].kind]:
            best[key] = point
    return tuple(point.id for _, point in sorted(best.items()))


def pieces_of(
    graph: CopperGraph,
    net: int,
    broken: Collection[str],
    needed_points: Collection[str],
    difficulty: Difficulty,
    side: str = "",
    more_ends: Callable[[Sequence[Site]], Iterable[WireEnd]] | None = None,
) -> tuple[Piece, ...]:
    """The pieces of ``net`` without its ``broken`` sites, each with the needed points it holds and the ends a wire can be soldered to.

    ``side`` c or s keeps to ends of that side. ``more_ends`` is asked for further ends on the
    sites of each piece (bared tracks). Nodes without a point stay in their piece; a node alone without any point is dropped.
    """
    gone = frozenset(broken)
    group = components(nodes_of(graph, net), ((s.a, s.b) for s in sites_of(graph, net) if s.id not in gone))
    states = dict(graph.part_states)
    needed = frozenset(needed_points)
    members: dict[int, list[int]] = {}
    for node, piece in group.items():
        members.setdefault(piece, []).append(node)
    points: dict[int, list[ProbePoint]] = {piece: [] for piece in members}
    for point in points_of(graph, net):
        points[group[point.node]].append(point)
    copper: dict[int, list[Site]] = {}
    if more_ends is not None:
        for site in sites_of(graph, net):
            if site.id not in gone:
                copper.setdefault(group[site.a], []).append(site)
    found: list[Piece] = []
    for piece, its_nodes in sorted(members.items()):
        here = points[piece]
        if not here:
            continue
        ends = tuple(_ends(here, states, difficulty, side))
        if more_ends is not None:
            ends = (*ends, *more_ends(copper.get(piece, ())))
        pins = tuple(dict.fromkeys(f"{p.part}.{p.pin}" for p in sorted(here, key=_pin_order) if p.part))
        inside = tuple(p.id for p in here if p.id in needed)
        found.append(Piece(len(found), tuple(sorted(its_nodes)), pins, inside, ends))
    return tuple(found)


def _pin_order(point: ProbePoint) -> tuple[str, int, str]:
    """Parts by name, pins by number."""
    return (point.part, int(point.pin) if point.pin.isdecimal() else 10**9, point.pin)


def _ends(
    points: Iterable[ProbePoint], states: Mapping[str, PartState], difficulty: Difficulty, side: str
) -> Iterable[WireEnd]:
    """The solderable points among these."""
    for point in points:
        cost = difficulty.of(point, states)
        if cost is None or not point.reachable or (side and point.side != side):
            continue
        yield WireEnd(point.id, point.node, point.x_mm, point.y_mm, point.side, point.kind, cost, point.part, point.pin)
