"""Resistors, networks, fuses, coils and capacitors of a case: what they are, and what ohms read across them say."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.circuit.model import Circuit
from coppermend.core.circuit.passives import Passive, passive_of, read_across
from coppermend.core.log.state import CaseState, Reading
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import bind, part_states
from coppermend.services.powered import circuit_of
from coppermend.services.workshop import Workshop

ODD_THOUGH_SOUND, EVEN_THOUGH_BAD = 0.02, 0.05
"""Chance that a sound part reads at fault across, and that one at fault reads sound (assumptions)."""


def across(circuit: Circuit, one: Reading) -> Passive | None:
    """The part that an ohms reading was taken across, None for any other reading."""
    if one.kind != "ohms" or len(one.points) != 2:
        return None
    a, b = one.points
    part = circuit.part(a.part) if a.part and a.part == b.part and a.pin != b.pin else None
    if part is None or (part.role == "network" and "1" not in (a.pin, b.pin)):
        return None
    return passive_of(part)


def passive_witnesses(state: CaseState, circuit: Circuit) -> tuple[tuple[Witness, int, bool], ...]:
    """The last reading across each part, or element of a network, as a finding: finding, its place in the log, whether it says that the part is right.

    Where an element of a network reads at fault, its sound elements say nothing of it: one can fail alone.
    """
    rows = []
    for facts, one in _latest(state, circuit):
        bad, words = read_across(facts, one.value)
        if bad is not None:
            log = 0.0 if bad else math.log(EVEN_THOUGH_BAD)
            said = f"{_named(facts, one)} {words}"
            found = Witness((("part", facts.ref, log),), math.log(ODD_THOUGH_SOUND) if bad else 0.0, said, one.entry)
            rows.append((facts.ref, (found, one.at, not bad)))
    failed = {ref for ref, (_, _, right) in rows if not right}
    return tuple(row for ref, row in rows if ref not in failed or not row[2])


def _latest(state: CaseState, circuit: Circuit) -> list[tuple[Passive, Reading]]:
    """The last ohms reading across each pair of pins of a small part."""
    last: dict[tuple[str, str, str], tuple[Passive, Reading]] = {}
    for one in state.readings:
        facts = across(circuit, one)
        if facts is not None:
            a, b = sorted(p.pin for p in one.points)
            last.pop((facts.ref, a, b), None)
            last[facts.ref, a, b] = (facts, one)
    return list(last.values())


def _named(facts: Passive, one: Reading) -> str:
    """The part, or the element of a network by its pins."""
    return " to ".join(f"{p.part}.{p.pin}" for p in one.points) if facts.kind == "network" else facts.ref


def passives_view(workshop: Workshop, case: str, book: DeviceBook) -> dict[str, Any]:
    """The small parts of a case's board with value, tolerance, faults, and what was read across them, as plain JSON values."""
    binding = bind(workshop, case)
    circuit = circuit_of(binding.board, book, part_states(binding.state))
    said: dict[str, list[dict[str, Any]]] = {}
    for facts, one in _latest(binding.state, circuit):
        bad, words = read_across(facts, one.value)
        words = f"{_named(facts, one)} {words}" if facts.kind == "network" else words
        said.setdefault(facts.ref, []).append({"entry": one.entry, "bad": bad, "words": words})
    rows = [found for part in circuit.parts if (found := passive_of(part)) is not None]
    return {"parts": [{**asdict(one), "faults": list(one.faults), "read": said.get(one.ref, [])} for one in rows]}
