"""Routes of thermal pictures: one read and noted, those of a case, and one of them drawn on the board."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Response, UploadFile

from coppermend.api.guard import LARGEST_UPLOAD
from coppermend.api.routes import TheDesk, on_case
from coppermend.bootstrap import device_book
from coppermend.core.findings import Place, refuse
from coppermend.core.thermal.scale import Mark
from coppermend.services.heatpicture import as_taken, heat_drawn, heat_of, heat_png
from coppermend.services.layphoto import Tap
from coppermend.services.thermal import PLASTIC, HeatAsked, note_heat
from coppermend.services.thermalfile import UNITS, ThermalPicture, read_thermal
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}/heat", tags=["power"])

Json = dict[str, Any]
Words = Annotated[list[str] | None, Form(max_length=64)]
Celsius = Annotated[float | None, Form(ge=-60, le=400)]
Share = Annotated[float, Form(gt=0, le=1)]
EntryId = Annotated[str | None, Form(max_length=64, pattern=r"^[0-9a-f-]{36}$")]


@router.get("")
def pictures(case: str, desk: TheDesk) -> Json:
    """The thermal pictures of the case, newest first: side, what was cold, hot and even."""
    return {"pictures": list(on_case(desk, case, heat_of))}


@router.post("", status_code=201)
def new_picture(
    case: str,
    desk: TheDesk,
    file: UploadFile,
    tap: Words = None,
    whole: Annotated[bool, Form()] = False,
    side: Annotated[str, Form(pattern="^[cs]$")] = "c",
    scale: Words = None,
    unit: Annotated[str, Form(max_length=4)] = "",
    emissivity: Share = PLASTIC,
    camera_emissivity: Share = 1.0,
    reflected_c: Celsius = None,
    air_c: Celsius = None,
    emissivity_of: Words = None,
    against: Annotated[str, Form(pattern="^(expected|good|before)$")] = "expected",
    other: UploadFile | None = None,
    other_tap: Words = None,
    entry: EntryId = None,
) -> Json:
    """Read a thermal picture against the case's board and note it: ``tap`` U1.1=120,45 (four or more) or ``whole``, ``scale`` 630,40=80.5 (two, PNG and JPEG).

    ``emissivity_of`` single parts: Y1=0.95. ``against`` good or before wants the picture to compare with in ``other``; ``other_tap`` where that one lies otherwise.
    """
    if unit and unit not in UNITS:
        raise refuse("THM-003", f"{unit!r} is no unit of a thermal picture.", f"Say one of {', '.join(UNITS)}.")
    marks = [_mark(one) for one in scale or []]
    data, picture = _read(file, marks, unit)
    compared = None
    if against != "expected":
        if other is None:
            raise refuse(
                "THM-009",
                "The picture to compare with is missing.",
                "Send it as 'other', or ask against what is expected.",
            )
        compared = _read(other, marks if picture.kind in ("png", "jpeg") else [], unit)[1]
    asked = HeatAsked(
        tuple(_tap(one) for one in tap or []),
        whole,
        side,
        emissivity,
        dict(_share(one) for one in emissivity_of or []),
        camera_emissivity,
        reflected_c,
        air_c,
        tuple(_tap(one) for one in other_tap or []),
    )

    def use_case(workshop: Workshop, found: str) -> Json:
        book = device_book()
        done = note_heat(
            workshop,
            found,
            book,
            data,
            picture,
            asked,
            compared,
            against,
            name=file.filename or "",
            entry_id=entry,
            scale=marks,
        )
        return done.as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/preview")
def preview(case: str, desk: TheDesk, file: UploadFile, unit: Annotated[str, Form(max_length=4)] = "") -> Response:
    """A thermal picture as the camera made it, PNG with its own pixels, to tap places in; nothing is noted."""
    data = _bytes(file)
    made: bytes = on_case(desk, case, lambda workshop, found: as_taken(data, file.filename or "", unit))
    return Response(made, media_type="image/png")


@router.get("/{entry}")
def one_picture(case: str, entry: str, desk: TheDesk) -> Json:
    """One thermal picture on the board: where it lies, its colours' ends in degC, its parts with outline, temperature and verdict."""
    answer: Json = on_case(desk, case, lambda workshop, found: heat_drawn(workshop, found, entry))
    return answer


@router.get("/{entry}/picture")
def drawn(case: str, entry: str, desk: TheDesk) -> Response:
    """The picture as it lies on the board, PNG, transparent where the camera saw nothing of it."""
    made: bytes = on_case(desk, case, lambda workshop, found: heat_png(workshop, found, entry))
    return Response(made, media_type="image/png", headers={"Cache-Control": "private, max-age=3600"})


def _read(file: UploadFile, marks: list[Mark], unit: str) -> tuple[bytes, ThermalPicture]:
    data = _bytes(file)
    return data, read_thermal(data, file.filename or "", marks, unit)


def _bytes(file: UploadFile) -> bytes:
    data = file.file.read(LARGEST_UPLOAD + 1)
    if len(data) > LARGEST_UPLOAD:
        raise refuse(
            "API-003", f"The file is larger than {LARGEST_UPLOAD // 2**20} MiB.", "Thermal pictures are small: give the camera's own.", Place(file=file.filename)
        )  # fmt: skip
    return data


def _pair(text: str, example: str) -> tuple[float, float]:
    x, _, y = text.partition(",")
    try:
        return float(x), float(y)
    except ValueError:
        raise refuse("THM-009", f"{text[:40]!r} is no pixel.", f"Write it as {example}.") from None


def _tap(text: str) -> Tap:
    pin, _, place = text.partition("=")
    return Tap(pin.strip(), _pair(place, "U1.1=120,45"))


def _share(text: str) -> tuple[str, float]:
    part, _, value = text.partition("=")
    try:
        return part.strip(), float(value)
    except ValueError:
        raise refuse("THM-009", f"{text[:40]!r} has no emissivity.", "Write it as Y1=0.95.") from None


def _mark(text: str) -> Mark:
    place, _, celsius = text.partition("=")
    at = _pair(place, "630,40=80.5")
    try:
        return Mark(at, float(celsius))
    except ValueError:
        raise refuse("THM-009", f"{text[:40]!r} has no temperature.", "Write it as 630,40=80.5.") from None
