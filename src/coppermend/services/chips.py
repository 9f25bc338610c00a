"""Chips as pieces: what each is, where it came from, where it has been, what the swaps say of it; and what is in stock for a part of the board."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from coppermend.core.board.names import nearest_names
from coppermend.core.circuit.model import Circuit
from coppermend.core.findings import Place, refuse
from coppermend.core.log.canonical import Json
from coppermend.core.log.kinds import CHIP_CHECKS, GOODNESS
from coppermend.core.log.state import CaseState, plain
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import Binding, bind
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.points import known_part
from coppermend.services.powered import circuit_of
from coppermend.services.workshop import Workshop

NOT_MUTE: Mapping[str, str] = {}
STOCK = ("stock", "donor")
"""Places whose chips are at hand for a try; any other place is a part of the board, or said in words."""


@dataclass(frozen=True, slots=True)
class Stay:
    """Where a chip went: place, entry, when, and what that did ("" not told)."""

    place: str
    entry: str
    when: str
    words: str


@dataclass(frozen=True, slots=True)
class ChipCard:
    """One chip: label, type, speed grade, origin, what is known of it, where it is now, its price, its stays, and what the swaps say."""

    chip: str
    type: str = ""
    speed: str = ""
    origin: str = ""
    goodness: str = "unknown"
    place: str = ""
    price: float | None = None
    words: str = ""
    stays: tuple[Stay, ...] = ()
    says: tuple[str, ...] = ()

    @property
    def at_hand(self) -> bool:
        """Whether it can be put in for a try now."""
        return self.place.split(" ")[0] in STOCK and self.goodness != "known bad"

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        value: dict[str, Any] = plain(self)
        return {**value, "at_hand": self.at_hand}


def chip_cards(state: CaseState, mute: Mapping[str, str] = NOT_MUTE) -> dict[str, ChipCard]:
    """Every chip of a case by its label: what its entries tell, with the swaps and fittings that moved it, in the order of the log.

    ``mute``: of swaps (entries) that tell nothing of the chip that came out, why (``services.chiptries.mute_swaps``).
    """
    cards: dict[str, ChipCard] = {}
    rows: list[tuple[int, Any]] = [(one.at, one) for one in state.chips]
    rows += [(act.at, act) for act in state.acts if act.chip_in or act.chip_out or act.kind == "remove"]
    for _, row in sorted(rows, key=lambda pair: pair[0]):
        if hasattr(row, "chip"):
            cards[row.chip] = _told(cards.get(row.chip, ChipCard(row.chip)), row)
        elif row.kind == "remove" and not row.chip_out:
            _taken_out(cards, row)
        else:
            _moved(cards, row, mute.get(row.entry, ""))
    return cards


def _taken_out(cards: dict[str, ChipCard], act: Any) -> None:
    """A part that was taken out takes along whichever chip sat there."""
    for card in list(cards.values()):
        if act.part and card.place == act.part:
            stays = (*card.stays, Stay("out", act.entry, act.observed_at, ""))
            cards[card.chip] = replace(card, place="out", stays=stays)


def _told(card: ChipCard, note: Any) -> ChipCard:
    fresh = {name: getattr(note, name) for name in ("type", "speed", "origin", "goodness", "place", "words")}
    made = replace(card, **{name: value for name, value in fresh.items() if value})
    if note.price is not None:
        made = replace(made, price=note.price)
    if note.place and note.place != card.place:
        made = replace(made, stays=(*card.stays, Stay(note.place, note.entry, note.observed_at, note.words)))
    return made


_AFTER = {
    "cured": "it worked there",
    "changed": "something else was shown",
    "none": "nothing changed",
    "worse": "it was worse",
}


def _moved(cards: dict[str, ChipCard], act: Any, mute: str) -> None:
    """A swap, a fitting or a try on top: the chip that went in and the one that came out, and what the effect says of each; ``mute`` why it says nothing.
    One that was held on top comes down again, to where it was."""
    said, on_top = _AFTER.get(act.effect, ""), act.kind == "piggyback"
    if on_top:
        said = f"held on top: {said}" if said else "held on top"
    if act.chip_in:
        card = cards.get(act.chip_in, ChipCard(act.chip_in))
        stays = (*card.stays, Stay(act.part, act.entry, act.observed_at, said))
        says = (*card.says, f"worked at {act.part}") if act.effect == "cured" else card.says
        goodness = "known good" if act.effect == "cured" else card.goodness
        back = card.place if act.trial or on_top else act.part
        cards[act.chip_in] = replace(card, place=back, stays=stays, says=says, goodness=goodness)
    if act.chip_out:
        card = cards.get(act.chip_out, ChipCard(act.chip_out))
        if mute:
            card = replace(card, says=(*card.says, f"the try at {act.part} says nothing of it: {mute}"))
        elif act.effect == "cured":
            says = (*card.says, f"with another one at {act.part} it works: this chip or the socket of {act.part}")
            card = replace(card, says=says)
        elif act.effect == "none":
            card = replace(card, says=(*card.says, f"another one at {act.part} changed nothing: hardly this chip"))
        place = act.part if act.trial else "out"
        cards[act.chip_out] = replace(
            card, place=place, stays=(*card.stays, Stay(place, act.entry, act.observed_at, said))
        )


_SOCKET = re.compile(r"(U|IC|X|CN)\d{1,4}[A-Z]?", re.IGNORECASE)
"""A place written so is meant as a part of the board, not as a drawer: it must be one that the board has."""


def note_chip(
    workshop: Workshop,
    case: str,
    chip: str,
    *,
    type_name: str = "",
    speed: str = "",
    origin: str = "",
    goodness: str = "",
    place: str = "",
    price: float | None = None,
    words: str = "",
    entry_id: str | None = None,
) -> Noted:
    """Note what one chip is and where it is. Refusals CHP-001 (no label), CHP-002 (what is known of it), CHP-003 (a price that cannot be), PNT-003 (a place
    written like a part, U77, that the board does not have)."""
    label = chip.strip()
    if not label or len(label) > 40:
        raise refuse(
            "CHP-001",
            "A chip needs a label of 1 to 40 letters.",
            "Put a dot of paint or a sticker on it and name it by that: C7.",
        )
    if goodness and goodness not in GOODNESS:
        raise refuse("CHP-002", f"{goodness!r} is not what is known of a chip.", f"Say one of: {', '.join(GOODNESS)}.")
    if price is not None and not (math.isfinite(price) and 0.0 <= price < 1e6):
        raise refuse(
            "CHP-003", f"A price of {price:g} cannot be.", "Give it from 0 up, in the currency of the cost limit."
        )
    where = place.strip()
    if where and where.split(" ")[0] not in (*STOCK, "out", "bin", "to buy"):
        graph = bind(workshop, case).graph
        on_board = any(one.part.upper() == where.upper() for one in graph.pins)
        where = known_part(graph, where) if on_board or _SOCKET.fullmatch(where) else where
    payload: dict[str, Json] = {
        "chip": label, "type": type_name.strip(), "speed": speed.strip(), "origin": origin.strip(), "goodness": goodness, "place": where, "price": price, "words": words,
    }  # fmt: skip
    return noted(write(workshop, case, "chip", payload, entry_id=entry_id))


def note_check(
    workshop: Workshop,
    case: str,
    part: str,
    item: str,
    good: bool,
    *,
    pins: Sequence[str] = (),
    words: str = "",
    entry_id: str | None = None,
) -> Noted:
    """Note a check of a chip that goes out or in, of the whole part or of some pins.

    Refusals PNT-003 (no such part), CHP-004 (no such check), CHP-005 (no such pin).
    """
    binding = bind(workshop, case)
    ref = known_part(binding.graph, part)
    wanted = item.strip().lower()
    if wanted not in CHIP_CHECKS:
        raise refuse("CHP-004", f"{item!r} is no check of a chip.", f"Say one of: {', '.join(CHIP_CHECKS)}.")
    numbers = part_pins(binding, ref)
    odd = [one for one in pins if one not in numbers]
    if odd:
        near = ", ".join(nearest_names(odd[0], list(numbers))) or ", ".join(numbers[:6])
        raise refuse(
            "CHP-005",
            f"{ref} has no pin {', '.join(odd)}.",
            f"Its pins: {near} ... to {numbers[-1] if numbers else '?'}.",
            Place(thing=ref),
        )
    payload: dict[str, Json] = {
        "part": ref, "item": wanted, "good": good, "pins": list(dict.fromkeys(pins)), "words": words,
        "states": {ref: str(dict(binding.graph.part_states).get(ref, "soldered"))},
    }  # fmt: skip
    return noted(write(workshop, case, "chipcheck", payload, entry_id=entry_id))


def part_pins(binding: Binding, ref: str) -> tuple[str, ...]:
    """A part's pin numbers in order."""
    row = next((one for one in binding.board.parts if one.ref == ref), None)
    numbers = [one.number for one in row.pins] if row is not None else []
    return tuple(sorted(dict.fromkeys(numbers), key=lambda n: (not n.isdecimal(), int(n) if n.isdecimal() else 0, n)))


