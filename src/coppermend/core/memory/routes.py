"""The ways of a memory's pins to the processor's address and data lines: through buffers, multiplexers, latches and series resistors."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from coppermend.core.circuit.logic import names_in
from coppermend.core.circuit.model import DRIVING, Circuit, CircuitPart, Terminal

DEEP = 8
"""Nets on a way at most."""
_ADDRESS = re.compile(r"A(?:D)?(\d+)")
_DATA = re.compile(r"(?:A?D|DQ)(\d+)")


@dataclass(frozen=True, slots=True)
class Route:
    """A way to one line of the processor. ``nets`` from the memory's pin on; ``through`` the pins passed, leaving and entering each part
    (``("U12.4", "U12.2")``, a series resistor as ``("R1.2", "R1.1")``)."""

    bit: int
    nets: tuple[str, ...]
    through: tuple[tuple[str, str], ...]


def processor_bits(processor: CircuitPart, data: bool = False) -> dict[str, int]:
    """Net to number of the processor's address lines, or of its data lines."""
    shape = _DATA if data else _ADDRESS
    kinds = {"bidirectional"} if data else DRIVING
    found: dict[str, int] = {}
    for t in processor.terminals:
        hit = shape.fullmatch(t.name)
        if hit and t.net and t.kind in kinds:
            found[t.net] = int(hit[1])
    return found


def address_routes(circuit: Circuit, net: str, bits: Mapping[str, int], skip: frozenset[str]) -> tuple[Route, ...]:
    """All lines that reach a net from the processor's side, the nearest way of each. ``skip``: parts that are no way (memories, the processor)."""
    return _walk(circuit, net, bits, skip, back=True, forth=False, most=64)


def data_route(circuit: Circuit, net: str, bits: Mapping[str, int], skip: frozenset[str], out: bool) -> Route | None:
    """The nearest data line of the processor from a memory's data pin (``out``: the memory drives it); None when none is reached."""
    for back, forth in ((not out, out), (out, not out)):
        found = _walk(circuit, net, bits, skip, back=back, forth=forth, most=1)
        if found:
            return found[0]
    return None


def _walk(
    circuit: Circuit, net: str, bits: Mapping[str, int], skip: frozenset[str], *, back: bool, forth: bool, most: int
) -> tuple[Route, ...]:
    found: dict[int, Route] = {}
    queue: list[tuple[tuple[str, ...], tuple[tuple[str, str], ...]]] = [((net,), ())]
    seen = {net}
    for nets, through in queue:
        here = nets[-1]
        if here in bits:
            found.setdefault(bits[here], Route(bits[here], nets, through))
            if len(found) >= most:
                break
            continue
        if here in circuit.rails or len(nets) >= DEEP:
            continue
        for pins, following in _next(circuit, here, skip, back, forth):
            if following not in seen and following not in circuit.rails:
                seen.add(following)
                queue.append(((*nets, following), (*through, pins)))
    return tuple(found.values())


def _next(
    circuit: Circuit, net: str, skip: frozenset[str], back: bool, forth: bool
) -> Iterator[tuple[tuple[str, str], str]]:
    for link in circuit.links:
        if link.ac or link.crystal:
            continue
        if link.target.net == net and (back or forth):
            yield (link.target.id, link.source.id), link.source.net
        elif link.source.net == net and (back or forth):
            yield (link.source.id, link.target.id), link.target.net
    for t in circuit.nets.get(net, ()):
        part = circuit.by_ref[t.part]
        if part.chip is None or part.ref in skip:
            continue
        if back and t.kind in DRIVING:
            for name in handed(part, t.name):
                source = part.named(name)
                if source is not None and source.net:
                    yield (t.id, source.id), source.net
        if forth:
            for out in part.terminals:
                if out.kind in DRIVING and out.net and t.name in handed(part, out.name):
                    yield (t.id, out.id), out.net


def handed(part: CircuitPart, name: str) -> tuple[str, ...]:
    """The inputs whose level a part hands on to its output ``name``: of a buffer its input, of a multiplexer those it chooses from, of a latch its D.

    A name that several outputs share is a control (select, enable) and none of them; an output made of several inputs by gates hands nothing on.
    """
    if part.chip is None:
        return ()
    text = part.chip.logic.get(name)
    if text is None:
        return _latched(part, name)
    counts = Counter(one for other in part.chip.logic.values() for one in set(names_in(other)))
    own = [one for one in dict.fromkeys(names_in(text)) if counts[one] == 1 or _two_way(part, name, one)]
    shared = [one for one in names_in(text) if one not in own]
    if len(own) == 1 or (own and shared):
        return tuple(own)
    return ()


def steered_by(part: CircuitPart) -> tuple[Terminal, ...]:
    """The pins that say which input a multiplexer hands on: names that several of its outputs share in their logic.

    >>> from coppermend.core.circuit.examples import inverter_chain
    >>> steered_by(inverter_chain().parts[0])
    ()
    """
    if part.chip is None:
        return ()
    many = {name: text for name, text in part.chip.logic.items() if len(handed(part, name)) > 1}
    counts = Counter(one for text in many.values() for one in set(names_in(text)))
    found = [part.named(one) for one, n in counts.items() if n > 1 and n == len(many)]
    return tuple(t for t in found if t is not None)


def _two_way(part: CircuitPart, name: str, other: str) -> bool:
    """Two pins of a transceiver that hand each other on."""
    return part.chip is not None and part.chip.logic.get(name) == other and part.chip.logic.get(other) == name


def _latched(part: CircuitPart, name: str) -> tuple[str, ...]:
    for one in part.chip.functions if part.chip is not None else ():
        outs, ins = one.pins.get("q", ()), one.pins.get("d", ())
        if one.kind in ("d-latch", "d-flip-flop", "register") and name in outs and len(outs) == len(ins):
            return (ins[outs.index(name)],)
    return ()


def joined_nets(circuit: Circuit, net: str) -> tuple[str, ...]:
    """A net with those behind series resistors on either side, the net itself first.

    >>> from coppermend.core.circuit.examples import inverter_chain
    >>> joined_nets(inverter_chain(), "NONE")
    ('NONE',)
    """
    found = [net]
    for here in found:
        for link in circuit.links:
            if link.ac or link.crystal:
                continue
            ends = {link.source.net, link.target.net}
            if here in ends:
                found += [one for one in sorted(ends) if one not in found]
    return tuple(found)


def pins_on(circuit: Circuit, nets: tuple[str, ...], of: frozenset[str]) -> tuple[Terminal, ...]:
    """The pins of these parts on these nets."""
    return tuple(t for net in nets for t in circuit.nets.get(net, ()) if t.part in of)
