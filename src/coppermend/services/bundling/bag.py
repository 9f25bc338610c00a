"""A BagIt bag (RFC 8493) in a zip: written member by member, opened with nothing believed: names, sizes and checksums are looked at."""

from __future__ import annotations

import hashlib
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import IO

from coppermend.core.findings import Place, Refusal, refuse
from coppermend.core.log.canonical import sha256_hex

BAGIT, INFO, MANIFEST, TAG_MANIFEST, READ_ME = (
    "bagit.txt",
    "bag-info.txt",
    "manifest-sha256.txt",
    "tagmanifest-sha256.txt",
    "read-me.txt",
)
TAGS = (BAGIT, INFO, MANIFEST, TAG_MANIFEST, READ_ME)
BAGIT_TEXT = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
AGAIN = "Take the file from its source again."
_EPOCH = (1980, 1, 1, 0, 0, 0)
_PACKED = (".jsonl", ".json", ".txt", ".db")
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
class Limits:
    """How much a bag may hold: files, bytes of one file, bytes of all, and how many times its own size it may unpack to."""

    members: int
    member_bytes: int
    total_bytes: int
    ratio: int = 500


@dataclass(frozen=True, slots=True)
class Kind:
    """What a bag is made for. ``name`` for a person, ``label`` of its version in bag-info.txt, ``version`` that is read here, ``maker`` the command,
    ``ours`` which names it may hold."""

    name: str
    label: str
    version: int
    maker: str
    ours: Callable[[str], bool]


@dataclass(slots=True)
class BagWriter:
    """A bag being written. ``sums`` of the payload so far, ``size`` its bytes."""

    zip: zipfile.ZipFile
    sums: dict[str, str] = field(default_factory=dict)
    size: int = 0

    def put(self, name: str, data: bytes) -> None:
        """Add a payload file, once."""
        if name not in self.sums:
            self.sums[name] = sha256_hex(data)
            self.size += len(data)
            self.zip.writestr(_info(name), data)

    def put_stream(self, name: str, source: IO[bytes]) -> str:
        """Add a payload file piece by piece; its SHA-256."""
        digest = hashlib.sha256()
        with self.zip.open(_info(name), "w", force_zip64=True) as out:
            while piece := source.read(_CHUNK):
                digest.update(piece)
                self.size += len(piece)
                out.write(piece)
        self.sums[name] = digest.hexdigest()
        return digest.hexdigest()

    def close(self, info: Sequence[str], read_me: str) -> None:
        """Add what BagIt asks for; ``info`` lines of bag-info.txt."""
        lines = ["Bag-Software-Agent: Coppermend", f"Payload-Oxum: {self.size}.{len(self.sums)}", *info]
        tags = {
            BAGIT: BAGIT_TEXT.encode(),
            INFO: ("\n".join(lines) + "\n").encode(),
            MANIFEST: _listing(self.sums),
            READ_ME: read_me.encode(),
        }
        tags[TAG_MANIFEST] = _listing({name: sha256_hex(data) for name, data in tags.items()})
        for name, data in tags.items():
            self.zip.writestr(_info(name), data)


@dataclass(frozen=True, slots=True)
class Bag:
    """An opened bag whose names, sizes and list of checksums are in order; its contents are still to be looked at. ``infos`` and ``sums`` of the payload."""

    name: str
    file: zipfile.ZipFile
    infos: Mapping[str, zipfile.ZipInfo]
    sums: Mapping[str, str]

    def place(self, name: str = "") -> Place:
        """A file of the bag, as the place of a finding."""
        return Place(file=self.name or None, thing=name or None)

    def pieces(self, name: str) -> Iterator[bytes]:
        """The bytes of a payload file piece by piece, held to its checksum at the end. Refusal BUN-001, BUN-003."""
        digest = hashlib.sha256()
        for piece in _pieces(self.file, self.infos[name], self.place(name)):
            digest.update(piece)
            yield piece
        if digest.hexdigest() != self.sums[name]:
            raise changed(name, self.place(name))

    def data(self, name: str) -> bytes:
        """All bytes of a payload file, held to its checksum."""
        return b"".join(self.pieces(name))

    def look(self, name: str) -> None:
        """Hold a payload file to its checksum."""
        for _ in self.pieces(name):
            pass


