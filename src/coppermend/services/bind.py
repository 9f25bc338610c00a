"""The case bound to its board: the copper as it is now, the readings that still speak, the areas and the numbers a belief needs.

Everything is computed from the log and the board; nothing is stored. One binding per case is kept until its log grows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any

from coppermend.core.belief.engine import belief
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.board.model import Board, PartState
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.laps import still_broken
from coppermend.core.copper.mapfix import APART, JOINED, MapFix, with_map_fixes
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.neighbours import nets_near
from coppermend.core.copper.worked import PatchWire, TrackCut, worked
from coppermend.core.findings import Place, Refusal, refuse
from coppermend.core.log.state import CaseState, Cut, PointRef, Wire
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.learned import with_learned
from coppermend.core.planning.spans import spans
from coppermend.services.around import on_board
from coppermend.services.cases import case_state, find_case
from coppermend.services.evidence import fold_evidence
from coppermend.services.idle import set_idle_aside
from coppermend.services.learnednumbers import factors_in
from coppermend.services.looks import looked_areas, with_dirt
from coppermend.services.numbers import basis_of, costs_of
from coppermend.services.points import point_now
from coppermend.services.ports import ShelvedBoard
from coppermend.services.ties import along_readings, ties_read
from coppermend.services.workshop import Workshop

KEPT_GRAPHS, KEPT_CASES = 24, 8
"""How many overlays of one case, and how many cases, are kept in memory."""


@dataclass(frozen=True, slots=True)
class Binding:
    """A case on its board. ``base`` the copper as built, ``graph`` with part states, wires, cuts and known breaks, skipped points out of reach.

    ``broken`` sites that the readings showed broken: patched since, or ``idle`` (no pin hangs on them, nothing to patch);
    ``mended`` (entry of the wire or act, site ids) of each break that the readings had shown before it was mended; ``expired`` (entry, why) of readings that speak no more;
    ``tips`` the points where the probes were left, "" when not known. ``memo`` keeps what was computed from this binding,
    ``kept`` what holds as long as the copper stays as it is (graphs, neighbours): handed on to the case's next binding.
    """

    case: str
    mark: str
    state: CaseState
    board: Board
    base: CopperGraph
    graph: CopperGraph
    areas: tuple[WorkArea, ...]
    evidence: tuple[Evidence, ...]
    basis: Basis
    costs: CostTable
    broken: tuple[str, ...]
    idle: tuple[str, ...]
    mended: tuple[tuple[str, tuple[str, ...]], ...]
    expired: tuple[tuple[str, str], ...]
    tips: tuple[str, str]
    kept: dict[Any, Any] = field(default_factory=dict, compare=False, repr=False)
    memo: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def marking(self) -> tuple[WorkArea, ...]:
        """The areas that mark copper as suspect: without the places where something was looked for and not seen."""
        return tuple(one for one in self.areas if not one.lowers)


def bind(workshop: Workshop, case: str) -> Binding:
    """The binding of a case, kept until the log grows. Refusal CAS-004 when its board cannot be had."""
    mark = workshop.store.mark(case)
    known = workshop.bindings.get(case)
    if known is not None and known.mark == mark:
        return known
    state = case_state(workshop, case)
    shelved = workshop.shelf.known(state.package_id) or _taken(workshop, state)
    if shelved.board.package_id != state.package_id:
        raise refuse(
            "CAS-004",
            f"The package {state.package} was changed since the case was opened: its id begins {shelved.board.package_id[:12]}, expected {state.package_id[:12]}.",
            "Put the files back as they were, or say that they were corrected: coppermend case board CASE --board PACKAGE --changed.",
            Place(thing=f"case {case}"),
        )
    kept = known.kept if known is not None and known.base is shelved.graph else None
    made = bind_state(state, shelved.board, shelved.graph, mark, kept)
    workshop.bindings.pop(case, None)
    workshop.bindings[case] = made
    _forget(made.kept, KEPT_GRAPHS)
    _forget(workshop.bindings, KEPT_CASES)
    return made


def board_first(workshop: Workshop, named: str) -> None:
    """Begin with the board of a case before anything is written to it: BeingBuilt while it is being built. A board that cannot be had is left to who asks for it."""
    if workshop.building is not None:
        with suppress(Refusal):
            bind(workshop, find_case(workshop, named))


def _forget(kept: dict[Any, Any], most: int) -> None:
    """Let go of what was kept longest, beyond ``most``."""
    for key in list(kept)[:-most]:
        kept.pop(key, None)


def _taken(workshop: Workshop, state: CaseState) -> ShelvedBoard:
    """The board read from where the log says its package is."""
    try:
        return workshop.shelf.take(state.package)
    except Refusal as err:
        raise refuse(
            "CAS-005",
            f"The board of this case cannot be had: {err.finding.words}",
            f"{err.finding.remedy} Or say where its package is now: coppermend case board CASE --board PACKAGE.",
            err.finding.place,
        ) from err


def bind_state(
    state: CaseState, board: Board, base: CopperGraph, mark: str = "", kept: dict[Any, Any] | None = None
) -> Binding:
    """The binding of a state and its board. ``kept``: what earlier bindings of the case on this base computed; the same either way."""
    kept = {} if kept is None else kept
    state = on_board(state, board)
    basis = basis_of(state)
    areas = with_learned(looked_areas(state, work_area(state), base, basis), factors_in(state))
    overlay = _Overlay(state, base, kept)

    def breaks_in(graph: CopperGraph, evidence: Sequence[Evidence]) -> Sequence[tuple[str, ...]]:
        return known_breaks(graph, areas, with_dirt(state, evidence), basis)

    def graph_with(broken: Sequence[str]) -> CopperGraph:
        return overlay.graph_at(state.wires, state.cuts, broken)

    def nets_at(place: PointRef) -> frozenset[str]:
        return cleared_nets(board, base, place)

    held = fold_evidence(state, overlay.graph_at, breaks_in, nets_at)
    folded, idle = set_idle_aside(held, graph_with, breaks_in)
    graph = overlay.skipped(graph_with(folded.broken))
    return Binding(
        state.case,
        mark,
        state,
        board,
        base,
        graph,
        areas,
        with_dirt(state, folded.evidence),
        basis,
        costs_of(state),
        folded.broken,
        idle,
        folded.mended,
        folded.expired,
        _tips(state, graph),
        kept,
    )


def work_area(state: CaseState) -> list[WorkArea]:
    """The work areas as a belief takes them."""
    return [WorkArea(one.id, one.polygon, one.kind, one.severity, one.label, one.part) for one in state.areas]


def part_states(state: CaseState) -> dict[str, PartState]:
    """The state of every part that the log names."""
    return {part: PartState(how) for part, how in state.part_states}


CLEARED_MM = 3.0
"""What is cleared at a place may have joined any two nets whose copper comes this near to it: a place is named to a millimetre or two. Assumed; a
generous figure costs one reading more."""


def cleared_nets(board: Board, base: CopperGraph, place: PointRef) -> frozenset[str]:
    """The nets between which something was cleared at a pin or a place on the board; none where the copper is not known."""
    if not copper_is_known(board):
        return frozenset()
    return frozenset(base.net_names[net] for net in nets_near(board, place.x_mm, place.y_mm, place.side, CLEARED_MM))


def known_breaks(
    graph: CopperGraph, areas: Sequence[WorkArea], evidence: Sequence[Evidence], basis: Basis
) -> tuple[tuple[str, ...], ...]:
    """The spans that the evidence shows broken beyond doubt (P > ``broken_above``): their site ids."""
    posterior = belief(graph, areas, evidence, basis)
    return tuple(one.sites for one in spans(graph, posterior, basis, above=basis.broken_above))


@dataclass(frozen=True, slots=True)
class _Overlay:
    """Lays wires, cuts and known breaks over the base graph under the part states of now."""

    state: CaseState
    base: CopperGraph
    kept: dict[Any, Any]

    def graph_at(self, wires: Sequence[Wire], cuts: Sequence[Cut], broken: Sequence[str]) -> CopperGraph:
        """The worked graph. The same overlay gives the same object again, so that what others derived from it holds."""
        key = (
            "graph",
            tuple(one.id for one in wires),
            tuple(one.id for one in cuts),
            tuple(broken),
            self.state.part_states,
            self._said(),
            ties_read(self.state, self.base, wires),
            tuple((one.entry, one.says) for one in self.state.map_notes),
        )
        if key not in self.kept:
            self.kept[key] = self._laid(wires, cuts, broken)
        found: CopperGraph = self.kept[key]
        return found

    def skipped(self, graph: CopperGraph) -> CopperGraph:
        """The graph without the points that cannot be reached; the same object for the same points."""
        points = tuple(point.id for one in self.state.skips for point in one.points)
        key = ("skipped", id(graph), points)
        if key not in self.kept:
            self.kept[key] = (graph, _without_skipped(graph, self.state))
        found: CopperGraph = self.kept[key][1]
        return found

    def _said(self) -> tuple[str, ...]:
        return tuple(sorted({act.part for act in self.state.acts if act.state == str(PartState.SOCKETED)}))

    def _laid(self, wires: Sequence[Wire], cuts: Sequence[Cut], broken: Sequence[str]) -> CopperGraph:
        states = part_states(self.state)
        laid = [PatchWire(one.id, one.a.id, one.b.id, one.diameter_mm, one.length_mm) for one in wires]
        parted = [TrackCut(one.id, layer=one.side, x_mm=one.x_mm, y_mm=one.y_mm) for one in cuts]
        graph = worked(self.base, states, laid, parted, sockets(self.state, self.base, states))
        graph = with_map_fixes(graph, map_fixes(self.state))
        graph = along_readings(self.state, graph, wires, broken)
        if not broken:
            return graph
        gone = still_broken(graph, broken)
        return replace(graph, sites=tuple(site for site in graph.sites if site.id not in gone), memo={})


def map_fixes(state: CaseState) -> tuple[MapFix, ...]:
    """The corrections of the map that the log holds."""
    return tuple(
        MapFix(one.entry, one.says, one.points[0].id, one.points[1].id if len(one.points) > 1 else "")
        for one in state.map_notes
        if one.says in (JOINED, APART) and one.points
    )


def sockets(state: CaseState, base: CopperGraph, states: Mapping[str, PartState]) -> frozenset[str]:
    """The parts that have a socket on the board now: built so, or said to be in one since, and not bare or soldered now."""
    built = {ref for ref, how in base.built_states if how is PartState.SOCKETED}
    said = {act.part for act in state.acts if act.state == str(PartState.SOCKETED)}
    without = {ref for ref, how in states.items() if how in (PartState.NOT_FITTED, PartState.SOLDERED)}
    return frozenset((built | said) - without)


def _without_skipped(graph: CopperGraph, state: CaseState) -> CopperGraph:
    """The graph with the points that were said to be out of reach marked so."""
    why = {
        point.id: one.words or "said to be out of reach"
        for one in state.skips
        for point in (point_now(graph, ref) for ref in one.points)
        if point is not None
    }
    if not why:
        return graph
    points = tuple(replace(one, reachable=False, why_not=why[one.id]) if one.id in why else one for one in graph.points)
    return replace(graph, points=points, memo={})


def _tips(state: CaseState, graph: CopperGraph) -> tuple[str, str]:
    """Where the probes were left: the points of the last two-point reading, as far as they are still there."""
    for one in reversed(state.readings):
        if len(one.points) == 2:
            return _id_now(graph, one.points[0]), _id_now(graph, one.points[1])
    return "", ""


def _id_now(graph: CopperGraph, ref: PointRef) -> str:
    found = point_now(graph, ref)
    return found.id if found is not None else ""
