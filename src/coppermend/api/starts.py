"""Routes of starts that come and go: counted, with their condition, and what they say."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from coppermend.api.routes import TheDesk, on_case
from coppermend.bootstrap import device_book, machine_model
from coppermend.services.cases import case_state
from coppermend.services.startwork import note_starts
from coppermend.services.suspects import starts_of_case
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}/starts", tags=["power"])

Json = dict[str, Any]


class StartsBody(BaseModel):
    """``good`` of ``of`` starts as they should be, under a condition, with spray or heat on a part."""

    model_config = ConfigDict(extra="forbid")

    good: int
    of: int
    condition: Annotated[str, Field(max_length=40)] = ""
    part: Annotated[str, Field(max_length=40)] = ""
    minutes: float | None = None
    words: Annotated[str, Field(max_length=2000)] = ""
    entry_id: Annotated[str | None, Field(max_length=64, pattern=r"^[0-9a-f-]{36}$")] = None


@router.get("")
def starts(case: str, desk: TheDesk) -> Json:
    """The counted starts since the last repair, how likely what is wrong comes and goes, and how many good starts would prove that it is gone."""

    def use_case(workshop: Workshop, found: str) -> Json:
        return starts_of_case(workshop, found, device_book(), machine_model(case_state(workshop, found).package))

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("", status_code=201)
def count(case: str, body: StartsBody, desk: TheDesk) -> Json:
    """Note k of n starts."""

    def use_case(workshop: Workshop, found: str) -> Json:
        return note_starts(
            workshop,
            found,
            body.good,
            body.of,
            condition=body.condition,
            part=body.part,
            minutes=body.minutes,
            words=body.words,
            entry_id=body.entry_id,
        ).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer
