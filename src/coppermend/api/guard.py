"""The guard before every request: only this computer, only our own page, bounded bodies, strict headers."""

from __future__ import annotations

import json
import re
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from coppermend.core.findings import Finding, Place, Severity

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
WINDOW_S = 60
"""Requests are counted over so many seconds."""
LARGEST_JSON = 2 * 1024 * 1024
LARGEST_UPLOAD = 33 * 1024 * 1024
LARGEST_SCHEMATIC = 65 * 1024 * 1024
LARGEST_BUNDLE = 257 * 1024 * 1024
UPLOADS = MappingProxyType(
    {
        "/photos": LARGEST_UPLOAD,
        "/waves": LARGEST_UPLOAD,
        "/waves/gate": LARGEST_UPLOAD,
        "/waves/starts": LARGEST_SCHEMATIC,
        "/heat": LARGEST_UPLOAD,
        "/heat/preview": LARGEST_UPLOAD,
        "/memory": LARGEST_UPLOAD,
        "/roms": LARGEST_UPLOAD,
        "/schematics": LARGEST_SCHEMATIC,
        "/learning/import": LARGEST_SCHEMATIC,
        "/api/import": LARGEST_BUNDLE,
    }
)
"""The largest body by the end of a path that takes files: what its route keeps at most, and a mebibyte for what stands around it."""

PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; frame-src 'self'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
RECORD_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'; sandbox"
"""The record is a page of its own: no script at all, its pictures inside it."""

COMMON = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}


HOST = re.compile(r"(\[[^\]]*\]|[^:\[\]]*)(?::[0-9]{1,5})?")


def host_name(host: str) -> str:
    """The name in a Host header, without its port; "" where the header is not a name and a port (RFC 9110, 7.2).

    >>> host_name("127.0.0.1:8137"), host_name("[::1]:80"), host_name("localhost"), host_name("localhost:80.example")
    ('127.0.0.1', '[::1]', 'localhost', '')
    """
    found = HOST.fullmatch(host)
    return found[1].lower() if found else ""


def refusal_of(
    path: str, headers: dict[str, str], names: tuple[str, ...] = LOOPBACK, scheme: str = "http"
) -> Finding | None:
    """Why a request is turned away before any route sees it; None when it may pass. ``names`` and ``scheme`` under which this listener is reached.

    The Host must be a name of this computer (against DNS rebinding), an Origin must be that host (against other sites), and a browser's own
    word for "from another site" (Sec-Fetch-Site) is believed.
    """
    host = headers.get("host", "")
    if host_name(host) not in names:
        return _no(
            "API-001",
            f"The request names the host {host!r}.",
            "Open the page by the address that 'coppermend serve' printed.",
        )
    origin = headers.get("origin")
    if origin is not None and origin != f"{scheme}://{host}":
        return _no(
            "API-002",
            f"The request comes from {origin!r}, not from this page.",
            "Open the page by the address that 'coppermend serve' printed.",
        )
    if path.startswith("/api/") and headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return _no(
            "API-002",
            "The request comes from another site.",
            "Open the page by the address that 'coppermend serve' printed.",
        )
    length, limit = headers.get("content-length", "0"), limit_of(path)
    return None if length.isdecimal() and int(length) <= limit else _too_large(length, limit)


def limit_of(path: str) -> int:
    """The largest body that a path takes, in bytes."""
    return next((most for end, most in UPLOADS.items() if path.endswith(end)), LARGEST_JSON)


def _too_large(length: str, limit: int) -> Finding:
    return _no(
        "API-003",
        f"The request's body has {length} bytes, at most {limit} are taken.",
        "Send less at once; a bundle of any size: coppermend bundle import, at the bench computer.",
    )


def _no(code: str, words: str, remedy: str) -> Finding:
    return Finding(code, Severity.ERROR, Place(), words, remedy)


class Guard:
    """ASGI middleware round the whole application."""

    def __init__(self, app: App) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through with bounded body and strict headers, or answer it with a finding."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        # the network's door (api/lan.py) has looked already, with its own names
        finding = None if scope.get("coppermend.lan") else refusal_of(scope["path"], headers)
        if finding is not None:
            status = 413 if finding.code == "API-003" else 403
            await answer_finding(with_headers(send, scope["path"]), status, finding)
            return
        sends = with_headers(send, scope["path"], kept=not scope.get("coppermend.lan"))
        await _bounded(self.app, scope, receive, sends, limit_of(scope["path"]))


def without_path(finding: Finding, where: str = "") -> Finding:
    """The finding as a device of the network is told it: in which folders the bench computer keeps its store (``where``) and files is for that computer alone.

    >>> away = without_path(Finding("CAS-001", Severity.ERROR, Place(thing="store /srv/cases", file="/srv/a.json"), "None."), "/srv/cases")
    >>> away.place.thing, away.place.file
    ('the store', 'a.json')
    """
    place = finding.place
    file = place.file and re.split(r"[/\\]", place.file)[-1]
    if not where:
        return replace(finding, place=replace(place, file=file))
    thing = place.thing and place.thing.replace(f"store {where}", "the store").replace(where, "the store")
    words, remedy = (one.replace(where, "the store") for one in (finding.words, finding.remedy))
    return replace(finding, place=replace(place, thing=thing, file=file), words=words, remedy=remedy)


def waiting(status: int) -> dict[str, str]:
    """What tells a client that was too quick (429) when to come again: the seconds of the whole window (RFC 6585, 4; RFC 9110, 10.2.3)."""
    return {"retry-after": str(WINDOW_S)} if status == 429 else {}


async def answer_finding(send: Send, status: int, finding: Finding) -> None:
    """Answer a request with a finding as JSON."""
    body = json.dumps(finding.as_dict()).encode()
    head = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    head += [(name.encode(), value.encode()) for name, value in waiting(status).items()]
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": body})


async def _bounded(app: App, scope: Scope, receive: Receive, send: Send, limit: int) -> None:
    """Serve a request whose body ends at ``limit`` bytes: a body sent in pieces without a length is cut off there, and answered so."""
    seen = 0
    refused = False

    async def read() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        return {"type": "http.disconnect"} if seen > limit else message

    async def write(message: Message) -> None:
        nonlocal refused
        if not refused and seen > limit and message["type"] == "http.response.start":
            refused = True
            await answer_finding(send, 413, _too_large(f"more than {limit}", limit))
        elif not refused:
            await send(message)

    await app(scope, read, write)


def with_headers(send: Send, path: str, kept: bool = True) -> Send:
    """Sends on with the strict headers of every answer. ``kept``: whether a picture may stay in the browser's cache when its route says so; on a
    device of the network nothing of a case does, for the device can be shut out."""
    policy = RECORD_POLICY if path.endswith("/record.html") else PAGE_POLICY
    extra = {**COMMON, "content-security-policy": policy}
    if path.startswith("/api/"):
        extra["cache-control"] = "no-store"
    elif path.startswith("/page/") or path == "/":
        extra["cache-control"] = "no-cache"

    async def write(message: Message) -> None:
        if message["type"] == "http.response.start":
            if not kept and path.startswith("/api/"):
                message = {
                    **message,
                    "headers": [(k, v) for k, v in message["headers"] if k.lower() != b"cache-control"],
                }
            names = {k.lower() for k, _ in message["headers"]}
            more = [(k.encode(), v.encode()) for k, v in extra.items() if k.encode() not in names]
            message = {**message, "headers": [*message["headers"], *more]}
        await send(message)

    return write
