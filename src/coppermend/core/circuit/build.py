"""From a parts list with nets and a book of chips to a circuit: what each part is, rails, pulls, links.

Reference letters follow ASME Y14.44 / IEEE 315 class letters (R, C, Y, J, Q, ...); what a board calls otherwise is "other" and left out.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from coppermend.core.circuit.cans import as_can
from coppermend.core.circuit.logic import names_in
from coppermend.core.circuit.model import DRIVING, ChipFacts, Circuit, CircuitPart, Link, Pull, Rail, Terminal
from coppermend.core.circuit.transistors import as_switch, is_transistor

_ROLES = (
    (("U", "IC"), "unknown chip"),
    (("RN", "RP", "RR"), "network"),
    (("RV", "VR"), "other"),
    (("R",), "resistor"),
    (("CN", "CON"), "connector"),
    (("CR",), "diode"),
    (("C",), "capacitor"),
    (("D",), "diode"),
    (("Y", "X", "XTAL"), "crystal"),
    (("J", "P"), "connector"),
    (("Q", "TR", "T"), "transistor"),
    (("SW", "S"), "switch"),
    (("LK", "JP", "W", "TP"), "link"),
    (("BT",), "cell"),
    (("L", "FB"), "inductor"),
    (("F",), "fuse"),
)
LINK_OHM = 10e3
"""A series resistor up to this hands a logic level on to the net behind it (an assumption)."""
PULL_OHM = 200e3
"""A resistor up to this to a rail holds an undriven net there (an assumption)."""


@dataclass(frozen=True, slots=True)
class PartInput:
    """A part as a board lists it. ``pins``: (number, function or "", net name or "")."""

    ref: str
    value: str
    pins: tuple[tuple[str, str, str], ...]
    socketed: bool = False


def build_circuit(parts: Iterable[PartInput], find: Callable[[str], ChipFacts | None]) -> Circuit:
    """The circuit of a parts list. ``find`` gives the chip of what is printed on a part, None when the book does not have it.

    Worked example: tests/facts/test_circuit_expect.py builds a clock, a counter and a latch from three rows.
    """
    made = tuple(_part(one, find) for one in parts)
    fixed = _nets(made)
    rails = _rails(made, fixed)
    made = tuple(as_can(one, _can_hertz(one), rails) for one in made)
    fixed = _nets(made)
    pulls = tuple(_pulls(made, rails))
    links = tuple(_links(made, fixed, rails))
    switched = _with_switches(made, fixed, rails, links, find)
    if switched != made:
        made, fixed = switched, _nets(switched)
        links = tuple(_links(made, fixed, rails))
    unknown = _unknown_nets(made, fixed, rails, pulls, links)
    return Circuit(made, fixed, rails, pulls, links, unknown, {one.ref: one for one in made})


def _nets(parts: tuple[CircuitPart, ...]) -> dict[str, tuple[Terminal, ...]]:
    nets: dict[str, list[Terminal]] = {}
    for part in parts:
        for one in part.terminals:
            if one.net:
                nets.setdefault(one.net, []).append(one)
    return {name: tuple(rows) for name, rows in nets.items()}


def _with_switches(
    parts: tuple[CircuitPart, ...],
    nets: Mapping[str, tuple[Terminal, ...]],
    rails: Mapping[str, Rail],
    links: tuple[Link, ...],
    find: Callable[[str], ChipFacts | None],
) -> tuple[CircuitPart, ...]:
    """The parts with every transistor of a known type as the switch that it is, where its base is driven by something known."""
    known = {net for net, rows in nets.items() if any(one.kind in DRIVING for one in rows)}
    known |= {one.target.net for one in links}
    found = []
    for part in parts:
        chip = find(part.value) if part.role == "transistor" and part.value else None
        usable = chip is not None and is_transistor(chip)
        found.append(as_switch(part, chip, rails, frozenset(known)) if chip is not None and usable else part)
    return tuple(found)


def role_of(ref: str) -> str:
    """What a reference designator says a part is.

    >>> role_of("RN3"), role_of("R3"), role_of("C7"), role_of("XTAL1"), role_of("K1")
    ('network', 'resistor', 'capacitor', 'crystal', 'other')
    """
    letters = re.match(r"[A-Za-z]*", ref)
    head = letters.group(0).upper() if letters else ""
    return next((role for names, role in _ROLES if head in names), "other")


def ohms_of(value: str) -> float | None:
    """The ohms printed on a resistor or a network, None when they cannot be read.

    >>> ohms_of("33R"), ohms_of("4k7"), ohms_of("8 x 10k"), ohms_of("680 ohm"), ohms_of("1M"), ohms_of("dip")
    (33.0, 4700.0, 10000.0, 680.0, 1000000.0, None)
    """
    text = re.sub(r"^\s*\d+\s*[x×]\s*", "", value.strip())
    found = re.match(r"(\d+)([RrkKM])(\d+)\b", text)
    scale = {"R": 1.0, "r": 1.0, "": 1.0, "k": 1e3, "K": 1e3, "M": 1e6}
    if found:
        return float(f"{found[1]}.{found[3]}") * scale[found[2]]
    found = re.match(r"(\d+(?:[.,]\d+)?)\s*([RrkKM]?)(?:\s*(?:ohms?|Ω|Ω))?(?:\s|$|,|/)", text + " ")
    return float(found[1].replace(",", ".")) * scale[found[2]] if found else None


def hertz_of(value: str) -> float | None:
    """The frequency printed on a crystal, None when it cannot be read.

    >>> hertz_of("16 MHz"), hertz_of("32.768 kHz"), hertz_of("14.31818M"), hertz_of("watch")
    (16000000.0, 32768.0, 14318180.0, None)
    """
    found = re.search(r"(\d+(?:[.,]\d+)?)\s*([kKM])(?:[hH][zZ])?", value)
    if not found:
        return None
    return round(float(found[1].replace(",", ".")) * (1e6 if found[2] == "M" else 1e3), 6)


def _can_hertz(part: CircuitPart) -> float | None:
    """The frequency of a part that may be an oscillator in a can: named like a crystal, or like an oscillator, or like a chip that is printed with one."""
    named = role_of(part.ref) in ("crystal", "unknown chip") or re.match(r"(OSC|XO|OX)\d", part.ref.upper()) is not None
    return hertz_of(part.value) if named and len(part.terminals) > 2 else None


def _part(row: PartInput, find: Callable[[str], ChipFacts | None]) -> CircuitPart:
    role = role_of(row.ref)
    chip = find(row.value) if row.value and role in ("unknown chip", "other") else None
    if chip is not None and len(chip.pins) < len(row.pins):
        chip = None
    if chip is not None:
        book = {str(one.number): one for one in chip.pins}
        known = [(n, book[n], net) for n, _, net in row.pins if n in book]
        terminals = tuple(Terminal(row.ref, n, p.name, str(p.kind), net) for n, p, net in known)
        return CircuitPart(row.ref, row.value, "chip", terminals, chip, socketed=row.socketed)
    terminals = tuple(Terminal(row.ref, n, name or n, "passive", net) for n, name, net in row.pins)
    if role == "crystal" and len(terminals) > 3:
        role = "other"
    ohm = ohms_of(row.value) if role in ("resistor", "network") else None
    return CircuitPart(
        row.ref,
        row.value,
        role,
        terminals,
        None,
        ohm,
        hertz_of(row.value) if role == "crystal" else None,
        row.socketed,
    )


def _rails(parts: tuple[CircuitPart, ...], nets: Mapping[str, tuple[Terminal, ...]]) -> dict[str, Rail]:
    by_ref = {one.ref: one for one in parts}
    found: dict[str, Rail] = {}
    for net, terminals in nets.items():
        kinds = Counter(one.kind for one in terminals)
        driven = any(one.kind in DRIVING and not _makes(by_ref[one.part], one) for one in terminals)
        power, ground = kinds["power"], kinds["ground"]
        maker = [one for one in terminals if _makes(by_ref[one.part], one)]
        if driven or (power + ground == 0 and not maker):
            continue
        if ground > power:
            found[net] = Rail(net, 0.0, 0.0, True, ())
            continue
        asked = [r for one in terminals if (r := _rail_facts(by_ref[one.part], one)) is not None]
        if asked:
            nominal = Counter(r.nominal_v for r in asked).most_common(1)[0][0]
            tolerance = min(r.tolerance_percent for r in asked if r.nominal_v == nominal)
            found[net] = Rail(net, nominal, tolerance, False, tuple(maker))
    return {net: _with_sources(rail, nets[net], by_ref, set(found)) for net, rail in found.items()}


def _makes(part: CircuitPart, one: Terminal) -> bool:
    return part.chip is not None and one.name in part.chip.makes


def _rail_facts(part: CircuitPart, one: Terminal) -> Rail | None:
    if part.chip is None:
        return None
    facts = part.chip.makes.get(one.name) or (part.chip.rails.get(one.name) if one.kind == "power" else None)
    return None if facts is None else Rail(one.net, facts.nominal_v, facts.tolerance_percent, False, ())


def _with_sources(
    rail: Rail, terminals: tuple[Terminal, ...], by_ref: Mapping[str, CircuitPart], rails: set[str]
) -> Rail:
    """A rail comes from its regulator; else from the connector with the largest share of its pins on rails (a power connector), all pins of it."""
    if rail.sources:
        return rail
    share: dict[str, float] = {}
    for one in terminals:
        part = by_ref[one.part]
        if part.role == "connector":
            share[part.ref] = sum(t.net in rails for t in part.terminals) / len(part.terminals)
    if not share:
        return Rail(rail.net, rail.nominal_v, rail.tolerance_percent, rail.ground, terminals[:1])
    best = max(share.values())
    refs = {ref for ref, value in share.items() if value >= best - 1e-9}
    chosen = tuple(one for one in terminals if one.part in refs)
    return Rail(rail.net, rail.nominal_v, rail.tolerance_percent, rail.ground, chosen)


def _pulls(parts: tuple[CircuitPart, ...], rails: Mapping[str, Rail]) -> Iterable[Pull]:
    for part in parts:
        if part.role == "resistor" and len(part.terminals) == 2 and (part.ohm is None or part.ohm <= PULL_OHM):
            a, b = part.terminals
            for mine, other in ((a, b), (b, a)):
                if other.net in rails and mine.net and mine.net not in rails:
                    yield Pull(mine, not rails[other.net].ground, part.ohm)
        if part.role == "network" and part.terminals and part.terminals[0].net in rails:
            up = not rails[part.terminals[0].net].ground
            for one in part.terminals[1:]:
                if one.net and one.net not in rails:
                    yield Pull(one, up, part.ohm)


def _links(
    parts: tuple[CircuitPart, ...], nets: Mapping[str, tuple[Terminal, ...]], rails: Mapping[str, Rail]
) -> Iterable[Link]:
    driven = {net for net, rows in nets.items() if any(one.kind in DRIVING for one in rows)}
    waiting = [
        part
        for part in parts
        if len(part.terminals) == 2
        and all(one.net and one.net not in rails for one in part.terminals)
        and (
            part.role in ("capacitor", "inductor", "fuse")
            or (part.role == "resistor" and (part.ohm or 0.0) <= LINK_OHM)
        )
    ]
    reached = set(driven)
    for part in (one for one in parts if one.role == "crystal" and len(one.terminals) >= 2):
        for link in _crystal(part, nets, driven):
            reached.add(link.target.net)
            yield link
    bias = _around_gates(parts)
    waiting = [one for one in waiting if one.role != "resistor" or frozenset(t.net for t in one.terminals) not in bias]
    grew = True
    while grew:
        grew = False
        for part in list(waiting):
            a, b = part.terminals
            if (a.net in reached) == (b.net in reached):
                continue
            source, target = (a, b) if a.net in reached else (b, a)
            waiting.remove(part)
            reached.add(target.net)
            grew = True
            yield Link(part.ref, source, target, ac=part.role == "capacitor")


def _around_gates(parts: tuple[CircuitPart, ...]) -> frozenset[frozenset[str]]:
    """Pairs of nets at the input and the output of one gate: a resistor between them biases the gate and hands nothing on."""
    pairs: set[frozenset[str]] = set()
    for part in parts:
        nets = {one.name: one.net for one in part.terminals}
        for out, text in (part.chip.logic if part.chip is not None else {}).items():
            pairs |= {frozenset((nets.get(out, ""), nets.get(name, ""))) for name in names_in(text)}
    return frozenset(pairs)


def _crystal(part: CircuitPart, nets: Mapping[str, tuple[Terminal, ...]], driven: set[str]) -> Iterable[Link]:
    """A crystal excites the net that no gate drives, from the one that a gate drives (or both, at a chip's own oscillator pins)."""
    a, b = part.terminals[0], part.terminals[1]
    if not a.net or not b.net:
        return
    own = [any(t.kind == "oscillator" for t in nets[one.net]) for one in (a, b)]
    if any(own):
        for one, other in ((a, b), (b, a)):
            if one.net not in driven:
                yield Link(part.ref, other, one, ac=True, crystal=True)
    elif a.net in driven and b.net not in driven:
        yield Link(part.ref, a, b, ac=True, crystal=True)
    elif b.net in driven:
        yield Link(part.ref, b, a, ac=True, crystal=True)


def _unknown_nets(
    parts: tuple[CircuitPart, ...],
    nets: Mapping[str, tuple[Terminal, ...]],
    rails: Mapping[str, Rail],
    pulls: tuple[Pull, ...],
    links: tuple[Link, ...],
) -> frozenset[str]:
    """Nets that only something outside the book drives: unknown chips, transistors, connectors, switches. Pulled nets are not among them, but
    those that a transistor of unknown type or use may pull the other way."""
    linked = {end.net for one in links for end in (one.source, one.target)}
    roles = {one.ref: one.role for one in parts}
    chips = {net for net, rows in nets.items() if any(roles[one.part] == "chip" for one in rows)}
    held = {one.terminal.net for one in pulls if one.terminal.net in chips} | {one.target.net for one in links}
    held |= linked & {one.terminal.net for one in pulls}
    held -= {t.net for part in parts if part.role == "transistor" and part.chip is None for t in part.terminals}
    foreign = ("unknown chip", "transistor", "connector", "switch", "diode", "cell", "other", "capacitor", "resistor")
    return frozenset(
        net
        for net, rows in nets.items()
        if net not in rails
        and net not in held
        and not any(one.kind in DRIVING for one in rows)
        and any(roles[one.part] in foreign for one in rows)
    )
