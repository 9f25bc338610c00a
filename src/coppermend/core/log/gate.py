"""The gate before power: what must have been done since solder last flowed, and whether it was.

The items are common practice on repair benches, no source: at intake display and cables known good and the minimum configuration to start, parts'
orientation looked at, rails measured to ground, the supply proven before it meets the board, a current limit and an abort value named before the switch
is thrown. What was measured counts before what was only said: a supply out of its tolerance or a shorted rail is not ticked off by a word.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.core.log.kinds import GATE_ITEMS
from coppermend.core.log.state import GateEntry, IntakeNote, Reading
from coppermend.core.log.values import ohm_words, volt_words

RAIL_SHORT_OHM = 5.0
"""A rail that measures less than this to ground is treated as shorted; common practice, no source. Large boards can be low: override by an entry."""
DIODE_SHORT_V = 0.1
"""A rail that reads less than this to ground in diode mode is treated as shorted: silicon the other way round drops 0.3 V and more; common practice, no source."""

ASK = {
    "intake": "Say at intake whether display and cables are known good, and that only the minimum configuration is plugged in.",
    "orientation": "Look at the orientation of every part that was fitted: notch, stripe, polarity.",
    "rails": "Measure each supply rail to ground in ohms with the board unpowered.",
    "supply": "Prove the supply without the board: voltage, and under a dummy load.",
    "limit": "Name the current limit and the value at which you will switch off.",
}


@dataclass(frozen=True, slots=True)
class GateItem:
    """One item: whether it is done, and the words that say what was found or what to do. ``danger``: what was found forbids power. ``by_word``: a person's word
    ticks it off; what was seen or measured otherwise is settled by work or by another look."""

    item: str
    done: bool
    words: str
    danger: bool = False
    by_word: bool = True


@dataclass(frozen=True, slots=True)
class GateStatus:
    """The gate now. ``open`` when every item is done or an override stands; ``overridden`` with its reason."""

    open: bool
    overridden: str
    items: tuple[GateItem, ...]

    @property
    def missing(self) -> tuple[GateItem, ...]:
        """The items that are not done."""
        return tuple(one for one in self.items if not one.done)


@dataclass(frozen=True, slots=True)
class SupplyProof:
    """What measuring the supply by itself says: rails ``left`` to measure, what is ``wrong``, how it stands in ``words`` ("" nothing measured)."""

    words: str = ""
    left: tuple[str, ...] = ()
    wrong: str = ""
    wrong_at: int = -1
    """Where in the log what is wrong was measured; -1 where nothing is."""


def gate_status(
    gate: Sequence[GateEntry],
    readings: Sequence[Reading],
    last_soldering: int,
    wanted: Sequence[str] = (),
    grounds: Sequence[str] = (),
    *,
    intake: Sequence[IntakeNote] = (),
    supply: SupplyProof = SupplyProof(),
    limit_words: str = "",
    items: Sequence[str] = GATE_ITEMS,
) -> GateStatus:
    """The gate's state from the entries after position ``last_soldering``.

    ``wanted``: the nets of all rails that the board has, each of which must have been measured to ground; ``grounds`` its ground nets, beside those
    whose names say so. Without ``wanted`` (a board whose rails nobody knows, a log from before they were kept) one rail measured is enough.
    ``intake`` of the case; ``supply`` what was measured of it alone; ``limit_words`` what current is to be expected; ``items`` what is asked for.
    An override covers what was known when it was written: a short that is read later, or a supply found wrong later, closes the gate again.
    """
    fresh = [one for one in gate if one.at > last_soldering]
    rails = [one for one in readings if one.at > last_soldering and is_rail_to_ground(one, wanted, grounds)]
    made = {
        "intake": lambda: _intake([one for one in gate if one.item == "intake"], intake),
        "rails": lambda: _rails([one for one in fresh if one.item == "rails"], rails, wanted),
        "supply": lambda: _supply([one for one in fresh if one.item == "supply"], supply),
        "limit": lambda: _limit([one for one in fresh if one.item == "limit"], limit_words),
    }
    found = tuple(
        made[name]() if name in made else _said(name, [one for one in fresh if one.item == name]) for name in items
    )
    shorted = max((one.at for one in rails if _low(one)), default=-1) if any(one.danger for one in found) else -1
    worst = max(shorted, supply.wrong_at if supply.wrong else -1)
    over = [one.words or "no reason given" for one in fresh if one.item == "override" and one.at > worst]
    return GateStatus(bool(over) or all(one.done for one in found), over[-1] if over else "", found)


def _said(name: str, entries: list[GateEntry]) -> GateItem:
    return GateItem(name, True, entries[-1].words or "done") if entries else GateItem(name, False, ASK[name])


def _intake(entries: list[GateEntry], intake: Sequence[IntakeNote]) -> GateItem:
    """Done once in a case: by a word at the gate, or by what intake says of display, cables and minimum configuration; the latest of each counts."""
    last = {one.item: one for one in intake}
    asked = {"known good": "display and cables known good", "minimum": "minimum configuration"}
    left = [words for item, words in asked.items() if item not in last]
    no = [one for item in asked if (one := last.get(item)) is not None and one.yes is False]
    if no and not any(one.at > no[-1].at for one in entries):
        said = "; ".join(f"{asked[one.item]}: no{f' ({one.words})' if one.words else ''}" for one in no)
        return GateItem("intake", False, f"By intake {said}. Put that right and note it again.")
    if entries:
        return GateItem("intake", True, entries[-1].words or "done")
    if not left:
        return GateItem(
            "intake", True, "; ".join(one.words or asked[item] for item, one in last.items() if item in asked)
        )
    if len(left) == len(asked):
        return GateItem("intake", False, ASK["intake"])
    return GateItem("intake", False, f"Still to say at intake: {', '.join(left)}.")


def _supply(entries: list[GateEntry], proof: SupplyProof) -> GateItem:
    if proof.wrong:
        return GateItem("supply", False, f"Do not use this supply: {proof.wrong}.", True)
    if entries:
        said = entries[-1].words or (f"{volt_words(entries[-1].volt)}" if entries[-1].volt is not None else "done")
        return GateItem("supply", True, "; ".join(one for one in (said, proof.words) if one))
    if not proof.words:
        return GateItem("supply", False, ASK["supply"])
    if proof.left:
        return GateItem("supply", False, f"{proof.words}; still to measure alone: {', '.join(proof.left)}.")
    return GateItem("supply", True, proof.words)


def _limit(entries: list[GateEntry], words: str) -> GateItem:
    named = [one for one in entries if one.limit_a is not None and one.abort_a is not None]
    if named:
        return GateItem("limit", True, named[-1].words or "done")
    return GateItem("limit", False, f"{ASK['limit']} {words}".strip())


def _low(one: Reading) -> bool:
    """Whether a reading of a rail to ground says that it is shorted."""
    if one.value is None:
        return False
    return one.value < RAIL_SHORT_OHM if one.kind == "ohms" else abs(one.value) < DIODE_SHORT_V


def _rails(entries: list[GateEntry], rails: list[Reading], wanted: Sequence[str]) -> GateItem:
    last = {(tuple(sorted(point.net for point in one.points)), one.kind): one for one in rails}
    low = [one for one in last.values() if _low(one)]
    if low:
        found = "; ".join(f"{one.points[0].id} to {one.points[1].id} {_figure(one)}" for one in low)
        return GateItem("rails", False, f"Do not switch on: {found}, a short.", True)
    latest = {nets: one for (nets, kind), one in last.items() if kind == "ohms"}
    read = {net for nets in latest for net in nets}
    left = [net for net in wanted if net not in read]
    said = ", ".join(f"{' to '.join(nets)} {ohm_words(one.value)}" for nets, one in latest.items())
    if entries:
        hand = "; ".join(one.words for one in entries if one.words)
        named = [net for net in wanted if re.search(rf"(?<!\w){re.escape(net)}(?!\w)", hand, re.IGNORECASE)]
        left = [net for net in left if net not in named]
        if not named or not left:
            return GateItem("rails", True, _by_hand(hand, said, left, wanted))
        said = "; ".join(one for one in (hand, said) if one)
    if latest and not left:
        return GateItem("rails", True, f"{len(wanted)} of {len(wanted)}: {said}" if wanted else said)
    if latest or entries:
        count = f"{len(wanted) - len(left)} of {len(wanted)}"
        return GateItem(
            "rails", False, f"{count} rails measured to ground ({said}); still to measure: {', '.join(left)}."
        )
    return GateItem("rails", False, ASK["rails"] + (f" Here: {', '.join(wanted)}." if wanted else ""))


def _figure(one: Reading) -> str:
    if one.kind == "ohms":
        return f"{ohm_words(one.value)}, less than {RAIL_SHORT_OHM:g} ohm"
    return f"{volt_words(one.value)} in diode mode, less than {DIODE_SHORT_V:g} V"


def _by_hand(words: str, said: str, left: list[str], wanted: Sequence[str]) -> str:
    """A hand's word that names no rail counts for all; which of them have no reading is said."""
    told = "; ".join(one for one in (words, said) if one) or "done"
    return f"{told} (by hand; no reading of {', '.join(left)})" if wanted and left else told


