"""Routes of waves: records taken in at pins, gates against their logic, starts as sequences, figures read off a screen; those of a case, and one of them drawn."""

from __future__ import annotations

import re
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, UploadFile

from coppermend.api.guard import LARGEST_UPLOAD
from coppermend.api.routes import TheDesk, on_case
from coppermend.bootstrap import device_book, machine_model
from coppermend.core.findings import Place, refuse
from coppermend.core.signals.gates import SETTLE_S
from coppermend.services.bind import bind
from coppermend.services.wavecase import Tap, measure_for_case, typed_for_case
from coppermend.services.wavepicture import draw_wave, drawn_record, waves_of
from coppermend.services.waves import Asked, measure_record, read_record, typed_figure, typed_raw
from coppermend.services.wavesetcase import judge_gate_for_case, judge_starts_for_case
from coppermend.services.wavesets import StartAsked
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api/cases/{case}/waves", tags=["power"])

Json = dict[str, Any]
Seconds = Annotated[float | None, Query(ge=-1e9, le=1e9)]
Word = Annotated[str, Form(max_length=200)]
EntryId = Annotated[str | None, Form(max_length=64, pattern=r"^[0-9a-f-]{36}$")]
Step = Annotated[float | None, Form(gt=0, lt=1e6)]
MOST_STARTS = 20
"""Records of starts that are taken in at once."""


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
    step_s: Step = None,
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


@router.post("/gate", status_code=201)
def gate(
    case: str,
    desk: TheDesk,
    file: UploadFile,
    part: Annotated[str, Form(min_length=1, max_length=64)],
    pin: Annotated[list[str] | None, Form(max_length=64)] = None,
    settle_s: Annotated[float, Form(ge=0, lt=1e6)] = SETTLE_S,
    family: Word = "",
    step_s: Step = None,
    entry: EntryId = None,
) -> Json:
    """Whether a chip of the board obeys its logic over a record, and which pin disagrees (``pin``: 1A=D0, 1B=D1, 1Y=D2; none: channels named like pins); noted."""
    data = _read(file)
    named = dict(_pin(one) for text in pin or [] for one in re.split(r"[,;]", text) if one.strip())
    capture = read_record(data, file.filename or "", step_s)

    def use_case(workshop: Workshop, found: str) -> Json:
        model = machine_model(bind(workshop, found).state.package)
        return judge_gate_for_case(
            workshop, found, data, capture, part, named, device_book(), model, family, settle_s, entry
        ).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/starts", status_code=201)
def starts(
    case: str,
    desk: TheDesk,
    file: list[UploadFile],
    at: Annotated[str, Form(min_length=1, max_length=64)],
    reset: Annotated[str, Form(min_length=1, max_length=200)],
    rail: Word = "",
    clock: Word = "",
    family: Word = "",
    step_s: Step = None,
    entry: Annotated[list[str] | None, Form(max_length=64)] = None,
) -> Json:
    """Records of power-ups, one file a start, read as supply, clock and reset in their order by the rules of the chip at the reset's point; counted and noted."""
    if len(file) > MOST_STARTS:
        raise refuse(
            "SIG-036",
            f"{len(file)} records of starts were given; at most {MOST_STARTS} are taken in at once.",
            "Give the rest afterwards: they are counted together.",
        )
    taken = [_read(one) for one in file]
    records = [(data, read_record(data, one.filename or "", step_s)) for data, one in zip(taken, file, strict=True)]
    asked = StartAsked(reset, rail, clock, family=family)

    def use_case(workshop: Workshop, found: str) -> Json:
        model = machine_model(bind(workshop, found).state.package)
        return judge_starts_for_case(
            workshop, found, records, asked, at, device_book(), model, tuple(entry or ())
        ).as_dict()

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/typed", status_code=201)
def typed(
    case: str,
    desk: TheDesk,
    figure: Annotated[str, Form(min_length=1, max_length=64)],
    at: Annotated[str, Form(min_length=1, max_length=64)],
    step: Annotated[str, Form(max_length=64)] = "",
    periods: Annotated[int, Form(ge=1, le=1_000_000)] = 1,
    expect_hz: Annotated[float | None, Form(gt=0, lt=1e15)] = None,
    entry: EntryId = None,
) -> Json:
    """A period or frequency read by cursor or counter (70ns with ``step`` 2ns, 14.3MHz) at a point, judged by its resolution and noted."""
    read = typed_figure(figure, step, periods)

    def use_case(workshop: Workshop, found: str) -> Json:
        model = machine_model(bind(workshop, found).state.package)
        raw = typed_raw(figure, step, periods)
        return typed_for_case(workshop, found, read, at, raw, device_book(), model, Asked(expect_hz), entry).as_dict()

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


def _pin(text: str) -> tuple[str, str]:
    pin, sign, channel = text.partition("=")
    if not sign or not pin.strip() or not channel.strip():
        raise refuse("SIG-033", f"{text[:40]!r} is no pin with its channel.", "Write it as 1A=D0.")
    return pin.strip(), channel.strip()


def _read(file: UploadFile) -> bytes:
    data = file.file.read(LARGEST_UPLOAD + 1)
    if len(data) > LARGEST_UPLOAD:
        raise refuse(
            "API-003", f"The file is larger than {LARGEST_UPLOAD // 2**20} MiB.", "Save a shorter record, or use 'coppermend wave measure'.", Place(file=file.filename)
        )  # fmt: skip
    return data
