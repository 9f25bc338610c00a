"""The bench on the local network: the door that lets paired devices in and nobody else, and the routes that pair, list and revoke them."""

from __future__ import annotations

import re
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal

import anyio
from fastapi import APIRouter, Request, Response
from pydantic import Field

from coppermend.api.desk import the_desk
from coppermend.api.guard import (
    WINDOW_S,
    App,
    Message,
    Receive,
    Scope,
    Send,
    answer_finding,
    refusal_of,
    with_headers,
    without_path,
)
from coppermend.api.roles import BENCH, needed
from coppermend.api.roles import OPEN as FREELY
from coppermend.api.schemas import Body
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.services.lan import (
    DEVICE_LIFE_DAYS,
    Device,
    LanBook,
    device_of,
    listed,
    may,
    new_code,
    no_lan,
    pair,
    revoke,
    set_role,
)

router = APIRouter(prefix="/api", tags=["second screens"])

COOKIE = "__Host-coppermend"
"""Bound by its prefix to this host, https and the path / (RFC 6265bis, 4.1.3; from memory)."""
PAIR_PAGE = "/page/pair.html"
AUTHORITY = "/lan/authority.crt"
OPEN = re.compile(
    r"/page/pair\.html|/page/pair/[\w.-]+|/page/style/[\w.-]+\.css|/page/shared/[\w.-]+\.js|/page/mark\.svg|/lan/authority\.crt"
)
"""What a device may read before it is paired: the pairing page and what it is made of, and the authority's certificate."""
TRIES, TRIES_EACH = 30, 10
"""At most so many tries to pair a minute, of all and of one address."""
WRITES, WRITES_EACH = 600, 240
"""At most so many requests that write a minute, of all and of one device: four a second, more than two hands and a pedal make."""
ASKS, ASKS_EACH = 9000, 3000
"""At most so many requests of any kind a minute, of all and of one paired device (a page that opens asks some 150 times)."""
STRANGE, STRANGE_EACH = 1500, 300
"""The same of devices that are not paired, of all and of one address: counted apart, so that a stranger uses up nobody's share."""
LOOK_AT_BOOK_S = 0.5
"""How often it is looked whether a device with a live update under way is still let in."""
PAUSE_S, WHOLE_S = 20.0, 300.0
"""A body may pause so long between two pieces, and take so long altogether; then the request is ended."""


@dataclass(slots=True)
class Pace:
    """Counts tries in a sliding window of a minute: ``most`` of all, ``each`` of one."""

    now_s: Callable[[], float] = time.monotonic
    most: int = TRIES
    each: int = TRIES_EACH
    tries: deque[tuple[float, str]] = field(default_factory=deque)
    count: Counter[str] = field(default_factory=Counter)
    door: threading.Lock = field(default_factory=threading.Lock)

    def allow(self, who: str) -> bool:
        """One more try by ``who``: may it be made?"""
        with self.door:
            now = self.now_s()
            while self.tries and self.tries[0][0] <= now - WINDOW_S:
                gone = self.tries.popleft()[1]
                self.count[gone] -= 1
                if not self.count[gone]:
                    del self.count[gone]
            if len(self.tries) >= self.most or self.count[who] >= self.each:
                return False
            self.tries.append((now, who))
            self.count[who] += 1
            return True


@dataclass(frozen=True, slots=True)
class Lan:
    """What the door stands on. ``names`` under which the bench may be reached there (no port), ``address`` where the page is, ``qr`` makes a picture of a text."""

    book: LanBook
    now: Callable[[], str]
    names: tuple[str, ...]
    address: str
    fingerprint: str
    authority_pem: bytes
    qr: Callable[[str], Sequence[str]]
    pace: Pace = field(default_factory=Pace)
    writes: Pace = field(default_factory=lambda: Pace(most=WRITES, each=WRITES_EACH))
    asks: Pace = field(default_factory=lambda: Pace(most=ASKS, each=ASKS_EACH))
    strangers: Pace = field(default_factory=lambda: Pace(most=STRANGE, each=STRANGE_EACH))
    pairing: threading.Lock = field(default_factory=threading.Lock)


