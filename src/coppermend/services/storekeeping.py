"""Keeping a store: what a backup, a restore, a migration and a copy answer, and the copy itself, which asks nothing but the stores' port."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from coppermend.core.findings import Finding, Place, refuse
from coppermend.core.log.kinds import attachments_of
from coppermend.core.log.state import plain
from coppermend.services.cases import unreadable
from coppermend.services.ports import CaseStore


class NumberedStore(CaseStore, Protocol):
    """A store that can take over the short numbers of another one."""

    def adopt_numbers(self, numbers: Sequence[tuple[int, str]]) -> None:
        """Give cases that are to come these numbers, where both are free."""


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found in a store."""

    where: str
    version: int
    writable: bool
    cases: int
    entries: int
    findings: tuple[Finding, ...]

    @property
    def well(self) -> bool:
        """Whether nothing is wrong."""
        return not self.findings

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {"well": self.well, **dict(plain(self)), "findings": [one.as_dict() for one in self.findings]}


@dataclass(frozen=True, slots=True)
class BackedUp:
    """A backup: ``form`` snapshot (SQLite) or bundle (PostgreSQL); ``findings`` what could not be kept."""

    form: str
    cases: int
    entries: int
    attachments: int
    findings: tuple[Finding, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {**dict(plain(self)), "findings": [one.as_dict() for one in self.findings]}


@dataclass(frozen=True, slots=True)
class Restored:
    """A restored store. ``bench`` its new bench id; ``aside`` where the store that stood there was put, "" where none stood."""

    where: str
    bench: str
    aside: str
    attachments: int


@dataclass(frozen=True, slots=True)
class Migrated:
    """A store brought up. ``backup`` the file that holds it as it was, "" when there was nothing to do."""

    where: str
    before: int
    after: int
    backup: str

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return dict(plain(self))


@dataclass(frozen=True, slots=True)
class Copied:
    """A copied store: what it holds, how many entries were new in the other one. Every entry and file was read back from there and compared."""

    source: str
    target: str
    cases: int
    entries: int
    attachments: int
    new: int
    verified: bool

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return dict(plain(self))


def check_store(store: CaseStore, version: int = 0) -> Checked:
    """Everything that is wrong with a store: pages, entries, chains, attachments, entries that a newer Coppermend wrote. ``version`` of its tables, where they have one."""
    findings, heads = list(store.check()), store.heads()
    damaged = " ".join(one.place.words() for one in findings)
    for head in heads:
        if head.id not in damaged:
            findings += unreadable(store.entries(head.id))
    return Checked(store.where, version, store.writable, len(heads), sum(one.entries for one in heads), tuple(findings))


def copy_store(source: CaseStore, target: NumberedStore) -> Copied:
    """Copy every case with its number and files, then read everything back from the copy and compare.

    A case that is there already is merged, so a copy that was stopped is done again. Refusal STO-0xx when either store refuses, STO-041 when
    what comes back is not what was sent.
    """
    if source.where == target.where:
        raise refuse(
            "STO-004",
            "That is the same store: no second copy would exist.",
            "Name another folder, file or database with --to.",
            Place(thing=f"store {target.where}"),
        )
    cases = entries = new = 0
    files: set[str] = set()
    for number, case in source.numbers():
        log = source.entries(case)
        if not log:
            continue
        target.adopt_numbers([(number, case)])
        for sha256 in set(attachments_of(log)) - files:
            target.attach(source.attachment(sha256))
            files.add(sha256)
        new += target.absorb(log)
        cases, entries = cases + 1, entries + len(log)
    for _, case in source.numbers():
        _compare(source, target, case)
    for sha256 in sorted(files):
        target.attachment(sha256)
    return Copied(source.where, target.where, cases, entries, len(files), new, True)


def _compare(source: CaseStore, target: CaseStore, case: str) -> None:
    there = {one.id: one.body() for one in target.entries(case)}
    for one in source.entries(case):
        if there.get(one.id) != one.body():
            raise refuse(
                "STO-041",
                "The entry came back from the copy with other contents, or not at all.",
                "Keep working with the first store; run doctor on both.",
                Place(thing=f"case {case} entry {one.id}"),
            )
