"""The list of cases over HTTP: pages, filters, search, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest
from tests.api.conftest import Client
from tests.fakes import MemoryStore, fake_workshop
from tests.three_machines import IDS, machines, say

from coppermend.api.app import create_app


@pytest.fixture
def desk() -> Client:
    """A server over three machines; nothing here asks for a board."""
    store = MemoryStore()
    machines(store)
    return Client(create_app(fake_workshop(None, None, store)))  # type: ignore[arg-type]


def numbers(desk: Client, **asked: Any) -> list[int]:
    return [one["number"] for one in desk.get("/api/cases", params=asked).json()["cases"]]


def test_a_line_of_the_list_says_state_hours_and_parts(desk: Client) -> None:
    answer = desk.get("/api/cases", params={"q": "u10"}).json()
    (row,) = answer["cases"]
    assert (row["title"], row["owner"], row["state"], row["hours"], row["parts"]) == (
        "Quillmere II", "Müller", "returned", 0.17, ["U10 exchanged with C7"],
    )  # fmt: skip
    assert (row["hit"], row["hit_at"]) == ("swapped: U10, C7 in", "2026-03-01T09:00:00.000Z")
    assert answer["states"] == {"on the bench": 2, "returned": 1} and answer["in_all"] == 3


def test_filters_and_search_work_together(desk: Client) -> None:
    assert numbers(desk) == [3, 2, 1] and numbers(desk, order="last") == [2, 1, 3]
    assert numbers(desk, state=["returned", "ready"]) == [1] and numbers(desk, q="quillmere", state="on the bench") == [
        3
    ]
    assert (
        numbers(desk, board_of="2") == [2]
        and numbers(desk, board_of="3") == []
        and numbers(desk, since="2026-04") == []
    )
    assert numbers(desk, waits="true") == [] and numbers(desk, q="???") == []


def test_pages_follow_each_other_while_cases_are_opened(desk: Client) -> None:
    first = desk.get("/api/cases", params={"limit": 2}).json()
    assert [one["number"] for one in first["cases"]] == [3, 2] and first["after"] == "2"
    store = desk._app.state.desk.do(lambda w: w.store)
    say(store, IDS.new(), "case", title="A new one")
    last = desk.get("/api/cases", params={"limit": 2, "after": first["after"]}).json()
    assert [one["number"] for one in last["cases"]] == [1] and last["after"] == ""


@pytest.mark.parametrize(
    "asked", [{"state": "lost"}, {"order": "size"}, {"since": "yesterday"}, {"after": "x"}, {"after": "9" * 12}]
)
def test_what_is_no_filter_is_refused_in_words(desk: Client, asked: dict[str, str]) -> None:
    answer = desk.get("/api/cases", params=asked)
    assert answer.status_code == 422 and answer.json()["code"] == "CAS-009" and answer.json()["remedy"]


def test_a_limit_that_is_none_is_refused(desk: Client) -> None:
    assert desk.get("/api/cases", params={"limit": 0}).status_code == 422
    assert desk.get("/api/cases", params={"limit": 201}).status_code == 422
