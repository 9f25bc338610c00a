"""The routes: each calls one service and gives its answer. The command line has the same use cases."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Depends, Form, Query, Response, UploadFile
from fastapi import Request as HttpRequest
from fastapi.responses import StreamingResponse

from coppermend.api import views
from coppermend.api.desk import Desk, the_desk
from coppermend.api.events import marks
from coppermend.api.guard import LARGEST_BUNDLE, LARGEST_UPLOAD
from coppermend.api.schemas import NewArea, NewCase, NewEntry, NewNumbers, PhotoLaid, PhotoMarked
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import plain
from coppermend.core.log.values import parse_value
from coppermend.core.planning.model import NextStep
from coppermend.services import scene
from coppermend.services.areas import add_area
from coppermend.services.bench import next_for_case, round_for_case, spans_for_case, step_as_dict
from coppermend.services.bind import bind
from coppermend.services.boardphoto import board_photo
from coppermend.services.bundles import export_case, import_case
from coppermend.services.casefinding import MOST_ROWS, Asked, find_cases
from coppermend.services.cases import CaseView, case_state, find_case, new_case
from coppermend.services.cautions import cautions
from coppermend.services.drawing import drawing_of
from coppermend.services.find import find_on_board
from coppermend.services.layphoto import (
    Tap,
    begin_laying,
    board_size_mm,
    compare,
    end_laying,
    flatten,
    laid_view,
    look_at_choice,
    underlay,
)
from coppermend.services.learning import begin_with_learned, learn_from
from coppermend.services.photos import attach_photo, photo_bytes
from coppermend.services.placing import PinMark, mark_photo, picture, placing
from coppermend.services.prepared import everything_counts
from coppermend.services.rails import show_case_with_rails
from coppermend.services.requests import Request
from coppermend.services.together import note_seen, seen_ago
from coppermend.services.workshop import Workshop

if TYPE_CHECKING:
    from coppermend.services.recording.model import RecordView

router = APIRouter(prefix="/api")

TheDesk = Annotated[Desk, Depends(the_desk)]
Json = dict[str, Any]

AMPERES = ("limit_a", "abort_a", "current_a")
NUMBERS_MM = ("length_mm", "diameter_mm")


def on_case(desk: Desk, case: str, use_case: Callable[[Workshop, str], Any]) -> Any:
    """Run a use case on the case that a number or id names."""
    return desk.do(lambda w: use_case(w, find_case(w, case)))


@router.get("/cases", tags=["cases"])
def cases(
    desk: TheDesk,
    q: Annotated[str, Query(max_length=400)] = "",
    state: Annotated[tuple[str, ...], Query()] = (),
    waits: bool | None = None,
    board_of: Annotated[str, Query(max_length=100)] = "",
    since: Annotated[str, Query(max_length=30)] = "",
    order: Annotated[str, Query(max_length=10)] = "number",
    after: Annotated[str, Query(max_length=60)] = "",
    limit: Annotated[int, Query(ge=1, le=MOST_ROWS)] = 50,
) -> Json:
    """A page of the cases, newest first: those that say every word of ``q``, in any of the states, and so on; ``after`` of an answer asks for the page that follows."""
    asked = Asked(q, state, waits, board_of, since, order, after, limit)
    answer: Json = desk.do(lambda w: find_cases(w, asked)).as_dict()
    return answer


@router.post("/cases", tags=["cases"], status_code=201)
def open_case(body: NewCase, request: HttpRequest, desk: TheDesk) -> Json:
    """Open a case on the board of a package; where learning is on, it is planned with what past cases taught."""

    def use_case(w: Workshop) -> CaseView:
        view = new_case(w, body.board, body.title, serial=body.serial, complaint=body.complaint, owner=body.owner)
        begin_with_learned(w, view.state.case, request.app.state.learned)
        return view

    view = desk.do(use_case)
    return {"id": view.state.case, "number": view.number}


@router.post("/import", tags=["cases"], status_code=201)
def take_in(desk: TheDesk, file: UploadFile) -> Json:
    """Take in an exported case, fully verified."""
    data = _read(file, LARGEST_BUNDLE)
    answer: Json = desk.do(lambda w: import_case(w, data, file.filename or "")).as_dict()
    return answer


@router.get("/cases/{case}", tags=["cases"])
def one_case(case: str, desk: TheDesk) -> Json:
    """A case as it stands: the folded log."""
    answer: Json = on_case(desk, case, show_case_with_rails).as_dict()
    return answer


@router.get("/cases/{case}/export", tags=["cases"])
def export(case: str, desk: TheDesk) -> Response:
    """The whole case as one open file."""
    data = on_case(desk, case, export_case)
    return Response(
        data, media_type="application/zip", headers={"content-disposition": 'attachment; filename="case.zip"'}
    )


@router.get("/cases/{case}/log", tags=["cases"])
def log(case: str, desk: TheDesk) -> Json:
    """Every entry of the case in the agreed order, as it is kept."""
    entries = on_case(desk, case, lambda w, c: w.store.entries(c))
    return {"entries": [one.as_dict() for one in entries]}


@router.get("/cases/{case}/story", tags=["cases"])
def story(case: str, desk: TheDesk) -> Json:
    """Timeline, power-ups, the gate before power, photos, and where one was."""
    answer: Json = on_case(desk, case, views.story_view)
    return answer


@router.get("/cases/{case}/gate", tags=["cases"])
def gate(case: str, desk: TheDesk) -> Json:
    """The gate before power: each item done, or what to do."""
    return views.gate_view(on_case(desk, case, show_case_with_rails))


@router.get("/cases/{case}/events", tags=["cases"])
async def events(case: str, desk: TheDesk) -> StreamingResponse:
    """Live updates: a ``mark`` event whenever the log grew, whoever wrote. Ask for the bench view then."""
    from anyio import to_thread

    found = await to_thread.run_sync(desk.do, lambda w: find_case(w, case))
    return StreamingResponse(marks(desk, found), media_type="text/event-stream")


@router.get("/cases/{case}/scene", tags=["board"])
def board_scene(case: str, desk: TheDesk) -> Response:
    """The board as drawing data: layers, holes, mask, print, parts with notch and pins, nets. One JSON object, made once per board."""

    def use_case(w: Workshop, c: str) -> bytes:
        binding = bind(w, c)
        if "scene" not in binding.base.memo:
            text = json.dumps(scene.scene_of(binding.board), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
            binding.base.memo["scene"] = text.encode()
        data: bytes = binding.base.memo["scene"]
        return data

    return Response(on_case(desk, case, use_case), media_type="application/json")


@router.get("/cases/{case}/scene.bin", tags=["board"])
def board_scene_packed(case: str, desk: TheDesk) -> Response:
    """The same drawing data as one block of bytes, for boards of any size (layout: see the head of services/scene_pack.py)."""
    # "identity": made to be quick; a loopback has no use for packing it
    return Response(
        on_case(desk, case, drawing_of),
        media_type="application/octet-stream",
        headers={"content-encoding": "identity"},
    )


@router.get("/cases/{case}/board-photo/{side}", tags=["board"])
def side_photo(case: str, side: str, desk: TheDesk) -> Response:
    """The photo of a side, flattened onto the board: a JPEG that covers the scene's ``bounds_mm``, seen from the component side, y up."""
    found = on_case(desk, case, lambda w, c: board_photo(w, c, side))
    return Response(found.jpeg, media_type="image/jpeg")


