"""A pin under power: what it should show, how the hand gets there, and what a tip that slips would touch."""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot
from typing import Any

from coppermend.core.board.model import Board, Part
from coppermend.core.circuit.expect import PinExpectation
from coppermend.core.circuit.machine import MachineModel
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import bind
from coppermend.services.scene import point_as_json
from coppermend.services.wavecase import expected_pins, here_of
from coppermend.services.workshop import Workshop

SLIP_MM = 3.0
"""A tip that slips reaches pins this near: the next of a row of 2.54 mm (common practice, no source)."""


def pin_under_power(
    workshop: Workshop, case: str, point: str, book: DeviceBook, machine: MachineModel | None = None
) -> dict[str, Any]:
    """A point of the case's board under power, as plain JSON values. Refusal PNT-0xx when there is no such point.

    ``expected`` in words, ``thresholds`` of what reads it, ``slip`` warnings, ``pins`` of its part ([number, x_mm, y_mm, supply "", "rail" or "ground"]),
    and the words of the point: name, where, touch, side.
    """
    binding = bind(workshop, case)
    here = here_of(binding, book, machine, point)
    rows = expected_pins(binding, book, machine)
    part = next((one for one in binding.board.parts if one.ref == here.point.part), None)
    limits = here.thresholds
    return {
        **point_as_json(binding.board, here.point),
        "net_name": here.net,
        "expected": here.words,
        "thresholds": None
        if limits is None
        else {"family": limits.family, "low_v": limits.low_v, "high_v": limits.high_v},
        "slip": [] if part is None else list(slips(binding.board, part, here.point.pin, rows)),
        "pins": []
        if part is None
        else [[q.number, q.x_mm, q.y_mm, _supply(rows.get(f"{part.ref}.{q.number}"))] for q in part.pins],
    }


def slips(board: Board, part: Part, number: str, expected: Mapping[str, PinExpectation]) -> tuple[str, ...]:
    """What a tip at a pin would join when it slips to a neighbour: supplies and grounds of other nets within 3 mm, in words."""
    mine = next((q for q in part.pins if q.number == number), None)
    if mine is None:
        return ()
    own = _supply(expected.get(f"{part.ref}.{number}"))
    found = []
    for q in part.pins:
        near = q.number != number and hypot(q.x_mm - mine.x_mm, q.y_mm - mine.y_mm) <= SLIP_MM
        row = expected.get(f"{part.ref}.{q.number}")
        if not near or q.net == mine.net or row is None:
            continue
        other = _supply(row)
        if own and other:
            found.append(f"A slip to pin {q.number} ({row.name}) shorts the supply: {row.words}.")
        elif other:
            found.append(f"A slip to pin {q.number} ({row.name}) puts {row.net} on this line: {row.words}.")
        elif own:
            found.append(f"A slip to pin {q.number} ({row.name}) puts this supply on {row.net or row.name}.")
    return tuple(found)


def _supply(row: PinExpectation | None) -> str:
    return row.expect if row is not None and row.expect in ("rail", "ground") else ""
