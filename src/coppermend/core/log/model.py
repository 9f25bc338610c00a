"""The log's values: what an entry is, how entries are ordered and how each one is tied to the one before it.

A case is its entries and nothing else. An entry is written once and never changed; taking something back is another entry. Entries of one
case come from one or several benches; each bench counts its own (``bench_seq`` from 1) and ties each entry to its previous one by
``prev`` = SHA-256 over the canonical JSON of that entry (64 zeros for its first in the case). ``lamport`` is one more than the largest a
bench has seen in the case (Lamport, CACM 21(7), 1978), so that whoever answers an entry comes after it in the agreed order.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from coppermend.core.findings import Place, refuse
from coppermend.core.log.canonical import Json, canonical_bytes, sha256_hex

NO_PREV = "0" * 64
"""``prev`` of a bench's first entry in a case."""


@dataclass(frozen=True, slots=True)
class Draft:
    """What somebody wants written: everything but the place in the log, which the store gives (bench_seq, lamport, prev).

    ``id`` UUIDv7 (RFC 9562) in its usual text; the same draft sent again under its id is written once. ``observed_at`` when it happened on
    the bench, ``recorded_at`` when it was handed in: ISO 8601, UTC. ``payload`` see ``kinds.py``. ``undoes`` id of an entry, for kind undo.
    """

    id: str
    case: str
    bench: str
    observed_at: str
    recorded_at: str
    author: str
    kind: str
    v: int
    payload: Mapping[str, Json] = field(default_factory=dict)
    undoes: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the log, as it stands on disk. See ``Draft`` for the fields a person gives."""

    id: str
    case: str
    bench: str
    bench_seq: int
    lamport: int
    prev: str
    observed_at: str
    recorded_at: str
    author: str
    kind: str
    v: int
    payload: Mapping[str, Json]
    undoes: str | None = None

    @property
    def order(self) -> tuple[int, str, int]:
        """Key of the agreed order: (lamport, bench, bench_seq)."""
        return (self.lamport, self.bench, self.bench_seq)

    def as_dict(self) -> dict[str, Any]:
        """The entry as plain JSON values, every field present."""
        return {name: getattr(self, name) for name in FIELDS}

    def body(self) -> bytes:
        """The entry as canonical JSON: what is stored, exported and hashed."""
        return canonical_bytes(self.as_dict())

    def sha256(self) -> str:
        """SHA-256 of the body: ``prev`` of this bench's next entry."""
        return sha256_hex(self.body())

    def draft(self) -> Draft:
        """The entry without its place in the log."""
        return Draft(
            self.id,
            self.case,
            self.bench,
            self.observed_at,
            self.recorded_at,
            self.author,
            self.kind,
            self.v,
            self.payload,
            self.undoes,
        )


FIELDS = (
    "id", "case", "bench", "bench_seq", "lamport", "prev", "observed_at", "recorded_at", "author", "kind", "v", "payload", "undoes",
)  # fmt: skip
_WHOLE = ("bench_seq", "lamport", "v")


def placed(draft: Draft, previous: Entry | None, largest_lamport: int) -> Entry:
    """The entry that a draft becomes after ``previous`` (this bench's last in the case) when ``largest_lamport`` is the case's largest so far."""
    if previous is None:
        return placed_after(draft, 0, NO_PREV, largest_lamport)
    return placed_after(draft, previous.bench_seq, previous.sha256(), largest_lamport)


def placed_after(draft: Draft, bench_seq: int, prev: str, largest_lamport: int) -> Entry:
    """The entry that a draft becomes after the bench's entry number ``bench_seq`` (0: none yet) whose body has the SHA-256 ``prev``."""
    return Entry(
        draft.id,
        draft.case,
        draft.bench,
        bench_seq + 1,
        largest_lamport + 1,
        prev,
        draft.observed_at,
        draft.recorded_at,
        draft.author,
        draft.kind,
        draft.v,
        draft.payload,
        draft.undoes,
    )


def entry_from_dict(value: object, where: Place | None = None) -> Entry:
    """An entry from decoded JSON. Refusal LOG-001 when a field is missing, unknown or of the wrong type."""
    place = where or Place()
    if not isinstance(value, Mapping) or set(value) != set(FIELDS):
        found = sorted(value) if isinstance(value, Mapping) else type(value).__name__
        raise refuse(
            "LOG-001",
            f"Not a log entry: found {found}, expected the fields {', '.join(FIELDS)}.",
            "Take the file from its source again.",
            place,
        )
    for name in FIELDS:
        if not _fits(name, value[name]):
            raise refuse(
                "LOG-001", f"Not a log entry: {name} is {value[name]!r}.", "Take the file from its source again.", place
            )
    return Entry(**cast("dict[str, Any]", dict(value)))


def _fits(name: str, value: object) -> bool:
    if name in _WHOLE:
        return isinstance(value, int) and not isinstance(value, bool) and value >= 1
    if name == "payload":
        return isinstance(value, Mapping)
    if name == "undoes":
        return value is None or isinstance(value, str)
    return isinstance(value, str)


def agreed_order(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The entries in the one order that every bench agrees on: by lamport, then bench, then bench_seq. Each id once."""
    return tuple(sorted({entry.id: entry for entry in entries}.values(), key=lambda entry: entry.order))
