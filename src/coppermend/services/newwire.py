"""A patch wire that was just fitted: its own check comes before the rest of the round."""

from __future__ import annotations

from dataclasses import dataclass, replace

from coppermend.core.belief.engine import CopperBelief
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.log.state import PointRef, Wire
from coppermend.core.planning.costs import check_seconds
from coppermend.core.planning.describe import continuity_check, point_words
from coppermend.core.planning.model import NextStep
from coppermend.core.rework.pieces import components, nodes_of, sites_of
from coppermend.core.rework.prove import ProofCheck, prove_wire
from coppermend.services.bind import Binding
from coppermend.services.cautions import joined_by_wire_or_part
from coppermend.services.evidence import SAYS, says_open
from coppermend.services.map_doubt import tips_of
from coppermend.services.points import point_now


def new_wire_step(binding: Binding, posterior: CopperBelief) -> NextStep | None:
    """The reading across the wire fitted last that is neither proven nor read since; None when every wire has been.

    Its points are those of ``wire prove``. Where the old copper may still be whole, the reason says that closed proves nothing.
    """
    for wire in reversed(binding.state.wires):
        check = _bridge(binding, posterior, wire)
        if check is None or posterior.proven(f"wire@{wire.id}"):
            continue
        if not _read_since(binding, wire, check):
            return _step(binding, posterior, check)
    return None


@dataclass(frozen=True, slots=True)
class OpenWire:
    """A fitted wire whose last reading from end to end is open: its entry id, its ``number`` in the log, the points that were read."""

    entry: str
    number: int
    point_a: str
    point_b: str

    @property
    def words(self) -> str:
        """What is wrong and what to do, without the full stop."""
        return f"wire no. {self.number} reads open from {self.point_a} to {self.point_b}: resolder both its ends, then read it again"


def open_wires(binding: Binding) -> tuple[OpenWire, ...]:
    """The wires whose last reading between their own ends (the same pins or places), taken since they were fitted, is open and still speaks."""
    if "open wires" not in binding.memo:
        refs = {one.entry: one.ref for one in binding.state.timeline}
        found = [_read_open(binding, wire, refs.get(wire.id, 0)) for wire in binding.state.wires]
        binding.memo["open wires"] = tuple(one for one in found if one is not None)
    kept: tuple[OpenWire, ...] = binding.memo["open wires"]
    return kept


def _read_open(binding: Binding, wire: Wire, number: int) -> OpenWire | None:
    ends = ends_of(binding.graph, wire)
    if not ends:
        return None
    ours, gone = {_place(one) for one in ends}, {entry for entry, _ in binding.expired}
    for one in reversed(binding.state.readings):
        if one.at <= wire.at:
            break
        points = [point_now(binding.graph, ref) for ref in one.points]
        if one.kind not in SAYS or one.entry in gone or len(points) != 2:
            continue
        if {_place(point) for point in points if point is not None} == ours:
            return OpenWire(wire.id, number, one.points[0].id, one.points[1].id) if says_open(one) else None
    return None


def _place(point: ProbePoint) -> tuple[str, str]:
    """The pin of a point, or the place itself where it belongs to none."""
    return (point.part, point.pin) if point.part else ("", point.id)


def open_wire_step(binding: Binding, posterior: CopperBelief) -> NextStep | None:
    """Resolder the wire that reads open from end to end, and read it again; None where no wire does."""
    for one in open_wires(binding):
        copper, tips = posterior.copper, tips_of(binding)
        a, b = copper.points[one.point_a], copper.points[one.point_b]
        seconds, after = check_seconds(binding.costs, tips, a, b)
        reason = f"wire no. {one.number} reads open from end to end, whatever else joins its ends"
        check = continuity_check(copper, a, b, seconds, reason, after.up != tips.up)
        words = f"Resolder both ends of wire no. {one.number}, or lay it anew; then one tip on {point_words(a)}, the other on {point_words(b)}."
        return NextStep("retest", words, reason, seconds + 2 * binding.costs.look_s, 0.0, check=check)
    return None