_GROUND = re.compile(r"/?(A|D|P|S|CHASSIS_)?GND\d?|/?VSS|/?GROUND|/?0V", re.IGNORECASE)
_RAIL = re.compile(
    r"/?(V(CC|DD|BB|EE|PP|AA|BAT\w*)\w*|[+-]?\d{1,2}(V\d?|\.\d+V)?\w?|[+-]\d+V?\w*|[PM]\d+V\d*)", re.IGNORECASE
)


def is_ground(net: str) -> bool:
    """Whether a net's name is one that ground goes by.

    >>> is_ground("GND"), is_ground("/VSS"), is_ground("D0")
    (True, True, False)
    """
    return _GROUND.fullmatch(net) is not None


def is_rail(net: str) -> bool:
    """Whether a net's name is one that a supply rail goes by.

    >>> is_rail("+5V"), is_rail("VCC"), is_rail("-12V"), is_rail("A5"), is_rail("GND")
    (True, True, True, False, False)
    """
    return _RAIL.fullmatch(net) is not None and not is_ground(net) and not net.isdecimal()


def is_rail_to_ground(reading: Reading, wanted: Sequence[str] = (), grounds: Sequence[str] = ()) -> bool:
    """Whether a reading is ohms or diode mode between a rail and ground, by their names or by what the board is known to have."""
    if reading.kind not in ("ohms", "diode") or len(reading.points) != 2:
        return False
    a, b = (point.net for point in reading.points)

    def ground(net: str) -> bool:
        return is_ground(net) or net in grounds

    def rail(net: str) -> bool:
        return (is_rail(net) or net in wanted) and not ground(net)

    return (ground(a) and rail(b)) or (ground(b) and rail(a))
