"""Heads and terms of the cases: written with every entry in its transaction, asked by lists and searches, made anew from the log when they are damaged.

An ordinary table of terms, not a full-text index of the database: SQLite's FTS5 and PostgreSQL's tsvector part words each in its own way, and one shop would
find what another does not. Here both databases keep the terms that ``core/log/terms.py`` makes, and are asked the same.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, exists, func, or_, select, text, tuple_
from sqlalchemy.sql import Select

from coppermend.adapters.storage.checking import changed_entry, of_case, read_entry
from coppermend.adapters.storage.schema import CASES, ENTRIES, HEADS, TERMS
from coppermend.core.findings import Finding, Place, Refusal, Severity
from coppermend.core.log.canonical import sha256_hex
from coppermend.core.log.chain import check_chain
from coppermend.core.log.model import Entry, agreed_order
from coppermend.core.log.terms import terms_of
from coppermend.services.heads import STANDING, WORDED, Head, best_hit, grown, head_from, head_of
from coppermend.services.ports import MOST_MEANT, CaseHead, Found, Wanted

UNREADABLE = "cannot be read any more, run doctor"
"""The title of a case whose line or log is damaged."""
RARE = 2000
"""Cases up to which a term's are counted, to begin with the rarest."""
_AT_ONCE = 50
"""Cases whose entries are read by one question: each by the index of its own, which a list of pairs does not use on SQLite."""
_HIT_WORDS = 16
"""Words of a term that the shown entry is looked for by."""
_HEAD_COLUMNS = ("number", "case_id", "state", "waits", "package_id", "last_at", "body")
_PUT_HEAD = (
    f"INSERT INTO heads ({', '.join(_HEAD_COLUMNS)}) VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (number) DO UPDATE SET state = excluded.state,"
    " waits = excluded.waits, package_id = excluded.package_id, last_at = excluded.last_at, body = excluded.body"
)
_SAY = "INSERT INTO terms (term, number, lamport) VALUES (?, ?, ?) ON CONFLICT (term, number) DO NOTHING"
_SAY_EARLIER = (
    "INSERT INTO terms (term, number, lamport) VALUES (?, ?, ?)"
    " ON CONFLICT (term, number) DO UPDATE SET lamport = excluded.lamport WHERE excluded.lamport < terms.lamport"
)
_BEGINNING = text(
    "WITH RECURSIVE one(term) AS (SELECT min(term) FROM terms WHERE term >= :low AND term < :high UNION ALL"
    " SELECT (SELECT min(term) FROM terms WHERE term > one.term AND term < :high) FROM one WHERE one.term IS NOT NULL)"
    f" SELECT term FROM one WHERE term IS NOT NULL LIMIT {MOST_MEANT + 1}"
)
"""The words that begin with a text, found by one step in the index each."""
_HEAD = (HEADS.c.number, HEADS.c.case_id, HEADS.c.body)
_REBUILD = "Make it anew from the log: coppermend store check --rebuild."


def write_with_entry(line: Connection, number: int, body: str | None, entry: Entry) -> None:
    """Write head and terms after an entry that comes last in its case. ``body`` of the head before it; where there is none, or it missed an entry
    (an older program wrote beside this one), both are made from the whole log."""
    before = _read_head(body) or Head()
    if before.place != entry.lamport - 1:
        entries = case_entries(line, entry.case)
        missing = lost(body, entries[:-1])
        if missing:
            raise Refusal(
                replace(missing, words=missing.words + " Nothing is written to this case until they are back.")
            )
        write_whole(line, number, entries, entries)
        return
    target = _taken_back(line, entry)
    head = grown(before, entry, target, lambda: case_entries(line, entry.case, (*STANDING, "undo")))
    _put_head(line, number, entry.case, head)
    _say(line, _SAY, [(one, number, entry.lamport) for one in sorted(terms_of(entry))])


def write_whole(line: Connection, number: int, entries: Sequence[Entry], new: Sequence[Entry]) -> None:
    """Write a case's head from its whole log, and the terms of the entries that are ``new``."""
    _put_head(line, number, entries[0].case, head_of(entries))
    said = first_said(new)
    _say(line, _SAY_EARLIER, [(one, number, said[one]) for one in sorted(said)])


