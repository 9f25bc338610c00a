"""Two ways of work without a planner, on patients of the whole kind: a technician by common practice, and the fixed checklist. Common practice, no source.

``practice``: look over the reworked area, rails to ground, one reading for each pin of the reworked socket to the nearest other pin of its net (an
open one repeated, then halved down to the place and mended), power; rails, clock and reset; then what is loose is swapped for known-good parts, one
at a time, and again when a start shows something else; at each further start the memory test of a diagnostic ROM; then a pin of each net in the order
of the checklist, then all other pins; and from the first that is not as it should be upstream: bad at its driver too, then the driver's inputs; all
of those right, then the driver is replaced; right at the driver, then the copper between is beeped and mended. After each mend the machine is started
again. When it starts, the memory is tested. ``checklist`` does the same without the readings at the socket and without swaps, and begins the list
anew after each start.

Both look at an odd pin twice before they believe it, and know the schematic, the pins' expected levels and the clocks' frequencies; neither judges patterns
(that takes a recording of a good machine). They use the same cost table, are given the map for beeping, and find a shorted part by current and a thermal
camera in one go. Both ask the owner before unsoldering.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from coppermend.core.circuit.model import Circuit
from coppermend.core.circuit.planes import FLOATING, HIGH, LOW, RIGHT, Behaviour


@dataclass(frozen=True, slots=True)
class Place:
    """Where a pin can be touched and what it should show: symbol of ``circuit.planes`` (RIGHT: it moves), whether by program (then it tells nothing), clocked."""

    pin: str
    net: str
    node: int
    healthy: int
    loose: bool
    clocked: bool
    rail: bool
    ground: bool


class Hands(Protocol):
    """What a technician can do; each counts its seconds and is answered by the patient."""

    @property
    def screen(self) -> str:
        """What the last start showed, "" while the power is off."""

    def look_over(self) -> Sequence[str]:
        """Look over the reworked area from both sides and mend what shows; what was mended."""

    def rails_and_supply(self) -> None:
        """Rails to ground in ohms; a shorted part is found and replaced."""

    def power_on(self) -> str:
        """Power on: the screen's name."""

    def level(self, place: Place, again: bool = False) -> str:
        """What a probe shows at a place."""

    def beep(self, net: str, pin_a: str, pin_b: str) -> bool:
        """A continuity check between two pins, power off."""

    def mend_between(self, net: str, pin_a: str, pin_b: str) -> bool:
        """Halve the way between two pins that read open, mend the place and read again; whether it then closes."""

    def holder(self, net: str) -> str:
        """The pin that millivolts along a stuck net lead to."""

    def replace(self, part: str) -> None:
        """A good part for good; asks the owner first where it is soldered."""

    def try_part(self, part: str) -> bool:
        """A known-good part for a try; kept when it then starts."""

    def supply(self) -> bool:
        """Measure the supply alone and take another one where it is wrong; whether it was."""

    def memory_test(self) -> Sequence[str] | None:
        """Run a memory test: chips that its errors point to, () none, None where it does not run."""

    def reseat(self, part: str) -> None:
        """Out of its socket and in again."""


@dataclass(frozen=True, slots=True)
class Manual:
    """What the technician has on paper: the circuit, the pins in the checklist's order, socket readings (net, pin, nearest other pin), loose parts."""

    circuit: Circuit
    behaviour: Behaviour
    listed: tuple[Place, ...]
    place: Mapping[str, Place]
    socket_pairs: tuple[tuple[str, str, str], ...]
    loose: tuple[str, ...]
    vital: int
    """So many of ``listed`` are rails, clocks and resets."""


MOST_ROUNDS = 60
"""Starts after which the technician gives up."""


def technician(hands: Hands, manual: Manual, fixed: bool = False) -> Iterator[str]:
    """Work until it starts and the memory passes, yielding what was done; the last word is ``done`` or ``other hands``. ``fixed``: the checklist alone."""
    mind = _Mind(hands, manual)
    hands.rails_and_supply()
    yield "rails"
    if not fixed:
        hands.look_over()
        yield "looked over"
        for net, pin, other in manual.socket_pairs:
            if not hands.beep(net, pin, other) and not hands.beep(net, pin, other):
                hands.mend_between(net, pin, other)
            yield "socket pin"
    swapped = ""
    begun = False
    at = 0
    for _ in range(MOST_ROUNDS):
        if hands.power_on() == "works":
            bad = hands.memory_test()
            if not bad:
                yield "done"
                return
            for part in bad[:1]:
                hands.replace(part)
            yield "memory"
            continue
        if hands.screen == "starts, something fails" and (bad := hands.memory_test()):
            hands.replace(bad[0])
            yield "memory"
            continue
        if not begun and not fixed:
            if mind.mends_first(manual.listed[: manual.vital]):
                yield "mended"
                continue
            begun, at = True, manual.vital
        if not fixed and hands.screen != swapped:
            swapped = hands.screen
            if any(hands.try_part(part) for part in manual.loose):
                yield "swapped"
                continue
        if not fixed and (bad := hands.memory_test()):
            hands.replace(bad[0])
            yield "memory"
            continue
        if fixed:
            at = 0
        found = mind.first_odd(manual.listed, at)
        if found is None:
            if at > 0:
                at = 0
                found = mind.first_odd(manual.listed, 0)
            if found is None:
                if not mind.last_resort():
                    yield "other hands"
                    return
                yield "last resort"
                continue
        at = found
        if not mind.mend(manual.listed[found]):
            mind.given_up.add(manual.listed[found].pin)
        yield "mended"
    yield "other hands"


