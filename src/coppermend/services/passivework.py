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
    """The last reading across each part as a finding: finding, its place in the log, whether it says that the part is right."""
    last: dict[tuple[str, str, str], tuple[Witness, int, bool]] = {}
    for one in state.readings:
        facts = across(circuit, one)
        if facts is None:
            continue
        bad, words = read_across(facts, one.value)
        if bad is None:
            continue
        log = 0.0 if bad else math.log(EVEN_THOUGH_BAD)
        found = Witness(
            (("part", facts.ref, log),), math.log(ODD_THOUGH_SOUND) if bad else 0.0, f"{facts.ref} {words}", one.entry
        )
        pins = sorted(p.pin for p in one.points)
        last[facts.ref, pins[0], pins[1]] = (found, one.at, not bad)
    return tuple(last.values())


def passives_view(workshop: Workshop, case: str, book: DeviceBook) -> dict[str, Any]:
    """The small parts of a case's board with value, tolerance, faults, and what was read across them, as plain JSON values."""
    binding = bind(workshop, case)
    circuit = circuit_of(binding.board, book, part_states(binding.state))
    said: dict[str, list[dict[str, Any]]] = {}
    for one in binding.state.readings:
        facts = across(circuit, one)
        if facts is not None:
            bad, words = read_across(facts, one.value)
            said.setdefault(facts.ref, []).append({"entry": one.entry, "bad": bad, "words": words})
    rows = [found for part in circuit.parts if (found := passive_of(part)) is not None]
    return {"parts": [{**asdict(one), "faults": list(one.faults), "read": said.get(one.ref, [])} for one in rows]}