def _put_head(line: Connection, number: int, case: str, head: Head) -> None:
    row = head_row(number, case, head)
    _say(line, _PUT_HEAD, [tuple(row[name] for name in _HEAD_COLUMNS)])


def _say(line: Connection, statement: str, rows: list[tuple[Any, ...]]) -> None:
    """A statement for each row, written as the database's own driver takes it: it runs with every entry."""
    if line.dialect.paramstyle != "qmark":
        statement = statement.replace("?", "%s")
    line.exec_driver_sql(statement, rows)


def first_said(entries: Iterable[Entry]) -> dict[str, int]:
    """The terms of a log, each with the place (lamport) of the first entry that says it."""
    said: dict[str, int] = {}
    for entry in entries:
        for one in terms_of(entry):
            said[one] = min(entry.lamport, said.get(one, entry.lamport))
    return said


def head_row(number: int, case: str, head: Head) -> dict[str, Any]:
    """A row of the table of heads."""
    return {
        "number": number, "case_id": case, "state": head.state, "waits": int(bool(head.waits)), "package_id": head.package_id, "last_at": head.last_at,
        "body": json.dumps(head.as_dict(), ensure_ascii=False, separators=(",", ":")),
    }  # fmt: skip


def case_entries(line: Connection, case: str, kinds: Sequence[str] = ()) -> tuple[Entry, ...]:
    """Entries of a case in the agreed order, of these kinds alone where some are named."""
    found = select(ENTRIES.c.body).where(ENTRIES.c.case_id == case)
    if kinds:
        found = found.where(ENTRIES.c.kind.in_(kinds))
    rows = line.execute(found.order_by(ENTRIES.c.lamport, ENTRIES.c.bench, ENTRIES.c.bench_seq)).scalars().all()
    return tuple(read_entry(body) for body in rows)


def whole_entries(line: Connection, case: str, by_table: bool = False) -> tuple[Entry, ...]:
    """Entries of a case in the agreed order, each as it was written: Refusal STO-017 names one that was changed, LOG-010 to LOG-012 one that is missing
    before a later one of its bench. ``by_table``: no index is asked, every row is looked at."""
    found = select(ENTRIES.c.body, ENTRIES.c.sha256)
    if by_table:
        found = found.where(of_case(case))
    else:
        ordered = found.order_by(ENTRIES.c.lamport, ENTRIES.c.bench, ENTRIES.c.bench_seq)
        found = ordered.where(ENTRIES.c.case_id == case)
    entries = []
    for body, sha256 in line.execute(found).all():
        entry = read_entry(body)
        if sha256_hex(body.encode()) != sha256:
            raise Refusal(changed_entry(case, entry.id))
        entries.append(entry)
    bad = check_chain(entries)
    if bad:
        raise Refusal(bad[0])
    return agreed_order(entries) if by_table else tuple(entries)


def lost_of_all(line: Connection) -> list[Finding]:
    """``lost`` of every case."""
    counted = select(ENTRIES.c.case_id, func.count().label("here")).group_by(ENTRIES.c.case_id).subquery()
    rows = line.execute(
        select(HEADS.c.case_id, HEADS.c.body, counted.c.here).outerjoin(counted, counted.c.case_id == HEADS.c.case_id)
    ).all()
    some = [(case, body) for case, body, here in rows if (head := _read_head(body)) and head.entries > (here or 0)]
    return [one for case, body in some if (one := lost(body, case_entries(line, case), case))]


def make_anew(line: Connection) -> int:
    """Fill the empty tables of heads and terms from the log; how many cases were read. A case that can no longer be read is left out: the check names it."""
    if line.dialect.name == "sqlite":
        line.exec_driver_sql("PRAGMA cache_size = -200000")
    cases = 0
    for number, case in line.execute(select(CASES.c.number, CASES.c.id).order_by(CASES.c.number)).all():
        try:
            entries = case_entries(line, case)
        except Refusal:
            continue
        if entries:
            write_whole(line, number, entries, entries)
            cases += 1
    return cases


def heads_anew(line: Connection) -> None:
    """Write every head as today's code makes it. One whose log can no longer be read whole stays as it is: it alone knows what is missing."""
    for number, case, body in line.execute(select(*_HEAD).order_by(HEADS.c.number)).all():
        try:
            entries = case_entries(line, case)
        except Refusal:
            continue
        if entries and lost(body, entries) is None:
            _put_head(line, number, case, head_of(entries))


