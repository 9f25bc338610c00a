"""The case store on SQLite: write-ahead log, synchronous FULL, one transaction per entry, acknowledged after the commit.

SQLite documents that in WAL mode with synchronous=FULL the log is synced after each transaction commit (pragma.html, "synchronous"), so that a
committed transaction outlives a power cut. Two processes on one store queue at BEGIN IMMEDIATE; the place in the log is given inside it.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import weakref
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, bindparam, create_engine, event, func, insert, select
from sqlalchemy.pool import NullPool

from coppermend.adapters.storage import attachments
from coppermend.adapters.storage.errors import in_words, read_only
from coppermend.adapters.storage.place import at, prepare, reading_copy, store_place
from coppermend.adapters.storage.schema import CASES, ENTRIES, FACTS, META, SCHEMA_VERSION
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.core.log.canonical import sha256_hex
from coppermend.core.log.chain import check_chain
from coppermend.core.log.kinds import check_payload
from coppermend.core.log.model import NO_PREV, Draft, Entry, entry_from_dict, placed_after
from coppermend.services.ports import CaseHead

BUSY_MS = 10_000
"""How long a writer waits for another one."""

_BY_ID = select(ENTRIES.c.body).where(ENTRIES.c.id == bindparam("id"))
_LAST = (
    select(ENTRIES.c.body)
    .order_by(ENTRIES.c.lamport.desc(), ENTRIES.c.bench.desc(), ENTRIES.c.bench_seq.desc())
    .limit(1)
)
_LAST_OF_BENCH = (
    select(ENTRIES.c.body)
    .where(ENTRIES.c.case_id == bindparam("case"), ENTRIES.c.bench == bindparam("bench"))
    .order_by(ENTRIES.c.bench_seq.desc())
    .limit(1)
)
_LARGEST_LAMPORT = select(func.max(ENTRIES.c.lamport)).where(ENTRIES.c.case_id == bindparam("case"))
_BEFORE = select(
    _BY_ID.scalar_subquery(),
    _LAST_OF_BENCH.scalar_subquery(),
    _LAST_OF_BENCH.with_only_columns(ENTRIES.c.bench_seq).scalar_subquery(),
    _LARGEST_LAMPORT.scalar_subquery(),
)
"""What append must know, in one question: the entry of that id, the bench's last one with its number, the case's largest lamport."""
_INSERT = insert(ENTRIES)
_NUMBERS = select(CASES.c.number, CASES.c.id).order_by(CASES.c.number)


class SqlCaseStore:
    """A CaseStore on SQLite. ``new_bench_id`` is used once, when the store is made."""

    def __init__(self, url: str | None, new_bench_id: str) -> None:
        self._place = store_place(url)
        self._writable = prepare(self._place)
        self._scratch: Path | None = None
        self._engine = self._open()
        self._reader = self._engine.execution_options(reads_only=True)
        with in_words(self._place):
            if self._writable:
                self._make_tables(new_bench_id)
            self._bench = self._check_version()

    @property
    def bench(self) -> str:
        """The id of this bench."""
        return self._bench

    @property
    def where(self) -> str:
        """The database file."""
        return str(self._place.database)

    @property
    def writable(self) -> bool:
        """False when the store can be read but not written."""
        return self._writable

    def close(self) -> None:
        """Let go of the database file."""
        self._engine.dispose()
        if self._scratch:
            shutil.rmtree(self._scratch, ignore_errors=True)

    def append(self, draft: Draft) -> Entry:
        """Write one entry; returns after it is on disk and synced."""
        check_payload(draft.kind, draft.payload, draft.undoes)
        self._need_writable()
        with in_words(self._place), self._engine.begin() as line:
            before = line.execute(_BEFORE, {"id": draft.id, "case": draft.case, "bench": draft.bench}).one()
            known, last, seq, lamport = before
            if known is not None:
                return _same(_entry(known), draft)
            seq, prev = (0, NO_PREV) if last is None else (seq, sha256_hex(last.encode()))
            entry = placed_after(draft, seq, prev, lamport or 0)
            if entry.bench_seq == 1:
                self._number(line, entry.case)
            line.execute(_INSERT, _row(entry))
        return entry

    def absorb(self, entries: Sequence[Entry]) -> int:
        """Take in whole entries; all or none."""
        self._need_writable()
        new = 0
        with in_words(self._place), self._engine.begin() as line:
            for entry in sorted(entries, key=lambda one: one.order):
                new += self._absorb_one(line, entry)
            for case in sorted({one.case for one in entries}):
                bad = check_chain(self._entries(line, case))
                if bad:
                    raise refuse(bad[0].code, bad[0].words, "Nothing was imported. " + bad[0].remedy, bad[0].place)
        return new

    def entries(self, case: str) -> tuple[Entry, ...]:
        """All entries of a case in the agreed order."""
        with in_words(self._place), self._reader.connect() as line:
            return self._entries(line, case)

    def mark(self, case: str) -> str:
        """Count and last position: entries are never changed or removed, so the two tell every state apart."""
        found = select(func.count(), func.max(ENTRIES.c.lamport)).where(ENTRIES.c.case_id == case)
        with in_words(self._place), self._reader.connect() as line:
            count, lamport = line.execute(found).one()
        return f"{count}.{lamport or 0}"

    def heads(self) -> tuple[CaseHead, ...]:
        """All cases, lowest number first."""
        count = select(ENTRIES.c.case_id, func.count().label("n")).group_by(ENTRIES.c.case_id).subquery()
        rows = (
            select(CASES.c.number, CASES.c.id, count.c.n)
            .join(count, count.c.case_id == CASES.c.id)
            .order_by(CASES.c.number)
        )
        with in_words(self._place), self._reader.connect() as line:
            return tuple(self._head(line, number, case, n) for number, case, n in line.execute(rows).all())

    def numbers(self) -> tuple[tuple[int, str], ...]:
        """(short number, id) of every case."""
        with in_words(self._place), self._reader.connect() as line:
            return tuple((int(number), str(case)) for number, case in line.execute(_NUMBERS))

    def number_of(self, case: str) -> int:
        """The case's short number; 0 when there is none."""
        with in_words(self._place), self._reader.connect() as line:
            return line.execute(select(CASES.c.number).where(CASES.c.id == case)).scalar() or 0

    def attach(self, data: bytes) -> str:
        """Keep bytes under their SHA-256."""
        self._need_writable()
        with in_words(self._place):
            return attachments.keep(self._place.attachments, data)

    def attachment(self, sha256: str) -> bytes:
        """The bytes kept under that SHA-256."""
        return attachments.read(self._place.attachments, sha256)

    def check(self) -> tuple[Finding, ...]:
        """Pages, chains, attachments; an entry that cannot be read any more is named, the rest is still looked at."""
        found: list[Finding] = []
        with in_words(self._place), self._reader.connect() as line:
            pages = [str(row[0]) for row in line.exec_driver_sql("PRAGMA integrity_check(20)")]
            found += [
                Finding("STO-013", Severity.ERROR, at(self._place), f"SQLite reports: {one}", "Restore from a backup.")
                for one in pages
                if one != "ok"
            ]
            for (case,) in line.execute(select(CASES.c.id).order_by(CASES.c.number)).all():
                found += self._check_case(line, case)
        return (*found, *attachments.check(self._place.attachments))

    # -- inside ------------------------------------------------------------------------------------------------------------------

    def _open(self) -> Engine:
        if self._writable:
            engine = create_engine(
                URL.create("sqlite", database=str(self._place.database)), connect_args={"timeout": BUSY_MS / 1000}
            )
            event.listen(engine, "connect", _set_up_connection)
            event.listen(
                engine, "begin", lambda line: line.exec_driver_sql("BEGIN IMMEDIATE" if _writes(line) else "BEGIN")
            )
            return engine
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

    def _check_version(self) -> str:
        """This bench's id; Refusal STO-005 when the store is newer than this program or no store of ours."""
        with self._reader.connect() as line:
            if not line.exec_driver_sql("SELECT 1 FROM sqlite_master WHERE name = 'coppermend_store'").first():
                raise refuse(
                    "STO-003", "This database is no store of cases.", "Name the store's folder.", at(self._place)
                )
            facts = {str(name): str(value) for name, value in line.execute(select(FACTS.c.name, FACTS.c.value))}
        version = facts.get("schema_version", "")
        if not version.isdecimal() or int(version) > SCHEMA_VERSION:
            raise refuse(
                "STO-005",
                f"The store has version {version or 'unknown'}; this Coppermend reads up to {SCHEMA_VERSION}.",
                "Use the newer Coppermend that made it; nothing was changed.",
                at(self._place),
            )
        return facts["bench"]

    def _need_writable(self) -> None:
        if not self._writable:
            raise read_only(self._place)

    @staticmethod
    def _by_id(line: Connection, entry_id: str) -> Entry | None:
        body = line.execute(_BY_ID, {"id": entry_id}).scalar()
        return None if body is None else _entry(body)

    @staticmethod
    def _number(line: Connection, case: str) -> None:
        if line.execute(select(CASES.c.number).where(CASES.c.id == case)).scalar() is None:
            line.execute(insert(CASES), {"id": case})

    def _absorb_one(self, line: Connection, entry: Entry) -> int:
        known = self._by_id(line, entry.id)
        if known is not None:
            if known.body() != entry.body():
                raise _contradiction(entry, "is here with other contents")
            return 0
        here = select(ENTRIES.c.id).where(
            ENTRIES.c.case_id == entry.case, ENTRIES.c.bench == entry.bench, ENTRIES.c.bench_seq == entry.bench_seq
        )
        if line.execute(here).scalar() is not None:
            raise _contradiction(
                entry,
                "stands where another entry of the same bench stands: two copies of one store were both written to",
            )
        self._number(line, entry.case)
        line.execute(_INSERT, _row(entry))
        return 1

    @staticmethod
    def _entries(line: Connection, case: str) -> tuple[Entry, ...]:
        found = select(ENTRIES.c.body).where(ENTRIES.c.case_id == case)
        rows = line.execute(found.order_by(ENTRIES.c.lamport, ENTRIES.c.bench, ENTRIES.c.bench_seq)).scalars().all()
        return tuple(_entry(body) for body in rows)

    @staticmethod
    def _head(line: Connection, number: int, case: str, count: int) -> CaseHead:
        mine = ENTRIES.c.case_id == case
        first = line.execute(
            select(ENTRIES.c.body)
            .where(mine)
            .order_by(ENTRIES.c.lamport, ENTRIES.c.bench, ENTRIES.c.bench_seq)
            .limit(1)
        ).scalar_one()
        board = line.execute(_LAST.where(mine, ENTRIES.c.kind == "board")).scalar()
        last = line.execute(_LAST.where(mine)).scalar_one()
        try:
            return CaseHead(case, number, count, _entry(first), None if board is None else _entry(board), _entry(last))
        except Refusal:
            return CaseHead(case, number, count, _unreadable(case), None, _unreadable(case))

    def _check_case(self, line: Connection, case: str) -> list[Finding]:
        rows = line.execute(select(ENTRIES.c.id, ENTRIES.c.body).where(ENTRIES.c.case_id == case)).all()
        read, found = [], []
        for entry_id, body in rows:
            try:
                read.append(_entry(body))
            except Refusal:
                found.append(
                    Finding(
                        "STO-015",
                        Severity.ERROR,
                        Place(thing=f"case {case} entry {entry_id}"),
                        "The entry can no longer be read.",
                        "Restore from a backup.",
                    )
                )
        for name in sorted({str(one.payload["sha256"]) for one in read if one.kind == "photo"}):
            if not attachments.path_of(self._place.attachments, name).exists():
                found.append(
                    Finding(
                        "STO-020",
                        Severity.ERROR,
                        Place(thing=f"case {case} attachment {name}"),
                        "The attachment is not in the store.",
                        "Import the case from an export that holds it.",
                    )
                )
        return found + list(check_chain(read))


