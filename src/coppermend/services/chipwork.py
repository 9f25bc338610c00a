"""A chip out and in again: are all legs free, are the bare holes sound while it is out, is the next one right, and does every pin reach its track."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import hypot
from typing import Any

import shapely

from coppermend.core.board.model import PartState
from coppermend.core.circuit.model import Circuit, CircuitPart
from coppermend.core.copper.model import ProbePoint
from coppermend.core.log.state import CaseState, ChipCheck, Reading, plain
from coppermend.devices.book import DeviceBook, shipped
from coppermend.services.bind import Binding, bind
from coppermend.services.chips import ChipCard, circuit_for, part_pins, stock_for
from coppermend.services.chiptries import cards_of, chip_conflicts
from coppermend.services.evidence import BEEPS_OHM
from coppermend.services.looks import Conflict
from coppermend.services.points import known_part, points_of_pin
from coppermend.services.workshop import Workshop

PITCH_MM = 2.8
"""Pins at most this far apart stand beside each other (0.1 inch with some play)."""
FIT_ITEMS = ("orientation", "type", "speed", "legs", "seat")
PULL_CAUTION = (
    "Never pull what does not move by itself: a leg that holds takes its land or its barrel along. Hot solder, lead and flux fumes: your local rules first. "
    "From a socket: power off, lever a little at both ends in turn, flat; touch earthed metal first."
)
FIT_CAUTION = "Power off. Notch to notch: the wrong way round kills most chips at once. Every leg over its own contact before you press."
FIT_ASKS = {
    "orientation": "Notch and pin 1 as the board shows them?",
    "type": "The right type number?",
    "speed": "Speed grade at least that of the board's?",
    "legs": "All legs straight, none under the body or beside its contact?",
    "seat": "Does it sit tight all along?",
}


@dataclass(frozen=True, slots=True)
class PinRow:
    """One pin: the points of its check on its own net (``a`` at the part, ``b`` elsewhere, "" none), and how it stands (open, closed, "")."""

    pin: str
    net: str
    a: str
    b: str
    stands: str
    free: bool | None = None


@dataclass(frozen=True, slots=True)
class ApartRow:
    """Two neighbouring pins on different nets: their points and whether they read joined, apart or were not read ("")."""

    a: str
    b: str
    stands: str


@dataclass(frozen=True, slots=True)
class ChipWork:
    """The work on one part: what it is, which chip sits there, what to do now, pin by pin."""

    part: str
    value: str
    state: str
    chip: ChipCard | None
    stock: tuple[ChipCard, ...]
    pins: tuple[PinRow, ...]
    apart: tuple[ApartRow, ...]
    checks: tuple[tuple[str, str, ChipCheck | None], ...]
    in_area: bool
    piggyback: str
    now: str
    caution: str
    conflicts: tuple[Conflict, ...] = ()
    """Where what the log says of chips and this part cannot all be, with what settles it."""

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {
            "part": self.part,
            "value": self.value,
            "state": self.state,
            "chip": None if self.chip is None else self.chip.as_dict(),
            "stock": [one.as_dict() for one in self.stock],
            "pins": plain(self.pins),
            "apart": plain(self.apart),
            "checks": [{"item": item, "ask": ask, "answer": None if one is None else plain(one)} for item, ask, one in self.checks],
            "in_area": self.in_area,
            "piggyback": self.piggyback,
            "now": self.now,
            "caution": self.caution,
            "conflicts": [{"words": one.words, "settles": one.settles} for one in self.conflicts],
        }  # fmt: skip


def chip_work(workshop: Workshop, case: str, part: str, book: DeviceBook | None = None) -> ChipWork:
    """The work on one part of a case. Refusal PNT-003 when the board has no such part."""
    binding, found = bind(workshop, case), book or shipped()
    ref = known_part(binding.graph, part)
    row = circuit_for(binding, found).part(ref)
    value = row.value if row is not None else ""
    states = dict(binding.graph.part_states)
    state = states.get(ref, PartState.SOLDERED)
    out = state in (PartState.OUT, PartState.NOT_FITTED)
    since = _last_move(binding.state, ref)
    pins = tuple(_pin_row(binding, ref, pin, out, since) for pin in part_pins(binding, ref))
    apart = _apart_rows(binding, ref, since) if out else ()
    last = {one.item: one for one in binding.state.chip_checks if one.part == ref and one.at > since}
    checks = tuple((item, FIT_ASKS[item], last.get(item)) for item in FIT_ITEMS)
    cards = cards_of(binding, found)
    inside = next((one for one in reversed(list(cards.values())) if one.place == ref), None)
    chip = found.find(value)
    now = _now(ref, state, pins, apart, checks)
    return ChipWork(
        ref, value, str(state), inside, stock_for(binding.state, found, value), pins, apart, checks,
        _in_area(binding, ref), chip.piggyback if chip is not None else "", now, FIT_CAUTION if out else PULL_CAUTION,
        tuple(one for one in chip_conflicts(binding, found) if re.search(rf"\b{re.escape(ref)}\b", one.words)),
    )  # fmt: skip


def parts_with_chips(workshop: Workshop, case: str, book: DeviceBook | None = None) -> tuple[dict[str, Any], ...]:
    """Every chip of the board: reference, type, part state, and the label of the chip that sits there ("" not known)."""
    binding, found = bind(workshop, case), book or shipped()
    circuit: Circuit = circuit_for(binding, found)
    states = dict(binding.graph.part_states)
    at = {one.place: one.chip for one in cards_of(binding, found).values()}
    rows = [one for one in circuit.parts if one.role in ("chip", "unknown chip")]
    return tuple(_chip_row(one, str(states.get(one.ref, "soldered")), at.get(one.ref, "")) for one in rows)


def _chip_row(part: CircuitPart, state: str, chip: str) -> dict[str, Any]:
    return {"part": part.ref, "value": part.value, "state": state, "chip": chip}


def _last_move(state: CaseState, ref: str) -> int:
    """Position of the last act at which the part went out or in; -1 when there is none."""
    return max((a.at for a in state.acts if a.part == ref and a.kind in ("remove", "fit", "swap")), default=-1)


def _pin_row(binding: Binding, ref: str, pin: str, out: bool, since: int) -> PinRow:
    graph = binding.graph
    mine = [p for p in points_of_pin(graph, ref, pin) if p.reachable]
    order = ("hole", "contact", "joint") if out else ("leg", "joint", "contact")
    mine.sort(key=lambda p: order.index(p.kind) if p.kind in order else len(order))
    a = mine[0] if mine else None
    b = _other(binding, ref, a) if a is not None else None
    ticks = [c for c in binding.state.chip_checks if c.part == ref and c.item == "free" and c.at > since]
    free = next((c.good for c in reversed(ticks) if not c.pins or pin in c.pins), None)
    net = graph.net_names[a.net] if a is not None else ""
    return PinRow(pin, net, a.id if a else "", b.id if b else "", _stands(binding.state, ref, pin, since), free)


def _other(binding: Binding, ref: str, a: ProbePoint) -> ProbePoint | None:
    """The nearest reachable point of another part's pin on the same net, on the same side where there is one."""
    there = [p for p in _by_net(binding).get(a.net, ()) if p.part != ref]
    return min(there, key=lambda p: (p.side != a.side, hypot(p.x_mm - a.x_mm, p.y_mm - a.y_mm), p.id), default=None)


