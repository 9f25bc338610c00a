"""Attacks on the bench by what it is given: names that climb, pictures, PDFs and XML that unpack to more than they are, clients that take their time,
photos that say they are programs.

What is defended against: OWASP ASVS 4.0.3, V5.1 to V5.5, V8.2, V11.1.4, V12.1 to V12.5 (docs/explanation/asvs.md). A PDF's objects and streams: ISO 32000-1, 7.3.
Sizes of the bombs: made here.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import socket
import ssl
import struct
import threading
import time
import zlib
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
import uvicorn
from PIL import EpsImagePlugin, Image
from tests.api.conftest import Client
from tests.cli.test_case_hostile_files import bundle, entries

from coppermend.adapters.lan import qr
from coppermend.adapters.lan.book import FolderBook
from coppermend.adapters.lan.certificates import papers
from coppermend.api.app import create_app
from coppermend.api.lan import Lan, LanDoor
from coppermend.cli.serve import CIPHERS
from coppermend.core.findings import Refusal
from coppermend.formats import schematic
from coppermend.formats.ipc2581.xmlread import tree
from coppermend.services.lan import device_of, new_code, pair
from coppermend.services.recording.pictures import shown_copy
from coppermend.services.workshop import Workshop

FINDING = {"code", "severity", "place", "words", "remedy"}


# ---- names that climb ----
CLIMBERS = (
    "..%2f..%2fetc%2fpasswd",
    "%2e%2e%2f%2e%2e%2fpyproject.toml",
    "..%5c..%5cwin.ini",
    "%2fetc%2fpasswd",
    "a%00.png",
    "~root",
    "C:%5cboot.ini",
)


def test_no_route_with_a_name_in_its_address_reaches_another_file(client: Client, case: str) -> None:
    """Every GET of the bench's own description, each of its names in turn replaced by one that climbs."""
    paths = [path for path, acts in create_app_paths(client).items() if "get" in acts and "{" in path]
    assert len(paths) > 30
    tried = 0
    for path in paths:
        if path.endswith("/events"):
            continue
        for name in re.findall(r"{(\w+)}", path):
            bad = CLIMBERS[tried % len(CLIMBERS)]
            tried += 1
            asked = re.sub(
                r"{(\w+)}", lambda m, name=name, bad=bad: bad if m[1] == name else case if m[1] == "case" else "1", path
            )
            answer = client.get(asked)
            assert 400 <= answer.status_code < 500, f"{asked}: {answer.status_code}"
            assert set(answer.json()) == FINDING and "root:" not in answer.text, asked
    assert tried > 40


def create_app_paths(client: Client) -> dict[str, dict[str, object]]:
    paths: dict[str, dict[str, object]] = client.get("/openapi.json").json()["paths"]
    return paths


# ---- photos that say they are something else ----
def taken_in(client: Client, media: str, data: bytes) -> str:
    """The address of a photo that came in a bundle with this media type."""
    sha = hashlib.sha256(data).hexdigest()
    lines = entries(("photo", {"sha256": sha, "media": media, "bytes": len(data)}))
    case = json.loads(lines[0])["case"]
    sent = client.post("/api/import", files={"file": ("a.zip", bundle(lines, **{f"data/attachments/{sha}": data}))})
    assert sent.status_code in (200, 201), sent.text[:300]
    return f"/api/cases/{case}/photos/{sha}"


@pytest.mark.parametrize(
    "media", ["text/html", "text/javascript", "image/svg+xml", "application/pdf", "image/png\r\nx-evil: 1"]
)
def test_a_photo_from_elsewhere_is_never_handed_out_as_a_page_or_a_program(client: Client, media: str) -> None:
    answer = client.get(taken_in(client, media, b"<script>alert(1)</script>"))
    assert answer.status_code == 200
    assert (
        answer.headers["content-type"] == "application/octet-stream"
        and answer.headers["x-content-type-options"] == "nosniff"
    )
    assert "x-evil" not in answer.headers


EPS = b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 60 60\n%%EndComments\nshowpage\n%%EOF\n"


