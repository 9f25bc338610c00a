"""The practice patient: a simulated broken board that answers checks. Only its answers leave it.

Its randomness is bound to the question: the n-th reading between two points answers the same whatever was asked between, so that every
policy meets the same patient. The truth is handed to nobody but the one who marks the result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from zlib import crc32

import numpy as np

from coppermend.core.copper.laps import middle_stretches
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.copper.resistance import effective_ohm
from coppermend.core.findings import Place, refuse

OXIDISED_FALSE_OPEN = 0.3
"""How often an oxidised point reads open (shared bench table)."""
BEEP_OHM = 10.0
"""What still beeps."""
SLIP_MM = 3.0
"""A tip that slips lands on a point this near (pins of chips stand 2.54 mm apart)."""
CLOSES_UNDER_TIP = 0.5
"""How often an intermittent joint conducts while a tip presses on it; an assumption, no source."""


@dataclass(frozen=True, slots=True)
class Noise:
    """How a patient lies: false opens and closeds of the meter and hand, and the points whose surface is oxidised.

    ``slips``: how often a tip stands on the neighbour pin, each tip anew. ``mixed_up``: how often the person notes the answer of the check before.
    """

    false_open: float = 0.0
    false_closed: float = 0.0
    oxidised: frozenset[str] = frozenset()
    slips: float = 0.0
    mixed_up: float = 0.0


@dataclass(frozen=True, slots=True)
class Truth:
    """What is wrong with a patient. ``broken``: site ids. ``shorts``: pairs of points that are joined and should not be. ``dead``: parts.

    ``intermittent``: broken sites that now and then conduct while a tip presses on one of their ends.
    """

    broken: tuple[str, ...] = ()
    shorts: tuple[tuple[str, str], ...] = ()
    dead: tuple[str, ...] = ()
    noise: Noise = field(default_factory=Noise)
    intermittent: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What the meter says: ``closed`` or ``open``, and the ohms it shows (None = overload)."""

    says: str
    ohms: float | None


BRIDGE_OHM = 0.02
"""Resistance of a solder bridge between two nets (an assumption)."""


def _bridge(graph: CopperGraph, number: int, a: int, b: int) -> Site:
    """A short as metal between two nodes, so that ohms across it are those of the copper and the bridge."""
    (xa, ya, layer), (xb, yb, _) = graph.node_place[a], graph.node_place[b]
    name, path = f"short@{number}", ((xa, ya), (xb, yb))
    return Site(name, SiteKind.WIRE, graph.node_net[a], a, b, layer, path, (0.5,), 1.0, 0.5, BRIDGE_OHM)


