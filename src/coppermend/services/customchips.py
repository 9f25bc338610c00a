"""Chips without a data sheet: pins inferred from the board, and what their pins read in other cases of this board that work again."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from statistics import median
from typing import Any

from coppermend.core.circuit.infer import as_own_entry, infer_pins
from coppermend.core.circuit.planes import Behaviour, whole_trees
from coppermend.core.findings import Refusal
from coppermend.core.log.state import CaseState
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import bind, part_states
from coppermend.services.cases import case_state, cases_of_board
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
    good, cases = readings_elsewhere(workshop, case, binding.state.package_id, ref)
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
    workshop: Workshop, case: str, package_id: str, ref: str
) -> tuple[dict[str, list[dict[str, Any]]], int]:
    """Readings at a part's pins in other cases of the board that are ready or returned: by pin, kind and count; and how many cases."""
    found: dict[str, dict[str, list[Any]]] = {}
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
        used += int(_collect(state, ref, found))
    return {pin: [_told(kind, values) for kind, values in kinds.items()] for pin, kinds in found.items()}, used


def _collect(state: CaseState, ref: str, found: dict[str, dict[str, list[Any]]]) -> bool:
    any_of = False
    for one in state.readings:
        for point in one.points[:1]:
            if point.part == ref and one.kind in ("level", "volts", "diode", "hertz"):
                any_of = True
                found.setdefault(point.pin, {}).setdefault(one.kind, []).append(one.says or one.value)
    return any_of


def _told(kind: str, values: list[Any]) -> dict[str, Any]:
    numbers = [v for v in values if isinstance(v, (int, float))]
    if numbers:
        return {
            "kind": kind,
            "of": len(values),
            "median": round(float(median(numbers)), 4),
            "least": min(numbers),
            "most": max(numbers),
        }
    words = Counter(str(v) for v in values)
    return {"kind": kind, "of": len(values), "said": dict(words.most_common(4))}