def pin_list(text: str) -> tuple[str, ...]:
    """Pins as typed: "1-8,12" or "A1 B2". Refusal CHP-005 for a range that runs backwards.

    >>> pin_list("1-3, 8")
    ('1', '2', '3', '8')
    """
    found: list[str] = []
    for word in text.replace(",", " ").split():
        first, dash, last = word.partition("-")
        if dash and first.isdecimal() and last.isdecimal():
            if not int(first) <= int(last) <= int(first) + 256:
                raise refuse("CHP-005", f"{word} is no range of pins.", "Write it like 1-8.")
            found += [str(n) for n in range(int(first), int(last) + 1)]
        else:
            found.append(word)
    return tuple(dict.fromkeys(found))


def speed_ns(text: str) -> float | None:
    """The access time that a memory's print or a speed grade tells, in ns: "150 ns", "4164-15" (tens of ns), "6116-150"; None where it tells none.

    The suffix is common practice of memory makers, no source: two digits are tens, three are ns.

    >>> speed_ns("150 ns"), speed_ns("4164-15"), speed_ns("6116-3"), speed_ns("4 MHz")
    (150.0, 150.0, None, None)
    """
    said = re.search(r"(\d{2,4})\s*ns\b", text, re.IGNORECASE)
    if said:
        return float(said[1])
    grade = re.search(r"\d{3,}\w*-(\d{2,3})\b", text)
    if grade is None:
        return None
    return float(grade[1]) * (10.0 if len(grade[1]) == 2 else 1.0)


