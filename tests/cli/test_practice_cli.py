"""``coppermend practice`` as a person and as a foreign program use it, on the demonstration machine: fixed fields, exit status, refusals."""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from coppermend.cli import cli
from coppermend.core.findings import Refusal

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def run() -> Callable[..., Result]:
    def call(*args: str, text: str | None = None) -> Result:
        return CliRunner().invoke(cli, ["practice", *args], input=text, standalone_mode=False)

    return call


def test_run_prints_the_fixed_fields_and_the_same_seed_gives_the_same_run(run: Callable[..., Result]) -> None:
    args = ("run", "--board", "demo", "--breaks", "2", "--seed", "4", "--noise", "off", "--json")
    first, second = run(*args), run(*args)
    row = json.loads(first.output)
    assert {"breaks", "found", "false_alarms", "checks", "seconds_bench", "proven", "unprovable"} <= set(row)
    assert row == json.loads(second.output)
    assert row["breaks"] == 2
    assert row["found_provable"] == row["breaks_provable"]
    assert first.return_value == 0


def test_patient_prints_the_truth_that_run_is_marked_by(run: Callable[..., Result], tmp_path: Path) -> None:
    truth = json.loads(run("patient", "--board", "demo", "--breaks", "2", "--seed", "4", "--json").output)
    assert len(truth["broken"]) == 2
    handed = tmp_path / "truth.json"
    handed.write_text(json.dumps({"broken": [one["site"] for one in truth["broken"]]}), encoding="utf-8")
    again = json.loads(run("patient", "--board", "demo", "--truth", str(handed), "--json").output)
    assert again["broken"] == truth["broken"]


def test_batch_lines_hold_announcements_steps_times_bound_isolation_and_certificate(run: Callable[..., Result]) -> None:
    result = run("batch", "--board", "demo", "--breaks", "0-1", "--seeds", "4-5", "--noise", "off", "--jsonl")
    rows = [json.loads(line) for line in result.output.splitlines()]
    assert [r["seed"] for r in rows] == [4, 5]
    assert [r["breaks"] for r in rows] == [0, 1]
    for row in rows:
        assert set(row["updates_ms"]) == {"p50", "p95", "max"}
        assert row["isolation"]["checks"] > 0
        assert row["bound"] == row["certificate"]["bound"] == row["certificate"]["checks"]
        assert sum(s["seconds"] for s in row["steps"]) == pytest.approx(row["seconds_bench"])
        assert len(row["steps"]) == row["checks"]
        for one in row["announced"]:
            assert {"unit", "points", "sites", "p", "at_check", "true"} <= set(one)
    assert rows[0]["checks"] == rows[0]["bound"]


def test_the_certificate_of_the_demonstration_machine_is_confirmed_outside(
    run: Callable[..., Result], tmp_path: Path
) -> None:
    file = tmp_path / "certificate.json"
    file.write_text(run("certificate", "--board", "demo", "--json").output, encoding="utf-8")
    checker = ROOT / "tools" / "check_certificate.py"
    done = subprocess.run([sys.executable, "-I", str(checker), str(file)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_the_referee_asks_outside_and_ends_with_what_it_found(run: Callable[..., Result]) -> None:
    """A foreign patient whose copper is whole: closed to every step."""
    result = run("referee", "--board", "demo", "--policy", "next", "--jsonl", text="closed\n" * 400)
    rows = [json.loads(line) for line in result.output.splitlines()]
    last = rows.pop()
    assert last["kind"] == "result"
    assert last["checks"] == len(rows) == last["bound"]
    assert last["announced"] == [] and last["not_settled"] == []
    for row in rows:
        assert row["kind"] == "check" and 0.0 <= row["p"] <= 1.0 and row["seconds"] > 0
        assert all({"x_mm", "y_mm", "side"} <= set(p) for p in row["points"]) and len(row["points"]) == 2


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (("run", "--board", "demo", "--policy", "guess"), "PRA-008"),
        (("run", "--board", "demo", "--socket", "U999"), "PRA-006"),
        (("run", "--board", "demo", "--breaks", "many"), "PRA-020"),
        (("run", "--board", "demo", "--truth", "nowhere.json"), "PRA-021"),
        (("run", "--board", "demo", "--false-open", "2"), "PRA-007"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(run: Callable[..., Result], args: tuple[str, ...], code: str) -> None:
    result = run(*args)
    assert isinstance(result.exception, Refusal)
    assert code in str(result.exception)


def test_answers_that_are_none_or_end_too_early_are_refused(run: Callable[..., Result]) -> None:
    for text, code in (("", "PRA-022"), ("perhaps\n", "PRA-023")):
        result = run("referee", "--board", "demo", text=text)
        assert isinstance(result.exception, Refusal)
        assert code in str(result.exception)


def test_a_break_behind_a_point_without_stand_in_comes_to_an_end(run: Callable[..., Result]) -> None:
    """Every reading across this break ends at U1.12, so its P stays below ``advice_above``: it is named all the same, and nothing is asked for ever."""
    row = json.loads(
        run("batch", "--board", "demo", "--breaks", "1", "--seeds", "5", "--noise", "off", "--jsonl").output
    )
    asked = Counter(frozenset(point["id"] for point in step["points"]) for step in row["steps"])
    assert row["found_provable"] == row["breaks_provable"] == 1
    assert row["false_alarms"] == 0
    assert max(asked.values()) <= 8  # MOST_REPEATS of core/planning/localise.py
    assert len(row["steps"]) < 150