@router.get("/cases/{case}/laid", tags=["board"])
def laid(case: str, desk: TheDesk) -> Json:
    """Photos that lie on the board, pins that are good to tap, and the case's photos."""
    answer: Json = on_case(desk, case, laid_view)
    return answer


@router.post("/cases/{case}/laid", tags=["log"], status_code=201)
def lay(case: str, body: PhotoLaid, desk: TheDesk) -> Json:
    """Lay a photo of the case on a side of the board; refused with the reason when it is too coarse, blurred, mirrored or of something else."""
    taps = [Tap(one.pin, one.px) for one in body.taps]
    begun = on_case(desk, case, lambda w, c: begin_laying(w, c, body.sha256, body.side, taps))
    compared = compare(begun)  # seconds of work, while readings of this case are answered
    answer: Json = on_case(desk, case, lambda w, c: end_laying(w, c, begun, compared).as_dict())
    return answer


@router.get("/cases/{case}/laid/{side}", tags=["board"])
def laid_side(case: str, side: str, desk: TheDesk) -> Response:
    """The photo laid on a side, flattened: a JPEG that covers the scene's ``bounds_mm``, seen from the component side, y up."""
    found = flatten(on_case(desk, case, lambda w, c: underlay(w, c, side)))
    return Response(found.jpeg, media_type="image/jpeg")


