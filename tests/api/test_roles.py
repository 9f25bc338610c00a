"""Who on the network may ask for what: every route has a role, ``look`` writes nothing, too many requests and slow clients are turned away.

What is defended against: OWASP ASVS 4.0 (V4.1 deny by default, enforced at a trusted place; V11.1.4 limits; V13.2.1), from memory. HTTP 429: RFC 6585, 4.
"""

from __future__ import annotations

import socket
import ssl
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import anyio
import pytest
import uvicorn
from click.testing import CliRunner
from tests.api.conftest import Client
from tests.api.test_lan import HOME, NAMES, Clock, code_of, let_in

from coppermend.adapters.lan import addresses, qr
from coppermend.adapters.lan.book import FolderBook
from coppermend.adapters.lan.certificates import papers
from coppermend.adapters.storage.sqlite import SqliteStore
from coppermend.api.app import create_app
from coppermend.api.lan import WRITES_EACH, Lan, LanDoor, Pace, unhurried
from coppermend.api.roles import AT_THE_BENCH, BENCH, FREE, LOOK, MANAGE, OPEN, ROUTES, WORK, needed
from coppermend.api.slow import BriskProtocol
from coppermend.bootstrap import who
from coppermend.cli import cli
from coppermend.core.findings import Refusal
from coppermend.services.areas import add_area
from coppermend.services.lan import ROLES, device_of, may, new_code, pair, revoke, set_role
from coppermend.services.notes import note
from coppermend.services.requests import Request as Note
from coppermend.services.workshop import Workshop


@pytest.fixture
def lan(tmp_path: Path) -> Lan:
    return Lan(FolderBook(tmp_path / "lan"), Clock().now, NAMES, HOME + "/", "AA:BB", b"authority", qr.rows)


@pytest.fixture
def door(shop: Workshop, lan: Lan) -> Client:
    return Client(LanDoor(create_app(shop, lan=lan), lan), HOME)


def device(door: Client, lan: Lan, role: str) -> dict[str, str]:
    """Let a device in that has this role; the headers that it sends."""
    cookie = let_in(door, lan, role)
    set_role(lan.book, role, role)
    return cookie


def declared(shop: Workshop) -> set[str]:
    """Every route of the application but the folder of the page's own files."""
    app = create_app(shop)
    found = {f"{way.upper()} {path}" for path, ways in app.openapi()["paths"].items() for way in ways}
    return found | {"GET /", "GET /openapi.json", "GET /lan/authority.crt"}


def concrete(route: str, case: str) -> tuple[str, str]:
    """A request that means this route."""
    method, _, path = route.partition(" ")
    for name, value in (
        ("case", case),
        ("net", "1"),
        ("side", "c"),
        ("number", "1"),
        ("part", "U1"),
        ("sha256", "0" * 64),
    ):
        path = path.replace("{" + name + "}", value)
    for name in ("build", "entry", "name", "which"):
        path = path.replace("{" + name + "}", "nothing")
    return method, path


def test_every_route_has_its_role_and_no_role_is_for_nothing(shop: Workshop) -> None:
    assert declared(shop) == set(ROUTES)
    rows = [line for text in (LOOK, WORK, MANAGE, AT_THE_BENCH, FREE) for line in text.split("\n") if line]
    assert len(rows) == len(set(rows)) == len(ROUTES), "no route has two roles"
    for route, role in ROUTES.items():
        assert needed(*concrete(route, "7")) == role, route


@pytest.mark.parametrize(
    "asked",
    [
        ("PUT", "/api/cases/1"),
        ("POST", "/"),
        ("GET", "/api/other"),
        ("POST", "/api/cases/"),
        ("GET", "/docs"),
        ("POST", "/page/main.js"),
    ],
)
def test_what_the_table_does_not_name_is_done_at_the_bench_only(door: Client, lan: Lan, asked: tuple[str, str]) -> None:
    assert needed(*asked) == BENCH
    answer = door.request(*asked, headers=device(door, lan, "manage"))
    assert answer.status_code == 403 and answer.json()["code"] == "LAN-010"