def _bridge(binding: Binding, posterior: CopperBelief, wire: Wire) -> ProofCheck | None:
    """The check across a wire that is on the board."""
    found = ends_of(binding.graph, wire)
    if not found or not any(site.id == f"wire@{wire.id}" for site in binding.graph.sites):
        return None
    without, doubt = without_wire(binding.graph, wire.id), doubtful(binding, posterior, found[0].net)
    return prove_wire(without, found[0].id, found[1].id, (), doubtful=doubt)[0]


def doubtful(binding: Binding, posterior: CopperBelief, net: int) -> frozenset[str]:
    """Sites of the net that the readings do not prove sound."""
    return frozenset(one.id for one in binding.graph.sites if one.net == net and not posterior.proven(one.id))


def _read_since(binding: Binding, wire: Wire, check: ProofCheck) -> bool:
    """Whether a reading that crosses the wire, or its check, was taken after the wire was fitted."""
    graph = without_wire(binding.graph, wire.id)
    at = {point.id: point for point in graph.points}
    net = at[check.point_a].net
    home = components(nodes_of(graph, net), [(s.a, s.b) for s in sites_of(graph, net)])
    gone = {entry for entry, why in binding.expired if why.startswith("solder")}
    for one in binding.state.readings:
        ids = [ref.id for ref in one.points if ref.id in at and at[ref.id].net == net]
        if one.at <= wire.at or len(ids) != 2 or one.entry in gone:
            continue
        if set(ids) == {check.point_a, check.point_b} or home[at[ids[0]].node] != home[at[ids[1]].node]:
            return True
    return False


def _step(binding: Binding, posterior: CopperBelief, proof: ProofCheck) -> NextStep:
    points = posterior.copper.points
    a, b = points[proof.point_a], points[proof.point_b]
    tips = tips_of(binding)
    seconds, after = check_seconds(binding.costs, tips, a, b)
    turn = after.up != tips.up
    check = continuity_check(posterior.copper, a, b, seconds, proof.reason, turn)
    words = f"{'Turn the board over. ' if turn else ''}The new wire first: one tip on {point_words(a)}, the other on {point_words(b)}."
    return NextStep("check", words, proof.reason, seconds, 0.0, check=check)


def between_nets(binding: Binding) -> tuple[str, ...]:
    """A line for each wire whose ends lie on two nets that the copper keeps apart: no reading proves it, so it is said."""
    refs = {one.entry: one.ref for one in binding.state.timeline}
    net = {point.id: point.net for point in binding.graph.points}
    names = binding.graph.net_names
    return tuple(
        f"wire no. {refs.get(wire.id, 0)} joins two nets that the board keeps apart, {names[net[wire.a.id]]} and {names[net[wire.b.id]]}: see that it is meant, or take it off"
        for wire in binding.state.wires
        if wire.a.id in net
        and wire.b.id in net
        and net[wire.b.id] not in joined_by_wire_or_part(binding.base, net[wire.a.id])
    )


def without_wire(graph: CopperGraph, entry: str) -> CopperGraph:
    """The graph before that wire."""
    return replace(graph, sites=tuple(site for site in graph.sites if site.id != f"wire@{entry}"), memo={})


def ends_of(graph: CopperGraph, wire: Wire) -> tuple[ProbePoint, ...]:
    """Both ends of a wire on the board as it is now, or other points of the same pins; empty when one is not there or they are on two nets."""
    found = [one for one in (_end(graph, wire.a), _end(graph, wire.b)) if one is not None]
    return tuple(found) if len(found) == 2 and found[0].net == found[1].net else ()


def _end(graph: CopperGraph, ref: PointRef) -> ProbePoint | None:
    """A wire's end on the board as it is now, or another point of the same pin."""
    found = point_now(graph, ref)
    if found is not None or not ref.part:
        return found
    return next((p for p in graph.points if (p.part, p.pin) == (ref.part, ref.pin)), None)
