"""Schematics over HTTP: attached, searched, drawn, refused in words."""

from __future__ import annotations

from tests.api.conftest import Client
from tests.facts.test_schematic import WORDS, pdf


def test_a_schematic_is_kept_and_searched(client: Client, case: str) -> None:
    where = f"/api/cases/{case}/schematics"
    empty = client.get(where).json()
    assert empty["schematics"] == [] and empty["map"]["parts"]
    assert client.get(f"{where}/find", params={"text": "U1"}).json()["code"] == "SCH-006"
    made = client.post(where, files={"file": ("sheet.pdf", pdf(WORDS), "application/pdf")})
    assert made.status_code == 201
    row = client.get(where).json()["schematics"][0]
    assert row["searchable"] and [p["number"] for p in row["pages"]] == [1, 2]
    found = client.get(f"{where}/find", params={"text": "U1.1"}).json()
    assert {one["text"] for one in found["hits"]} == {"1", "A11"} and found["on_board"]["what"] == "pin"
    drawn = client.get(f"{where}/{row['entry']}/pages/1")
    assert drawn.status_code == 200 and drawn.headers["content-type"] == "image/png" and drawn.content[:4] == b"\x89PNG"
    for answer, code in (
        (client.get(f"{where}/{row['entry']}/pages/9"), "SCH-004"),
        (client.get(f"{where}/nothing/pages/1"), "SCH-007"),
        (client.get(f"{where}/find"), "SCH-005"),
        (client.post(where, files={"file": ("a.pdf", b"no pdf")}), "SCH-001"),
    ):
        assert answer.status_code == 422 and answer.json()["code"] == code and answer.json()["remedy"]
