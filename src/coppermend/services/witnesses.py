"""What a case's log holds beside looks and beeps that speaks for or against parts and nets: memory tests, ROM read-outs, odd ones among like pins."""

from __future__ import annotations

from collections.abc import Mapping

from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.circuit.model import Circuit
from coppermend.core.log.model import Entry
from coppermend.services.bind import Binding
from coppermend.services.bringup import diagnostic_witnesses, free_run_witnesses
from coppermend.services.compare import reading_witnesses
from coppermend.services.memory import entries_of, memory_witness
from coppermend.services.passivework import passive_witnesses
from coppermend.services.roms import rom_witness
from coppermend.services.workshop import Workshop

Seen = tuple[Witness, int, bool]
"""A finding, its place in the agreed order, and whether it says that something is right."""


def witnesses(
    workshop: Workshop, case: str, binding: Binding, circuit: Circuit, machine: MachineModel | None = None
) -> tuple[Seen, ...]:
    """Every finding: the latest memory test, the latest read-out of each ROM, each odd one among like pins, the last free run, the last run
    of each diagnostic, the last ohms across each small part."""
    odd = reading_witnesses(binding.state, circuit)
    runs = _noted(workshop, case, binding, "freerun")
    steps = _noted(workshop, case, binding, "diagnostic")
    found = free_run_witnesses(binding.state, circuit, runs) if runs else ()
    found += passive_witnesses(binding.state, circuit)
    if steps and machine is not None:
        found += diagnostic_witnesses(binding.state, machine, steps)
    return (*_memory(workshop, case, binding, circuit), *_roms(workshop, case, binding), *odd, *found)


def _noted(workshop: Workshop, case: str, binding: Binding, kind: str) -> Mapping[str, Entry]:
    return entries_of(workshop, case, kind) if any(one.kind == kind for one in binding.state.notes) else {}


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
