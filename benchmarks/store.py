"""How long an entry takes until it is acknowledged, against a bare SQLite commit of the same bytes (WAL, synchronous FULL) in the same run.

Batches of both alternate strictly on one disk; the first pair is thrown away; medians over batches are quoted. The bare side is what any
program must pay: BEGIN IMMEDIATE, one INSERT, COMMIT. Target (issue 2): at most 3 times.
``--pairs N`` (default 7), ``--batch N`` entries a batch (default 100), ``--folder DIR`` on the disk to measure (default: the temporary folder).
"""

from __future__ import annotations

import argparse
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

from coppermend.adapters.storage.sqlite import SqliteStore
from coppermend.adapters.storage.system import SystemClock, Uuid7Ids
from coppermend.core.log.model import Draft

POINT = {"x_mm": 31.2, "y_mm": 40.0, "side": "c", "net": "D0", "part": "U1", "pin": "8"}
PAYLOAD = {
    "points": [{"id": "U1.8/leg", **POINT}, {"id": "U7.3/leg", **POINT}],
    "raw": "0.31",
    "ohm": 0.31,
    "instrument": "typed",
    "states": {"U1": "socketed"},
}
"""A reading as a bench writes them all day."""


def per_entry_ms(act: Callable[[], object], batch: int) -> float:
    """Milliseconds of one act, mean over a batch."""
    begun = time.perf_counter()
    for _ in range(batch):
        act()
    return (time.perf_counter() - begun) / batch * 1e3


def bare(folder: Path, body: str) -> tuple[sqlite3.Connection, Callable[[], object]]:
    """A bare database and one commit into it."""
    line = sqlite3.connect(folder / "bare.db", isolation_level=None)
    line.execute("PRAGMA journal_mode=WAL").fetchall()
    line.execute("PRAGMA synchronous=FULL")
    line.execute("CREATE TABLE entries (id INTEGER PRIMARY KEY, body TEXT)")

    def act() -> None:
        line.execute("BEGIN IMMEDIATE")
        line.execute("INSERT INTO entries (body) VALUES (?)", (body,))
        line.execute("COMMIT")

    return line, act


def run(arguments: list[str]) -> dict[str, Any]:
    """Measure and return medians in milliseconds and their ratio."""
    parser = argparse.ArgumentParser(prog="store")
    parser.add_argument("--pairs", type=int, default=7)
    parser.add_argument("--batch", type=int, default=100)
    parser.add_argument("--folder", default=None)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(dir=asked.folder) as name:
        folder, ids, clock = Path(name), Uuid7Ids(), SystemClock()
        store, case = SqliteStore(str(folder / "store"), ids.new()), ids.new()

        def draft(kind: str, payload: dict[str, Any]) -> Draft:
            return Draft(ids.new(), case, store.bench, clock.now(), clock.now(), "bench", kind, 1, payload)

        store.append(draft("case", {"title": "benchmark"}))
        body = store.append(draft("ohms", PAYLOAD)).body().decode()
        line, commit = bare(folder, body)
        pairs = [
            (per_entry_ms(commit, asked.batch), per_entry_ms(lambda: store.append(draft("ohms", PAYLOAD)), asked.batch))
            for _ in range(asked.pairs)
        ][1:]
        line.close()
        whole = store.check() == ()
        store.close()
    bare_ms, entry_ms = (statistics.median(one[k] for one in pairs) for k in (0, 1))
    return {
        "bare_commit_ms": round(bare_ms, 4),
        "entry_ms": round(entry_ms, 4),
        "ratio": round(statistics.median(entry / plain for plain, entry in pairs), 3),
        "target_ratio": 3.0,
        "pairs": len(pairs),
        "batch": asked.batch,
        "chain_whole": whole,
        "sqlite": sqlite3.sqlite_version,
        "sqlalchemy": version("sqlalchemy"),
    }