def _by_net(binding: Binding) -> dict[int, list[ProbePoint]]:
    if "pins by net" not in binding.memo:
        found: dict[int, list[ProbePoint]] = {}
        for p in binding.graph.points:
            if p.part and p.reachable:
                found.setdefault(p.net, []).append(p)
        binding.memo["pins by net"] = found
    kept: dict[int, list[ProbePoint]] = binding.memo["pins by net"]
    return kept


def _stands(state: CaseState, ref: str, pin: str, since: int) -> str:
    """What the last reading since then says of the way from a pin to another pin of its net."""
    for one in reversed(state.readings):
        if one.at <= since:
            return ""
        if one.kind in ("closed", "open", "ohms") and len(one.points) == 2:
            ends = {(p.part, p.pin) for p in one.points}
            nets = {p.net for p in one.points}
            if (ref, pin) in ends and len(nets) == 1:
                return "open" if _reads_open(one) else "closed"
    return ""


def _reads_open(one: Reading) -> bool:
    return one.kind == "open" or (one.kind == "ohms" and (one.value is None or one.value > BEEPS_OHM))


def _apart_rows(binding: Binding, ref: str, since: int) -> tuple[ApartRow, ...]:
    """Neighbouring bare pins on different nets."""
    places = [one for one in binding.graph.pins if one.part == ref]
    rows = []
    for i, one in enumerate(places):
        for two in places[i + 1 :]:
            if one.net == two.net or hypot(one.x_mm - two.x_mm, one.y_mm - two.y_mm) > PITCH_MM:
                continue
            ends = [
                next((p for p in points_of_pin(binding.graph, ref, x.number) if p.reachable), None) for x in (one, two)
            ]
            if ends[0] is not None and ends[1] is not None:
                pair = {(ref, one.number), (ref, two.number)}
                rows.append(ApartRow(ends[0].id, ends[1].id, _stands_apart(binding.state, pair, since)))
    return tuple(rows)


