"""A chip without a data sheet: what its pins are, from the netlist and its neighbours, by rule.

* A pin on a rail is supply or ground.
* A net that a known output drives: the pin listens. Where that is a clock's net, it is a clock input.
* A net that known three-state or two-way pins share: the pin is two-way when only such pins are on it, else it listens.
* A net that known pins listen on and nothing known drives: the pin drives it.
* A net of small parts alone, or of other unknown chips: not known.
Every pin that drives is taken to need all that listen, and the supplies, as in the device book where nothing else is said. An inference is no data sheet.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from coppermend.core.circuit.model import DRIVING, LISTENING, Circuit
from coppermend.core.findings import refuse

SHARED = ("tri-state", "bidirectional")
"""Kinds of pins that several may drive one net."""
NO_CHIPS = (
    "resistor",
    "network",
    "capacitor",
    "inductor",
    "crystal",
    "connector",
    "diode",
    "switch",
    "link",
    "cell",
    "fuse",
)
"""Roles of parts whose pins the rules say nothing of."""


@dataclass(frozen=True, slots=True)
class InferredPin:
    """A pin of an unknown chip: number, a name made from its net, kind (power, ground, input, output, bidirectional, clock, unconnected, unknown), why."""

    number: str
    name: str
    net: str
    kind: str
    why: str


def infer_pins(circuit: Circuit, ref: str, clocks: Collection[str] = ()) -> tuple[InferredPin, ...]:
    """The pins of a part by rule. ``clocks``: nets that are known to carry a clock. Refusals INF-001 for a part that is not there, INF-002 for one that is
    no chip: the rules ask who drives and who listens, and a resistor does neither."""
    part = circuit.part(ref)
    if part is None:
        raise refuse("INF-001", f"The board has no part {ref}.", "Name a part as the board does: U7.")
    if part.role in NO_CHIPS:
        raise refuse(
            "INF-002",
            f"{ref} is a {part.role}, no chip: its pins have no work of their own to infer.",
            "Name a chip, such as U7; what is known of small parts: coppermend compare parts CASE.",
        )
    names: dict[str, int] = {}
    rows = []
    for t in part.terminals:
        kind, why = _kind(circuit, ref, t.net, clocks)
        name = _name(t.net, t.number, names)
        rows.append(InferredPin(t.number, name, t.net, kind, why))
    return tuple(rows)


def _kind(circuit: Circuit, ref: str, net: str, clocks: Collection[str]) -> tuple[str, str]:
    if not net or len([t for t in circuit.nets.get(net, ()) if t.part != ref]) == 0:
        return "unconnected", "nothing else is on its net"
    rail = circuit.rails.get(net)
    if rail is not None:
        return ("ground", f"{net} is ground") if rail.ground else ("power", f"{net} is a rail of {rail.nominal_v:g} V")
    others = [t for t in circuit.nets[net] if t.part != ref]
    drivers = [t for t in others if t.kind in DRIVING]
    listeners = [t for t in others if t.kind in LISTENING]
    firm = [t for t in drivers if t.kind not in SHARED]
    if firm:
        return ("clock" if net in clocks else "input"), f"{firm[0].id} drives it"
    if any(one.target.net == net for one in circuit.links):
        return ("clock" if net in clocks else "input"), "a series part hands a signal on to it"
    if drivers and not listeners and all(t.kind == "bidirectional" for t in drivers):
        return "bidirectional", f"it shares the net with {drivers[0].id} and others of two ways"
    if any(t.kind == "bidirectional" for t in drivers):
        return "bidirectional", f"it is on a bus with {next(t.id for t in drivers if t.kind == 'bidirectional')}"
    if drivers:
        return "input", f"{drivers[0].id} drives it when enabled"
    if listeners:
        return "output", f"{listeners[0].id} listens and nothing known drives it"
    return "unknown", "only small parts or unknown chips are on its net"


def _name(net: str, number: str, names: dict[str, int]) -> str:
    """A pin name from the net's: no spaces, each once."""
    bare = re.sub(r"[^A-Za-z0-9_/+-]", "_", net) or f"NC{number}"
    names[bare] = names.get(bare, 0) + 1
    return bare if names[bare] == 1 else f"{bare}_{names[bare]}"


def as_own_entry(type_name: str, rows: Sequence[InferredPin]) -> str:
    """An entry for one's own device book (TOML), as far as the pins follow from the netlist: to be read over, corrected and kept.

    >>> print(as_own_entry("X1", [InferredPin("1", "A", "A", "input", ""), InferredPin("2", "Y", "Y", "output", "")]).splitlines()[-2])
    pins = "A Y"
    """
    ordered = sorted(rows, key=lambda one: (int(one.number) if one.number.isdigit() else 10**6, one.number))
    lines = [
        "[file]",
        'source = "inferred from the netlist"',
        'sure = "low: read it over"',
        "",
        "[[chip]]",
        f'type = "{type_name}"',
        'title = "custom chip"',
    ]
    lines.append(f'pins = "{" ".join(one.name for one in ordered)}"')
    for kind in ("power", "ground", "output", "bidirectional", "clock", "unconnected"):
        mine = [one.name for one in ordered if one.kind == kind]
        if mine:
            lines.append(f'{kind} = "{" ".join(mine)}"')
    return "\n".join(lines) + "\n"
