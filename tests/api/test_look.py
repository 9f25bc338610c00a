"""The looks of a case over HTTP: the tour, findings noted and refused, contradictions, a side looked over."""

from __future__ import annotations

from tests.api.conftest import Client


def test_the_tour_and_what_was_found(client: Client, case: str) -> None:
    where = f"/api/cases/{case}/look"
    assert client.get(where).json()["sides"] == []
    client.post(f"/api/cases/{case}/areas", json={"part": "U1"})
    view = client.get(where).json()
    pins = [pin for side in view["sides"] for stop in side["stops"] for pin in stop["pins"] if side["side"] == "s"]
    assert len(view["sides"]) == 2 and {f"U1.{k}" for k in range(1, 41)} <= set(pins) and len(pins) == len(set(pins))
    assert all(one["gain_bits"] > 0 and one["seconds"] in (60, 80) for one in view["sides"])
    assert view["map"]["outline"] and view["map"]["photos"] == [] and "qualified" in view["caution"]
    made = client.post(where, json={"points": ["U1.3"], "finding": "cracked joint", "side": "s"})
    assert made.status_code == 201 and "cracked joint" in made.json()["words"]
    client.post(where, json={"points": ["U1.3"], "finding": "cracked joint", "seen": False})
    after = client.get(where).json()
    assert [one["seen"] for one in after["said"]] == [True, False] and "continuity" in after["conflicts"][0]["settles"]
    area = view["sides"][0]["area"]
    assert client.post(where, json={"area": area, "side": "c"}).status_code == 201
    assert [one["looked"] for one in client.get(where).json()["sides"]] == [True, False]


def test_the_same_look_sent_twice_is_one_entry(client: Client, case: str) -> None:
    body = {"points": ["U1.3"], "finding": "lifted land", "entry_id": "01900000-0000-7000-8000-0000000000aa"}
    for _ in range(2):
        assert client.post(f"/api/cases/{case}/look", json=body).status_code == 201
    assert len(client.get(f"/api/cases/{case}/look").json()["said"]) == 1


def test_what_cannot_be_is_refused_in_words(client: Client, case: str) -> None:
    for body in (
        {"finding": "gremlins"},
        {"finding": "solder bridge", "points": ["U1.3"]},
        {"area": "x", "side": "c"},
        {"side": "c"},
    ):
        answer = client.post(f"/api/cases/{case}/look", json=body)
        assert answer.status_code == 422 and answer.json()["code"].startswith("LOK-") and answer.json()["remedy"], body
    assert client.post(f"/api/cases/{case}/look", json={"gremlin": 1}).status_code == 422
