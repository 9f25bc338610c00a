"""Which addresses a select answers to: the gates between the processor's address lines and a select pin, worked through for every combination."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.circuit.logic import Tree, names_in, tree_of
from coppermend.core.circuit.model import Circuit, CircuitPart, Terminal

MOST_LINES = 12
"""More address lines than this in one select are not worked through."""
_DEEP = 12
Bits = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Decoded:
    """A select pin. ``lines`` the address lines that decide it, highest first; ``active`` the combinations (as numbers over ``lines``) under which it
    can be active; ``ranges`` (first, last) addresses when the lines are the highest of the processor's; ``also`` other nets it hangs on."""

    pin: str
    net: str
    active_level: str
    lines: tuple[str, ...]
    active: tuple[int, ...]
    ranges: tuple[tuple[int, int], ...]
    also: tuple[str, ...]

    def words(self) -> str:
        """In words: the ranges, else the combinations."""
        if self.ranges:
            return ", ".join(f"{a:04X}-{b:04X}" for a, b in self.ranges)
        if not self.active:
            return "no address at all (is the type of a gate before it right?)"
        width = len(self.lines)
        return f"{' '.join(self.lines)} = " + " or ".join(f"{one:0{width}b}" for one in self.active[:8])


def decode_select(circuit: Circuit, select: Terminal, processor: CircuitPart | None) -> Decoded | None:
    """The decoding of one select pin; None when no address line reaches it through gates, or too many do."""
    if processor is None:
        return None
    bits: dict[str, int] = {}
    for t in processor.terminals:
        found = re.fullmatch(r"A(?:D)?(\d+)", t.name)
        if found and t.net:
            bits[t.net] = int(found[1])
    reached, others = _support(circuit, select.net, bits)
    if not reached or len(reached) > MOST_LINES:
        return None
    lines = sorted(reached, key=lambda net: -bits[net])
    count = 1 << len(lines)
    number = np.arange(count)
    levels = {net: (number >> (len(lines) - 1 - k)) & 1 == 1 for k, net in enumerate(lines)}
    can0, can1 = _can(circuit, select.net, levels, count, 0)
    hit = can0 if select.active_low else can1
    active = tuple(int(k) for k in np.flatnonzero(hit))
    if len(active) == count:
        return None
    order = [bits[net] for net in lines]
    top = max(bits.values())
    ranges = _ranges(active, len(lines), top + 1) if order == list(range(top, top - len(lines), -1)) else ()
    names = tuple(f"A{bits[net]}" for net in lines)
    return Decoded(
        select.id, select.net, "low" if select.active_low else "high", names, active, ranges, tuple(sorted(others))
    )


def _ranges(active: tuple[int, ...], width: int, address_bits: int) -> tuple[tuple[int, int], ...]:
    size = 1 << (address_bits - width)
    found: list[tuple[int, int]] = []
    for one in active:
        first, last = one * size, (one + 1) * size - 1
        if found and found[-1][1] + 1 == first:
            found[-1] = (found[-1][0], last)
        else:
            found.append((first, last))
    return tuple(found)


def _driver(circuit: Circuit, net: str) -> tuple[Terminal, CircuitPart, str] | None:
    """The one output with an expression that drives a net, and that expression."""
    drivers = circuit.drivers(net)
    if len(drivers) != 1:
        return None
    part = circuit.by_ref[drivers[0].part]
    text = part.chip.logic.get(drivers[0].name) if part.chip is not None else None
    return None if text is None else (drivers[0], part, text)


def _followed(circuit: Circuit, net: str) -> str:
    link = next((one for one in circuit.links if one.target.net == net and not one.ac), None)
    return link.source.net if link is not None else net


def _support(circuit: Circuit, net: str, bits: dict[str, int]) -> tuple[set[str], set[str]]:
    reached: set[str] = set()
    others: set[str] = set()
    queue, seen = [net], {net}
    for here in queue:
        if here in bits:
            reached.add(here)
            continue
        made = _driver(circuit, _followed(circuit, here))
        if made is None:
            if here != net and here not in circuit.rails:
                others.add(here)
            continue
        _, part, text = made
        for name in names_in(text):
            t = part.named(name)
            if t is not None and t.net and t.net not in seen:
                seen.add(t.net)
                queue.append(t.net)
    return reached, others


def _can(circuit: Circuit, net: str, levels: dict[str, Bits], count: int, deep: int) -> tuple[Bits, Bits]:
    """(can be low, can be high) of a net under every combination of the address lines."""
    if net in levels:
        return ~levels[net], levels[net]
    rail = circuit.rails.get(net)
    if rail is not None:
        high = np.full(count, not rail.ground)
        return ~high, high
    made = _driver(circuit, _followed(circuit, net)) if deep < _DEEP else None
    if made is None:
        either = np.ones(count, np.bool_)
        return either, either
    _, part, text = made
    inside: dict[str, tuple[Bits, Bits]] = {}
    for name in names_in(text):
        t = part.named(name)
        inside[name] = (
            _can(circuit, t.net, levels, count, deep + 1)
            if t is not None and t.net
            else (np.ones(count, np.bool_),) * 2
        )
    return _value(tree_of(text), inside)


def _value(tree: Tree | str, inside: dict[str, tuple[Bits, Bits]]) -> tuple[Bits, Bits]:
    if isinstance(tree, str):
        return inside[tree]
    sign, left, right = tree
    a0, a1 = _value(left, inside)
    if sign == "!":
        return a1, a0
    b0, b1 = _value(right, inside)
    if sign == "&":
        return a0 | b0, a1 & b1
    if sign == "|":
        return a0 & b0, a1 | b1
    return (a0 & b0) | (a1 & b1), (a0 & b1) | (a1 & b0)