def _set_up_connection(dbapi: Any, record: Any) -> None:
    """Per connection: our own BEGIN, write-ahead log, a sync with every commit."""
    dbapi.isolation_level = None
    for pragma in ("journal_mode=WAL", "synchronous=FULL", f"busy_timeout={BUSY_MS}", "foreign_keys=ON"):
        dbapi.execute(f"PRAGMA {pragma}").fetchall()


def _writes(line: Connection) -> bool:
    """Every transaction of ours may write, except those that say otherwise."""
    return not line.get_execution_options().get("reads_only", False)


def _row(entry: Entry) -> dict[str, Any]:
    return {
        "id": entry.id, "case_id": entry.case, "lamport": entry.lamport, "bench": entry.bench,
        "bench_seq": entry.bench_seq, "kind": entry.kind, "body": entry.body().decode(),
    }  # fmt: skip


def _entry(body: str) -> Entry:
    """The entry of a stored body. Refusal STO-015 when it can no longer be read."""
    try:
        return entry_from_dict(json.loads(body))
    except (ValueError, RecursionError, Refusal) as err:
        words = f"An entry can no longer be read: it begins {body[:60]!r}."
        raise refuse(
            "STO-015",
            words,
            "Run doctor: it names the entry. Restore the store from a backup, or import the case's latest export elsewhere.",
        ) from err


def _unreadable(case: str) -> Entry:
    """What stands in a list for a case whose entries can no longer be read."""
    payload = {"title": "cannot be read any more, run doctor"}
    return Entry("", case, "", 1, 1, NO_PREV, "", "", "", "case", 1, payload)


def _same(known: Entry, draft: Draft) -> Entry:
    """The entry first written, when a retry says the same: the times of the second try and who tried are no part of what it says."""
    said = [name for name in Draft.__slots__ if name not in ("observed_at", "recorded_at", "author")]
    wanted = Entry(**{**known.as_dict(), **{name: getattr(draft, name) for name in said}})
    if wanted.body() != known.body():
        raise _contradiction(known, "is already written with other contents")
    return known


def _contradiction(entry: Entry, what: str) -> Exception:
    place = Place(thing=f"case {entry.case} entry {entry.id}")
    return refuse(
        "STO-030",
        f"The entry {what}.",
        "Nothing was written. Keep both stores as they are and compare their exports.",
        place,
    )