@pytest.mark.parametrize("role", ["", *ROLES])
def test_the_door_lets_each_role_through_to_its_routes_only(lan: Lan, role: str) -> None:
    """Every route by every role; behind the door stands an application that answers everything."""
    came: list[str] = []

    async def everything(scope: Any, receive: Any, send: Any) -> None:
        came.append(f"{scope['method']} {scope['path']}")
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body", "body": b"", "more_body": False})

    door = Client(LanDoor(everything, lan), HOME)
    cookie = {}
    if role:
        _, token = pair(lan.book, lan.now(), new_code(lan.book, lan.now(), role=role), "x")
        cookie = {"cookie": f"__Host-coppermend={token}"}
    let = set()
    for route, needs in ROUTES.items():
        method, path = concrete(route, "7")
        answer = door.request(method, path, json={}, headers=cookie)
        if answer.status_code == 204:
            let.add(needs)
            assert came[-1] == f"{method} {path}"
        elif route != "GET /" or role:
            assert answer.json()["code"] == ("LAN-009" if not role else "LAN-010" if needs == BENCH else "LAN-013"), (
                route
            )
    assert let == {OPEN, *(ROLES[: ROLES.index(role) + 1] if role else ())}


RECKONING: dict[str, Any] = {
    "POST /api/alloys/mix": {"parts": [{"alloy": "Sn63Pb37", "mass_mg": 10}]},
    "POST /api/cases/{case}/wires/plan": {"a": "U1.6", "b": "U4.7"},
    "POST /api/speech": {"text": "", "voice": 7},
}
"""Bodies for the routes that reckon without writing; the others get an empty one."""
LIGHT = ("/log", "/numbers", "/me", "/cases", "/alloys", "/speech", "/cases/{case}")


def asked_by_one_who_looks(client: Client, shop: Workshop, case: str, routes: Sequence[str]) -> None:
    """Ask these routes of ``look``; the log stays as it was."""
    add_area(shop, case, part="U1")
    note(shop, case, Note("closed", points=("U1.6", "U4.7")))
    before = shop.store.entries(case), shop.store.numbers()
    for route in routes:
        method, path = concrete(route, case)
        if not path.endswith("/events"):
            answer = client.request(method, path, json=RECKONING.get(route, {}) if method == "POST" else None)
            assert answer.status_code < 500 or answer.status_code == 503, route
    assert before == (shop.store.entries(case), shop.store.numbers())


def test_what_look_may_ask_writes_nothing(client: Client, shop: Workshop, case: str) -> None:
    """The quick ones; all of them in the soak."""
    routes = [one for one, role in ROUTES.items() if role == "look" and one.endswith(LIGHT)]
    assert len([one for one in routes if one.startswith("POST")]) >= 1
    asked_by_one_who_looks(client, shop, case, routes)


@pytest.mark.soak
def test_nothing_that_look_may_ask_writes(client: Client, shop: Workshop, case: str) -> None:
    asked_by_one_who_looks(client, shop, case, [one for one, role in ROUTES.items() if role == "look"])


def test_each_role_holds_the_one_before_it(door: Client, lan: Lan, case: str) -> None:
    asked = {
        "look": ("GET", "/api/cases", None),
        "work": ("POST", f"/api/cases/{case}/entries", {"kind": "remark", "words": "x"}),
        "manage": ("POST", "/api/lan/code", {"role": "look"}),
    }
    for role in ROLES:
        cookie = device(door, lan, role)
        assert door.get("/api/me", headers=cookie).json() == {
            "author": f"tester ({role})",
            "device": role,
            "role": role,
        }
        for wanted, (method, path, body) in asked.items():
            answer = door.request(method, path, json=body, headers=cookie)
            assert (answer.status_code < 300) == may(role, wanted), (role, wanted, answer.text)
    assert not may("", "look") and not may("look", "") and not may("root", "look")


def test_a_device_of_a_list_without_roles_works_on_and_one_with_an_unknown_role_may_nothing(
    door: Client, lan: Lan, case: str
) -> None:
    cookie = let_in(door, lan, "old")
    file = lan.book.folder / "devices.json"  # type: ignore[attr-defined]
    text = file.read_text()
    file.write_text(text.replace(',\n   "role": "work"', ""))
    assert '"role": "work"' not in file.read_text()
    assert (
        door.post(f"/api/cases/{case}/entries", json={"kind": "remark", "words": "x"}, headers=cookie).status_code
        == 201
    )
    file.write_text(text.replace('"role": "work"', '"role": "owner of everything"'))
    assert door.get("/api/cases", headers=cookie).json()["code"] == "LAN-013"


def test_a_code_gives_its_role_and_a_role_can_be_taken_at_once(door: Client, lan: Lan, case: str) -> None:
    code = new_code(lan.book, lan.now(), role="manage")
    made, token = pair(lan.book, lan.now(), code, "boss")
    assert made.role == "manage" and device_of(lan.book, lan.now(), token) == made
    cookie = {"cookie": f"__Host-coppermend={token}"}
    assert door.get("/api/lan", headers=cookie).json()["devices"][0]["role"] == "manage"
    assert [one.role for one in set_role(FolderBook(lan.book.folder), "boss", "look")] == ["look"]  # type: ignore[attr-defined]
    assert door.get("/api/lan", headers=cookie).json()["code"] == "LAN-013"
    assert door.get("/api/cases", headers=cookie).status_code == 200
    assert code_of(lambda: set_role(lan.book, "boss", "root")) == "LAN-015"
    assert code_of(lambda: set_role(lan.book, "nobody", "look")) == "LAN-005"
    assert code_of(lambda: new_code(lan.book, lan.now(), role="root")) == "LAN-015"


