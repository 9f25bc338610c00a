"""What of a board heat harms, said where heat is planned: its cells first, then its electrolytic capacitors; and of a part whose joints are to be kept liquid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coppermend.core.board.model import Board, Part, PartState
from coppermend.core.rework.heat.limits import ELECTROLYTIC as CAN_LIMIT
from coppermend.core.rework.removal_kind import CELL, DELICATE, ELECTROLYTIC, SUPER, TANTALUM, cautions_of, kind_of

MOST_NAMED = 12
"""Parts named in one sentence."""

LOW_CAN_C = 85.0
"""The lower of the two temperatures that electrolytic capacitors are usually marked with, degC. Common practice, no source."""

NOT_KNOWN = "Which parts stand on the board is not known here: look for cells, batteries and electrolytic capacitors yourself before it is warmed. A cell that gets hot can burst."
"""Said where a board is warmed of which only the size is known."""


def cautions_on_board(
    board: Board, states: Mapping[str, PartState] | None = None, target_c: float = 0.0
) -> tuple[str, ...]:
    """What to mind of the parts of a board that is to be warmed to ``target_c`` degC, gravest first. ``states`` of now; parts that are out are left out.

    Told from designators, values and packages; a parts list that names none proves nothing, so that is said too.
    """
    now = states or {}
    there = [one for one in board.parts if now.get(one.ref, one.state) not in (PartState.OUT, PartState.NOT_FITTED)]
    kinds = {one.ref: kind_of(one) for one in there}
    cells = [one for one in there if kinds[one.ref] == CELL]
    cans = [one.ref for one in there if kinds[one.ref] == ELECTROLYTIC]
    said = []
    if cells:
        one = len(cells) == 1
        said.append(
            f"{_named([each.ref for each in cells])} {'is a cell or battery' if one else 'are cells or batteries'}: out before this board is warmed, "
            "never preheat it with one on it. A cell that gets hot can burst or leak."
        )
    else:
        said.append(
            "The board's data names no cell or battery: look for one all the same before the board is warmed; one that gets hot can burst or leak."
        )
    supers = [one.ref for one in there if kinds[one.ref] == SUPER]
    if supers:
        said.append(
            f"Supercapacitors: {_named(supers)}. Marked 70 or 85 degC (common practice, no source): let them down through a resistor and take them out before the board "
            "is warmed; they hold their charge for days and vent when hot."
        )
    if cans:
        said.append(
            f"Electrolytic capacitors: {_named(cans)}. Their marking is {LOW_CAN_C:g} or {CAN_LIMIT.value:g} degC (common practice, no source){_above(target_c)}: read it, "
            "keep their cans below it, shield them or take them out; they dry out and may burst."
        )
    return tuple(said)


def _above(target_c: float) -> str:
    """How a target in degC stands to what electrolytic capacitors are marked with.

    >>> _above(80.0), _above(100.0), _above(120.0)
    ('', ', and 100 degC is above the lower of the two', ', and 120 degC is above both')
    """
    if target_c <= LOW_CAN_C:
        return ""
    return f", and {target_c:g} degC is above {'both' if target_c > CAN_LIMIT.value else 'the lower of the two'}"


def cautions_at_joints(part: Part | None) -> tuple[str, ...]:
    """What to mind of a part whose joints are to be kept liquid for minutes; nothing for one that stands heat or is not known."""
    if part is None:
        return ()
    kind = kind_of(part)
    rules = cautions_of(part, kind)
    words = [f"{part.ref}: {rules[0].words}", *(one.words for one in rules[1:])] if rules else []
    if kind in (ELECTROLYTIC, SUPER, TANTALUM, DELICATE):
        words.append(
            f"Joints kept liquid for minutes warm {part.ref} through its legs: do one joint at a time where its legs allow it, and let it cool between."
        )
    return tuple(words)


def _named(refs: Sequence[str]) -> str:
    """Designators in a list, the rest as a number.

    >>> _named(["C1"]), _named([f"C{k}" for k in range(1, 15)])[-10:]
    ('C1', 'and 2 more')
    """
    more = f" and {len(refs) - MOST_NAMED} more" if len(refs) > MOST_NAMED else ""
    return ", ".join(refs[:MOST_NAMED]) + more
