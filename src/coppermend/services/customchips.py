"""Chips without a data sheet: pins inferred from the board, and what their pins read in other cases of this board that work again."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from statistics import median
from typing import Any

from coppermend.core.circuit.infer import as_own_entry, infer_pins
from coppermend.core.circuit.model import Circuit
from coppermend.core.circuit.planes import Behaviour, whole_trees
from coppermend.core.findings import Refusal
from coppermend.core.log.state import CaseState
from coppermend.core.log.values import hertz_words, ohm_words, volt_words
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import bind, part_states
from coppermend.services.cases import case_state, cases_of_board
from coppermend.services.compare import measured_of
from coppermend.services.points import known_part
from coppermend.services.powered import circuit_of
from coppermend.services.workshop import Workshop

DONE = ("ready", "returned")
MOST_CASES = 200


def custom_chip(workshop: Workshop, case: str, book: DeviceBook, part: str) -> dict[str, Any]:
    """What a chip's pins are by rule, what they read on boards that work, and an entry for one's own book, as plain JSON values.

    Refusals PNT-003 (no such part), INF-001.
    """
    binding = bind(workshop, case)
    ref = known_part(binding.graph, part)
    circuit = circuit_of(binding.board, book, part_states(binding.state))
    row = circuit.part(ref)
    rows = infer_pins(circuit, ref, tuple(Behaviour(circuit, whole_trees(circuit)).hertz))
    good, cases = readings_elsewhere(workshop, case, binding.state.package_id, ref, circuit)
    return {
        "part": ref,
        "value": row.value if row is not None else "",
        "in_book": row is not None and row.chip is not None,
        "pins": [{**asdict(one), "read": good.get(one.number, [])} for one in rows],
        "cases": cases,
        "entry": as_own_entry((row.value if row is not None else "") or ref, rows),
        "note": "An inference is no data sheet: read it over, correct it, put it into the folder devices beside your store.",
    }


def readings_elsewhere(
    workshop: Workshop, case: str, package_id: str, ref: str, circuit: Circuit
) -> tuple[dict[str, list[dict[str, Any]]], int]:
    """Readings at a part's pins in other cases of the board that are ready or returned, the last of each kind a case: by pin, kind and which tip stood on
    it, with the count; and how many cases."""
    found: dict[str, dict[tuple[str, str], list[Any]]] = {}
    used = 0
    for row in cases_of_board(workshop, package_id, DONE, MOST_CASES):
        if row.id == case:
            continue
        try:
            state = case_state(workshop, row.id)
        except Refusal:
            continue
        if state.package_id != package_id or state.progress not in DONE:
            continue
        last = _last_read(state, ref, circuit)
        used += bool(last)
        for (pin, kind, tip), value in last.items():
            found.setdefault(pin, {}).setdefault((kind, tip), []).append(value)
    return {pin: [_told(*key, values) for key, values in kinds.items()] for pin, kinds in found.items()}, used


def _last_read(state: CaseState, ref: str, circuit: Circuit) -> dict[tuple[str, str, str], Any]:
    """(pin, kind, tip on it) -> what it read last. Ohms and diode mode are the pin's that does not stand on ground or a rail."""
    found: dict[tuple[str, str, str], Any] = {}
    for one in state.readings:
        if one.kind in ("level", "volts", "hertz") and one.points[:1] and one.points[0].part == ref:
            found[one.points[0].pin, one.kind, ""] = one.says or one.value
    for row in measured_of(state, circuit)[0]:
        part, _, pin = row.pin.partition(".")
        if part == ref:
            found[pin, row.kind, "red" if row.red else "black"] = row.value
    return found


WORDS = {"diode": volt_words, "volts": volt_words, "ohms": ohm_words, "hertz": hertz_words}


def _told(kind: str, tip: str, values: list[Any]) -> dict[str, Any]:
    numbers = [v for v in values if isinstance(v, (int, float))]
    said = Counter("overload" if v is None else str(v) for v in values if not isinstance(v, (int, float)))
    words = [WORDS.get(kind, str)(median(numbers))] if numbers else []
    words += [f"{word} {n} times" if numbers or len(said) > 1 else word for word, n in said.most_common(4)]
    on = f", {tip} tip on the pin" if tip and kind == "diode" else ""
    row: dict[str, Any] = {
        "kind": kind,
        "tip": tip,
        "of": len(values),
        "words": f"{kind} {', '.join(words)}{on} ({len(values)})",
    }
    if numbers:
        row |= {"median": round(float(median(numbers)), 4), "least": min(numbers), "most": max(numbers)}
    if said:
        row["said"] = dict(said.most_common(4))
    return row
