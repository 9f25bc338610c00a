"""The gate before power: what must have been done since solder last flowed, and whether it was.

The four items are common practice on repair benches, no source: parts' orientation looked at, rails measured to ground, the supply proven before
it meets the board, a current limit and an abort value named before the switch is thrown.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.core.log.kinds import GATE_ITEMS
from coppermend.core.log.state import GateEntry, Reading
from coppermend.core.log.values import ohm_words

RAIL_SHORT_OHM = 5.0
"""A rail that measures less than this to ground is treated as shorted; common practice, no source. Large boards can be low: override by an entry."""

ASK = {
    "orientation": "Look at the orientation of every part that was fitted: notch, stripe, polarity.",
    "rails": "Measure each supply rail to ground in ohms with the board unpowered.",
    "supply": "Prove the supply without the board: voltage, and under a dummy load.",
    "limit": "Name the current limit and the value at which you will switch off.",
}


@dataclass(frozen=True, slots=True)
class GateItem:
    """One item: whether it is done, and the words that say what was found or what to do. ``danger``: what was found forbids power."""

    item: str
    done: bool
    words: str
    danger: bool = False


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


def gate_status(
    gate: Sequence[GateEntry],
    readings: Sequence[Reading],
    last_soldering: int,
    wanted: Sequence[str] = (),
    grounds: Sequence[str] = (),
) -> GateStatus:
    """The gate's state from the entries after position ``last_soldering``.

    ``wanted``: the nets of all rails that the board has, each of which must have been measured to ground; ``grounds`` its ground nets, beside those
    whose names say so. Without ``wanted`` (a board whose rails nobody knows, a log from before they were kept) one rail measured is enough.
    """
    fresh = [one for one in gate if one.at > last_soldering]
    rails = [one for one in readings if one.at > last_soldering and is_rail_to_ground(one, wanted, grounds)]
    items = tuple(_item(name, [one for one in fresh if one.item == name], rails, wanted) for name in GATE_ITEMS)
    over = [one.words or "no reason given" for one in fresh if one.item == "override"]
    return GateStatus(bool(over) or all(one.done for one in items), over[-1] if over else "", items)


def _item(name: str, entries: list[GateEntry], rails: list[Reading], wanted: Sequence[str]) -> GateItem:
    if name == "rails":
        return _rails(entries, rails, wanted)
    if name == "limit":
        entries = [one for one in entries if one.limit_a is not None and one.abort_a is not None]
    return GateItem(name, True, entries[-1].words or "done") if entries else GateItem(name, False, ASK[name])


def _rails(entries: list[GateEntry], rails: list[Reading], wanted: Sequence[str]) -> GateItem:
    latest = {tuple(sorted(point.net for point in one.points)): one for one in rails}
    low = [one for one in latest.values() if one.value is not None and one.value < RAIL_SHORT_OHM]
    if low:
        found = "; ".join(f"{one.points[0].id} to {one.points[1].id} {ohm_words(one.value)}" for one in low)
        return GateItem("rails", False, f"Do not switch on: {found}, less than {RAIL_SHORT_OHM:g} ohm.", True)
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
    """Whether a reading is ohms between a rail and ground, by their names or by what the board is known to have."""
    if reading.kind != "ohms" or len(reading.points) != 2:
        return False
    a, b = (point.net for point in reading.points)

    def ground(net: str) -> bool:
        return is_ground(net) or net in grounds

    def rail(net: str) -> bool:
        return (is_rail(net) or net in wanted) and not ground(net)

    return (ground(a) and rail(b)) or (ground(b) and rail(a))
