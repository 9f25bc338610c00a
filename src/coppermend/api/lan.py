"""The bench on the local network: the door that lets paired devices in and nobody else, and the routes that pair, list and revoke them."""

from __future__ import annotations

import re
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import APIRouter, Request, Response
from pydantic import Field

from coppermend.api.guard import App, Message, Receive, Scope, Send, answer_finding, refusal_of, with_headers
from coppermend.api.schemas import Body
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.services.lan import DEVICE_LIFE_DAYS, Device, LanBook, device_of, listed, new_code, no_lan, pair, revoke

router = APIRouter(prefix="/api", tags=["second screens"])

COOKIE = "__Host-coppermend"
"""Bound by its prefix to this host, https and the path / (RFC 6265bis, 4.1.3; from memory)."""
PAIR_PAGE = "/page/pair.html"
AUTHORITY = "/lan/authority.crt"
OPEN = re.compile(
    r"/page/pair\.html|/page/pair/[\w.-]+|/page/style/[\w.-]+\.css|/page/shared/[\w.-]+\.js|/page/mark\.svg|/lan/authority\.crt"
)
"""What a device may read before it is paired: the pairing page and what it is made of, and the authority's certificate."""
BENCH_ONLY = (
    ("POST", re.compile(r"/api/cases/?")),  # names folders of the bench computer
    ("POST", re.compile(r"/api/meters/(test|watch)/?")),  # names addresses that the bench computer then connects to
    ("DELETE", re.compile(r"/api/meters/watch/?")),
    ("*", re.compile(r"/api/lan(/.*)?")),
)
"""What is done at the bench computer only, paired or not."""
TRIES, TRIES_EACH, PER_S = 30, 10, 60.0
"""At most so many tries to pair a minute, of all and of one address."""


@dataclass(slots=True)
class Pace:
    """Counts tries in a sliding window."""

    now_s: Callable[[], float] = time.monotonic
    tries: deque[tuple[float, str]] = field(default_factory=deque)
    door: threading.Lock = field(default_factory=threading.Lock)

    def allow(self, who: str) -> bool:
        """One more try by ``who``: may it be made?"""
        with self.door:
            now = self.now_s()
            while self.tries and self.tries[0][0] <= now - PER_S:
                self.tries.popleft()
            if len(self.tries) >= TRIES or sum(one == who for _, one in self.tries) >= TRIES_EACH:
                return False
            self.tries.append((now, who))
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
    pairing: threading.Lock = field(default_factory=threading.Lock)


# ---- the door ----
class LanDoor:
    """ASGI application for the network's listener: marks each request with its device and hands it to the bench's application, or answers it.

    Nothing that a request says about itself is believed but its token: that it came by the network is known by this door alone.
    """

    def __init__(self, app: App, lan: Lan) -> None:
        self.app, self.lan = app, lan

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request of a paired device through, a pairing, or nothing."""
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
            await answer_finding(with_headers(send, path), 503, err.finding)
            return
        scope["coppermend.lan"] = True
        scope["coppermend.device"] = device.name if device else ""
        refused = self._refused(scope["method"], path, device)
        if refused is not None:
            if path == "/" and scope["method"] == "GET":
                await _to_pairing(with_headers(send, path))
            else:
                await answer_finding(with_headers(send, path), 401 if device is None else 403, refused)
            return
        await self.app(scope, receive, send if device is None else self._while_let_in(send, token))

    def _refused(self, method: str, path: str, device: Device | None) -> Finding | None:
        if (method in ("GET", "HEAD") and OPEN.fullmatch(path)) or (method == "POST" and path == "/api/pair"):
            return None
        if device is None:
            return _no(
                "LAN-009",
                "This device is not paired with the bench.",
                f"Open {PAIR_PAGE} and type the code that the bench computer shows.",
            )
        if any(way in ("*", method) and where.fullmatch(path) for way, where in BENCH_ONLY):
            return _no("LAN-010", "That is done at the bench computer only.", "Do it there; this screen follows.")
        return None

    def _while_let_in(self, send: Send, token: str) -> Send:
        """Nothing more goes out once the device is revoked, not even to a live update under way: the answer is ended there."""
        over = False

        def let_in() -> bool:
            try:
                return device_of(self.lan.book, self.lan.now(), token) is not None
            except Refusal:
                return False

        async def write(message: Message) -> None:
            nonlocal over
            if over:
                return
            if message["type"] == "http.response.body" and message.get("more_body") and not let_in():
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
    """Whether the bench is open to the network, where, under which certificate, and which devices are let in. At the bench computer only."""
    lan: Lan | None = request.app.state.lan
    if lan is None:
        return {"open": False, "address": "", "fingerprint": "", "devices": []}
    return {
        "open": True,
        "address": lan.address,
        "fingerprint": lan.fingerprint,
        "devices": listed(lan.book, lan.now()),
    }


@router.post("/lan/code", status_code=201)
def fresh_code(request: Request) -> dict[str, Any]:
    """A fresh pairing code, valid for five minutes and once, and its picture (rows of 1 and 0): the address with the code after the #."""
    lan = _lan(request)
    code = new_code(lan.book, lan.now())
    return {"code": code, "qr": list(lan.qr(pairing_address(lan.address, code)))}


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
