"""What each pin of a board should do when it is switched on, and the order in which a bench looks at it.

Rails from the supply pins' data, clocks from the crystal through counters and gates, resets with their polarity, what drives and what listens,
pulls, open inputs, outputs that fight, and which addresses a select answers to. The order of the checklist is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from coppermend.core.circuit.decode import Decoded, decode_select
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.circuit.model import Circuit, CircuitPart, Terminal
from coppermend.core.circuit.planes import FLOATING, HIGH, LOW, RIGHT, Behaviour
from coppermend.core.findings import Finding, Place, Severity

STEPS = ("look", "resistance", "rails", "clock", "reset", "processor", "selects", "buses", "memory", "video", "rest")
"""The checklist's chapters in the order of common practice (no source)."""
STEP_WORDS = {
    "look": "power off: look for leaks, burns, corrosion, chips the wrong way round",
    "resistance": "power off: ohms of each rail to ground",
    "rails": "each supply pin",
    "clock": "clocks, from the crystal on",
    "reset": "reset: active at power-up, then released",
    "processor": "the processor's strobes",
    "selects": "selects and enables",
    "buses": "address and data lines",
    "memory": "memory",
    "video": "picture and sync",
    "rest": "everything else",
}


EXPECTED = ("chip", "oscillator")
"""Roles of parts whose pins have an expectation."""


@dataclass(frozen=True, slots=True)
class PinExpectation:
    """What one pin should show. ``expect`` rail, ground, clock, moving, high, low, by program, floating, unknown, not connected.

    ``hz`` of a clock; ``low_v`` and ``high_v`` the range of a rail in volt.
    """

    pin: str
    name: str
    kind: str
    net: str
    expect: str
    words: str
    hz: float | None = None
    low_v: float | None = None
    high_v: float | None = None


@dataclass(frozen=True, slots=True)
class NetExpectation:
    """A net: who drives and who listens, what holds it where nobody drives."""

    net: str
    drivers: tuple[str, ...]
    listeners: tuple[str, ...]
    pulls: tuple[str, ...]
    expect: str
    hz: float | None
    words: str


@dataclass(frozen=True, slots=True)
class ChecklistItem:
    """One line of the checklist: ``step`` of ``STEPS``, the pin or net, what to see there."""

    step: str
    pin: str
    net: str
    words: str


@dataclass(frozen=True, slots=True)
class Expectations:
    """All that follows from netlist, book and machine file."""

    pins: tuple[PinExpectation, ...]
    nets: tuple[NetExpectation, ...]
    selects: tuple[Decoded, ...]
    checklist: tuple[ChecklistItem, ...]
    findings: tuple[Finding, ...]

    def of_part(self, ref: str) -> tuple[PinExpectation, ...]:
        """The pins of one part."""
        return tuple(one for one in self.pins if one.pin.split(".")[0] == ref)


def expectations(circuit: Circuit, behaviour: Behaviour, machine: MachineModel | None = None) -> Expectations:
    """The expectations of a board. ``behaviour``: its simulation with everything whole. ``machine``: what its file says, None: nothing.

    >>> from coppermend.core.circuit.examples import inverter_chain
    >>> from coppermend.core.circuit.planes import whole_trees
    >>> c = inverter_chain()
    >>> [(e.pin, e.expect) for e in expectations(c, Behaviour(c, whole_trees(c))).of_part("U1")][:3]
    [('U1.1', 'high'), ('U1.2', 'low'), ('U1.3', 'low')]
    """
    said = {one.net: (one.level, one.words) for one in (machine.said if machine else ())}
    pins = tuple(_pin(circuit, behaviour, t, said) for p in circuit.parts if p.role in EXPECTED for t in p.terminals)
    nets = tuple(_net(circuit, behaviour, net, said) for net in sorted(circuit.nets) if net not in circuit.rails)
    processor = processor_of(circuit)
    selects = tuple(
        found
        for part in circuit.parts
        for t in part.terminals
        if t.kind == "select" and t.net and (found := decode_select(circuit, t, processor)) is not None
    )
    return Expectations(pins, nets, selects, checklist(circuit, behaviour, pins), tuple(_findings(circuit)))


def processor_of(circuit: Circuit) -> CircuitPart | None:
    """The processor: the chip with a clock or oscillator, a reset, and the most address outputs (at least 8)."""
    best: tuple[int, str] = (7, "")
    for part in circuit.parts:
        kinds = {t.kind for t in part.terminals}
        if part.chip is None or "reset" not in kinds or not kinds & {"clock", "oscillator"}:
            continue
        lines = sum(
            bool(re.fullmatch(r"A(D)?\d+", t.name)) and t.kind in ("output", "tri-state", "bidirectional")
            for t in part.terminals
        )
        if lines > best[0]:
            best = (lines, part.ref)
    return circuit.part(best[1]) if best[1] else None


