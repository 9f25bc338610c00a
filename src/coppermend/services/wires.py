"""Patch wires for a case or for a bare board: propose them, and list the checks that prove one that was fitted."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from coppermend.core.board.model import Board
from coppermend.core.board.names import nearest_names
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.worked import TrackCut, rejoined, worked
from coppermend.core.findings import Place, refuse
from coppermend.core.log.consent import Consent, consent_of
from coppermend.core.log.state import Wire
from coppermend.core.rework.insulation import never_bare
from coppermend.core.rework.prove import ProofCheck, prove_wire
from coppermend.core.rework.routes_cut import CutPlace, cut_places, place_words, track_at
from coppermend.core.rework.wires import WirePlan, needed_pins, propose_wires
from coppermend.services.askedagain import asked_again
from coppermend.services.bench import posterior_of
from coppermend.services.bind import Binding, bind
from coppermend.services.cutwork import OPEN, unread_under_wires
from coppermend.services.laying import PLAIN, Laying, board_ways
from coppermend.services.newwire import doubtful, ends_of, without_wire
from coppermend.services.points import meant
from coppermend.services.surety import Known, known_of, whole_or_refused
from coppermend.services.wirebeside import beside
from coppermend.services.workshop import Workshop

CUT_AT = re.compile(r"(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)/([cs])")
"""A place to cut as typed: X,Y/side in mm."""

INNER_CUT = re.compile(r"-?\d+(?:\.\d+)?,-?\d+(?:\.\d+)?/i\d+")
"""A place on an inner layer, where nothing can be cut."""

WHOLE_RUN = "A run named as a whole is given up as a whole: no wire ends on what the cut leaves of it. Name a place (--cut X,Y/side) to keep the rest."
"""Said where a cut is named by its run's id."""

OVER_FREED = "Where the wire passes over the stretch that was cut free, insulated wire only, however short: that copper may still touch the other net."
"""Said where a track is cut at a place. Common practice, no source."""


UNASKED = (
    "No wire ends on a bared track, which can be shorter: scraping the mask off cannot be undone, and the owner was not asked yet "
    "(coppermend intake note CASE consent)."
)
"""Said of plans in a case whose owner was not asked what may be done that cannot be undone."""

UNASKED_CUT = "A cut cannot be undone, and the owner was not asked yet (coppermend intake note CASE consent)."
"""The same of tracks to be cut."""


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
    """The wires that restore a net of a case. ``broken``: site ids; without them the breaks that are sure enough to wire (``services/surety.py``).

    A net that a cut has left in pieces is planned for all the pins that hung together before. A net that hangs together again comes back as a plan without
    wires (kind "whole") that says by what. ``needed``: points as people name them. Refusals WIR-006 (no break is known), WIR-016 (a break is likely,
    but not sure enough to wire).
    """
    bound = bind(workshop, case)
    index = net_index(bound.graph, net)
    owner = consent_of(bound.state.intake)
    said = _owners_word(owner, laying)
    if not owner.allows("scrape mask"):
        laying = replace(laying, scrape=False)
    if broken:
        return _noted(_laid(bound.board, bound.graph, index, broken, needed, side, current_a, laying), said)
    known = known_of(bound, index, asked=bool(laying.cut))
    if not known.broken and known.parted is None and not laying.cut:
        return Laid((whole_or_refused(bound, index),))
    pins = needed or (_with_cut_pins(bound.graph, index, known, laying) if laying.cut else known.pins)
    laid = _laid(bound.board, bound.graph, index, known.broken, pins, side, current_a, laying)
    laid = laid if known.parted is None else replace(laid, plans=_covered(laid.plans))
    doubts = tuple(one.words for one in known.doubts)
    return replace(laid, plans=tuple(replace(one, notes=(*doubts, *one.notes)) for one in _noted(laid, said).plans))


