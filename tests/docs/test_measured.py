"""The page of measured numbers is what its results say, and the check can fail. On red: python tools/measured.py"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from benchmarks.__main__ import shown
from tools import measured

GOOD: dict[str, Any] = {
    "benchmark": "one", "commit": "c" * 40, "command": "python -m benchmarks one", "python": "3.11", "versions": {"numpy": "2"},
    "machine": "any", "seconds": {"median": 3.0}, "board": "demo",
}  # fmt: skip
TABLES = """[[table]]
name = "one"
title = "One"
column = "board"
rows = [{field = "seconds.median", words = "median (s)", target = "<= 4"}]
"""


def kept(folder: Path, tables: str = TABLES, **said: Any) -> Path:
    """A folder with one result and its table."""
    (folder / "one.demo.json").write_text(json.dumps({**GOOD, **said}), encoding="utf-8")
    (folder / "tables.toml").write_text(tables, encoding="utf-8")
    return folder


def test_the_page_is_what_the_results_say() -> None:
    assert measured.PAGE.read_text(encoding="utf-8") == measured.page()


def test_no_result_names_a_place_on_a_machine() -> None:
    results = measured.results()
    assert results
    for one in results:
        assert len(one.said["commit"]) == 40, one.name
        assert " /" not in one.said["command"], one.name


def test_another_number_is_another_page(tmp_path: Path) -> None:
    before = measured.page(kept(tmp_path))
    after = measured.page(kept(tmp_path, seconds={"median": 4.5}))
    assert "| median (s) | <= 4 | 3 |" in before
    assert "| median (s) | <= 4 | 4.5 **missed** |" in after


@pytest.mark.parametrize("word", measured.STATED)
def test_a_result_that_does_not_say_where_it_came_from_is_refused(word: str, tmp_path: Path) -> None:
    with pytest.raises(measured.Wrong, match=word if word != "benchmark" else "one"):
        measured.page(kept(tmp_path, **{word: ""}))


def test_a_result_without_a_table_is_refused(tmp_path: Path) -> None:
    kept(tmp_path)
    (tmp_path / "two.demo.json").write_text(json.dumps({**GOOD, "benchmark": "two"}), encoding="utf-8")
    with pytest.raises(measured.Wrong, match="two"):
        measured.page(tmp_path)


def test_a_row_that_no_result_has_is_refused(tmp_path: Path) -> None:
    with pytest.raises(measured.Wrong, match="mean"):
        measured.page(kept(tmp_path, TABLES.replace("seconds.median", "seconds.mean")))


def test_a_target_that_cannot_be_compared_is_refused(tmp_path: Path) -> None:
    with pytest.raises(measured.Wrong, match="fast"):
        measured.page(kept(tmp_path, TABLES.replace("<= 4", "fast")))


def test_a_kept_command_hides_this_machine() -> None:
    place = str(Path("boards").absolute() / "one")
    assert shown(["board_build", "--package", place]) == "python -m benchmarks board_build --package FOLDER/one"
