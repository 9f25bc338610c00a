"""A store as a shop has it after years, generated: machines, owners, complaints, readings with nets and parts, remarks, states of work. Every chain is whole.

The rows of all tables are made here as the store makes them and written in bulk (COPY on PostgreSQL), whole cases in one transaction: a run that was stopped
goes on where it was. ``tests/facts/test_many_cases.py`` compares such a store with one that took the same entries in.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, func, insert, select

from coppermend.adapters.storage.listing import first_said, head_row
from coppermend.adapters.storage.schema import CASES, ENTRIES, HEADS, TERMS
from coppermend.adapters.storage.sql import SqlStore, entry_row
from coppermend.core.log.model import NO_PREV, Draft, Entry, placed_after
from coppermend.services.heads import head_of

MAKERS = ("Larkenfell", "Tarnwick", "Ostrava", "Quillmere", "Dunvar", "Haselbeck", "Merrow", "Pelzig")
"""Machines of our own invention."""
MODELS = ("64", "128", "II", "Micro", "Plus", "Terminal", "Portable", "XL")
OWNERS = ("Ash", "Birk", "Cole", "Dorn", "Eder", "Fehn", "Grau", "Hain", "Igel", "Jung", "Kern", "Lind")
COMPLAINTS = (
    "black screen",
    "garbage on screen",
    "no sound",
    "keys dead",
    "resets after a minute",
    "leaked battery",
    "will not load",
)
REMARKS = (
    "ordered a socket",
    "cleaned with isopropanol",
    "green joints round the clock chip",
    "owner called",
    "waiting for a part",
    "soaked overnight",
)
STATES = ("waiting", "on the bench", "soak test", "ready", "returned")
NETS = tuple(f"{name}{k}" for name in ("A", "D", "MA", "MD") for k in range(16))
BENCHES = 3
BATCH = 50
"""Cases written in one transaction."""
RETURNED = 0.97
"""Share of machines that went back to their owners."""


def made_cases(seed: int, cases: int, entries: int, begin: int = 0) -> Iterator[list[Entry]]:
    """Whole cases of about ``entries`` entries each (half to one and a half times as many), the same for the same seed. ``begin``: the first so many are left out."""
    for number in range(begin, cases):
        yield list(_case(random.Random(f"{seed} {number}"), number, entries))


def fill(store: SqlStore, seed: int, cases: int, entries: int) -> int:
    """Write the cases that are not here yet; how many entries these have. The store holds none but those that this function wrote."""
    with store.engine.connect() as line:
        here = line.execute(select(func.coalesce(func.max(CASES.c.number), 0))).scalar_one()
    total, batch = 0, list[tuple[int, list[Entry]]]()
    for number, one in enumerate(made_cases(seed, cases, entries, here), here + 1):
        batch.append((number, one))
        total += len(one)
        if number % BATCH == 0 or number == cases:
            with store.engine.begin() as line:
                _put(line, batch)
            batch = []
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as line:
        if line.dialect.name == "postgresql":  # as its autovacuum does by itself when a store grows slowly
            line.exec_driver_sql(
                "SELECT setval(pg_get_serial_sequence('cases', 'number'), (SELECT max(number) FROM cases))"
            )
            line.exec_driver_sql("VACUUM ANALYZE")
    return total


def _put(line: Connection, cases: Sequence[tuple[int, list[Entry]]]) -> None:
    """Rows of all tables for whole new cases."""
    said = [
        {"term": term, "number": number, "lamport": place}
        for number, log in cases
        for term, place in first_said(log).items()
    ]
    rows: list[tuple[Any, list[dict[str, Any]]]] = [
        (CASES, [{"number": number, "id": log[0].case} for number, log in cases]),
        (ENTRIES, [entry_row(one) for _, log in cases for one in log]),
        (HEADS, [head_row(number, log[0].case, head_of(log)) for number, log in cases]),
        (TERMS, sorted(said, key=lambda row: (row["term"], row["number"]))),
    ]
    if line.dialect.name != "postgresql":
        for table, some in rows:
            line.execute(insert(table), some)
        return
    line.exec_driver_sql("SET LOCAL synchronous_commit = off")
    with line.connection.driver_connection.cursor() as cursor:  # type: ignore[union-attr]
        for table, some in rows:
            names = list(some[0])
            with cursor.copy(f"COPY {table.name} ({', '.join(names)}) FROM STDIN") as copy:
                for row in some:
                    copy.write_row([row[name] for name in names])


def _case(dice: random.Random, number: int, entries: int) -> Iterator[Entry]:
    case = _uuid(dice)
    at = datetime(2016, 1, 1, tzinfo=UTC) + timedelta(hours=8 * number)
    last: dict[str, tuple[int, str]] = {}
    count = max(4, round(entries * dice.uniform(0.5, 1.5)))
    for lamport in range(count):
        at += timedelta(seconds=dice.uniform(5, 600))
        when = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
        bench = f"bench-{dice.randrange(BENCHES) if lamport > 2 else 0}"
        kind, payload = _said(dice, lamport)
        if lamport == count - 1 and dice.random() < RETURNED:
            kind, payload = "progress", {"state": "returned"}
        seq, prev = last.get(bench, (0, NO_PREV))
        draft = Draft(_uuid(dice), case, bench, when, when, dice.choice(OWNERS).lower(), kind, 1, payload)
        entry = placed_after(draft, seq, prev, lamport)
        last[bench] = (entry.bench_seq, entry.sha256())
        yield entry


def _said(dice: random.Random, place: int) -> tuple[str, dict[str, Any]]:
    if place == 0:
        machine = f"{dice.choice(MAKERS)} {dice.choice(MODELS)}"
        return "case", {
            "title": machine, "serial": f"{dice.choice('ABCDEFGH')}{dice.randrange(10**6):06}", "complaint": dice.choice(COMPLAINTS), "owner": dice.choice(OWNERS),
        }  # fmt: skip
    if place == 1:
        return "board", {
            "package": "demo",
            "package_id": f"{dice.randrange(40):064x}",
            "title": f"board {dice.randrange(40)}",
        }
    if place == 2 or dice.random() < 0.02:
        return "progress", {"state": dice.choice(STATES)}
    if dice.random() < 0.1:
        return "remark", {"words": dice.choice(REMARKS)}
    net, points = dice.choice(NETS), [_point(dice), _point(dice)]
    kind = dice.choice(("closed", "closed", "closed", "open", "ohms"))
    return kind, {"points": [{**one, "net": net} for one in points], "raw": "0.31", **({"ohm": round(dice.uniform(0.05, 3), 2)} if kind == "ohms" else {})}  # fmt: skip


def _point(dice: random.Random) -> dict[str, object]:
    part, pin = f"U{dice.randrange(1, 60)}", str(dice.randrange(1, 41))
    place = {"x_mm": round(dice.uniform(0, 300), 2), "y_mm": round(dice.uniform(0, 200), 2), "side": dice.choice("cs")}
    return {"id": f"{part}.{pin}/leg", "part": part, "pin": pin, **place}


def _uuid(dice: random.Random) -> str:
    text = f"{dice.getrandbits(128):032x}"
    return f"{text[:8]}-{text[8:12]}-7{text[13:16]}-8{text[17:20]}-{text[20:]}"
