"""``coppermend heat preheat`` as the bench types it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from coppermend.cli import cli
from coppermend.core.findings import Refusal

SIZE = ("--size", "120x90", "--heater", "air")


def run(*words: str) -> Result:
    """One command; a refusal stays an exception here (main prints it and ends with 2)."""
    return CliRunner().invoke(cli, ["heat", "preheat", *words])


def test_the_plan_as_json() -> None:
    done = run(*SIZE, "--heater-c", "135", "--target-c", "95", "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.output)
    assert 60 < found["time_s"] < 900
    assert found["time_range_s"][0] < found["time_s"] < found["time_range_s"][1]
    assert found["hottest_c"] >= 95 and 135 < found["setting_c"] < 150 and found["holds"]
    assert {one["name"]: one["kept"] for one in found["held"]}["laminate, hottest place"]
    assert all(one["source"] for one in found["held"])
    assert found["fit"] is None and found["spot"] is None and found["cautions"]
    topics = [one.split(":")[0] for one in found["assumed"]]
    assert topics == ["Board", "Heater", "Losses", "Time", "Setting", "Rates", "Bow", "Cooling", "Spot"]


def test_the_demonstration_board_in_words_with_hot_air() -> None:
    done = run("demo", "--heater", "plate", "--heater-c", "170", "--target-c", "90", "--nozzle", "100,80,15")
    assert done.exit_code == 0, done.output
    for words in (
        "All of the heated area is at 90 degC",
        "Limits of the preheat, before the hot air",
        "Assumed:",
        "Batteries and cells",
        "10 mm beside it",
    ):
        assert words in done.output


def test_readings_correct_it(tmp_path: Path) -> None:
    before = json.loads(run(*SIZE, "--heater-c", "135", "--target-c", "95", "--json").output)
    # the computed curve itself, run at half the speed: a board with more heat or a weaker film
    rows = [(2 * one[0], one[3]) for one in before["curve"]]
    path = tmp_path / "readings.csv"
    path.write_text("s;degC\n" + "\n".join(f"{a:g};{b:.1f}" for a, b in rows), encoding="utf-8")
    done = run(*SIZE, "--heater-c", "135", "--target-c", "95", "--readings", str(path), "--json")
    assert done.exit_code == 0, done.output
    after = json.loads(done.output)
    assert after["fit"]["follows"]
    assert after["time_s"] == pytest.approx(2 * before["time_s"], rel=0.12)
    assert "left between readings and model" in after["fit"]["words"]


def test_a_heater_too_cool_ends_with_one() -> None:
    done = run(*SIZE, "--heater-c", "80", "--target-c", "95")
    assert done.exit_code == 1
    assert "does not reach" in done.output


def test_limits_that_are_not_kept_stand_first_with_a_setting_that_keeps_them() -> None:
    """Air of 500 degC: laminate over Tg less 10 K, 8 K/s (that the setting named keeps them: tests/facts/test_heat_plan.py)."""
    done = run("--size", "60x40", "--heater", "air", "--heater-c", "500", "--json")
    found = json.loads(done.output)
    assert done.exit_code == 1 and not found["holds"]
    assert found["words"].startswith("Limits are not kept at 500 degC: laminate, hottest place")
    assert f"Set the heater to {found['keeps_c']:.0f} degC instead" in found["words"]


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--heater", "air", "--heater-c", "150"), "HEA-010"),
        (("demo", "--size", "120x90", "--heater", "air", "--heater-c", "150"), "HEA-010"),
        (("--size", "wide", "--heater", "air", "--heater-c", "150"), "HEA-010"),
        (("--size", "120x-90", "--heater", "air", "--heater-c", "150"), "HEA-001"),
        ((*SIZE, "--heater-c", "1500"), "HEA-002"),
        ((*SIZE, "--heater-c", "150", "--area", "500,500,600,600"), "HEA-003"),
        ((*SIZE, "--heater-c", "150", "--target-c", "140"), "HEA-006"),
        ((*SIZE, "--heater-c", "150", "--readings", "nowhere.csv"), "HEA-008"),
        ((*SIZE, "--heater-c", "150", "--nozzle", "10,10"), "HEA-010"),
    ],
)
def test_bad_input_is_said(words: tuple[str, ...], code: str) -> None:
    done = run(*words)
    assert isinstance(done.exception, Refusal), done.output
    assert done.exception.finding.code == code and done.exception.finding.remedy


def test_a_readings_file_that_is_not_there_is_told_in_our_words(tmp_path: Path) -> None:
    """The person at the bench reads which file is missing, never the operating system's error number."""
    for path, words in ((tmp_path / "none.csv", "There is no file none.csv"), (tmp_path, "cannot be read")):
        done = run(*SIZE, "--heater-c", "150", "--readings", str(path))
        assert isinstance(done.exception, Refusal), done.output
        told = done.exception.finding
        assert told.code == "HEA-008" and words in told.words and "Errno" not in told.line()
