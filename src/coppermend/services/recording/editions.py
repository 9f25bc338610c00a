"""Editions of a record: the owner's in plain words, the technician's with everything, and any choice of parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

from coppermend.core.findings import refuse
from coppermend.services.recording.model import RecordView

PARTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "wrong": ("What was wrong, in plain words", ("wrong",)),
    "done": ("What was done, in plain words", ("done",)),
    "open": ("What is left, in plain words", ("still_open",)),
    "arrival": ("When it arrived", ("intake",)),
    "what": ("In short", ("summary",)),
    "left": ("What remains to be tested", ("remaining",)),
    "cautions": ("Cautions", ("cautions",)),
    "breaks": ("What was broken", ("findings",)),
    "ohms": ("What ohms readings found", ("by_ohms",)),
    "wires": ("Patch wires", ("wires",)),
    "plans": ("Plans of the rework", ("plans",)),
    "used": ("Parts and time", ("used",)),
    "care": ("Cleaned and protected", ("care",)),
    "power": ("Switched on", ("power",)),
    "looks": ("Looked at", ("looks",)),
    "supply": ("The supply", ("supply",)),
    "chips": ("Chips and contacts", ("chips", "chip_checks")),
    "starts": ("Starts counted", ("starts",)),
    "symptoms": ("Symptoms", ("symptoms",)),
    "waves": ("Waves measured", ("waves", "wave_pictures")),
    "warm": ("Thermal pictures", ("warm", "warm_pictures")),
    "suspects": ("Suspects", ("suspects",)),
    "course": ("Suspects over time", ("course", "course_note")),
    "tests": ("Functions tested", ("tests",)),
    "maps": ("The board", ("maps",)),
    "photos": ("Photos", ("photos",)),
    "proven": ("What is proven", ("proven",)),
    "unprovable": ("What a continuity check cannot prove", ("unprovable",)),
    "story": ("The story as it happened", ("story",)),
    "readings": ("Every reading", ("readings",)),
    "package": ("What was noticed about the fabrication data", ("package_notes", "corrections")),
    "numbers": ("Numbers this rests on", ("assumptions",)),
}
"""Every part of a record that can be chosen: its title and the fields that hold it."""

READERS: dict[str, tuple[str, ...]] = {
    "owner": ("wrong", "done", "tests", "open", "cautions", "used", "photos"),
    "technician": tuple(key for key in PARTS if key not in ("wrong", "done", "open")),
}
"""What each reader gets unless parts are named."""

PROVEN_MEANS = "Proven means: by the readings listed here, under the assumptions listed at the end. It is not a promise that nothing else fails."
MEASURED_MEANS = "Measured and found good is no promise that nothing else fails on a machine of this age."
"""The same caution where the readings are not in the edition."""


def chosen(reader: str, parts: Sequence[str] = ()) -> tuple[str, ...]:
    """The parts of an edition: those named, else the reader's own. Refusal REC-004 for a part or a reader that there is not."""
    strange = [key for key in parts if key not in PARTS]
    if strange:
        raise refuse("REC-004", f"A record has no part {', '.join(strange)}.", f"Choose among {', '.join(PARTS)}.")
    if reader not in READERS:
        raise refuse(
            "REC-004", f"A record is for the owner or the technician, not for {reader!r}.", "Say owner or technician."
        )
    return tuple(parts) or READERS[reader]


def edition(view: RecordView, reader: str = "technician", parts: Sequence[str] = ()) -> RecordView:
    """The record for a reader, with the parts that ``chosen`` says. The heading always stands."""
    wanted = {name for key in chosen(reader, parts) for name in PARTS[key][1]}
    known = {name for _, names in PARTS.values() for name in names}
    empty = {one.name: type(getattr(view, one.name))() for one in fields(view) if one.name in known - wanted}
    made = replace(view, reader=reader, **empty)
    if made.readings and made.assumptions:
        return made
    return replace(made, cautions=tuple(MEASURED_MEANS if one == PROVEN_MEANS else one for one in made.cautions))
