"""A generated store is what a store that took the same entries in would be: the benchmark measures no store of its own kind."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from benchmarks._many_cases import fill, made_cases

from coppermend.adapters.storage.sqlite import SqliteStore


def tables(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    with contextlib.closing(sqlite3.connect(folder / "coppermend.db")) as line:
        return {
            name: line.execute(f"SELECT * FROM {name}").fetchall() for name in ("cases", "entries", "heads", "terms")
        }


def test_rows_written_in_bulk_are_those_of_the_store(tmp_path: Path) -> None:
    with contextlib.closing(SqliteStore(str(tmp_path / "bulk"), "a")) as bulk:
        first = fill(bulk, 5, 3, 12)
        assert first + fill(bulk, 5, 6, 12) == sum(len(one) for one in made_cases(5, 6, 12)), "a stopped run goes on"
        assert bulk.check() == ()
    with contextlib.closing(SqliteStore(str(tmp_path / "taken"), "a")) as taken:
        for one in made_cases(5, 6, 12):
            taken.absorb(one)
    bulk_rows, taken_rows = tables(tmp_path / "bulk"), tables(tmp_path / "taken")
    assert {name: sorted(rows) for name, rows in bulk_rows.items()} == {
        name: sorted(rows) for name, rows in taken_rows.items()
    }
    assert len(bulk_rows["heads"]) == 6 and len(bulk_rows["terms"]) > 100