def hertz_words(hz: float) -> str:
    """A frequency in words.

    >>> hertz_words(4e6), hertz_words(15734.27), hertz_words(50.0)
    ('4 MHz', '15.7343 kHz', '50 Hz')
    """
    for scale, unit in ((1e6, "MHz"), (1e3, "kHz")):
        if hz >= scale:
            return f"{hz / scale:.6g} {unit}"
    return f"{hz:.6g} Hz"


def _pin(circuit: Circuit, behaviour: Behaviour, t: Terminal, said: Mapping[str, tuple[str, str]]) -> PinExpectation:
    rail = circuit.rails.get(t.net)
    if rail is not None and len(circuit.nets[t.net]) < 2:
        return PinExpectation(
            t.id, t.name, t.kind, t.net, "not connected", "nothing is joined to it, though it wants a supply"
        )
    if rail is not None and rail.ground:
        return PinExpectation(t.id, t.name, t.kind, t.net, "ground", f"0 V: ground {t.net}")
    if rail is not None:
        low, high = (
            rail.nominal_v * (1 - rail.tolerance_percent / 100),
            rail.nominal_v * (1 + rail.tolerance_percent / 100),
        )
        words = f"{rail.nominal_v:g} V ± {rail.tolerance_percent:g} %: {low:.4g} to {high:.4g} V"
        return PinExpectation(t.id, t.name, t.kind, t.net, "rail", words, low_v=low, high_v=high)
    if not t.net or len(circuit.nets[t.net]) < 2:
        what = "not connected" if t.kind in ("not connected", "input", "select", "reset", "clock") else None
        if what is not None or not t.net:
            return PinExpectation(t.id, t.name, t.kind, t.net, "not connected", "nothing is joined to it")
    expect, words, hz = _net_words(circuit, behaviour, t.net, said)
    if t.kind == "reset" and expect in ("high", "low"):
        active = "low" if t.active_low else "high"
        words = f"reset, active {active}: {active} at power-up, then {expect} ({words})"
    return PinExpectation(t.id, t.name, t.kind, t.net, expect, words, hz=hz)


def _net_words(
    circuit: Circuit, behaviour: Behaviour, net: str, said: Mapping[str, tuple[str, str]]
) -> tuple[str, str, float | None]:
    if net in said:
        level, words = said[net]
        return level, words or "as the machine's file says", None
    if net in circuit.unknown_nets:
        return "unknown", "driven by something the device book does not know", None
    if net in behaviour.hertz:
        return "clock", f"{hertz_words(behaviour.hertz[net])}, {_origin(circuit, net)}", behaviour.hertz[net]
    if net in behaviour.loose:
        return "by program", "low, high or moving, as the program has it", None
    symbol = behaviour.healthy_symbol(net)
    if symbol == RIGHT:
        return "moving", f"moving, driven by {_names(circuit, net)}", None
    if symbol in (LOW, HIGH):
        level = "low" if symbol == LOW else "high"
        held = [f"{p.terminal.part}" for p in circuit.pulls if p.terminal.net == net]
        drivers = circuit.drivers(net)
        why = f"driven by {_names(circuit, net)}" if drivers else f"held by {', '.join(held)}" if held else "tied"
        return level, f"{level}, {why}", None
    return (
        ("floating", "nobody drives it", None) if symbol == FLOATING else ("unknown", "at rest, level not known", None)
    )


def _origin(circuit: Circuit, net: str) -> str:
    drivers = circuit.drivers(net)
    return (
        f"from {drivers[0].id}"
        if drivers
        else "from " + next((link.part for link in circuit.links if link.target.net == net), "its crystal")
    )


def _names(circuit: Circuit, net: str) -> str:
    drivers = [one.id for one in circuit.drivers(net)]
    drivers += [one.part for one in circuit.links if one.target.net == net]
    return ", ".join(drivers[:4]) + (f" and {len(drivers) - 4} more" if len(drivers) > 4 else "")


def _net(circuit: Circuit, behaviour: Behaviour, net: str, said: Mapping[str, tuple[str, str]]) -> NetExpectation:
    expect, words, hz = _net_words(circuit, behaviour, net, said)
    pulls = tuple(f"{p.terminal.part} {'up' if p.up else 'down'}" for p in circuit.pulls if p.terminal.net == net)
    return NetExpectation(
        net,
        tuple(one.id for one in circuit.drivers(net)),
        tuple(one.id for one in circuit.listeners(net)),
        pulls,
        expect,
        hz,
        words,
    )