def _owners_word(owner: Consent, laying: Laying) -> tuple[str, ...]:
    """What the owner has to be asked about, or has not agreed to, before wires are laid so."""
    said = []
    if laying.cut and owner.stops("cut track"):
        said.append("A cut cannot be undone, and by intake the owner has not agreed to it: ask first.")
    if not owner.asked:
        said += [UNASKED_CUT] if laying.cut else []
        said += [UNASKED] if laying.scrape and not laying.straight else []
    return tuple(said)


def _noted(laid: Laid, said: Sequence[str]) -> Laid:
    """The plans with ``said`` before their own notes, where there are wires to lay."""
    return replace(
        laid, plans=tuple(replace(one, notes=(*said, *one.notes)) if one.wires else one for one in laid.plans)
    )


def _with_cut_pins(graph: CopperGraph, net: int, known: Known, laying: Laying) -> tuple[str, ...]:
    """The pins of what is known to be apart, and of what the tracks to be cut will part."""
    sites = [*known.broken, *(one.site for named in laying.cut for one in _cuts(graph, named))]
    return tuple(dict.fromkeys((*known.pins, *needed_pins(graph, net, _on_net(graph, net, sites), ()))))


def plans_round_cuts(bound: Binding, net: int) -> tuple[WirePlan, ...]:
    """The wires that restore a net which cuts have parted, with the breaks that are known on it."""
    known = known_of(bound, net)
    laying = replace(PLAIN, scrape=consent_of(bound.state.intake).allows("scrape mask"))
    return _laid(bound.board, bound.graph, net, known.broken, known.pins, "", 0.0, laying, 0).plans


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
    alternatives: int = 3,
) -> Laid:
    points = [meant(graph, one) for one in needed]
    cuts = [cut for one in laying.cut for cut in _cuts(graph, one)]
    _on_net(graph, net, [*broken, *(one.site for one in cuts)])
    whole = [one.site for named in laying.cut if not CUT_AT.fullmatch(named.strip()) for one in _cuts(graph, named)]
    if cuts and not points:
        points = list(needed_pins(graph, net, [*broken, *(one.site for one in cuts)], ()))
    placed = [one for one in cuts if one.site not in whole]
    parted = worked(
        graph, cuts=[TrackCut(f"planned{k}", "", "", one.side, one.x_mm, one.y_mm) for k, one in enumerate(placed)]
    )
    plans = propose_wires(
        parted,
        _still_there(parted, (*broken, *whole)),
        points,
        board,
        side=side,
        current_a=current_a,
        alternatives=alternatives,
        ways=board_ways(board, graph, laying, net),
        scrape=laying.scrape and not laying.straight and copper_is_known(board),
        net=net,
        sound=rejoined(parted, net),
    )
    not_so = tuple(words for one in laying.cut for words in _place_words(graph, one))
    said = (*((WHOLE_RUN,) if whole else ()), *not_so, *((OVER_FREED,) if placed else ()))
    plans = tuple(replace(one, notes=(*one.notes, *said)) for one in plans) if said else plans
    return Laid(_covered(plans) if placed else plans, tuple(cuts))


def _covered(plans: Sequence[WirePlan]) -> tuple[WirePlan, ...]:
    """The plans with wires that are never bare: copper that was cut free may lie under them."""
    return tuple(
        replace(plan, wires=tuple(replace(one, insulation=never_bare(one.insulation)) for one in plan.wires))
        for plan in plans
    )


def _cuts(graph: CopperGraph, named: str) -> tuple[CutPlace, ...]:
    """The cuts of a run named by its site id or by a place."""
    if INNER_CUT.fullmatch(named.strip()):
        raise refuse(
            "WIR-012",
            f"{named} lies on an inner layer: no knife reaches a track there.",
            "Cut where the net comes to an outer layer (X,Y/c or X,Y/s in mm), or drill out the via that leads inside.",
            Place(thing=named),
        )
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