def test_no_picture_of_a_kind_that_runs_a_program_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    """An EPS is drawn by running an interpreter; a photo of another bench is not believed to be one of our four kinds."""
    run: list[object] = []
    monkeypatch.setattr(
        EpsImagePlugin, "Ghostscript", lambda *given: run.append(given) or Image.core.new("RGB", (9, 9))
    )
    with Image.open(io.BytesIO(EPS)) as found:
        found.load()  # the library by itself would run it
    assert len(run) == 1
    assert shown_copy(EPS) is None and len(run) == 1


def png_of(width: int, height: int) -> bytes:
    """A PNG of a few bytes whose header promises this size."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


def test_picture_bombs_are_refused_by_their_header(client: Client, case: str) -> None:
    for width, height in ((60_000, 60_000), (2**31 - 1, 1), (12_000, 10_001)):
        data = png_of(width, height)
        photo = client.post(f"/api/cases/{case}/photos", files={"file": ("a.png", data, "image/png")})
        assert photo.status_code in (413, 422) and photo.json()["code"] in ("PHO-001", "PHO-002"), (width, height)
        assert shown_copy(data) is None
    assert client.get(f"/api/cases/{case}").json()["photos"] == []


# ---- PDFs ----
PAGE = "<< /Type /Page /Parent 2 0 R /MediaBox [{box}] /Contents 3 0 R /Resources << /Font << /F << /Type /Font /Subtype /Type1 /BaseFont /Helvetica >> >> >> >>"


def pdf(pages: int = 1, box: str = "0 0 300 300", drawing: bytes = b"", kids: str = "") -> bytes:
    """A PDF (ISO 32000-1, 7.5) whose pages share one packed drawing."""
    packed = zlib.compress(drawing, 9)
    kids_said = kids or " ".join(f"{4 + i} 0 R" for i in range(pages))
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        f"<< /Type /Pages /Count {pages} /Kids [{kids_said}] >>".encode(),
        b"<< /Length %d /Filter /FlateDecode >>\nstream\n" % len(packed) + packed + b"\nendstream",
        *([] if kids else [PAGE.replace("{box}", box).encode()] * pages),
    ]
    out, places = b"%PDF-1.4\n", []
    for number, one in enumerate(objects, 1):
        places.append(len(out))
        out += b"%d 0 obj\n" % number + one + b"\nendobj\n"
    table = b"".join(b"%010d 00000 n \n" % at for at in places)
    head = b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    tail = b"trailer << /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF" % (len(objects) + 1, len(out))
    return out + head + table + tail


def letters(count: int) -> bytes:
    return b"BT /F 12 Tf 10 10 Td " + b"(a) Tj " * count + b"ET"


def test_a_plain_pdf_of_this_making_is_read() -> None:
    (page,) = schematic.read_schematic(pdf(drawing=b"BT /F 12 Tf 10 10 Td (U5 RD) Tj ET"))
    assert [one.text for one in page.words] == ["U5", "RD"]


def test_a_pdf_of_streams_without_end_is_refused_at_once() -> None:
    """ISO 32000-1, 7.3.8.1: each stream ends with ``endstream``. The reader looks for each missing one through the rest of the file: 50,000 took minutes."""
    begun = time.process_time()
    with pytest.raises(Refusal, match="SCH-001"):
        schematic.read_schematic(b"%PDF-1.7\n" + b"1 0 obj<</Length 9>>stream\n" * 50_000)
    with pytest.raises(Refusal, match="SCH-001"):
        schematic.read_schematic(b"%PDF-1.7\n" + b"stream\n" * 500_000)
    assert time.process_time() - begun < 5.0
    whole = b"<</Filter/FlateDecode>>stream\n" + zlib.compress(b"q Q " * 5000) + b"\nendstream\n"
    assert schematic.endless(b"%PDF-1.7\n" + whole * 500) == 0
    assert schematic.endless(b"%PDF-1.7\n" + whole * 3 + whole[:40]) == 1, "a torn file"


@pytest.mark.parametrize(
    ("what", "data"),
    [
        ("ten thousand pages", pdf(10_000)),
        ("20 MB of drawing in 20 KB", pdf(drawing=letters(3_000_000))),
        ("its filter named short", pdf(drawing=letters(3_000_000)).replace(b"/FlateDecode", b"/Fl")),
    ],
)  # fmt: skip
def test_a_pdf_that_unpacks_to_more_than_a_schematic_is_refused(what: str, data: bytes) -> None:
    assert len(data) < 3_000_000
    with pytest.raises(Refusal) as told:
        schematic.read_schematic(data)
    assert told.value.finding.code == "SCH-003", what


def test_many_pages_that_share_one_full_drawing_are_refused_together(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schematic, "MOST_LETTERS", 10_000)
    assert len(schematic.read_schematic(pdf(3, drawing=letters(3000)))) == 3
    with pytest.raises(Refusal, match="unpacks"):
        schematic.read_schematic(pdf(4, drawing=letters(3000)))
    monkeypatch.setattr(schematic, "MOST_DRAWN", 10_000)
    with pytest.raises(Refusal, match="unpacks"):
        schematic.read_schematic(pdf(2, drawing=b"0 0 m 9 9 l S " * 6000))


@pytest.mark.parametrize("box", ["0 0 1e9 1e9", "0 0 1000000 1", "nan inf -5 -5"])
def test_a_page_of_any_size_is_drawn_within_the_limit(box: str) -> None:
    with Image.open(io.BytesIO(schematic.page_png(pdf(box=box), 1, 6.0))) as made:
        assert max(made.size) <= schematic.LARGEST_PX


def test_pages_that_lead_back_to_themselves_end() -> None:
    pages = schematic.read_schematic(pdf(3, kids="2 0 R 2 0 R 2 0 R"))
    assert len(pages) <= 3 and not any(one.words for one in pages)


# ---- XML ----
LAUGHS = "".join(f'<!ENTITY a{k} "{f"&a{k - 1};" * 10}">' for k in range(1, 9))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "latin-1"])
@pytest.mark.parametrize(
    "prolog",
    [
        f'<!DOCTYPE r [<!ENTITY a0 "ha">{LAUGHS}]>',
        '<!DOCTYPE r SYSTEM "file:///etc/passwd">',
        '<!DOCTYPE r [<!ENTITY x SYSTEM "file:///etc/passwd">]>',
        '<!DOCTYPE r [<!ENTITY % p SYSTEM "http://127.0.0.1:9/x"> %p;]>',
    ],
)
def test_xml_with_entities_is_refused_in_every_encoding(prolog: str, encoding: str) -> None:
    text = f'<?xml version="1.0" encoding="{encoding}"?>{prolog}<IPC-2581>&a8;</IPC-2581>'
    with pytest.raises(Refusal) as told:
        tree(text.encode(encoding), "b.xml")
    assert told.value.finding.code == "IPC-002"


def test_xml_nested_very_deep_and_with_very_many_attributes_is_read_in_bounded_time() -> None:
    begun = time.process_time()
    assert tree(b"<a>" * 30_000 + b"</a>" * 30_000, "b.xml").tag == "a"
    assert len(tree(b"<a " + b" ".join(b'a%d="1"' % i for i in range(5_000)) + b"/>", "b.xml").attrib) == 5_000
    assert time.process_time() - begun < 5.0


# ---- clients that take their time ----
@pytest.fixture
def port(shop: Workshop) -> Iterator[int]:
    """The application behind a real socket, as ``coppermend serve`` runs it on this computer."""
    app, sock = create_app(shop), socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="error", lifespan="off", access_log=False, timeout_graceful_shutdown=1)
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield int(sock.getsockname()[1])
    server.should_exit = server.force_exit = True
    thread.join(10)
    sock.close()


def test_a_hundred_clients_that_send_a_byte_now_and_then_keep_nobody_waiting(port: int) -> None:
    slow = [socket.create_connection(("127.0.0.1", port)) for _ in range(100)]
    try:
        for k, one in enumerate(slow):
            half = b"POST /api/cases HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{"
            one.sendall(half if k % 2 else b"GET /api/ca")
        for _ in range(3):
            for one in slow:
                one.sendall(b" " if one is slow[1] else b"a")
            with httpx.Client(trust_env=False, timeout=5) as client:
                assert client.get(f"http://127.0.0.1:{port}/api/cases").json()["cases"] == []
    finally:
        for one in slow:
            one.close()


# ---- what a device of the network may keep ----
@pytest.fixture
def tablet(shop: Workshop, tmp_path: Path) -> Client:
    """A client that comes by the network, with the cookie of a paired device."""
    lan = Lan(
        FolderBook(tmp_path / "lan"),
        shop.clock.now,
        ("192.168.1.20",),
        "https://192.168.1.20:8138/",
        "AA",
        b"",
        qr.rows,
    )
    door = Client(LanDoor(create_app(shop, lan=lan), lan), "https://192.168.1.20:8138")
    said = door.post("/api/pair", json={"code": new_code(lan.book, lan.now()), "name": "tablet"})
    cookie = said.headers["set-cookie"].split(";")[0]
    plain = door.request
    door.request = lambda method, path, **how: plain(method, path, **{"headers": {"cookie": cookie}, **how})  # type: ignore[method-assign]
    return door


def test_no_picture_of_a_case_stays_in_the_cache_of_a_device_that_can_be_shut_out(
    client: Client, tablet: Client, case: str
) -> None:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(out, "PNG")
    client.post(f"/api/cases/{case}/photos", files={"file": ("a.png", out.getvalue(), "image/png")})
    sha = hashlib.sha256(out.getvalue()).hexdigest()
    assert "immutable" in client.get(f"/api/cases/{case}/photos/{sha}").headers["cache-control"]
    for path in (f"/api/cases/{case}/photos/{sha}", f"/api/cases/{case}", f"/api/cases/{case}/record.html"):
        answer = tablet.get(path)
        assert answer.status_code == 200 and answer.headers.get_list("cache-control") == ["no-store"], path


def test_a_fault_says_its_own_words_on_this_computer_only(
    client: Client, tablet: Client, case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise KeyError("the store of somebody")

    monkeypatch.setattr("coppermend.api.routes.photo_bytes", broken)
    assert "somebody" in client.get(f"/api/cases/{case}/photos/1").json()["words"]
    answer = tablet.get(f"/api/cases/{case}/photos/1")
    assert answer.status_code == 500 and set(answer.json()) == FINDING and "somebody" not in answer.text


def test_only_new_tls_with_forward_secrecy_and_authenticated_ciphers_is_spoken(tmp_path: Path) -> None:
    """RFC 9325 (recommendations for TLS), 3.1.1 and 4.2: TLS 1.2 or newer, ephemeral keys, AEAD suites. Said by Python's own ssl module."""
    config = uvicorn.Config(
        lambda: None, ssl_certfile=str(papers(tmp_path, ("127.0.0.1",)).server_file), ssl_ciphers=CIPHERS
    )
    config.load()
    assert config.ssl is not None and config.ssl.minimum_version >= ssl.TLSVersion.TLSv1_2
    offered = config.ssl.get_ciphers()
    assert len(offered) >= 4
    for one in offered:
        assert one["aead"] and one["protocol"] in ("TLSv1.2", "TLSv1.3"), one["name"]
        assert one["protocol"] == "TLSv1.3" or one["name"].startswith("ECDHE-"), one["name"]


def test_a_pairing_lasts_thirty_days_at_most(tmp_path: Path) -> None:
    """OWASP ASVS 4.0.3, 3.3.2 at level 1: 30 days."""
    book = FolderBook(tmp_path / "lan")
    _, token = pair(book, "2026-03-01T09:00:00.000Z", new_code(book, "2026-03-01T09:00:00.000Z"), "tablet")
    assert device_of(book, "2026-03-31T08:59:59.000Z", token) is not None
    assert device_of(book, "2026-03-31T09:00:01.000Z", token) is None
