"""Routes of waves: records taken in at pins, those of a case, and one of them drawn."""

from __future__ import annotations

import re
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, UploadFile

from coppermend.api.guard import LARGEST_UPLOAD
from coppermend.api.routes import TheDesk, on_case
from coppermend.bootstrap import device_book, machine_model
from coppermend.core.findings import Place, refuse
from coppermend.services.bind import bind
from coppermend.services.wavecase import Tap, measure_for_case
from coppermend.services.wavepicture import draw_wave, drawn_record, waves_of
from coppermend.services.waves import Asked, measure_record, read_record
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}/waves", tags=["power"])

Json = dict[str, Any]
Seconds = Annotated[float | None, Query(ge=-1e9, le=1e9)]
Word = Annotated[str, Form(max_length=200)]
EntryId = Annotated[str | None, Form(max_length=64, pattern=r"^[0-9a-f-]{36}$")]


@router.get("")
def waves(case: str, desk: TheDesk) -> Json:
    """The waves of the case, newest first: at which points, with which verdicts."""
    return {"waves": list(on_case(desk, case, waves_of))}


@router.post("", status_code=201)
def new_wave(
    case: str,
    desk: TheDesk,
    file: UploadFile,
    at: Annotated[list[str] | None, Form()] = None,
    channel: Word = "",
    family: Word = "",
    expect_hz: Annotated[float | None, Form(gt=0, lt=1e15)] = None,
    step_s: Annotated[float | None, Form(gt=0, lt=1e6)] = None,
    entry: EntryId = None,
) -> Json:
    """Measure a record; with points (``at``: U1.6, or CH1=U1.6, CH2=U3.4 for several channels) judge it by what they should show, and note it."""
    data = _read(file)
    taps = [_tap(one, channel) for text in at or [] for one in re.split(r"[,;]", text) if one.strip()]
    asked = Asked(expect_hz, None, family)
    capture = read_record(data, file.filename or "", step_s)

    def use_case(workshop: Workshop, found: str) -> Json:
        book = device_book()
        if not taps:
            return drawn_record(measure_record(capture, asked, book, channel), capture)
        model = machine_model(bind(workshop, found).state.package)
        done = measure_for_case(workshop, found, data, capture, taps, book, model, asked, entry)
        return drawn_record(done, capture)

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/{entry}")
def one_wave(
    case: str, entry: str, desk: TheDesk, channel: str = "", begin_s: Seconds = None, end_s: Seconds = None
) -> Json:
    """One channel of a kept wave between two times: samples or their least and greatest in each column, levels, thresholds, edges."""

    def use_case(workshop: Workshop, found: str) -> Json:
        model = machine_model(bind(workshop, found).state.package)
        return draw_wave(workshop, found, entry, device_book(), model, channel, begin_s, end_s)

    answer: Json = on_case(desk, case, use_case)
    return answer


def _tap(text: str, channel: str) -> Tap:
    name, sign, point = text.rpartition("=")
    return Tap(name.strip() if sign else channel, point.strip())


def _read(file: UploadFile) -> bytes:
    data = file.file.read(LARGEST_UPLOAD + 1)
    if len(data) > LARGEST_UPLOAD:
        raise refuse(
            "API-003", f"The file is larger than {LARGEST_UPLOAD // 2**20} MiB.", "Save a shorter record, or use 'coppermend wave measure'.", Place(file=file.filename)
        )  # fmt: skip
    return data
