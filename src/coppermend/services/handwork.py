"""What hands may do next in a case: by the part states, the device book, the chips in stock, the owner's consent and cost limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coppermend.core.circuit.machine import MachineModel
from coppermend.core.circuit.model import CircuitPart
from coppermend.core.circuit.passives import topped_capacitors
from coppermend.core.log.consent import Consent, consent_of
from coppermend.core.log.state import CaseState
from coppermend.core.planning.suspects_hands import BUY_S, MONEY_S, HandsNow
from coppermend.devices.book import DeviceBook, shipped
from coppermend.devices.model import Chip
from coppermend.services.bind import Binding
from coppermend.services.chips import STOCK, ChipCard, chip_cards, too_slow
from coppermend.services.powered import PoweredBoard

BOUGHT = ("to buy",)


@dataclass(frozen=True, slots=True)
class HandWork:
    """``hands`` for the planner; ``swaps`` socketed parts with a chip to put in; ``kept_back`` (part, why) of what the owner's limits stop."""

    hands: HandsNow
    swaps: tuple[str, ...]
    kept_back: tuple[tuple[str, str], ...]


def hand_work(
    binding: Binding, made: PoweredBoard, machine: MachineModel, may_power: bool, book: DeviceBook | None = None
) -> HandWork:
    """What hands may do. Without power nothing can be seen of it, so nothing is offered then."""
    if not may_power:
        return HandWork(HandsNow(), (), ())
    owner = consent_of(binding.state.intake)
    states = {ref: str(state) for ref, state in binding.graph.part_states}
    chips = {one.ref: one for one in made.circuit.parts if one.role == "chip" and one.chip is not None}
    stock = _fitting(binding, chips, book or shipped())
    spent = money_spent(binding.state)
    swaps, tops, replaced, kept_back = [], [], [], []
    pay: dict[str, float] = {}
    for ref in chips:
        card, state = stock.get(ref), states.get(ref, "soldered")
        at_hand = ref in machine.spares
        if card is None and not at_hand:
            continue
        if card is not None and not at_hand:
            if not owner.affords(spent, card.price or 0.0):
                kept_back.append((ref, _too_dear(owner, spent, card)))
                continue
            pay[ref] = MONEY_S * (card.price or 0.0) + (BUY_S if card.place.startswith(BOUGHT) else 0.0)
        if state == "socketed":
            swaps.append(ref)
            continue
        if state != "soldered":
            continue
        if (card is None or not card.place.startswith(BOUGHT)) and _may_top(chips[ref].chip):
            tops.append(ref)
        if not owner.allows("unsolder"):
            kept_back.append((ref, "taking it out cannot be undone, and the owner has not agreed to it"))
        elif "replace part" in owner.refused:
            kept_back.append((ref, "the owner wants no other part than the original in its place"))
        else:
            replaced.append(ref)
    sockets = tuple(ref for ref in chips if states.get(ref) == "socketed")
    tops += topped_capacitors(made.circuit)
    hands = HandsNow(sockets, True, tuple(tops), tuple(replaced), tuple(sorted(pay.items())))
    return HandWork(hands, tuple(swaps), tuple(kept_back))


def _too_dear(owner: Consent, spent: float, card: ChipCard) -> str:
    money = f"{card.price or 0.0:g} {owner.currency}".strip()
    return f"{card.chip} costs {money}; {spent:g} of {owner.limit:g} are spent: ask the owner first"


def money_spent(state: CaseState) -> float:
    """What the chips that went into the machine cost."""
    inside = [
        one
        for one in chip_cards(state).values()
        if one.place and not one.place.startswith((*STOCK, *BOUGHT, "out", "bin"))
    ]
    return sum(one.price or 0.0 for one in inside)


def _may_top(chip: object) -> bool:
    """Whether the book lets a good chip be held on top."""
    return isinstance(chip, Chip) and chip.piggyback != ""


def _fitting(binding: Binding, chips: Mapping[str, CircuitPart], book: DeviceBook) -> dict[str, ChipCard]:
    """For each part the best chip of the stock, the donor or the shopping list: at hand before to buy, known good first, then the cheapest."""
    cards = [one for one in chip_cards(binding.state).values() if one.type and one.goodness != "known bad"]
    cards = [one for one in cards if one.place.startswith((*STOCK, *BOUGHT))]
    types: dict[str, str] = {}
    for one in cards:
        known = book.find(one.type)
        types[one.chip] = known.type if known is not None else one.type.upper()
    found: dict[str, ChipCard] = {}
    for ref, part in chips.items():
        fits = [
            one
            for one in cards
            if part.chip is not None
            and types[one.chip] == part.chip.type
            and not too_slow(part.value, one.type, one.speed)
        ]
        if fits:
            found[ref] = min(fits, key=_rank)
    return found


def _rank(one: ChipCard) -> tuple[bool, bool, float, str]:
    return (one.place.startswith(BOUGHT), one.goodness != "known good", one.price or 0.0, one.chip)