# ---- the checklist ----
def checklist(circuit: Circuit, behaviour: Behaviour, pins: tuple[PinExpectation, ...]) -> tuple[ChecklistItem, ...]:
    """Every pin once, in the order of common practice; what has no expectation is left out."""
    processor = processor_of(circuit)
    order = {step: k for k, step in enumerate(STEPS)}
    items = [ChecklistItem("look", "", "", STEP_WORDS["look"])]
    items += [
        ChecklistItem("resistance", "", net, f"ohms from {net} to ground, both ways round; near 0 is a short")
        for net, rail in sorted(circuit.rails.items())
        if not rail.ground
    ]
    rows = []
    for k, one in enumerate(pins):
        if one.expect in ("unknown", "not connected"):
            continue
        step = _step(circuit, one, processor)
        rows.append(
            (order[step], 0.0 if one.hz is None else -one.hz, k, ChecklistItem(step, one.pin, one.net, one.words))
        )
    rows.sort(key=lambda row: row[:3])
    return tuple(items) + tuple(row[3] for row in rows)


_VIDEO = re.compile(r"VID|SYNC|HS|VS|CSYNC|BLANK|DOT|PIX|LUMA|CHROMA|RGB|COMP", re.IGNORECASE)


def _step(circuit: Circuit, one: PinExpectation, processor: CircuitPart | None) -> str:
    part = circuit.by_ref[one.pin.split(".")[0]]
    if one.expect in ("rail", "ground"):
        return "rails"
    if one.expect == "clock":
        return "clock"
    if one.kind == "reset":
        return "reset"
    if processor is not None and part.ref == processor.ref and not re.fullmatch(r"A?D?\d+", one.name):
        return "processor"
    if one.kind == "select":
        return "selects"
    if re.fullmatch(r"(A|D|AD|DQ|IO|I/O)\d+", one.name) and processor is not None and part.ref == processor.ref:
        return "buses"
    if part.chip is not None and _is_memory(part):
        return "memory"
    if _VIDEO.search(one.net):
        return "video"
    return "rest"


def _is_memory(part: CircuitPart) -> bool:
    """A chip whose outputs only need addresses, a select and perhaps a write line: no clock, no reset, at least 7 addresses."""
    kinds = {t.kind for t in part.terminals}
    lines = sum(bool(re.fullmatch(r"A\d+", t.name)) for t in part.terminals)
    return lines >= 7 and not kinds & {"clock", "reset", "oscillator"}


def _findings(circuit: Circuit) -> list[Finding]:
    found = []
    pulled = {one.terminal.net for one in circuit.pulls}
    nameless = [part.ref for part in circuit.parts if part.role == "unknown chip" and not part.value]
    if nameless:
        few = ", ".join(nameless[:8]) + (f" and {len(nameless) - 8} more" if len(nameless) > 8 else "")
        verb, whose = ("are", "their") if len(nameless) > 1 else ("is", "its")
        found.append(
            Finding("EXP-005", Severity.NOTE, Place(thing=nameless[0]), f"Nothing says what {few} {verb}: {whose} pins have no expectation.",
                    "Say it in a parts list beside the package: a file parts.csv with the columns ref,type,value,package,state (docs/how-to/own-board.md).")
        )  # fmt: skip
    for part in circuit.parts:
        if part.role == "unknown chip" and part.value:
            found.append(
                Finding("EXP-003", Severity.NOTE, Place(thing=part.ref), f"{part.ref} ({part.value}) is not in the device book; its pins have no expectation.",
                        "Add it to a file of your own (docs/reference/devices.md).")
            )  # fmt: skip
        if part.role == "transistor" and part.chip is None:
            found.append(
                Finding(
                    "EXP-004",
                    Severity.NOTE,
                    Place(thing=part.ref),
                    f"{part.ref} ({part.value or 'no type'}) is a transistor of unknown type, or one whose base nothing known drives; its nets have no expectation.",
                    "Add its type to a file of your own (docs/reference/devices.md), or measure what drives its base.",
                )
            )
        for t in part.terminals:
            open_input = t.kind in ("input", "select", "reset", "clock") and (not t.net or len(circuit.nets[t.net]) < 2)
            if part.chip is not None and open_input and t.net not in pulled:
                words = f"The input {t.id} {t.name} is joined to nothing."
                remedy = "Expect a floating level there: so by design, or an error in the drawing."
                found.append(Finding("EXP-001", Severity.NOTE, Place(thing=t.id), words, remedy))
            if part.chip is not None and t.kind in ("power", "ground") and (not t.net or len(circuit.nets[t.net]) < 2):
                words = f"The {'ground' if t.kind == 'ground' else 'supply'} pin {t.id} {t.name} is joined to nothing."
                remedy = "See the data sheet whether that pin may be left open, and whether the netlist or the chip's type is right."
                found.append(Finding("EXP-006", Severity.WARNING, Place(thing=t.id), words, remedy))
    for net in sorted(circuit.nets):
        always = [t for t in circuit.drivers(net) if t.kind == "output"]
        chips = {(t.part) for t in always}
        if len(always) > 1 and len(chips) > 1:
            words = f"Net {net} has {len(always)} outputs that always drive: {', '.join(t.id for t in always)}."
            found.append(
                Finding(
                    "EXP-002",
                    Severity.WARNING,
                    Place(thing=net),
                    words,
                    "They fight each other; look whether the netlist or a chip's type is right.",
                )
            )
    return found