@router.get("/cases/{case}/places", tags=["board"])
def places(case: str, desk: TheDesk) -> Json:
    """For a board from a pin list: its pictures, the marks in them, which parts have a place."""
    answer: Json = on_case(desk, case, placing)
    return answer


@router.post("/cases/{case}/places", tags=["board"])
def mark_places(case: str, body: PhotoMarked, desk: TheDesk) -> Json:
    """Keep the marks of one side's photo in the map file beside the list and build the board anew."""
    marks = [PinMark(one.pin, one.px) for one in body.marks]
    answer: Json = on_case(desk, case, lambda w, c: mark_photo(w, c, body.side, body.file, marks))
    return answer


@router.get("/cases/{case}/pictures/{name}", tags=["board"])
def a_picture(case: str, name: str, desk: TheDesk) -> Response:
    """A picture beside the board's list, as it is."""
    data, media = on_case(desk, case, lambda w, c: picture(w, c, name))
    return Response(data, media_type=media)


@router.get("/cases/{case}/points", tags=["board"])
def points(case: str, desk: TheDesk) -> Json:
    """Every probe point under the part states of now: ``rows`` of [id, net, x_mm, y_mm, side, part, pin, kind, reachable]."""
    return {"rows": on_case(desk, case, lambda w, c: scene.points_as_rows(bind(w, c).graph))}


@router.get("/cases/{case}/nets/{net}", tags=["board"])
def one_net(case: str, net: int, desk: TheDesk) -> Json:
    """A net by its number in the scene: points in words, readings, what is proven."""

    def use_case(w: Workshop, c: str) -> Json:
        count = len(bind(w, c).graph.net_names)
        if not 0 <= net < count:
            raise refuse(
                "NET-001",
                f"This board has no net number {net}.",
                f"Nets are numbered 0 to {count - 1}.",
                Place(thing=str(net)),
            )
        return views.net_view(w, c, net)

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/cases/{case}/find", tags=["board"])
def find(case: str, text: str, desk: TheDesk) -> Json:
    """A pin, part, net or point by the name a person types: its net and where it is."""
    answer: Json = on_case(desk, case, lambda w, c: find_on_board(bind(w, c), text)).as_dict()
    return answer


@router.get("/cases/{case}/bench", tags=["bench"])
def bench(case: str, desk: TheDesk) -> Json:
    """Everything the bench shows: the next step, progress, marks on the map, readings."""
    answer: Json = on_case(desk, case, views.bench_view)
    return answer


@router.get("/cases/{case}/next", tags=["bench"])
def next_one(case: str, desk: TheDesk) -> Json:
    """The next step, as ``coppermend next --json`` gives it: once a start was noted, or could tell something by what intake says, chosen among everything that a bench does."""

    def use_case(workshop: Workshop, found: str) -> NextStep:
        state, step = case_state(workshop, found), next_for_case(workshop, found)
        if not everything_counts(state, step):
            return step
        from coppermend.bootstrap import device_book, machine_model
        from coppermend.services.whole import next_of_all

        return next_of_all(workshop, found, device_book(), machine_model(state.package))

    return step_as_dict(on_case(desk, case, use_case))


@router.get("/cases/{case}/numbers", tags=["bench"])
def the_numbers(case: str, desk: TheDesk) -> Json:
    """The numbers that the belief and the plan of a case use."""
    from coppermend.services.adjust import numbers_for_case

    answer: Json = on_case(desk, case, numbers_for_case)
    return answer


