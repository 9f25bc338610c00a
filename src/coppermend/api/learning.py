"""Learning from cases over HTTP: what a case plans with and could, taking it in or not, gathering, the switch, export and import."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response, UploadFile

from coppermend.api.desk import Desk, the_desk
from coppermend.api.schemas import Body
from coppermend.formats.learned import LARGEST_BYTES, learned_bytes, read_learned
from coppermend.services.cases import find_case
from coppermend.services.learning import (
    LearnedBook,
    drop_learned,
    gather,
    learned_view,
    switch,
    take_rows,
    use_learned,
)

router = APIRouter(prefix="/api", tags=["learning"])
TheDesk = Annotated[Desk, Depends(the_desk)]
Json = dict[str, Any]


def _book(request: Request) -> LearnedBook:
    found: LearnedBook = request.app.state.learned
    return found


class Use(Body):
    """Whether the case is planned with what was learned."""

    use: bool


class Switch(Body):
    """Whether new cases take in what was learned."""

    on: bool


@router.get("/cases/{case}/learned")
def learned(case: str, request: Request, desk: TheDesk) -> Json:
    """What past cases say of this one's priors, each with its counts; ``used`` what it is planned with, ``now`` what could be taken in."""
    book = _book(request)
    return desk.do(lambda w: learned_view(w, book, find_case(w, case)))


@router.post("/cases/{case}/learned", status_code=201)
def use(case: str, body: Use, request: Request, desk: TheDesk) -> Json:
    """Plan the case with what was learned, or without it, from now on."""
    book = _book(request)

    def act(w: Any) -> Json:
        found = find_case(w, case)
        if body.use:
            use_learned(w, found, book)
        else:
            drop_learned(w, found)
        return learned_view(w, book, found)

    return desk.do(act)


@router.post("/learning/gather", status_code=201)
def gather_now(request: Request, desk: TheDesk) -> Json:
    """Look at every case that changed and keep what the finished, proven ones teach."""
    book = _book(request)
    return desk.do(lambda w: gather(w, book)).as_dict()


@router.post("/learning/switch", status_code=201)
def switch_it(body: Switch, request: Request) -> Json:
    """Whether new cases take in what was learned."""
    switch(_book(request), body.on)
    return {"on": body.on}


@router.get("/learning/export")
def export(request: Request) -> Response:
    """What was learned as a file for another shop, without anything of cases, machines or owners."""
    head = {"content-disposition": 'attachment; filename="learned.json"'}
    return Response(learned_bytes(_book(request).read().rows()), media_type="application/json", headers=head)


@router.post("/learning/import", status_code=201)
def take_in(request: Request, file: UploadFile) -> Json:
    """Take in what another shop learned; a case that is known counts once."""
    rows = read_learned(file.file.read(LARGEST_BYTES + 1), file.filename or "")
    return {"cases": len(rows), "new": take_rows(_book(request), rows)}
