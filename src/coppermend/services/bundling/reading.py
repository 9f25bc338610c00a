"""Opens a bundle and says everything that is wrong with it. Nothing in it is believed: names, sizes, checksums, chains, payloads are all looked at."""

from __future__ import annotations

import hashlib
import json
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import IO, Any

from coppermend.core.findings import Finding, Place, Refusal, refuse
from coppermend.core.log.canonical import sha256_hex
from coppermend.core.log.chain import check_chain
from coppermend.core.log.fold import fold
from coppermend.core.log.kinds import attachments_of, check_known, check_payload
from coppermend.core.log.model import Entry, agreed_order, entry_from_dict
from coppermend.formats.member import Member
from coppermend.services.bundling import layout
from coppermend.services.bundling.layout import Limits
from coppermend.services.numbers import check_numbers
from coppermend.services.packages import Package, package_id

_AGAIN = "Take the file from its source again."
_CHUNK = 2**20
_BROKEN = (
    zipfile.BadZipFile,
    NotImplementedError,
    RuntimeError,
    EOFError,
    OSError,
    ValueError,
    OverflowError,
    KeyError,
    IndexError,
    zlib.error,
)


@dataclass(frozen=True, slots=True)
class Bundle:
    """An opened bundle whose names, sizes and list of checksums are in order; its contents are still to be looked at."""

    name: str
    file: zipfile.ZipFile
    infos: Mapping[str, zipfile.ZipInfo]
    sums: Mapping[str, str]
    left_out: frozenset[str]

    @property
    def cases(self) -> tuple[str, ...]:
        """Ids of the cases, in the order in which they were written."""
        return tuple(one.split("/")[2] for one in self.infos if one.startswith(layout.CASES))

    @property
    def attachments(self) -> tuple[str, ...]:
        """SHA-256 of the attachments."""
        return tuple(one.rpartition("/")[2] for one in self.infos if one.startswith(layout.ATTACHMENTS))

    @property
    def boards(self) -> tuple[str, ...]:
        """Package ids of the boards."""
        return tuple(dict.fromkeys(one.split("/")[2] for one in self.infos if one.startswith(layout.BOARDS)))

    def data(self, name: str) -> bytes:
        """The bytes of a payload file, held to its checksum. Refusal BUN-001, BUN-003."""
        data = b"".join(_pieces(self.file, self.infos[name], self.place(name)))
        if sha256_hex(data) != self.sums[name]:
            raise _changed(name, self.place(name))
        return data

    def place(self, name: str = "") -> Place:
        """A file of the bundle, as the place of a finding."""
        return Place(file=self.name or None, thing=name or None)

    def log(self, case: str) -> tuple[Entry, ...]:
        """The entries of a case in the agreed order: canonical, known, chained. Refusal BUN-005, LOG-0xx, VAL-0xx."""
        entries = _read_log(self.data(layout.log_name(case)), layout.log_name(case))
        if {one.case for one in entries} != {case}:
            words = f"{layout.log_name(case)} holds entries of another case, or none."
            raise refuse("BUN-005", words, _AGAIN, self.place())
        return entries

    def package(self, board: str) -> Package:
        """The package of a board, with the names that it had. Refusal BUN-007 when it is not the one that its id says."""
        folder = f"{layout.BOARDS}{board}/"
        try:
            about = json.loads(self.data(folder + "about.json"))
            members, beside = (
                tuple(Member(_text(one["name"]), self.data(folder + _text(one["file"]))) for one in about[what])
                for what in ("package", "beside")
            )
            title = _text(about["title"])
        except (ValueError, KeyError, TypeError, RecursionError) as err:
            words = f"What the bundle says of the board {board[:16]} cannot be used ({type(err).__name__}: {err})."
            raise refuse("BUN-007", words, _AGAIN, self.place(folder)) from None
        if package_id(members) != board:
            words = f"The files of the board {board[:16]} are not those that its id is made of."
            raise refuse("BUN-007", words, _AGAIN, self.place(folder))
        return Package(title, members, beside)


def open_bundle(source: IO[bytes], name: str = "", limits: Limits = layout.UPLOADED) -> Bundle:
    """Open a bundle. Refusal BUN-001 what is none or damaged, BUN-002 too large, BUN-003 checksums that do not fit the contents, BUN-006 made by a newer Coppermend."""
    place = Place(file=name or None)
    try:
        file = zipfile.ZipFile(source)
        size = source.seek(0, 2)
    except _BROKEN as err:
        words = "This is no bundle, or it is damaged: it cannot be unpacked."
        raise refuse("BUN-001", words, _AGAIN, place) from err
    infos = _checked_names(file.infolist(), size, limits, place)
    _check_version(file, infos, place)
    sums = _listed(file, infos, layout.MANIFEST, place)
    tags = _listed(file, infos, layout.TAG_MANIFEST, place)
    payload = {one for one in infos if one not in layout.TAGS}
    odd = sorted(set(sums) ^ payload) or sorted(set(tags) ^ (set(layout.TAGS) - {layout.TAG_MANIFEST}))
    if odd:
        words = f"The list of checksums does not fit the contents: {odd[0][:120]}."
        raise refuse("BUN-003", words, "Export it again.", place)
    for one, sha256 in tags.items():
        if sha256_hex(_small(file, infos, one, place)) != sha256:
            raise _changed(one, place)
    bundle = Bundle(name, file, {one: info for one, info in infos.items() if one in payload}, sums, frozenset())
    return Bundle(name, file, bundle.infos, sums, _left_out(bundle)) if layout.LEFT_OUT in payload else bundle


def faults(bundle: Bundle) -> Iterator[Finding]:
    """Everything that is wrong with the contents, file by file; nothing when the bundle is whole."""
    bad = set()
    for name, info in bundle.infos.items():
        try:
            if _sum(bundle, info, name) != bundle.sums[name]:
                raise _changed(name, bundle.place(name))
            if name.startswith(layout.ATTACHMENTS) and bundle.sums[name] != name.rpartition("/")[2]:
                raise _changed(name, bundle.place(name))
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
                yield refuse("BUN-004", words, "Export it again.", bundle.place(f"case {case}")).finding
    for board in bundle.boards:
        try:
            if not any(one.startswith(f"{layout.BOARDS}{board}/") for one in bad):
                bundle.package(board)
        except Refusal as err:
            yield err.finding


# -- names, sizes, checksums -----------------------------------------------------------------------------------------------------------


def _checked_names(infos: list[zipfile.ZipInfo], size: int, limits: Limits, place: Place) -> dict[str, zipfile.ZipInfo]:
    total = sum(info.file_size for info in infos)
    largest = max((info.file_size for info in infos), default=0)
    if (
        len(infos) > limits.members
        or largest > limits.member_bytes
        or total > limits.total_bytes
        or total > 2**26 + limits.ratio * size
    ):
        words = f"The file would unpack to {len(infos)} members of {total / 2**20:.0f} MiB, one of {largest / 2**20:.0f} MiB."
        raise refuse("BUN-002", words, "A bundle is smaller: take it from its source again.", place)
    for info in infos:
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) or info.flag_bits & 1:
            raise refuse("BUN-001", "The file is packed in a way that a bundle never is.", _AGAIN, place)
        if not layout.is_ours(info.filename):
            words = f"This is no bundle: it holds {info.filename[:80]!r}."
            raise refuse("BUN-001", words, "Give a file made by 'coppermend bundle export'.", place)
    out = {info.filename: info for info in infos}
    missing = [one for one in layout.TAGS if one not in out]
    if len(out) != len(infos) or missing:
        words = f"This is no bundle: {f'it lacks {missing[0]}' if missing else 'two of its files have one name'}."
        raise refuse("BUN-001", words, "Give a file made by 'coppermend bundle export'.", place)
    return out


