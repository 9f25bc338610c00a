"""The tables of the store and their version. The log is the only thing kept; heads and terms are computed from it and can be made anew at any time."""

from __future__ import annotations

from sqlalchemy import Column, Index, Integer, LargeBinary, MetaData, Table, Text, UniqueConstraint

SCHEMA_VERSION = 4
"""Version of the tables below. A store with a higher one was made by a newer Coppermend and is refused; a lower one is brought up by ``migrations``.

Whoever changes what a head shows or which terms an entry is found by (``services/heads.py``, ``core/log/terms.py``) raises it, with a step that makes both anew."""

META = MetaData()

BY_BYTES = Text().with_variant(Text(collation="C"), "postgresql")
"""Text ordered as the agreed order of a log orders it, whatever language the server's own order follows."""

FACTS = Table("coppermend_store", META, Column("name", Text, primary_key=True), Column("value", Text, nullable=False))
"""schema_version, and the id of this bench."""

CASES = Table(
    "cases",
    META,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("id", Text, nullable=False, unique=True),
    sqlite_autoincrement=True,
)
"""The short numbers of this store: a person types 3, the log says the id."""

ENTRIES = Table(
    "entries",
    META,
    Column("id", Text, primary_key=True),
    Column("case_id", Text, nullable=False),
    Column("lamport", Integer, nullable=False),
    Column("bench", BY_BYTES, nullable=False),
    Column("bench_seq", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    UniqueConstraint("case_id", "bench", "bench_seq", name="entries_once"),
    Index("entries_in_order", "case_id", "lamport", "bench", "bench_seq"),
)
"""``body`` is the whole entry as canonical JSON; the other columns repeat it for the database to find and order. ``sha256`` of the body
speaks also for a bench's last entry, which no later one is tied to."""

HEADS = Table(
    "heads",
    META,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("case_id", Text, nullable=False, unique=True),
    Column("state", Text, nullable=False),
    Column("waits", Integer, nullable=False),
    Column("package_id", Text, nullable=False),
    Column("last_at", BY_BYTES, nullable=False),
    Column("body", Text, nullable=False),
    Index("heads_by_state", "state", "number"),
    Index("heads_by_package", "package_id", "number"),
    Index("heads_by_last", "last_at", "number"),
)
"""One row a case, written with every entry of it: what a list shows (``body``, JSON of ``services.heads.Head``) and what it is filtered by."""

TERMS = Table(
    "terms",
    META,
    Column("term", BY_BYTES, primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("lamport", Integer, nullable=False),
    sqlite_with_rowid=False,
)
"""Which case (short number) says which term, and the place of the first entry that does. A term that was said once stays said: the log forgets nothing."""

SHARED = MetaData()

ATTACHMENTS = Table(
    "attachments", SHARED, Column("sha256", Text, primary_key=True), Column("data", LargeBinary, nullable=False)
)
"""A store that several computers share keeps the files in the database; on one computer they lie in a folder beside it."""