@router.post("/cases/{case}/numbers", tags=["bench"], status_code=201)
def new_numbers(case: str, body: NewNumbers, desk: TheDesk) -> Json:
    """Change numbers by their paths, such as priors.prior_in.joint; the answer holds all of them."""
    from coppermend.services.adjust import numbers_for_case, set_numbers

    def use_case(w: Workshop, c: str) -> Json:
        set_numbers(w, c, body.set)
        return numbers_for_case(w, c)

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.get("/cases/{case}/round", tags=["bench"])
def the_round(case: str, desk: TheDesk) -> Json:
    """The round that is left, with its certificate."""
    answer: Json = plain(on_case(desk, case, round_for_case))
    return answer


@router.get("/cases/{case}/spans", tags=["bench"])
def the_spans(case: str, desk: TheDesk) -> Json:
    """The stretches that the readings leave as places of breaks, most likely first."""
    return {"spans": [views.span_view(one) for one in on_case(desk, case, spans_for_case)]}


@router.get("/cases/{case}/unproven", tags=["bench"])
def unproven(case: str, desk: TheDesk) -> Json:
    """What is not proven if one stops now, in plain words."""
    answer: Json = on_case(desk, case, views.unproven_view)
    return answer


@router.get("/cases/{case}/wires", tags=["bench"])
def wires(case: str, desk: TheDesk) -> Json:
    """Breaks with the wires that mend them; wires that were fitted with the checks that prove them."""
    answer: Json = on_case(desk, case, views.wires_view)
    return answer


@router.post("/cases/{case}/entries", tags=["log"], status_code=201)
def new_entry(case: str, body: NewEntry, request: HttpRequest, desk: TheDesk) -> Json:
    """Write one entry of any kind that ``coppermend note`` writes. It is on disk when the answer comes; the answer holds the new bench view."""
    wanted = Request(
        kind=body.kind, points=tuple(body.points), value=body.value, part=body.part, words=body.words, fields=_fields(body.options),
        instrument=body.instrument, undoes=body.undoes, entry_id=body.entry_id,
    )  # fmt: skip

    def use_case(w: Workshop, c: str) -> Json:
        done = note_seen(w, c, replace(wanted, observed_at=seen_ago(w, c, body.waited_s)), body.after)
        if wanted.kind == "progress":
            learn_from(w, request.app.state.learned, c)
        careful = [] if done.already else list(cautions(w, c, done.noted.entry))
        return {
            **views.told_places(w, c, done.as_dict()),
            "careful": careful,
            "bench": views.bench_view(w, c),
        }

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/cases/{case}/areas", tags=["log"], status_code=201)
def new_area(case: str, body: NewArea, desk: TheDesk) -> Json:
    """Mark a work area: round a part with a margin, or a polygon."""
    margin = parse_value(body.margin_mm, "mm") if isinstance(body.margin_mm, str) else body.margin_mm

    def use_case(w: Workshop, c: str) -> Json:
        done = add_area(
            w,
            c,
            part=body.part,
            polygon=body.polygon,
            margin_mm=3.0 if margin is None else margin,
            kind=body.kind,
            severity=body.severity,
            label=body.label,
        )
        return {**done.as_dict(), "bench": views.bench_view(w, c)}

    answer: Json = on_case(desk, case, use_case)
    return answer


@router.post("/cases/{case}/photos", tags=["log"], status_code=201)
def new_photo(
    case: str,
    desk: TheDesk,
    file: UploadFile,
    words: Annotated[str, Form(max_length=4000)] = "",
    side: Annotated[str, Form(max_length=20)] = "",
    to_lay: Annotated[bool, Form()] = False,
) -> Json:
    """Keep a photo, bytes unchanged, after looking whether it is a picture at all; one that is to be laid on the board is refused when it is blurred beyond use."""
    data = _read(file)
    if to_lay:
        look_at_choice(data, on_case(desk, case, board_size_mm))
    answer: Json = on_case(
        desk, case, lambda w, c: attach_photo(w, c, data, name=file.filename or "", words=words, side=side)
    ).as_dict()
    return answer


