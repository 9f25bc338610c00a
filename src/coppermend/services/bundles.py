"""A case as one open file, and back: readable without Coppermend.

A zip with ``log.jsonl`` (one entry a line, canonical JSON, in the agreed order), ``attachments/SHA256`` (original bytes),
``manifest-sha256.txt`` (``sha256sum -c`` reads it) and ``read-me.txt``. Times and order inside the zip are fixed: the same case gives the same bytes.
"""

from __future__ import annotations

import io
import json
import re
import zipfile
import zlib
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Place, Refusal, refuse
from coppermend.core.log.canonical import sha256_hex
from coppermend.core.log.chain import check_chain
from coppermend.core.log.fold import fold
from coppermend.core.log.kinds import attachments_of, check_known, check_payload
from coppermend.core.log.model import Entry, agreed_order, entry_from_dict
from coppermend.services.numbers import check_numbers
from coppermend.services.workshop import Workshop

LOG, MANIFEST, READ_ME, FOLDER = "log.jsonl", "manifest-sha256.txt", "read-me.txt", "attachments/"
LARGEST_MEMBER = 256 * 1024 * 1024
LARGEST_TOTAL = 2 * 1024 * 1024 * 1024
MOST_MEMBERS = 20_000
_EPOCH = (1980, 1, 1, 0, 0, 0)
_TEXT = """A repair case. log.jsonl holds its log, one entry (JSON) a line, oldest first; attachments holds the files that entries name by SHA-256.
Check it with: sha256sum -c manifest-sha256.txt
Each entry's "prev" is the SHA-256 of the line (without its line end) of the entry before it by the same bench.
"""


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did: the case, its short number here, how many entries were new and how many it has."""

    case: str
    number: int
    new: int
    entries: int

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain JSON values."""
        return {"case": self.case, "number": self.number, "new": self.new, "entries": self.entries}


def export_case(workshop: Workshop, case: str) -> bytes:
    """The case as one zip. Refusal CAS-001 when there is no such case, STO-02x when an attachment is missing or changed."""
    entries = workshop.store.entries(case)
    if not entries:
        raise refuse("CAS-001", f"There is no case {case!r} in this store.", "See 'coppermend case list'.")
    members = {READ_ME: _TEXT.encode(), LOG: b"".join(entry.body() + b"\n" for entry in entries)}
    for sha256 in attachments_of(entries):
        members[FOLDER + sha256] = workshop.store.attachment(sha256)
    lines = [f"{sha256_hex(data)}  {name}\n" for name, data in sorted(members.items())]
    members[MANIFEST] = "".join(lines).encode()
    return _zipped(members)


def import_case(workshop: Workshop, data: bytes, name: str = "") -> Imported:
    """Take in an exported case: every checksum, chain and payload is verified before anything is written; entries that are here already stay.

    Refuses with BUN-0xx what is damaged, incomplete or no export; STO-030 when it contradicts the case that is here.
    """
    place = Place(file=name or None)
    members = _unzipped(data, place)
    _check_manifest(members, place)
    entries = _read_log(members.get(LOG, b""))
    for sha256 in attachments_of(entries):
        if FOLDER + sha256 not in members:
            raise refuse("BUN-004", f"The attachment {sha256[:16]} is missing.", "Export the case again.", place)
    for sha256 in attachments_of(entries):
        workshop.store.attach(members[FOLDER + sha256])
    new = workshop.store.absorb(entries)
    case = entries[0].case
    return Imported(case, workshop.store.number_of(case), new, len(workshop.store.entries(case)))