def _place_words(graph: CopperGraph, named: str) -> tuple[str, ...]:
    """What a place to cut does not get; nothing for a run named as a whole."""
    place = CUT_AT.fullmatch(named.strip())
    if place is None:
        return ()
    at = float(place[1]), float(place[2])
    site = track_at(graph, *at, place[3])
    return place_words(graph, site, at, cut_places(site, at))


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
    at = {site.id: site for site in graph.sites}
    for one in broken:
        if one in at and at[one].net != net:
            other = graph.net_names[at[one].net]
            raise refuse(
                "WIR-009",
                f"{at[one].words or one} lies on net {other}, not on {graph.net_names[net]}.",
                f"Ask for net {other}, or name a place on {graph.net_names[net]}.",
                Place(thing=one),
            )
    return broken


def _still_there(parted: CopperGraph, broken: Sequence[str]) -> tuple[str, ...]:
    """Broken sites by their ids after cuts: of a run that was parted, every stretch."""
    now = [site.id for site in parted.sites]
    known = frozenset(now)
    return tuple(
        dict.fromkeys(
            name
            for one in broken
            for name in ([one] if one in known else [n for n in now if n.startswith(f"{one}|")] or [one])
        )
    )


def proof_of(bound: Binding, wire: Wire) -> tuple[ProofCheck, ...]:
    """The checks that prove this wire on the board as it is now; over a cut that never read open, the cut's own check first."""
    without, found = without_wire(bound.graph, wire.id), ends_of(bound.graph, wire)
    if not found:
        return ()
    ohm = next((site.resistance_ohm for site in bound.graph.sites if site.id == f"wire@{wire.id}"), None)
    doubt = doubtful(bound, posterior_of(bound), found[0].net)
    checks = prove_wire(without, found[0].id, found[1].id, (), beside(bound, found), ohm, doubt)
    return (*_over_unread_cut(bound, wire, checks), *_read_again(bound, wire, found[0].net))


def _read_again(bound: Binding, wire: Wire, net: int) -> tuple[ProofCheck, ...]:
    """The pairs of the wire's net that read open before it and were not read since."""
    numbers = {one.entry: one.ref for one in bound.state.timeline}
    return tuple(
        ProofCheck("again", one.a.id, one.b.id, "closed", None, f"It read open (no. {', '.join(map(str, one.numbers))}) before the wire and was not read since.")
        for one in asked_again(bound)
        if one.a.net == net and one.wire == numbers.get(wire.id)
    )  # fmt: skip


def _over_unread_cut(bound: Binding, wire: Wire, checks: tuple[ProofCheck, ...]) -> tuple[ProofCheck, ...]:
    """The checks of a wire with those of a cut under it that no reading shows open: until then closed proves nothing of the wire."""
    unread = next((one for one in unread_under_wires(bound) if wire.id in one.wires), None)
    if unread is None:
        return checks
    where, undo = unread.parted.where, ", ".join(f"note CASE undo {number}" for number in unread.numbers)
    lifted = f"With one end of {unread.named} lifted (and {undo}): the cut at {where} has not been read open."
    first = [
        ProofCheck("cut", one.point_a, one.point_b, "open", None, lifted)
        for one in unread.parted.checks
        if one.said != OPEN
    ]
    why = f"Not proof of the wire: the cut at {where} has not been read open, the track itself may be what beeps."
    rest = [replace(one, proves=False, reason=why) if one.proves and one.expect == "closed" else one for one in checks]
    return (*first, *rest)


def why_no_check(bound: Binding, wire: Wire) -> str:
    """Why no reading proves a wire; "" where some do."""
    if ends_of(bound.graph, wire):
        return ""
    nets = [one.net or "a net without name" for one in (wire.a, wire.b)]
    if nets[0] != nets[1]:
        return (
            f"It joins two nets that the board keeps apart, {nets[0]} and {nets[1]}: no reading proves it. See that it is meant, or take it off and "
            "its entry back (note CASE undo NUMBER)."
        )
    return "No reading proves it now: one of its ends is not there in the present part states."
