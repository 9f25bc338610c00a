"""Single pages of a store overwritten, some of every table and index: the check names it, whatever lies elsewhere is read as before, and a copy saves it.

Which page belongs to what: SQLite's own table dbstat (SQLite documentation, dbstat.html).
"""

from __future__ import annotations

import contextlib
import random
import sqlite3
import sys
from pathlib import Path

import pytest
from tests.ports.test_sqlite_faults import draft, new_case

from coppermend.adapters.storage.sqlite import SqliteStore
from coppermend.bootstrap import open_store
from coppermend.cli import main
from coppermend.core.findings import Refusal
from coppermend.services.ports import Wanted
from coppermend.services.storekeeping import copy_store

TREES = (
    "coppermend_store", "cases", "sqlite_autoindex_cases_1", "entries", "sqlite_autoindex_entries_1", "sqlite_autoindex_entries_2", "entries_in_order",
    "heads", "heads_by_state", "heads_by_package", "heads_by_last", "terms",
)  # fmt: skip
EACH = 2
"""Pages of each that are tried."""


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, dict[str, list[int]], int, dict[str, list[str]]]:
    """A store of twenty cases as bytes, the pages of each table and index, the size of a page, and every case's entries."""
    folder = tmp_path_factory.mktemp("whole")
    with contextlib.closing(SqliteStore(str(folder), "bench")) as store:
        for number in range(20):
            case = new_case(store)
            for k in range(8):
                store.append(draft(store, case, words=f"remark {k} of {number} " + f"word{number:03}{k:03} " * 20))
        logs = {case: [one.id for one in store.entries(case)] for _, case in store.numbers()}
    file = folder / "coppermend.db"
    pages: dict[str, list[int]] = {}
    with contextlib.closing(sqlite3.connect(file)) as line:
        line.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        line.execute("PRAGMA journal_mode=DELETE").fetchall()
        size = int(line.execute("PRAGMA page_size").fetchone()[0])
        try:
            for name, page in line.execute("SELECT name, pageno FROM dbstat"):
                pages.setdefault(str(name), []).append(int(page))
        except sqlite3.OperationalError:
            pytest.skip("not run: this SQLite was built without dbstat")
    return file.read_bytes(), pages, size, logs


@pytest.mark.parametrize("tree", TREES)
def test_single_damaged_pages_are_named_and_the_rest_is_read(
    tree: str,
    whole: tuple[bytes, dict[str, list[int]], int, dict[str, list[str]]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    data, pages, size, logs = whole
    chosen = random.Random(f"pages of {tree}").sample(pages[tree], min(EACH, len(pages[tree])))
    for turn, page in enumerate(chosen):
        broken = bytearray(data)
        broken[(page - 1) * size : page * size] = b"\xa5" * size if turn % 2 else bytes(size)
        folder = tmp_path / f"{page}"
        folder.mkdir()
        (folder / "coppermend.db").write_bytes(broken)
        for words in (["store", "check"], ["case", "find", "word003003"])[: 2 - turn]:
            monkeypatch.setattr(sys, "argv", ["coppermend", "--store", str(folder), *words])
            with pytest.raises(SystemExit) as ended:
                main()
            said = capsys.readouterr()
            assert ended.value.code in (0, 1, 2) and "CLI-900" not in said.err + said.out, (tree, page, words, said)
            if words == ["store", "check"]:
                assert ended.value.code != 0 and "STO-0" in said.out + said.err, (tree, page, said)
        if tree == "coppermend_store":
            continue  # what the store says of itself is gone: it is refused in words, a backup is put back
        with contextlib.closing(open_store(str(folder))) as store:
            lost = {case for case in logs if not _reads(store, case, logs[case])}
            assert len(lost) <= (3 if tree == "entries" else 0), (tree, page, lost)
            assert {one.id for one in store.heads()} == set(logs)
            assert len(store.find(Wanted(limit=100)).cases) == len(logs)
            if not lost and not turn:
                with contextlib.closing(SqliteStore(str(tmp_path / f"{page} saved"), "bench")) as saved:
                    assert copy_store(store, saved).new == sum(map(len, logs.values())) and saved.check() == ()


def _reads(store: object, case: str, entries: list[str]) -> bool:
    assert isinstance(store, SqliteStore)
    try:
        return [one.id for one in store.entries(case)] == entries
    except Refusal as err:
        assert err.finding.code in ("STO-013", "STO-015", "STO-017", "STO-018", "LOG-011", "LOG-012"), (
            err.finding.line()
        )
        return False
