"""Routes of looking: the tour over the work areas, and findings noted where they are."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from coppermend.api.routes import TheDesk, on_case
from coppermend.services.lookwork import look_view, note_look
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}/look", tags=["log"])

Json = dict[str, Any]
Word = Annotated[str, Field(max_length=200)]


class LookBody(BaseModel):
    """A finding at points or on a part, seen or not; without one a look over a side of an area."""

    model_config = ConfigDict(extra="forbid")

    points: list[Word] = Field(default_factory=list, max_length=8)
    part: Word = ""
    finding: Word = ""
    seen: bool = True
    area: Word = ""
    side: Annotated[str, Field(max_length=1)] = ""
    words: Annotated[str, Field(max_length=2000)] = ""
    entry_id: Annotated[str | None, Field(max_length=64, pattern=r"^[0-9a-f-]{36}$")] = None


@router.get("")
def tour(case: str, desk: TheDesk) -> Json:
    """The sides of the work areas with their tours and gains, what was seen so far, contradictions, the findings, and what a map of them draws."""
    answer: Json = on_case(desk, case, look_view)
    return answer


@router.post("", status_code=201)
def looked(case: str, body: LookBody, desk: TheDesk) -> Json:
    """Note a look: a finding at a place or part, seen or looked for and not seen; or a whole side looked over."""

    def use_case(workshop: Workshop, found: str) -> Json:
        done = note_look(
            workshop,
            found,
            points=body.points,
            part=body.part,
            finding=body.finding,
            seen=body.seen,
            area=body.area,
            side=body.side,
            words=body.words,
            entry_id=body.entry_id,
        )
        return done.as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer
