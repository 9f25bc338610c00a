"""Chips put in for a try: which tries say nothing because of what was put in, and where what the log says of its chips cannot all be."""

from __future__ import annotations

from collections.abc import Mapping

from coppermend.core.log.fold import is_repair
from coppermend.core.log.state import Act, CaseState
from coppermend.devices.book import DeviceBook, shipped
from coppermend.services.bind import Binding
from coppermend.services.chips import ChipCard, chip_cards, misfit, wrong_type
from coppermend.services.looks import Conflict


def mute_swaps(binding: Binding, book: DeviceBook | None = None) -> Mapping[str, str]:
    """Of every try (its entry) that tells nothing, why: the chip put in is of another type, too slow, or known bad, so it could not have worked anyway.

    A try with a slow or bad one with which the machine then worked does tell something: that is a contradiction (``chip_conflicts``). One of another type
    tells nothing either way.
    """
    key = f"mute swaps {(book or shipped()).digest}"
    if key not in binding.memo:
        cards = chip_cards(binding.state)
        values = {one.ref: one.value for one in binding.board.parts}
        found = {}
        for act in _tries(binding.state):
            card = cards.get(act.chip_in)
            why = misfit(book or shipped(), act.part, values.get(act.part, ""), card) if card is not None else ""
            other = card is not None and wrong_type(book or shipped(), act.part, values.get(act.part, ""), card)
            if why and (other or act.effect != "cured"):
                found[act.entry] = why
        binding.memo[key] = found
    kept: Mapping[str, str] = binding.memo[key]
    return kept


def cards_of(binding: Binding, book: DeviceBook | None = None) -> dict[str, ChipCard]:
    """The chips of a bound case, without what tries that tell nothing would say of them."""
    return chip_cards(binding.state, mute_swaps(binding, book))


def _tries(state: CaseState) -> list[Act]:
    return [act for act in state.acts if act.kind == "swap" and act.trial and act.part]


def chip_conflicts(binding: Binding, book: DeviceBook | None = None) -> tuple[Conflict, ...]:
    """What the log says of its chips that cannot all be: two in one socket, one in a socket that is empty, a chip that cannot work and did, a try that
    changed nothing and one that cured at the same part. Each with what settles it."""
    return (*_two_in_one(binding), *_worked_though(binding, book or shipped()), *_tries_apart(binding, book))


def _two_in_one(binding: Binding) -> list[Conflict]:
    parts = {one.ref for one in binding.board.parts}
    states = {ref: str(state) for ref, state in binding.graph.part_states}
    inside: dict[str, list[ChipCard]] = {}
    for card in chip_cards(binding.state).values():
        if card.place in parts:
            inside.setdefault(card.place, []).append(card)
    found = []
    for ref, cards in inside.items():
        entries = tuple(card.stays[-1].entry for card in cards if card.stays)
        names = [_at(binding, card) for card in cards]
        if len(cards) > 1:
            words = f"{', '.join(names[:-1])} and {names[-1]} are all noted in {ref}."
            found.append(
                Conflict(
                    entries,
                    words,
                    f"Read the label of the chip in {ref}; note where the others are: chip card CASE LABEL --place stock.",
                )
            )
        elif states.get(ref) in ("out", "not fitted"):
            words = f"{names[0]} is noted in {ref}, and {ref} is {states[ref]}."
            found.append(
                Conflict(
                    entries,
                    words,
                    f"Note where it is (chip card CASE {cards[0].chip} --place out), or that it was fitted: note CASE fit {ref}.",
                )
            )
    return found


def _at(binding: Binding, card: ChipCard) -> str:
    number = {item.entry: item.ref for item in binding.state.timeline}
    return f"{card.chip} (no. {number.get(card.stays[-1].entry, 0)})" if card.stays else card.chip


def _worked_though(binding: Binding, book: DeviceBook) -> list[Conflict]:
    """A chip that by its label could not work in that part, and with which the machine worked."""
    number = {item.entry: item.ref for item in binding.state.timeline}
    values = {one.ref: one.value for one in binding.board.parts}
    bad = {one.chip for one in binding.state.chips if one.goodness == "known bad"}
    cards = chip_cards(binding.state)
    found = []
    for act in _tries(binding.state):
        card = cards.get(act.chip_in)
        if card is None or act.effect != "cured":
            continue
        why = misfit(book, act.part, values.get(act.part, ""), card)
        why = why or (f"{card.chip} was noted as known bad" if card.chip in bad else "")
        if why:
            words = f"{why}, and with it in {act.part} the machine worked (no. {number.get(act.entry, 0)})."
            found.append(
                Conflict(
                    (act.entry,),
                    words,
                    f"Read the print and the label of {card.chip} again and try it once more; take back what was wrong: note CASE undo NUMBER.",
                )
            )
    return found


def _tries_apart(binding: Binding, book: DeviceBook | None) -> list[Conflict]:
    """Since the last repair: at one part a try changed nothing and another one cured."""
    state = binding.state
    repaired = max((act.at for act in state.acts if is_repair(act)), default=-1)
    number = {item.entry: item.ref for item in state.timeline}
    mute = mute_swaps(binding, book)
    tries: dict[str, dict[str, list[Act]]] = {}
    for act in _tries(state):
        if act.at > repaired and act.entry not in mute and act.effect in ("none", "cured"):
            tries.setdefault(act.part, {}).setdefault(act.effect, []).append(act)
    found = []
    for ref, rows in tries.items():
        if len(rows) < 2:
            continue
        said = {
            how: ", ".join(f"{act.chip_in or 'another one'} (no. {number.get(act.entry, 0)})" for act in acts)
            for how, acts in rows.items()
        }
        words = f"At {ref}, {said['none']} changed nothing, and with {said['cured']} it worked."
        entries = tuple(act.entry for acts in rows.values() for act in acts)
        found.append(
            Conflict(
                entries,
                words,
                "Put a known-good one in and start five times (starts CASE k/5): if it always works, the one that changed nothing is bad "
                "(chip card CASE LABEL --known 'known bad'); "
                "where it comes and goes with any chip, it is the socket: reseat and press.",
            )
        )
    return found
