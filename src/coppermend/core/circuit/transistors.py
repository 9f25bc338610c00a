"""Bipolar transistors as switches: what a base does to a collector or an emitter, by the part's type and by where it sits.

Four uses are modelled, each by the rule of the common-emitter and common-collector stage (textbook, from memory):
NPN, emitter on ground: the collector is pulled low while the base is high (an open collector). NPN, collector on a supply: the emitter follows the base.
PNP, emitter on a supply: the collector is pulled high while the base is low. PNP, collector on ground: the emitter follows the base.
A base that nothing known drives, or another use, leaves the part as it was: its nets stay unknown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from coppermend.core.circuit.model import (
    ChipFacts,
    CircuitPart,
    FamilyFacts,
    FunctionFacts,
    PinFacts,
    Rail,
    RailFacts,
)

BASE, COLLECTOR, EMITTER = "base", "collector", "emitter"
LEGS = (BASE, COLLECTOR, EMITTER)
POLARITIES = ("NPN", "PNP")


@dataclass(frozen=True, slots=True)
class _Leg:
    number: int
    name: str
    kind: str


@dataclass(frozen=True, slots=True)
class Switch:
    """A transistor in use, with what the circuit wants to know of a chip."""

    type: str
    pins: Sequence[PinFacts]
    family: FamilyFacts
    logic: Mapping[str, str]
    drive: Mapping[str, str]
    needs: Mapping[str, tuple[str, ...]]
    functions: Sequence[FunctionFacts] = ()
    rails: Mapping[str, RailFacts] = field(default_factory=dict)
    makes: Mapping[str, RailFacts] = field(default_factory=dict)
    rules: Mapping[str, float] = field(default_factory=dict)


def is_transistor(chip: ChipFacts) -> bool:
    """Whether a book entry is a transistor: its pins are base, collector and emitter."""
    return sorted(str(one.kind) for one in chip.pins) == sorted(LEGS)


def as_switch(part: CircuitPart, chip: ChipFacts, rails: Mapping[str, Rail], known: frozenset[str]) -> CircuitPart:
    """The part as a switch where its use is one of the four, else unchanged. ``known``: nets that something known drives."""
    polarity = chip.family.name
    kinds = {str(one.number): (str(one.kind), one.name) for one in chip.pins}
    at = {kinds[t.number][0]: t.net for t in part.terminals if t.number in kinds}
    if polarity not in POLARITIES or set(at) != set(LEGS) or not all(at.values()) or at[BASE] not in known:
        return part
    use = _use(polarity, at, rails)
    if use is None:
        return part
    words, out, inverts = use
    name = dict(kinds.values())
    text = f"!{name[BASE]}" if inverts else name[BASE]
    terminals = tuple(
        replace(t, name=kinds[t.number][1], kind=words[kinds[t.number][0]]) for t in part.terminals if t.number in kinds
    )
    drive = {name[out]: text} if words[out] == "tri-state" else {}
    pins = tuple(_Leg(one.number, one.name, words[str(one.kind)]) for one in chip.pins)
    made = Switch(chip.type, pins, chip.family, {name[out]: text}, drive, {name[out]: (name[BASE],)})
    return replace(part, terminals=terminals, chip=made)


def _use(polarity: str, at: Mapping[str, str], rails: Mapping[str, Rail]) -> tuple[dict[str, str], str, bool] | None:
    """The kinds that the legs have in this use, the leg that drives, and whether it inverts."""

    def side(leg: str) -> str:
        rail = rails.get(at[leg])
        return "" if rail is None else "ground" if rail.ground else "power"

    if side(BASE):
        return None
    low, high = ("ground", "power") if polarity == "NPN" else ("power", "ground")
    if side(EMITTER) == low and not side(COLLECTOR):
        kind = "open collector" if polarity == "NPN" else "tri-state"
        return {BASE: "input", COLLECTOR: kind, EMITTER: low}, COLLECTOR, True
    if side(COLLECTOR) == high and not side(EMITTER):
        return {BASE: "input", COLLECTOR: high, EMITTER: "output"}, EMITTER, False
    return None
