"""The expectations of a board as a use case: of all parts or one, as plain JSON values."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from coppermend.core.board.model import Board
from coppermend.core.board.names import nearest_names
from coppermend.core.circuit.expect import Expectations
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import plain
from coppermend.devices.book import DeviceBook
from coppermend.services.powered import board_expectations


def expect_for_board(
    board: Board, book: DeviceBook, machine: MachineModel | None = None, part: str = ""
) -> Expectations:
    """What every chip pin of a board should do; ``part``: that part's alone. Refusal EXP-010 when the board has no such chip with an entry in the book."""
    found = board_expectations(board, book, machine)
    if not part:
        return found
    refs = {one.ref.upper(): one.ref for one in board.parts}
    ref = refs.get(part.upper(), "")
    pins = found.of_part(ref) if ref else ()
    if not pins:
        near = ", ".join(nearest_names(part, list(refs.values())))
        words = (
            f"The board has no part {part}."
            if not ref
            else f"{ref} is no chip of the device book, so nothing is expected of its pins."
        )
        raise refuse(
            "EXP-010", words, f"Nearest: {near}." if not ref and near else "Name a chip: --part U1.", Place(thing=part)
        )
    nets = {one.net for one in pins}
    mine = {one.pin for one in pins}
    return replace(
        found,
        pins=pins,
        nets=tuple(one for one in found.nets if one.net in nets),
        selects=tuple(one for one in found.selects if one.pin in mine),
        checklist=tuple(one for one in found.checklist if one.pin in mine),
        findings=tuple(one for one in found.findings if (one.place.thing or "").split(".")[0] == ref),
    )


def expect_as_dict(found: Expectations, part: str = "") -> dict[str, Any]:
    """Expectations as plain JSON values; each select with its addresses in words."""
    return {
        "part": part,
        "pins": plain(found.pins),
        "nets": plain(found.nets),
        "selects": [{**plain(one), "words": one.words()} for one in found.selects],
        "checklist": plain(found.checklist),
        "findings": [one.as_dict() for one in found.findings],
    }
