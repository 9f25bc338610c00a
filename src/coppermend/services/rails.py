"""Where each supply rail is measured to ground before power, and what it read since the last soldering."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.log.gate import RAIL_SHORT_OHM, is_ground, is_rail
from coppermend.services.bind import bind
from coppermend.services.workshop import Workshop


@dataclass(frozen=True, slots=True)
class Rail:
    """A rail: its net, the two points to touch.

    ``read``: since the last soldering; ``ohm`` what it read (None: overload or not read); ``low``: below RAIL_SHORT_OHM.
    """

    net: str
    ground: str
    point_a: str
    point_b: str
    read: bool
    ohm: float | None
    low: bool


def rails_for_case(workshop: Workshop, case: str) -> tuple[Rail, ...]:
    """The rails that the board's nets are named for, each with the pair of reachable points on rail and ground that lie nearest together. Empty when no net is named so."""
    binding = bind(workshop, case)
    graph, state = binding.graph, binding.state
    read: dict[frozenset[str], float | None] = {}
    for one in state.readings:
        if one.kind == "ohms" and one.at > state.last_soldering and len(one.points) == 2:
            read[frozenset(point.net for point in one.points)] = one.value
    out = []
    for rail, ground in _pairs(graph):
        pair = nearest_pair(graph, rail, ground)
        if pair is None:
            continue
        names = graph.net_names[rail], graph.net_names[ground]
        key = frozenset(names)
        value = read.get(key)
        low = value is not None and value < RAIL_SHORT_OHM
        out.append(Rail(names[0], names[1], pair[0].id, pair[1].id, key in read, value, low))
    return tuple(out)


def _pairs(graph: CopperGraph) -> list[tuple[int, int]]:
    """Every rail with the ground that has most points."""
    grounds = [i for i, name in enumerate(graph.net_names) if is_ground(name)]
    if not grounds:
        return []
    points: dict[int, int] = dict.fromkeys(grounds, 0)
    for one in graph.points:
        if one.net in points:
            points[one.net] += 1
    ground = max(grounds, key=lambda net: points[net])
    return [(i, ground) for i, name in enumerate(graph.net_names) if is_rail(name)]


def nearest_pair(graph: CopperGraph, net_a: int, net_b: int) -> tuple[ProbePoint, ProbePoint] | None:
    """The reachable points of parts' pins on two nets, on one side, that lie nearest together (but not closer than 2 mm: tips slip); None when there are none."""
    ends = [[p for p in graph.points if p.net == net and p.reachable and p.part] for net in (net_a, net_b)]
    best: tuple[float, str, str, ProbePoint, ProbePoint] | None = None
    for a in ends[0]:
        for b in ends[1]:
            if a.side != b.side:
                continue
            far = hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm)
            row = (far if far >= 2.0 else 100.0 + far, a.id, b.id, a, b)
            if best is None or row[:3] < best[:3]:
                best = row
    return None if best is None else (best[3], best[4])
