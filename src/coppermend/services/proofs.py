"""The checks that prove a patch wire which a person names by the number that ``note`` printed, and the wires beside it that a beep cannot tell from it."""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import Wire
from coppermend.core.rework.prove import ProofCheck
from coppermend.services.bind import bind
from coppermend.services.newwire import open_wires
from coppermend.services.notes import named_entry
from coppermend.services.wires import proof_of, why_no_check
from coppermend.services.workshop import Workshop


@dataclass(frozen=True, slots=True)
class WireProof:
    """The ``checks`` of one wire, its ``number`` in the log, its two ends ``between``."""

    number: int
    between: tuple[str, str]
    checks: tuple[ProofCheck, ...]
    why_none: str = ""
    """Why there are no checks; "" where there are."""
    reads_open: str = ""
    """What its last reading from end to end says where that is open; "" otherwise."""

    @property
    def proves(self) -> bool:
        """Whether a beep across the wire says that it holds."""
        return not self.why_none and not self.reads_open and all(one.proves for one in self.checks)


def proof_for_wire(workshop: Workshop, case: str, entry: str = "") -> tuple[WireProof, ...]:
    """The checks that prove a patch wire of a case, the last one without ``entry`` (a number as ``note`` printed it, or an entry's id); after it each
    other wire of the same net that a beep does not prove either. Refusal WIR-010 when the case has no such wire.
    """
    bound = bind(workshop, case)
    entries = workshop.store.entries(case)
    number = {one.id: one.bench_seq for one in entries}
    wires = list(bound.state.wires)
    named = named_entry(entries, workshop.store.bench, entry).id if entry and wires else ""
    chosen = next((one for one in reversed(wires) if not named or one.id == named), None)
    if chosen is None:
        have = ", ".join(f"no. {number[one.id]} ({one.a.id} to {one.b.id})" for one in wires)
        raise refuse(
            "WIR-010",
            f"Entry {entry!r} is no patch wire of this case." if entry else "No patch wire was noted in this case.",
            f"Name one of these with --entry: {have}."
            if have
            else "Note it first: coppermend note CASE patch POINT POINT.",
            Place(thing=entry or None),
        )

    def proof(wire: Wire) -> WireProof:
        said = next((one.words for one in open_wires(bound) if one.entry == wire.id), "")
        return WireProof(
            number[wire.id], (wire.a.id, wire.b.id), proof_of(bound, wire), why_no_check(bound, wire), said
        )

    first, at = proof(chosen), {one.id: one.net for one in bound.graph.points}
    beside = [proof(one) for one in wires if one is not chosen and at.get(one.a.id) == at.get(chosen.a.id)]
    return (first, *(one for one in beside if not one.proves))