def test_a_manager_lets_devices_in_and_out_over_the_network(door: Client, lan: Lan) -> None:
    boss = device(door, lan, "manage")
    made = door.post("/api/lan/code", json={"role": "look"}, headers=boss).json()
    assert made["role"] == "look"
    other = door.post("/api/pair", json={"code": made["code"], "name": "phone"})
    cookie = {"cookie": other.headers["set-cookie"].split(";")[0]}
    assert door.get("/api/me", headers=cookie).json()["role"] == "look"
    door.post("/api/lan/devices/phone/role", json={"role": "work"}, headers=boss)
    assert door.get("/api/me", headers=cookie).json()["role"] == "work"
    assert door.post("/api/lan/devices/phone/role", json={"role": "root"}, headers=boss).status_code == 422
    door.request("DELETE", "/api/lan/devices/phone", headers=boss)
    assert door.get("/api/cases", headers=cookie).status_code == 401


def test_too_many_writes_are_turned_away_and_looking_goes_on(door: Client, lan: Lan, case: str) -> None:
    cookie, other = device(door, lan, "work"), device(door, lan, "manage")
    lan.writes.tries.clear()
    lan.writes.count.clear()
    lan.writes.each = 3
    said = [door.post("/api/speech", json={}, headers=cookie).status_code for _ in range(5)]
    assert said[:3].count(429) == 0 and said[3:] == [429, 429]
    answer = door.post(f"/api/cases/{case}/entries", json={"kind": "remark", "words": "x"}, headers=cookie)
    assert answer.status_code == 429 and answer.json()["code"] == "LAN-014" and answer.headers["retry-after"] == "60"
    assert door.get("/api/cases", headers=cookie).status_code == 200
    assert (
        door.post(f"/api/cases/{case}/entries", json={"kind": "remark", "words": "x"}, headers=other).status_code == 201
    )
    lan.asks.each = 0
    assert door.get("/api/cases", headers=cookie).status_code == 429 and door.get("/page/pair.html").status_code == 200
    lan.asks.each, lan.strangers.most = 9, 1
    assert door.get("/page/pair.html").status_code == 429, "strangers use up no share of a paired device"
    assert door.get("/api/cases", headers=cookie).status_code == 200


def test_a_device_is_not_told_where_the_store_lies(door: Client, lan: Lan, shop: Workshop, tmp_path: Path) -> None:
    """OWASP ASVS 4.0, V7.4.1 (no detail of the system in an error; from memory). The bench computer is told it."""
    cookie = device(door, lan, "manage")
    place = str(shop.store.where)
    store = SqliteStore(str(tmp_path / "kept"), "bench")
    kept = Client(LanDoor(create_app(replace(shop, store=store), lan=lan), lan), HOME)
    here = Client(create_app(replace(shop, store=store)))
    for path in ("/api/cases/99", "/api/cases/99/next", "/api/cases/99/export"):
        answer = kept.get(path, headers=cookie)
        assert answer.status_code == 404 and str(tmp_path) not in answer.text and place not in answer.text
        assert answer.json()["code"] == "CAS-001" and "the store" in answer.json()["place"]["thing"]
        assert str(tmp_path) in here.get(path).text
    store.close()


def test_the_pace_forgets_after_a_minute_and_counts_each_apart() -> None:
    now = [0.0]
    pace = Pace(lambda: now[0], most=5, each=WRITES_EACH)
    assert all(pace.allow(who) for who in "aabbc") and not pace.allow("d")
    now[0] = 59.9
    assert not pace.allow("a")
    now[0] = 60.1
    assert pace.allow("a") and pace.count == {"a": 1}


def test_a_body_that_pauses_too_long_ends_the_request() -> None:
    pieces = [(0.0, True), (0.0, True), (1.0, True)]

    async def receive() -> dict[str, Any]:
        wait, more = pieces.pop(0)
        await anyio.sleep(wait)
        return {"type": "http.request", "body": b"x", "more_body": more}

    async def run() -> list[str]:
        read = unhurried(receive, pause_s=0.05)
        return [(await read())["type"] for _ in range(3)]

    assert anyio.run(run) == ["http.request", "http.request", "http.disconnect"]


# ---- over a real line ----
@pytest.fixture
def line(shop: Workshop, tmp_path: Path) -> Iterator[tuple[int, Lan, ssl.SSLContext]]:
    """The door as ``serve --lan`` serves it, with short patience; its port."""
    made = papers(tmp_path / "lan", ("127.0.0.1",))
    sock = addresses.listening("127.0.0.1", (0,))
    lan = Lan(
        FolderBook(tmp_path / "lan"), shop.clock.now, ("127.0.0.1",), "", made.fingerprint, made.authority_pem, qr.rows
    )
    app = create_app(shop, lan=lan)
    brisk = type("Quick", (BriskProtocol,), {"head_s": 0.4, "most_each": 4})
    config = uvicorn.Config(
        LanDoor(app, lan), http=brisk, ssl_certfile=str(made.server_file), log_level="error", lifespan="off",
        timeout_graceful_shutdown=1,
    )  # fmt: skip
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield sock.getsockname()[1], lan, ssl.create_default_context(cadata=made.authority_pem.decode())
    app.state.desk.closing.set()
    server.should_exit = True
    thread.join(10)
    sock.close()


def opened(port: int, trust: ssl.SSLContext) -> ssl.SSLSocket:
    return trust.wrap_socket(socket.create_connection(("127.0.0.1", port), timeout=20), server_hostname="127.0.0.1")


def ends(line: ssl.SSLSocket) -> bool:
    try:
        return line.recv(10) == b""
    except (ConnectionError, ssl.SSLError):
        return True


def test_slow_heads_and_too_many_lines_are_cut(line: tuple[int, Lan, ssl.SSLContext]) -> None:
    port, _, trust = line
    begun = time.monotonic()
    with opened(port, trust) as slow:
        slow.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n")  # and never the empty line
        assert ends(slow) and time.monotonic() - begun < 15
    held = [opened(port, trust) for _ in range(4)]
    try:
        with opened(port, trust) as fifth:
            assert ends(fifth)
    finally:
        for one in held:
            one.close()


def test_a_live_update_ends_with_the_revocation_though_nothing_happens(
    line: tuple[int, Lan, ssl.SSLContext], client: Client, case: str
) -> None:
    port, lan, trust = line
    _, token = pair(lan.book, lan.now(), new_code(lan.book, lan.now(), role="look"), "tablet")
    with opened(port, trust) as live:
        head = f"GET /api/cases/{case}/events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: __Host-coppermend={token}\r\n\r\n"
        live.sendall(head.encode())
        seen = b""
        while b"event: mark" not in seen:
            seen += live.recv(4096)
        revoke(lan.book, "tablet")
        begun = time.monotonic()
        rest = b""
        while not rest.endswith(b"0\r\n\r\n"):
            piece = live.recv(4096)
            assert piece, "the answer is ended properly"
            rest += piece
        assert b"event:" not in rest and time.monotonic() - begun < 10  # the keep-alive comes after 15 s only


def test_roles_by_command_line(tmp_path: Path) -> None:
    def run(*words: str) -> Any:
        return CliRunner().invoke(cli, ["--store", str(tmp_path / "store"), "lan", *words])

    assert "may look" in run("code", "--role", "look").output
    book = FolderBook(tmp_path / "store" / "lan")
    now = Clock().now()
    assert book.code() is not None and book.code().role == "look"  # type: ignore[union-attr]
    pair(book, now, new_code(book, now, role="look"), "phone")
    assert "May work now: phone" in run("role", "phone", "work").output
    assert book.devices()[0].role == "work"
    assert run("role", "phone", "root").exit_code == 2
    assert isinstance(run("role", "nobody", "look").exception, (SystemExit, Refusal))


def test_a_bench_has_a_name_that_stands_behind_the_author(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def run(*words: str) -> str:
        return CliRunner().invoke(cli, ["--store", store, *words], catch_exceptions=False).output

    monkeypatch.setenv("COPPERMEND_AUTHOR", "ada")
    monkeypatch.delenv("COPPERMEND_BENCH", raising=False)
    store = str(tmp_path / "store")
    assert "no name" in run("bench", "name")
    assert "by the window" in run("bench", "name", " by the\nwindow ")
    assert who(store) == "ada, by the window" and who(str(tmp_path / "other")) == "ada"
    monkeypatch.setenv("COPPERMEND_BENCH", "two")
    assert who(store) == "ada, two"
    monkeypatch.delenv("COPPERMEND_BENCH")
    assert "no name" in run("bench", "name", "") and who(store) == "ada"
