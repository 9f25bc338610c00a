"""Looks at every row of a case: can it be read, is it as it was written, does it stand in its chain, are its files here."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, select
from sqlalchemy.exc import DatabaseError

from coppermend.adapters.storage.schema import CASES, ENTRIES
from coppermend.core.findings import Finding, Place, Refusal, Severity, refuse
from coppermend.core.log.canonical import sha256_hex
from coppermend.core.log.chain import check_chain
from coppermend.core.log.kinds import attachments_of
from coppermend.core.log.model import Entry, entry_from_dict

_COLUMNS = [ENTRIES.c[name] for name in ("id", "case_id", "lamport", "bench", "bench_seq", "kind", "body", "sha256")]
_RESTORE = "Restore from a backup, or import the case's latest export elsewhere."


def read_entry(body: str) -> Entry:
    """The entry of a stored body. Refusal STO-015 when it can no longer be read."""
    try:
        return entry_from_dict(json.loads(body))
    except (ValueError, RecursionError, Refusal) as err:
        words = f"An entry can no longer be read: it begins {body[:60]!r}."
        raise refuse(
            "STO-015",
            words,
            "Run doctor: it names the entry. Restore the store from a backup, or import the case's latest export elsewhere.",
        ) from err


def is_damage(err: DatabaseError) -> bool:
    """Whether the database says that its own pages are damaged, as against being busy, full or away."""
    cause = getattr(err, "orig", None) or err
    text = str(cause).lower()
    return getattr(cause, "sqlstate", None) in ("XX001", "XX002") or "malformed" in text or "corrupt" in text


def all_cases(line: Connection) -> Sequence[str]:
    """Ids of all cases, lowest number first; from the entries' index where the list of cases lies in a damaged page."""
    try:
        return line.execute(select(CASES.c.id).order_by(CASES.c.number)).scalars().all()
    except DatabaseError as err:
        if not is_damage(err):
            raise
    return cases_in_log(line)


def cases_in_log(line: Connection) -> list[str]:
    """Ids of all cases that the log itself knows, oldest first (ids are UUIDs of version 7, which order by time); no index is asked."""
    rows = line.execute(select(ENTRIES.c.case_id, ENTRIES.c.sha256))  # no index holds both
    return sorted({case for case, _ in rows})


def of_case(case: str) -> ColumnElement[bool]:
    """The rows of a case, not looked up in an index. An index that holds all the columns of a question is still read instead of the table: ask for the body
    or its SHA-256 too."""
    return ENTRIES.c.case_id.concat("") == case


def check_case(line: Connection, case: str, has_file: Callable[[str], bool]) -> list[Finding]:
    """Everything that is wrong with a case. Rows in a damaged page are named one by one, the others are still looked at."""
    rows, found = _rows(line, case)
    read = []
    for row in rows:
        try:
            entry = read_entry(row.body)
        except Refusal:
            found.append(_entry_finding("STO-015", case, row.id, "The entry can no longer be read."))
            continue
        read.append(entry)
        if sha256_hex(row.body.encode()) != row.sha256:
            found.append(changed_entry(case, row.id))
        elif (*entry.order, entry.id, entry.case, entry.kind) != (
            row.lamport, row.bench, row.bench_seq, row.id, row.case_id, row.kind,
        ):  # fmt: skip
            words = "The entry stands in a row that says something else than it does."
            found.append(_entry_finding("STO-018", case, row.id, words))
    for name in attachments_of(read):
        if not has_file(name):
            place = Place(thing=f"case {case} attachment {name}")
            remedy = "Import the case from an export that holds it."
            found.append(Finding("STO-020", Severity.ERROR, place, "The attachment is not in the store.", remedy))
    return found + list(check_chain(read))


def _rows(line: Connection, case: str) -> tuple[Sequence[Any], list[Finding]]:
    """The case's rows, and a finding for each that lies in a damaged page."""
    try:
        with line.begin_nested() if line.dialect.name == "postgresql" else _plain():
            return line.execute(select(*_COLUMNS).where(ENTRIES.c.case_id == case)).all(), []
    except DatabaseError as err:
        if not is_damage(err):
            raise
    try:
        with line.begin_nested() if line.dialect.name == "postgresql" else _plain():
            rows = line.execute(select(*_COLUMNS).where(of_case(case))).all()
    except DatabaseError:
        return _one_by_one(line, case)
    words = "The index that finds the case's entries lies in a damaged page; the entries themselves can be read."
    remedy = "Copy the store while it can be read: coppermend store copy --to FOLDER."
    return rows, [Finding("STO-013", Severity.ERROR, Place(thing=f"case {case}"), words, remedy)]


def _one_by_one(line: Connection, case: str) -> tuple[Sequence[Any], list[Finding]]:
    rows, found = [], []
    try:
        places = line.execute(
            select(ENTRIES.c.bench, ENTRIES.c.bench_seq)
            .where(ENTRIES.c.case_id == case)
            .order_by(ENTRIES.c.lamport, ENTRIES.c.bench, ENTRIES.c.bench_seq)
        ).all()  # the order's index holds all of this: the table itself is not touched
    except DatabaseError:
        words = "The index that finds the case's entries lies in a damaged page."
        return [], [Finding("STO-013", Severity.ERROR, Place(thing=f"case {case}"), words, _RESTORE)]
    for bench, seq in places:
        here = (ENTRIES.c.case_id == case, ENTRIES.c.bench == bench, ENTRIES.c.bench_seq == seq)
        try:
            with line.begin_nested() if line.dialect.name == "postgresql" else _plain():
                rows.append(line.execute(select(*_COLUMNS).where(*here)).one())
        except DatabaseError:
            place = Place(thing=f"case {case} bench {bench} entry {seq}")
            found.append(Finding("STO-013", Severity.ERROR, place, "The entry lies in a damaged page.", _RESTORE))
    return rows, found


@contextlib.contextmanager
def _plain() -> Iterator[None]:
    yield


def changed_entry(case: str, entry_id: str) -> Finding:
    """The finding for an entry that is not as it was written."""
    words = "The entry was changed after it was written: its SHA-256 is not the one kept with it."
    return _entry_finding("STO-017", case, entry_id, words)


def _entry_finding(code: str, case: str, entry_id: str, words: str) -> Finding:
    return Finding(code, Severity.ERROR, Place(thing=f"case {case} entry {entry_id}"), words, _RESTORE)