def all_heads(line: Connection, cases: Sequence[str] | None = None) -> tuple[CaseHead, ...]:
    """Every case, or those named, lowest number first."""
    found = select(*_HEAD).order_by(HEADS.c.number)
    if cases is not None:
        found = found.where(HEADS.c.case_id.in_(cases))
    return tuple(_case_head(*row) for row in line.execute(found))


def find(line: Connection, wanted: Wanted) -> Found:
    """A page of the cases that are wanted."""
    groups, cut = [], []
    for term in wanted.terms:
        meant = _meant(line, term)
        if len(meant) > MOST_MEANT:
            cut.append(term)
        groups.append(meant[:MOST_MEANT])
    if not all(groups):
        return Found(())
    rows = line.execute(_page(wanted, _rarest_first(line, groups))).all()
    heads = [_case_head(*row) for row in rows[: wanted.limit]]
    if groups:
        heads = _with_hits(line, heads, groups)
    return Found(tuple(heads), len(rows) > wanted.limit, tuple(cut))


def states(line: Connection) -> dict[str, int]:
    """How many cases are in each state."""
    return {
        str(state): int(count)
        for state, count in line.execute(select(HEADS.c.state, func.count()).group_by(HEADS.c.state))
    }


def check_listing(line: Connection, number: int, entries: Sequence[Entry]) -> list[Finding]:
    """Findings where a case's line or terms are not what its log (``entries``, whole) says."""
    found = []
    row = line.execute(select(HEADS).where(HEADS.c.number == number)).mappings().one_or_none()
    missing = lost(row["body"] if row else None, entries, row["case_id"] if row else "")
    if missing or not entries:
        return [missing] if missing else []
    case = entries[0].case
    if row is None or not _same_head(dict(row), head_row(number, case, head_of(entries))):
        found.append(_listing_finding(case, "The case's line in the list is not what its log says."))
    said, kept = first_said(entries), dict[str, int]()
    for begin in range(0, len(said), 400):
        some = select(TERMS.c.term, TERMS.c.lamport).where(
            TERMS.c.number == number, TERMS.c.term.in_(sorted(said)[begin : begin + 400])
        )
        kept.update((str(term), int(place)) for term, place in line.execute(some))
    if kept != said:
        wrong = sum(kept.get(term) != place for term, place in said.items())
        found.append(
            _listing_finding(
                case,
                f"{wrong} of the {len(said)} terms that the case is found by are missing or stand at another entry.",
            )
        )
    return found


def lost(body: str | None, entries: Sequence[Entry], case: str = "") -> Finding | None:
    """A finding where the case's line in the list has seen more entries than its log still holds: they were acknowledged. The chain of a bench cannot tell
    that its last entries are gone; the line, written in one transaction with each entry, can."""
    head = _read_head(body)
    if head is None or head.entries <= len(entries):
        return None
    last = max((one.lamport for one in entries), default=0)
    words = (
        f"{head.entries - len(entries)} acknowledged entries are missing: the list has counted {head.entries}, up to place {head.place}; "
        f"the log holds {len(entries)}, up to place {last}."
    )
    if head.last_words:
        words += f" The last that was noted: {head.last_words!r}, {head.last_at}."
    remedy = "Import the case's latest export, or restore a backup beside this store and import it from there. Only then make the list anew."
    return Finding(
        "STO-043", Severity.ERROR, Place(thing=f"case {entries[0].case if entries else case}"), words, remedy
    )


def _same_head(kept: dict[str, Any], made: dict[str, Any]) -> bool:
    one, other = _read_head(kept["body"]), _read_head(made["body"])
    if one is None or other is None:
        return False
    columns = [name for name in made if name != "body"]
    return all(kept[name] == made[name] for name in columns) and all(
        getattr(one, name) == getattr(other, name) for name in Head.__slots__ if name not in WORDED
    )


def _listing_finding(case: str, words: str) -> Finding:
    return Finding("STO-019", Severity.ERROR, Place(thing=f"case {case}"), words, _REBUILD)


def _case_head(number: int, case: str, body: str) -> CaseHead:
    return CaseHead(case, number, _read_head(body) or Head(title=UNREADABLE))


