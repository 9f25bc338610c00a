"""What the part that is to come out is itself: a cell, an electrolytic capacitor, a part of the mains or of a picture tube. Its cautions come first.

Told from its designator, value and package and from the names of its nets; a part list without values tells less, so the look at the part comes first
whatever stands here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

from coppermend.core.board.model import Part
from coppermend.core.rework.removal_near import what_heat_harms
from coppermend.core.rework.removal_steps import PRACTICE, REMOVAL_STEPS
from coppermend.core.rework.rules import Rule

COLLECTORS = "a collector's page on battery corrosion (docs/sources.md); common practice"

SUPER, TANTALUM = "supercapacitor", "tantalum"
CELL, ELECTROLYTIC, MAINS, TUBE, PLASTIC, DELICATE = "cell", "electrolytic", "mains", "tube", "plastic", "delicate"

_TUBE = re.compile(r"\b(crt|picture ?tube|fly-?back|fbt|lopt|eht|anode|deflection|yoke|focus)\b", re.IGNORECASE)
_MAINS = re.compile(
    r"\b(mains|line ?filter|(x|y)[12] ?(cap\w*)?|varistor|mov|(110|115|120|220|230|240) ?v ?(ac|~)?|opto ?triac|iec ?inlet)\b",
    re.IGNORECASE,
)
_MAINS_NET = re.compile(
    r"/?(mains\w*|ac_?(l|n|in|live|neutral)\d?|live|neutral|line_(l|n)|hv_?bus|primary\w*)", re.IGNORECASE
)
_LITHIUM = re.compile(r"\b(li(-?ion|thium|po)?|cr\d{4}|br\d{4})\b", re.IGNORECASE)


def kind_of(part: Part, nets: Iterable[str] = ()) -> str:
    """What a part is where that changes how it is taken out: cell, supercapacitor, tantalum, electrolytic, mains, tube, plastic, delicate;
    "" for a part that stands heat.

    ``nets``: the names of the nets on its pins.

    >>> import numpy as np
    >>> kind_of(Part("BT1", "c", np.empty((0, 2)), "", (), "3.6 V NiCd")), kind_of(Part("R1", "c", np.empty((0, 2)), "", (), "1k"), ["MAINS_L"])
    ('cell', 'mains')
    """
    said = f"{part.value} {part.package}"
    if _TUBE.search(said):
        return TUBE
    if _MAINS.search(said) or any(_MAINS_NET.fullmatch(one) for one in nets):
        return MAINS
    harmed = what_heat_harms(part)
    if harmed is None:
        return ""
    for word, kind in (
        ("cell", CELL),
        ("supercapacitor", SUPER),
        ("tantalum", TANTALUM),
        ("electrolytic", ELECTROLYTIC),
        ("plastic", PLASTIC),
    ):
        if word in harmed[0]:
            return kind
    return DELICATE


def cautions_of(part: Part, kind: str) -> tuple[Rule, ...]:
    """What to mind of the part itself, gravest first; empty for a part that stands heat."""
    if kind == CELL:
        return _cell(part)
    if kind == ELECTROLYTIC:
        return _ELECTROLYTIC
    if kind == SUPER:
        return _SUPERCAPACITOR
    if kind == TANTALUM:
        return _TANTALUM
    if kind == MAINS:
        return (_QUALIFIED, _MAINS_RULE)
    if kind == TUBE:
        return (_QUALIFIED, _TUBE_RULE)
    harmed = what_heat_harms(part) if kind in (PLASTIC, DELICATE) else None
    if harmed is None:
        return ()
    return (Rule("the part itself", f"{part.ref} is {harmed[0]}: {harmed[1]}, if it is to be used again.", PRACTICE),)


def _cell(part: Part) -> tuple[Rule, ...]:
    lithium = bool(_LITHIUM.search(part.value))
    first = f"{part.ref} is itself a cell or battery: never preheat it, no hot air at it, never warm or short it. A cell that gets hot can burst or leak."
    rules = [
        Rule("the part itself", first, COLLECTORS),
        Rule(
            "swollen or leaking",
            "A swollen cell is not soldered at and not cut into: stop and follow your local rules. A leaking one: gloves and eye protection on first, its liquid is caustic "
            "(steps: coppermend care show CASE cell).",
            COLLECTORS,
        ),
        Rule(
            "out without heat",
            "In a holder: take the cell out of it first. Soldered in: cut its legs or tags above the board with insulated cutters, one pole and then the other, so that no tool "
            "bridges the poles. Only where no cutter fits: unsolder it cool, three seconds a joint at the most, and let the cell cool between the poles.",
            COLLECTORS,
        ),
        Rule(
            "then the stubs",
            "Tape its poles, bag it, dispose of it by your local rules. With the cell off the board the stubs are joints like any other: the steps below are for them.",
            PRACTICE,
        ),
    ]
    if lithium:
        rules.insert(
            1,
            Rule(
                "lithium",
                "Lithium burns and cannot be put out with water: no heat, no cut into its body, no reverse current.",
                PRACTICE,
            ),
        )
    return tuple(rules)


_QUALIFIED = Rule(
    "the part itself",
    "It looks like a part of the mains or the picture tube's supply: leave it to people qualified for it and follow your local rules.",
    PRACTICE,
)
_MAINS_RULE = Rule(
    "mains",
    "Unplugged is not enough: a mains filter or reservoir capacitor holds hundreds of volts. Nothing is touched before it was measured empty by somebody qualified.",
    PRACTICE,
)
_TUBE_RULE = Rule(
    "picture tube",
    "A picture tube's anode and its supply hold thousands of volts long after switching off, and a tube can implode. Discharge and removal are for qualified people.",
    PRACTICE,
)
_ELECTROLYTIC = (
    Rule(
        "the part itself",
        "It is an electrolytic capacitor: measure it empty (under 1 V) before you touch it, photograph its stripe or plus mark, the new one goes in the same way round; "
        "wrongly round it bursts.",
        PRACTICE,
    ),
    Rule(
        "heat",
        "Joint by joint with the iron; no hot air at its can: it dries out and may burst. Leaked electrolyte attacks skin and copper: gloves, then clean "
        "(steps: coppermend care list CASE).",
        PRACTICE,
    ),
    Rule(
        "its lands",
        "Its two joints are often one on a plane and one on a thin track: do not rock or twist the can to free it, lands tear off with it.",
        PRACTICE,
    ),
)
_SUPERCAPACITOR = (
    Rule(
        "the part itself",
        "It is a supercapacitor: it holds its charge for days and gives amperes into a short. Let it down through a resistor (100 ohm and more, none of its legs "
        "bridged by a tool) and measure it under 0.1 V before you touch it; mark its poles, the new one goes in the same way round.",
        PRACTICE,
    ),
    Rule(
        "heat",
        "Marked 70 or 85 degC: no preheat over its marking, no hot air at it, three seconds a joint with the iron and let it cool between. Hot, it vents or bursts; what leaks "
        "attacks skin and copper: gloves.",
        PRACTICE,
    ),
)
_TANTALUM = (
    Rule(
        "the part itself",
        "It is a tantalum capacitor: measure it empty (under 1 V) before you touch it, photograph the mark of its plus pole (on a tantalum the bar or plus marks plus), "
        "the new one goes in the same way round; wrongly round it burns.",
        PRACTICE,
    ),
    Rule(
        "heat",
        "It has no can that dries out, but sudden heat cracks it: joint by joint with the iron, a few seconds each. One that was overheated is not fitted again: it shorts its "
        "rail and can burn and spit at power; eye protection.",
        PRACTICE,
    ),
)

_NO_PREHEAT = Rule(
    "preheat",
    "No preheat and no hot air while the cell is on the board. With it off, where a pin asks for it: warm the board slowly, from below.",
    COLLECTORS,
)
_OFF_WITH_CELL = "Power off, supply unplugged, rails measured empty. The cell is a supply too: what hangs on it stays live until it is out. Earth yourself and the board."


def steps_for(kind: str, steps: Sequence[Rule] = REMOVAL_STEPS) -> tuple[Rule, ...]:
    """The steps of taking out a part of this kind: those that would harm it or the person are other ones."""
    if kind == CELL:
        swap = {"power": replace(steps[0], words=_OFF_WITH_CELL), "preheat": _NO_PREHEAT}
        return tuple(swap.get(one.topic, one) for one in steps)
    if kind in (MAINS, TUBE):
        return (_QUALIFIED, *steps)
    return tuple(steps)
