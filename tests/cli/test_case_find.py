"""``coppermend case list|find`` on three machines in a store on disk."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from pathlib import Path

import pytest
from tests.cli_runner import Run
from tests.three_machines import IDS, machines, say

from coppermend.adapters.storage.sqlite import SqliteStore


@pytest.fixture
def run(plain_run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("COPPERMEND_STORE", str(tmp_path / "store"))
    with contextlib.closing(SqliteStore(str(tmp_path / "store"), "a")) as store:
        machines(store)
    return plain_run


def test_the_list_says_where_each_machine_is(run: Run) -> None:
    status, out, _ = run("case", "list")
    lines = out.splitlines()
    assert status == 0 and lines[0].split()[0] == "3" and lines[-1] == "3 cases in all: 2 on the bench, 1 returned."
    assert any("Quillmere II, serial E031234, Müller  [main board]  returned; 4 entries" in one for one in lines)
    assert any("0.17 h, U10 exchanged with C7" in one for one in lines)
    assert [one["number"] for one in json.loads(run("case", "list", "--json")[1])] == [1, 2, 3]
    assert [one["number"] for one in json.loads(run("case", "list", "--state", "returned", "--json")[1])] == [1]
    assert "No case is like that." in run("case", "list", "--waiting")[1]


def test_a_long_list_comes_in_pages(run: Run) -> None:
    status, out, _ = run("case", "list", "--limit", "2")
    assert status == 0 and "More follow: add --after 2" in out and "Quillmere II" not in out
    assert "Quillmere II" in run("case", "list", "--limit", "2", "--after", "2")[1]
    assert [one["number"] for one in json.loads(run("case", "list", "--by", "last", "--json")[1])] == [2, 1, 3]


def test_find_shows_the_entry_that_says_it(run: Run) -> None:
    status, out, _ = run("case", "find", "larkenfell", "d3:open")
    assert status == 0 and "2026-03-01  open: U1.8/leg and U7.3/leg" in out and "Quillmere" not in out
    assert [one["number"] for one in json.loads(run("case", "find", "quill*", "--json")[1])["cases"]] == [3, 1]
    assert "No case says all of: quillmere sunshine." in run("case", "find", "quillmere", "sunshine")[1]


def test_more_words_than_are_looked_for_are_said(run: Run) -> None:
    out = run("case", "find", *["black", "screen", "e031234", "quillmere", "ii", "muller", "u10", "c7", "returned"])[1]
    assert "The first 8 words were looked for." in out and "Quillmere II" in out


def test_a_list_that_was_damaged_is_made_anew(run: Run, tmp_path: Path) -> None:
    with contextlib.closing(sqlite3.connect(tmp_path / "store" / "coppermend.db")) as line:
        line.execute("DELETE FROM terms WHERE term = 'larkenfell'")
        line.commit()
    status, out, _ = run("store", "check")
    assert status == 1 and "STO-019" in out and "store check --rebuild" in out
    assert run("case", "find", "larkenfell")[1].startswith("No case says")
    assert run("store", "check", "--rebuild")[0] == 0 and "Larkenfell" in run("case", "find", "larkenfell")[1]


def test_a_damaged_page_of_the_list_is_mended_too(run: Run, tmp_path: Path) -> None:
    """A page of the table of terms overwritten on disk: the search says what to do, the logs are whole, and what it says helps."""
    database = tmp_path / "store" / "coppermend.db"
    with contextlib.closing(sqlite3.connect(database)) as line:
        line.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        size = line.execute("PRAGMA page_size").fetchone()[0]
        root = line.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'terms'").fetchone()[0]
    data = bytearray(database.read_bytes())
    data[(root - 1) * size : root * size] = b"\xa5" * size
    database.write_bytes(bytes(data))
    assert run("case", "list")[0] == 0
    status, out, _ = run("store", "check")
    assert status == 1 and "STO-019" in out and f"page {root} of the index terms" in out
    if run("store", "check", "--rebuild")[0] != 0:
        assert run("store", "copy", "--to", str(tmp_path / "copy"))[0] == 0
        assert "Larkenfell" in run("--store", str(tmp_path / "copy"), "case", "find", "larkenfell")[1]


def test_a_machine_that_goes_back_moves_in_the_list(run: Run, tmp_path: Path) -> None:
    with contextlib.closing(SqliteStore(str(tmp_path / "store"), "a")) as store:
        say(store, store.case_of(3), "progress", state="soak test")
        say(store, IDS.new(), "case", title="Fourth")
    assert "1 on the bench" not in run("case", "list")[1]
    assert [one["number"] for one in json.loads(run("case", "list", "--state", "soak test", "--json")[1])] == [3]