class _Mind:
    """What the technician remembers."""

    def __init__(self, hands: Hands, manual: Manual) -> None:
        self.hands, self.manual = hands, manual
        self.given_up: set[str] = set()
        self.replaced: set[str] = set()
        self.reseated: set[str] = set()
        self.tested: set[str] = set()

    def odd(self, place: Place) -> str:
        """What a pin shows when it is not as it should be, looked at twice; "" when it is right or tells nothing."""
        first = self._odd(place, False)
        return self._odd(place, True) if first else ""

    def _odd(self, place: Place, again: bool) -> str:
        said = self.hands.level(place, again)
        if place.rail:
            return "" if said == ("low" if place.ground else "high") else said
        if said == "floating":
            return "" if place.healthy == FLOATING else said
        if place.loose:
            return ""
        want = {LOW: "low", HIGH: "high", RIGHT: "pulsing"}.get(place.healthy)
        return "" if want is None or said == want else said

    def first_odd(self, listed: Sequence[Place], start: int) -> int | None:
        """The first pin from ``start`` on that is not right and was not given up."""
        for k in range(start, len(listed)):
            if listed[k].pin not in self.given_up and self.odd(listed[k]):
                return k
        return None

    def mends_first(self, listed: Sequence[Place]) -> bool:
        """Mend the first odd pin of a list; whether there was one."""
        k = self.first_odd(listed, 0)
        if k is None:
            return False
        if not self.mend(listed[k]):
            self.given_up.add(listed[k].pin)
        return True

    def mend(self, place: Place, seen: frozenset[str] = frozenset()) -> bool:
        """Follow an odd pin upstream to what is to be mended, and mend it; whether anything was."""
        if place.rail:
            return self._rail(place)
        drivers = [t.id for t in self.manual.circuit.drivers(place.net) if t.id in self.manual.place]
        good = [pin for pin in drivers if pin != place.pin and not self.odd(self.manual.place[pin])]
        if good:
            return self.hands.mend_between(place.net, good[0], place.pin)
        for pin in drivers or [place.pin]:
            part = pin.split(".")[0]
            if part in seen:
                continue
            for one in self._inputs(part):
                if one.net != place.net and self.odd(one):
                    return self.mend(one, seen | {part})
        return self._blame(place, drivers)

    def _inputs(self, part: str) -> list[Place]:
        row = self.manual.circuit.by_ref[part]
        outputs = {
            t.id for net in {t.net for t in row.terminals} for t in self.manual.circuit.drivers(net) if t.part == part
        }
        return [self.manual.place[t.id] for t in row.terminals if t.id in self.manual.place and t.id not in outputs]

    def _blame(self, place: Place, drivers: Sequence[str]) -> bool:
        """All that goes into the drivers is right: the one that holds the net, else the driver."""
        held = self.hands.holder(place.net)
        order = [one for one in (held, *drivers) if one]
        if not order:
            others = [t.id for t in self.manual.circuit.nets.get(place.net, ()) if t.id != place.pin]
            order = [one for one in others if self.manual.circuit.by_ref[one.split(".")[0]].role != "connector"]
        for pin in order:
            part = pin.split(".")[0]
            if part not in self.replaced:
                self.replaced.add(part)
                self.hands.replace(part)
                return True
        return False

    def _rail(self, place: Place) -> bool:
        """A rail that is wrong at a chip: the supply, then the copper to the pin where another chip has it right."""
        if self.hands.supply():
            return True
        same = [p for p in self.manual.listed if p.net == place.net and p.pin != place.pin]
        for other in same[:3]:
            if not self.odd(other):
                return self.hands.mend_between(place.net, other.pin, place.pin)
        caps = [
            t.part for t in self.manual.circuit.nets.get(place.net, ())
            if self.manual.circuit.by_ref[t.part].role == "capacitor" and self.manual.circuit.by_ref[t.part].value.lower().find("u") > 0
        ]  # fmt: skip
        for part in caps:
            if part not in self.replaced:
                self.replaced.add(part)
                self.hands.replace(part)
                return True
        return False

    def last_resort(self) -> bool:
        """Nothing odd is found: reseat what is loose, then replace the loose parts for good; False when that is done, too."""
        for part in self.manual.loose:
            if part not in self.reseated:
                self.reseated.add(part)
                self.hands.reseat(part)
                return True
        for part in self.manual.loose:
            if part not in self.replaced:
                self.replaced.add(part)
                self.hands.replace(part)
                return True
        self.given_up.clear()
        if "again" not in self.tested:
            self.tested.add("again")
            return True
        return False
