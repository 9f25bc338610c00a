"""Only this computer and only our own page: Host, Origin, sizes, headers.

What is defended against: DNS rebinding (a foreign name that resolves to loopback), cross-site requests, oversized bodies, injected script
(OWASP ASVS 4.0: V13.2 REST, V14.4 HTTP security headers, V14.5 validate HTTP request headers; from memory).
"""

from __future__ import annotations

import os
import re
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from tests.api.conftest import Client

from coppermend.api.app import page_folder
from coppermend.api.guard import LARGEST_JSON, LARGEST_UPLOAD, limit_of
from coppermend.api.pagefiles import PageFiles
from coppermend.formats.learned import LARGEST_BYTES as LEARNED_BYTES
from coppermend.formats.schematic import LARGEST_BYTES as SCHEMATIC_BYTES
from coppermend.services.bundling.layout import UPLOADED

FINDING = {"code", "severity", "place", "words", "remedy"}


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:8137",
        "127.0.0.1.evil.example",
        "",
        "[::2]",
        "localhost.evil.example:80",
        "127.0.0.1:8137.evil.example",
        "localhost:8137:80",
        "[::1].evil.example",
        "127.0.0.1@evil.example",
    ],
)
def test_a_foreign_host_name_is_turned_away(client: Client, host: str) -> None:
    for path in ("/", "/api/cases", "/page/main.js", "/openapi.json"):
        answer = client.get(path, headers={"host": host})
        assert answer.status_code == 403 and answer.json()["code"] == "API-001"


@pytest.mark.parametrize("host", ["127.0.0.1:8137", "localhost:8137", "localhost", "[::1]:9000"])
def test_this_computer_is_let_in(client: Client, host: str) -> None:
    assert client.get("/api/cases", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "origin",
    ["http://evil.example", "https://127.0.0.1:8137", "http://127.0.0.1:9999", "null", "http://localhost:8137"],
)
def test_another_origin_is_turned_away_and_writes_nothing(client: Client, origin: str) -> None:
    answer = client.post("/api/cases", json={"title": "x", "board": "demo"}, headers={"origin": origin})
    assert answer.status_code == 403 and answer.json()["code"] == "API-002"
    assert client.get("/api/cases").json()["cases"] == []


