"""Rework in a case: the removal plan of a part, steps of cleaning and protection, the supply for a short. Each route calls one service."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import Field

from coppermend.api.routes import TheDesk, on_case
from coppermend.api.schemas import Body
from coppermend.services.care import care_of, tick
from coppermend.services.removal import removal_for_case
from coppermend.services.supply import supply_plan
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}", tags=["rework"])

Json = dict[str, Any]


class CareTicked(Body):
    """A step of a procedure that was started, done or left out (say why in ``words``); ``sha256`` of a photo that the case has."""

    procedure: str = Field(max_length=40)
    step: str = Field(max_length=40)
    state: Literal["started", "done", "left out"] = "done"
    words: str = Field("", max_length=4000)
    sha256: str = Field("", max_length=64)
    entry_id: str | None = Field(None, max_length=36)


@router.get("/removal/{part}")
def removal(case: str, part: str, desk: TheDesk) -> Json:
    """The removal plan of a part with today's part states: pins ranked by thermal resistance, an order, neighbours, copper under it, the area at risk."""

    def use_case(w: Workshop, c: str) -> Json:
        return removal_for_case(w, c, part).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/care")
def care(case: str, desk: TheDesk) -> Json:
    """All procedures of cleaning and protection as far as the case has come, those begun first."""

    def use_case(w: Workshop, c: str) -> Json:
        return {"procedures": [one.as_dict() for one in care_of(w, c)]}

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/care", status_code=201)
def care_tick(case: str, body: CareTicked, desk: TheDesk) -> Json:
    """Note a step as started, done or left out; the answer says how far the procedure is and what to mind."""

    def use_case(w: Workshop, c: str) -> Json:
        written, now = tick(
            w,
            c,
            body.procedure,
            body.step,
            state=body.state,
            words=body.words,
            sha256=body.sha256,
            entry_id=body.entry_id,
        )
        return {**written.as_dict(), "care": now.as_dict()}

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/short/supply")
def short_supply(
    case: str,
    desk: TheDesk,
    net_a: str = "",
    net_b: str = "",
    step_mv: Annotated[float, Query(ge=1e-4, le=100.0)] = 0.1,
) -> Json:
    """The voltage-drop method for a short: supply limits, feed points, drops to expect, thermal hint."""

    def use_case(w: Workshop, c: str) -> Json:
        return supply_plan(w, c, (net_a, net_b) if net_a and net_b else None, step_mv).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer
