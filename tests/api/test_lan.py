"""The bench on the local network: nobody is let in without a code, a code is good once and not for long, a revoked device gets nothing more.

What is defended against: OWASP ASVS 4.0 (V2.7 out-of-band codes, V2.10 no secret in the clear, V3.4 cookie attributes, V13.2 REST, V14.5 Host and
Origin), from memory; cookie prefix __Host-: RFC 6265bis 4.1.3.2. Certificates are checked by Python's own ssl module, not by what made them.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import signal
import socket
import ssl
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from click.testing import CliRunner
from tests.api.conftest import Client

from coppermend.adapters.lan import addresses, qr
from coppermend.adapters.lan.book import FolderBook
from coppermend.adapters.lan.certificates import papers
from coppermend.api.app import create_app
from coppermend.api.lan import COOKIE, TRIES_EACH, Lan, LanDoor, Pace
from coppermend.cli import cli
from coppermend.core.findings import Refusal
from coppermend.services.cases import case_state
from coppermend.services.lan import ALPHABET, MOST_DEVICES, MOST_TRIES, device_of, listed, new_code, pair, revoke
from coppermend.services.notes import note
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop

NAMES = ("192.168.1.20", "bench", "bench.local")
HOME = "https://192.168.1.20:8138"


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.at = datetime(2026, 3, 1, 9, tzinfo=UTC)

    def now(self) -> str:
        return self.at.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    def on(self, seconds: float) -> None:
        self.at += timedelta(seconds=seconds)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def book(tmp_path: Path) -> FolderBook:
    return FolderBook(tmp_path / "lan")


@pytest.fixture
def lan(book: FolderBook, clock: Clock) -> Lan:
    return Lan(book, clock.now, NAMES, HOME + "/", "AA:BB", b"authority", qr.rows)


@pytest.fixture
def door(shop: Workshop, lan: Lan) -> Client:
    """A client that comes by the network, without a cookie."""
    return Client(LanDoor(create_app(shop, lan=lan), lan), HOME)


def let_in(door: Client, lan: Lan, name: str = "tablet") -> dict[str, str]:
    """Pair; the headers that the device sends from then on."""
    done = door.post("/api/pair", json={"code": new_code(lan.book, lan.now()), "name": name})
    assert done.status_code == 201, done.text
    return {"cookie": done.headers["set-cookie"].split(";")[0]}


def code_of(act: Any) -> str:
    with pytest.raises(Refusal) as caught:
        act()
    assert caught.value.finding.words and caught.value.finding.remedy
    return caught.value.finding.code


# ---- codes and tokens ----
def test_a_code_is_good_once(book: FolderBook, clock: Clock) -> None:
    code = new_code(book, clock.now())
    assert re.fullmatch(f"[{ALPHABET}]{{3}}-[{ALPHABET}]{{3}}", code)
    device, token = pair(book, clock.now(), code.lower().replace("-", " "), "  tablet \n")
    assert device.name == "tablet" and device_of(book, clock.now(), token) == device
    assert code_of(lambda: pair(book, clock.now(), code, "other")) == "LAN-003"


def test_a_code_lives_five_minutes(book: FolderBook, clock: Clock) -> None:
    code = new_code(book, clock.now())
    clock.on(301)
    assert code_of(lambda: pair(book, clock.now(), code, "")) == "LAN-003"


def test_a_code_dies_after_five_wrong_tries_and_by_a_newer_one(book: FolderBook, clock: Clock) -> None:
    code = new_code(book, clock.now())
    for _ in range(MOST_TRIES):
        assert code_of(lambda: pair(book, clock.now(), "AAA-AAA" if code != "AAA-AAA" else "BBB-BBB", "")) == "LAN-002"
    assert code_of(lambda: pair(book, clock.now(), code, "")) == "LAN-003"
    old, new = new_code(book, clock.now()), new_code(book, clock.now())
    assert code_of(lambda: pair(book, clock.now(), old, "")) == "LAN-002"
    assert pair(book, clock.now(), new, "")[0].name == "second screen"


def test_nothing_secret_is_on_disk_and_only_its_owner_reads_it(book: FolderBook, clock: Clock) -> None:
    code = new_code(book, clock.now())
    file = book.folder / "devices.json"
    assert code.replace("-", "") not in file.read_text() and code not in file.read_text()
    _, token = pair(book, clock.now(), code, "tablet")
    assert token not in file.read_text() and len(token) >= 43  # 32 bytes in base64url
    assert "token" not in json.dumps(listed(book, clock.now()))
    if os.name == "posix":
        assert stat.S_IMODE(file.stat().st_mode) == 0o600 and stat.S_IMODE(book.folder.stat().st_mode) == 0o700


def test_devices_end_by_time_by_revocation_and_by_number(book: FolderBook, clock: Clock) -> None:
    first, token = pair(book, clock.now(), new_code(book, clock.now()), "tablet")
    second, other = pair(book, clock.now(), new_code(book, clock.now()), "tablet")
    assert (first.name, second.name) == ("tablet", "tablet 2")
    elsewhere = FolderBook(book.folder)  # another process
    assert [one.id for one in revoke(elsewhere, "tablet")] == [first.id]
    assert device_of(book, clock.now(), token) is None and device_of(book, clock.now(), other) == second
    assert code_of(lambda: revoke(book, "tablet")) == "LAN-005"
    clock.on(91 * 86400)
    assert device_of(book, clock.now(), other) is None and listed(book, clock.now()) == []
    for _ in range(MOST_DEVICES):
        pair(book, clock.now(), new_code(book, clock.now()), "x")
    assert code_of(lambda: pair(book, clock.now(), new_code(book, clock.now()), "x")) == "LAN-004"
    assert len(revoke(book, "all")) == MOST_DEVICES and revoke(book, "all") == ()


@pytest.mark.parametrize("text", ["", "[]", '{"devices": [{"id": 1}]}', '{"code": {"salt": "x"}}', "\x00"])
def test_a_spoilt_list_lets_nobody_in(door: Client, lan: Lan, book: FolderBook, text: str) -> None:
    cookie = let_in(door, lan)
    (book.folder / "devices.json").write_text(text)
    answer = door.get("/api/cases", headers=cookie)
    assert answer.status_code == 503 and answer.json()["code"] == "LAN-006"


# ---- the door ----
EVERYTHING = (
    "/api/cases",
    "/openapi.json",
    "/page/main.js",
    "/page/lan.html",
    "/page/index.html",
    "/page/meter.html",
    "/api/meters",
    "/api/meters/events",
    "/api/lan",
    "/page//pair.html",
    "/page/pair/../main.js",
)


@pytest.mark.parametrize("path", EVERYTHING)
def test_without_a_token_nothing_is_served(door: Client, path: str) -> None:
    for cookie in ({}, {"cookie": f"{COOKIE}=AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"}, {"cookie": f"{COOKIE}="}):
        answer = door.get(path, headers=cookie)
        assert answer.status_code == 401 and answer.json()["code"] == "LAN-009"


def test_without_a_token_nothing_is_written(door: Client, client: Client, case: str) -> None:
    for method, path in (
        ("POST", f"/api/cases/{case}/entries"),
        ("POST", "/api/import"),
        ("DELETE", "/api/lan/devices/all"),
        ("POST", "/api/lan/code"),
    ):
        assert door.request(method, path, json={}).status_code == 401


def test_the_pairing_page_and_what_it_is_made_of_are_open(door: Client) -> None:
    home = door.get("/")
    assert home.status_code == 303 and home.headers["location"] == "/page/pair.html"
    page = door.get("/page/pair.html")
    assert page.status_code == 200
    for found in re.findall(r'(?:href|src)="(/page/[^"]+)"', page.text):
        assert door.get(found).status_code == 200, found
    script = door.get("/page/pair/pair.js").text
    for found in re.findall(r"from '\.\./shared/([^']+)'", script):
        assert door.get(f"/page/shared/{found}").status_code == 200
    assert door.get("/lan/authority.crt").content == b"authority"


def test_a_paired_device_works_on_the_case_under_its_own_name(
    door: Client, lan: Lan, shop: Workshop, client: Client, case: str
) -> None:
    cookie = let_in(door, lan, "tablet")
    assert door.get("/api/cases", headers=cookie).json()["cases"][0]["id"] == case
    done = door.post(
        f"/api/cases/{case}/entries",
        json={"kind": "remark", "words": "from the tablet"},
        headers={**cookie, "origin": HOME},
    )
    assert done.status_code == 201 and done.json()["entry"]["author"] == "tester (tablet)"
    here = client.post(f"/api/cases/{case}/entries", json={"kind": "remark", "words": "from the bench"})
    assert here.json()["entry"]["author"] == "tester"


def test_the_token_is_a_cookie_that_no_script_and_no_other_site_can_use(door: Client, lan: Lan) -> None:
    done = door.post("/api/pair", json={"code": new_code(lan.book, lan.now()), "name": "t"})
    said = {
        one.strip().partition("=")[0].lower(): one.strip().partition("=")[2]
        for one in done.headers["set-cookie"].split(";")
    }
    assert set(said) >= {"__host-coppermend", "httponly", "secure", "samesite", "path", "max-age"}
    assert said["samesite"].lower() == "strict" and said["path"] == "/" and "domain" not in said
    assert said["__host-coppermend"] not in done.text and done.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("host", ["192.168.1.21:8138", "127.0.0.1:8138", "localhost:8138", "evil.example", ""])
def test_foreign_host_names_are_turned_away_on_the_network_too(door: Client, lan: Lan, host: str) -> None:
    cookie = let_in(door, lan)
    answer = door.get("/api/cases", headers={**cookie, "host": host})
    assert answer.status_code == 403 and answer.json()["code"] == "API-001"


@pytest.mark.parametrize(
    "origin",
    ["http://192.168.1.20:8138", "https://evil.example", "https://192.168.1.20", "null", "http://127.0.0.1:8137"],
)
def test_other_origins_neither_write_nor_pair(door: Client, lan: Lan, case: str, origin: str) -> None:
    cookie = let_in(door, lan)
    for path in (f"/api/cases/{case}/entries", "/api/pair"):
        answer = door.post(path, json={}, headers={**cookie, "origin": origin})
        assert answer.status_code == 403 and answer.json()["code"] == "API-002"


def test_what_reaches_into_the_bench_computer_is_done_there_only(door: Client, lan: Lan, client: Client) -> None:
    cookie = let_in(door, lan)
    asked = (
        ("POST", "/api/cases"), ("POST", "/api/meters/test"), ("POST", "/api/meters/watch"), ("DELETE", "/api/meters/watch"),
        ("POST", "/api/cases/"),
    )  # fmt: skip
    for method, path in asked:
        answer = door.request(method, path, json={}, headers=cookie)
        assert answer.status_code == 403 and answer.json()["code"] == "LAN-010", (method, path)
    assert door.get("/api/cases", headers=cookie).status_code == 200


def test_the_bench_computer_itself_is_not_touched_by_all_this(shop: Workshop, lan: Lan, client: Client) -> None:
    here = Client(create_app(shop, lan=lan))
    assert here.get("/api/lan").json()["open"] is True and client.get("/api/lan").json()["open"] is False
    assert here.post("/api/pair", json={"code": "AAA-AAA"}).json()["code"] == "LAN-011"
    assert client.post("/api/pair", json={"code": "AAA-AAA"}).json()["code"] == "LAN-001"
    assert client.post("/api/lan/code").status_code == 409
    made = here.post("/api/lan/code").json()
    assert re.fullmatch(r"\w{3}-\w{3}", made["code"]) and set("".join(made["qr"])) == {"0", "1"}
    # a header that a client writes itself opens nothing
    assert here.get("/api/cases", headers={"host": "192.168.1.20:8138"}).status_code == 403


def test_tries_to_pair_are_slowed_down(door: Client, lan: Lan) -> None:
    said = []
    for _ in range(TRIES_EACH + 3):
        new_code(lan.book, lan.now())
        said.append(door.post("/api/pair", json={"code": "------"}).status_code)
    assert said[:TRIES_EACH] == [403] * TRIES_EACH and said[TRIES_EACH:] == [429] * 3
    now = [0.0]
    pace = Pace(lambda: now[0])
    assert all(pace.allow("a") for _ in range(TRIES_EACH)) and not pace.allow("a") and pace.allow("b")
    now[0] = 61.0
    assert pace.allow("a")


# ---- over a real line ----
@pytest.fixture
def served(shop: Workshop, tmp_path: Path) -> Iterator[tuple[str, Lan, ssl.SSLContext]]:
    """The door behind https on this computer, its address, and what a device needs to trust it."""
    made = papers(tmp_path / "lan", ("127.0.0.1",))
    sock = addresses.listening("127.0.0.1", (0,))
    address = f"https://127.0.0.1:{sock.getsockname()[1]}"
    lan = Lan(
        FolderBook(tmp_path / "lan"),
        shop.clock.now,
        ("127.0.0.1",),
        address,
        made.fingerprint,
        made.authority_pem,
        qr.rows,
    )
    app = create_app(shop, lan=lan)
    config = uvicorn.Config(
        LanDoor(app, lan),
        ssl_certfile=str(made.server_file),
        log_level="error",
        lifespan="off",
        timeout_graceful_shutdown=2,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
    thread.start()
    trust = ssl.create_default_context(cadata=made.authority_pem.decode())
    yield address, lan, trust
    app.state.desk.closing.set()
    server.should_exit = True
    thread.join(10)
    sock.close()


def test_https_holds_for_whoever_trusts_the_authority_and_for_nobody_else(
    served: tuple[str, Lan, ssl.SSLContext],
) -> None:
    address, lan, trust = served
    with httpx.Client(verify=trust, trust_env=False) as device:
        assert device.get(f"{address}/page/pair.html").status_code == 200
    with httpx.Client(trust_env=False) as stranger, pytest.raises(httpx.ConnectError):
        stranger.get(address)
    port = int(address.rsplit(":", 1)[1])
    with socket.create_connection(("127.0.0.1", port)) as plain, pytest.raises(ssl.SSLCertVerificationError):
        trust.wrap_socket(plain, server_hostname="another.example")
    der = ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate(("127.0.0.1", port)))
    assert lan.fingerprint.replace(":", "").lower() == hashlib.sha256(der).hexdigest()


def test_a_revoked_device_gets_nothing_more_not_even_in_a_live_update(
    served: tuple[str, Lan, ssl.SSLContext], shop: Workshop, client: Client, case: str
) -> None:
    address, lan, trust = served
    with httpx.Client(verify=trust, trust_env=False, timeout=20) as device:
        assert (
            device.post(
                f"{address}/api/pair", json={"code": new_code(lan.book, lan.now()), "name": "tablet"}
            ).status_code
            == 201
        )
        with device.stream("GET", f"{address}/api/cases/{case}/events") as live:
            lines = live.iter_lines()
            assert any(line.startswith("data: ") for line in lines)
            note(shop, case, Request("remark", words="while it is let in"))
            assert any(line.startswith("data: ") for line in lines)
            revoke(lan.book, "tablet")
            note(shop, case, Request("remark", words="not for its eyes"))
            assert [line for line in lines if line.startswith("data: ")] == [], "the live update ends"
        assert device.get(f"{address}/api/cases").status_code == 401
    assert len(case_state(shop, case).timeline) >= 2


# ---- certificates, addresses, picture ----
def test_a_certificate_is_kept_while_it_fits_and_made_anew_when_not(tmp_path: Path) -> None:
    now = datetime(2026, 3, 1, tzinfo=UTC)
    first = papers(tmp_path, ("192.168.1.20", "bench.local"), now)
    assert papers(tmp_path, ("bench.local", "192.168.1.20"), now).fingerprint == first.fingerprint
    assert papers(tmp_path, ("192.168.1.21", "bench.local"), now).fingerprint != first.fingerprint
    again = papers(tmp_path, ("192.168.1.20",), now)
    later = papers(tmp_path, ("192.168.1.20",), now + timedelta(days=365))
    assert later.fingerprint != again.fingerprint and later.authority_pem == first.authority_pem
    first.server_file.write_text("nonsense")
    assert papers(tmp_path, ("192.168.1.20",), now).fingerprint
    (tmp_path / "authority.key").write_text("nonsense")
    assert code_of(lambda: papers(tmp_path, ("192.168.1.20",), now)) == "LAN-007"


def test_addresses_are_this_computers_own() -> None:
    assert addresses.listening_on("127.0.0.1") == ("127.0.0.1", ("127.0.0.1",))
    for bad in ("192.168.1", "bench", "::1", "1.2.3.4.5"):
        assert code_of(lambda bad=bad: addresses.listening_on(bad)) == "LAN-008"
    assert code_of(lambda: addresses.listening("192.0.2.77", (0,))) == "SRV-001"  # RFC 5737: nobody's address
    assert not any(one.startswith("127.") for one in addresses.own_addresses())


def test_the_picture_has_its_three_finder_patterns_and_quiet_zone() -> None:
    """ISO/IEC 18004, 6.3: finder patterns of 7 x 7 modules in three corners, a quiet zone of four modules (from memory)."""
    rows = qr.rows(f"{HOME}/page/pair.html#K7M-4QT")
    side = len(rows)
    assert side >= 21 + 8 and all(len(row) == side for row in rows)
    assert set("".join(rows[:4])) == {"0"} and all(row.startswith("0000") and row.endswith("0000") for row in rows)
    finder = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]
    for top, left in ((4, 4), (4, side - 11), (side - 11, 4)):
        assert [row[left : left + 7] for row in rows[top : top + 7]] == finder
    drawn = qr.lines(f"{HOME}/page/pair.html#K7M-4QT")
    assert len(drawn) == (side + 1) // 2 and set("".join(drawn)) <= set("█▀▄ ")


# ---- by command line ----
def test_codes_and_devices_by_command_line(tmp_path: Path, clock: Clock) -> None:
    def run(*words: str) -> Any:
        return CliRunner().invoke(cli, ["--store", str(tmp_path / "store"), "lan", *words])

    assert "No device is let in" in run("list").output
    found = re.search(r"\w{3}-\w{3}", run("code").output)
    assert found
    book = FolderBook(tmp_path / "store" / "lan")
    now = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    pair(book, now, found[0], "tablet")
    assert "tablet" in run("list").output and json.loads(run("list", "--json").output)["devices"][0]["name"] == "tablet"
    assert "Shut out: tablet." in run("revoke", "tablet").output and "nobody" in run("revoke", "all").output
    assert run("revoke", "tablet").exception.finding.code == "LAN-005"
    assert json.loads(run("code", "--json").output)["code"]


@pytest.mark.skipif(os.name == "nt", reason="not run: Ctrl-C is sent another way on Windows")
def test_serve_lan_as_a_person_starts_it(tmp_path: Path) -> None:
    """Two listeners, the code from the terminal lets a device in once, Ctrl-C ends both; without --lan there is no second one."""
    env = {**os.environ, "PYTHONUNBUFFERED": "1", "COPPERMEND_CACHE": str(tmp_path / "cache")}
    words = [
        sys.executable,
        "-m",
        "coppermend",
        "--store",
        str(tmp_path / "store"),
        "serve",
        "--no-browser",
        "--lan",
        "--lan-address",
        "127.0.0.1",
    ]
    held = addresses.listening("127.0.0.1", (0,))
    port = held.getsockname()[1]
    held.close()
    process = subprocess.Popen(
        [*words, "--lan-port", str(port)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=env
    )
    try:
        assert process.stdout is not None
        said = ""
        for line in process.stdout:
            said += line
            if line.startswith("Ctrl-C"):
                break
        here = re.search(r"http://127\.0\.0\.1:\d+", said)
        code = re.search(r"one device: (\w{3}-\w{3})", said)
        assert here and code and f"https://127.0.0.1:{port}/" in said
        trust = ssl.create_default_context(cafile=str(tmp_path / "store" / "lan" / "authority.pem"))
        with httpx.Client(verify=trust, trust_env=False, timeout=20) as device:
            tried = [device.post(f"https://127.0.0.1:{port}/api/pair", json={"code": code[1]}) for _ in range(2)]
            assert [one.status_code for one in tried] == [201, 403]
            assert device.get(f"https://127.0.0.1:{port}/api/cases").status_code == 200
            token = device.cookies[COOKIE]
        with httpx.Client(trust_env=False, timeout=20) as bench:
            assert bench.get(f"{here[0]}/api/lan").json()["devices"][0]["name"] == "second screen"
        process.send_signal(signal.SIGINT)
        rest, _ = process.communicate(timeout=20)
        assert process.returncode == 0 and "closed" in rest and "Traceback" not in rest
        assert token not in said + rest and code[1] not in rest
    finally:
        process.kill()
        process.wait(10)
    with socket.socket() as knock:
        assert knock.connect_ex(("127.0.0.1", port)) != 0, "nothing listens there any more"
