"""The bench's own speed from its log, and the cost table that follows from it, taken into a case by a basis entry."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise

from coppermend.core.copper.model import ProbePoint
from coppermend.core.findings import refuse
from coppermend.core.log.canonical import canonical_bytes, sha256_hex
from coppermend.core.log.model import Entry
from coppermend.core.log.state import Reading, plain
from coppermend.core.planning.bench_times import BenchTimes, Interval, bench_times
from coppermend.core.planning.costs import CostTable
from coppermend.services.cases import case_state
from coppermend.services.entries import write
from coppermend.services.numbers import costs_of
from coppermend.services.workshop import Workshop

LEAST = 20
"""Fewer intervals than this are not taken into a case (an assumption)."""
TWO_POINT = ("closed", "open", "ohms", "diode")


def intervals_of(readings: Sequence[Reading]) -> list[Interval]:
    """The times between one two-point reading and the next. What lies between two (another act, a power-up) shows as a pause and is left out later."""
    out = []
    for one, other in pairwise(
        [r for r in readings if r.kind in TWO_POINT and len(r.points) == 2 and r.instrument != "paper"]
    ):
        seconds = (_when(other.observed_at) - _when(one.observed_at)).total_seconds()
        out.append(Interval(seconds, _ends(one), _ends(other)))
    return out


def _when(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _ends(reading: Reading) -> tuple[ProbePoint, ProbePoint]:
    a, b = (ProbePoint(p.id, -1, -1, p.x_mm, p.y_mm, p.side, p.part, p.pin) for p in reading.points)
    return a, b


def times_of(workshop: Workshop, cases: Sequence[str]) -> BenchTimes:
    """The bench's times over these cases (practice patients behind a case count: the hands are real), against the table's defaults."""
    found: list[Interval] = []
    for case in cases:
        found += intervals_of(case_state(workshop, case).readings)
    return bench_times(CostTable(), found)


def take_times(workshop: Workshop, case: str, times: BenchTimes) -> Entry:
    """Write the fitted cost table into a case as its basis "costs": planning uses it from now on. Refusal BEN-001 with fewer than LEAST intervals."""
    if times.used < LEAST:
        raise refuse(
            "BEN-001",
            f"Only {times.used} times between readings can be used, {LEAST} are needed.",
            "Work on; the table's own numbers hold until then.",
        )
    values = plain(times.costs)
    return write(
        workshop, case, "basis", {"name": "costs", "sha256": sha256_hex(canonical_bytes(values)), "values": values}
    )


def costs_in_use(workshop: Workshop, case: str) -> CostTable:
    """The cost table that a case plans with."""
    return costs_of(case_state(workshop, case))
