"""Zip bytes to members, with limits that hold whatever the archive claims.

``read_zip(data: bytes, name: str) -> tuple[Member, ...]``; Refusal (ZIP-...) for anything that is unsafe or too large.
"""

from __future__ import annotations

import stat
import zipfile
import zlib
from io import BytesIO

from coppermend.core.findings import Place, Refusal, refuse
from coppermend.formats.member import Member

MAX_MEMBERS = 2_000
MAX_BYTES = 512 * 1024 * 1024
MAX_RATIO = 200
RATIO_FROM_BYTES = 64 * 1024 * 1024
"""Expansion above MAX_RATIO is refused once this much has come out."""

_CHUNK = 1024 * 1024


def is_zip(data: bytes) -> bool:
    """Whether the bytes begin like a zip archive.

    >>> is_zip(b"PK\\x03\\x04...")
    True
    """
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def read_zip(data: bytes, name: str) -> tuple[Member, ...]:
    """The files of a zip archive in name order.

    At most MAX_MEMBERS files, MAX_BYTES bytes in all and MAX_RATIO-fold expansion; no absolute or climbing names, no encryption, no
    links, no two files of one name. Folders are left out. Raises Refusal (ZIP-001 to ZIP-007), never another exception.
    """
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            return _members(archive, name, len(data))
    except Refusal:
        raise
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        OSError,
        ValueError,
        NotImplementedError,
        RuntimeError,
        OverflowError,
        KeyError,
        IndexError,
    ) as error:
        words = f"The archive cannot be opened ({str(error)[:100] or type(error).__name__})."
        raise refuse(
            "ZIP-001",
            words,
            "It may be cut off; fetch it again or unpack it yourself and name the folder.",
            Place(file=name),
        ) from None


def _members(archive: zipfile.ZipFile, name: str, packed: int) -> tuple[Member, ...]:
    infos = [i for i in archive.infolist() if not i.is_dir()]
    if len(infos) > MAX_MEMBERS:
        words = f"The archive holds {len(infos):,} files; at most {MAX_MEMBERS:,} are read."
        raise refuse("ZIP-002", words, "Unpack it and name the folder with the fabrication data.", Place(file=name))
    if not infos:
        raise refuse("ZIP-003", "The archive holds no file.", "Name an archive with Gerber files.", Place(file=name))
    seen: set[str] = set()
    for info in infos:
        _check(info, name, seen)
    claimed = sum(i.file_size for i in infos)
    if claimed > MAX_BYTES:
        raise _too_large(name, claimed)
    out: list[Member] = []
    total = 0
    for info in sorted(infos, key=lambda i: i.filename):
        content = _content(archive, info, name, packed, total)
        total += len(content)
        out.append(Member(info.filename, content))
    return tuple(out)


def _check(info: zipfile.ZipInfo, name: str, seen: set[str]) -> None:
    member = info.filename
    place = Place(file=name, text=member[:80])
    parts = member.replace("\\", "/").split("/")
    if member.startswith(("/", "\\")) or ":" in parts[0] or ".." in parts or "\0" in member or len(member) > 1000:
        words = f"The archive names a file outside itself: {member[:80]!r}."
        raise refuse("ZIP-004", words, "Do not open it; ask where it comes from.", place)
    if info.flag_bits & 0x1:
        raise refuse(
            "ZIP-005",
            f"The file {member[:80]!r} is encrypted.",
            "Unpack it with its password and name the folder.",
            place,
        )
    if stat.S_ISLNK(info.external_attr >> 16):
        raise refuse("ZIP-004", f"The file {member[:80]!r} is a link.", "Unpack it and name the folder.", place)
    if member in seen:
        raise refuse("ZIP-006", f"Two files have the name {member[:80]!r}.", "Unpack it and name the folder.", place)
    seen.add(member)


def _content(archive: zipfile.ZipFile, info: zipfile.ZipInfo, name: str, packed: int, before: int) -> bytes:
    """The member's bytes, read piece by piece so that a false size claim cannot fill the memory."""
    pieces: list[bytes] = []
    size = 0
    with archive.open(info) as stream:
        while piece := stream.read(_CHUNK):
            pieces.append(piece)
            size += len(piece)
            total = before + size
            if total > MAX_BYTES:
                raise _too_large(name, total)
            if total > RATIO_FROM_BYTES and total > MAX_RATIO * max(1, packed):
                words = f"The archive expands more than {MAX_RATIO}-fold ({packed:,} bytes to over {total:,})."
                raise refuse(
                    "ZIP-007",
                    words,
                    "Do not open it; ask where it comes from.",
                    Place(file=name, text=info.filename[:80]),
                )
    return b"".join(pieces)


def _too_large(name: str, size: int) -> Refusal:
    words = f"The archive unpacks to {size / 2**20:,.0f} MiB; at most {MAX_BYTES // 2**20} MiB are read."
    return refuse("ZIP-002", words, "Unpack it and name the folder with the fabrication data.", Place(file=name))
