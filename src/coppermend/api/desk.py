"""What every route works with: the workshop, one door into it, and what ends with the server."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TypeVar

from fastapi import Request

from coppermend.core.findings import Refusal
from coppermend.services.bind import Binding, board_first
from coppermend.services.workshop import Workshop

T = TypeVar("T")

BESIDE = frozenset(
    """\
GET /api/cases/{case}/export
GET /api/cases/{case}/first
GET /api/cases/{case}/heat/{entry}
GET /api/cases/{case}/heat/{entry}/picture
GET /api/cases/{case}/label.pdf
GET /api/cases/{case}/record.html
GET /api/cases/{case}/record.pdf
GET /api/cases/{case}/removal/{part}
GET /api/cases/{case}/schematics
GET /api/cases/{case}/schematics/find
GET /api/cases/{case}/schematics/{entry}/pages/{number}
GET /api/cases/{case}/suspects
GET /api/cases/{case}/suspects/map
GET /api/cases/{case}/waves/{entry}
POST /api/cases/{case}/heat
POST /api/cases/{case}/heat/preview
POST /api/cases/{case}/memory
POST /api/cases/{case}/photos
POST /api/cases/{case}/preheat
POST /api/cases/{case}/removal/{part}
POST /api/cases/{case}/roms
POST /api/cases/{case}/schematics
POST /api/cases/{case}/waves
POST /api/cases/{case}/waves/gate
POST /api/cases/{case}/waves/starts
POST /api/import
POST /api/learning/gather""".splitlines()
)
"""What may take seconds: files that are read, sheets and pictures that are drawn, what is weighed under power. Nobody at the bench waits for it."""


@dataclass(frozen=True, slots=True)
class Desk:
    """The workshop behind one door: use cases run one at a time, because what is computed from a log is kept between calls.

    What takes long (``BESIDE``) goes through a door of its own, ``slow``, in a workshop that keeps what it computes apart (``apart``): to the rest of the bench
    it is as another process on the same store would be, and readings are taken meanwhile.

    ``closing`` is set when the server ends, so that live updates let go of their connections. ``writes_to`` the case that a request writes to, "" none:
    while its board is still being built the use case does not begin, so that a request that is refused for that wrote nothing.
    """

    workshop: Workshop
    door: threading.Lock = field(default_factory=threading.Lock)
    closing: threading.Event = field(default_factory=threading.Event)
    beside: threading.Lock = field(default_factory=threading.Lock)
    slow: threading.Lock = field(default_factory=threading.Lock)
    apart: dict[str, Binding] = field(default_factory=dict)
    writes_to: str = ""

    def do(self, use_case: Callable[[Workshop], T]) -> T:
        """Run a use case, alone."""
        with self.door:
            if self.writes_to:
                board_first(self.workshop, self.writes_to)
            return use_case(self.workshop)

    def board_beside(self, binding: Binding) -> None:
        """Make the board under power of a case ready outside the door: the first time it takes seconds, and no answer at the bench waits for it. What it is made
        of stays as it is and shares nothing with what the door keeps between calls. A board that cannot be judged is left to who asks for it."""
        from coppermend.bootstrap import device_book, machine_model
        from coppermend.services.suspects import board_of_case

        with self.beside, contextlib.suppress(Refusal):
            bare = replace(binding, graph=binding.base)
            board_of_case(bare, device_book(), machine_model(binding.state.package), self.workshop.fields)


def the_desk(request: Request) -> Desk:
    """The desk of the application that a request reached; for a paired device with its name as the author of what it writes."""
    desk: Desk = request.app.state.desk
    if request.method not in ("GET", "HEAD") and "case" in request.path_params:
        desk = replace(desk, writes_to=str(request.path_params["case"]))
    if f"{request.method} {getattr(request.scope.get('route'), 'path', '')}" in BESIDE:
        desk = replace(desk, door=desk.slow, workshop=replace(desk.workshop, bindings=desk.apart))
    device = request.scope.get("coppermend.device")
    if not device:
        return desk
    author = f"{desk.workshop.author} ({device})".strip()
    return replace(desk, workshop=replace(desk.workshop, author=author))
