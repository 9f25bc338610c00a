"""How long a shop's everyday questions take on a store of many cases: a page of the list, a search, one case opened, its number, one more entry.

A store is generated (``_many_cases.py``), or one that was made before is used again; a run that was stopped goes on. Every call asks something else (``--seed``).
Percentiles over ``--calls`` calls after five for warming up, by the clock and of processor time: this process's and, where the database's server runs on the
same computer, its backends' (Linux, ``/proc/PID/schedstat``). Target (issue 9): list, search and open within 200 ms at the 95th percentile with 10,000 cases on
SQLite and 100,000 on PostgreSQL. ``--cases N`` (default 1,000), ``--entries N`` a case (default 200), ``--store URL`` where it lies (default: a temporary folder).
``--only make``: make the store and stop.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import statistics
import tempfile
import time
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from benchmarks._many_cases import COMPLAINTS, MAKERS, MODELS, NETS, OWNERS, STATES, fill
from coppermend.adapters.storage.schema import ENTRIES, TERMS
from coppermend.bootstrap import open_store, workshop
from coppermend.core.log.model import Draft
from coppermend.services.casefinding import Asked, find_cases
from coppermend.services.cases import find_case, show_case
from coppermend.services.workshop import Workshop

WARM = 5
TARGET_MS = 200.0


class Work:
    """Processor time so far, in seconds: of this process and of the database's backends that serve it."""

    def __init__(self, shop: Any) -> None:
        self._files: list[Path] = []
        if shop.store.engine.dialect.name == "postgresql":
            with shop.store.engine.connect() as line:
                pids = line.exec_driver_sql(
                    "SELECT pid FROM pg_stat_activity WHERE datname = current_database()"
                ).scalars()
                self._files = [path for pid in pids if (path := Path(f"/proc/{pid}/schedstat")).exists()]

    def spent(self) -> float:
        """The sum, in seconds."""
        return time.process_time() + sum(int(file.read_text().split()[0]) for file in self._files) / 1e9  # nanoseconds


def percentiles(act: Callable[[], object], calls: int, work: Work) -> dict[str, float]:
    """Median and 95th percentile of an act in milliseconds, by the clock and of processor time."""
    wall, spent = [], []
    for call in range(WARM + calls):
        begun, before = time.perf_counter(), work.spent()
        act()
        if call >= WARM:
            wall.append((time.perf_counter() - begun) * 1e3)
            spent.append((work.spent() - before) * 1e3)
    (p50, p95), (cpu_p50, cpu_p95) = _cuts(wall), _cuts(spent)
    return {"p50_ms": p50, "p95_ms": p95, "cpu_p50_ms": cpu_p50, "cpu_p95_ms": cpu_p95}


def _cuts(times: list[float]) -> tuple[float, float]:
    return round(statistics.median(times), 2), round(statistics.quantiles(times, n=20)[18], 2)


def run(arguments: list[str]) -> dict[str, Any]:
    """Make or open the store and time the questions."""
    parser = argparse.ArgumentParser(prog="many_cases")
    parser.add_argument("--cases", type=int, default=1000)
    parser.add_argument("--entries", type=int, default=200)
    parser.add_argument("--store", default=None)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--calls", type=int, default=100)
    parser.add_argument("--only", choices=("make",), default=None)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        url = asked.store or folder
        begun = time.perf_counter()
        with contextlib.closing(open_store(url)) as store:
            made = fill(store, asked.seed, asked.cases, asked.entries)
        made_s = round(time.perf_counter() - begun, 1)
        if asked.only:
            return {"made_s": made_s, "made_entries": made}
        shop = workshop(url, author="x")
        try:
            return {"made_s": made_s, "made_entries": made, **_kept(shop), **questions(shop, asked.calls, asked.seed)}
        finally:
            shop.store.close()


def _kept(shop: Any) -> dict[str, Any]:
    """What the store holds, and on what."""
    with shop.store.engine.connect() as line:
        entries = line.execute(select(func.count()).select_from(ENTRIES)).scalar_one()
        terms = line.execute(select(func.count()).select_from(TERMS)).scalar_one()
        name = line.dialect.name
        said = line.exec_driver_sql(
            "SELECT sqlite_version()" if name == "sqlite" else "SHOW server_version"
        ).scalar_one()
    database = f"{name} {str(said).split()[0]}"
    return {
        "entries": entries,
        "terms": terms,
        "database": database,
        "sqlalchemy": version("sqlalchemy"),
        "target_ms": TARGET_MS,
    }


def questions(shop: Workshop, calls: int, seed: int) -> dict[str, Any]:
    """The timed questions on a store that stands."""
    dice, numbers = random.Random(f"questions {seed}"), shop.store.numbers()
    pick = dice.choice

    def some() -> str:
        return str(pick(numbers)[1])

    def entry() -> None:
        at, where = (
            shop.clock.now(),
            {"part": f"U{dice.randrange(1, 60)}", "pin": str(dice.randrange(1, 41)), "net": pick(NETS)},
        )
        point = {"id": f"{where['part']}.{where['pin']}/leg", "x_mm": 1.0, "y_mm": 2.0, "side": "c", **where}
        payload: dict[str, Any] = {"points": [point, point], "ohm": round(dice.uniform(0.05, 3), 2), "raw": "0.31"}
        shop.store.append(Draft(shop.ids.new(), some(), shop.store.bench, at, at, "x", "ohms", 1, payload))

    def ask(words: Callable[[], str] = lambda: "", **more: Any) -> Callable[[], object]:
        return lambda: find_cases(
            shop, Asked(words(), **{name: one() if callable(one) else one for name, one in more.items()})
        )

    def serial() -> str:
        (head,) = shop.store.heads_of([some()])
        return head.head.serial

    serials = [serial() for _ in range(200)]
    asked: dict[str, Callable[[], object]] = {
        "list": ask(),
        "list_last_worked_on": ask(order="last"),
        "list_in_a_state": ask(states=lambda: (pick(STATES),)),
        "list_somewhere": ask(after=lambda: str(pick(numbers)[0])),
        "find_serial": ask(lambda: pick(serials)),
        "find_serial_begun": ask(lambda: pick(serials)[:5]),
        "find_machine": ask(lambda: f"{pick(MAKERS)} {pick(MODELS)}"),
        "find_two_makers": ask(lambda: f"{MAKERS[0]} {pick(MAKERS[1:])}"),
        "find_complaint_and_owner": ask(lambda: f"{pick(COMPLAINTS)} {pick(OWNERS)}"),
        "find_net_open": ask(lambda: f"{pick(NETS)}:open u{dice.randrange(1, 60)}"),
        "find_pin": ask(lambda: f"u{dice.randrange(1, 60)}.{dice.randrange(1, 41)}"),
        "find_last_worked_on": ask(lambda: f"{pick(MAKERS)} {pick(NETS)}", order="last"),
        "find_in_a_state": ask(lambda: f"{pick(NETS)} {pick(MAKERS)}", states=lambda: (pick(STATES),)),
        "find_nothing": ask(lambda: f"{pick(MAKERS)} {pick(NETS)} nobody-said-this"),
        "find_by_number": lambda: find_case(shop, str(pick(numbers)[0])),
        "open": lambda: show_case(shop, some()),
        "mark": lambda: shop.store.mark(some()),
        "one_more_entry": entry,
    }
    for act in asked.values():
        act()
    work = Work(shop)
    return {
        "cases": len(numbers),
        "calls": calls,
        **{name: percentiles(act, calls, work) for name, act in asked.items()},
    }
