"""The rules of patch wires as words, each with where it comes from, and the cautions that belong to the step."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of rework practice: ``topic``, what to do in ``words``, and ``source`` ("common practice, no source" where there is none)."""

    topic: str
    words: str
    source: str


GUIDES = "surface-wire and foil-jumper rework guides after IPC-7721 4.2.4 and 4.2.1 (docs/sources.md)"
JUMPERS = "jumper-wire practice after IPC-A-610 (docs/sources.md)"
FROM_MEMORY = "from memory; IPC-A-610 leaves it to the drawing"

WIRE_RULES = (
    Rule(
        "side", "Keep wires on the component side where you can; here the shorter and easier side is proposed.", JUMPERS
    ),
    Rule("route", "Lead the wire along the board's two directions, direct, with few bends.", JUMPERS),
    Rule("height", "Keep it at most 3.2 mm above the board.", JUMPERS),
    Rule(
        "bare wire",
        "Use bare wire only below 12.7 mm and only where clearances are kept; otherwise insulated.",
        JUMPERS,
    ),
    Rule(
        "over and under",
        "Not over or under parts, leads or heat sinks; not over lands and vias that serve as test points.",
        JUMPERS,
    ),
    Rule(
        "lap",
        "On a track: cut back to where it still bonds, strip the mask, tin both, overlap at least two track widths.",
        GUIDES,
    ),
    Rule("section", "Width, spacing and current capacity must not drop below what the track had.", GUIDES),
    Rule(
        "fixing", "Form the wire, hold it with tape while soldering, then fix it to the surface with adhesive.", GUIDES
    ),
    Rule(
        "fixing distance",
        "A dot about every 25 mm and at every change of direction; leave the ends free of strain.",
        FROM_MEMORY,
    ),
)

WIRE_CAUTIONS = (
    "Power off, supply unplugged, rails measured to be empty before you solder.",
    "Flux fumes: draw them off, do not breathe them. Old solder holds lead: wash your hands, no food at the bench.",
    "The iron and the joint burn; set it down in its stand. Too long on a land lifts it: a few seconds, then let it cool.",
    "Follow your local rules; leave mains and tube work to people qualified for it.",
)


WIRE_ASSUMED = (
    "least means: length along the board, a bend as some mm more, and what soldering at each end costs as mm of wire (constants; our assumptions)",
    "a wire is cut to its way, 3 mm bared at each end and 3 mm of slack (common practice, no source), more where it laps onto a track",
    "it keeps 0.2 mm clear of bare joints, legs, lands and vias of other nets, taken as a wrap wire of 0.5 mm; where no way is left it passes over them, named, "
    "25 mm dearer each (our choice); what the solder mask covers may be passed over",
    "its resistance: annealed copper at 20 degC, diameter after ASTM B258; the copper it replaces: the least-resistance way through the track as fabricated",
    "the pieces of the net are those that the readings leave: read both ends before you solder",
)
"""What a plan of wires rests on."""


def lap_mm(track_width_mm: float) -> float:
    """How far a wire must overlap a track, in mm: two track widths.

    >>> lap_mm(0.3)
    0.6
    """
    return 2.0 * track_width_mm
