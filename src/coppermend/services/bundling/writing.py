"""Writes a bundle, member by member, so that a whole store needs no more memory than its largest case."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import IO, Any

from coppermend.core.findings import Refusal, refuse
from coppermend.core.log.canonical import canonical_bytes, sha256_hex
from coppermend.core.log.kinds import attachments_of
from coppermend.core.log.model import Entry
from coppermend.services.bundling import layout
from coppermend.services.packages import Package, PackageSource, package_id
from coppermend.services.ports import CaseStore

_EPOCH = (1980, 1, 1, 0, 0, 0)
_PACKED = (".jsonl", ".json", ".txt")


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
class _Bag:
    """A bag being written: what is listed so far."""

    zip: zipfile.ZipFile
    sums: dict[str, str] = field(default_factory=dict)
    size: int = 0
    entries: int = 0
    cases: int = 0
    attachments: set[str] = field(default_factory=set)
    boards: set[str] = field(default_factory=set)
    left_out: list[tuple[str, str]] = field(default_factory=list)
    last: str = ""

    def put(self, name: str, data: bytes) -> None:
        """Add a payload file once."""
        if name not in self.sums:
            self.sums[name] = sha256_hex(data)
            self.size += len(data)
            _add(self.zip, name, data)


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
        bag = _Bag(file)
        for case in cases:
            assert store is not None
            _put_case(bag, store, case, files, rescue)
        for package in packages:
            _put_board(bag, package)
        if bag.left_out:
            lines = [canonical_bytes({"what": what, "why": why}) + b"\n" for what, why in bag.left_out]
            bag.put(layout.LEFT_OUT, b"".join(lines))
        _put_tags(bag)
    return Written(bag.cases, bag.entries, len(bag.attachments), len(bag.boards), bag.size, tuple(bag.left_out))


def _put_case(bag: _Bag, store: CaseStore, case: str, files: PackageSource | None, rescue: bool) -> None:
    try:
        entries = store.entries(case)
    except Refusal as err:
        if not rescue:
            raise
        bag.left_out.append((f"case {case}", err.finding.words))
        return
    if not entries:
        raise refuse("CAS-001", f"There is no case {case!r} in this store.", "See 'coppermend case list'.")
    for sha256 in attachments_of(entries):
        try:
            if sha256 not in bag.attachments:
                bag.put(layout.ATTACHMENTS + sha256, store.attachment(sha256))
                bag.attachments.add(sha256)
        except Refusal as err:
            if not rescue:
                raise
            bag.left_out.append((f"attachment {sha256}", err.finding.words))
    bag.put(layout.log_name(case), b"".join(entry.body() + b"\n" for entry in entries))
    bag.cases, bag.entries = bag.cases + 1, bag.entries + len(entries)
    bag.last = max(bag.last, *(one.recorded_at for one in entries))
    if files is not None:
        _put_board_of(bag, entries, files)


def _put_board_of(bag: _Bag, entries: tuple[Entry, ...], files: PackageSource) -> None:
    """The case's package, where it can still be read and is still that of the case; a case is worth having without it."""
    undone = {one.undoes for one in entries if one.kind == "undo"}
    named = next((one.payload for one in reversed(entries) if one.kind == "board" and one.id not in undone), None)
    if named is None or named["package_id"] in bag.boards:
        return
    try:
        package = files.read(str(named["package"]))
    except Refusal as err:
        bag.left_out.append((f"board of case {entries[0].case}", err.finding.words))
        return
    if package_id(package.members) == named["package_id"]:
        _put_board(bag, package)
    else:
        bag.left_out.append((f"board of case {entries[0].case}", "The package was changed since."))


def _put_board(bag: _Bag, package: Package) -> None:
    named = package_id(package.members)
    if named in bag.boards:
        return
    bag.boards.add(named)
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
            bag.put(folder + place, one.data)
            rows.append({"name": one.name, "file": place, "bytes": len(one.data)})
        about[what] = rows
    bag.put(folder + "about.json", json.dumps(about, indent=1, ensure_ascii=True, sort_keys=True).encode())


def _put_tags(bag: _Bag) -> None:
    info = [
        "Bag-Software-Agent: Coppermend",
        *([f"Bagging-Date: {bag.last[:10]}"] if bag.last else []),
        f"Payload-Oxum: {bag.size}.{len(bag.sums)}",
        f"Coppermend-Bundle: {layout.VERSION}",
        f"Coppermend-Holds: {bag.cases} cases, {bag.entries} entries, {len(bag.attachments)} attachments, {len(bag.boards)} boards",
    ]
    tags = {
        layout.BAGIT: layout.BAGIT_TEXT.encode(),
        layout.INFO: ("\n".join(info) + "\n").encode(),
        layout.MANIFEST: _listed(bag.sums),
        layout.READ_ME: layout.READ_ME_TEXT.encode(),
    }
    tags[layout.TAG_MANIFEST] = _listed({name: sha256_hex(data) for name, data in tags.items()})
    for name, data in tags.items():
        _add(bag.zip, name, data)


def _listed(sums: Mapping[str, str]) -> bytes:
    return "".join(f"{sha256}  {name}\n" for name, sha256 in sorted(sums.items())).encode()


def _add(file: zipfile.ZipFile, name: str, data: bytes) -> None:
    info = zipfile.ZipInfo(name, _EPOCH)
    info.compress_type = zipfile.ZIP_DEFLATED if name.endswith(_PACKED) else zipfile.ZIP_STORED
    info.external_attr = 0o644 << 16
    info.create_system = 3
    file.writestr(info, data)
