"""What every SQL case store does alike: one transaction an entry, the place in the log given inside it, the same statements on every database."""

from __future__ import annotations

import contextlib
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, bindparam, func, insert, inspect, or_, select
from sqlalchemy.exc import DatabaseError

from coppermend.adapters.storage import listing
from coppermend.adapters.storage.checking import all_cases, cases_in_log, check_case, is_damage, of_case, read_entry
from coppermend.adapters.storage.schema import CASES, ENTRIES, FACTS, HEADS, META, SCHEMA_VERSION, TERMS
from coppermend.adapters.storage.walking import walk
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.core.log.canonical import sha256_hex
from coppermend.core.log.chain import check_chain
from coppermend.core.log.kinds import check_payload
from coppermend.core.log.model import NO_PREV, Draft, Entry, placed_after
from coppermend.services.heads import Head, head_of
from coppermend.services.ports import CaseHead, Found, Wanted

T = TypeVar("T")

_BY_ID = select(ENTRIES.c.body).where(ENTRIES.c.id == bindparam("id"))
_LAST_OF_BENCH = (
    select(ENTRIES.c.sha256)
    .where(ENTRIES.c.case_id == bindparam("case"), ENTRIES.c.bench == bindparam("bench"))
    .order_by(ENTRIES.c.bench_seq.desc())
    .limit(1)
)
_LARGEST_LAMPORT = select(func.max(ENTRIES.c.lamport)).where(ENTRIES.c.case_id == bindparam("case"))
_BEFORE = select(
    _BY_ID.scalar_subquery(),
    _LAST_OF_BENCH.scalar_subquery(),
    _LAST_OF_BENCH.with_only_columns(ENTRIES.c.bench_seq).scalar_subquery(),
    _LARGEST_LAMPORT.scalar_subquery(),
    select(HEADS.c.number).where(HEADS.c.case_id == bindparam("case")).scalar_subquery(),
    select(HEADS.c.body).where(HEADS.c.case_id == bindparam("case")).scalar_subquery(),
)
"""What append must know, in one question: the entry of that id, the SHA-256 of the bench's last one with its number, the case's largest lamport, its head."""
SUMS_SINCE = 2
"""The version of the tables since which every entry carries its SHA-256."""
_INSERT = insert(ENTRIES)
_NUMBERS = select(CASES.c.number, CASES.c.id).order_by(CASES.c.number)


