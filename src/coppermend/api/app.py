"""The application: guard, errors, routes, and the page as it lies in the package."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from fastapi import FastAPI, Request, Response
from starlette.middleware.gzip import GZipMiddleware

from coppermend import __version__
from coppermend.api import (
    arrival,
    bringup,
    builds,
    everything,
    heat,
    learning,
    look,
    meters,
    ohmwork,
    powered,
    practice,
    rework,
    routes,
    schematic,
    solder,
    speech,
    starts,
    thumbnails,
    waiting,
    waves,
)
from coppermend.api import lan as network
from coppermend.api.desk import Desk
from coppermend.api.errors import put_errors
from coppermend.api.guard import Guard
from coppermend.api.pagefiles import PageFiles
from coppermend.bootstrap import instruments as bench_instruments
from coppermend.bootstrap import server_voice
from coppermend.services.learning import LearnedBook, MemoryLearned
from coppermend.services.meter_watch import MeterWatch
from coppermend.services.ports import Instruments
from coppermend.services.speech import Voice
from coppermend.services.thumbnails import MemoryThumbs, Thumbs
from coppermend.services.workshop import Workshop


def page_folder() -> Path:
    """Where the page's own files are."""
    return Path(str(resources.files("coppermend") / "page"))


def create_app(
    workshop: Workshop,
    voice: Voice | None = None,
    instruments: Instruments | None = None,
    lan: network.Lan | None = None,
    learned: LearnedBook | None = None,
    thumbs: Thumbs | None = None,
) -> FastAPI:
    """The bench server over a workshop. Serves the page at ``/``, the API under ``/api``, its description at ``/openapi.json``.

    ``lan`` where it is open to the network, too; that listener is served through ``LanDoor``. ``learned``: the book of what past cases taught; None: one
    that ends with the program.
    """
    app = FastAPI(
        title="Coppermend", version=__version__, docs_url=None, redoc_url=None, summary="The bench's use cases as JSON."
    )
    app.state.desk = Desk(workshop)
    app.state.voice = voice or server_voice()
    app.state.watch = MeterWatch(instruments or bench_instruments(), lambda: workshop.ids.new())
    app.state.lan = lan
    app.state.learned = learned or MemoryLearned()
    app.state.thumbs = thumbs or MemoryThumbs()
    put_errors(app)
    app.include_router(routes.router)
    app.include_router(everything.router)
    app.include_router(practice.router)
    app.include_router(builds.router)
    app.include_router(speech.router)
    app.include_router(meters.router)
    app.include_router(network.router)
    app.add_api_route(network.AUTHORITY, network.authority, include_in_schema=False)
    app.include_router(ohmwork.router)
    app.include_router(powered.router)
    app.include_router(waves.router)
    app.include_router(heat.router)
    app.include_router(look.router)
    app.include_router(schematic.router)
    app.include_router(bringup.router)
    app.include_router(starts.router)
    app.include_router(rework.router)
    app.include_router(solder.router)
    app.include_router(arrival.router)
    app.include_router(learning.router)
    app.include_router(waiting.router)
    app.include_router(thumbnails.router)
    page = PageFiles(page_folder())

    @app.get("/", include_in_schema=False)
    async def index(request: Request) -> Response:
        return page.answer("index.html", request)

    @app.api_route("/page/{name:path}", methods=["GET", "HEAD"], include_in_schema=False)
    async def page_file(name: str, request: Request) -> Response:
        return page.answer(name, request)

    app.add_middleware(GZipMiddleware, minimum_size=2000, compresslevel=4)
    app.add_middleware(Guard)
    return app
