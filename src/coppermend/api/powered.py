"""Routes of the work under power: what each pin should do, and the suspects of a case."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query

from coppermend.api.desk import Desk, the_desk
from coppermend.bootstrap import device_book, machine_model
from coppermend.services.bind import bind
from coppermend.services.cases import find_case
from coppermend.services.expect import expect_as_dict, expect_for_board
from coppermend.services.pinpower import pin_under_power
from coppermend.services.suspectmap import suspect_map
from coppermend.services.suspects import suspects_for_case
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api", tags=["power"])
TheDesk = Annotated[Desk, Depends(the_desk)]


@router.get("/cases/{case}/expect")
def expect(case: str, desk: TheDesk, part: str = "") -> dict[str, Any]:
    """What every chip pin of the case's board should show, or one part's pins: rails, clocks, resets, levels, selects."""

    def use_case(workshop: Workshop) -> dict[str, Any]:
        binding = bind(workshop, find_case(workshop, case))
        model = machine_model(binding.state.package)
        return expect_as_dict(expect_for_board(binding.board, device_book(), model, part), part)

    return desk.do(use_case)


@router.get("/cases/{case}/suspects")
def suspects(
    case: str, desk: TheDesk, most: int = 8, without: Annotated[list[str] | None, Query(max_length=8)] = None
) -> dict[str, Any]:
    """The suspects of the case over parts and copper, with what speaks for and against each, and the step worth most now.

    ``without`` what the bench lacks: wave (no logic analyser), heat (no thermal camera), swap (no known-good parts).
    """

    def use_case(workshop: Workshop) -> dict[str, Any]:
        found = find_case(workshop, case)
        model = machine_model(bind(workshop, found).state.package)
        return suspects_for_case(workshop, found, device_book(), model, max(1, min(50, most)), without or ()).as_dict()

    return desk.do(use_case)


@router.get("/cases/{case}/suspects/map")
def map_of_suspects(case: str, desk: TheDesk, most: int = 8) -> dict[str, Any]:
    """The suspects with what a map of them draws: places looked at, where each suspect is, and how the belief went reading by reading."""

    def use_case(workshop: Workshop) -> dict[str, Any]:
        found = find_case(workshop, case)
        model = machine_model(bind(workshop, found).state.package)
        return suspect_map(workshop, found, device_book(), model, max(1, min(50, most)))

    return desk.do(use_case)


@router.get("/cases/{case}/pin")
def pin(case: str, point: Annotated[str, Query(min_length=1, max_length=200)], desk: TheDesk) -> dict[str, Any]:
    """A pin under power: what it should show, how to get there, what a tip that slips would join, and its part's pins."""

    def use_case(workshop: Workshop) -> dict[str, Any]:
        found = find_case(workshop, case)
        model = machine_model(bind(workshop, found).state.package)
        return pin_under_power(workshop, found, point, device_book(), model)

    return desk.do(use_case)
