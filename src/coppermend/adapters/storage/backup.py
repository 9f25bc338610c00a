"""Backups of a store on SQLite: a snapshot by SQLite's backup API and every attachment in one file with checksums; and back.

SQLite documentation, backup.html: the copy is a snapshot of the database as it was when the copying ended, taken while others read and write.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from coppermend.adapters.storage.attachments import not_the_same, sync_folder
from coppermend.adapters.storage.errors import in_words, read_only
from coppermend.adapters.storage.place import DATABASE, StorePlace, at, can_write, reading_copy
from coppermend.adapters.storage.schema import SCHEMA_VERSION
from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.log.words import how_many
from coppermend.services.bundling.bag import BagWriter, Kind, Limits, open_bag
from coppermend.services.storekeeping import BackedUp, Restored

_DB, _FILES = "data/coppermend.db", "data/attachments/"
_NAME = re.compile(r"data/coppermend\.db|data/attachments/[0-9a-f]{64}")
KIND = Kind("backup of a store", "Coppermend-Backup", 1, "store backup", lambda name: _NAME.fullmatch(name) is not None)
LIMITS = Limits(2_000_000, 2**43, 2**44, 2000)
_READ_ME = """A backup of a store of repair cases: data/coppermend.db is an SQLite database (table entries, column body: one JSON text an entry),
data/attachments holds the files that entries name by SHA-256. Check it: unzip it, then sha256sum -c manifest-sha256.txt tagmanifest-sha256.txt
Put it back with: coppermend --store FOLDER store restore FILE
"""


def is_backup(source: IO[bytes]) -> bool:
    """Whether a file looks like a backup made here (as against a bundle)."""
    try:
        with zipfile.ZipFile(source) as file:
            return _DB in file.namelist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return False


def snapshot(place: StorePlace, target: Path) -> tuple[str, ...]:
    """Copy the database as it is now into a new file, synced; what SQLite's integrity check says of the copy, nothing when it is whole. Others may write meanwhile."""
    if not place.database.exists():
        raise refuse("STO-007", "There is no store there.", "Name the store's folder with --store.", at(place))
    with in_words(place):
        path, scratch = (place.database, None) if can_write(place) else reading_copy(place)
        how = "mode=rw" if can_write(place) else "immutable=1"
        try:
            with (
                contextlib.closing(sqlite3.connect(f"{path.absolute().as_uri()}?{how}", uri=True)) as source,
                contextlib.closing(sqlite3.connect(target)) as copy,
            ):
                source.backup(copy)
                copy.execute("PRAGMA journal_mode=DELETE").fetchall()
                said = tuple(str(row[0]) for row in copy.execute("PRAGMA integrity_check(5)"))
        finally:
            if scratch:
                shutil.rmtree(scratch, ignore_errors=True)
        _sync(target)
    return () if said == ("ok",) else said


def back_up(place: StorePlace, sink: IO[bytes], scratch: Path) -> BackedUp:
    """Write the whole store as one file. ``scratch`` a folder with room for the database. Damage is named and the rest is kept."""
    with tempfile.TemporaryDirectory(prefix=".coppermend-backup-", dir=scratch) as name, in_words(place):
        copy = Path(name) / DATABASE
        found = [_page(place, words) for words in snapshot(place, copy)]
        files = 0
        with zipfile.ZipFile(sink, "w") as file:
            bag = BagWriter(file)
            with copy.open("rb") as source:
                bag.put_stream(_DB, source)
            for path in sorted(place.attachments.glob("??/*")):
                if re.fullmatch("[0-9a-f]{64}", path.name):
                    with path.open("rb") as source:
                        if bag.put_stream(_FILES + path.name, source) != path.name:
                            found.append(not_the_same(path.name).finding)
                    files += 1
            cases, entries = _counts(copy)
            holds = (
                f"{how_many(cases, 'case')}, {how_many(entries, 'entry', 'entries')}, {how_many(files, 'attachment')}"
            )
            info = [f"{KIND.label}: {KIND.version}", f"External-Description: {holds}"]
            bag.close(info, _READ_ME)
    return BackedUp("snapshot", cases, entries, files, tuple(found))