def open_bag(source: IO[bytes], name: str, limits: Limits, kind: Kind) -> Bag:
    """Open a bag. Refusal BUN-001 what is none of this kind or damaged, BUN-002 too large, BUN-003 checksums that do not fit the contents, BUN-006 made by a newer Coppermend."""
    place = Place(file=name or None)
    try:
        file = zipfile.ZipFile(source)
        size = source.seek(0, 2)
    except _BROKEN as err:
        words = f"This is no {kind.name}, or it is damaged: it cannot be unpacked."
        raise refuse("BUN-001", words, AGAIN, place) from err
    infos = _checked(file.infolist(), size, limits, kind, place)
    _check_version(file, infos, kind, place)
    sums = _listed(file, infos, MANIFEST, place)
    tags = _listed(file, infos, TAG_MANIFEST, place)
    payload = {one: info for one, info in infos.items() if one not in TAGS}
    odd = sorted(set(sums) ^ set(payload)) or sorted(set(tags) ^ (set(TAGS) - {TAG_MANIFEST}))
    if odd:
        words = f"The list of checksums does not fit the contents: {odd[0][:120]}."
        raise refuse("BUN-003", words, "Have it written again.", place)
    for one, sha256 in tags.items():
        if sha256_hex(_small(file, infos, one, place)) != sha256:
            raise changed(one, place)
    return Bag(name, file, payload, sums)


def changed(name: str, place: Place) -> Refusal:
    """The refusal of a file whose bytes are not those that its checksum was made of."""
    return refuse("BUN-003", f"{name} was changed: its SHA-256 is not the listed one.", AGAIN, place)


def _checked(
    infos: list[zipfile.ZipInfo], size: int, limits: Limits, kind: Kind, place: Place
) -> dict[str, zipfile.ZipInfo]:
    total = sum(info.file_size for info in infos)
    largest = max((info.file_size for info in infos), default=0)
    if (
        len(infos) > limits.members
        or largest > limits.member_bytes
        or total > limits.total_bytes
        or total > 2**26 + limits.ratio * size
    ):
        words = f"The file would unpack to {len(infos)} members of {total / 2**20:.0f} MiB, one of {largest / 2**20:.0f} MiB."
        raise refuse("BUN-002", words, "Such a file is smaller: take it from its source again.", place)
    maker = f"Give a file made by 'coppermend {kind.maker}'."
    for info in infos:
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) or info.flag_bits & 1:
            raise refuse("BUN-001", "The file is packed in a way that is never used here.", AGAIN, place)
        if info.filename not in TAGS and not kind.ours(info.filename):
            raise refuse(
                "BUN-001",
                f"This is no {kind.name}: it holds the file {info.filename[:80]!r}, which none of them does.",
                maker,
                place,
            )
    out = {info.filename: info for info in infos}
    missing = [one for one in TAGS if one not in out]
    if missing:
        raise refuse("BUN-001", f"This is no {kind.name}: it lacks the file {missing[0]}.", maker, place)
    if len(out) != len(infos):
        raise refuse("BUN-001", "Two files in it have one name.", AGAIN, place)
    return out


def _check_version(file: zipfile.ZipFile, infos: Mapping[str, zipfile.ZipInfo], kind: Kind, place: Place) -> None:
    text = _small(file, infos, INFO, place).decode("utf-8", "replace")
    found = re.search(rf"(?m)^{kind.label}: ([0-9]{{1,9}})$", text)
    if found is None:
        words = f"The file does not say {kind.label}: it is another kind of bag (BagIt)."
        raise refuse("BUN-001", words, f"Give a file made by 'coppermend {kind.maker}'.", place)
    if int(found[1]) != kind.version:
        words = f"The file has version {found[1]}; this Coppermend reads version {kind.version}."
        raise refuse("BUN-006", words, "Use the newer Coppermend that made it; nothing was changed.", place)


def _small(file: zipfile.ZipFile, infos: Mapping[str, zipfile.ZipInfo], name: str, place: Place) -> bytes:
    return b"".join(_pieces(file, infos[name], place))


def _listed(file: zipfile.ZipFile, infos: Mapping[str, zipfile.ZipInfo], name: str, place: Place) -> dict[str, str]:
    """File -> SHA-256 of a manifest."""
    out = {}
    for line in _small(file, infos, name, place).decode("utf-8", "replace").splitlines():
        sha256, _, listed = line.partition("  ")
        if listed in out or not re.fullmatch("[0-9a-f]{64}", sha256):
            raise refuse("BUN-003", f"A line of {name} is no checksum: {line[:80]!r}.", AGAIN, place)
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
        raise refuse("BUN-001", words, AGAIN, place) from err
    if read != info.file_size:
        raise refuse("BUN-001", f"{info.filename} is not as long as the file says.", AGAIN, place)


def _listing(sums: Mapping[str, str]) -> bytes:
    return "".join(f"{sha256}  {name}\n" for name, sha256 in sorted(sums.items())).encode()


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _EPOCH)
    info.compress_type = zipfile.ZIP_DEFLATED if name.endswith(_PACKED) else zipfile.ZIP_STORED
    info.external_attr = 0o644 << 16
    info.create_system = 3
    return info
