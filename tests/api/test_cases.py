"""Cases, the board, entries and files over HTTP, on the demonstration machine."""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader
from tests.api.conftest import Client
from tests.fakes import MemoryStore, fake_workshop

from coppermend.api.app import create_app
from coppermend.services.ports import ShelvedBoard

FINDING = {"code", "severity", "place", "words", "remedy"}


def parts_list(package: Path) -> list[dict[str, str]]:
    """The parts list that lies in the package: what should be on the board, told by another file than copper and netlist."""
    return list(csv.DictReader((package / "parts.csv").read_text(encoding="utf-8").splitlines()))


def test_a_new_case_is_listed_and_opened(client: Client, case: str) -> None:
    rows = client.get("/api/cases").json()["cases"]
    assert [(r["id"], r["number"], r["title"]) for r in rows] == [(case, 1, "A test machine")]
    for name in (case, "1"):
        assert client.get(f"/api/cases/{name}").json()["complaint"] == "black screen"


def test_the_scene_has_the_parts_of_the_parts_list_where_it_says(client: Client, case: str, demo_package: Path) -> None:
    scene = client.get(f"/api/cases/{case}/scene").json()
    listed = {row["ref"]: row for row in parts_list(demo_package)}
    drawn = {part["ref"]: part for part in scene["parts"]}
    with_pins = {ref for ref, row in listed.items() if ref in drawn}
    assert with_pins == set(drawn) and len(drawn) > 100
    for ref, part in drawn.items():
        assert part["state"] == listed[ref]["state"], ref
    x0, y0, x1, y1 = scene["bounds_mm"]
    assert all(x0 <= x <= x1 and y0 <= y <= y1 for part in drawn.values() for _, x, y, *_ in part["pins"])