def test_a_cross_site_fetch_without_origin_is_turned_away(client: Client) -> None:
    assert client.get("/api/cases", headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert client.get("/api/cases", headers={"sec-fetch-site": "same-origin"}).status_code == 200


def test_an_oversized_body_is_refused_by_its_length_and_by_its_bytes(client: Client, case: str) -> None:
    answer = client.post("/api/cases", content=b"x" * (LARGEST_JSON + 1), headers={"content-type": "application/json"})
    assert answer.status_code == 413 and set(answer.json()) == FINDING
    liar = client.post(f"/api/cases/{case}/entries", headers={"content-length": str(LARGEST_UPLOAD + 1)}, content=b"{}")
    assert liar.status_code == 413

    async def pieces() -> AsyncIterator[bytes]:
        for _ in range(40):
            yield b" " * 65536

    sent = client.post(f"/api/cases/{case}/entries", content=pieces(), headers={"content-type": "application/json"})
    assert sent.status_code == 413 and set(sent.json()) == FINDING, "RFC 9110, 15.5.14: Content Too Large"
    assert sent.json()["code"] == "API-003"


@pytest.mark.parametrize(
    "body", [b"[" * 200_000, b'{"words": ' + b"9" * 100_000 + b"}", b'{"words": "\xff\xfe"}', b"{"]
)
def test_a_body_that_is_no_json_is_called_that(client: Client, case: str, body: bytes) -> None:
    answer = client.post(f"/api/cases/{case}/entries", content=body, headers={"content-type": "application/json"})
    assert answer.status_code in (400, 422) and answer.json()["code"] == "API-004", "RFC 8259, 8.1: UTF-8, and limits"
    assert "not served" not in answer.json()["words"]


def test_what_a_route_keeps_may_be_sent_to_it(client: Client, case: str) -> None:
    at = f"/api/cases/{case}"
    assert limit_of(f"{at}/schematics") > SCHEMATIC_BYTES and limit_of("/api/learning/import") > LEARNED_BYTES
    assert limit_of("/api/import") > UPLOADED.member_bytes
    for name in ("photos", "waves", "heat", "memory", "roms"):
        assert limit_of(f"{at}/{name}") == LARGEST_UPLOAD
    large = client.post(f"{at}/schematics", files={"file": ("a.pdf", b"no page" * 700_000)})
    assert large.json()["code"].startswith("SCH-"), "refused for what it is, not for its five megabytes"


@pytest.mark.parametrize(
    "name", ["%00", "%00.js", "main.js%00", "a" * 5000 + ".js", "map/%2e%2e/main.js", "%2e/main.js", "%ff.js"]
)
def test_a_name_that_no_file_of_the_page_has_is_not_there(client: Client, name: str) -> None:
    answer = client.get(f"/page/{name}")
    assert answer.status_code == 404 and answer.json()["code"] == "API-005"


def test_no_page_may_run_foreign_or_inline_script(client: Client) -> None:
    policy = client.get("/").headers["content-security-policy"]
    rules = dict(part.strip().partition(" ")[::2] for part in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["script-src"] == "'self'" and rules["style-src"] == "'self'" and rules["connect-src"] == "'self'"
    assert "unsafe" not in policy and rules["frame-ancestors"] == "'none'"


def test_the_record_page_runs_no_script_at_all(client: Client, case: str) -> None:
    policy = client.get(f"/api/cases/{case}/record.html").headers["content-security-policy"]
    assert "script-src" not in policy and "default-src 'none'" in policy and "sandbox" in policy


def test_common_headers_are_on_every_answer(client: Client) -> None:
    for path in ("/", "/page/main.js", "/api/cases", "/api/nowhere"):
        headers = client.get(path).headers
        assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "no-referrer"


def sources() -> list[Path]:
    """Every file of the page."""
    return [p for p in page_folder().rglob("*") if p.suffix in (".js", ".html", ".css", ".svg")]


def test_the_page_names_no_other_host_and_has_no_inline_code() -> None:
    namespace = "http://www.w3.org/2000/svg"
    for path in sources():
        text = path.read_text(encoding="utf-8").replace(namespace, "")
        assert not re.search(r"https?:|//[a-z]+\.[a-z]", text), path
        if path.suffix == ".html":
            assert " style=" not in text and " onclick=" not in text and "<script>" not in text, path


def test_every_module_that_the_page_imports_is_served(client: Client) -> None:
    others = sorted(one.name for one in page_folder().glob("*.html") if one.name != "index.html")
    sheets = [client.get("/").text, *(client.get(f"/page/{name}").text for name in others)]
    seen, todo = (
        set(),
        [found for sheet in sheets for found in re.findall(r'<script type="module" src="([^"]+)"', sheet)],
    )
    while todo:
        path = todo.pop()
        if path in seen:
            continue
        seen.add(path)
        answer = client.get(path)
        assert answer.status_code == 200 and "javascript" in answer.headers["content-type"], path
        for name in re.findall(r"""(?:from |new URL\(|addModule\()'(\.[^']+\.js)'""", answer.text):
            parts = path.split("/")[:-1]
            for step in name.split("/"):
                parts = parts[:-1] if step == ".." else parts if step == "." else [*parts, step]
            todo.append("/".join(parts))
    on_disk = {"/page/" + p.relative_to(page_folder()).as_posix() for p in page_folder().rglob("*.js")}
    assert {re.sub(r"^/page/of/[0-9a-f]{20}/", "/page/", one) for one in seen} == on_disk


def test_files_outside_the_page_are_not_served(client: Client) -> None:
    for path in ("/page/../__init__.py", "/page/%2e%2e/api/app.py", "/page/..%2f__init__.py", "/page//etc/passwd"):
        assert client.get(path).status_code in (404, 400), path


def test_a_document_names_every_module_that_its_scripts_import(client: Client) -> None:
    """What the modules themselves import, near and far, read by following them one by one, is what the documents name (HTML Living Standard, 4.6.7.11: modulepreload)."""
    folder = page_folder()
    for html in sorted(folder.glob("*.html")):
        text = client.get("/" if html.name == "index.html" else f"/page/{html.name}").text
        text = re.sub(r'"/page/of/[0-9a-f]{20}/', '"/page/', text)
        named = set(re.findall(r'<link rel="modulepreload" href="/page/([^"]+)">', text))
        todo, seen = re.findall(r'<script type="module"[^>]* src="/page/([^"]+)">', text), set()
        while todo:
            one = todo.pop()
            if one in seen:
                continue
            seen.add(one)
            for said in re.findall(r"(?:from|import) '(\.[^']+)'", (folder / one).read_text(encoding="utf-8")):
                todo.append((folder / one).parent.joinpath(said).resolve().relative_to(folder.resolve()).as_posix())
        assert named == seen and named, html.name


def test_what_a_document_names_is_kept_under_an_address_of_its_bytes(client: Client, tmp_path: Path) -> None:
    """RFC 8246: immutable is said of an address whose bytes never change; under any other mark the same file is only fresh for a while."""
    text = client.get("/").text
    named = re.findall(r'(?:src|href)="(/page/[^"]+\.(?:js|css|svg))"', text)
    marks = {re.match(r"/page/of/([0-9a-f]{20})/", one)[1] for one in named if one.startswith("/page/of/")}  # type: ignore[index]
    assert len(marks) == 1 and all(one.startswith("/page/of/") for one in named) and len(named) > 20
    kept = client.get(named[0])
    assert kept.status_code == 200 and "immutable" in kept.headers["cache-control"]
    old = client.get(f"/page/of/{'0' * 20}/map/map.js")
    assert (
        old.content == (page_folder() / "map" / "map.js").read_bytes()
        and "immutable" not in old.headers["cache-control"]
    )
    assert "immutable" not in client.get("/").headers["cache-control"]
    assert (
        "/page/of/" not in client.get("/page/pair.html").text
    )  # a device that is not let in may read nothing under a mark
    for path in (f"/page/of/{marks.pop()}/../__init__.py", "/page/of/map/map.js"):
        assert client.get(path).status_code in (404, 400), path
    folder = tmp_path / "page"
    (folder / "map").mkdir(parents=True)
    (folder / "map" / "a.js").write_text("export const a = 1;\n", encoding="utf-8")
    files = PageFiles(folder)
    before = files.mark
    assert files.mark == before == PageFiles(folder).mark
    (folder / "map" / "a.js").write_text("export const a = 22;\n", encoding="utf-8")
    os.utime(folder / "map" / "a.js", (1, 1))
    assert files.mark != before


def test_a_file_of_the_page_is_known_by_its_bytes(client: Client) -> None:
    """RFC 9110, 8.8.3 and 13.1.2: the same mark is answered with 304 and nothing; the bytes are those of the file, packed or not."""
    raw = (page_folder() / "map" / "map.js").read_bytes()
    first = client.get("/page/map/map.js")
    assert first.content == raw and first.headers["content-type"].startswith("text/javascript")
    plain = client.get("/page/map/map.js", headers={"accept-encoding": "identity"})
    assert plain.content == raw and "content-encoding" not in plain.headers
    again = client.get("/page/map/map.js", headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert client.get("/page/map").status_code == client.get("/page/nothing.js").status_code == 404
