"""The case store on SQLite: write-ahead log, synchronous FULL, one transaction per entry, acknowledged after the commit.

SQLite documents that in WAL mode with synchronous=FULL the log is synced after each transaction commit (pragma.html, "synchronous"), so that a
committed transaction outlives a power cut. Two processes on one store queue at BEGIN IMMEDIATE; the place in the log is given inside it.
"""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import tempfile
import weakref
from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, insert, select
from sqlalchemy.exc import DatabaseError
from sqlalchemy.pool import NullPool

from coppermend.adapters.storage import attachments
from coppermend.adapters.storage.errors import full, in_words, read_only
from coppermend.adapters.storage.migrations import migrate
from coppermend.adapters.storage.pages import damaged_pages
from coppermend.adapters.storage.place import StorePlace, at, prepare, reading_copy, store_place
from coppermend.adapters.storage.schema import FACTS, META, SCHEMA_VERSION
from coppermend.adapters.storage.sql import SqlStore
from coppermend.core.findings import Finding, Place, Refusal, Severity

WHAT_TO_DO = "Restore from a backup, or copy what can be read into a new store: coppermend store copy --to FOLDER."
BUSY_MS = 10_000
"""How long a writer waits for another one."""
LEAST_FREE = 256 * 1024
"""Bytes: on a disk with less, SQLite may have no room for what lies beside the database while it is open (wal.html), and the store is opened for reading."""


