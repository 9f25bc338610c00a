"""What a processor in free run and a diagnostic's steps say: noted in the log, and as findings over parts and nets."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.belief.suspects.witness import Say
from coppermend.core.circuit.expect import hertz_words, processor_of
from coppermend.core.circuit.freerun import (
    CLOCKS,
    MOVES,
    REFRESHING,
    RIGHT,
    SHORTED,
    STILL,
    FreeRun,
    LineRun,
    judge_free_run,
)
from coppermend.core.circuit.machine import Diagnostic, DiagnosticStep, MachineModel
from coppermend.core.circuit.model import Circuit, CircuitPart
from coppermend.core.findings import Refusal, refuse
from coppermend.core.log.model import Entry
from coppermend.core.log.state import CaseState
from coppermend.core.log.values import parse_value
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import bind, part_states
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.powered import circuit_of
from coppermend.services.workshop import Workshop

LINE = re.compile(r"A(?:D)?(\d{1,2})", re.IGNORECASE)
RUNS_THOUGH_BAD, HELD_THOUGH_SOUND, TOUCH_THOUGH_SOUND = 0.05, 0.01, 0.001
"""Chance that a line reads right in free run though it is held or its driver dead; that one reads still though nothing holds it; that two show the very rate of
lines that touch though they do not (assumptions)."""
PASSED_THOUGH_BAD, STOPPED_THOUGH_SOUND, NEEDED_BEFORE = 0.1, 0.15, 0.3
"""Chance that a step passes though something it needs is at fault; that one stops though all it needs is sound; a part that earlier steps needed too, against
one that only the stopped step needs (assumptions)."""
CAUTION = (
    "Power is on in free run: the processor sits in a socket of its own with its data pins fed a fixed pattern through resistors, nothing else may drive those "
    "lines. Plug and unplug with power off. Keep away from mains and picture-tube parts: leave them to people qualified for it and follow your local rules."
)


@dataclass(frozen=True, slots=True)
class RunRead:
    """A free run judged: ``part`` the processor, ``nets`` by bit, ``clocks`` an address."""

    run: FreeRun
    part: str
    kind: str
    nets: Mapping[int, str]
    clock_hz: float
    clocks: float
    noted: Noted | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {
            "part": self.part,
            "type": self.kind,
            "clock_hz": self.clock_hz,
            "clocks": self.clocks,
            "lines": [
                {
                    "line": f"A{one.bit}",
                    "net": self.nets.get(one.bit, ""),
                    "expected_hz": one.expected_hz,
                    "seen_hz": one.seen_hz,
                    "verdict": one.verdict,
                    "other": f"A{one.other}" if one.other >= 0 else "",
                    "words": f"{one.words} (should be {hertz_words(one.expected_hz)})",
                }
                for one in self.run.lines
            ],
            "words": self.run.words,
            "caution": CAUTION,
            **({} if self.noted is None else {"noted": self.noted.as_dict()}),
        }


def parse_lines(words: Sequence[str]) -> dict[int, float]:
    """Address lines as typed: A0=500k A1=250kHz A2=0. Refusal FRR-002.

    >>> parse_lines(["A0=500k", "a2=0"])
    {0: 500000.0, 2: 0.0}
    """
    found: dict[int, float] = {}
    for one in words:
        name, _, value = one.partition("=")
        hit = LINE.fullmatch(name.strip())
        try:
            hz = parse_value(value, "hertz") if hit else None
        except Refusal:
            hz = None
        if hit is None or hz is None:
            raise refuse(
                "FRR-002",
                f"{one[:40]!r} is no address line with its rate.",
                "Write it as A3=62.5k, 0 for one that does not move.",
            )
        bit = int(hit[1])
        if bit in found and found[bit] != hz:
            raise refuse(
                "FRR-002", f"A{bit} is given twice: {found[bit]:g} and {hz:g} Hz.", "Read it again, and give it once."
            )
        found[bit] = hz
    return found


def note_free_run(
    workshop: Workshop,
    case: str,
    book: DeviceBook,
    lines: Mapping[int, float],
    clock_hz: float,
    *,
    clocks: float | None = None,
    gated: bool = False,
    entry_id: str | None = None,
) -> RunRead:
    """Judge the rates of a processor's address lines in free run and note them. ``clocks`` an address where the type does not tell; ``gated`` read while
    /RD is low. Refusals FRR-001 (rates), FRR-003 (no processor, no such line, clocks not known)."""
    binding = bind(workshop, case)
    circuit = circuit_of(binding.board, book, part_states(binding.state))
    read = _judged(circuit, lines, clock_hz, clocks, gated)
    odd = read.run.odd
    words = read.run.words or (
        "; ".join(one.words for one in odd) if odd else "all lines that were read run as they should"
    )
    payload: dict[str, Any] = {
        "lines": [[bit, hz] for bit, hz in sorted(lines.items())],
        "clock_hz": clock_hz,
        "clocks": read.clocks,
        "gated": gated,
        "part": read.part,
        "words": words[:400],
    }
    entry = write(workshop, case, "freerun", payload, entry_id=entry_id)
    return RunRead(read.run, read.part, read.kind, read.nets, read.clock_hz, read.clocks, noted(entry))


def _judged(
    circuit: Circuit, lines: Mapping[int, float], clock_hz: float, clocks: float | None, gated: bool
) -> RunRead:
    part = processor_of(circuit)
    if part is None or part.chip is None:
        raise refuse(
            "FRR-003",
            "No processor is known on this board.",
            "See whether its type is printed in the parts list and known: coppermend device show TYPE.",
        )
    kind = part.chip.type
    family = next((one for one in CLOCKS if kind.upper().startswith(one)), "")
    per = clocks if clocks is not None else CLOCKS.get(family)
    if per is None:
        raise refuse(
            "FRR-003",
            f"How many clocks a {kind} takes for each address in free run is not known here.",
            "Give it from its manual: --clocks N.",
        )
    nets = _nets(part)
    lost = [f"A{bit}" for bit in lines if bit not in nets]
    if lost:
        raise refuse(
            "FRR-003",
            f"{part.ref} ({kind}) has no address line {', '.join(lost[:6])}.",
            f"Its lines are A0 to A{max(nets, default=0)}.",
        )
    refreshing = 99 if gated else REFRESHING.get(family, 99)
    return RunRead(judge_free_run(lines, clock_hz, per, refreshing), part.ref, kind, nets, clock_hz, per)


def _nets(part: CircuitPart) -> dict[int, str]:
    found = {}
    for t in part.terminals:
        hit = LINE.fullmatch(t.name)
        if hit and t.net:
            found[int(hit[1])] = t.net
    return found


Seen = tuple[Witness, int, bool]


def free_run_witnesses(state: CaseState, circuit: Circuit, entries: Mapping[str, Entry]) -> tuple[Seen, ...]:
    """The last free run as findings: what does not move is held or its driver is dead, what touches is bridged, what runs is not held."""
    notes = [one for one in state.notes if one.kind == "freerun" and one.entry in entries]
    if not notes:
        return ()
    last = notes[-1]
    payload = entries[last.entry].payload
    rows = payload.get("lines")
    lines = (
        {int(row[0]): float(row[1]) for row in rows if isinstance(row, (list, tuple))}
        if isinstance(rows, (list, tuple))
        else {}
    )
    try:
        read = _judged(
            circuit,
            lines,
            float(str(payload["clock_hz"])),
            float(str(payload.get("clocks") or 0)) or None,
            bool(payload.get("gated")),
        )
    except Refusal:
        return ()
    found: list[Seen] = []
    good: list[Say] = []
    done: set[int] = set()
    for one in read.run.lines:
        net = read.nets[one.bit]
        if one.verdict in (RIGHT, MOVES):
            good.append(("held", net, math.log(RUNS_THOUGH_BAD)))
        elif one.bit not in done:
            done |= {one.bit, one.other}
            found.append((_bad_line(read, one, net, last.entry), last.at, False))
    if good:
        says = (*good, ("whole", read.part, math.log(RUNS_THOUGH_BAD)))
        found.append(
            (Witness(says, 0.0, f"in free run {len(good)} address lines of {read.part} run", last.entry), last.at, True)
        )
    return tuple(found)


def _bad_line(read: RunRead, one: LineRun, net: str, entry: str) -> Witness:
    says: list[Say] = [("held", net, math.log(0.2) if one.verdict == SHORTED else 0.0)]
    if one.verdict == STILL:
        says.append(("whole", read.part, 0.0))
    if one.verdict == SHORTED and one.other in read.nets:
        says.append(("short", f"{net} {read.nets[one.other]}", 0.0))
    other = TOUCH_THOUGH_SOUND if one.verdict == SHORTED else HELD_THOUGH_SOUND
    return Witness(tuple(says), math.log(other), f"in free run {one.words}", entry)


# ---- diagnostics ----
def note_diagnostic(
    workshop: Workshop,
    case: str,
    machine: MachineModel,
    name: str,
    passed: int,
    *,
    words: str = "",
    entry_id: str | None = None,
) -> Noted:
    """Note that a diagnostic of the machine's file passed its first ``passed`` steps; fewer than all: it stopped at the next one.

    Refusals DIA-001 (the machine's file has none, or none of that name), DIA-002 (so many steps it has not)."""
    one = named_diagnostic(machine, name)
    if not 0 <= passed <= len(one.steps):
        raise refuse(
            "DIA-002",
            f"{one.name} has {len(one.steps)} steps, not {passed}.",
            f"Say how many passed, 0 to {len(one.steps)}.",
        )
    payload: dict[str, Any] = {"name": one.name, "passed": passed, "stopped": passed < len(one.steps), "words": words}
    return noted(write(workshop, case, "diagnostic", payload, entry_id=entry_id))


def named_diagnostic(machine: MachineModel, name: str) -> Diagnostic:
    """A diagnostic of the machine's file by its name (or the only one). Refusal DIA-001."""
    rows = machine.diagnostics
    if not rows:
        raise refuse(
            "DIA-001",
            "The machine's file describes no diagnostic.",
            "Write its steps as [[diagnostic]]: docs/reference/machines.md.",
        )
    wanted = name.strip().lower()
    found = next((one for one in rows if one.name.lower() == wanted or (not wanted and len(rows) == 1)), None)
    if found is None:
        raise refuse(
            "DIA-001",
            f"The machine's file has no diagnostic {name[:60]!r}.",
            f"It has: {', '.join(one.name for one in rows)}.",
        )
    return found


def diagnostic_witnesses(state: CaseState, machine: MachineModel, entries: Mapping[str, Entry]) -> tuple[Seen, ...]:
    """The last run of each diagnostic as findings: what the passed steps needed works, the step it stopped at needs something that does not."""
    last = {
        str(entries[one.entry].payload["name"]): one
        for one in state.notes
        if one.kind == "diagnostic" and one.entry in entries
    }
    found: list[Seen] = []
    for name, note in last.items():
        one = next((d for d in machine.diagnostics if d.name == name), None)
        if one is None:
            continue
        passed = int(str(entries[note.entry].payload["passed"]))
        done = one.steps[:passed]
        before = {p for step in done for p in (*step.parts, *step.nets)}
        if done:
            says = tuple(_says(done, _same(math.log(PASSED_THOUGH_BAD))))
            found.append((Witness(says, 0.0, f"{name} passed {passed} steps", note.entry), note.at, True))
        if passed < len(one.steps):
            step = one.steps[passed]
            says = tuple(_says((step,), _weight(before)))
            found.append(
                (
                    Witness(
                        says,
                        math.log(STOPPED_THOUGH_SOUND),
                        f"{name} stopped at step {step.number}: {step.words}",
                        note.entry,
                    ),
                    note.at,
                    False,
                )
            )
    return tuple(found)


def _weight(before: set[str]) -> Callable[[str], float]:
    return lambda name: math.log(NEEDED_BEFORE) if name in before else 0.0


def _same(log: float) -> Callable[[str], float]:
    return lambda _: log


def _says(steps: Sequence[DiagnosticStep], weight: Callable[[str], float]) -> list[Say]:
    rows: dict[tuple[str, str], float] = {}
    for step in steps:
        rows |= {("part", part): weight(part) for part in step.parts}
        rows |= {("net", net): weight(net) for net in step.nets}
    return [(kind, name, log) for (kind, name), log in rows.items()]


def bringup_view(workshop: Workshop, case: str, book: DeviceBook, machine: MachineModel) -> dict[str, Any]:
    """The machine's diagnostics and what was noted of them and of free runs, as plain JSON values."""
    binding = bind(workshop, case)
    number = {item.entry: item.ref for item in binding.state.timeline}
    words = {item.entry: item.words for item in binding.state.timeline}
    circuit = circuit_of(binding.board, book, part_states(binding.state))
    part = processor_of(circuit)
    kind = part.chip.type if part is not None and part.chip is not None else ""
    family = next((one for one in CLOCKS if kind.upper().startswith(one)), "")
    return {
        "diagnostics": [
            {
                "name": one.name,
                "steps": [
                    {"number": s.number, "words": s.words, "parts": list(s.parts), "nets": list(s.nets)}
                    for s in one.steps
                ],
            }
            for one in machine.diagnostics
        ],
        "processor": {
            "part": part.ref if part else "",
            "type": kind,
            "clocks": CLOCKS.get(family),
            "lines": sorted(_nets(part)) if part else [],
        },
        "noted": [
            {
                "entry": one.entry,
                "ref": number.get(one.entry, 0),
                "kind": one.kind,
                "words": one.words or words.get(one.entry, ""),
            }
            for one in binding.state.notes
            if one.kind in ("freerun", "diagnostic")
        ],
        "caution": CAUTION,
    }