def _read_head(body: str | None) -> Head | None:
    """The head of a row's body; None where there is none or it can no longer be read."""
    try:
        return head_from(json.loads(body or ""))
    except (ValueError, TypeError, AttributeError):
        return None


def _taken_back(line: Connection, entry: Entry) -> Entry | None:
    if entry.undoes is None:
        return None
    body = line.execute(
        select(ENTRIES.c.body).where(ENTRIES.c.id == entry.undoes, ENTRIES.c.case_id == entry.case)
    ).scalar()
    return None if body is None else read_entry(body)


def _meant(line: Connection, term: str) -> list[str]:
    """The words that a term of a question stands for, one more than are looked for where there are more."""
    word = term.removesuffix("*")
    if word == term and line.execute(select(TERMS.c.term).where(TERMS.c.term == word).limit(1)).first():
        return [word]
    return [str(one) for one in line.execute(_BEGINNING, {"low": word, "high": word + "\U0010ffff"}).scalars()]


def _rarest_first(line: Connection, groups: Sequence[list[str]]) -> list[list[str]]:
    if len(groups) < 2:
        return list(groups)

    def cases(words: list[str]) -> int:
        some = select(TERMS.c.number).where(TERMS.c.term.in_(words)).limit(RARE).subquery()
        return int(line.execute(select(func.count()).select_from(some)).scalar_one())

    return sorted(groups, key=cases)


def _page(wanted: Wanted, groups: Sequence[list[str]]) -> Select[Any]:
    """The question for a page: the rarest term's cases, newest first, each asked for the other terms."""
    number: ColumnElement[int] = HEADS.c.number
    found = select(*_HEAD)
    if groups:
        first, *rest = groups
        said = TERMS.alias("said")
        numbers = select(said.c.number).where(said.c.term.in_(first)).distinct().subquery("some")
        one: Any = said if len(first) == 1 else numbers
        number = one.c.number
        found = select(*_HEAD).select_from(one.join(HEADS, HEADS.c.number == number))
        if len(first) == 1:
            found = found.where(said.c.term == first[0])
        for words in rest:
            other = TERMS.alias()
            found = found.where(exists().where(other.c.term.in_(words), other.c.number == number))
    for test in _tests(wanted, number):
        found = found.where(test)
    if wanted.order == "last":
        return found.order_by(HEADS.c.last_at.desc(), number.desc()).limit(wanted.limit + 1)
    return found.order_by(number.desc()).limit(wanted.limit + 1)


def _tests(wanted: Wanted, number: ColumnElement[int]) -> Iterable[ColumnElement[bool]]:
    if wanted.states:
        yield HEADS.c.state.in_(wanted.states)
    if wanted.waits is not None:
        yield HEADS.c.waits == int(wanted.waits)
    if wanted.package_id:
        yield HEADS.c.package_id == wanted.package_id
    if wanted.since:
        yield HEADS.c.last_at >= wanted.since
    if wanted.after is not None:
        before, at = wanted.after
        yield tuple_(HEADS.c.last_at, number) < tuple_(at, before) if wanted.order == "last" else number < before


def _with_hits(line: Connection, heads: Sequence[CaseHead], groups: Sequence[list[str]]) -> list[CaseHead]:
    """The heads, each with the entry that says most of what was searched for."""
    words = [word for group in groups for word in group[:_HIT_WORDS]]
    places = line.execute(
        select(TERMS.c.number, TERMS.c.lamport)
        .where(TERMS.c.term.in_(words), TERMS.c.number.in_([one.number for one in heads]))
        .distinct()
    ).all()
    by_number = {one.number: one.id for one in heads}
    lamports: dict[str, set[int]] = {}
    for number, lamport in places:
        lamports.setdefault(by_number[number], set()).add(lamport)
    said: dict[str, list[Entry]] = {}
    for begin in range(0, len(lamports), _AT_ONCE):
        some = sorted(lamports.items())[begin : begin + _AT_ONCE]
        here = or_(*(and_(ENTRIES.c.case_id == case, ENTRIES.c.lamport.in_(sorted(at))) for case, at in some))
        for body in line.execute(select(ENTRIES.c.body).where(here)).scalars():
            try:
                entry = read_entry(body)
            except Refusal:
                continue
            said.setdefault(entry.case, []).append(entry)
    return [CaseHead(one.id, one.number, one.head, best_hit(said.get(one.id, ()), groups)) for one in heads]
