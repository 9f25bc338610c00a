"""Takes a bundle in: everything is verified, and held against what is here, before anything is written; what is here already stays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Finding, Place, Refusal, refuse
from coppermend.core.log.kinds import attachments_of
from coppermend.core.log.model import Entry
from coppermend.core.log.state import plain
from coppermend.services.bundling import layout
from coppermend.services.bundling.reading import Bundle, faults
from coppermend.services.packages import Package
from coppermend.services.ports import CaseStore

KeepBoard = Callable[[Package], str]
"""Keeps a package on this computer; where it lies then."""


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did: the case, its short number here, how many entries were new and how many it has."""

    case: str
    number: int
    new: int
    entries: int

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return dict(plain(self))


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What came in. ``boards`` (package id, title, where its files lie now); ``left_out`` what the bundle itself does not hold."""

    cases: tuple[Imported, ...]
    attachments: int
    boards: tuple[tuple[str, str, str], ...]
    left_out: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {
            "cases": [one.as_dict() for one in self.cases],
            "attachments": self.attachments,
            "boards": [{"package_id": one, "title": title, "path": path} for one, title, path in self.boards],
            "left_out": list(self.left_out),
        }


@dataclass(frozen=True, slots=True)
class Verified:
    """What a bundle holds and what is wrong with it. ``cases`` (id, title, entries, last entry's time); ``boards`` (package id, title)."""

    cases: tuple[tuple[str, str, int, str], ...]
    attachments: int
    boards: tuple[tuple[str, str], ...]
    left_out: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def well(self) -> bool:
        """Whether nothing is wrong."""
        return not self.findings

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        names = ("case", "title", "entries", "last_at")
        return {
            "well": self.well,
            "cases": [dict(zip(names, one, strict=True)) for one in self.cases],
            "attachments": self.attachments,
            "boards": [{"package_id": one, "title": title} for one, title in self.boards],
            "left_out": list(self.left_out),
            "findings": [one.as_dict() for one in self.findings],
        }


def verify(bundle: Bundle) -> Verified:
    """Everything that a bundle holds, and every fault of it."""
    found = tuple(faults(bundle))
    cases, boards = [], []
    for case in bundle.cases:
        try:
            entries = bundle.log(case)
        except Refusal:
            continue
        cases.append((case, str(entries[0].payload.get("title") or ""), len(entries), entries[-1].observed_at))
    for board in bundle.boards:
        try:
            boards.append((board, bundle.package(board).title))
        except Refusal:
            continue
    return Verified(tuple(cases), len(bundle.attachments), tuple(boards), tuple(sorted(bundle.left_out)), found)


def refuse_faults(bundle: Bundle) -> None:
    """Refuses with the first fault of the bundle (BUN-0xx, LOG-0xx); no store is asked."""
    for fault in faults(bundle):
        raise Refusal(fault)


def take_in(store: CaseStore, bundle: Bundle, keep: KeepBoard | None = None, verified: bool = False) -> TakenIn:
    """Take in every case of a bundle, and its boards where ``keep`` keeps them. Stopped halfway, it is simply done again: each case comes in whole or not at all.

    Refuses with the first fault of the bundle (BUN-0xx, LOG-0xx), or STO-030 when it contradicts what is here; nothing is written then.
    ``verified``: ``refuse_faults`` was asked just before.
    """
    if not verified:
        refuse_faults(bundle)
    for case in bundle.cases:
        _fits(bundle.log(case), store.entries(case))
    boards = tuple(_keep(bundle, one, keep) for one in bundle.boards) if keep else ()
    here, cases = set(bundle.attachments), []
    for case in bundle.cases:
        entries = bundle.log(case)
        for sha256 in attachments_of(entries):
            if sha256 in here:
                store.attach(bundle.bag.data(layout.ATTACHMENTS + sha256))
        new = store.absorb(entries)
        cases.append(Imported(case, store.number_of(case), new, len(store.entries(case))))
    return TakenIn(tuple(cases), len(here), boards, tuple(sorted(bundle.left_out)))


def _keep(bundle: Bundle, board: str, keep: KeepBoard) -> tuple[str, str, str]:
    package = bundle.package(board)
    return board, package.title, keep(package)


def _fits(new: tuple[Entry, ...], here: tuple[Entry, ...]) -> None:
    """Refusal STO-030 when the two logs of a case contradict each other: one id, or one place of a bench, with two contents."""
    ids, places = {one.id: one for one in here}, {(one.bench, one.bench_seq): one.id for one in here}
    for entry in new:
        known = ids.get(entry.id)
        if (known is not None and known.body() != entry.body()) or places.get(
            (entry.bench, entry.bench_seq), entry.id
        ) != entry.id:
            words = "The entry stands here with other contents: two copies of one store were both written to, or one was changed."
            remedy = "Nothing was written. Keep both stores as they are and compare their exports."
            raise refuse("STO-030", words, remedy, Place(thing=f"case {entry.case} entry {entry.id}"))