def test_chips_have_their_notch_beyond_pin_one(client: Client, case: str) -> None:
    """Dual in-line parts: pin 1 and pin n stand at the end with the notch (JEDEC MS-001, from memory)."""
    scene = client.get(f"/api/cases/{case}/scene").json()
    chips = [part for part in scene["parts"] if part["body"] == "chip" and part["package"].startswith("DIP")]
    assert len(chips) >= 35
    for part in chips:
        at = {int(no): (x, y) for no, x, y, *_ in part["pins"]}
        n = len(at)
        near = sum((at[k][0] - part["notch"][0]) ** 2 + (at[k][1] - part["notch"][1]) ** 2 for k in (1, n))
        far = sum((at[k][0] - part["notch"][0]) ** 2 + (at[k][1] - part["notch"][1]) ** 2 for k in (n // 2, n // 2 + 1))
        assert near < far, part["ref"]


def test_a_net_lists_its_points_on_both_sides(client: Client, case: str, shelved: ShelvedBoard) -> None:
    net = shelved.graph.net_index("GND")
    answer = client.get(f"/api/cases/{case}/nets/{net}").json()
    assert answer["name"] == "GND"
    assert {p["side"] for p in answer["points"]} == {"c", "s"}
    pins = {f"{p['part']}.{p['pin']}" for p in answer["points"] if p["part"]}
    stated = {p.part + "." + p.pin for p in shelved.board.netlist_points if p.net == "GND" and p.pin}
    assert stated and stated <= pins  # every pin that the IPC-D-356A file gives to GND


def test_entries_are_noted_and_taken_back(client: Client, case: str) -> None:
    """With the map compared first: until then the next step is a check on untouched copper, which proves no site at risk. 0.3 ohm typed is mostly leads."""
    client.post(f"/api/cases/{case}/areas", json={"part": "U1", "margin_mm": "3 mm"})
    client.post(f"/api/cases/{case}/entries", json={"kind": "map", "points": [], "value": "agreed"})
    step = client.get(f"/api/cases/{case}/bench").json()["step"]
    points = [step["check"]["point_a"], step["check"]["point_b"]]
    noted = client.post(f"/api/cases/{case}/entries", json={"kind": "ohms", "points": points, "value": "0,3 Ω"})
    assert noted.status_code == 201
    payload = noted.json()["entry"]["payload"]
    assert payload["ohm"] == 0.3 and payload["raw"] == "0,3 Ω"
    assert noted.json()["bench"]["progress"]["proven"] > 0
    undone = client.post(f"/api/cases/{case}/entries", json={"kind": "undo", "undoes": noted.json()["entry"]["id"]})
    assert undone.json()["bench"]["progress"]["proven"] == 0
    assert [(row["kind"], row["undone"]) for row in undone.json()["bench"]["readings"]] == [
        ("map", False),
        ("ohms", True),
    ]
    log = client.get(f"/api/cases/{case}/log").json()["entries"]
    assert [one["kind"] for one in log] == ["case", "board", "basis", "basis", "area", "map", "ohms", "undo"]


def test_a_wire_between_nets_that_belong_apart_is_answered_with_care(client: Client, case: str) -> None:
    """Origin: the demonstration machine's netlist keeps A14 (U1.4) and A13 (U5.26) apart."""
    sound = client.post(f"/api/cases/{case}/entries", json={"kind": "remark", "words": "lamp moved"}).json()
    assert sound["careful"] == []
    astray = client.post(f"/api/cases/{case}/entries", json={"kind": "patch", "points": ["U1.4", "U5.26"]}).json()
    assert len(astray["careful"]) == 1 and "A14 and A13" in astray["careful"][0]


def test_a_retry_under_the_same_id_writes_once(client: Client, case: str) -> None:
    body = {"kind": "remark", "words": "once", "entry_id": "01890000-0000-7000-8000-000000000001"}
    first, second = (client.post(f"/api/cases/{case}/entries", json=body) for _ in range(2))
    assert first.json()["entry"] == second.json()["entry"]
    assert [one["kind"] for one in client.get(f"/api/cases/{case}/log").json()["entries"]].count("remark") == 1


def test_a_drawn_area_is_kept_as_drawn(client: Client, case: str) -> None:
    corners = [[10.0, 20.0], [40.0, 20.0], [40.0, 50.5], [10.0, 50.5]]
    answer = client.post(
        f"/api/cases/{case}/areas", json={"polygon": corners, "kind": "corrosion", "severity": 1, "label": "leak"}
    )
    (area,) = answer.json()["bench"]["areas"]
    assert area["polygon"] == [v for corner in corners for v in corner] and area["label"] == "leak"


def test_photos_are_pictures_and_come_back_as_they_were(client: Client, case: str) -> None:
    out = io.BytesIO()
    Image.new("RGB", (60, 40), "#2a6").save(out, "PNG")
    sent = client.post(f"/api/cases/{case}/photos", files={"file": ("a.png", out.getvalue())}, data={"words": "front"})
    assert sent.status_code == 201
    sha = sent.json()["entry"]["payload"]["sha256"]
    back = client.get(f"/api/cases/{case}/photos/{sha}")
    assert back.content == out.getvalue() and back.headers["content-type"] == "image/png"
    for data in (b"<svg onload=alert(1)>", b"", b"\x89PNG\r\n\x1a\n broken"):
        refused = client.post(f"/api/cases/{case}/photos", files={"file": ("b.png", data)})
        assert refused.status_code == 422 and refused.json()["code"] == "PHO-002"
    assert client.get(f"/api/cases/{case}/photos/{'0' * 64}").status_code == 404


def test_an_export_taken_in_elsewhere_is_the_same_case(client: Client, case: str, shelved: ShelvedBoard) -> None:
    client.post(f"/api/cases/{case}/entries", json={"kind": "remark", "words": "hello"})
    data = client.get(f"/api/cases/{case}/export").content
    assert zipfile.ZipFile(io.BytesIO(data)).testzip() is None
    other = fake_workshop(shelved.board, shelved.graph, MemoryStore("bench-b"), first_id=5000)
    there = Client(create_app(other))
    assert there.post("/api/import", files={"file": ("case.zip", data)}).json()["new"] == 5
    assert there.get(f"/api/cases/{case}/log").json() == client.get(f"/api/cases/{case}/log").json()


def test_the_gate_opens_item_by_item_and_by_an_override(client: Client, case: str) -> None:
    def note(words: str, **options: object) -> None:
        answer = client.post(f"/api/cases/{case}/entries", json={"kind": "gate", "words": words, "options": options})
        assert answer.status_code == 201, answer.text

    def is_open() -> bool:
        return bool(client.get(f"/api/cases/{case}/gate").json()["open"])

    for item in ("intake", "orientation", "rails", "supply"):
        note("done", item=item)
    assert not is_open()
    note("", item="limit", limit_a="600 mA", abort_a="1,2 A")
    assert is_open()
    client.post(f"/api/cases/{case}/entries", json={"kind": "solder", "points": ["U2.1"]})
    assert not is_open()
    note("the owner waits", item="override")
    gate = client.get(f"/api/cases/{case}/gate").json()
    assert gate["open"] and gate["overridden"] == "the owner waits"


def test_the_record_is_a_page_and_a_pdf(client: Client, case: str) -> None:
    html = client.get(f"/api/cases/{case}/record.html")
    assert html.headers["content-type"].startswith("text/html") and "A test machine" in html.text
    pdf = PdfReader(io.BytesIO(client.get(f"/api/cases/{case}/record.pdf").content))
    assert "A test machine" in pdf.pages[0].extract_text()


def test_markup_in_words_stays_words(client: Client, case: str) -> None:
    evil = "<img src=x onerror=alert(1)>"
    client.post(f"/api/cases/{case}/entries", json={"kind": "remark", "words": evil})
    assert evil not in client.get(f"/api/cases/{case}/record.html").text
    assert client.get(f"/api/cases/{case}/story").json()["timeline"][-1]["words"].endswith(evil)


BAD = [
    ("GET", "/api/cases/77", None, 404, "CAS-001"),
    ("GET", "/api/cases/1/nets/100000", None, 404, "NET-001"),
    ("GET", "/api/cases/1/nets/x", None, 422, "API-004"),
    ("GET", "/api/nothing", None, 404, "API-005"),
    ("DELETE", "/api/cases/1", None, 405, "API-005"),
    ("GET", "/api/cases/1/find?text=U99", None, 404, "PNT-001"),
    ("POST", "/api/cases", {"title": "", "board": "demo"}, 422, "API-004"),
    ("POST", "/api/cases", {"title": "x", "board": "demo", "colour": "red"}, 422, "API-004"),
    ("POST", "/api/cases/1/entries", {"kind": "closed", "points": ["U1.1", "U1.99"]}, 404, "PNT-001"),
    ("POST", "/api/cases/1/entries", {"kind": "closed", "points": ["U1.1"]}, 422, "NOT-002"),
    ("POST", "/api/cases/1/entries", {"kind": "ohms", "points": ["U1.1", "U1.2"], "value": "many"}, 422, "VAL-001"),
    ("POST", "/api/cases/1/entries", {"kind": "dance"}, 422, "NOT-001"),
    ("POST", "/api/cases/1/areas", {"part": "U999"}, 404, "PNT-003"),
    ("POST", "/api/cases/1/areas", {"polygon": [[0, 0], [1, 1]]}, 422, "ARE-005"),
    ("POST", "/api/cases/1/practice/ask", {"points": ["U1.1", "U1.2"]}, 422, "PRA-012"),
    ("POST", "/api/import", {}, 422, "API-004"),
]


@pytest.mark.parametrize(("method", "path", "body", "status", "code"), BAD, ids=lambda v: str(v)[:40])
def test_every_refusal_has_one_shape_and_says_what_to_do(
    client: Client, case: str, method: str, path: str, body: dict[str, object] | None, status: int, code: str
) -> None:
    before = len(client.get(f"/api/cases/{case}/log").json()["entries"])
    answer = client.request(method, path, json=body)
    assert (answer.status_code, answer.json()["code"]) == (status, code), answer.text
    assert set(answer.json()) == FINDING and answer.json()["words"] and answer.json()["remedy"]
    assert len(client.get(f"/api/cases/{case}/log").json()["entries"]) == before


def test_broken_json_is_refused_in_the_same_shape(client: Client) -> None:
    answer = client.post("/api/cases", content=b'{"title": ', headers={"content-type": "application/json"})
    assert answer.status_code == 422 and set(answer.json()) == FINDING


def test_unknown_names_get_the_nearest_ones(client: Client, case: str) -> None:
    answer = client.get(f"/api/cases/{case}/find", params={"text": "GMD"}).json()
    assert "GND" in answer["remedy"]