def wrong_type(book: DeviceBook, ref: str, value: str, card: ChipCard) -> str:
    """A chip of another type than the part's in words; "" where the types are one or the chip's is not told."""
    if not card.type:
        return ""
    mine, other = book.find(value), book.find(card.type)
    same = other.type == mine.type if other is not None and mine is not None else card.type.upper() == value.upper()
    return "" if same else f"{card.chip} is a {card.type}, {ref} a {value}"


def misfit(book: DeviceBook, ref: str, value: str, card: ChipCard) -> str:
    """Why a chip cannot do the work of a part, in words: another type, too slow, or known bad; "" where nothing is known against it."""
    slow = too_slow(value, card.type, card.speed)
    return (
        wrong_type(book, ref, value, card)
        or (f"{card.chip} is {slow}: too slow for {ref} ({value})" if slow else "")
        or (f"{card.chip} is noted as known bad" if card.goodness == "known bad" else "")
    )


def too_slow(board_value: str, type_name: str, speed: str) -> str:
    """The speed of a memory in words where it is slower than the board's part asks for; "" where it is not or neither tells.

    >>> too_slow("4164-15", "4164", "200 ns"), too_slow("4164-15", "4164-12", ""), too_slow("Z80A", "Z80A", "")
    ('200 ns', '', '')
    """
    wanted, mine = speed_ns(board_value), speed_ns(speed) or speed_ns(type_name)
    return f"{mine:g} ns" if wanted is not None and mine is not None and mine > wanted else ""


def stock_for(state: CaseState, book: DeviceBook, value: str) -> tuple[ChipCard, ...]:
    """The chips at hand that fit a part of that type: the same entry of the device book, or the same print where the book knows neither; best known first."""
    wanted = book.find(value)
    found = []
    for card in chip_cards(state).values():
        if not card.at_hand or not card.type:
            continue
        mine = book.find(card.type)
        same = (
            mine.type == wanted.type if mine is not None and wanted is not None else card.type.upper() == value.upper()
        )
        if same and not too_slow(value, card.type, card.speed):
            found.append(card)
    return tuple(sorted(found, key=lambda one: (GOODNESS.index(one.goodness), one.price or 0.0, one.chip)))


def circuit_for(binding: Binding, book: DeviceBook) -> Circuit:
    """The circuit of a bound case's board, kept as long as the board stays."""
    key = ("circuit", id(binding.board), book.digest)
    if key not in binding.kept:
        binding.kept[key] = (binding.board, circuit_of(binding.board, book))
    found: Circuit = binding.kept[key][1]
    return found
