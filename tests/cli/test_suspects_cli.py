"""The commands of the work under power, from the board to a named suspect."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from coppermend.bootstrap import device_book, workshop
from coppermend.cli import cli
from coppermend.services.areas import add_area
from coppermend.services.cases import new_case
from coppermend.services.notes import note
from coppermend.services.requests import Request
from coppermend.services.suspects import suspects_for_case


def run(store: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["--store", str(store), *words])
    return done.exit_code, done.output


def test_readings_of_a_case_change_its_suspects(tmp_path: Path) -> None:
    """A clock that is right at its driver and floats at the processor: the copper between them, not the processor."""
    assert run(tmp_path, "case", "new", "--board", "demo", "--title", "T", "--complaint", "dark")[0] == 0
    before = json.loads(run(tmp_path, "suspects", "1", "--json")[1])
    for words in (
        "level U1.6 floating",
        "level U1.6 floating",
        "hertz U19.8 4.000MHz",
        "volts U1.11 5.02V",
        "level U3.17 pulsing",
    ):
        assert run(tmp_path, "note", "1", *words.split())[0] == 0
    code, text = run(tmp_path, "suspects", "1", "--json")
    after = json.loads(text)
    first = after["suspects"][0]
    assert first["net"] == "CPUCLK" and first["kind"] == "span" and first["p"] > 0.5 > 0.1 > before["suspects"][0]["p"]
    assert any("floating" in one["words"] for one in first["for"])
    assert len(after["used"]) == 6 and not after["unused"]
    assert (code == 0) == bool(after["named"])
    step = after["next"]
    assert step is None or step["kind"] in ("check", "apart") or step["words"].startswith("Pass the gate")


def test_a_symptom_by_the_screens_name_counts_and_the_one_after_a_repair_counts_anew(tmp_path: Path) -> None:
    """``code=`` of a symptom is the screen of the machine's file, as the page sends it; after a swap the new one speaks, the old one stays in the log."""
    assert run(tmp_path, "case", "new", "--board", "demo", "--title", "T", "--complaint", "dark")[0] == 0
    assert run(tmp_path, "note", "1", "symptom", "a", "steady", "raster", "code=blank")[0] == 0

    def seen() -> list[str]:
        view = json.loads(run(tmp_path, "suspects", "1", "--json", "--map")[1])
        return [one["seen"] for one in view["course"] if "raster" in one["seen"]]

    assert len(seen()) == 1 and "empty raster" in seen()[0]
    assert run(tmp_path, "note", "1", "swap", "U1")[0] == 0
    code, text = run(tmp_path, "note", "1", "symptom", "code=garbage", "--json")
    entry = json.loads(text)["entry"]
    assert code == 0 and entry["payload"]["code"] == "garbage" and entry["payload"]["words"] == "garbage"
    assert "letters at random" in seen()[-1]


def test_a_symptom_whose_screen_the_machine_does_not_have_is_told_as_unused(tmp_path: Path) -> None:
    assert run(tmp_path, "case", "new", "--board", "demo", "--title", "T", "--complaint", "dark")[0] == 0
    assert run(tmp_path, "note", "1", "symptom", "code=plaid")[0] == 0
    unused = json.loads(run(tmp_path, "suspects", "1", "--json")[1])["unused"]
    assert any("'plaid'" in one["words"] and "no such screen" in one["words"] for one in unused), unused


def test_expect_prints_pins(tmp_path: Path) -> None:
    code, text = run(tmp_path, "expect", "demo", "--part", "U1", "--json")
    pins = {one["pin"]: one for one in json.loads(text)["pins"]}
    assert code == 0 and len(pins) == 40 and pins["U1.6"]["hz"] == 4e6


@pytest.mark.parametrize("policy", ["next"])
def test_practice_with_faults_of_any_kind(tmp_path: Path, policy: str) -> None:
    code, text = run(
        tmp_path,
        "practice",
        "run",
        "--board",
        "demo",
        "--faults",
        "1",
        "--kinds",
        "parts",
        "--seed",
        "3",
        "--policy",
        policy,
        "--json",
    )
    row = json.loads(text)
    assert {"steps", "seconds_bench", "named", "named_true", "top3_true"} <= set(row)
    assert (code == 0) == row["named_true"] and row["steps"] == len(row["acts"]) and row["top3_true"]


def test_a_replaced_socket_is_proven_or_the_symptom_chased_on_one_clock(tmp_path: Path) -> None:
    """Both ways stand with their times; what the bench lacks is not proposed; a shorted rail leaves only what needs no power."""
    made = workshop(str(tmp_path / "store"))
    case = new_case(made, "demo", "Machine", complaint="dark").state.case
    add_area(made, case, part="U1", margin_mm=3.0)
    book = device_book(str(tmp_path / "store"))
    found = suspects_for_case(made, case, book, without=("wave", "heat")).as_dict()
    both = found["copper_first"]
    assert both["checks"] > 20 and both["prove_s"] > 60 and both["chase_one_s"] > 0
    assert both["better"] == ("prove" if both["prove_all_s"] < both["chase_all_s"] else "chase")
    assert "Prove all copper" in both["words"] and "Chase the symptom" in both["words"]
    assert {one["kind"] for one in (found["next"], *found["instead"])}.isdisjoint({"wave", "heat"})
    assert all(one["risk"] and one["gain_per_minute"] > 0 for one in (found["next"], *found["instead"]))
    note(made, case, Request("ohms", ("U1.11", "U1.29"), "0.4"))
    short = suspects_for_case(made, case, book).as_dict()
    assert "Do not switch on" in short["stop"]
    assert {one["kind"] for one in (short["next"], *short["instead"])} <= {"check", "apart", "inspect"}
