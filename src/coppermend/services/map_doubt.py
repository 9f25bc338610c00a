"""Whether the map of a binding is in doubt, and what it needs before anything else."""

from __future__ import annotations

from dataclasses import replace

from coppermend.core.belief.copper import copper_of
from coppermend.core.belief.maptrust import MAP_WRONG, MAP_WRONG_ONCE_CORRECTED, MapReading
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.planning.costs import TipState
from coppermend.core.planning.map_first import MapTrust, map_checks, map_step, map_trust, pins_of_nets
from coppermend.core.planning.model import Check, NextStep
from coppermend.services.bind import Binding, map_fixes


def trust_of(binding: Binding) -> MapTrust:
    """The trust of a binding, kept with it."""
    if "map trust" not in binding.memo:
        before = MAP_WRONG_ONCE_CORRECTED if map_fixes(binding.state) else MAP_WRONG
        trust = map_trust(
            binding.graph,
            binding.areas,
            binding.evidence,
            binding.basis,
            binding.costs,
            before=before,
            chosen=_chosen(binding),
        )
        binding.memo["map trust"] = replace(trust, agreed=_agreed_since(binding, trust))
    found: MapTrust = binding.memo["map trust"]
    return found


def _chosen(binding: Binding) -> tuple[Check, ...]:
    """The checks on the map, chosen once for the copper and the areas."""
    key = ("map checks", id(binding.graph), tuple(area.polygon for area in binding.areas))
    if key not in binding.kept:
        graph = binding.graph
        skipped = frozenset(p.id for p in graph.points if not p.reachable)
        copper = copper_of(graph, binding.basis.closed_below_ohm)
        pins = pins_of_nets(graph)
        found = map_checks(copper, binding.areas, binding.basis, binding.costs, tips_of(binding), pins, skipped=skipped)
        binding.kept[key] = (graph, found)
    chosen: tuple[Check, ...] = binding.kept[key][1]
    return chosen


def map_first(binding: Binding) -> NextStep | None:
    """What the map needs before anything else: a contradiction since it was last said to agree, or its checks while the round has not begun; else None.

    A practice patient is made from the case's own package, and a board from a pin list has no map to differ from: neither is asked for.
    """
    if not binding.areas or not copper_is_known(binding.board):
        return None
    if binding.state.practice and not binding.evidence:
        return None
    trust = trust_of(binding)
    if news := _unsettled(binding, trust):
        fresh = replace(trust, readings=tuple(one for one in trust.readings if not one.contradicts or one in news))
        if fresh.state == "wrong" or _once(fresh):
            return map_step(fresh, binding.graph)
    if trust.agreed or binding.state.practice or _round_begun(binding, trust):
        return None
    return map_step(trust, binding.graph)


def doubt_words(binding: Binding) -> str:
    """What stands between map and board while the round goes on: where they differ and P(map wrong); empty where nothing does or it was settled."""
    if binding.state.practice or not copper_is_known(binding.board):
        return ""
    trust = trust_of(binding)
    news = _unsettled(binding, trust)
    if not news or trust.state in ("trusted", "agreed"):
        return ""
    places = "; ".join(f"{one.point_a} to {one.point_b} is {'closed' if one.closed else 'open'}" for one in news[:2])
    return (
        f"Map and board differ: {places}. P(map wrong) {trust.p_wrong:.2f}. It may be an old break, or another board or revision: "
        "compare type, revision and date (coppermend map check CASE)."
    )


def _agreed_at(binding: Binding) -> int:
    """The position in the log of the last note that map and board agree; -1 without one."""
    return max((one.at for one in binding.state.map_notes if one.says == "agreed"), default=-1)


def _agreed_since(binding: Binding, trust: MapTrust) -> bool:
    """Whether map and board were said to agree after all that differs."""
    return _agreed_at(binding) >= 0 and not _unsettled(binding, trust)


def _unsettled(binding: Binding, trust: MapTrust) -> tuple[MapReading, ...]:
    """Readings that differ from the map and were not there yet when both were said to agree. What was compared then stays so: the same two points read again, and
    other opens on a net that read open then, are the same break."""
    agreed = _agreed_at(binding)
    if agreed < 0:
        return trust.contradictions
    first = {one: _first_at(binding, one) for one in trust.contradictions}
    nets = {_net(binding, one) for one, at in first.items() if one.joined and at <= agreed}
    return tuple(one for one, at in first.items() if at > agreed and not (one.joined and _net(binding, one) in nets))


def _net(binding: Binding, one: MapReading) -> int:
    return binding.graph.point(one.point_a).net


def _once(trust: MapTrust) -> bool:
    """Whether a reading that differs from the map was taken only once: a tip that did not bite is likelier than another board."""
    return any(one.times < 2 for one in trust.contradictions)


def _first_at(binding: Binding, one: MapReading) -> int:
    """The position in the log of the first reading between two points that said what differs."""
    at = {r.entry: r.at for r in binding.state.readings}
    pair, other = {one.point_a, one.point_b}, "open" if one.closed else "closed"
    return min(
        (at[e.entry] for e in binding.evidence if {e.point_a, e.point_b} == pair and e.says != other and e.entry in at),
        default=-1,
    )


def _round_begun(binding: Binding, trust: MapTrust) -> bool:
    """Whether a reading was taken that is none of the map's checks."""
    own = {frozenset((c.point_a, c.point_b)) for c in trust.chosen}
    return any(frozenset((e.point_a, e.point_b)) not in own for e in binding.evidence)


def tips_of(binding: Binding) -> TipState:
    """Where the probes were left."""
    a, b = (binding.graph.point(one) if one else None for one in binding.tips)
    return TipState(a, b, up=a.side if a is not None else "c")
