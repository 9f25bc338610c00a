"""Patch wires for a case or for a bare board: propose them, and list the checks that prove one that was fitted."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from coppermend.core.board.model import Board
from coppermend.core.board.names import nearest_names
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.copper.neighbours import neighbours
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import Wire
from coppermend.core.rework.pieces import pins_of
from coppermend.core.rework.prove import Neighbour, ProofCheck, prove_wire
from coppermend.core.rework.routes_cut import CutPlace, cut_places, track_at
from coppermend.core.rework.wires import WirePlan, propose_wires
from coppermend.services.bench import posterior_of
from coppermend.services.bind import Binding, bind, known_breaks
from coppermend.services.laying import PLAIN, Laying, board_ways
from coppermend.services.newwire import doubtful, ends_of, without_wire
from coppermend.services.points import meant
from coppermend.services.workshop import Workshop

CUT_AT = re.compile(r"(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)/([cs])")
"""A place to cut as typed: X,Y/side in mm."""

WINDOW_MM = 1.27
"""Neighbours of a soldered point within this edge-to-edge gap are checked (docs/sources.md, bare-board test); an input."""


@dataclass(frozen=True, slots=True)
class Laid:
    """The proposed plans, least first, and the cuts that come before the wires."""

    plans: tuple[WirePlan, ...]
    cuts: tuple[CutPlace, ...] = ()


def plan_for_case(
    workshop: Workshop,
    case: str,
    net: str,
    broken: Sequence[str] = (),
    needed: Sequence[str] = (),
    *,
    side: str = "",
    current_a: float = 0.0,
    laying: Laying = PLAIN,
) -> Laid:
    """The wires that restore a net of a case. ``broken``: site ids; without them the spans that the readings show broken on this net.

    A net on which a track was cut and that no reading calls broken is planned as the cuts left it, for all of its pins. ``needed``: points as people name
    them. Refusal WIR-006 when neither break nor cut is known on the net and no track is to be cut.
    """
    bound = bind(workshop, case)
    index = net_index(bound.graph, net)
    chosen = tuple(broken) or breaks_on_net(bound, index)
    noted = () if chosen else cut_on_net(bound, index)
    if noted:
        chosen, needed = noted, needed or pins_of(bound.graph, index)
    if not chosen and not laying.cut:
        raise refuse(
            "WIR-006",
            f"The readings show no break on net {net} yet.",
            "Narrow it down first (coppermend next), or name the broken sites with --broken, or tracks to cut with --cut.",
            Place(thing=net),
        )
    return _laid(bound.board, bound.graph, index, chosen, needed, side, current_a, laying)


def plan_for_package(
    workshop: Workshop,
    package: str,
    net: str,
    broken: Sequence[str],
    needed: Sequence[str] = (),
    *,
    side: str = "",
    current_a: float = 0.0,
    laying: Laying = PLAIN,
) -> Laid:
    """The wires that restore a net of a bare board after these sites are broken; parts stand as built."""
    shelved = workshop.shelf.take(package)
    index = net_index(shelved.graph, net)
    if not broken and not laying.cut:
        raise refuse(
            "WIR-007",
            "A bare board has no readings.",
            "Name the broken sites with --broken SITE, or tracks to cut with --cut.",
            Place(thing=net),
        )
    return _laid(shelved.board, shelved.graph, index, broken, needed, side, current_a, laying)


def _laid(
    board: Board,
    graph: CopperGraph,
    net: int,
    broken: Sequence[str],
    needed: Sequence[str],
    side: str,
    current_a: float,
    laying: Laying,
) -> Laid:
    points = [meant(graph, one) for one in needed]
    cuts = [cut for one in laying.cut for cut in _cuts(graph, one)]
    gone = tuple(dict.fromkeys((*_on_net(graph, net, broken), *_on_net(graph, net, [one.site for one in cuts]))))
    plans = propose_wires(
        graph,
        gone,
        points,
        board,
        side=side,
        current_a=current_a,
        ways=board_ways(board, graph, laying, net),
        scrape=laying.scrape and not laying.straight and copper_is_known(board),
    )
    return Laid(plans, tuple(cuts))


def _cuts(graph: CopperGraph, named: str) -> tuple[CutPlace, ...]:
    """The cuts of a run named by its site id or by a place."""
    place = CUT_AT.fullmatch(named.strip())
    if place:
        x, y = float(place[1]), float(place[2])
        return cut_places(track_at(graph, x, y, place[3]), (x, y))
    try:
        return cut_places(graph.site(named))
    except KeyError:
        raise refuse(
            "WIR-003",
            f"There is no site {named} on this board.",
            "Take the site ids from 'coppermend board graph PACKAGE --net N --json', or give a place such as 31.2,40.0/s.",
            Place(thing=named),
        ) from None


def net_index(graph: CopperGraph, net: str) -> int:
    """The index of the net with that name, case ignored. Refusal WIR-008 with the nearest names when there is none."""
    for index, name in enumerate(graph.net_names):
        if name.casefold() == net.strip().casefold():
            return index
    near = nearest_names(net, list(graph.net_names))
    remedy = f"Nearest names: {', '.join(near)}." if near else "List the nets with 'coppermend board nets'."
    raise refuse("WIR-008", f"This board has no net {net!r}.", remedy, Place(thing=net))


def _on_net(graph: CopperGraph, net: int, broken: Sequence[str]) -> Sequence[str]:
    """The broken sites, refused when one of them lies on another net than the named one."""
    at = {site.id: site.net for site in graph.sites}
    for one in broken:
        if one in at and at[one] != net:
            raise refuse(
                "WIR-009",
                f"{one} lies on net {graph.net_names[at[one]]}, not on {graph.net_names[net]}.",
                "Name the net that the site lies on.",
                Place(thing=one),
            )
    return broken


def breaks_on_net(bound: Binding, net: int) -> tuple[str, ...]:
    """Site ids of the spans that the readings show broken on this net and that no wire has bridged yet."""
    at = {site.id: site.net for site in bound.graph.sites}
    spans = known_breaks(bound.graph, bound.areas, bound.evidence, bound.basis)
    return tuple(site for span in spans for site in span if at.get(site) == net)


def cut_on_net(bound: Binding, net: int) -> tuple[str, ...]:
    """The stub beside a track of this net that was cut, as a site that leads nowhere; () where none was."""
    marks = tuple(f"|{one.id}" for one in bound.state.cuts)
    stubs = [site for site in bound.graph.sites if site.net == net and any(mark in site.id for mark in marks)]
    return tuple(site.id for site in sorted(stubs, key=lambda site: (site.length_mm, site.id))[:1])


def proof_for_wire(workshop: Workshop, case: str, entry: str = "") -> tuple[ProofCheck, ...]:
    """The checks that prove a patch wire of a case (the last one without ``entry``). Refusal WIR-010 when there is none."""
    bound = bind(workshop, case)
    wires = [one for one in bound.state.wires if not entry or one.id == entry]
    if not wires:
        raise refuse(
            "WIR-010",
            "No such patch wire was noted in this case.",
            "Note it first: coppermend note CASE patch POINT POINT.",
        )
    return proof_of(bound, wires[-1])


def proof_of(bound: Binding, wire: Wire) -> tuple[ProofCheck, ...]:
    """The checks that prove this wire on the board as it is now."""
    without, found = without_wire(bound.graph, wire.id), ends_of(bound.graph, wire)
    if not found:
        return ()
    ohm = next((site.resistance_ohm for site in bound.graph.sites if site.id == f"wire@{wire.id}"), None)
    doubt = doubtful(bound, posterior_of(bound), found[0].net)
    return prove_wire(without, found[0].id, found[1].id, (), beside(bound, found), ohm, doubt)


def beside(bound: Binding, ends: Collection[ProbePoint], window_mm: float = WINDOW_MM) -> tuple[Neighbour, ...]:
    """Foreign nets whose copper lies within the window of a soldered point, with the point to probe each at."""
    found: list[Neighbour] = []
    for end in ends:
        for pair in neighbours(bound.board, bound.graph, nodes=[end.node], window_mm=window_mm):
            other, point = (pair.net_b, pair.point_b) if pair.net_a == end.net else (pair.net_a, pair.point_a)
            if other != end.net and point:
                found.append(Neighbour(other, point, pair.gap_mm, end.id))
    return tuple(found)
