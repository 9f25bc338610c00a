"""Is a log whole? Follows each bench's chain of hashes and names the first entry that does not fit."""

from __future__ import annotations

from collections.abc import Iterable

from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.log.model import NO_PREV, Entry

REMEDY = "Keep a copy of the store as it is and restore this case from its latest export or backup."


def check_chain(entries: Iterable[Entry]) -> tuple[Finding, ...]:
    """What is wrong with a case's log: gaps, forks and changed entries, bench by bench; empty when it is whole.

    An entry changed afterwards no longer has the SHA-256 that the bench's next entry states as ``prev``. The last entry of a bench has no
    successor that could speak for it: that is the limit of a chain.
    """
    found: list[Finding] = []
    benches: dict[tuple[str, str], list[Entry]] = {}
    for entry in entries:
        benches.setdefault((entry.case, entry.bench), []).append(entry)
    for chain in benches.values():
        found += _check_bench(sorted(chain, key=lambda entry: entry.bench_seq))
    return tuple(found)


def _check_bench(chain: list[Entry]) -> list[Finding]:
    found = []
    expected_seq, expected_prev, last_lamport = 1, NO_PREV, 0
    for entry in chain:
        place = Place(thing=f"case {entry.case} bench {entry.bench} entry {entry.bench_seq}")
        if entry.bench_seq != expected_seq:
            word = "twice" if entry.bench_seq < expected_seq else f"but entry {expected_seq} is missing"
            found.append(
                Finding(
                    "LOG-010",
                    Severity.ERROR,
                    place,
                    f"The bench's entries are numbered without gaps, this one is here {word}.",
                    REMEDY,
                )
            )
        elif entry.prev != expected_prev:
            found.append(
                Finding(
                    "LOG-011",
                    Severity.ERROR,
                    place,
                    "The entry before it was changed after it was written: its SHA-256 is not the one stated here.",
                    REMEDY,
                )
            )
        if entry.lamport <= last_lamport:
            found.append(
                Finding(
                    "LOG-012",
                    Severity.ERROR,
                    place,
                    f"Its lamport {entry.lamport} does not follow {last_lamport}.",
                    REMEDY,
                )
            )
        expected_seq, expected_prev, last_lamport = entry.bench_seq + 1, entry.sha256(), entry.lamport
    return found