class SqliteStore(SqlStore):
    """A CaseStore on SQLite. ``new_bench_id`` is used once, when the store is made. ``older``: open also a store of an older version, to bring it up."""

    def __init__(self, url: str | None, new_bench_id: str, older: bool = False) -> None:
        self._place = store_place(url)
        self._writable = prepare(self._place)
        self._scratch: Path | None = None
        self._full = False
        try:
            self._bench = self._opened(new_bench_id, older)
        except Refusal as err:
            if err.finding.code not in ("STO-010", "STO-014") or not self._no_room():
                raise
            self._engine.dispose()
            self._full, self._writable = True, False
            self._bench = self._opened(new_bench_id, older)

    def _opened(self, new_bench_id: str, older: bool) -> str:
        """Open the database, with tables where there were none; the bench's id."""
        self._engine = self._open()
        self._reader = self._engine.execution_options(reads_only=True)
        with self._in_words():
            if self._writable:
                self._make_tables(new_bench_id)
            return self._check_version(older)["bench"]

    def _no_room(self) -> bool:
        with contextlib.suppress(OSError):
            return self._place.database.exists() and shutil.disk_usage(self._place.database.parent).free < LEAST_FREE
        return False

    @property
    def where(self) -> str:
        """The database file."""
        return str(self._place.database)

    def close(self) -> None:
        """Let go of the database file."""
        self._engine.dispose()
        if self._scratch:
            shutil.rmtree(self._scratch, ignore_errors=True)

    def attach(self, data: bytes) -> str:
        """Keep bytes under their SHA-256."""
        self._need_writable()
        with in_words(self._place):
            return attachments.keep(self._place.attachments, data)

    def attachment(self, sha256: str) -> bytes:
        """The bytes kept under that SHA-256."""
        return attachments.read(self._place.attachments, sha256)

    @property
    def place(self) -> StorePlace:
        """The database file and the folder of attachments."""
        return self._place

    def migrate(self) -> None:
        """Bring the tables up to the newest version, all or nothing. The caller has backed the store up."""
        self._need_writable()
        with self._in_words(), self._engine.begin() as line:
            version = line.execute(select(FACTS.c.value).where(FACTS.c.name == "schema_version")).scalar_one()
            self._version = migrate(line, int(version))

    # -- inside ------------------------------------------------------------------------------------------------------------------

    def _in_words(self) -> AbstractContextManager[None]:
        return in_words(self._place)

    def _at(self) -> Place:
        return at(self._place)

    def _need_writable(self) -> None:
        if not self._writable:
            raise full(self._place) if self._full else read_only(self._place)

    def _queue(self, line: Connection, case: str) -> None:
        """BEGIN IMMEDIATE has done it: one writer at a time in the whole file."""

    def _tell(self, line: Connection, case: str) -> None:
        """Nothing to send: the other processes of this computer look at the mark."""

    def _count_on(self, line: Connection) -> None:
        """AUTOINCREMENT counts on from the largest by itself (SQLite documentation, autoinc.html)."""

    def _check_pages(self, line: Connection) -> Iterator[Finding]:
        told: list[str] = []
        try:
            for row in line.exec_driver_sql("PRAGMA integrity_check(20)"):
                told.append(str(row[0]))
        except DatabaseError as err:
            told += [str(err.orig), *self._damaged_pages(line)]
        for words in told:
            if words != "ok":
                said = f"SQLite reports: {words.rstrip('.')}."
                yield Finding("STO-013", Severity.ERROR, self._at(), said, WHAT_TO_DO)

    def _damaged_pages(self, line: Connection) -> list[str]:
        """Looked for in a raw copy of the pages, because the newest ones may stand in the write-ahead log."""
        try:
            trees = line.exec_driver_sql(
                "SELECT name, type = 'table' AND sql NOT LIKE '%WITHOUT ROWID%', rootpage FROM sqlite_schema WHERE rootpage > 0"
            ).all()
        except DatabaseError:
            return ["page 1 or another page of the table sqlite_schema is damaged"]
        with tempfile.TemporaryDirectory(prefix="coppermend-check-") as folder:
            path = Path(folder) / "pages.db"
            with contextlib.closing(sqlite3.connect(path)) as copy:
                line.connection.driver_connection.backup(copy)  # type: ignore[union-attr]
            return damaged_pages(path, [(str(name), bool(is_table), int(root)) for name, is_table, root in trees])

    def _check_attachments(self, line: Connection) -> Iterator[Finding]:
        return attachments.check(self._place.attachments)

    def _has_attachment(self, line: Connection, sha256: str) -> bool:
        return attachments.path_of(self._place.attachments, sha256).exists()

    def _open(self) -> Engine:
        if self._writable:
            return for_writing(
                create_engine(
                    URL.create("sqlite", database=str(self._place.database)), connect_args={"timeout": BUSY_MS / 1000}
                )
            )
        if not self._place.database.exists():
            raise read_only(self._place)
        with in_words(self._place):
            path, self._scratch = reading_copy(self._place)
        if self._scratch:
            weakref.finalize(self, shutil.rmtree, self._scratch, True)
        uri = path.absolute().as_uri() + "?immutable=1"
        return create_engine("sqlite://", creator=lambda: sqlite3.connect(uri, uri=True), poolclass=NullPool)

    def _make_tables(self, new_bench_id: str) -> None:
        with self._engine.begin() as line:
            if line.exec_driver_sql("SELECT 1 FROM sqlite_master").first():
                return  # ours already, or somebody else's: the version check tells
            META.create_all(line)
            line.execute(
                insert(FACTS),
                [{"name": "schema_version", "value": str(SCHEMA_VERSION)}, {"name": "bench", "value": new_bench_id}],
            )
        attachments.sync_folder(self._place.database.parent)


def for_writing(engine: Engine) -> Engine:
    """The engine with our own BEGIN and the settings that keep what is acknowledged."""
    event.listen(engine, "connect", _set_up_connection)
    event.listen(engine, "begin", lambda line: line.exec_driver_sql("BEGIN IMMEDIATE" if _writes(line) else "BEGIN"))
    return engine


def _set_up_connection(dbapi: Any, record: Any) -> None:
    """Per connection: our own BEGIN, write-ahead log, a sync with every commit."""
    dbapi.isolation_level = None
    for pragma in ("journal_mode=WAL", "synchronous=FULL", f"busy_timeout={BUSY_MS}", "foreign_keys=ON"):
        dbapi.execute(f"PRAGMA {pragma}").fetchall()


def _writes(line: Connection) -> bool:
    """Every transaction of ours may write, except those that say otherwise."""
    return not line.get_execution_options().get("reads_only", False)