def _check_version(file: zipfile.ZipFile, infos: Mapping[str, zipfile.ZipInfo], place: Place) -> None:
    text = _small(file, infos, layout.INFO, place).decode("utf-8", "replace")
    found = re.search(r"(?m)^Coppermend-Bundle: ([0-9]{1,9})$", text)
    if found is None:
        raise refuse("BUN-001", "This is a bag (BagIt), but none of Coppermend's.", "Give a file made by 'coppermend bundle export'.", place)  # fmt: skip
    if int(found[1]) != layout.VERSION:
        words = f"The bundle has version {found[1]}; this Coppermend reads version {layout.VERSION}."
        raise refuse("BUN-006", words, "Use the newer Coppermend that made it; nothing was changed.", place)


def _small(file: zipfile.ZipFile, infos: Mapping[str, zipfile.ZipInfo], name: str, place: Place) -> bytes:
    return b"".join(_pieces(file, infos[name], place))


def _listed(file: zipfile.ZipFile, infos: Mapping[str, zipfile.ZipInfo], name: str, place: Place) -> dict[str, str]:
    """File -> SHA-256 of a manifest."""
    out = {}
    for line in _small(file, infos, name, place).decode("utf-8", "replace").splitlines():
        sha256, _, listed = line.partition("  ")
        if listed in out or not re.fullmatch("[0-9a-f]{64}", sha256):
            raise refuse("BUN-003", f"A line of {name} is no checksum: {line[:80]!r}.", _AGAIN, place)
        out[listed] = sha256
    return out


def _pieces(file: zipfile.ZipFile, info: zipfile.ZipInfo, place: Place) -> Iterator[bytes]:
    """A member's bytes piece by piece; one that lies about its size or is damaged is refused."""
    read = 0
    try:
        with file.open(info) as member:
            while piece := member.read(_CHUNK):
                read += len(piece)
                if read > info.file_size:
                    break
                yield piece
    except _BROKEN as err:
        words = f"{info.filename} is damaged: it cannot be unpacked."
        raise refuse("BUN-001", words, _AGAIN, place) from err
    if read != info.file_size:
        raise refuse("BUN-001", f"{info.filename} is not as long as the file says.", _AGAIN, place)


def _sum(bundle: Bundle, info: zipfile.ZipInfo, name: str) -> str:
    digest = hashlib.sha256()
    for piece in _pieces(bundle.file, info, bundle.place(name)):
        digest.update(piece)
    return digest.hexdigest()


def _changed(name: str, place: Place) -> Refusal:
    return refuse("BUN-003", f"{name} was changed: its SHA-256 is not the listed one.", _AGAIN, place)


def _left_out(bundle: Bundle) -> frozenset[str]:
    try:
        lines = bundle.data(layout.LEFT_OUT).decode("utf-8").splitlines()
        return frozenset(_text(json.loads(line)["what"]) for line in lines)
    except (ValueError, KeyError, TypeError, RecursionError) as err:
        words = f"{layout.LEFT_OUT} cannot be read ({type(err).__name__})."
        raise refuse("BUN-005", words, _AGAIN, bundle.place()) from None


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
    return agreed_order(entries)


def _read_line(line: bytes, at: Place) -> Entry:
    """An entry from its line, which must be its canonical JSON: other bytes would have another hash."""
    try:
        entry = entry_from_dict(json.loads(line.decode("utf-8")), at)
        exact = entry.body() == line
    except (ValueError, RecursionError) as err:
        raise refuse("BUN-005", f"The line is no JSON that can be kept: {err}.", _AGAIN, at) from err
    if not exact:
        raise refuse("BUN-005", "The line is not in canonical JSON (RFC 8785).", _AGAIN, at)
    _check_entry(entry, at)
    return entry


def _check_entry(entry: Entry, at: Place) -> None:
    """Only what could have been written by a bench comes in."""
    if not (layout.UUID.fullmatch(entry.id) and layout.UUID.fullmatch(entry.case)):
        raise refuse("BUN-005", "The entry's id or its case's is no UUID.", _AGAIN, at)
    check_known(entry)
    check_payload(entry.kind, entry.payload, entry.undoes)
    if entry.kind == "basis":
        check_numbers(str(entry.payload["name"]), entry.payload.get("values") or {})
