"""Solder and heat over HTTP: the command line's answers, refusals in words, the bench not held up."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from tests.api.conftest import Client

from coppermend.services.cases import new_case
from coppermend.services.workshop import Workshop


def opened(shop: Workshop) -> str:
    return new_case(shop, "demo", "T").state.case


def test_alloys_and_a_mixture(client: Client) -> None:
    rows = {row["name"]: row for row in client.get("/api/alloys").json()["alloys"]}
    assert rows["Sn63Pb37"]["liquidus_c"] == 183.0
    found = client.post("/api/alloys/mix", json={"base": "Sn63Pb37", "add": "Sn42Bi58", "share": 0.5}).json()
    # NIST Bi-Pb-Sn: ternary eutectic 98.0 degC
    assert found["solidus_c"] == pytest.approx(98.0, abs=0.1) and found["warnings"]
    bad = client.post("/api/alloys/mix", json={"base": "Sn63Pb30", "add": "Sn42Bi58", "share": 0.5})
    assert bad.status_code == 422 and bad.json()["code"] == "ALY-002" and bad.json()["remedy"]
    assert client.post("/api/alloys/mix", json={"base": "Sn63Pb37", "add": "Sn42Bi58"}).json()["code"] == "ALY-006"


def test_doses_for_a_part_with_the_diagram(client: Client, shop: Workshop) -> None:
    case = opened(shop)
    asked = {"base": "Sn63Pb37", "add": "Bi52Pb32Sn16", "keep_c": 140, "part": "U1"}
    found = client.post(f"/api/cases/{case}/alloys", json=asked).json()
    assert found["pins"] == 40 and found["reaches"] and "40 joints" in found["joint_words"]
    assert ET.fromstring(found["diagram"]).tag.endswith("svg")
    assert client.post(f"/api/cases/{case}/alloys", json={**asked, "part": "U999"}).json()["code"] == "ALY-010"
    weighed = client.post(f"/api/cases/{case}/alloys", json={**asked, "part": "", "old_mg": 12.0, "pins": 14}).json()
    assert weighed["pins"] == 14 and weighed["joint"] is None


def test_no_doses_for_a_cell(client: Client, shop: Workshop) -> None:
    """BT1 is a cell: no doses, from the board's holes or by weight, its cautions instead (common practice, no source)."""
    path = f"/api/cases/{opened(shop)}/alloys"
    asked = {"base": "Sn63Pb37", "add": "Bi52Pb32Sn16", "keep_c": 130, "part": "BT1"}
    for body in (asked, {**asked, "old_mg": 12.0}):
        answer = client.post(path, json=body)
        assert answer.status_code == 422 and answer.json()["code"] == "ALY-011"
        assert "itself a cell" in answer.json()["words"] and "dose_mg_per_pin" not in answer.json()


def test_warming_the_board_of_a_case(client: Client, shop: Workshop) -> None:
    case = opened(shop)
    asked = {"heater": "air", "heater_c": 150, "target_c": 90, "nozzle": {"x_mm": 100, "y_mm": 80, "diameter_mm": 15}}
    found = client.post(f"/api/cases/{case}/preheat", json=asked).json()
    assert found["time_s"] > 30 and found["spot"]["words"] and found["cautions"]
    assert [one for one in found["held"] if not one["source"]] == []
    bad = client.post(f"/api/cases/{case}/preheat", json={**asked, "target_c": 140})
    assert bad.status_code == 422 and bad.json()["code"] == "HEA-006"
    lines = client.post(f"/api/cases/{case}/preheat", json={**asked, "readings": "0;22\nwarm;30"})
    assert lines.json()["code"] == "HEA-008"


def test_a_gauge_of_wire(client: Client) -> None:
    """30 AWG: 338.6 ohm/km at 20 degC (tables after ASTM B258), 0.2546 mm across; what cannot be is refused in words."""
    found = client.get("/api/wires/gauge", params={"awg": 30, "length_mm": 100}).json()
    assert abs(found["resistance_ohm"] - 0.03386) < 5e-5 and abs(found["diameter_mm"] - 0.2546) < 1e-4
    assert len(found["assumed"]) == 2
    for wrong in ({"awg": 70, "length_mm": 100}, {"awg": 30, "length_mm": -5}):
        refused = client.get("/api/wires/gauge", params=wrong)
        assert refused.status_code == 422 and refused.json()["code"].startswith("WIR-") and refused.json()["remedy"]
