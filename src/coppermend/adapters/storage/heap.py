"""A store in memory, for practice: the log of a case that nobody keeps. Nothing of it outlives the process."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence

from coppermend.core.findings import Finding, refuse
from coppermend.core.log.kinds import check_payload
from coppermend.core.log.model import Draft, Entry, placed
from coppermend.services.ports import CaseHead, Found, Wanted


class HeapStore:
    """``CaseStore`` without a disk: what one process writes and reads. Lists of cases are not kept: it is for one case at a time."""

    def __init__(self, bench: str) -> None:
        self._bench = bench
        self._entries: dict[str, list[Entry]] = {}
        self._blobs: dict[str, bytes] = {}

    @property
    def bench(self) -> str:
        """The id of this bench."""
        return self._bench

    @property
    def where(self) -> str:
        """In words for a person."""
        return "in memory, for practice"

    @property
    def writable(self) -> bool:
        """Always."""
        return True

    def append(self, draft: Draft) -> Entry:
        """Write one entry."""
        check_payload(draft.kind, draft.payload, draft.undoes)
        mine = self._entries.setdefault(draft.case, [])
        known = next((one for one in mine if one.id == draft.id), None)
        if known is not None:
            return known
        last = mine[-1] if mine else None
        entry = placed(draft, last, last.lamport if last else 0)
        mine.append(entry)
        return entry

    def absorb(self, entries: Sequence[Entry]) -> int:
        """Nothing comes from elsewhere."""
        raise refuse("STO-001", "A practice store takes nothing in from elsewhere.", "Use a store on disk.")

    def entries(self, case: str) -> tuple[Entry, ...]:
        """All entries of a case."""
        return tuple(self._entries.get(case, ()))

    def mark(self, case: str) -> str:
        """Their number."""
        return str(len(self._entries.get(case, ())))

    def heads(self) -> tuple[CaseHead, ...]:
        """None are kept."""
        return ()

    def find(self, wanted: Wanted) -> Found:
        """Nothing is found."""
        return Found(())

    def heads_of(self, cases: Sequence[str]) -> tuple[CaseHead, ...]:
        """None are kept."""
        return ()

    def states(self) -> Mapping[str, int]:
        """None are kept."""
        return {}

    def numbers(self) -> tuple[tuple[int, str], ...]:
        """The cases in the order they were opened."""
        return tuple((k + 1, case) for k, case in enumerate(self._entries))

    def case_of(self, number: int) -> str:
        """The id of a number."""
        return dict(self.numbers()).get(number, "")

    def number_of(self, case: str) -> int:
        """The number of an id."""
        return next((k for k, one in self.numbers() if one == case), 0)

    def attach(self, data: bytes) -> str:
        """Keep bytes under their SHA-256."""
        digest = hashlib.sha256(data).hexdigest()
        self._blobs[digest] = data
        return digest

    def attachment(self, sha256: str) -> bytes:
        """The bytes kept under that SHA-256."""
        return self._blobs[sha256]

    def check(self) -> tuple[Finding, ...]:
        """Nothing to check."""
        return ()

    def close(self) -> None:
        """Nothing to let go of."""