def _zipped(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        for name, data in sorted(members.items()):
            info = zipfile.ZipInfo(name, _EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED if name == LOG else zipfile.ZIP_STORED
            info.external_attr = 0o644 << 16
            info.create_system = 3
            file.writestr(info, data)
    return out.getvalue()


def _unzipped(data: bytes, place: Place) -> dict[str, bytes]:
    """The members that an export has, within limits; other names are refused."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            infos = file.infolist()
            total = sum(info.file_size for info in infos)
            if (
                len(infos) > MOST_MEMBERS
                or total > LARGEST_TOTAL
                or any(info.file_size > LARGEST_MEMBER for info in infos)
            ):
                raise refuse(
                    "BUN-002",
                    f"The file would unpack to {len(infos)} members of {total / 2**20:.0f} MiB.",
                    "An exported case is smaller: take it from its source again.",
                    place,
                )
            if any(info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) for info in infos):
                raise refuse(
                    "BUN-001",
                    "The file is packed in a way that an export never is.",
                    "Take it from its source again.",
                    place,
                )
            strange = [info.filename for info in infos if not _is_ours(info.filename)]
            if strange:
                raise refuse(
                    "BUN-001",
                    f"This is no exported case: it holds {strange[0][:80]!r}.",
                    "Give a file made by 'coppermend case export'.",
                    place,
                )
            return {info.filename: _bounded(file, info, place) for info in infos}
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError, zlib.error) as err:
        raise refuse(
            "BUN-001",
            "This is no exported case, or it is damaged: it cannot be unpacked.",
            "Take it from its source again.",
            place,
        ) from err


def _bounded(file: zipfile.ZipFile, info: zipfile.ZipInfo, place: Place) -> bytes:
    """A member's bytes; a member that lies about its size is refused."""
    with file.open(info) as member:
        data = member.read(info.file_size + 1)
    if len(data) != info.file_size:
        raise refuse(
            "BUN-001", f"{info.filename} is not as long as the file says.", "Take it from its source again.", place
        )
    return data


def _is_ours(name: str) -> bool:
    return name in (LOG, MANIFEST, READ_ME) or re.fullmatch(re.escape(FOLDER) + "[0-9a-f]{64}", name) is not None


def _check_manifest(members: dict[str, bytes], place: Place) -> None:
    listed = {}
    for line in members.get(MANIFEST, b"").decode("utf-8", "replace").splitlines():
        sha256, _, name = line.partition("  ")
        listed[name] = sha256
    expected = {name for name in members if name != MANIFEST}
    if LOG not in expected or set(listed) != expected:
        odd = sorted(set(listed) ^ expected) or [LOG]
        raise refuse(
            "BUN-003", f"The list of checksums does not fit the contents: {odd[0]}.", "Export the case again.", place
        )
    for name, sha256 in listed.items():
        if sha256_hex(members[name]) != sha256:
            raise refuse(
                "BUN-003",
                f"{name} was changed: its SHA-256 is not the listed one.",
                "Take the file from its source again.",
                place,
            )


def _read_log(text: bytes) -> tuple[Entry, ...]:
    entries = [_read_line(line, Place(file=LOG, line=number)) for number, line in enumerate(text.splitlines(), 1)]
    bad = check_chain(entries)
    if bad:
        raise Refusal(bad[0])
    fold(entries)
    return agreed_order(entries)


def _read_line(line: bytes, at: Place) -> Entry:
    """An entry from its line, which must be its canonical JSON: other bytes would have another hash."""
    try:
        entry = entry_from_dict(json.loads(line.decode("utf-8")), at)
        exact = entry.body() == line
    except (ValueError, RecursionError) as err:
        raise refuse(
            "BUN-005", f"The line is no JSON that can be kept: {err}.", "Take the file from its source again.", at
        ) from err
    if not exact:
        raise refuse(
            "BUN-005", "The line is not in canonical JSON (RFC 8785).", "Take the file from its source again.", at
        )
    _check_entry(entry, at)
    return entry


_UUID = re.compile("[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")


def _check_entry(entry: Entry, at: Place) -> None:
    """Only what could have been written by a bench comes in."""
    if not (_UUID.fullmatch(entry.id) and _UUID.fullmatch(entry.case)):
        raise refuse("BUN-005", "The entry's id or its case's is no UUID.", "Take the file from its source again.", at)
    check_known(entry)
    check_payload(entry.kind, entry.payload, entry.undoes)
    if entry.kind == "basis":
        check_numbers(str(entry.payload["name"]), entry.payload.get("values") or {})
