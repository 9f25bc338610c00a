"""The case store on PostgreSQL, for a shop with several benches: one transaction an entry, acknowledged after the commit.

PostgreSQL's manual, "Asynchronous Commit" and "synchronous_commit": with ``on`` a commit returns after its record is flushed to disk, and, where
synchronous standbys are named, after they have flushed it too. Writers of one case queue at an advisory lock that ends with the transaction.
A connection that breaks is made again and the same entry sent again under its id: written before or not, it is there once.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import Connection, Engine, create_engine, event, func, insert, inspect, select
from sqlalchemy.dialects.postgresql import insert as insert_or

from coppermend.adapters.storage.attachments import named_so, not_here, not_the_same
from coppermend.adapters.storage.migrations import migrate
from coppermend.adapters.storage.pg_errors import in_words, readable_place
from coppermend.adapters.storage.schema import ATTACHMENTS, FACTS, META, SCHEMA_VERSION, SHARED
from coppermend.adapters.storage.sql import SqlStore
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.core.log.canonical import sha256_hex
from coppermend.core.log.model import Draft, Entry

if TYPE_CHECKING:
    from coppermend.adapters.storage.listening import Listener

PATIENCE_S = 60.0
"""How long a writer goes on trying while the server is away: a restart or a failover to a standby takes less."""
CONNECT_S = 5
CHANNEL = "coppermend_case"
_MAKING = 0x434F5050
"""Advisory lock of the one who makes the tables."""
_LINE: dict[str, Any] = {
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "connect_timeout": CONNECT_S,
}

T = TypeVar("T")


class PostgresStore(SqlStore):
    """A CaseStore on PostgreSQL. ``bench`` is the id of this computer's bench: the database serves several.

    ``url`` as libpq reads it: ``postgresql://user@host:5432/name``; several hosts and ``target_session_attrs=read-write`` for a failover.
    Opening waits like a writer, at most ``patience_s`` (``PATIENCE_S``), for a server that is away or starting up.
    ``older``: open also a store of an older version, to bring it up.
    """

    def __init__(self, url: str, bench: str, patience_s: float | None = None, older: bool = False) -> None:
        self._url, self._bench = url, bench
        self._patience_s = PATIENCE_S if patience_s is None else patience_s
        self._where = readable_place(url)
        self._engine = self._reader = _engine(url)
        self._listener: Listener | None = None
        self._asked = 0
        try:
            self._writable = self._patient(lambda: self._opened(older))
        except Refusal:
            self._engine.dispose()
            raise

    @property
    def where(self) -> str:
        """The server and database; no password."""
        return self._where

    def close(self) -> None:
        """Let go of the connections."""
        if self._listener:
            self._listener.close()
        self._engine.dispose()

    def append(self, draft: Draft) -> Entry:
        """Write one entry; returns after the server has it on disk. Tried again while the server is away, at most PATIENCE_S."""
        entry = self._patient(lambda: super(PostgresStore, self).append(draft))
        self._forget([entry.case])
        return entry

    def absorb(self, entries: Sequence[Entry]) -> int:
        """Take in whole entries; all or none."""
        new = self._patient(lambda: super(PostgresStore, self).absorb(entries))
        self._forget(sorted({one.case for one in entries}))
        return new

    def mark(self, case: str) -> str:
        """As of every store. A server that asks again and again is told of changes by the database and asks it only then."""
        self._asked += 1
        if self._listener is None and self._asked > 3:
            from coppermend.adapters.storage.listening import Listener

            self._listener = Listener(self._url, CHANNEL, _LINE)
        if self._listener is None:
            return super().mark(case)
        return self._listener.kept(case, super().mark)

    def attach(self, data: bytes) -> str:
        """Keep bytes under their SHA-256."""
        self._need_writable()
        name = sha256_hex(data)
        row = insert_or(ATTACHMENTS).values(sha256=name, data=data).on_conflict_do_nothing()

        def write() -> str:
            with self._in_words(), self._engine.begin() as line:
                line.execute(row)
            return name

        return self._patient(write)

    def attachment(self, sha256: str) -> bytes:
        """The bytes kept under that SHA-256."""
        named_so(sha256)
        with self._in_words(), self._reader.connect() as line:
            data = line.execute(select(ATTACHMENTS.c.data).where(ATTACHMENTS.c.sha256 == sha256)).scalar()
        if data is None:
            raise not_here(sha256)
        if sha256_hex(bytes(data)) != sha256:
            raise not_the_same(sha256)
        return bytes(data)

    def migrate(self) -> None:
        """Bring the tables up to the newest version, all or nothing. The caller has backed the store up."""
        self._need_writable()
        with self._in_words(), self._engine.begin() as line:
            line.execute(select(func.pg_advisory_xact_lock(_MAKING)))
            version = line.execute(select(FACTS.c.value).where(FACTS.c.name == "schema_version")).scalar_one()
            self._version = migrate(line, int(version))

    # -- inside ------------------------------------------------------------------------------------------------------------------

    def _in_words(self) -> AbstractContextManager[None]:
        return in_words(self._where)

    def _at(self) -> Place:
        return Place(thing=f"store {self._where}")

    def _need_writable(self) -> None:
        if not self._writable:
            raise refuse(
                "STO-011",
                "The store can only be read: the entry was not written. Nothing that was acknowledged is lost.",
                "Name the primary server, or ask who looks after it for the right to write.",
                self._at(),
            )

    def _patient(self, write: Callable[[], T]) -> T:
        """Try until it is done, refused for a reason that waiting does not mend, or PATIENCE_S is over."""
        end, pause = time.monotonic() + self._patience_s, 0.1
        while True:
            try:
                return write()
            except Refusal as err:
                if err.finding.code not in ("STO-012", "STO-014") or time.monotonic() + pause > end:
                    raise
            time.sleep(pause)
            pause = min(1.0, 1.5 * pause)

    def _forget(self, cases: Sequence[str]) -> None:
        if self._listener:
            for case in cases:
                self._listener.forget(case)

    def _opened(self, older: bool) -> bool:
        """The store made or checked; whether it can be written. Tried again like an entry: a command opens the store anew, also while the server comes back."""
        with self._in_words():
            writable = self._can_write()
            if writable:
                self._make_tables()
            self._check_version(older)
        return writable

    def _can_write(self) -> bool:
        with self._engine.connect() as line:
            return str(line.exec_driver_sql("SHOW transaction_read_only").scalar()) == "off"

    def _make_tables(self) -> None:
        with self._engine.begin() as line:
            if inspect(line).has_table(FACTS.name):
                return
            line.execute(select(func.pg_advisory_xact_lock(_MAKING)))
            if inspect(line).has_table(FACTS.name):
                return
            META.create_all(line)
            SHARED.create_all(line)
            line.execute(insert(FACTS), [{"name": "schema_version", "value": str(SCHEMA_VERSION)}])

    def _queue(self, line: Connection, case: str) -> None:
        line.execute(select(func.pg_advisory_xact_lock(func.hashtextextended(case, 0))))

    def _tell(self, line: Connection, case: str) -> None:
        line.execute(select(func.pg_notify(CHANNEL, case)))

    def _count_on(self, line: Connection) -> None:
        """A sequence does not see numbers that were given by hand: it is set to the largest."""
        line.exec_driver_sql("SELECT setval(pg_get_serial_sequence('cases', 'number'), max(number)) FROM cases")

    def _check_pages(self, line: Connection) -> Iterator[Finding]:
        """Settings that lose what was acknowledged; pages that do not fit their checksums are found as they are read."""
        told = {
            name: str(line.exec_driver_sql(f"SHOW {name}").scalar())
            for name in ("fsync", "full_page_writes", "data_checksums")
        }
        for name in ("fsync", "full_page_writes"):
            if told[name] != "on":
                yield Finding(
                    "STO-016",
                    Severity.ERROR,
                    self._at(),
                    f"The server runs with {name} off: a power cut can lose or tear what it acknowledged.",
                    f"Set {name} = on in postgresql.conf and restart the server.",
                )
        if told["data_checksums"] != "on":
            yield Finding(
                "STO-016",
                Severity.WARNING,
                self._at(),
                "The server's pages carry no checksums: a page that the disk changes is not noticed by the server.",
                "Stop the server, run pg_checksums --enable, start it.",
            )

    def _check_attachments(self, line: Connection) -> Iterator[Finding]:
        rows = line.execution_options(yield_per=16).execute(select(ATTACHMENTS.c.sha256, ATTACHMENTS.c.data))
        for name, data in rows:
            if sha256_hex(bytes(data)) != name:
                yield not_the_same(str(name)).finding

    def _has_attachment(self, line: Connection, sha256: str) -> bool:
        return line.execute(select(func.count()).where(ATTACHMENTS.c.sha256 == sha256)).scalar_one() > 0


def _engine(url: str) -> Engine:
    try:
        import psycopg
    except ImportError as err:
        raise refuse(
            "STO-001",
            "A store on PostgreSQL needs the package psycopg, which is not installed.",
            "Install it into the environment that Coppermend runs in: python -m pip install 'psycopg[binary]'.",
        ) from err
    engine = create_engine(
        "postgresql+psycopg://",
        creator=lambda: psycopg.connect(url, **_LINE),
        pool_pre_ping=True,
        pool_size=4,
        max_overflow=8,
    )
    event.listen(engine, "connect", _set_up_connection)
    return engine


def _set_up_connection(dbapi: Any, record: Any) -> None:
    """Per connection: a commit returns after it is on disk, whatever the server's default is."""
    with dbapi.cursor() as cursor:
        cursor.execute("SHOW synchronous_commit")
        if cursor.fetchone()[0] in ("off", "local"):
            cursor.execute("SET synchronous_commit = on")
    dbapi.commit()
