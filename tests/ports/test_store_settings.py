"""The store asks SQLite for the settings that keep an acknowledged entry through a power cut (sqlite.org pragma.html: in WAL mode,
synchronous=FULL syncs the log after each transaction commit; NORMAL does not), and syncs attachments before it names them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from coppermend.adapters.storage.store import SqlCaseStore


def test_every_connection_syncs_each_commit(tmp_path: Path) -> None:
    store = SqlCaseStore(str(tmp_path), "bench-1")
    with store._engine.connect() as line:
        assert line.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # 2 is FULL
        assert line.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    store.close()


def test_an_attachment_is_synced_file_and_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two syncs at least before the hash comes back: of the file's bytes and of the folder that names it."""
    store = SqlCaseStore(str(tmp_path), "bench-1")
    synced: list[int] = []
    real = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (synced.append(handle), real(handle))[1])
    store.attach(b"a picture")
    assert len(synced) >= (2 if os.name == "posix" else 1)
    store.close()
