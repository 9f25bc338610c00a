"""``coppermend heat read``: parts cold and hot found in pictures of every kind, laid by taps that miss; and what it does to suspects."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from tests.thermal_pictures import Floats, csv_of, picture, png_of, seen_at, tiff_of

from coppermend import bootstrap
from coppermend.cli import cli
from coppermend.core.board.model import Board
from coppermend.core.findings import Refusal
from coppermend.core.thermal.greybody import apparent_c
from coppermend.core.thermal.scale import Mark
from coppermend.services.thermalfile import read_thermal

AIR_C = 22.0
WARM = {
    **{f"U{k}": 33.0 for k in (1, 2, 4, 5, 22, 26, 27, 29, *range(50, 58))},
    **{f"U{k}": 29.0 for k in (3, 20, 28, 30, 35, 36, 41)},
}
TAPPED = ("U1.1", "U57.8", "U2.20", "U50.1", "U22.40", "U4.14")


@pytest.fixture(scope="module")
def board() -> Board:
    return bootstrap.open_board("demo")


def run(store: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["--store", str(store), *words])
    if isinstance(done.exception, Refusal):
        return 2, done.exception.finding.line()
    return done.exit_code, done.output


def taps(board: Board, view: Floats, miss_px: float = 1.0) -> list[str]:
    pins = {pin.name: (pin.x_mm, pin.y_mm) for part in board.parts for pin in part.pins}
    rng = np.random.default_rng(7)
    found = []
    for name in TAPPED:
        x, y = seen_at(view, pins[name])[0] + rng.normal(0, miss_px, 2)
        found += ["--tap", f"{name}={x:.1f},{y:.1f}"]
    return found


def made(board: Board, size: tuple[int, int], emissivity: float = 0.9, **other: float) -> tuple[Floats, Floats]:
    """What a camera set to emissivity 1 shows of the board."""
    celsius, view = picture(board, {**WARM, **other}, AIR_C, size)
    return apparent_c(celsius, emissivity, AIR_C), view


@pytest.mark.parametrize(("kind", "size"), [("csv", (160, 120)), ("png", (320, 240)), ("tiff", (640, 480))])
def test_a_cold_and_a_hot_chip_are_found(tmp_path: Path, board: Board, size: tuple[int, int], kind: str) -> None:
    """U1 dead cold, U9 far too hot; taps miss by a pixel. Temperatures within 1 K at 640 x 480 (blur decides at 160 x 120)."""
    seen, view = made(board, size, U1=26.0, U9=60.0)
    file, marks = tmp_path / f"x.{kind}", []
    if kind == "png":
        data, both = png_of(seen, 15.0, 65.0)
        marks = [word for one in both for word in ("--scale", one)]
    else:
        data = csv_of(seen) if kind == "csv" else tiff_of(seen.astype(np.float32))
    file.write_bytes(data)
    code, text = run(
        tmp_path, "heat", "read", str(file), "--board", "demo", "--air-c", "22", *taps(board, view), *marks, "--json"
    )
    said = json.loads(text)
    assert code == 1 and said["hot"] == ["U9"] and said["cold"] == ["U1"]
    rows = {one["part"]: one for one in said["parts"]}
    assert rows["U22"]["verdict"] == "even" and rows["J1"]["verdict"] == "unknown"
    assert abs(rows["U22"]["celsius"] - 33.0) < 1.0 and abs(rows["U1"]["celsius"] - 26.0) < 1.5
    if size == (640, 480):
        assert abs(rows["U9"]["celsius"] - 60.0) < 1.5
    assert any("mirror" in one for one in said["cautions"]) and said["registration"]["tap_mm"] < 4.0


def test_against_a_good_board_and_before_power(tmp_path: Path, board: Board) -> None:
    """A good board in a room 4 K colder, and this board before power, all at 22 degC: both say U53 stays cold; U40 is hot beside the good one."""
    seen, view = made(board, (320, 240), U53=27.0, U40=52.0)
    good, _ = made(board, (320, 240))
    for name, values in (("now", seen), ("good", good - 4.0), ("before", np.full_like(seen, 22.0))):
        (tmp_path / f"{name}.csv").write_bytes(csv_of(values))
    words = [
        "heat",
        "read",
        str(tmp_path / "now.csv"),
        "--board",
        "demo",
        "--air-c",
        "22",
        *taps(board, view, 0.3),
        "--json",
    ]
    for option in ("good", "before"):
        said = json.loads(run(tmp_path, *words, f"--{option}", str(tmp_path / f"{option}.csv"))[1])
        assert said["against"] == option and said["cold"] == ["U53"] and said["hot"] == ["U40"]


def test_a_case_keeps_the_picture_and_its_suspects_change(tmp_path: Path, board: Board) -> None:
    """A processor that stays cold while its neighbours warm up: dead, or without supply; a picture where all are even takes that back when it is undone."""
    assert run(tmp_path, "case", "new", "--board", "demo", "--title", "T", "--complaint", "dark")[0] == 0
    before = {
        one["unit"]: one["p"]
        for one in json.loads(run(tmp_path, "suspects", "1", "--most", "50", "--json")[1])["suspects"]
    }
    seen, view = made(board, (320, 240), U1=24.0)
    file = tmp_path / "cold.csv"
    file.write_bytes(csv_of(seen))
    code, text = run(tmp_path, "heat", "read", str(file), "--case", "1", "--air-c", "22", *taps(board, view), "--json")
    said = json.loads(text)
    assert code == 1 and said["cold"] == ["U1"] and said["noted"]["entry"]["kind"] == "heat"
    after = json.loads(run(tmp_path, "suspects", "1", "--most", "50", "--json")[1])
    rows = {one["unit"]: one for one in after["suspects"]}
    assert rows["part U1"]["p"] > 2 * before["part U1"]
    assert any("cold that should be warm" in one["words"] for one in rows["part U1"]["for"])
    assert any(one["words"].startswith("U1 cold") for one in after["used"])
    assert rows.get("part U22", {"p": 0.0})["p"] < before["part U22"], "an even chip is less suspect"
    course = json.loads(run(tmp_path, "suspects", "1", "--map", "--json")[1])["course"]
    told = [one["seen"] for one in course if one["kind"] == "heat"]
    assert told == ["the thermal picture: U1 cold that should be warm"], "the odd parts, not every part of the picture"
    assert run(tmp_path, "note", "1", "undo")[0] == 0
    undone = {
        one["unit"]: one["p"]
        for one in json.loads(run(tmp_path, "suspects", "1", "--most", "50", "--json")[1])["suspects"]
    }
    assert undone == before


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((), "THM-005"),
        (("--tap", "U1.1=10,10"), "MAP-001"),
        (("--tap", "U999.1=10,10"), "MAP-013"),
        (("--whole", "--emissivity", "0.01"), "THM-006"),
    ],
)
def test_without_a_place_it_says_what_to_tap(tmp_path: Path, board: Board, words: tuple[str, ...], code: str) -> None:
    file = tmp_path / "x.csv"
    file.write_bytes(csv_of(made(board, (160, 120))[0]))
    status, text = run(tmp_path, "heat", "read", str(file), "--board", "demo", *words)
    assert status == 2 and code in text and "Traceback" not in text


def test_mirrored_taps_are_refused(tmp_path: Path, board: Board) -> None:
    seen, view = made(board, (160, 120))
    file = tmp_path / "x.csv"
    file.write_bytes(csv_of(seen[:, ::-1]))
    mirrored = [
        word
        if word == "--tap"
        else f"{word.split('=')[0]}={159 - float(word.split('=')[1].split(',')[0])},{word.split(',')[1]}"
        for word in taps(board, view)
    ]
    status, text = run(tmp_path, "heat", "read", str(file), "--board", "demo", *mirrored)
    assert status == 2 and "mirrored" in text


@pytest.mark.parametrize("air", [(), ("--air-c", "15")])
def test_a_picture_without_contrast_judges_no_part(tmp_path: Path, board: Board, air: tuple[str, ...]) -> None:
    """A lens cap, power off, a picture taken at once: a camera's noise of 0.1 K (data sheets: 50 to 100 mK) is no cold chip."""
    flat = 22.0 + np.random.default_rng(3).normal(0.0, 0.1, (120, 160))
    file = tmp_path / "flat.csv"
    file.write_bytes(csv_of(flat))
    code, said = run(tmp_path / "s.db", "heat", "read", str(file), "--board", "demo", "--whole", *air)
    assert code == 0 and "THM-010" in said and "none judged" in said and "cold that should be warm" not in said
    assert "not refined by the parts' edges" in said and "--air " not in said


def test_text_named_as_a_picture_is_no_picture() -> None:
    with pytest.raises(Refusal, match=r"THM-001.*no picture"):
        read_thermal(b"hello", "board.png", (Mark((1.0, 1.0), 20.0), Mark((1.0, 9.0), 40.0)))
