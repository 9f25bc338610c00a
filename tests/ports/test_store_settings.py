"""The store asks SQLite for the settings that keep an acknowledged entry through a power cut (sqlite.org pragma.html: in WAL mode,
synchronous=FULL syncs the log after each transaction commit; NORMAL does not), and syncs attachments before it names them."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from coppermend.adapters.storage.sqlite import SqliteStore
from coppermend.core.findings import Refusal


def test_every_connection_syncs_each_commit(tmp_path: Path) -> None:
    store = SqliteStore(str(tmp_path), "bench-1")
    with store._engine.connect() as line:
        assert line.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # 2 is FULL
        assert line.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    store.close()


def test_an_attachment_is_synced_file_and_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before the hash comes back the file's bytes are synced, and the folder that names it (where the system can)."""
    store = SqliteStore(str(tmp_path), "bench-1")
    synced: list[str] = []
    real = os.fsync

    def watched(handle: int) -> None:
        synced.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        real(handle)

    monkeypatch.setattr(os, "fsync", watched)
    store.attach(b"a picture")
    assert "file" in synced
    assert "folder" in synced or os.name != "posix"
    store.close()


def test_a_place_that_may_not_be_looked_at_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another user's home: Python's Path.is_file passes PermissionError on (root sees everything, so it is raised here)."""

    def closed(self: Path) -> bool:
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "is_file", closed)
    with pytest.raises(Refusal) as refused:
        SqliteStore(str(tmp_path / "nope"), "bench-1")
    assert refused.value.finding.code == "STO-002" and "Permission denied" in refused.value.finding.words
