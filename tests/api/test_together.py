"""Two people on one case: the same check answered at both screens is one reading; different answers are both kept; nothing is lost."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from tests.api.conftest import Client

from coppermend.services.carework import seconds_between
from coppermend.services.cases import case_state
from coppermend.services.workshop import Workshop

ID = "01911111-0000-7000-8000-0000000000"


@pytest.fixture
def check(client: Client, case: str) -> list[str]:
    """The points of the first check."""
    client.post(f"/api/cases/{case}/areas", json={"part": "U1"})
    found = client.get(f"/api/cases/{case}/next").json()["check"]
    return [found["point_a"], found["point_b"]]


def answer(
    client: Client, case: str, kind: str, points: list[str], after: str | None, no: int, value: str = ""
) -> dict[str, Any]:
    """One screen's answer under an id of its own."""
    body = {"kind": kind, "points": points, "value": value, "after": after, "entry_id": f"{ID}{no:02d}"}
    done = client.post(f"/api/cases/{case}/entries", json=body)
    assert done.status_code == 201, done.text
    found: dict[str, Any] = done.json()
    return found


def kinds(shop: Workshop, case: str) -> list[str]:
    """The readings that count."""
    return [one.kind for one in case_state(shop, case).readings]


def test_the_same_answer_from_two_screens_is_one_reading(
    client: Client, shop: Workshop, case: str, check: list[str]
) -> None:
    first = answer(client, case, "closed", check, "", 1)
    second = answer(client, case, "closed", check[::-1], "", 2)
    assert not first["already"] and second["already"] and second["entry"]["id"] == first["entry"]["id"]
    assert kinds(shop, case) == ["closed"]
    assert second["bench"]["mark"] == first["bench"]["mark"]


def test_two_clients_at_the_very_same_moment(client: Client, shop: Workshop, case: str, check: list[str]) -> None:
    gate, said = threading.Barrier(8), []

    def one(no: int) -> None:
        gate.wait()
        said.append(answer(client, case, "closed", check, "", no))

    threads = [threading.Thread(target=one, args=(no,)) for no in range(1, 9)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(said) == 8 and sum(not one["already"] for one in said) == 1
    assert kinds(shop, case) == ["closed"]


def test_different_answers_are_both_kept_and_it_is_said(
    client: Client, shop: Workshop, case: str, check: list[str]
) -> None:
    answer(client, case, "closed", check, "", 1)
    other = answer(client, case, "open", check, "", 2)
    assert not other["already"] and "closed" in other["differs"]
    assert kinds(shop, case) == ["closed", "open"]
    overload = answer(client, case, "ohms", check, "", 3, "OL")
    value = answer(client, case, "ohms", check, "", 4, "0.3")
    again = answer(client, case, "ohms", check, "", 5, "0.31")
    assert (overload["already"], value["already"], again["already"]) == (False, False, True)


def test_a_repeated_measurement_of_ones_own_is_a_second_reading(
    client: Client, shop: Workshop, case: str, check: list[str]
) -> None:
    first = answer(client, case, "open", check, "", 1)
    second = answer(client, case, "open", check, first["entry"]["id"], 2)
    assert not second["already"] and kinds(shop, case) == ["open", "open"]


def test_a_retry_and_a_silent_client_are_as_before(client: Client, shop: Workshop, case: str, check: list[str]) -> None:
    first = answer(client, case, "closed", check, "", 1)
    again = answer(client, case, "closed", check, "", 1)
    assert again["entry"] == first["entry"] and not again["already"]
    quiet = answer(client, case, "closed", check, None, 2)
    assert not quiet["already"] and kinds(shop, case) == ["closed", "closed"]


def test_an_answer_that_was_taken_back_does_not_stand_in_the_way(
    client: Client, shop: Workshop, case: str, check: list[str]
) -> None:
    first = answer(client, case, "closed", check, "", 1)
    client.post(f"/api/cases/{case}/entries", json={"kind": "undo", "undoes": first["entry"]["id"]})
    assert not answer(client, case, "closed", check, "", 2)["already"]


def test_another_check_is_another_reading(client: Client, shop: Workshop, case: str, check: list[str]) -> None:
    first = answer(client, case, "closed", check, "", 1)
    nxt = first["bench"]["step"]["check"]
    assert not answer(client, case, "closed", [nxt["point_a"], nxt["point_b"]], "", 2)["already"]
    assert kinds(shop, case) == ["closed", "closed"]


def test_a_late_answer_is_dated_when_it_was_given(client: Client, shop: Workshop, case: str, check: list[str]) -> None:
    """``waited_s`` is taken off the time of writing; more than the case is old is a clock that leaped: dated now."""
    body = {"kind": "closed", "points": check, "entry_id": f"{ID}31", "waited_s": 2.5}
    late = client.post(f"/api/cases/{case}/entries", json=body).json()["entry"]
    leaped = {**body, "entry_id": f"{ID}32", "waited_s": 4e9}
    now = client.post(f"/api/cases/{case}/entries", json=leaped).json()["entry"]
    # the fake clock goes on 1 s a question, 0 or more of them before the entry is written
    assert 2.5 <= seconds_between(late["observed_at"], late["recorded_at"]) <= 5.5
    assert now["observed_at"] == now["recorded_at"] > late["recorded_at"]
    back = {"kind": "undo", "entry_id": f"{ID}33", "waited_s": 3.5}
    undone = client.post(f"/api/cases/{case}/entries", json=back).json()["entry"]
    assert undone["observed_at"] < undone["recorded_at"]
    assert client.post(f"/api/cases/{case}/entries", json={**body, "waited_s": -1}).status_code == 422


def test_the_count_of_acts_goes_on_where_the_readings_sent_are_cut(
    client: Client, case: str, check: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page tells the same pair once more from the check before by this count."""
    monkeypatch.setattr("coppermend.api.views.LAST_READINGS", 2)
    said = [answer(client, case, "open", check, None, no)["bench"] for no in range(41, 45)]
    assert [(len(one["readings"]), one["acts"]) for one in said] == [(1, 1), (2, 2), (2, 3), (2, 4)]