# ---- the door ----
class LanDoor:
    """ASGI application for the network's listener: marks each request with its device and hands it to the bench's application, or answers it.

    Nothing that a request says about itself is believed but its token: that it came by the network is known by this door alone.
    """

    def __init__(self, app: App, lan: Lan) -> None:
        self.app, self.lan = app, lan

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request of a paired device through as far as its role goes, a pairing, or nothing."""
        if scope["type"] != "http":
            return  # no WebSocket is served; lifespan belongs to the other listener
        path = scope["path"]
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        finding = refusal_of(path, headers, self.lan.names, "https")
        if finding is not None:
            await answer_finding(with_headers(send, path), 413 if finding.code == "API-003" else 403, finding)
            return
        token = token_in(headers.get("cookie", ""))
        try:
            device = device_of(self.lan.book, self.lan.now(), token) if token else None
        except Refusal as err:
            await answer_finding(with_headers(send, path), 503, without_path(err.finding))
            return
        scope["coppermend.lan"] = True
        scope["coppermend.device"] = device.name if device else ""
        scope["coppermend.role"] = device.role if device else ""
        refused = self._refused(scope, device)
        if refused is None:
            await self._served(scope, unhurried(receive), send, token if device else "")
        elif device is None and path == "/" and scope["method"] == "GET" and refused.code == "LAN-009":
            await _to_pairing(with_headers(send, path))
        else:
            status = 429 if refused.code == "LAN-014" else 401 if device is None else 403
            await answer_finding(with_headers(send, path), status, refused)

    def _refused(self, scope: Scope, device: Device | None) -> Finding | None:
        """Why a request is not served: too many of them, not paired, or beyond the device's role. The cheapest question first."""
        method, path = scope["method"], scope["path"]
        who = device.id if device else str((scope.get("client") or ("",))[0])
        if not (self.lan.asks if device else self.lan.strangers).allow(who):
            return _too_many()
        needs = needed(method, path)
        if needs == FREELY or (method in ("GET", "HEAD") and OPEN.fullmatch(path)):
            return None
        if device is None:
            return _no(
                "LAN-009",
                "This device is not paired with the bench.",
                f"Open {PAIR_PAGE} and type the code that the bench computer shows.",
            )
        if needs == BENCH:
            return _no("LAN-010", "That is done at the bench computer only.", "Do it there; this screen follows.")
        if not may(device.role, needs):
            words = f"This device may {device.role}; that needs a device that may {needs}."
            return _no("LAN-013", words, f"At the bench computer: coppermend lan role {device.id} {needs}.")
        if method not in ("GET", "HEAD") and not self.lan.writes.allow(who):
            return _too_many()
        return None

    async def _served(self, scope: Scope, receive: Receive, send: Send, token: str) -> None:
        if not token:
            await self.app(scope, receive, send)
        elif scope["path"].endswith("/events"):
            await self._followed(scope, receive, send, token)
        else:
            await self.app(scope, receive, self._while_let_in(send, token))

    async def _followed(self, scope: Scope, receive: Receive, send: Send, token: str) -> None:
        """A live update: ended as soon as the device is shut out, also while nothing happens."""
        started = over = False

        async def write(message: Message) -> None:
            nonlocal started, over
            started = True
            over = over or (message["type"] == "http.response.body" and not message.get("more_body"))
            await send(message)

        async with anyio.create_task_group() as group:

            async def watch() -> None:
                while self._let_in(token):
                    await anyio.sleep(LOOK_AT_BOOK_S)
                group.cancel_scope.cancel()

            group.start_soon(watch)
            await self.app(scope, receive, self._while_let_in(write, token))
            group.cancel_scope.cancel()
        if started and not over:
            await send({"type": "http.response.body", "body": b"", "more_body": False})

    def _let_in(self, token: str) -> bool:
        try:
            return device_of(self.lan.book, self.lan.now(), token) is not None
        except Refusal:
            return False

    def _while_let_in(self, send: Send, token: str) -> Send:
        """Nothing more goes out once the device is revoked, not even to a live update under way: the answer is ended there."""
        over = False

        async def write(message: Message) -> None:
            nonlocal over
            if over:
                return
            if message["type"] == "http.response.body" and message.get("more_body") and not self._let_in(token):
                over, message = True, {"type": "http.response.body", "body": b"", "more_body": False}
            await send(message)

        return write


def token_in(cookie: str) -> str:
    """The token in a Cookie header, "" when there is none.

    >>> token_in("a=1; __Host-coppermend=t0k_en-1; b=2"), token_in("x__Host-coppermend=1")
    ('t0k_en-1', '')
    """
    for one in cookie.split(";"):
        name, _, value = one.strip().partition("=")
        if name == COOKIE and re.fullmatch(r"[\w-]{1,100}", value, re.ASCII):
            return value
    return ""


def unhurried(receive: Receive, pause_s: float = PAUSE_S, whole_s: float = WHOLE_S) -> Receive:
    """Receives a body that may pause ``pause_s`` seconds between two pieces and take ``whole_s`` altogether; then the client counts as gone."""
    ends: float | None = None
    whole = False

    async def read() -> Message:
        nonlocal ends, whole
        if whole:
            return await receive()
        ends = time.monotonic() + whole_s if ends is None else ends
        with anyio.move_on_after(max(0.0, min(pause_s, ends - time.monotonic()))):
            message = await receive()
            whole = message["type"] != "http.request" or not message.get("more_body")
            return message
        whole = True
        return {"type": "http.disconnect"}

    return read


