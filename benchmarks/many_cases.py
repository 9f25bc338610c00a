"""How long a shop's everyday questions take on a store of many cases: the list, one case's log, its number, its mark, one more entry.

A store is generated (``_many_cases.py``), or one that was made before is used again. Percentiles over ``--calls`` calls after five for warming up.
Target (issue 9): list, search and open within 200 ms at the 95th percentile with 10,000 cases on SQLite and 100,000 on PostgreSQL.
``--cases N`` (default 1,000), ``--entries N`` a case (default 200), ``--store URL`` where it lies (default: a temporary folder), ``--seed``.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import statistics
import tempfile
import time
from collections.abc import Callable
from typing import Any

from benchmarks._many_cases import fill
from coppermend.bootstrap import open_store, workshop
from coppermend.core.log.model import Draft
from coppermend.services.cases import find_case, list_cases, show_case

WARM = 5


def percentiles(act: Callable[[], object], calls: int) -> dict[str, float]:
    """Median and 95th percentile of an act in milliseconds, by the clock and of processor time."""
    wall, work = [], []
    for call in range(WARM + calls):
        begun, spent = time.perf_counter(), time.process_time()
        act()
        if call >= WARM:
            wall.append((time.perf_counter() - begun) * 1e3)
            work.append((time.process_time() - spent) * 1e3)
    cut = lambda times: statistics.quantiles(times, n=20)[18]  # noqa: E731
    return {
        "p50_ms": round(statistics.median(wall), 2),
        "p95_ms": round(cut(wall), 2),
        "cpu_p95_ms": round(cut(work), 2),
    }


def run(arguments: list[str]) -> dict[str, Any]:
    """Make or open the store and time the questions."""
    parser = argparse.ArgumentParser(prog="many_cases")
    parser.add_argument("--cases", type=int, default=1000)
    parser.add_argument("--entries", type=int, default=200)
    parser.add_argument("--store", default=None)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--calls", type=int, default=100)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        url = asked.store or folder
        begun = time.perf_counter()
        with contextlib.closing(open_store(url)) as store:
            made = fill(store, asked.seed, asked.cases, asked.entries) if not store.numbers() else 0
        made_s = time.perf_counter() - begun
        shop = workshop(url, author="x")
        try:
            return {"made_s": round(made_s, 1), "made_entries": made, **questions(shop, asked.calls)}
        finally:
            shop.store.close()


def questions(shop: Any, calls: int) -> dict[str, Any]:
    """The timed questions on a store that stands."""
    dice = random.Random(7)
    numbers = shop.store.numbers()

    def some() -> str:
        return str(dice.choice(numbers)[1])

    def entry() -> None:
        at = shop.clock.now()
        shop.store.append(
            Draft(shop.ids.new(), some(), shop.store.bench, at, at, "x", "remark", 1, {"words": "one more"})
        )

    return {
        "cases": len(numbers),
        "find_by_number": percentiles(lambda: find_case(shop, str(dice.choice(numbers)[0])), calls),
        "open": percentiles(lambda: show_case(shop, some()), calls),
        "mark": percentiles(lambda: shop.store.mark(some()), calls),
        "one_more_entry": percentiles(entry, calls),
        "whole_list": percentiles(lambda: list_cases(shop), max(3, calls // 20)),
    }
