"""Packages on this machine's disk: folders and zip archives, read whole within limits, with the files that stand beside them."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from coppermend.core.findings import Place, refuse
from coppermend.formats.archive import MAX_BYTES, MAX_MEMBERS, is_zip, read_zip
from coppermend.formats.member import Member
from coppermend.formats.sidecars import CORRECTIONS_NAME, MAP_NAME
from coppermend.services.packages import Package

MAX_LIST_BYTES = 32 * 1024 * 1024
MAX_DEPTH = 6
"""Folders deeper than this inside a package are not looked into."""

BESIDE_ENDINGS = (f".{CORRECTIONS_NAME}", f".{MAP_NAME}", ".parts.csv", ".pins.csv")
"""Files beside a package ``board.zip`` or folder ``board`` that belong to it: ``board.coppermend-corrections.toml``, ``board.coppermend-map.toml``,
``board.parts.csv``, ``board.pins.csv``."""

PICTURE_ENDINGS = (".jpg", ".jpeg", ".png", ".webp")
MOST_PICTURES = 8
"""Photos beside a single list ``board.csv`` that belong to it: ``board.WORD.jpg``, for the map file to name."""


class DiskPackages:
    """Reads packages from folders and zip archives (services.packages.PackageSource)."""

    def read(self, path: str) -> Package:
        """The files of a folder or zip. Raises Refusal FIL-001 to FIL-006 or ZIP-... in words; no other exception."""
        where = Path(path).expanduser()
        try:
            if where.is_dir():
                members = _folder(where)
            elif where.is_file():
                members = _archive(where)
            else:
                raise refuse(
                    "FIL-001",
                    "There is no folder or file of that name.",
                    "Name the folder or zip archive that holds the fabrication data.",
                    Place(file=path),
                )
            return Package(where.resolve().stem if where.is_file() else where.resolve().name, members, _beside(where))
        except OSError as error:
            raise refuse(
                "FIL-002",
                f"The package cannot be read: {error.strerror or type(error).__name__}.",
                "Check that the files can be opened by you.",
                Place(file=path),
            ) from None
        except ValueError:
            raise refuse(
                "FIL-001", "That is no name of a file.", "Name a folder or zip archive.", Place(file=path[:80])
            ) from None

    def keep_map(self, path: str, data: bytes) -> str:
        """Write a package's map file (inside a folder, beside a file), whole or not at all. Raises Refusal FIL-007 when it cannot be written."""
        where = Path(path).expanduser().resolve()
        goal = where / MAP_NAME if where.is_dir() else where.parent / f"{where.stem}.{MAP_NAME}"
        draft = goal.with_name(f".{goal.name}.new")
        try:
            draft.write_bytes(data)
            draft.replace(goal)
        except OSError as error:
            words = f"The map file cannot be written: {error.strerror or type(error).__name__}."
            raise refuse(
                "FIL-007", words, "See whether you may write there and whether the disk is full.", Place(file=goal.name)
            ) from None
        return goal.name

    def table(self, path: str) -> Member:
        """One list of a board by itself (CSV, IPC-D-356). Raises Refusal FIL-001 to FIL-003 in words."""
        try:
            return _one_file(Path(path).expanduser(), path)
        except (OSError, ValueError) as error:
            words = f"The list cannot be read: {getattr(error, 'strerror', None) or type(error).__name__}."
            raise refuse("FIL-002", words, "Check that the file can be opened by you.", Place(file=path[:80])) from None


def _one_file(where: Path, name: str) -> Member:
    if not where.is_file():
        raise refuse(
            "FIL-001",
            "There is no folder or file of that name.",
            "Name a list: a CSV or IPC-D-356 file.",
            Place(file=name),
        )
    if where.stat().st_size > MAX_LIST_BYTES:
        words = (
            f"The list holds {where.stat().st_size / 2**20:,.0f} MiB; at most {MAX_LIST_BYTES // 2**20} MiB are read."
        )
        raise refuse("FIL-003", words, "Give the list of one board.", Place(file=where.name))
    return Member(where.name, where.read_bytes())


