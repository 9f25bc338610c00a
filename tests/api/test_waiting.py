"""What a case waits for: noted, dated, ended by another entry, taken back, shown in the case, the list and the record."""

from __future__ import annotations

import pytest
from tests.api.conftest import Client

from coppermend.core.findings import Refusal
from coppermend.core.log.fold import fold
from coppermend.services.casefinding import Asked, find_cases
from coppermend.services.cases import case_state, new_case
from coppermend.services.heads import head_of
from coppermend.services.notes import undo
from coppermend.services.recording.plainly import _waited
from coppermend.services.waiting import wait_for, wait_over, waits_of
from coppermend.services.workshop import Workshop


def head_waits(shop: Workshop, case: str) -> str:
    """As the list shows it; the head that grew entry by entry says the same as one made of the whole log."""
    shown = next(row.waits for row in find_cases(shop, Asked()).cases if row.id == case)
    assert shown == head_of(shop.store.entries(case)).waits
    return shown


def code_of(act: object) -> str:
    with pytest.raises(Refusal) as caught:
        act()  # type: ignore[operator]
    assert caught.value.finding.words and caught.value.finding.remedy
    return caught.value.finding.code


def test_several_waits_begin_and_end_each_by_an_entry(shop: Workshop) -> None:
    case = new_case(shop, "demo", "a").state.case
    other = new_case(shop, "demo", "b").state.case
    first = wait_for(shop, case, "part", "EPROM 2764", until="2020-01-31")
    assert first.words == "waits for: part, EPROM 2764, until 2020-01-31"
    assert head_waits(shop, case) == "part: EPROM 2764, until 2020-01-31"
    number = shop.store.number_of(other)
    wait_for(shop, case, "case", other=str(number))
    rows = waits_of(shop, case)
    assert (
        [one.wait.what for one in rows] == ["part", "case"] and rows[1].other == number and rows[1].wait.case == other
    )
    assert rows[0].late and "that is past" in rows[0].words and not rows[1].late
    assert code_of(lambda: wait_over(shop, case)) == "WAI-004", "which of the two?"
    wait_over(shop, case, str(first.entry.bench_seq), "came by post")
    assert head_waits(shop, case) == f"case {number}"
    assert code_of(lambda: wait_over(shop, case, str(first.entry.bench_seq))) == "WAI-004"
    wait_over(shop, case)
    assert head_waits(shop, case) == "" and all(one.wait.ended_at for one in waits_of(shop, case))
    undo(shop, case)
    assert head_waits(shop, case) == f"case {number}", "the word that it is over was taken back"
    undo(shop, case, str(first.entry.bench_seq))
    assert [one.what for one in case_state(shop, case).waits] == ["case"]
    said = dict(_waited(case_state(shop, case)))
    assert said == {f"Waits still for case: case {number}": "less than a day"}


def test_the_fold_takes_waits_in_any_order_of_arrival(shop: Workshop) -> None:
    case = new_case(shop, "demo", "a").state.case
    wait_for(shop, case, "owner", "may the mask be scraped?")
    wait_over(shop, case)
    entries = shop.store.entries(case)
    assert fold(reversed(entries)).waits == fold(entries).waits == case_state(shop, case).waits
    assert head_of(reversed(entries)).waits == ""


def test_what_is_no_wait_is_refused(shop: Workshop) -> None:
    case = new_case(shop, "demo", "a").state.case
    for asked, code in (
        (("weather", "sun"), "WAI-001"), (("part", "x", "tomorrow"), "WAI-002"), (("case", "x"), "WAI-003"), (("part", " "), "WAI-005"),
    ):  # fmt: skip
        assert code_of(lambda a=asked: wait_for(shop, case, a[0], a[1], until=a[2] if len(a) > 2 else "")) == code
    assert code_of(lambda: wait_for(shop, case, "case", other=case)) == "WAI-003"
    assert code_of(lambda: wait_for(shop, case, "part", "x", other=case)) == "WAI-003"
    assert code_of(lambda: wait_over(shop, case)) == "WAI-004"
    assert case_state(shop, case).waits == ()


def test_over_http_the_same_entry_sent_twice_is_one(client: Client, case: str) -> None:
    body = {"what": "tool", "words": "hot air", "entry_id": "01900000-0000-7000-8000-000000000001"}
    for _ in range(2):
        assert client.post(f"/api/cases/{case}/waits", json=body).status_code == 201
    rows = client.get(f"/api/cases/{case}/waits").json()["waits"]
    assert [(one["what"], one["ended_at"], one["line"]) for one in rows] == [
        ("tool", "", "waits for tool: hot air (since today)")
    ]
    assert client.post(f"/api/cases/{case}/waits", json={"what": "rain", "words": "x"}).status_code == 422
    assert client.post(f"/api/cases/{case}/waits/over", json={"which": "99"}).json()["code"] == "NOT-003"
    assert client.post(f"/api/cases/{case}/waits/over", json={}).status_code == 201
    assert client.get(f"/api/cases/{case}/waits").json()["waits"][0]["ended_at"]