def _stands_apart(state: CaseState, pair: set[tuple[str, str]], since: int) -> str:
    for one in reversed(state.readings):
        if one.at <= since:
            return ""
        if one.kind in ("closed", "open", "ohms") and {(p.part, p.pin) for p in one.points} == pair:
            return "apart" if _reads_open(one) else "joined"
    return ""


def _in_area(binding: Binding, ref: str) -> bool:
    shapes = [shapely.Polygon(area.polygon) for area in binding.marking if len(area.polygon) >= 3]
    spots = [shapely.Point(one.x_mm, one.y_mm) for one in binding.graph.pins if one.part == ref]
    return bool(spots) and all(any(shape.covers(spot) for shape in shapes) for spot in spots)


def _now(
    ref: str,
    state: PartState,
    pins: tuple[PinRow, ...],
    apart: tuple[ApartRow, ...],
    checks: tuple[tuple[str, str, ChipCheck | None], ...],
) -> str:
    """What to do now, in one or two sentences."""
    if state in (PartState.OUT, PartState.NOT_FITTED):
        bad = [one.pin for one in pins if one.stands == "open"]
        joined = [f"{one.a} and {one.b}" for one in apart if one.stands == "joined"]
        if bad or joined:
            said = [
                f"no way from pin {', '.join(bad)}" if bad else "",
                f"joined: {'; '.join(joined)}" if joined else "",
            ]
            return f"Mend the bare places first: {'; '.join(one for one in said if one)}."
        left = sum(1 for one in pins if one.b and not one.stands) + sum(1 for one in apart if not one.stands)
        if left:
            return f"Nothing covers its places now: read the {left} checks that are left at the bare pins before another chip goes in."
        return "The bare places are proven: fit the chip, notch to notch."
    wrong = [item for item, _, one in checks if one is not None and not one.good]
    if wrong:
        return f"Put right first: {', '.join(wrong)}."
    if state is PartState.SOCKETED:
        ask = [item for item, _, one in checks if one is None]
        if ask:
            return f"In its socket. To see to after fitting: {', '.join(ask)}; then each pin from leg to track."
        return "In its socket and looked at; read each pin from leg to track."
    stuck = [one.pin for one in pins if one.free is False]
    if stuck:
        return f"Do not pull: pin {', '.join(stuck)} still holds. Heat it again, pins on planes longest (coppermend removal plan)."
    unticked = [one.pin for one in pins if one.free is None]
    if len(unticked) == len(pins):
        return f"Soldered. When you take {ref} out, tick every leg that moves freely; pull only when all do."
    if unticked:
        return f"Do not pull yet: {len(unticked)} legs are not ticked as free: {', '.join(unticked[:12])}{' ...' if len(unticked) > 12 else ''}."
    return "All legs are free: lift it straight up, without force."
