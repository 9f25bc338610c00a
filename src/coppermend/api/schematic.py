"""Routes of schematics: PDF pages kept with a case, searched by part, pin and net, a page as a picture."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Response, UploadFile

from coppermend.api.routes import TheDesk, on_case
from coppermend.core.findings import Place, refuse
from coppermend.formats.schematic import LARGEST_BYTES
from coppermend.services.schematics import attach_schematic, find_in_schematics, schematic_page, schematic_view
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}/schematics", tags=["board"])

Json = dict[str, Any]


@router.get("")
def schematics(case: str, desk: TheDesk) -> Json:
    """The schematics of the case with their pages, and what a map beside them draws."""
    answer: Json = on_case(desk, case, schematic_view)
    return answer


@router.post("", status_code=201)
def attach(
    case: str,
    desk: TheDesk,
    file: UploadFile,
    words: Annotated[str, Form(max_length=2000)] = "",
    entry: Annotated[str | None, Form(max_length=64, pattern=r"^[0-9a-f-]{36}$")] = None,
) -> Json:
    """Keep a schematic (PDF) with the case, unchanged."""
    data = file.file.read(LARGEST_BYTES + 1)
    if len(data) > LARGEST_BYTES:
        raise refuse(
            "SCH-003",
            f"The file is larger than {LARGEST_BYTES // 2**20} MiB.",
            "Give the pages that matter.",
            Place(file=file.filename),
        )

    def use_case(workshop: Workshop, found: str) -> Json:
        return attach_schematic(workshop, found, data, file.filename or "", words, entry_id=entry).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/find")
def find(case: str, desk: TheDesk, text: Annotated[str, Query(max_length=80)] = "") -> Json:
    """Where a part, pin or net stands on the pages, nearest to its part first, and where it is on the board."""
    answer: Json = on_case(desk, case, lambda workshop, found: find_in_schematics(workshop, found, text))
    return answer


@router.get("/{entry}/pages/{number}")
def page(case: str, entry: str, number: int, desk: TheDesk, scale: float = 2.0) -> Response:
    """A page as PNG, ``scale`` pixels a point."""
    made: bytes = on_case(desk, case, lambda workshop, found: schematic_page(workshop, found, entry, number, scale))
    return Response(made, media_type="image/png", headers={"Cache-Control": "private, max-age=86400"})
