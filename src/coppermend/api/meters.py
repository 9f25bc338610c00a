"""Instruments: what is plugged in, trying one, a meter that is read while one works, its touches into the log."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from typing import Annotated, Any, Literal

import anyio
from fastapi import APIRouter, Depends, Request
from fastapi.responses import StreamingResponse
from pydantic import Field

from coppermend.api import views
from coppermend.api.desk import Desk
from coppermend.api.events import KEEP_ALIVE_S, event
from coppermend.api.routes import TheDesk, on_case
from coppermend.api.schemas import Body, Name
from coppermend.services.instruments import keep_zero, look_around, note_touch, try_meter, try_scope
from coppermend.services.meter_watch import MeterWatch
from coppermend.services.workshop import Workshop

router = APIRouter(prefix="/api", tags=["instruments"])
Json = dict[str, Any]

LOOK_EVERY_S = 0.05


class Address(Body):
    """An instrument as named: VISA address, HOST:PORT or serial port; ``baud`` for serial lines."""

    address: Annotated[str, Field(min_length=1, max_length=300)]
    baud: Annotated[int, Field(ge=300, le=4_000_000)] = 9600
    wires: Literal[2, 4] = 2


class Tried(Address):
    """What to try: a meter's ohms, or a channel of an oscilloscope."""

    what: Literal["meter", "scope"] = "meter"
    channel: Annotated[int, Field(ge=1, le=16)] = 1


class MeterTouch(Body):
    """A touch of the meter that is being read, and between which two points it was.

    ``mark`` the case's mark that the screen shows: a screen that is behind would name the points of an older check, and is refused.
    """

    touch: Annotated[str, Field(pattern=r"^[0-9a-f-]{36}$")]
    points: Annotated[list[Name], Field(min_length=2, max_length=2)]
    mark: Annotated[str, Field(max_length=60)] | None = None


def the_watch(request: Request) -> MeterWatch:
    """The meter watch of the application that a request reached."""
    watch: MeterWatch = request.app.state.watch
    return watch


TheWatch = Annotated[MeterWatch, Depends(the_watch)]


@router.get("/meters")
def meters(watch: TheWatch) -> Json:
    """What is plugged in, which ways to instruments are closed here and why, and the meter that is being read."""
    return {**look_around(watch.instruments).as_dict(), "watch": watch.state().as_dict()}


@router.post("/meters/test")
def test(body: Tried, watch: TheWatch) -> Json:
    """Open an instrument, ask its name, take a few readings or one wave, let go."""
    if body.what == "scope":
        return try_scope(watch.instruments, body.address, body.channel, body.baud).as_dict()
    return try_meter(watch.instruments, body.address, body.wires, body.baud).as_dict()


@router.post("/meters/watch")
def start(body: Address, watch: TheWatch) -> Json:
    """Read this meter from now on: one settled reading per touch."""
    return watch.start(body.address, body.wires, body.baud).as_dict()


@router.delete("/meters/watch")
def stop(watch: TheWatch) -> Json:
    """Let go of the meter."""
    return watch.stop().as_dict()


@router.post("/meters/now")
def now(watch: TheWatch) -> Json:
    """Take what the meter shows at this moment as a touch; overload is "open"."""
    made = watch.take_now()
    return {"touch": made.id, "words": made.words}


@router.get("/meters/events")
async def events(request: Request, watch: TheWatch) -> StreamingResponse:
    """Live: a ``meter`` event with the watch's state whenever it changed."""
    desk: Desk = request.app.state.desk
    return StreamingResponse(meter_events(desk, watch), media_type="text/event-stream")


async def meter_events(desk: Desk, watch: MeterWatch) -> AsyncIterator[str]:
    """The watch's state now and after every change, until the listener or the server goes."""

    last: str | None = None
    quiet_s = 0.0
    yield "retry: 1500\n\n"
    while not desk.closing.is_set():
        text = json.dumps(watch.state().as_dict(), ensure_ascii=False)
        if text != last:
            last, quiet_s = text, 0.0
            yield event("meter", text)
        elif quiet_s >= KEEP_ALIVE_S:
            quiet_s = 0.0
            yield ": still here\n\n"
        await anyio.sleep(LOOK_EVERY_S)
        quiet_s += LOOK_EVERY_S


@router.post("/cases/{case}/meter/zero", status_code=201)
def zero(case: str, desk: TheDesk, watch: TheWatch) -> Json:
    """Take the zero of the leads (tips on each other) and keep it in the case: it is taken off two-wire readings of this meter from now on."""
    found = watch.zero()
    name = watch.state().name
    on_case(desk, case, lambda w, c: keep_zero(w, c, name, found))
    return {"zero_ohm": found.ohm, "words": f"Leads: {found.ohm:.3g} ohm, taken off from now on."}


@router.post("/cases/{case}/meter/readings", status_code=201)
def reading(case: str, body: MeterTouch, desk: TheDesk, watch: TheWatch) -> Json:
    """Note a touch between two points. The same touch sent again, by this page or another, is written once. The answer holds the new bench view."""

    def use_case(w: Workshop, c: str) -> Json:
        done = note_touch(w, c, body.points, watch.touch(body.touch), body.mark)
        return {**done.as_dict(), "careful": [], "bench": views.bench_view(w, c)}

    answer: Json = on_case(desk, case, use_case)
    return answer
