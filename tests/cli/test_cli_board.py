"""``coppermend board`` as a person uses it: words, JSON with its fixed names, exit status."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from tests.facts.test_board_packages import PLACES
from tests.ports.test_board_cache import write_package

from coppermend.cli import cli
from coppermend.core.findings import Refusal


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("COPPERMEND_CACHE", str(tmp_path / "cache"))

    def call(*args: str) -> Result:
        return CliRunner().invoke(cli, ["board", *args], standalone_mode=False)

    return call


def netlist(shift_inch: float = 0.0, swap: bool = False) -> str:
    """IPC-D-356 records of the hand-made package: net Nxx at each place, units of 0.0001 inch (UNITS CUST 0)."""
    rows = ["P  CODE 00", "P  UNITS CUST 0"]
    for k, (x, y) in enumerate(PLACES):
        net = f"N{(k // 2 if swap else k):02d}"
        at = "".join(f"{axis}{round((v / 25.4 + shift_inch) * 10000):+07d}" for axis, v in (("X", x), ("Y", y)))
        rows.append(f"317{net:<14}   U1    -{k + 1:<4} D0315PA00{at}X0630Y0000R000S3")
    return "\n".join([*rows, "999"]) + "\n"


def test_build_says_what_was_found_and_guessed(run, tmp_path: Path) -> None:
    result = run("build", str(write_package(tmp_path / "board")))
    assert result.exit_code == 0
    assert "board: 2 copper layers, 20 nets" in result.output and "20 holes (20 plated)" in result.output
    assert "guess PKG-010" in result.output


def test_compare_prints_one_object_with_the_fixed_names(run, tmp_path: Path) -> None:
    folder = write_package(tmp_path / "board")
    (folder / "board.ipc").write_text(netlist(shift_inch=0.5))
    result = run("compare", str(folder), "--json")
    assert result.return_value == 0
    said = json.loads(result.output)
    wanted = {
        "points",
        "agree",
        "missed",
        "split_nets",
        "joined_nets",
        "origin_shift_mm",
        "sources",
        "findings",
        "seconds",
    }
    assert wanted <= set(said)
    assert (said["points"], said["agree"]) == (20, 20)
    assert said["origin_shift_mm"] == pytest.approx(
        [-12.7, -12.7], abs=0.003
    )  # 0.5 inch, written in steps of 0.0001 inch
    assert {"total", "parse"} <= set(said["seconds"])


def test_compare_answers_one_when_copper_and_netlist_disagree(run, tmp_path: Path) -> None:
    folder = write_package(tmp_path / "board")
    (folder / "board.ipc").write_text(netlist(swap=True))
    result = run("compare", str(folder))
    assert result.return_value == 1
    assert "10 split" in result.output and "do not agree" in result.output


def test_compare_without_any_netlist_is_refused(run, tmp_path: Path) -> None:
    result = run("compare", str(write_package(tmp_path / "board")))
    assert isinstance(result.exception, Refusal) and result.exception.finding.code == "BRD-040"


def test_nets_lists_copper_and_netlist_alike(run, tmp_path: Path) -> None:
    folder = write_package(tmp_path / "board")
    (folder / "board.ipc").write_text(netlist())
    copper = json.loads(run("nets", str(folder), "--json").output)
    listed = json.loads(run("nets", str(folder), "--json", "--from", "board.ipc").output)
    by_copper = {net["name"]: [(p["part"], p["pin"]) for p in net["points"]] for net in copper["nets"]}
    by_list = {net["name"]: [(p["part"], p["pin"]) for p in net["points"]] for net in listed["nets"]}
    assert by_copper == by_list and len(by_copper) == 20


@pytest.mark.parametrize(
    ("args", "code", "near"), [(("--net", "N0O"), "BRD-042", "N00"), (("--from", "bord.ipc"), "BRD-041", "board.ipc")]
)
def test_unknown_names_get_the_nearest_ones(run, tmp_path: Path, args, code: str, near: str) -> None:
    folder = write_package(tmp_path / "board")
    (folder / "board.ipc").write_text(netlist())
    result = run("nets", str(folder), *args)
    assert isinstance(result.exception, Refusal)
    assert result.exception.finding.code == code and near in result.exception.finding.remedy


def test_a_package_that_is_not_there_is_refused_in_words(run) -> None:
    result = run("build", "no-such-folder")
    assert isinstance(result.exception, Refusal) and result.exception.finding.code == "FIL-001"