class SqlStore(ABC):
    """What the stores share. A subclass opens the database, keeps attachments, says errors in words, and queues writers of a case."""

    _engine: Engine
    """For writing."""
    _reader: Engine
    """For reading."""
    _bench: str
    _writable: bool
    _version: int = SCHEMA_VERSION

    @property
    def bench(self) -> str:
        """The id of this bench."""
        return self._bench

    @property
    def engine(self) -> Engine:
        """The database itself, for what is no use case: benchmarks, measuring."""
        return self._engine

    @property
    @abstractmethod
    def where(self) -> str:
        """Where the store is, in words for a person."""

    @abstractmethod
    def close(self) -> None:
        """Let go of the database."""

    @abstractmethod
    def migrate(self) -> None:
        """Bring the tables up to the newest version, all or nothing."""

    @abstractmethod
    def attach(self, data: bytes) -> str:
        """Keep bytes under their SHA-256."""

    @abstractmethod
    def attachment(self, sha256: str) -> bytes:
        """The bytes kept under that SHA-256."""

    @property
    def writable(self) -> bool:
        """False when the store can be read but not written."""
        return self._writable

    def append(self, draft: Draft) -> Entry:
        """Write one entry; returns after it is on disk and synced."""
        check_payload(draft.kind, draft.payload, draft.undoes)
        self._need_writable()
        with self._in_words(), self._engine.begin() as line:
            self._queue(line, draft.case)
            before = line.execute(_BEFORE, {"id": draft.id, "case": draft.case, "bench": draft.bench}).one()
            known, prev, seq, lamport, number, head = before
            if known is not None:
                return _same(read_entry(known), draft)
            entry = placed_after(draft, seq or 0, prev or NO_PREV, lamport or 0)
            number = self._number(line, entry.case) if number is None else number
            line.execute(_INSERT, entry_row(entry))
            listing.write_with_entry(line, number, head, entry)
            self._tell(line, entry.case)
        return entry

    def absorb(self, entries: Sequence[Entry]) -> int:
        """Take in whole entries; all or none."""
        self._need_writable()
        cases: dict[str, list[Entry]] = {}
        for entry in sorted(entries, key=lambda one: one.order):
            cases.setdefault(entry.case, []).append(entry)
        with self._in_words(), self._engine.begin() as line:
            return sum(self._absorb_case(line, case, cases[case]) for case in sorted(cases))

    def entries(self, case: str) -> tuple[Entry, ...]:
        """All entries of a case in the agreed order, each as it was written; a log with a changed or missing entry is refused, the entry named."""
        if (
            self._version < SUMS_SINCE
        ):  # an older store that is being brought up: its entries carry no SHA-256 of their own yet
            with self._in_words(), self._reader.connect() as line:
                return listing.case_entries(line, case)
        return self._either(
            lambda line: listing.whole_entries(line, case),
            lambda line: listing.whole_entries(line, case, by_table=True),
        )

    def mark(self, case: str) -> str:
        """Count and last position: entries are never changed or removed, so the two tell every state apart."""
        found = select(func.count(), func.max(ENTRIES.c.lamport))
        by_table = found.add_columns(func.max(ENTRIES.c.sha256)).where(of_case(case))
        count, lamport, *_ = self._either(
            lambda line: tuple(line.execute(found.where(ENTRIES.c.case_id == case)).one()),
            lambda line: tuple(line.execute(by_table).one()),
        )
        return f"{count}.{lamport or 0}"

    def heads(self) -> tuple[CaseHead, ...]:
        """All cases, lowest number first. Where the table of heads is damaged they are computed from the logs, slower."""
        with self._in_words():
            try:
                with self._reader.connect() as line:
                    return listing.all_heads(line)
            except DatabaseError as err:
                if not is_damage(err):
                    raise
            numbers = self.numbers()
            with self._reader.connect() as line:
                return tuple(self._head_or_words(line, number, case) for number, case in numbers)

    def find(self, wanted: Wanted) -> Found:
        """One page of the cases that fulfil all that is wanted. Where the list or the terms are damaged every log is read."""
        return self._either(lambda line: listing.find(line, wanted), lambda line: self._walked(wanted))

    def heads_of(self, cases: Sequence[str]) -> tuple[CaseHead, ...]:
        """The heads of these cases."""
        return self._either(
            lambda line: listing.all_heads(line, cases),
            lambda line: tuple(one for one in self.heads() if one.id in cases),
        )

    def states(self) -> Mapping[str, int]:
        """How many cases are in each state that one is in."""
        return self._either(listing.states, lambda line: Counter(one.head.state for one in self.heads()))

    def case_of(self, number: int) -> str:
        """The id of the case with that short number; "" when there is none."""
        if not 0 < number < 2**31:
            return ""
        return self._either(
            lambda line: line.execute(select(CASES.c.id).where(CASES.c.number == number)).scalar() or "",
            lambda line: dict(_numbers_beside(line)).get(number, ""),
        )

    def numbers(self) -> tuple[tuple[int, str], ...]:
        """(short number, id) of every case; where the numbers lie in a damaged page from the list, at worst counted anew, oldest case first."""
        return self._either(
            lambda line: tuple((int(number), str(case)) for number, case in line.execute(_NUMBERS)), _numbers_beside
        )

    def number_of(self, case: str) -> int:
        """The case's short number; 0 when there is none."""
        return self._either(
            lambda line: line.execute(select(CASES.c.number).where(CASES.c.id == case)).scalar() or 0,
            lambda line: next((number for number, its in _numbers_beside(line) if its == case), 0),
        )

    def check(self) -> tuple[Finding, ...]:
        """Pages, rows, chains, attachments; what cannot be read any more is named, the rest is still looked at."""
        with self._in_words(), self._reader.connect() as line:
            found = [*self._check_pages(line)]
            for case in all_cases(line):
                bad = check_case(line, case, lambda name: self._has_attachment(line, name))
                found += [*bad, *self._check_listing(line, case, bad)]
            return (*found, *self._check_attachments(line))

    def rebuild(self, give_up_lost: bool = False) -> int:
        """Make heads and terms anew from the logs, all or nothing; how many cases they hold. Refusal STO-043 while the list alone still knows of
        acknowledged entries that the logs lost, unless they are given up."""
        self._need_writable()
        if not give_up_lost:
            self._keep_what_knows()
        with self._in_words(), self._engine.begin() as line:
            META.drop_all(line, [HEADS, TERMS])
            META.create_all(line, [HEADS, TERMS])
            return listing.make_anew(line)

    def _keep_what_knows(self) -> None:
        """Refusal STO-043 when an acknowledged entry is missing: the list, made anew, would forget it."""
        try:
            with self._in_words(), self._reader.connect() as line:
                missing = listing.lost_of_all(line)
        except (Refusal, DatabaseError) as err:
            if isinstance(err, Refusal) and err.finding.code not in ("STO-013", "STO-015"):
                raise
            return  # a list that cannot be read knows of nothing
        if missing:
            raise Refusal(missing[0])

    def adopt_numbers(self, numbers: Sequence[tuple[int, str]]) -> None:
        """Give cases that are to come the short numbers that they had elsewhere, where neither the number nor the case is known here yet."""
        self._need_writable()
        with self._in_words(), self._engine.begin() as line:
            new = 0
            for number, case in numbers:
                either = or_(CASES.c.number == number, CASES.c.id == case)
                if line.execute(select(CASES.c.id).where(either)).first() is None:
                    line.execute(insert(CASES), {"number": number, "id": case})
                    new += 1
            if new:
                self._count_on(line)

    @property
    def version(self) -> int:
        """Version of its tables."""
        return self._version

    # -- what a database does its own way ----------------------------------------------------------------------------------------

    @abstractmethod
    def _in_words(self) -> AbstractContextManager[None]:
        """Turns the database's errors into refusals."""

    @abstractmethod
    def _at(self) -> Place:
        """The store as the place of a finding; no password."""

    @abstractmethod
    def _need_writable(self) -> None:
        """Refusal STO-011 when the store can only be read."""

    @abstractmethod
    def _queue(self, line: Connection, case: str) -> None:
        """Wait until no other writer is at this case; held to the end of the transaction."""

    @abstractmethod
    def _tell(self, line: Connection, case: str) -> None:
        """Tell other benches, when the transaction is committed, that the case has grown."""

    @abstractmethod
    def _count_on(self, line: Connection) -> None:
        """See to it that the next short number follows the largest."""

    @abstractmethod
    def _check_pages(self, line: Connection) -> Iterator[Finding]:
        """What the database itself says of its pages."""

    @abstractmethod
    def _check_attachments(self, line: Connection) -> Iterator[Finding]:
        """Attachments whose bytes are not what their name says."""

    @abstractmethod
    def _has_attachment(self, line: Connection, sha256: str) -> bool:
        """Whether an attachment of that name is kept."""

    # -- inside ------------------------------------------------------------------------------------------------------------------

    def _either(self, ask: Callable[[Connection], T], otherwise: Callable[[Connection], T]) -> T:
        """The answer to a question; where it meets a damaged page, to the other one: the log can be read while numbers, list or indexes cannot."""
        with self._in_words():
            try:
                with self._reader.connect() as line:
                    return ask(line)
            except DatabaseError as err:
                if not is_damage(err):
                    raise
            with self._reader.connect() as line:
                return otherwise(line)

    def _check_version(self, older: bool = False) -> dict[str, str]:
        """What the store says of itself; Refusal STO-005 when it is newer than this program, STO-006 when it is ``older`` and may not be, STO-003 when it is none of ours."""
        with self._reader.connect() as line:
            if not inspect(line).has_table(FACTS.name):
                raise refuse("STO-003", "This database is no store of cases.", "Name the store's folder.", self._at())
            facts = {str(name): str(value) for name, value in line.execute(select(FACTS.c.name, FACTS.c.value))}
        version = facts.get("schema_version", "")
        if not version.isdecimal() or int(version) > SCHEMA_VERSION:
            raise refuse(
                "STO-005",
                f"The store has version {version or 'unknown'}; this Coppermend reads up to {SCHEMA_VERSION}.",
                "Use the newer Coppermend that made it; nothing was changed.",
                self._at(),
            )
        self._version = int(version)
        if self._version < SCHEMA_VERSION and not older:
            raise refuse(
                "STO-006",
                f"The store has version {version}; this Coppermend works with version {SCHEMA_VERSION}.",
                "Bring it up: coppermend store migrate. It is backed up first.",
                self._at(),
            )
        return facts

    @staticmethod
    def _number(line: Connection, case: str) -> int:
        """The case's short number; a new one where it has none."""
        number = line.execute(select(CASES.c.number).where(CASES.c.id == case)).scalar()
        if number is None:
            number = line.execute(insert(CASES).returning(CASES.c.number), {"id": case}).scalar_one()
        return int(number)

    def _check_listing(self, line: Connection, case: str, bad: Sequence[Finding]) -> list[Finding]:
        """What is wrong with a case's line and terms, where its log is as it was written."""
        if any(one.code in ("STO-013", "STO-015", "STO-017", "STO-018") for one in bad):
            return []
        entries = listing.case_entries(line, case)
        try:
            with line.begin_nested() if line.dialect.name == "postgresql" else contextlib.nullcontext():
                number = line.execute(select(CASES.c.number).where(CASES.c.id == case)).scalar() or 0
                return listing.check_listing(line, number, entries)
        except DatabaseError as err:
            if not is_damage(err):
                raise
        words = "The case's line or the terms that it is found by lie in a damaged page."
        remedy = "Its log is whole. Make them anew: coppermend store check --rebuild; where that is refused, copy the store: coppermend store copy --to FOLDER."
        return [Finding("STO-019", Severity.ERROR, Place(thing=f"case {case}"), words, remedy)]

    def _absorb_case(self, line: Connection, case: str, entries: Sequence[Entry]) -> int:
        self._queue(line, case)
        here = listing.case_entries(line, case)
        known, places = {one.id: one for one in here}, {(one.bench, one.bench_seq) for one in here}
        new = []
        for entry in entries:
            if entry.id in known:
                if known[entry.id].body() != entry.body():
                    raise _contradiction(entry, "is here with other contents")
            elif (entry.bench, entry.bench_seq) in places:
                what = (
                    "stands where another entry of the same bench stands: two copies of one store were both written to"
                )
                raise _contradiction(entry, what)
            else:
                known[entry.id] = entry
                places.add((entry.bench, entry.bench_seq))
                new.append(entry)
        elsewhere = _first_of(line, [one.id for one in new])
        if elsewhere is not None:
            raise _contradiction(known[elsewhere], "is here in another case")
        bad = check_chain([*here, *new])
        if bad:
            raise refuse(bad[0].code, bad[0].words, "Nothing was imported. " + bad[0].remedy, bad[0].place)
        if new:
            number = self._number(line, case)
            line.execute(_INSERT, [entry_row(one) for one in new])
            listing.write_whole(line, number, [*here, *new], new)
            self._tell(line, case)
        return len(new)

    def _walked(self, wanted: Wanted) -> Found:
        def log(one: CaseHead) -> Sequence[Entry]:
            try:
                return self.entries(one.id)
            except Refusal:
                return ()

        return walk(self.heads(), log, wanted)

    @staticmethod
    def _head_or_words(line: Connection, number: int, case: str) -> CaseHead:
        """A case's head from its log; words instead of its title where the log can no longer be read: the others are not its fault."""
        try:
            return CaseHead(case, number, head_of(listing.case_entries(line, case)))
        except (Refusal, DatabaseError) as err:
            if isinstance(err, DatabaseError) and not is_damage(err):
                raise
            return CaseHead(case, number, Head(title=listing.UNREADABLE))


