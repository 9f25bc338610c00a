"""A break inside one pin: its joint, its socket contact or its leg. No wire mends that; the hand does, cheapest first.

The order (seat the part anew, solder the joint again, replace the socket or the part) is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.log.state import Act
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.model import NextStep, Span
from coppermend.services.bind import Binding

INSIDE = (SiteKind.JOINT, SiteKind.CONTACT, SiteKind.LEG)
SOLDER_CAUTION = "Solder fumes and lead: air, no food at the bench, wash your hands; follow your local rules. The board is unpowered and earthed, so are you."
SOLDER_S = 60.0
"""Modelled seconds to solder one joint again; our assumption, between a reading and a patch wire of the shared bench table."""


@dataclass(frozen=True, slots=True)
class PinBreak:
    """A span that lies inside one pin: the part, the pin, and which of its sites are in it."""

    part: str
    pin: str
    kinds: tuple[SiteKind, ...]

    @property
    def name(self) -> str:
        """The pin as written everywhere."""
        return f"{self.part}.{self.pin}"


def pin_break(graph: CopperGraph, span: Span) -> PinBreak | None:
    """The pin that holds the whole span; None when other copper is in it."""
    sites = [graph.site(one) for one in span.sites]
    pins = {(site.part, site.pin) for site in sites}
    if len(pins) != 1 or not sites[0].part or any(site.kind not in INSIDE for site in sites):
        return None
    return PinBreak(sites[0].part, sites[0].pin, tuple(site.kind for site in sites))


def pin_step(binding: Binding, step: NextStep, found: PinBreak, costs: CostTable) -> NextStep:
    """What to do about a break inside a pin, instead of a wire: reseat, solder, or replace, whichever was not done yet."""
    socketed = SiteKind.CONTACT in found.kinds
    done = [act for act in binding.state.acts if _touched(act, found)]
    tried = {act.kind for act in done}
    why = f"{step.reason.rstrip('.')}. The break lies inside pin {found.name}; no wire can end there."
    if socketed and not tried & {"reseat", "swap", "fit"}:
        words = f"Take {found.part} out, look at leg {found.pin} and its contact, clean both, press the part in again; then note: reseat {found.part}."
        return _step(step, "reseat", words, why, costs.reseat_s)
    if SiteKind.JOINT in found.kinds and not tried & {"solder"}:
        where = _joint(binding.graph, found)
        return _step(
            step,
            "solder",
            f"Solder the joint of {found.name} again; then note: solder {where}.",
            why,
            SOLDER_S,
            SOLDER_CAUTION,
        )
    words = f"Take {found.part} out and read at the empty contact: it tells the socket's contact from the leg. Replace the one that is bad."
    if not socketed:
        words = f"Look at {found.name} under the lens: the leg or its land is torn. Replace the part, or wire its leg to the next point of the net."
    return _step(step, "look", words, why, costs.look_s)


def _touched(act: Act, found: PinBreak) -> bool:
    if act.part:
        return act.part == found.part
    return any((point.part, point.pin) == (found.part, found.pin) for point in act.points)


def _joint(graph: CopperGraph, found: PinBreak) -> str:
    joints = [
        point for point in graph.points if (point.part, point.pin, point.kind) == (found.part, found.pin, "joint")
    ]
    reachable = [point.id for point in joints if point.reachable]
    return reachable[-1] if reachable else found.name


def _step(step: NextStep, kind: str, words: str, why: str, seconds: float, *notes: str) -> NextStep:
    return NextStep(
        kind,
        words,
        why,
        seconds,
        step.gain_bits,
        span=step.span,
        left=step.left,
        left_seconds=step.left_seconds,
        notes=(*step.notes, *notes),
    )