def _too_many() -> Finding:
    return _no(
        "LAN-014",
        "Too many requests from this device within a minute.",
        "Wait a minute, then go on; nothing that was acknowledged is lost.",
    )


async def _to_pairing(send: Send) -> None:
    await send(
        {
            "type": "http.response.start",
            "status": 303,
            "headers": [(b"location", PAIR_PAGE.encode()), (b"content-length", b"0")],
        }
    )
    await send({"type": "http.response.body", "body": b""})


def _no(code: str, words: str, remedy: str) -> Finding:
    return Finding(code, Severity.ERROR, Place(), words, remedy)


# ---- the routes ----
class Pairing(Body):
    """The code that the bench computer shows, and what the device is to be called."""

    code: Annotated[str, Field(min_length=1, max_length=40)]
    name: Annotated[str, Field(max_length=100)] = ""


def _lan(request: Request) -> Lan:
    found: Lan | None = request.app.state.lan
    if found is None:
        raise no_lan()
    return found


@router.post("/pair", status_code=201)
def pair_device(body: Pairing, request: Request, response: Response) -> dict[str, str]:
    """Let this device in by the code. Its token comes as a cookie that no script can read; it is not in any address."""
    lan = _lan(request)
    if not request.scope.get("coppermend.lan"):
        raise refuse(
            "LAN-011",
            "The bench computer itself needs no pairing.",
            "Open the page at the address that 'coppermend serve' printed.",
        )
    if not lan.pace.allow(request.client.host if request.client else ""):
        raise refuse("LAN-012", "Too many tries to pair.", "Wait a minute, then try again.")
    with lan.pairing:
        device, token = pair(lan.book, lan.now(), body.code, body.name)
    response.set_cookie(
        COOKIE, token, max_age=DEVICE_LIFE_DAYS * 86400, path="/", secure=True, httponly=True, samesite="strict"
    )
    return {"name": device.name}


@router.get("/lan")
def second_screens(request: Request) -> dict[str, Any]:
    """Whether the bench is open to the network, where, under which certificate, and which devices are let in, with their roles."""
    lan: Lan | None = request.app.state.lan
    if lan is None:
        return {"open": False, "address": "", "fingerprint": "", "devices": []}
    return {
        "open": True,
        "address": lan.address,
        "fingerprint": lan.fingerprint,
        "devices": listed(lan.book, lan.now()),
    }


Role = Literal["look", "work", "manage"]


class CodeAsked(Body):
    """What the device that is let in by the code may do."""

    role: Role = "work"


class RoleGiven(Body):
    """What a device may do from now on."""

    role: Role


@router.post("/lan/code", status_code=201)
def fresh_code(request: Request, body: CodeAsked | None = None) -> dict[str, Any]:
    """A fresh pairing code, valid for five minutes and once, and its picture (rows of 1 and 0): the address with the code after the #."""
    lan = _lan(request)
    role = body.role if body else "work"
    code = new_code(lan.book, lan.now(), role=role)
    return {"code": code, "role": role, "qr": list(lan.qr(pairing_address(lan.address, code)))}


@router.post("/lan/devices/{which}/role", status_code=201)
def give_role(which: str, body: RoleGiven, request: Request) -> dict[str, Any]:
    """Give a device, by its id or name, another role; it counts from its next request."""
    lan = _lan(request)
    set_role(lan.book, which, body.role)
    return {"devices": listed(lan.book, lan.now())}


@router.get("/me")
def who_am_i(request: Request) -> dict[str, Any]:
    """Who asks: the name under which this device writes, and what it may do; ``device`` empty at the bench computer, which may everything."""
    device = str(request.scope.get("coppermend.device") or "")
    role = str(request.scope.get("coppermend.role") or "") if request.scope.get("coppermend.lan") else "bench"
    return {"author": the_desk(request).workshop.author, "device": device, "role": role}


@router.delete("/lan/devices/{which}")
def shut_out(which: str, request: Request) -> dict[str, Any]:
    """Shut a device out, by its id or name; its live updates end, too."""
    lan = _lan(request)
    gone = revoke(lan.book, which)
    return {"gone": [one.name for one in gone], "devices": listed(lan.book, lan.now())}


def pairing_address(address: str, code: str) -> str:
    """The address in the QR picture. What stands after # is never sent to a server, and the page takes it out of the address at once."""
    return f"{address.rstrip('/')}{PAIR_PAGE}#{code}"


def authority(request: Request) -> Response:
    """The authority's certificate, for devices that are to trust the bench without a question."""
    return Response(_lan(request).authority_pem, media_type="application/x-x509-ca-cert")
