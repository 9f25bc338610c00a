"""Memory tests, ROM read-outs, compared readings, free runs and diagnostics over HTTP: noted, judged, refused in words."""

from __future__ import annotations

import zlib

import pytest
from tests.api.conftest import Client

WORDS = "range 8000-FFFF\n" + "".join(f"{0x8000 + k:04X} 55 5D\n" for k in range(10))


def test_a_memory_test_is_explained_and_noted(client: Client, case: str) -> None:
    made = client.post(f"/api/cases/{case}/memory", files={"file": ("errors.txt", WORDS.encode(), "text/plain")})
    assert made.status_code == 201 and made.json()["named"] == ["part U53"] and made.json()["noted"]["ref"]
    typed = client.post(f"/api/cases/{case}/memory", data={"text": WORDS})
    assert typed.json()["named"] == ["part U53"]
    for body in ({"text": "nonsense"}, {"text": "8000 55 55"}, {"text": ""}):
        bad = client.post(f"/api/cases/{case}/memory", data=body)
        assert bad.status_code == 422 and bad.json()["code"].startswith("MEM-") and bad.json()["remedy"]


def test_a_rom_is_checked_and_noted(client: Client, case: str) -> None:
    data = bytes((7 * k + (k >> 5)) % 256 for k in range(8192))
    listed = f"U4 basic.bin {zlib.crc32(data):08x}"
    right = client.post(
        f"/api/cases/{case}/roms", data={"part": "U4", "list_text": listed}, files={"file": ("u4.bin", data)}
    )
    assert right.status_code == 201 and right.json()["verdict"] == "right" and right.json()["noted"]["ref"]
    wrong = bytearray(data)
    wrong[100] ^= 0x10
    one = client.post(
        f"/api/cases/{case}/roms",
        data={"part": "U4", "list_text": listed},
        files=[("file", ("a.bin", bytes(wrong))), ("good", ("b.bin", data))],
    )
    assert one.json()["verdict"] not in ("right", "no list")
    none = client.post(f"/api/cases/{case}/roms", data={"list_text": listed}, files={"file": ("u4.bin", data)})
    assert none.status_code == 422 and none.json()["code"] == "ROM-006"


def test_readings_are_compared(client: Client, case: str) -> None:
    empty = client.get(f"/api/cases/{case}/readings/compared")
    assert empty.status_code == 422 and empty.json()["code"] == "CMP-001"
    for k, pin in enumerate((14, 15, 12, 8, 7, 9, 10, 13)):
        client.post(
            f"/api/cases/{case}/entries",
            json={"kind": "diode", "points": [f"U1.{pin}", "U1.29"], "value": "0.21V" if k == 5 else f"0.6{k}V"},
        )
    found = client.get(f"/api/cases/{case}/readings/compared").json()
    assert (
        found["readings"] == 8 and [one["pin"] for one in found["odd"]] == ["U1.9"] and "discharged" in found["caution"]
    )
    assert client.get(f"/api/cases/{case}/readings/compared", params={"alpha": 2}).json()["code"] == "CMP-004"


def test_a_free_run_and_a_diagnostic(client: Client, case: str) -> None:
    view = client.get(f"/api/cases/{case}/bringup").json()
    assert (
        view["processor"]["type"] == "Z80"
        and view["processor"]["clocks"] == 4
        and len(view["diagnostics"][0]["steps"]) == 5
    )
    run = client.post(f"/api/cases/{case}/freerun", json={"lines": ["A0=500k", "A1=250k", "A2=0"], "clock_hz": 4e6})
    assert run.status_code == 201 and [one["verdict"] for one in run.json()["lines"]] == ["right", "right", "still"]
    step = client.post(f"/api/cases/{case}/diagnostic", json={"passed": 2})
    assert step.status_code == 201 and "passed 2 steps" in step.json()["words"]
    assert [one["kind"] for one in client.get(f"/api/cases/{case}/bringup").json()["noted"]] == [
        "freerun",
        "diagnostic",
    ]


@pytest.mark.parametrize(
    ("route", "body", "code"),
    [
        ("freerun", {"lines": ["A0=fast", "A1=1"], "clock_hz": 4e6}, "FRR-002"),
        ("freerun", {"lines": ["A0=1", "A30=1"], "clock_hz": 4e6}, "FRR-003"),
        ("freerun", {"lines": ["A0=1"], "clock_hz": 4e6}, "FRR-001"),
        ("diagnostic", {"passed": 9}, "DIA-002"),
        ("diagnostic", {"passed": 1, "name": "another"}, "DIA-001"),
        ("starts", {"good": 7, "of": 5}, "STR-001"),
        ("starts", {"good": 1, "of": 5, "condition": "heat"}, "STR-003"),
    ],
)
def test_what_cannot_be_is_refused(client: Client, case: str, route: str, body: dict[str, object], code: str) -> None:
    answer = client.post(f"/api/cases/{case}/{route}", json=body)
    assert answer.status_code == 422 and answer.json()["code"] == code and answer.json()["remedy"]


def test_small_parts_with_what_was_read_across_them(client: Client, case: str) -> None:
    rows = client.get(f"/api/cases/{case}/parts/small").json()["parts"]
    large = next(one for one in rows if one["kind"] == "electrolytic" and one["value"] == 100e-6)
    assert "shorted" in large["faults"] and large["read"] == []
    ends = [f"{large['ref']}.1", f"{large['ref']}.2"]
    client.post(f"/api/cases/{case}/entries", json={"kind": "ohms", "points": ends, "value": "0.4"})
    after = client.get(f"/api/cases/{case}/parts/small").json()["parts"]
    assert next(one for one in after if one["ref"] == large["ref"])["read"][0]["bad"] is True


def test_starts_over_http(client: Client, case: str) -> None:
    assert client.post(f"/api/cases/{case}/starts", json={"good": 3, "of": 5, "condition": "cold"}).status_code == 201
    view = client.get(f"/api/cases/{case}/starts").json()
    assert view["tallies"][0]["good"] == 3 and view["mixed"] and view["comes_and_goes"] > 0.5
