"""The device book: all chips by type, found by what is printed on them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from pathlib import Path

from coppermend.core.findings import Place, refuse
from coppermend.devices.model import Chip, Family, Rail
from coppermend.devices.names import bare_74, matches, nearest, one_z80, squeeze
from coppermend.devices.reader import read_chips, read_families

FAMILIES_FILE = "families.toml"
_MOST_FILES, _MOST_BYTES = 1000, 4_000_000


@dataclass(frozen=True, slots=True)
class DeviceBook:
    """Chips by type number, families by name. ``digest``: SHA-256 of the files' names and bytes, for the log's basis.

    >>> shipped().find("SN74LS00N").pin(3).name, shipped().find("Z80A-CPU").type
    ('1Y', 'Z80')
    """

    chips: Mapping[str, Chip]
    families: Mapping[str, Family]
    digest: str

    def find(self, printed: str) -> Chip | None:
        """The chip that is printed so, with the family that its letters say; None when the book does not have it."""
        text = one_z80(squeeze(printed))
        if not text or len(text) > 40:
            return None
        series = bare_74(text, self.chips)
        if series is not None:
            found = self.chips[series[0]]
            return None if series[1] in found.not_families else self._of_family(found, series[1])
        exact = self._exact(text)
        if exact is not None:
            return self._of_family(exact, "") if bare_74(exact.type, self.chips) else exact
        best: tuple[int, str] = (0, "")
        for chip in self.chips.values():
            if any(matches(text, squeeze(key)) for key in chip.not_types):
                continue
            own = () if bare_74(chip.type, self.chips) else (chip.type,)  # a 74-series number was looked for above
            for key in (*own, *chip.aliases):
                best = max(best, (matches(text, squeeze(key)), chip.type))
        return self.chips[best[1]] if best[0] else None

    def get(self, printed: str) -> Chip:
        """As ``find``; refuses DEV-010 with the nearest names when the book does not have it."""
        chip = self.find(printed)
        if chip is None:
            near = nearest(printed, self.chips)
            shown = printed if len(printed) <= 40 else printed[:40] + "…"
            raise refuse(
                "DEV-010",
                f"The device book has no {shown}." + (f" Nearest: {', '.join(near)}." if near else ""),
                "Check the print on the chip, or add the chip to a file of your own (docs/reference/devices.md).",
            )
        return chip

    def _exact(self, text: str) -> Chip | None:
        for chip in self.chips.values():
            if text == squeeze(chip.type) or text in map(squeeze, chip.aliases):
                return chip
        return None

    def _of_family(self, chip: Chip, letters: str) -> Chip:
        for family in self.families.values():
            if letters in family.prefixes:
                watts = None if chip.typical_w is None else chip.typical_w * family.power
                return replace(chip, family=family, rails=_rails_of(chip, family), typical_w=watts)
        return chip


def _rails_of(chip: Chip, family: Family) -> Mapping[str, Rail]:
    supply = family.supply
    return {name: supply if supply is not None and rail.nominal_v == 5.0 else rail for name, rail in chip.rails.items()}


def make_book(files: Iterable[tuple[str, bytes]], more: Iterable[tuple[str, bytes]] = ()) -> DeviceBook:
    """A book of named files; chips of ``more`` (a user's own) take the place of earlier ones of the same type."""
    own, added = sorted(files), sorted(more)
    families, theta = read_families(_text(*next(one for one in own if one[0] == FAMILIES_FILE)), FAMILIES_FILE)
    digest = hashlib.sha256()
    chips: dict[str, Chip] = {}
    for group in (own, added):
        seen: dict[str, str] = {}
        for name, data in group:
            digest.update(f"{name}\0{len(data)}\0".encode() + data)
            if name == FAMILIES_FILE:
                continue
            for chip in read_chips(_text(name, data), name, families, theta):
                if chip.type in seen:
                    raise refuse(
                        "DEV-004", f"Two entries of the device book are of the type {chip.type}: {seen[chip.type]} and {name}.",
                        "Take one of them out.", Place(file=name),
                    )  # fmt: skip
                seen[chip.type] = name
                chips[chip.type] = chip
    return DeviceBook(chips, families, digest.hexdigest())


def _text(name: str, data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as err:
        raise refuse(
            "DEV-001",
            f"This file of the device book is not UTF-8 text (byte {err.start}).",
            "Save it as UTF-8.",
            Place(file=name),
        ) from None


def shipped_files() -> list[tuple[str, bytes]]:
    """The files that come with the program."""
    folder = resources.files("coppermend.devices") / "data"
    return [(one.name, one.read_bytes()) for one in folder.iterdir() if one.name.endswith(".toml")]


@cache
def shipped() -> DeviceBook:
    """The book that comes with the program."""
    return make_book(shipped_files())


def folder_files(folder: Path) -> list[tuple[str, bytes]]:
    """The TOML files of a user's folder; none when there is no such folder. Refuses DEV-005 when it cannot be read or is too large."""
    if not folder.is_dir():
        return []
    try:
        paths = sorted(folder.glob("*.toml"))
        if len(paths) > _MOST_FILES or sum(one.stat().st_size for one in paths) > _MOST_BYTES:
            raise refuse(
                "DEV-005",
                "The folder of own chips is larger than 4 MB or 1000 files.",
                "Keep only files of the device book there.",
                Place(file=str(folder)),
            )
        return [(one.name, one.read_bytes()) for one in paths if one.name != FAMILIES_FILE]
    except OSError as err:
        raise refuse(
            "DEV-005",
            f"The folder of own chips cannot be read: {err.strerror or err}.",
            "Check its rights, or name another one.",
            Place(file=str(folder)),
        ) from None


def open_book(*folders: Path) -> DeviceBook:
    """The shipped book with the chips of these folders added, later folders first in rank."""
    more: dict[str, list[tuple[str, bytes]]] = {str(one): folder_files(one) for one in folders}
    if not any(more.values()):
        return shipped()
    book = shipped()
    for files in more.values():
        book = make_book(shipped_files(), files) if book is shipped() else _with(book, files)
    return book


def _with(book: DeviceBook, files: list[tuple[str, bytes]]) -> DeviceBook:
    if not files:
        return book
    top = make_book(shipped_files(), files)
    own = {name: chip for name, chip in top.chips.items() if chip != shipped().chips.get(name)}
    digest = hashlib.sha256((book.digest + top.digest).encode()).hexdigest()
    return DeviceBook({**book.chips, **own}, book.families, digest)
