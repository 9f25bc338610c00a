"""``case numbers`` and ``map fix``: what they change, that it can be taken back, and what they refuse."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from coppermend.cli import cli
from coppermend.core.findings import Refusal


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("store")
    say(folder, "case", "new", "--board", "demo", "--title", "Machine")
    say(folder, "area", "add", "1", "--part", "U1")
    return folder


def say(store: Path, *words: str) -> str:
    done = CliRunner().invoke(cli, ["--store", str(store), *words], standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.output


def test_the_first_checks_of_a_real_case_ask_whether_the_map_is_of_this_board(store: Path) -> None:
    step = json.loads(say(store, "next", "1", "--json"))
    assert step["kind"] == "check"
    assert "untouched net" in step["reason"]
    say(store, "map", "fix", "1", "agreed", "--words", "type and date compared")
    told = CliRunner().invoke(cli, ["--store", str(store), "map", "check", "1"], standalone_mode=False).output
    assert "The readings on untouched copper alone (0) would leave P(map wrong) at 0.050" in told
    after = json.loads(say(store, "next", "1", "--json"))
    assert "untouched net" not in after["reason"]
    say(store, "note", "1", "undo")
    assert "untouched net" in json.loads(say(store, "next", "1", "--json"))["reason"]


def test_a_contradiction_is_raised_and_a_correction_settles_it(store: Path) -> None:
    check = json.loads(say(store, "next", "1", "--json"))["check"]
    for _ in range(2):
        say(store, "note", "1", "open", check["point_a"], check["point_b"])
    step = json.loads(say(store, "next", "1", "--json"))
    assert step["kind"] in ("retest", "check", "look")
    say(store, "map", "fix", "1", "apart", check["point_a"])
    found = json.loads(
        CliRunner().invoke(cli, ["--store", str(store), "map", "check", "1", "--json"], standalone_mode=False).output
    )
    assert all(r["joined"] == r["closed"] for r in found["readings"])


def test_numbers_are_shown_and_changed_and_nonsense_is_refused(store: Path) -> None:
    now = json.loads(say(store, "case", "numbers", "1", "--json"))
    assert now["priors"]["prior_in"]["joint"] == 0.04
    say(store, "case", "numbers", "1", "--set", "priors.prior_in.joint=0.08", "--set", "costs.read_s=2")
    now = json.loads(say(store, "case", "numbers", "1", "--json"))
    assert (now["priors"]["prior_in"]["joint"], now["costs"]["read_s"]) == (0.08, 2.0)
    for words in ("priors.nothing=1", "priors.prior_in.joint=3", "priors.false_open=much", "priors.false_open=1"):
        with pytest.raises(Refusal):
            say(store, "case", "numbers", "1", "--set", words)


@pytest.mark.parametrize("number", ["nan", "inf", "-1", "1e9"])
def test_a_typed_number_that_cannot_be_is_answered_with_how_to_type_it(store: Path, number: str) -> None:
    with pytest.raises(Refusal) as said:
        say(store, "case", "numbers", "1", "--set", f"priors.false_open={number}")
    assert "CAS-008" in str(said.value) and "--set" in str(said.value) and "from its source" not in str(said.value)
