"""Steps from each older version of the tables to the next. The statements are written out and stay as they are, whatever the tables become later.

Heads and terms are filled by today's code, in step 2 for a store of version 1 or 2: a later version whose tables of them differ lets step 2 make them empty and fills
them in its own step.
A step runs inside one transaction that also writes the new version: after a kill or a power cut the store is the old one or the new one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sqlalchemy import Connection

from coppermend.adapters.storage.listing import heads_anew, make_anew
from coppermend.core.log.canonical import sha256_hex

Step = Callable[[Connection], None]


def migrate(line: Connection, version: int) -> int:
    """Bring the tables from ``version`` to the newest; the version that they have then. The caller holds the transaction."""
    steps = STEPS[line.dialect.name]
    while version in steps:
        steps[version](line)
        version += 1
        line.exec_driver_sql(f"UPDATE coppermend_store SET value = '{version}' WHERE name = 'schema_version'")
    return version


def _sqlite_1(line: Connection) -> None:
    """Version 2: every entry keeps the SHA-256 of its body."""
    line.connection.driver_connection.create_function("sha256_of", 1, lambda body: sha256_hex(body.encode()))  # type: ignore[union-attr]
    for statement in (
        "CREATE TABLE entries_2 (id TEXT NOT NULL, case_id TEXT NOT NULL, lamport INTEGER NOT NULL, bench TEXT NOT NULL, bench_seq INTEGER NOT NULL,"
        " kind TEXT NOT NULL, body TEXT NOT NULL, sha256 TEXT NOT NULL, PRIMARY KEY (id), CONSTRAINT entries_once UNIQUE (case_id, bench, bench_seq))",
        "INSERT INTO entries_2 SELECT id, case_id, lamport, bench, bench_seq, kind, body, sha256_of(body) FROM entries ORDER BY rowid",
        "DROP TABLE entries",
        "ALTER TABLE entries_2 RENAME TO entries",
        "CREATE INDEX entries_in_order ON entries (case_id, lamport, bench, bench_seq)",
    ):
        line.exec_driver_sql(statement)


def _postgresql_1(line: Connection) -> None:
    """Version 2: every entry keeps the SHA-256 of its body."""
    for statement in (
        "ALTER TABLE entries ADD COLUMN sha256 TEXT",
        "UPDATE entries SET sha256 = encode(sha256(convert_to(body, 'UTF8')), 'hex')",
        "ALTER TABLE entries ALTER COLUMN sha256 SET NOT NULL",
    ):
        line.exec_driver_sql(statement)


def _sqlite_2(line: Connection) -> None:
    """Version 3: heads and terms, made from the log."""
    for statement in (
        "CREATE TABLE heads (number INTEGER NOT NULL, case_id TEXT NOT NULL, state TEXT NOT NULL, waits INTEGER NOT NULL, package_id TEXT NOT NULL,"
        " last_at TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (number), UNIQUE (case_id))",
        "CREATE TABLE terms (term TEXT NOT NULL, number INTEGER NOT NULL, lamport INTEGER NOT NULL, PRIMARY KEY (term, number)) WITHOUT ROWID",
        *_INDEXES_3,
    ):
        line.exec_driver_sql(statement)
    make_anew(line)


def _postgresql_2(line: Connection) -> None:
    """Version 3: heads and terms, made from the log."""
    for statement in (
        "LOCK TABLE entries IN EXCLUSIVE MODE",
        "CREATE TABLE heads (number INTEGER NOT NULL, case_id TEXT NOT NULL, state TEXT NOT NULL, waits INTEGER NOT NULL, package_id TEXT NOT NULL,"
        ' last_at TEXT COLLATE "C" NOT NULL, body TEXT NOT NULL, PRIMARY KEY (number), UNIQUE (case_id))',
        'CREATE TABLE terms (term TEXT COLLATE "C" NOT NULL, number INTEGER NOT NULL, lamport INTEGER NOT NULL, PRIMARY KEY (term, number))',
        *_INDEXES_3,
    ):
        line.exec_driver_sql(statement)
    make_anew(line)


def _heads_4(line: Connection) -> None:
    """Version 4: heads say which functions fail."""
    if line.dialect.name == "postgresql":
        line.exec_driver_sql("LOCK TABLE entries IN EXCLUSIVE MODE")
    heads_anew(line)


_INDEXES_3 = (
    "CREATE INDEX heads_by_state ON heads (state, number)",
    "CREATE INDEX heads_by_package ON heads (package_id, number)",
    "CREATE INDEX heads_by_last ON heads (last_at, number)",
)

STEPS: Mapping[str, Mapping[int, Step]] = {
    "sqlite": {1: _sqlite_1, 2: _sqlite_2, 3: _heads_4},
    "postgresql": {1: _postgresql_1, 2: _postgresql_2, 3: _heads_4},
}
"""By database: from this version to the next."""
