"""``coppermend starts`` and readings with a condition: counted, judged, refused, and what the suspects make of them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from coppermend.bootstrap import device_book, machine_model, workshop
from coppermend.cli import cli
from coppermend.services.bind import bind
from coppermend.services.cases import new_case
from coppermend.services.notes import note
from coppermend.services.startwork import note_starts
from coppermend.services.suspects import starts_of_case, suspects_for_case
from coppermend.services.typed import request_from_words


def test_counted_starts_and_a_reading_taken_while_it_worked(tmp_path: Path) -> None:
    store = str(tmp_path / "store")
    made = workshop(store)
    case = new_case(made, "demo", "Machine", complaint="starts now and then").state.case
    book, model = device_book(store), machine_model("demo")
    for args in (
        ("starts", "1"),
        ("starts", "1", "0/4", "--when", "cold"),
        ("starts", "1", "4/4", "--when", "warm", "--json"),
    ):
        done = CliRunner().invoke(cli, ["--store", store, *args], catch_exceptions=False)
        assert done.exit_code == 0
    view = json.loads(done.output)
    assert [(t["condition"], t["good"], t["of"]) for t in view["tallies"]] == [("cold", 0, 4), ("warm", 4, 4)]
    assert view["mixed"] and 0.5 < view["comes_and_goes"] <= 1
    assert [(one["condition"], one["share"], one["needed"]) for one in view["prove"]] == [("cold", 0.8333, 2)], (
        "it never failed warm; (1 / 6)^2 = 0.028 < 0.05"
    )
    assert view["good_starts_to_prove"] == 2 and view["fails_share"] == 0.8333 and "cold" in view["words"][1]
    note(made, case, request_from_words(made, case, "level", ["U1.6", "pulsing", "when=warm"]))
    note(made, case, request_from_words(made, case, "level", ["U1.6", "floating", "when=cold"]))
    assert [one.condition for one in bind(made, case).state.readings] == ["warm", "cold"]
    found = suspects_for_case(made, case, book, model)
    assert any("always worked" in words for _, words in found.unused)
    assert any("0 of 4 starts good (cold)" in words for _, words in found.used)
    note(made, case, request_from_words(made, case, "solder", ["U1.6"]))
    again = starts_of_case(made, case, book, model)
    assert again["tallies"] == [] and [one["counts"] for one in again["noted"]] == [False, False]
    assert again["prove"][0]["done"] == 0 and "2 more in a row" in again["words"][0]
    for count, when, left in ((5, "warm", 2), (1, "cold", 1), (1, "cold", 0)):
        note_starts(made, case, count, count, condition=when)
        again = starts_of_case(made, case, book, model)
        assert (again["good_starts_to_prove"], again["comes_and_goes"]) == (left, None), (
            "warm starts prove nothing cold"
        )
    note_starts(made, case, 0, 1, condition="vibration")
    again = starts_of_case(made, case, book, model)
    assert [one["condition"] for one in again["prove"]] == ["vibration"] and again["comes_and_goes"] is not None


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("6/5",), "STR-001"),
        (("0/0",), "STR-001"),
        (("often",), "STR-001"),
        (("3/5", "--when", "full moon"), "STR-002"),
        (("3/5", "--when", "freeze spray"), "STR-003"),
        (("3/5", "--when", "cold", "--part", "U1"), "STR-003"),
        (("3/5", "--when", "heat", "--part", "U99"), "PNT-003"),
        (("3/5", "--minutes", "-1"), "STR-003"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path: Path, words: tuple[str, ...], code: str) -> None:
    from coppermend.core.findings import Refusal
    from coppermend.services.startwork import parsed

    made = workshop(str(tmp_path / "store"))
    case = new_case(made, "demo", "Machine").state.case
    options = dict(zip(words[1::2], words[2::2], strict=True))
    with pytest.raises(Refusal) as err:
        good, of = parsed(words[0])
        minutes = options.get("--minutes")
        note_starts(
            made,
            case,
            good,
            of,
            condition=options.get("--when", ""),
            part=options.get("--part", ""),
            minutes=None if minutes is None else float(minutes),
        )
    assert err.value.finding.code == code and err.value.finding.remedy
    assert not bind(made, case).state.starts


def test_a_condition_that_is_none_is_refused(tmp_path: Path) -> None:
    from coppermend.core.findings import Refusal

    made = workshop(str(tmp_path / "store"))
    case = new_case(made, "demo", "Machine").state.case
    with pytest.raises(Refusal) as err:
        request_from_words(made, case, "level", ["U1.6", "low", "when=tuesday"])
    assert err.value.finding.code == "NOT-007"