@router.get("/cases/{case}/photos/{sha256}", tags=["log"])
def photo(case: str, sha256: str, desk: TheDesk) -> Response:
    """A photo of this case."""
    data, media = on_case(desk, case, lambda w, c: photo_bytes(w, c, sha256))
    return Response(data, media_type=media, headers={"cache-control": "private, max-age=31536000, immutable"})


Reader = Annotated[Literal["technician", "owner"], Query(alias="for")]
Parts = Annotated[str, Query(max_length=400)]


def _record(workshop: Workshop, case: str, reader: str, parts: str) -> RecordView:
    """The record with the device book and the machine's own file, as this reader gets it."""
    from coppermend.bootstrap import device_book, machine_model
    from coppermend.services.recording.editions import chosen, edition
    from coppermend.services.records import case_record

    wanted = chosen(reader, [one.strip() for one in parts.split(",") if one.strip()])
    return edition(
        case_record(workshop, case, device_book(), machine_model(case_state(workshop, case).package)), reader, wanted
    )


@router.get("/cases/{case}/record.html", tags=["record"])
def record_page(case: str, desk: TheDesk, reader: Reader = "technician", parts: Parts = "") -> Response:
    """The record as one page without script, for the technician or (``for=owner``) in plain words; ``parts`` by commas instead of the reader's own."""
    from coppermend.services.records import record_html

    text = on_case(desk, case, lambda w, c: record_html(_record(w, c, reader, parts)))
    return Response(text, media_type="text/html; charset=utf-8")


@router.get("/cases/{case}/record.pdf", tags=["record"])
def record_file(case: str, desk: TheDesk, reader: Reader = "technician", parts: Parts = "") -> Response:
    """The record as a PDF; ``for`` and ``parts`` as for the page."""
    from coppermend.bootstrap import typesetter
    from coppermend.services.records import record_pdf_of

    data = on_case(desk, case, lambda w, c: record_pdf_of(_record(w, c, reader, parts), typesetter()))
    return Response(
        data, media_type="application/pdf", headers={"content-disposition": 'inline; filename="record.pdf"'}
    )


@router.get("/cases/{case}/acceptance", tags=["record"])
def acceptance_list(case: str, desk: TheDesk) -> Json:
    """What must work before this machine goes back, and what was noted since the last repair."""
    from coppermend.bootstrap import machine_model
    from coppermend.services.acceptance import acceptance

    state = on_case(desk, case, case_state)
    return dict(acceptance(state, machine_model(state.package)).as_dict())


@router.get("/cases/{case}/label.pdf", tags=["record"])
def label_file(case: str, desk: TheDesk) -> Response:
    """A label for the machine with a QR picture of its case, as a PDF."""
    from coppermend.bootstrap import label_printer, qr_rows
    from coppermend.services.labels import label_of, label_pdf

    data = on_case(desk, case, lambda w, c: label_pdf(label_of(w, c), label_printer(), qr_rows))
    return Response(data, media_type="application/pdf", headers={"content-disposition": 'inline; filename="label.pdf"'})


def _fields(options: Json) -> Json:
    """Payload fields as typed on the page: amperes and millimetres may come as text with a unit; empty ones are left out."""
    out: Json = {}
    for name, value in options.items():
        if value in ("", None):
            continue
        if isinstance(value, str) and name in AMPERES:
            out[name] = parse_value(value, "ampere")
        elif isinstance(value, str) and name in NUMBERS_MM:
            out[name] = parse_value(value, "mm")
        else:
            out[name] = value
    return out


def _read(file: UploadFile, most: int = LARGEST_UPLOAD) -> bytes:
    """An uploaded file's bytes, bounded."""
    data = file.file.read(most + 1)
    if len(data) > most:
        raise refuse(
            "API-003",
            f"The file is larger than {most // 2**20} MiB.",
            "Send a smaller one.",
            Place(file=file.filename),
        )
    return data
