"""Routes of what a case waits for."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field

from coppermend.api.routes import TheDesk, on_case
from coppermend.api.schemas import Body
from coppermend.services.waiting import wait_for, wait_over, waits_of

router = APIRouter(prefix="/api/cases/{case}/waits", tags=["cases"])

Json = dict[str, Any]
EntryId = Annotated[str | None, Field(max_length=64, pattern=r"^[0-9a-f-]{36}$")]


class WaitSaid(Body):
    """What the case waits for from now on: ``until`` a date (2026-12-01), ``case`` the other case's number or id."""

    what: Literal["part", "owner", "tool", "case"]
    words: Annotated[str, Field(max_length=2000)] = ""
    until: Annotated[str, Field(max_length=10)] = ""
    case: Annotated[str, Field(max_length=60)] = ""
    entry_id: EntryId = None


class WaitOver(Body):
    """Which wait is over (the entry's number or id; "" the only one), and what is to be said of it."""

    which: Annotated[str, Field(max_length=60)] = ""
    words: Annotated[str, Field(max_length=2000)] = ""
    entry_id: EntryId = None


@router.get("")
def waits(case: str, desk: TheDesk) -> Json:
    """What the case waits for and waited for, with days and dates."""
    return {"waits": on_case(desk, case, lambda w, c: [one.as_dict() for one in waits_of(w, c)])}


@router.post("", status_code=201)
def begin(case: str, body: WaitSaid, desk: TheDesk) -> Json:
    """Note what the case waits for."""
    answer: Json = on_case(
        desk,
        case,
        lambda w, c: wait_for(w, c, body.what, body.words, until=body.until, other=body.case, entry_id=body.entry_id),
    ).as_dict()
    return answer


@router.post("/over", status_code=201)
def over(case: str, body: WaitOver, desk: TheDesk) -> Json:
    """Note that a wait is over."""
    answer: Json = on_case(
        desk, case, lambda w, c: wait_over(w, c, body.which, body.words, entry_id=body.entry_id)
    ).as_dict()
    return answer