def _archive(where: Path) -> tuple[Member, ...]:
    size = where.stat().st_size
    if size > MAX_BYTES:
        raise refuse(
            "FIL-003",
            f"The file holds {size / 2**20:,.0f} MiB; at most {MAX_BYTES // 2**20} MiB are read.",
            "Leave out what is no fabrication data.",
            Place(file=where.name),
        )
    data = where.read_bytes()
    if is_list(where.name, data):
        return (Member(where.name, data),)
    if not is_zip(data):
        raise refuse(
            "FIL-004",
            "The file is neither a zip archive nor a list of pins; a package is a folder, a zip archive or a pin list (part, pin, net).",
            f"Name the folder {where.parent.name or '.'!r} that the file lies in, if that holds the board's files.",
            Place(file=where.name),
        )
    return read_zip(data, where.name)


def is_list(name: str, data: bytes) -> bool:
    """Whether one file is a board by itself: a pin list, or an IPC-D-356 netlist."""
    if is_zip(data):
        return False
    from coppermend.formats.package import Format, format_of
    from coppermend.formats.pinlist import looks_like_pinlist

    member = Member(name, data)
    return format_of(member) is Format.IPCD356 or (format_of(member) is Format.TABLE and looks_like_pinlist(data))


def _folder(where: Path) -> tuple[Member, ...]:
    members: list[Member] = []
    total = 0
    for path in _files(where, 0):
        if len(members) >= MAX_MEMBERS:
            raise refuse(
                "FIL-005",
                f"The folder holds more than {MAX_MEMBERS:,} files.",
                "Name the folder with the fabrication data of one board alone.",
                Place(file=where.name),
            )
        total += path.stat().st_size
        if total > MAX_BYTES:
            raise refuse(
                "FIL-003",
                f"The folder holds more than {MAX_BYTES // 2**20} MiB.",
                "Leave out what is no fabrication data.",
                Place(file=where.name),
            )
        members.append(Member(path.relative_to(where).as_posix(), path.read_bytes()))
    if not members:
        raise refuse("FIL-006", "The folder holds no file.", "Name a folder with Gerber files.", Place(file=where.name))
    return tuple(members)


def _files(folder: Path, depth: int) -> Iterator[Path]:
    """Regular files under a folder in name order; hidden ones, links and folders too deep are left out."""
    with os.scandir(folder) as found:
        entries = sorted(found, key=lambda one: one.name)
    for entry in entries:
        if entry.name.startswith("."):
            continue
        if entry.is_file(follow_symlinks=False):
            yield Path(entry.path)
        elif entry.is_dir(follow_symlinks=False) and depth < MAX_DEPTH:
            yield from _files(Path(entry.path), depth + 1)


def _beside(where: Path) -> tuple[Member, ...]:
    """Corrections and parts list that stand beside the package under its name; named as if they were inside."""
    full = where.resolve()
    stem = full.stem if full.is_file() else full.name
    out = []
    for ending in BESIDE_ENDINGS:
        path = full.parent / f"{stem}{ending}"
        if path.is_file() and path != full:
            member = Member(path.name, path.read_bytes())
            fixed = next((name for name in (CORRECTIONS_NAME, MAP_NAME) if ending.endswith(name)), "")
            out.append(replace(member, name=fixed) if fixed else member)
    if full.is_file():
        out += [Member(path.name, path.read_bytes()) for path in _pictures(full.parent, stem)]
    return tuple(out)


def _pictures(folder: Path, stem: str) -> list[Path]:
    with os.scandir(folder) as found:
        names = sorted(one.name for one in found if one.is_file() and one.name.startswith(f"{stem}."))
    return [folder / name for name in names if name.lower().endswith(PICTURE_ENDINGS)][:MOST_PICTURES]
