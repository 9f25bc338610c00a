"""Rework over HTTP: the same answers as the services, refusals in words."""

from __future__ import annotations

from tests.api.conftest import Client


def test_removal_care_and_supply(client: Client, case: str) -> None:
    """The plan of a part, a step ticked, the supply of a short between two named nets."""
    plan = client.get(f"/api/cases/{case}/removal/U1").json()
    assert {"number", "k_per_w", "rank", "reasons"} <= set(plan["pins"][0]) and plan["order"]
    done = client.post(f"/api/cases/{case}/care", json={"procedure": "mask", "step": "clean", "state": "started"})
    assert done.status_code == 201 and "mask" in done.json()["words"] and done.json()["care"]["cautions"]
    found = client.get(f"/api/cases/{case}/care").json()["procedures"]
    assert found[0]["procedure"] == "mask" and any(one["state"] == "started" for one in found[0]["steps"])
    supply = client.get(f"/api/cases/{case}/short/supply", params={"net_a": "D5", "net_b": "D6"}).json()
    assert supply["open_v"] == 0.3 and supply["drops"]


def test_refusals_over_http(client: Client, case: str) -> None:
    assert client.get(f"/api/cases/{case}/removal/U999").json()["code"] == "PNT-003"
    assert client.post(f"/api/cases/{case}/care", json={"procedure": "x", "step": "y"}).json()["code"] == "CAR-001"
    assert client.get(f"/api/cases/{case}/short/supply").json()["code"] == "SHO-001"
