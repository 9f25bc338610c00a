"""Where each supply rail is measured to ground before power, and what it read since the last soldering."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot

from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.findings import Refusal
from coppermend.core.log.gate import DIODE_SHORT_V, RAIL_SHORT_OHM, GateStatus, gate_status, is_ground, is_rail
from coppermend.services.bind import Binding, bind
from coppermend.services.cases import CaseView, case_state, show_case
from coppermend.services.cutwork import gate_with_cuts
from coppermend.services.looks import gate_with_looks
from coppermend.services.workshop import Workshop


@dataclass(frozen=True, slots=True)
class Rail:
    """A rail: its net, the two points to touch.

    ``read``: since the last soldering; ``ohm`` what it read (None: overload or not read); ``low``: below RAIL_SHORT_OHM, or
    below DIODE_SHORT_V in diode mode.
    """

    net: str
    ground: str
    point_a: str
    point_b: str
    read: bool
    ohm: float | None
    low: bool
    diode_v: float | None = None
    """What it read in diode mode since then, None: overload or not read."""


def rails_for_case(workshop: Workshop, case: str) -> tuple[Rail, ...]:
    """The rails that the board's nets are named for or that the device book's supply pins tell, each with the pair of reachable points on rail and ground
    that lie nearest together. Empty when there are none."""
    binding = bind(workshop, case)
    graph, state = binding.graph, binding.state
    read: dict[frozenset[str], float | None] = {}
    diode: dict[frozenset[str], float | None] = {}
    for one in state.readings:
        if one.kind in ("ohms", "diode") and one.at > state.last_soldering and len(one.points) == 2:
            (read if one.kind == "ohms" else diode)[frozenset(point.net for point in one.points)] = one.value
    out = []
    for rail, ground, pair in _measurable(binding):
        names = graph.net_names[rail], graph.net_names[ground]
        key = frozenset(names)
        value = read.get(key)
        volt = diode.get(key)
        low = (value is not None and value < RAIL_SHORT_OHM) or (volt is not None and abs(volt) < DIODE_SHORT_V)
        out.append(Rail(names[0], names[1], pair[0].id, pair[1].id, key in read, value, low, volt))
    return tuple(out)


def gate_of(binding: Binding) -> GateStatus:
    """The gate of a bound case: every rail of its board must have been measured to ground since the last soldering, the supply proven alone; what
    intake says; that no net waits for the wire round a cut, and no look found what power must not meet."""
    from coppermend.services.supplyproof import supply_of

    state, supply = binding.state, supply_of(binding)
    gate = gate_status(
        state.gate,
        state.readings,
        state.last_soldering,
        board_rails(binding),
        _grounds(binding),
        intake=state.intake,
        supply=supply.proof,
        limit_words=supply.limit_words,
    )
    return gate_with_looks(state, binding.base, gate_with_cuts(binding, gate))


def gate_of_case(workshop: Workshop, case: str) -> tuple[GateStatus, dict[str, list[str]]]:
    """The gate of a case, and its board's rails and grounds as a power entry keeps them; where the board cannot be had, one rail measured is enough."""
    try:
        binding = bind(workshop, case)
    except Refusal:
        state = case_state(workshop, case)
        return gate_status(state.gate, state.readings, state.last_soldering, intake=state.intake), {}
    rails = list(board_rails(binding))
    return gate_of(binding), {"rails": rails, "grounds": list(_grounds(binding))} if rails else {}


def show_case_with_rails(workshop: Workshop, case: str) -> CaseView:
    """A case as it stands, its gate by the rails that its board has."""
    return replace(show_case(workshop, case), gate=gate_of_case(workshop, case)[0])


def board_rails(binding: Binding) -> tuple[str, ...]:
    """The nets of a board's rails that a meter can be put to."""
    return tuple(binding.graph.net_names[rail] for rail, _, _ in _measurable(binding))


def _measurable(binding: Binding) -> list[tuple[int, int, tuple[ProbePoint, ProbePoint]]]:
    """Every rail with the ground that has most points, and the pair of points to touch; rails without such a pair are left out."""
    key = ("measurable rails", id(binding.graph))
    if key not in binding.kept:
        graph = binding.graph
        rails, grounds = _named(binding)
        count: dict[int, int] = dict.fromkeys(grounds, 0)
        for one in graph.points:
            if one.net in count:
                count[one.net] += 1
        ground = max(grounds, key=lambda net: count[net], default=-1)
        pairs = [(rail, nearest_pair(graph, rail, ground)) for rail in rails] if grounds else []
        binding.kept[key] = (graph, [(rail, ground, pair) for rail, pair in pairs if pair is not None])
    found: list[tuple[int, int, tuple[ProbePoint, ProbePoint]]] = binding.kept[key][1]
    return found


def _grounds(binding: Binding) -> tuple[str, ...]:
    return tuple(binding.graph.net_names[net] for net in _named(binding)[1])


def _named(binding: Binding) -> tuple[list[int], list[int]]:
    """The nets (numbers) that are rails and that are grounds, by name or by the device book's supply pins."""
    known = _by_book(binding)
    names = list(enumerate(binding.graph.net_names))
    grounds = [i for i, name in names if is_ground(name) or known.get(name) is True]
    return [i for i, name in names if (is_rail(name) or known.get(name) is False) and i not in grounds], grounds


def _by_book(binding: Binding) -> dict[str, bool]:
    """Supply nets that the device book tells: whether ground, by net."""
    key = ("rails by book", id(binding.board))
    if key not in binding.kept:
        from coppermend.devices.book import shipped
        from coppermend.services.powered import circuit_of

        rails = circuit_of(binding.board, shipped()).rails
        binding.kept[key] = (binding.board, {net: one.ground for net, one in rails.items()})
    found: dict[str, bool] = binding.kept[key][1]
    return found


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
