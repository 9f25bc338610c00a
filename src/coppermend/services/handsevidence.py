"""What hands did and saw at parts, as observations of the suspects: contacts worked on, chips swapped for a try, checks when a chip went out or in, the supply's figures."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from coppermend.core.belief.suspects.hands import GOOD, Effect, Worked
from coppermend.core.belief.suspects.posterior import Observation, Swapped, Witness
from coppermend.core.copper.model import SiteKind
from coppermend.core.log.fold import is_repair
from coppermend.core.log.state import Act, CaseState, ChipCheck
from coppermend.services.bind import Binding
from coppermend.services.chips import chip_cards
from coppermend.services.chiptries import mute_swaps
from coppermend.services.points import point_now
from coppermend.services.powered import PoweredBoard
from coppermend.services.railevidence import rail_witnesses
from coppermend.services.supplyproof import supply_witnesses

CHECK_SEEN: Mapping[str, tuple[float, float]] = {
    "orientation": (0.3, 0.002),
    "type": (0.2, 0.005),
    "speed": (0.1, 0.02),
    "legs": (0.3, 0.01),
    "seat": (0.3, 0.03),
    "joined": (0.95, 0.02),
}
"""Chance that a check of a chip finds it wrong where the part (orientation, type, speed) or its contacts (legs, seat, joined) are at fault, and where they
are not. Assumptions, no source; the last as ohms from leg to track, whose errors are those of a beep."""
WORDS = {
    "orientation": ("the right way round", "the wrong way round"),
    "type": ("of the right type", "of a wrong type"),
    "speed": ("fast enough", "too slow a grade"),
    "legs": ("has straight legs", "has bent legs"),
    "seat": ("sits tight", "sits loose"),
    "joined": ("joins its tracks", "does not reach its tracks"),
}


@dataclass(frozen=True, slots=True)
class HandSeen:
    """An observation, its place in the log, and whether it still speaks after a later repair (what was found right, work that lasts)."""

    seen: Observation
    at: int
    lasts: bool


def hand_evidence(
    binding: Binding, made: PoweredBoard, spares: tuple[str, ...] = ()
) -> tuple[tuple[HandSeen, ...], tuple[tuple[str, str], ...]]:
    """The observations, and (entry, why) of what tells nothing. ``spares``: parts of which the machine's file says that a known-good one is at hand."""
    state = binding.state
    found: list[HandSeen] = []
    unused: list[tuple[str, str]] = []
    for act in state.acts:
        one = _of_act(binding, act, made, spares)
        if isinstance(one, str):
            unused.append((act.entry, one))
        elif one is not None:
            found.append(one)
    found += _checks(state, made)
    found += [
        HandSeen(one, at, good) for one, at, good in (*supply_witnesses(binding, made), *rail_witnesses(binding, made))
    ]
    return tuple(found), tuple(unused)


def _of_act(binding: Binding, act: Act, made: PoweredBoard, spares: tuple[str, ...]) -> HandSeen | str | None:
    """The observation of one act; words where it tells nothing; None where it is no such act."""
    state = binding.state
    part = act.part or next((one.part for one in act.points if one.part), "")
    pins = tuple(sorted(one.pin for one in act.points if one.part == part and one.pin))
    if act.kind in ("press", "tap", "piggyback") and act.effect:
        sites = () if part else _sites_at(binding, act)
        if not part and not sites:
            return "what was pressed is no part, no pin and no via"
        seen = act.effect != "none"
        return HandSeen(Effect(act.kind, part, pins, seen, act.entry, sites), act.at, not seen)
    if act.kind == "swap" and act.trial:
        if act.effect not in ("cured", "none"):
            return f"{part} for a try: only whether it then works tells chip from socket"
        mute = mute_swaps(binding).get(act.entry, "")
        if mute:
            return f"{part} for a try: it says nothing: {mute}"
        good = GOOD[goodness_of(state, act.chip_in, part, spares)]
        socket = dict(state.part_states).get(part, "socketed" if _socketed(made, part) else "") == "socketed"
        return HandSeen(Swapped(part, act.effect == "cured", act.entry, good, socket), act.at, False)
    if part and is_repair(act) and act.kind in ("reseat", "clean", "press", "swap"):
        return HandSeen(Worked(act.kind, part, act.entry, pins), act.at, True)
    if act.kind == "fit" and act.state == "socketed":
        return HandSeen(Worked("swap", part, act.entry), act.at, True)
    return None


def _sites_at(binding: Binding, act: Act) -> tuple[str, ...]:
    """The barrels, joints and contacts at the places of an act."""
    graph = binding.graph
    found = [point_now(graph, one) for one in act.points]
    nodes = {one.node for one in found if one is not None}
    kinds = (SiteKind.BARREL, SiteKind.JOINT, SiteKind.CONTACT, SiteKind.LEG)
    return tuple(sorted(one.id for one in graph.sites if one.kind in kinds and {one.a, one.b} & nodes))


def _socketed(made: PoweredBoard, part: str) -> bool:
    row = made.circuit.by_ref.get(part)
    return row is not None and row.socketed


def goodness_of(state: CaseState, label: str, part: str, spares: tuple[str, ...]) -> str:
    """What is known of the chip that went in: its card's word; without a label that of the machine's spare parts."""
    card = chip_cards(state).get(label)
    if card is not None:
        return card.goodness
    return "known good" if not label and part in spares else "unknown"


def _checks(state: CaseState, made: PoweredBoard) -> list[HandSeen]:
    """The latest check of each item of each part (of each set of pins, where pins were named)."""
    last: dict[tuple[str, str, tuple[str, ...]], ChipCheck] = {}
    for one in state.chip_checks:
        if one.item in CHECK_SEEN:
            last[(one.part, one.item, one.pins)] = one
    found = []
    for one in last.values():
        hit, miss = CHECK_SEEN[one.item]
        if one.good:
            hit, miss = 1.0 - hit, 1.0 - miss
        words = f"{one.part} {WORDS[one.item][0 if one.good else 1]}"
        if one.item in ("legs", "seat", "joined"):
            row = made.circuit.by_ref.get(one.part)
            pins = one.pins or tuple(t.number for t in (row.terminals if row is not None else ()))
            words += f", pins {', '.join(one.pins)}" if one.pins else ""
            says = tuple(
                ("site", f"{kind}@{one.part}.{pin}", math.log(hit)) for pin in pins for kind in ("contact", "leg")
            )
        else:
            says = (("part", one.part, math.log(hit)),)
        found.append(HandSeen(Witness(says, math.log(miss), words, one.entry), one.at, one.good))
    return found
