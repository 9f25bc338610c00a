"""Intake, supply and chips over HTTP: the same answers as the services, refusals in words."""

from __future__ import annotations

from tests.api.conftest import Client


def test_intake_supply_and_gate(client: Client, case: str) -> None:
    said = client.post(f"/api/cases/{case}/intake", json={"item": "known good", "yes": True, "words": "own monitor"})
    assert said.status_code == 201 and "own monitor" in said.json()["words"]
    client.post(f"/api/cases/{case}/intake", json={"item": "consent", "yes": True, "acts": ["unsolder"]})
    now = client.get(f"/api/cases/{case}/intake").json()
    assert {one["act"]: one["answer"] for one in now["acts"]}["unsolder"] == "yes" and "known good" not in now["left"]
    body = {"rail": "VCC", "volt": "5.02V", "load": "1,5A", "ripple": "30mV", "rise": "20ms"}
    noted = client.post(f"/api/cases/{case}/supply", json=body)
    assert noted.status_code == 201 and noted.json()["supply"]["rails"][0]["proven"]
    supply = client.get(f"/api/cases/{case}/supply").json()
    assert supply["to_ground"] and supply["rails"][0]["draw"]["limit_a"] > supply["rails"][0]["draw"]["abort_a"]
    gate = {one["item"]: one for one in client.get(f"/api/cases/{case}/gate").json()["items"]}
    assert gate["supply"]["done"] and not gate["intake"]["done"] and "minimum" in gate["intake"]["words"]
    assert gate["intake"]["title"] == "Display, cables and the minimum to start"


def test_chips_and_the_work_on_one(client: Client, case: str) -> None:
    card = client.post(f"/api/cases/{case}/chips", json={"chip": "C7", "type": "Z80A", "place": "stock", "price": 3})
    assert card.status_code == 201 and card.json()["chips"][0]["at_hand"]
    tick = client.post(f"/api/cases/{case}/chips/U1/checks", json={"item": "legs", "good": False, "pins": "7,8"})
    assert tick.status_code == 201 and "Put right first: legs" in tick.json()["work"]["now"]
    act = {"kind": "swap", "part": "U1", "options": {"with": "C7", "trial": True, "effect": "none"}}
    assert client.post(f"/api/cases/{case}/entries", json=act).status_code == 201
    work = client.get(f"/api/cases/{case}/chips/U1").json()
    assert work["stock"][0]["chip"] == "C7" and len(work["pins"]) == 40 and work["state"] == "socketed"
    found = client.get(f"/api/cases/{case}/chips").json()
    assert {"part": "U1", "value": "Z80A", "state": "socketed", "chip": ""} in found["parts"]


def test_refusals_over_http(client: Client, case: str) -> None:
    for path, body, code in (
        ("intake", {"item": "colour"}, "INT-001"),
        ("intake", {"item": "consent"}, "INT-002"),
        ("supply", {"rail": "VXX", "volt": "5V"}, "SUP-001"),
        ("supply", {"rail": "VCC", "volt": "OL"}, "SUP-002"),
        ("supply", {"rail": "VCC", "volt": "many"}, "VAL-001"),
        ("chips", {"chip": ""}, "CHP-001"),
        ("chips/U1/checks", {"item": "colour"}, "CHP-004"),
        ("chips/U1/checks", {"item": "legs", "pins": "8-3"}, "CHP-005"),
    ):
        answer = client.post(f"/api/cases/{case}/{path}", json=body)
        assert answer.json()["code"] == code and answer.json()["remedy"], (path, body, answer.text)
    assert client.get(f"/api/cases/{case}/supply/short").json()["code"] == "SUP-006"
    assert client.get(f"/api/cases/{case}/chips/U999").json()["code"] == "PNT-003"
