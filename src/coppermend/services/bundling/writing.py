"""Writes a bundle, member by member, so that a whole store needs no more memory than its largest case."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import IO, Any

from coppermend.core.findings import Refusal, refuse
from coppermend.core.log.canonical import canonical_bytes
from coppermend.core.log.kinds import attachments_of
from coppermend.core.log.model import Entry
from coppermend.core.log.words import how_many
from coppermend.services.bundling import layout
from coppermend.services.bundling.bag import BagWriter
from coppermend.services.packages import Package, PackageSource, package_id
from coppermend.services.ports import CaseStore


@dataclass(frozen=True, slots=True)
class Written:
    """What a bundle holds. ``left_out`` (what, why) could not be read; ``bytes`` of the payload."""

    cases: int
    entries: int
    attachments: int
    boards: int
    bytes: int
    left_out: tuple[tuple[str, str], ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {
            "cases": self.cases, "entries": self.entries, "attachments": self.attachments, "boards": self.boards,
            "payload_bytes": self.bytes, "left_out": [{"what": what, "why": why} for what, why in self.left_out],
        }  # fmt: skip


@dataclass(slots=True)
class _Bundle:
    """A bundle being written: what it holds so far."""

    bag: BagWriter
    entries: int = 0
    cases: int = 0
    attachments: set[str] = field(default_factory=set)
    boards: set[str] = field(default_factory=set)
    left_out: list[tuple[str, str]] = field(default_factory=list)
    last: str = ""


def write_bundle(
    sink: IO[bytes],
    store: CaseStore | None,
    cases: Iterable[str],
    packages: Iterable[Package] = (),
    files: PackageSource | None = None,
    rescue: bool = False,
) -> Written:
    """Write these cases and packages of a store to ``sink``; the same contents give the same bytes.

    ``files`` reads the cases' packages, which go along where they are still those of the case; None: without them.
    ``rescue``: what cannot be read is left out and named, instead of Refusal STO-0xx. Refusal CAS-001 for a case that is not there.
    """
    with zipfile.ZipFile(sink, "w") as file:
        made = _Bundle(BagWriter(file))
        for case in cases:
            assert store is not None
            _put_case(made, store, case, files, rescue)
        for package in packages:
            _put_board(made, package)
        if made.left_out:
            lines = [canonical_bytes({"what": what, "why": why}) + b"\n" for what, why in made.left_out]
            made.bag.put(layout.LEFT_OUT, b"".join(lines))
        made.bag.close(_info(made), layout.READ_ME_TEXT)
    return Written(
        made.cases, made.entries, len(made.attachments), len(made.boards), made.bag.size, tuple(made.left_out)
    )


def _put_case(made: _Bundle, store: CaseStore, case: str, files: PackageSource | None, rescue: bool) -> None:
    try:
        entries = store.entries(case)
    except Refusal as err:
        if not rescue:
            raise
        made.left_out.append((f"case {case}", err.finding.words))
        return
    if not entries:
        raise refuse("CAS-001", f"There is no case {case!r} in this store.", "See 'coppermend case list'.")
    for sha256 in attachments_of(entries):
        try:
            if sha256 not in made.attachments:
                made.bag.put(layout.ATTACHMENTS + sha256, store.attachment(sha256))
                made.attachments.add(sha256)
        except Refusal as err:
            if not rescue:
                raise
            made.left_out.append((f"attachment {sha256}", err.finding.words))
    made.bag.put(layout.log_name(case), b"".join(entry.body() + b"\n" for entry in entries))
    made.cases, made.entries = made.cases + 1, made.entries + len(entries)
    made.last = max(made.last, *(one.recorded_at for one in entries))
    if files is not None:
        _put_board_of(made, entries, files)


def _put_board_of(made: _Bundle, entries: tuple[Entry, ...], files: PackageSource) -> None:
    """The case's package, where it can still be read and is still that of the case; a case is worth having without it."""
    undone = {one.undoes for one in entries if one.kind == "undo"}
    named = next((one.payload for one in reversed(entries) if one.kind == "board" and one.id not in undone), None)
    if named is None or named["package_id"] in made.boards:
        return
    try:
        package = files.read(str(named["package"]))
    except Refusal as err:
        made.left_out.append((f"board of case {entries[0].case}", err.finding.words))
        return
    if package_id(package.members) == named["package_id"]:
        _put_board(made, package)
    else:
        made.left_out.append((f"board of case {entries[0].case}", "The package was changed since."))


def _put_board(made: _Bundle, package: Package) -> None:
    named = package_id(package.members)
    if named in made.boards:
        return
    made.boards.add(named)
    folder = f"{layout.BOARDS}{named}/"
    about: dict[str, Any] = {"title": package.title, "package_id": named}
    taken = 0
    for what, members in (("package", package.members), ("beside", package.beside)):
        places = layout.places_of([one.name for one in members], what)
        rows = []
        for one in members:
            place = places[one.name]
            if place.startswith("files/"):
                place, taken = f"files/{taken:05}", taken + 1
            made.bag.put(folder + place, one.data)
            rows.append({"name": one.name, "file": place, "bytes": len(one.data)})
        about[what] = rows
    made.bag.put(folder + "about.json", json.dumps(about, indent=1, ensure_ascii=True, sort_keys=True).encode())


def _info(made: _Bundle) -> list[str]:
    holds = (
        f"{how_many(made.cases, 'case')}, {how_many(made.entries, 'entry', 'entries')}, "
        f"{how_many(len(made.attachments), 'attachment')}, {how_many(len(made.boards), 'board')}"
    )
    date = [f"Bagging-Date: {made.last[:10]}"] if made.last else []
    return [*date, f"{layout.KIND.label}: {layout.VERSION}", f"External-Description: {holds}"]
