"""What a case's log holds beside looks and beeps that speaks for or against parts and nets: memory tests, ROM read-outs, odd ones among like pins."""

from __future__ import annotations

from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.circuit.model import Circuit
from coppermend.services.bind import Binding
from coppermend.services.compare import reading_witnesses
from coppermend.services.memory import entries_of, memory_witness
from coppermend.services.roms import rom_witness
from coppermend.services.workshop import Workshop

Seen = tuple[Witness, int, bool]
"""A finding, its place in the agreed order, and whether it says that something is right."""


def witnesses(workshop: Workshop, case: str, binding: Binding, circuit: Circuit) -> tuple[Seen, ...]:
    """Every finding: the latest memory test, the latest read-out of each ROM, each odd one among like pins."""
    odd = reading_witnesses(binding.state, circuit)
    return (*_memory(workshop, case, binding, circuit), *_roms(workshop, case, binding), *odd)


def _memory(workshop: Workshop, case: str, binding: Binding, circuit: Circuit) -> tuple[Seen, ...]:
    notes = [one for one in binding.state.notes if one.kind == "memory"]
    if not notes:
        return ()
    last = notes[-1]
    found = memory_witness(circuit, entries_of(workshop, case, "memory")[last.entry])
    return () if found is None else ((found, last.at, False),)


def _roms(workshop: Workshop, case: str, binding: Binding) -> tuple[Seen, ...]:
    notes = [one for one in binding.state.notes if one.kind == "rom"]
    if not notes:
        return ()
    entries = entries_of(workshop, case, "rom")
    last: dict[str, Seen] = {}
    for one in notes:
        found = rom_witness(entries[one.entry])
        if found is not None:
            last[str(entries[one.entry].payload["part"])] = (found[0], one.at, found[1])
    return tuple(last.values())
