"""Opens a bundle and says everything that is wrong with it. Nothing in it is believed: names, sizes, checksums, chains, payloads are all looked at."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Any

from coppermend.core.findings import Finding, Place, Refusal, refuse
from coppermend.core.log.chain import check_chain
from coppermend.core.log.fold import fold
from coppermend.core.log.kinds import attachments_of, check_known, check_payload
from coppermend.core.log.model import Entry, agreed_order, entry_from_dict
from coppermend.formats.member import Member
from coppermend.services.bundling import layout
from coppermend.services.bundling.bag import AGAIN, Bag, Limits, changed, open_bag
from coppermend.services.numbers import check_numbers
from coppermend.services.packages import Package, package_id


@dataclass(frozen=True, slots=True)
class Bundle:
    """An opened bundle. ``left_out`` what it says that it does not hold."""

    bag: Bag
    left_out: frozenset[str]

    @property
    def cases(self) -> tuple[str, ...]:
        """Ids of the cases, in the order in which they were written."""
        return tuple(one.split("/")[2] for one in self.bag.infos if one.startswith(layout.CASES))

    @property
    def attachments(self) -> tuple[str, ...]:
        """SHA-256 of the attachments."""
        return tuple(one.rpartition("/")[2] for one in self.bag.infos if one.startswith(layout.ATTACHMENTS))

    @property
    def boards(self) -> tuple[str, ...]:
        """Package ids of the boards."""
        return tuple(dict.fromkeys(one.split("/")[2] for one in self.bag.infos if one.startswith(layout.BOARDS)))

    def _bounded(self, begin: str, most: int) -> None:
        """Refusal BUN-002 when what lies under a name is more than is read into memory."""
        size = sum(info.file_size for name, info in self.bag.infos.items() if name.startswith(begin))
        if size > most:
            words = f"{begin} holds {size / 2**20:.0f} MiB; at most {most / 2**20:.0f} MiB are read."
            raise refuse("BUN-002", words, AGAIN, self.bag.place(begin))

    def log(self, case: str) -> tuple[Entry, ...]:
        """The entries of a case in the agreed order: canonical, known, chained. Refusal BUN-005, LOG-0xx, VAL-0xx."""
        self._bounded(layout.log_name(case), layout.LARGEST_LOG)
        entries = _read_log(self.bag.data(layout.log_name(case)), layout.log_name(case))
        if {one.case for one in entries} != {case}:
            words = f"{layout.log_name(case)} holds entries of another case, or none."
            raise refuse("BUN-005", words, AGAIN, self.bag.place())
        return entries

    def package(self, board: str) -> Package:
        """The package of a board, with the names that it had. Refusal BUN-007 when it is not the one that its id says."""
        folder = f"{layout.BOARDS}{board}/"
        self._bounded(folder, layout.LARGEST_BOARD)
        try:
            about = json.loads(self.bag.data(folder + "about.json"))
            members, beside = (
                tuple(Member(_text(one["name"]), self.bag.data(folder + _text(one["file"]))) for one in about[what])
                for what in ("package", "beside")
            )
            title = _text(about["title"])
        except (ValueError, KeyError, TypeError, RecursionError) as err:
            words = f"What the bundle says of the board {board[:16]} cannot be used ({type(err).__name__}: {err})."
            raise refuse("BUN-007", words, AGAIN, self.bag.place(folder)) from None
        if package_id(members) != board:
            words = f"The files of the board {board[:16]} are not those that its id is made of."
            raise refuse("BUN-007", words, AGAIN, self.bag.place(folder))
        return Package(title, members, beside)


def open_bundle(source: IO[bytes], name: str = "", limits: Limits = layout.UPLOADED) -> Bundle:
    """Open a bundle. Refusal BUN-001, BUN-002, BUN-003 or BUN-006 (see ``open_bag``)."""
    bag = open_bag(source, name, limits, layout.KIND)
    return Bundle(bag, _left_out(bag) if layout.LEFT_OUT in bag.infos else frozenset())


def faults(bundle: Bundle) -> Iterator[Finding]:
    """Everything that is wrong with the contents, file by file; nothing when the bundle is whole."""
    bad = set()
    for name in bundle.bag.infos:
        try:
            bundle.bag.look(name)
            if name.startswith(layout.ATTACHMENTS) and bundle.bag.sums[name] != name.rpartition("/")[2]:
                raise changed(name, bundle.bag.place(name))
        except Refusal as err:
            bad.add(name)
            yield err.finding
    here = set(bundle.attachments)
    for case in bundle.cases:
        if layout.log_name(case) in bad:
            continue
        try:
            entries = bundle.log(case)
        except Refusal as err:
            yield err.finding
            continue
        for sha256 in attachments_of(entries):
            if sha256 not in here and f"attachment {sha256}" not in bundle.left_out:
                words = f"The attachment {sha256[:16]} is missing."
                yield refuse("BUN-004", words, "Export it again.", bundle.bag.place(f"case {case}")).finding
    for board in bundle.boards:
        try:
            if not any(one.startswith(f"{layout.BOARDS}{board}/") for one in bad):
                bundle.package(board)
        except Refusal as err:
            yield err.finding


def _left_out(bag: Bag) -> frozenset[str]:
    try:
        lines = bag.data(layout.LEFT_OUT).decode("utf-8").splitlines()
        return frozenset(_text(json.loads(line)["what"]) for line in lines)
    except (ValueError, KeyError, TypeError, RecursionError) as err:
        words = f"{layout.LEFT_OUT} cannot be read ({type(err).__name__})."
        raise refuse("BUN-005", words, AGAIN, bag.place()) from None


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError("a text is expected")
    return value


# -- logs ------------------------------------------------------------------------------------------------------------------------------


def _read_log(text: bytes, name: str) -> tuple[Entry, ...]:
    lines = text.removesuffix(b"\n").split(b"\n") if text else []
    entries = [_read_line(line, Place(file=name, line=number)) for number, line in enumerate(lines, 1)]
    bad = check_chain(entries)
    if bad:
        raise Refusal(bad[0])
    if entries:
        fold(entries)
    ordered = agreed_order(entries)
    late = next((i for i, (one, its) in enumerate(zip(entries, ordered, strict=False), 1) if one != its), 0)
    if late or len(entries) != len(ordered):
        words = "The entry does not stand where the agreed order puts it (lamport, bench, bench_seq), or stands there twice."
        raise refuse("BUN-005", words, AGAIN, Place(file=name, line=late or len(ordered) + 1))
    return ordered


def _read_line(line: bytes, at: Place) -> Entry:
    """An entry from its line, which must be its canonical JSON: other bytes would have another hash."""
    try:
        entry = entry_from_dict(json.loads(line.decode("utf-8")), at)
        exact = entry.body() == line
    except (ValueError, RecursionError) as err:
        raise refuse("BUN-005", f"The line is no JSON that can be kept: {err}.", AGAIN, at) from err
    if not exact:
        raise refuse("BUN-005", "The line is not in canonical JSON (RFC 8785).", AGAIN, at)
    _check_entry(entry, at)
    return entry


def _check_entry(entry: Entry, at: Place) -> None:
    """Only what could have been written by a bench comes in."""
    if not (layout.UUID.fullmatch(entry.id) and layout.UUID.fullmatch(entry.case)):
        raise refuse("BUN-005", "The entry's id or its case's is no UUID.", AGAIN, at)
    check_known(entry)
    check_payload(entry.kind, entry.payload, entry.undoes)
    if entry.kind == "basis":
        check_numbers(str(entry.payload["name"]), entry.payload.get("values") or {})
