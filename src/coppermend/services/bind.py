"""The case bound to its board: the copper as it is now, the readings that still speak, the areas and the numbers a belief needs.

Everything is computed from the log and the board; nothing is stored. One binding per case is kept until its log grows.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

from coppermend.core.belief.engine import belief
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.board.model import Board, PartState
from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import CaseState, Cut, PointRef, Wire
from coppermend.services.cases import case_state
from coppermend.services.evidence import Folded, fold_evidence
from coppermend.services.points import point_now
from coppermend.services.workshop import Workshop

CUT_REACH_MM = 0.6
"""A cut named at a place parts the track within this."""

DEFAULT_WIRE_MM = 0.255
"""Diameter taken for a wire whose gauge was not noted: 30 AWG wrap wire (ASTM B258)."""


@dataclass(frozen=True, slots=True)
class Binding:
    """A case on its board. ``base`` the copper as built, ``graph`` with part states, wires, cuts and known breaks, skipped points out of reach.

    ``broken`` sites that the readings showed broken before they were patched; ``expired`` (entry, why) of readings that speak no more;
    ``tips`` the points where the probes were left, "" when not known. ``memo`` keeps what was computed from this binding.
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
    broken: tuple[str, ...]
    expired: tuple[tuple[str, str], ...]
    tips: tuple[str, str]
    memo: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)


def bind(workshop: Workshop, case: str) -> Binding:
    """The binding of a case, kept until the log grows. Refusal CAS-004 when its board cannot be had."""
    mark = workshop.store.mark(case)
    known = workshop.bindings.get(case)
    if known is not None and known.mark == mark:
        return known
    state = case_state(workshop, case)
    shelved = workshop.shelf.known(state.package_id) or workshop.shelf.take(state.package)
    if shelved.board.package_id != state.package_id:
        raise refuse(
            "CAS-004",
            f"The package {state.package} was changed since the case was opened: its id begins {shelved.board.package_id[:12]}, expected {state.package_id[:12]}.",
            "Put the files back as they were, or name the right package: coppermend case board CASE --board PACKAGE.",
            Place(thing=f"case {case}"),
        )
    made = bind_state(state, shelved.board, shelved.graph, mark)
    workshop.bindings[case] = made
    return made


def bind_state(state: CaseState, board: Board, base: CopperGraph, mark: str = "") -> Binding:
    """The binding of a state and its board. Pure."""
    basis = basis_of(state)
    areas = tuple(work_area(state))
    overlay = _Overlay(state, board, base)

    def breaks_in(graph: CopperGraph, evidence: Sequence[Evidence]) -> Sequence[tuple[str, ...]]:
        return known_breaks(graph, areas, evidence, basis)

    folded = fold_evidence(state, overlay.graph_at, breaks_in)
    graph = _without_skipped(overlay.graph_at(state.wires, state.cuts, folded.broken), state)
    return Binding(
        state.case,
        mark,
        state,
        board,
        base,
        graph,
        areas,
        folded.evidence,
        basis,
        folded.broken,
        folded.expired,
        _tips(state, graph, folded),
    )


def basis_of(state: CaseState) -> Basis:
    """The numbers that the log says a belief uses; the defaults of this version where it names none. Fields of a later version are ignored."""
    values = {name: json.loads(text) for name, _, text in state.basis}.get("priors", {})
    known = {one.name for one in fields(Basis)}
    taken = {name: value for name, value in values.items() if name in known}
    if "severity_factor" in taken:  # JSON has text keys only
        taken["severity_factor"] = {int(key): float(value) for key, value in taken["severity_factor"].items()}
    return Basis(**taken)


def work_area(state: CaseState) -> list[WorkArea]:
    """The work areas as a belief takes them."""
    return [WorkArea(one.id, one.polygon, one.kind, one.severity, one.label, one.part) for one in state.areas]


def part_states(state: CaseState, base: CopperGraph) -> dict[str, PartState]:
    """The state of every part that the log names, over what was built."""
    built = dict(base.part_states)
    return {**built, **{part: PartState(how) for part, how in state.part_states}}


def known_breaks(
    graph: CopperGraph, areas: Sequence[WorkArea], evidence: Sequence[Evidence], basis: Basis
) -> tuple[tuple[str, ...], ...]:
    """The spans that the evidence shows broken beyond doubt (P > ``broken_above``): their site ids."""
    from coppermend.core.planning.spans import spans

    posterior = belief(graph, areas, evidence, basis)
    return tuple(one.sites for one in spans(graph, posterior, basis) if one.p > basis.broken_above)


@dataclass(frozen=True, slots=True)
class _Overlay:
    """Lays wires, cuts and known breaks over the base graph under the part states of now."""

    state: CaseState
    board: Board
    base: CopperGraph

    def graph_at(self, wires: Sequence[Wire], cuts: Sequence[Cut], broken: Sequence[str]) -> CopperGraph:
        """The worked graph."""
        from coppermend.core.copper.worked import worked

        gone = [*broken, *(site for cut in cuts for site in cut_sites(self.base, cut))]
        return worked(self.base, self.board, part_states(self.state, self.base), [_laid(one) for one in wires], gone)


def _laid(wire: Wire) -> Any:
    """A wire as the copper graph takes it."""
    from coppermend.core.copper.worked import WireLaid

    straight = ((wire.a.x_mm - wire.b.x_mm) ** 2 + (wire.a.y_mm - wire.b.y_mm) ** 2) ** 0.5
    return WireLaid(wire.id, wire.a.id, wire.b.id, wire.length_mm or straight, wire.diameter_mm or DEFAULT_WIRE_MM)


def cut_sites(base: CopperGraph, cut: Cut) -> tuple[str, ...]:
    """The track that a cut parted: the run nearest to its place on its side; none when no run is within reach."""
    best, best_mm = "", CUT_REACH_MM
    for site in base.sites:
        if site.kind is SiteKind.RUN and site.layer == cut.side:
            apart = _apart_mm(site, cut.x_mm, cut.y_mm) - site.width_mm / 2
            if apart < best_mm:
                best, best_mm = site.id, apart
    return (best,) if best else ()


def _apart_mm(site: Site, x: float, y: float) -> float:
    """Distance from a place to a site's path."""
    least = float("inf")
    for (x1, y1), (x2, y2) in zip(site.path, site.path[1:], strict=False):
        dx, dy = x2 - x1, y2 - y1
        square = dx * dx + dy * dy
        t = 0.0 if square == 0 else min(1.0, max(0.0, ((x - x1) * dx + (y - y1) * dy) / square))
        least = min(least, ((x1 + t * dx - x) ** 2 + (y1 + t * dy - y) ** 2) ** 0.5)
    return least


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


def _tips(state: CaseState, graph: CopperGraph, folded: Folded) -> tuple[str, str]:
    """Where the probes were left: the points of the last two-point reading, as far as they are still there."""
    for one in reversed(state.readings):
        if len(one.points) == 2:
            return _id_now(graph, one.points[0]), _id_now(graph, one.points[1])
    return "", ""


def _id_now(graph: CopperGraph, ref: PointRef) -> str:
    found = point_now(graph, ref)
    return found.id if found is not None else ""