class Patient:
    """A broken board behind its answers. ``graph``: the copper with its part states; ``seed``: of its noise; ``ohms`` False: it only beeps (fast)."""

    def __init__(self, graph: CopperGraph, truth: Truth, seed: int = 0, *, ohms: bool = True) -> None:
        self._shows_ohms = ohms
        self._truth = truth
        self._seed = seed
        self._asked: dict[tuple[str, str], int] = {}
        self._before: Answer | None = None
        self._lay(graph)

    def _lay(self, graph: CopperGraph) -> None:
        gone = middle_stretches(graph, self._truth.broken)
        self._node = {p.id: p.node for p in graph.points}
        self._graph = replace(graph, sites=tuple(s for s in graph.sites if s.id not in gone), memo={})
        self._whole = graph
        loose = middle_stretches(graph, self._truth.intermittent) & gone
        self._loose = [(s.a, s.b) for s in graph.sites if s.id in loose]
        self._root = list(range(graph.node_count))
        for site in self._graph.sites:
            if site.kind is not SiteKind.THROUGH or site.resistance_ohm <= BEEP_OHM:
                self._join(site.a, site.b)
        bridges = []
        for n, (a, b) in enumerate(self._truth.shorts):
            if a in self._node and b in self._node:
                self._join(self._node[a], self._node[b])
                bridges.append(_bridge(graph, n, self._node[a], self._node[b]))
        self._bridged = replace(self._graph, sites=(*self._graph.sites, *bridges), memo={}) if bridges else self._graph

    def _find(self, node: int) -> int:
        while self._root[node] != node:
            self._root[node] = self._root[self._root[node]]
            node = self._root[node]
        return node

    def _join(self, a: int, b: int) -> None:
        self._root[self._find(a)] = self._find(b)

    def worked_on(self, graph: CopperGraph) -> None:
        """The bench changed the board: patch wires, parts in or out. What was broken stays broken."""
        self._lay(graph)

    def changed(self, graph: CopperGraph, truth: Truth) -> None:
        """The bench changed the board and mended some of it: ``truth`` is what is left."""
        self._truth = truth
        self._lay(graph)

    def whole_between(self, node_a: int, node_b: int) -> bool:
        """Whether copper and wires join two nodes now: for marking, never for planning."""
        return self._find(node_a) == self._find(node_b)

    def ohms_between(self, point_a: str, point_b: str) -> float | None:
        """What a meter with four wires shows: ohms of the copper, bridges and wires between two points; None for overload. Without lies."""
        if self._find(self._node[point_a]) != self._find(self._node[point_b]):
            return None
        value = float(effective_ohm(self._bridged, point_a, point_b).value)
        return value if np.isfinite(value) else None

    def met_before(self, point_a: str, point_b: str, times: int, last: Answer | None = None) -> None:
        """The patient was asked about this pair ``times`` times in another sitting; ``last``: what the check before this one said, on whatever points."""
        self._asked[min(point_a, point_b), max(point_a, point_b)] = times
        self._before = last

    def ask(self, point_a: str, point_b: str) -> Answer:
        """Touch two points and read. Refusal PRA-001 for a point that this board does not have."""
        for point in (point_a, point_b):
            if point not in self._node:
                raise refuse(
                    "PRA-001",
                    f"The practice board has no point {point}.",
                    "Name a point of this board, such as U1.8/leg.",
                    Place(thing=point),
                )
        pair = (min(point_a, point_b), max(point_a, point_b))
        turn = self._asked.get(pair, 0)
        self._asked[pair] = turn + 1
        rng = np.random.default_rng([self._seed, crc32("|".join(pair).encode()), turn])
        # lots of their own, so that these lies change none of the others
        more = np.random.default_rng([self._seed, crc32("|".join(pair).encode()), turn, 1])
        touched = [self._slipped(p) if more.random() < self._truth.noise.slips else p for p in pair]
        answer = self._read(touched[0], touched[1], rng, more)
        told = self._before if self._before is not None and more.random() < self._truth.noise.mixed_up else answer
        self._before = answer
        return told

    def _slipped(self, point: str) -> str:
        """The nearest point of other copper on the same side within ``SLIP_MM``; the point itself when there is none."""
        here = next(p for p in self._whole.points if p.id == point)
        near = [
            ((p.x_mm - here.x_mm) ** 2 + (p.y_mm - here.y_mm) ** 2, p.id)
            for p in self._whole.points
            if p.side == here.side and p.net != here.net
        ]
        apart, other = min(near, default=(np.inf, point))
        return other if apart <= SLIP_MM**2 else point

    def _joined(self, point_a: str, point_b: str, lots: np.random.Generator) -> bool:
        """Whether the copper joins two points in this reading; a loose joint under a tip may conduct."""
        a, b = self._node[point_a], self._node[point_b]
        if self._find(a) == self._find(b):
            return True
        home = {self._find(n): self._find(n) for n in (a, b)}
        for ends in self._loose:
            if {a, b} & set(ends) and lots.random() < CLOSES_UNDER_TIP:
                one, two = (home.get(self._find(n), self._find(n)) for n in ends)
                home = {k: (two if v == one else v) for k, v in (*home.items(), (one, one), (two, two))}
        return home[self._find(a)] == home[self._find(b)]

    def _read(self, point_a: str, point_b: str, rng: np.random.Generator, lots: np.random.Generator) -> Answer:
        """What the meter says between the two points that the tips really touch."""
        noise = self._truth.noise
        joined = self._joined(point_a, point_b, lots)
        if not joined:
            if rng.random() < noise.false_closed:
                return Answer("closed", round(float(rng.uniform(0.1, 5.0)), 2))
            return Answer("open", None)
        missed = rng.random() < noise.false_open
        for point in dict.fromkeys((point_a, point_b)):
            missed = bool(missed or (point in noise.oxidised and rng.random() < OXIDISED_FALSE_OPEN))
        if missed:
            return Answer("closed", 0.3) if rng.random() < noise.false_closed else Answer("open", None)
        return Answer("closed", self._ohms(point_a, point_b, rng) if self._shows_ohms else None)

    def _ohms(self, point_a: str, point_b: str, rng: np.random.Generator) -> float:
        """Copper plus what the leads' zero leaves, to the meter's hundredth of an ohm."""
        value = effective_ohm(self._bridged, point_a, point_b).value
        if not np.isfinite(value):
            value = 0.0
        return round(value + abs(float(rng.normal(0.0, 0.02))), 2)

    def truth(self) -> Truth:
        """What is wrong with it: for marking the result, never for planning."""
        return self._truth


def truth_as_dict(graph: CopperGraph, truth: Truth) -> dict[str, Any]:
    """The truth as plain JSON values, with net and words for each break."""
    by_id = {s.id: s for s in graph.sites}
    return {
        "broken": [
            {"site": s, "net": graph.net_names[by_id[s].net], "kind": str(by_id[s].kind), "words": by_id[s].words}
            for s in truth.broken
            if s in by_id
        ],
        "shorts": [list(pair) for pair in truth.shorts],
        "dead": list(truth.dead),
        "intermittent": list(truth.intermittent),
        "noise": {
            "false_open": truth.noise.false_open,
            "false_closed": truth.noise.false_closed,
            "oxidised": sorted(truth.noise.oxidised),
            "slips": truth.noise.slips,
            "mixed_up": truth.noise.mixed_up,
        },
    }


def between(graph: CopperGraph, prior: Sequence[float], point_a: str, point_b: str) -> str:
    """The site to break so that two points are no longer joined: the likeliest of the sites that are the only way between them."""
    from coppermend.core.belief.copper import copper_of

    copper = copper_of(graph)
    for point in (point_a, point_b):
        if point not in copper.points:
            raise refuse("PRA-001", f"The practice board has no point {point}.", "Name a point of this board.")
    a, b = copper.points[point_a].node, copper.points[point_b].node
    if copper.tree.piece[a] != copper.tree.piece[b]:
        raise refuse(
            "PRA-002", f"{point_a} and {point_b} are not joined by copper.", "Name two points of one net for a break."
        )
    single = [
        copper.block_sites[block][0] for block, _, _ in copper.tree.route(a, b) if len(copper.block_sites[block]) == 1
    ]
    if not single:
        raise refuse(
            "PRA-003",
            f"Between {point_a} and {point_b} there are two ways round: one break does not part them.",
            "Name two points with one way between them, or the site's id.",
        )
    return graph.sites[max(single, key=lambda k: (prior[k], -k))].id