def _numbers_beside(line: Connection) -> tuple[tuple[int, str], ...]:
    """The short numbers as the list repeats them; where that is damaged too, counted anew from the log, oldest case first."""
    try:
        with line.begin_nested() if line.dialect.name == "postgresql" else contextlib.nullcontext():
            rows = line.execute(select(HEADS.c.number, HEADS.c.case_id)).all()
        return tuple(sorted((int(number), str(case)) for number, case in rows))
    except DatabaseError as err:
        if not is_damage(err):
            raise
    return tuple(enumerate(cases_in_log(line), 1))


def _first_of(line: Connection, ids: Sequence[str]) -> str | None:
    """The first of these ids that is in the store, in whatever case; None when none is."""
    for begin in range(0, len(ids), 500):
        found = line.execute(select(ENTRIES.c.id).where(ENTRIES.c.id.in_(ids[begin : begin + 500])).limit(1)).scalar()
        if found is not None:
            return str(found)
    return None


def entry_row(entry: Entry) -> dict[str, Any]:
    """A row of the table of entries."""
    return {
        "id": entry.id, "case_id": entry.case, "lamport": entry.lamport, "bench": entry.bench,
        "bench_seq": entry.bench_seq, "kind": entry.kind, "body": (body := entry.body()).decode(), "sha256": sha256_hex(body),
    }  # fmt: skip


def _same(known: Entry, draft: Draft) -> Entry:
    """The entry first written, when a retry says the same: the times of the second try and who tried are no part of what it says."""
    said = [name for name in Draft.__slots__ if name not in ("observed_at", "recorded_at", "author")]
    wanted = Entry(**{**known.as_dict(), **{name: getattr(draft, name) for name in said}})
    if wanted.body() != known.body():
        raise _contradiction(known, "is already written with other contents")
    return known


def _contradiction(entry: Entry, what: str) -> Exception:
    place = Place(thing=f"case {entry.case} entry {entry.id}")
    return refuse(
        "STO-030",
        f"The entry {what}.",
        "Nothing was written. Keep both stores as they are and compare their exports.",
        place,
    )
