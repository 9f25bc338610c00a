"""Routes of what a diagnostic, a free run, a memory test, a ROM's read-out and compared readings say."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Query, UploadFile
from pydantic import BaseModel, ConfigDict, Field

from coppermend.api.guard import LARGEST_UPLOAD
from coppermend.api.routes import TheDesk, on_case
from coppermend.bootstrap import device_book, machine_model
from coppermend.core.findings import Place, refuse
from coppermend.services.bringup import bringup_view, note_diagnostic, note_free_run, parse_lines
from coppermend.services.cases import case_state, find_case
from coppermend.services.compare import compare_readings
from coppermend.services.customchips import custom_chip
from coppermend.services.memory import note_memory
from coppermend.services.passivework import passives_view
from coppermend.services.roms import note_rom
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}", tags=["power"])

Json = dict[str, Any]
EntryId = Annotated[str | None, Form(max_length=64, pattern=r"^[0-9a-f-]{36}$")]
MOST_FILES = 16


class FreeRunBody(BaseModel):
    """Address lines as typed ("A0=500k"), the clock in Hz, clocks an address where the type does not tell, whether read while /RD is low."""

    model_config = ConfigDict(extra="forbid")

    lines: list[Annotated[str, Field(max_length=40)]] = Field(max_length=64)
    clock_hz: float
    clocks: float | None = None
    gated: bool = False
    entry_id: Annotated[str | None, Field(max_length=64, pattern=r"^[0-9a-f-]{36}$")] = None


class DiagnosticBody(BaseModel):
    """How many steps a diagnostic passed."""

    model_config = ConfigDict(extra="forbid")

    name: Annotated[str, Field(max_length=200)] = ""
    passed: int
    words: Annotated[str, Field(max_length=2000)] = ""
    entry_id: Annotated[str | None, Field(max_length=64, pattern=r"^[0-9a-f-]{36}$")] = None


@router.get("/bringup")
def bringup(case: str, desk: TheDesk) -> Json:
    """The machine's diagnostics with their steps, its processor's address lines, and what was noted of diagnostics and free runs."""

    def use_case(workshop: Workshop, found: str) -> Json:
        return bringup_view(workshop, found, device_book(), machine_model(case_state(workshop, found).package))

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/freerun", status_code=201)
def free_run(case: str, body: FreeRunBody, desk: TheDesk) -> Json:
    """Judge a processor in free run and note it: which address lines run at their rate, stand still or touch."""

    def use_case(workshop: Workshop, found: str) -> Json:
        lines = parse_lines(body.lines)
        return note_free_run(
            workshop,
            found,
            device_book(),
            lines,
            body.clock_hz,
            clocks=body.clocks,
            gated=body.gated,
            entry_id=body.entry_id,
        ).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/diagnostic", status_code=201)
def diagnostic(case: str, body: DiagnosticBody, desk: TheDesk) -> Json:
    """Note how many steps a diagnostic of the machine's file passed."""

    def use_case(workshop: Workshop, found: str) -> Json:
        model = machine_model(case_state(workshop, found).package)
        return note_diagnostic(
            workshop, found, model, body.name, body.passed, words=body.words, entry_id=body.entry_id
        ).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/memory", status_code=201)
def memory(
    case: str,
    desk: TheDesk,
    file: UploadFile | None = None,
    text: Annotated[str, Form(max_length=200_000)] = "",
    map_text: Annotated[str, Form(max_length=20_000)] = "",
    entry: EntryId = None,
) -> Json:
    """Which chip or line explains the error words of a memory test (a file, or ``text``), noted in the case. ``map_text`` a memory map given by hand."""
    data, name = (_bytes(file), file.filename or "") if file is not None else (text.encode(), "typed")

    def use_case(workshop: Workshop, found: str) -> Json:
        return note_memory(workshop, found, device_book(), data, name, map_text, entry_id=entry).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/roms", status_code=201)
def rom(
    case: str,
    desk: TheDesk,
    file: Annotated[list[UploadFile], File()],
    part: Annotated[str, Form(max_length=40)] = "",
    list_text: Annotated[str, Form(max_length=200_000)] = "",
    good: UploadFile | None = None,
    entry: EntryId = None,
) -> Json:
    """Judge a ROM's read-out (several readings show bits that waver) and note it. ``list_text`` the owner's checksums, ``good`` a read-out known right."""
    if len(file) > MOST_FILES:
        raise refuse(
            "ROM-003",
            f"{len(file)} files are more than {MOST_FILES} readings of one ROM.",
            "Give at most sixteen readings of the same ROM.",
        )
    readings, names = [_bytes(one) for one in file], [one.filename or "" for one in file]
    known = None if good is None else _bytes(good)

    def use_case(workshop: Workshop, found: str) -> Json:
        return note_rom(
            workshop,
            found,
            readings,
            device_book(),
            part,
            names=names,
            list_text=list_text,
            list_name="the list",
            good=known,
            entry_id=entry,
        ).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/parts/{part}/inferred")
def inferred(case: str, part: str, desk: TheDesk) -> Json:
    """The pins of a chip without a data sheet by rule, what they read on boards of this kind that work, and an entry for one's own device book."""
    answer: Json = on_case(desk, case, lambda workshop, found: custom_chip(workshop, found, device_book(), part))
    return answer


@router.get("/parts/small")
def small_parts(case: str, desk: TheDesk) -> Json:
    """Resistors, networks, capacitors, coils, fuses, crystals and regulators with value, tolerance and usual faults, and what ohms across them say."""
    answer: Json = on_case(desk, case, lambda workshop, found: passives_view(workshop, found, device_book()))
    return answer


@router.get("/readings/compared")
def compared(
    case: str,
    desk: TheDesk,
    against: Annotated[str, Query(max_length=64)] = "",
    good: Annotated[str | None, Query(max_length=20_000)] = None,
    alpha: float = 0.01,
) -> Json:
    """Diode and ohms readings compared, power off: like pins with each other, with another case of this board (``against``), or with a good board's list."""

    def use_case(workshop: Workshop, found: str) -> Json:
        other = find_case(workshop, against) if against else ""
        return compare_readings(
            workshop,
            found,
            device_book(),
            other=other,
            good=good,
            good_name="the good board's list" if good else "",
            alpha=alpha,
        ).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


def _bytes(file: UploadFile) -> bytes:
    data = file.file.read(LARGEST_UPLOAD + 1)
    if len(data) > LARGEST_UPLOAD:
        words = f"The file is larger than {LARGEST_UPLOAD // 2**20} MiB."
        raise refuse(
            "API-003",
            words,
            "Error words and read-outs are small: give the file of one test or one ROM.",
            Place(file=file.filename),
        )
    return data
