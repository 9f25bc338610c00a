"""Fakes of the ports: a store in memory, a clock that ticks, ids that count, a shelf with one board."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from coppermend.core.board.model import Board
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.log.canonical import sha256_hex
from coppermend.core.log.chain import check_chain
from coppermend.core.log.kinds import attachments_of, check_payload
from coppermend.core.log.model import Draft, Entry, agreed_order, entry_from_dict, placed
from coppermend.core.log.terms import fit, terms_of
from coppermend.services.heads import best_hit, head_of
from coppermend.services.ports import MOST_MEANT, CaseHead, Found, ShelvedBoard, Wanted
from coppermend.services.workshop import Workshop


class MemoryStore:
    """A CaseStore in memory. It keeps bodies as bytes, as the real one does, so that what comes back went through JSON."""

    def __init__(self, bench: str = "bench-a", writable: bool = True) -> None:
        self.bench, self.writable, self.where = bench, writable, "memory"
        self._bodies: list[bytes] = []
        self._cases: list[str] = []
        self._files: dict[str, bytes] = {}

    def _all(self) -> list[Entry]:
        return [entry_from_dict(json.loads(body)) for body in self._bodies]

    def append(self, draft: Draft) -> Entry:
        check_payload(draft.kind, draft.payload, draft.undoes)
        self._need_writable()
        for known in self._all():
            if known.id == draft.id:
                said = [name for name in Draft.__slots__ if name not in ("observed_at", "recorded_at", "author")]
                again = Entry(**{**known.as_dict(), **{name: getattr(draft, name) for name in said}})
                if again.body() != known.body():
                    raise _contradiction(draft.case)
                return known
        mine = [one for one in self._all() if one.case == draft.case]
        chain = [one for one in mine if one.bench == draft.bench]
        entry = placed(
            draft,
            max(chain, key=lambda one: one.bench_seq) if chain else None,
            max((one.lamport for one in mine), default=0),
        )
        self._put(entry)
        return entry

    def absorb(self, entries: Sequence[Entry]) -> int:
        self._need_writable()
        here = {one.id: one for one in self._all()}
        places = {(one.case, one.bench, one.bench_seq): one.id for one in here.values()}
        new = []
        for entry in entries:
            known = here.get(entry.id)
            if known is not None and known.body() != entry.body():
                raise _contradiction(entry.case)
            if known is None:
                if (entry.case, entry.bench, entry.bench_seq) in places:
                    raise _contradiction(entry.case)
                new.append(entry)
        for case in {one.case for one in entries}:
            bad = check_chain(
                [*(one for one in here.values() if one.case == case), *(one for one in new if one.case == case)]
            )
            if bad:
                raise refuse(bad[0].code, bad[0].words, bad[0].remedy, bad[0].place)
        for entry in sorted(new, key=lambda one: one.order):
            self._put(entry)
        return len(new)

    def _put(self, entry: Entry) -> None:
        if entry.case not in self._cases:
            self._cases.append(entry.case)
        self._bodies.append(entry.body())

    def entries(self, case: str) -> tuple[Entry, ...]:
        return agreed_order(one for one in self._all() if one.case == case)

    def mark(self, case: str) -> str:
        return str(len(self.entries(case)))

    def heads(self) -> tuple[CaseHead, ...]:
        return tuple(CaseHead(case, number, head_of(self.entries(case))) for number, case in self.numbers())

    def find(self, wanted: Wanted) -> Found:
        """What a store has to answer, said as plainly as can be."""
        heads = {one.id: one for one in self.heads()}
        said = {case: frozenset[str]().union(*(terms_of(one) for one in self.entries(case))) for case in heads}
        groups = [fit(term, frozenset[str]().union(*said.values())) for term in wanted.terms]
        cut = tuple(term for term, words in zip(wanted.terms, groups, strict=True) if len(words) > MOST_MEANT)
        groups = [words[:MOST_MEANT] for words in groups]
        found = [
            one
            for one in heads.values()
            if all(any(word in said[one.id] for word in words) for words in groups)
            and (not wanted.states or one.head.state in wanted.states)
            and wanted.waits in (None, bool(one.head.waits))
            and wanted.package_id in ("", one.head.package_id)
            and one.head.last_at >= wanted.since
        ]
        place = (lambda n, at: (at, n)) if wanted.order == "last" else (lambda n, at: (n,))
        found.sort(key=lambda one: place(one.number, one.head.last_at), reverse=True)
        if wanted.after is not None:
            found = [one for one in found if place(one.number, one.head.last_at) < place(*wanted.after)]
        if groups:
            found = [replace(one, hit=best_hit(self._first_to_say(one.id, groups), groups)) for one in found]
        return Found(tuple(found[: wanted.limit]), len(found) > wanted.limit, cut if all(groups) else ())

    def _first_to_say(self, case: str, groups: list[list[str]]) -> list[Entry]:
        """For each word that is looked for the first entry that says it."""
        places: dict[str, int] = {}
        for entry in reversed(self.entries(case)):
            places.update(dict.fromkeys(terms_of(entry), entry.lamport))
        wanted = {places[word] for words in groups for word in words[:16] if word in places}
        return [one for one in self.entries(case) if one.lamport in wanted]

    def heads_of(self, cases: Sequence[str]) -> tuple[CaseHead, ...]:
        return tuple(one for one in self.heads() if one.id in cases)

    def states(self) -> Mapping[str, int]:
        return Counter(one.head.state for one in self.heads())

    def case_of(self, number: int) -> str:
        return dict(self.numbers()).get(number, "")

    def numbers(self) -> tuple[tuple[int, str], ...]:
        return tuple(enumerate(self._cases, 1))

    def number_of(self, case: str) -> int:
        return self._cases.index(case) + 1 if case in self._cases else 0

    def attach(self, data: bytes) -> str:
        self._need_writable()
        self._files[sha256_hex(data)] = data
        return sha256_hex(data)

    def attachment(self, sha256: str) -> bytes:
        if sha256 not in self._files:
            raise refuse("STO-020", "The attachment is not in the store.", "Import the case.", Place(thing=sha256))
        return self._files[sha256]

    def check(self) -> tuple[Finding, ...]:
        missing = [
            Finding(
                "STO-020",
                Severity.ERROR,
                Place(thing=name),
                "The attachment is not in the store.",
                "Import the case.",
            )
            for name in attachments_of(self._all())
            if name not in self._files
        ]
        return (*missing, *check_chain(self._all()))

    def close(self) -> None:
        """Nothing to let go of."""

    def _need_writable(self) -> None:
        if not self.writable:
            raise refuse("STO-011", "The store can only be read.", "Name another store.")


def _contradiction(case: str) -> Exception:
    return refuse(
        "STO-030", "The entry contradicts one that is here.", "Nothing was written.", Place(thing=f"case {case}")
    )


class TickingClock:
    """A clock that goes on one second with every question."""

    def __init__(self) -> None:
        self._seconds = 0

    def now(self) -> str:
        self._seconds += 1
        minutes, seconds = divmod(self._seconds, 60)
        return f"2026-03-01T{9 + minutes // 60:02}:{minutes % 60:02}:{seconds:02}.000Z"


class CountingIds:
    """Ids that count, in the form of a UUID."""

    def __init__(self, first: int = 1) -> None:
        self._next = first

    def new(self) -> str:
        self._next += 1
        return f"01900000-0000-7000-8000-{self._next:012x}"


class OneBoardShelf:
    """A shelf that gives the same board for every package."""

    def __init__(self, board: Board, graph: CopperGraph) -> None:
        self._shelved = ShelvedBoard("hand-made", board, graph)

    def take(self, package: str) -> ShelvedBoard:
        return ShelvedBoard(package, self._shelved.board, self._shelved.graph)

    def known(self, package_id: str) -> ShelvedBoard | None:
        return self._shelved if package_id == self._shelved.board.package_id else None


def fake_workshop(board: Board, graph: CopperGraph, store: MemoryStore | None = None, first_id: int = 1) -> Workshop:
    """A workshop of fakes round one board."""
    return Workshop(
        store or MemoryStore(), OneBoardShelf(board, graph), TickingClock(), CountingIds(first_id), "tester"
    )