def restore(place: StorePlace, source: IO[bytes], name: str, new_bench_id: str, replace: bool = False) -> Restored:
    """Put a backup where no store is; ``replace``: the store that stands there is put aside, not deleted. All checksums are held first.

    The restored store gets a bench id of its own: the one that was backed up may have gone on after the backup, and other benches may know of it.
    Refusal BUN-0xx for a damaged file, STO-005 when a newer Coppermend made it, STO-040 when a store stands there.
    """
    bag = open_bag(source, name, LIMITS, KIND)
    for member in bag.infos:
        bag.look(member)
    folder = place.database.parent
    with in_words(place):
        folder.mkdir(parents=True, exist_ok=True)
        if not can_write(place):
            raise read_only(place)
        if place.database.exists() and not replace:
            words = "A store stands there already."
            raise refuse("STO-040", words, "Name an empty folder with --store, or put this store aside with --replace.", at(place))  # fmt: skip
        with tempfile.TemporaryDirectory(prefix=".coppermend-restore-", dir=folder) as scratch:
            copy = Path(scratch) / DATABASE
            _unpack(bag.pieces(_DB), copy)
            _made_ours(copy, new_bench_id, Place(file=name))
            files = [one for one in bag.infos if one.startswith(_FILES)]
            aside = _put_aside(place) if replace else ""
            for member in files:
                _put_file(place.attachments, member.rpartition("/")[2], bag.pieces(member))
            _sync(copy)
            copy.replace(place.database)
        sync_folder(folder)
    return Restored(str(place.database), new_bench_id, aside, len(files))


def _made_ours(copy: Path, new_bench_id: str, place: Place) -> None:
    """Give the copy its own bench id; refuse what is damaged, newer, or no store."""
    try:
        with contextlib.closing(sqlite3.connect(copy)) as line:
            said = [str(row[0]) for row in line.execute("PRAGMA integrity_check(5)")]
            facts = dict(line.execute("SELECT name, value FROM coppermend_store").fetchall())
            version = str(facts.get("schema_version", ""))
            with line:
                line.execute("UPDATE coppermend_store SET value = ? WHERE name = 'bench'", (new_bench_id,))
    except sqlite3.Error as err:
        words = f"The database in the backup cannot be used ({err})."
        raise refuse("STO-013", words, "Take an older backup.", place) from err
    if not version.isdecimal() or int(version) > SCHEMA_VERSION:
        words = f"The backup has version {version or 'unknown'}; this Coppermend reads up to {SCHEMA_VERSION}."
        raise refuse("STO-005", words, "Use the newer Coppermend that made it; nothing was changed.", place)
    if said != ["ok"]:
        words = f"The database in the backup is damaged: {said[0]}."
        remedy = "Take an older backup, or unzip this one and save what can be read: coppermend --store FILE bundle export --all --rescue."
        raise refuse("STO-013", words, remedy, place)


def _put_aside(place: StorePlace) -> str:
    """Move a store's database with its write-ahead log to a free name; a log that stayed would be taken for the new one's."""
    names = [place.database.with_name(place.database.name + end) for end in ("-wal", "-shm", "-journal", "")]
    if not any(one.exists() for one in names):
        return ""
    number = 1
    while (aside := place.database.with_name(f"before-restore-{number}-{place.database.name}")).exists():
        number += 1
    if place.database.exists():  # whatever stands in its log is brought into the file first
        with contextlib.suppress(sqlite3.Error), contextlib.closing(sqlite3.connect(place.database)) as line:
            line.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    for one in names:
        if one.exists():
            one.replace(aside.with_name(one.name.replace(place.database.name, aside.name)))
    return str(aside)


def _put_file(folder: Path, sha256: str, pieces: Iterator[bytes]) -> None:
    path = folder / sha256[:2] / sha256
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".new-{sha256}")
    _unpack(pieces, part)
    _sync(part)
    part.replace(path)
    sync_folder(path.parent)


def _unpack(pieces: Iterator[bytes], path: Path) -> None:
    with path.open("wb") as out:
        for piece in pieces:
            out.write(piece)


def _counts(copy: Path) -> tuple[int, int]:
    with contextlib.closing(sqlite3.connect(copy)) as line:
        try:
            cases, entries = (
                int(line.execute(f"SELECT count(*) FROM {table}").fetchone()[0]) for table in ("cases", "entries")
            )
        except sqlite3.Error:
            return 0, 0
    return cases, entries


def _page(place: StorePlace, words: str) -> Finding:
    return Finding("STO-013", Severity.ERROR, at(place), f"SQLite reports: {words}", "Keep this backup and the ones before it; run store check.")  # fmt: skip


def _sync(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
