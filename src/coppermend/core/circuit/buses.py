"""Nets that several outputs take in turns (a data bus): what is missing there when one of them does not drive or is cut off.

Every output that drives such a net when nothing fails leaves its share of the pattern there. Without the share of a processor or of a memory what reads
the net reads wrong, and what is made of it is wrong; a processor's own addresses and strobes are left as expected, although what it reads next is
chance (a real one derails sooner or later). Without any other share (a keyboard's buffer, a port) the pattern at the net alone is not the expected one.
An output is a memory's when its chip has six address inputs or more, a processor's when its chip drives addresses
from A8 up; one that hands on what such an output gives elsewhere (a bus transceiver) counts as they do. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coppermend.core.circuit.model import DRIVING, SHARED, CircuitPart, Terminal

ADDRESS = re.compile(r"AD?(\d+)")
LEAST_ADDRESSES = 6
"""Address inputs that make a chip a memory: 64 words or more; ports and controllers have fewer (data books)."""
HIGH_ADDRESS = 8
"""A chip that drives an address line from this number on is the master of a bus; controllers with a multiplexed bus end at AD7 (data books)."""


@dataclass(frozen=True, slots=True)
class Driver:
    """An output as a bus sees it: its pin, its part, the pin names its expression is over ("" none: it is no gate or transceiver)."""

    terminal: Terminal
    part: CircuitPart
    names: tuple[str, ...]
    gate: bool


@dataclass(frozen=True, slots=True)
class Bus:
    """A shared net. ``active`` pins that drive it when nothing fails, ``vital`` those of them without which its readers read wrong.

    ``sides``: of each edge of its tree that has active outputs at both ends: (edge, nodes at its far end, vital there, vital at its near end).
    """

    active: frozenset[str]
    vital: frozenset[str]
    sides: tuple[tuple[int, frozenset[int], bool, bool], ...]


def is_memory(part: CircuitPart) -> bool:
    """Whether a chip holds words that an address chooses.

    >>> from coppermend.core.circuit.examples import inverter_chain
    >>> any(is_memory(one) for one in inverter_chain().parts)
    False
    """
    found = {t.name for t in part.terminals if t.kind == "input" and re.fullmatch(r"A\d+", t.name)}
    return len(found) >= LEAST_ADDRESSES


def is_master(part: CircuitPart) -> bool:
    """Whether a chip puts out the addresses of a bus."""
    for t in part.terminals:
        found = ADDRESS.fullmatch(t.name) if t.kind in DRIVING else None
        if found is not None and int(found[1]) >= HIGH_ADDRESS:
            return True
    return False


def vital_outputs(drivers: Mapping[str, Sequence[Driver]]) -> frozenset[str]:
    """The pins whose share no reader can do without: those of memories and masters, and of what hands their signals on."""
    every = [one for rows in drivers.values() for one in rows]
    vital = {one.terminal.id for one in every if not one.gate and (is_memory(one.part) or is_master(one.part))}
    grew = True
    while grew:
        fresh = {
            one.terminal.id
            for one in every
            if one.gate and one.terminal.id not in vital and _hands_on(one, drivers, vital)
        }
        vital |= fresh
        grew = bool(fresh)
    return frozenset(vital)


def _hands_on(one: Driver, drivers: Mapping[str, Sequence[Driver]], vital: set[str]) -> bool:
    nets = {t.net for t in one.part.terminals if t.name in one.names and t.net and t.net != one.terminal.net}
    return any(
        other.terminal.id in vital and other.part.ref != one.part.ref for net in nets for other in drivers.get(net, ())
    )


def bus_of(
    rows: Sequence[Driver],
    active: frozenset[str],
    vital: frozenset[str],
    edges: Sequence[tuple[int, int]],
    taps: Mapping[str, int],
) -> Bus | None:
    """The bus that a net is, None when fewer than two outputs take turns on it."""
    mine = frozenset(d.terminal.id for d in rows if d.terminal.id in active and d.terminal.kind in SHARED)
    if len(mine) < 2:
        return None
    own = mine & vital
    at = {pin: taps.get(pin, 0) for pin in mine}
    sides = []
    for k in range(len(edges)):
        far = _far(edges, k)
        there = {pin for pin in mine if at[pin] in far}
        if there and there != mine:
            sides.append((k, far, bool(there & own), bool((mine - there) & own)))
    return Bus(mine, own, tuple(sides))


def _far(edges: Sequence[tuple[int, int]], cut: int) -> frozenset[int]:
    """The nodes at the second end of an edge of a tree."""
    near: dict[int, list[int]] = {}
    for k, (a, b) in enumerate(edges):
        if k != cut:
            near.setdefault(a, []).append(b)
            near.setdefault(b, []).append(a)
    queue = [edges[cut][1]]
    seen = set(queue)
    for node in queue:
        for other in near.get(node, ()):
            if other not in seen:
                seen.add(other)
                queue.append(other)
    return frozenset(seen)
