"""The tables of the store and their version. The log is the only thing kept; everything else is computed from it."""

from __future__ import annotations

from sqlalchemy import Column, Index, Integer, LargeBinary, MetaData, Table, Text, UniqueConstraint

SCHEMA_VERSION = 2
"""Version of the tables below. A store with a higher one was made by a newer Coppermend and is refused; a lower one is brought up by ``migrations``."""

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

SHARED = MetaData()

ATTACHMENTS = Table(
    "attachments", SHARED, Column("sha256", Text, primary_key=True), Column("data", LargeBinary, nullable=False)
)
"""A store that several computers share keeps the files in the database; on one computer they lie in a folder beside it."""
