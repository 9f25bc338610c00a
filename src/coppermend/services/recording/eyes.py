"""What eyes found on the board, for the record: sentences in plain words, what is still to be mended of it, and its marks on the maps. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coppermend.core.belief.suspects.looks import DIRT, PART
from coppermend.core.log.state import CaseState
from coppermend.services.looks import Said
from coppermend.services.recording.maps import SeenMark

PLAIN = {
    "corrosion": "Corrosion",
    "lifted land": "A land of copper that has come off the board",
    "cracked joint": "A cracked solder joint",
    "broken track": "A broken track",
    "solder bridge": "Solder between two places that belong apart",
    "wrong part": "A wrong part",
    "wrong way round": "A part that sits the wrong way round",
    "bent leg": "A bent leg of a chip",
    "missing part": "A missing part",
}
"""The findings of looks (``kinds.LOOK_FINDINGS``) as somebody reads them who does not mend boards; a dirty land is no fault."""

_CELL = "BT"
"""The letters of a battery in reference designators (IEEE 315, "BT": from memory)."""


@dataclass(frozen=True, slots=True)
class Eyed:
    """A finding that was seen at a place and how it stands: ``mended`` worked on since; ``doubted`` another look did not see it."""

    finding: str
    place: str
    mended: bool
    doubted: bool


def eyed(said: Sequence[Said]) -> tuple[Eyed, ...]:
    """Each finding at its place once, as the last look that saw it leaves it."""
    seen = {(one.finding, one.place): one for one in said if one.seen and one.kind.of != DIRT}
    against = {(one.finding, one.place) for one in said if not one.seen and not one.why_not}
    return tuple(
        Eyed(finding, place, bool(one.why_not), (finding, place) in against and not one.why_not)
        for (finding, place), one in seen.items()
    )


def seen_wrong(state: CaseState, found: Iterable[Eyed]) -> Iterable[str]:
    """What was wrong as far as eyes tell: a cell that leaked with the places it reached, then each finding."""
    reached = [area.label or area.part or "one place" for area in state.areas if area.kind == "corrosion"]
    if reached:
        yield f"A cell has leaked and attacked the board: {', '.join(dict.fromkeys(reached))}."
    for act in state.acts:
        if act.kind == "remove" and act.part.startswith(_CELL) and act.words:
            yield f"{act.part} was taken out: {ended(act.words)}"
    for one in found:
        doubt = "; another look did not see it" if one.doubted else ""
        yield f"Seen: {PLAIN[one.finding].lower()} at {one.place}{doubt}."


def seen_left(found: Iterable[Eyed]) -> Iterable[str]:
    """What was seen and not worked on since."""
    for one in found:
        if not one.mended:
            yield f"Seen and not mended yet: {PLAIN[one.finding].lower()} at {one.place}."


def ended(words: str) -> str:
    """Words of a person as a sentence: one full stop at its end.

    >>> ended("Black screen, no sound."), ended("dark"), ended("why?")
    ('Black screen, no sound.', 'dark.', 'why?')
    """
    bare = words.rstrip()
    return bare if bare.endswith(("!", "?")) else f"{bare.rstrip('.').rstrip()}."


def seen_marks(said: Iterable[Said]) -> tuple[SeenMark, ...]:
    """The findings that were seen at a place, with their entries' numbers; those of a part as a whole have no place of their own."""
    return tuple(
        SeenMark(str(one.at + 1), one.x_mm, one.y_mm, one.side)
        for one in said
        if one.seen and one.kind.of not in (DIRT, PART) and not math.isnan(one.x_mm)
    )
