"""Where a store is: a folder, an SQLite file, or the user's data folder; and whether it can be opened for writing."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from coppermend.core.findings import Place, refuse

DATABASE = "coppermend.db"
_FILE_ENDINGS = (".db", ".sqlite", ".sqlite3")
_SQLITE_HEAD = b"SQLite format 3\x00"


@dataclass(frozen=True, slots=True)
class StorePlace:
    """The database file and the folder of attachments."""

    database: Path
    attachments: Path


def is_shared(url: str | None) -> bool:
    """Whether the store URL names a PostgreSQL server."""
    return bool(url) and str(url).startswith(("postgresql://", "postgres://"))


def beside_store(url: str | None) -> Path:
    """The folder on this computer for what belongs to the bench and is no entry: own chips, devices let in. Beside the store, or the user's data folder."""
    return store_place(None if is_shared(url) else url).database.parent


def bench_of_this_computer(new_bench_id: str) -> str:
    """The id under which this computer's user writes into a shared store: made once, kept in the user's data folder."""
    path = Path(platformdirs.user_data_dir("coppermend", appauthor=False)) / "bench-id"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            handle, name = tempfile.mkstemp(prefix=".bench-id-", dir=path.parent)
            with os.fdopen(handle, "w", encoding="ascii") as file:
                file.write(new_bench_id)
                file.flush()
                os.fsync(file.fileno())
            try:
                os.link(name, path)  # whoever is first: the other keeps this one's
            except FileExistsError:
                pass
            finally:
                Path(name).unlink(missing_ok=True)
        return path.read_text(encoding="ascii").strip()
    except OSError as err:
        raise refuse(
            "STO-002",
            f"The id of this bench cannot be kept: {err.strerror or err}.",
            "Give yourself the right to write into your data folder.",
            Place(file=str(path)),
        ) from err


def store_place(url: str | None) -> StorePlace:
    """The place that a store URL names: None the user's data folder; a folder; a file ending in .db, .sqlite or .sqlite3; ``sqlite:///PATH``."""
    if not url:
        return _in_folder(Path(platformdirs.user_data_dir("coppermend", appauthor=False)))
    if url.startswith("sqlite:///"):
        url = url[len("sqlite:///") :]
    elif "://" in url:
        scheme = url.split("://", 1)[0]
        raise refuse(
            "STO-001",
            f"A store of the kind {scheme} is not served by this version.",
            "Name a folder, an SQLite file, or postgresql://SERVER/DATABASE.",
        )
    path = Path(url).expanduser().absolute()
    try:
        is_file = path.is_file() or (not path.is_dir() and path.suffix.lower() in _FILE_ENDINGS)
    except OSError as err:
        raise refuse(
            "STO-002",
            f"The store's folder cannot be looked at: {err.strerror or err}.",
            "Name another folder with --store.",
            Place(thing=f"store {path}"),
        ) from err
    return StorePlace(path, path.with_name(path.name + "-attachments")) if is_file else _in_folder(path)


def _in_folder(folder: Path) -> StorePlace:
    return StorePlace(folder / DATABASE, folder / "attachments")


def prepare(place: StorePlace) -> bool:
    """Make the store's folder where there is none; True when the store can be written. Refusal when the file is no SQLite database."""
    try:
        place.database.parent.mkdir(parents=True, exist_ok=True)
    except OSError as err:
        raise refuse(
            "STO-002",
            f"The store's folder cannot be made: {err.strerror or err}.",
            "Name another folder with --store.",
            at(place),
        ) from err
    check_head(place)
    return can_write(place)


def check_head(place: StorePlace) -> None:
    """Refusal STO-003 when there is a file that is no SQLite database."""
    if not place.database.exists():
        return
    try:
        with place.database.open("rb") as file:
            head = file.read(len(_SQLITE_HEAD))
    except OSError as err:
        raise refuse(
            "STO-004", f"The store cannot be read: {err.strerror or err}.", "Check the rights of the file.", at(place)
        ) from err
    if head and head != _SQLITE_HEAD:
        raise refuse(
            "STO-003",
            "This file is no SQLite database.",
            "Name the store's folder, or restore the file from a backup.",
            at(place),
        )


def can_write(place: StorePlace) -> bool:
    """Whether the store can be written. Really tried: rights alone say little on read-only media and network drives."""
    folder = place.database.parent
    if place.database.exists() and not os.access(place.database, os.W_OK):
        return False
    try:
        handle, name = tempfile.mkstemp(prefix=".coppermend-", dir=folder)
    except OSError as err:
        if place.database.exists():
            return False
        raise refuse(
            "STO-002",
            f"Nothing can be written there: {err.strerror or err}.",
            "Name another folder with --store.",
            at(place),
        ) from err
    os.close(handle)
    Path(name).unlink(missing_ok=True)
    return True


def reading_copy(place: StorePlace) -> tuple[Path, Path | None]:
    """The database to read from a store that cannot be written, and the temporary folder to remove afterwards.

    A write-ahead log beside it may hold acknowledged entries that the file itself does not: then both are copied and read as one.
    """
    log = place.database.with_name(place.database.name + "-wal")
    if not log.exists() or log.stat().st_size == 0:
        return place.database, None
    folder = Path(tempfile.mkdtemp(prefix="coppermend-read-"))
    shutil.copyfile(place.database, folder / DATABASE)
    shutil.copyfile(log, folder / (DATABASE + "-wal"))
    with sqlite3.connect(folder / DATABASE) as copy:
        copy.execute("PRAGMA journal_mode=DELETE").fetchall()
    copy.close()
    return folder / DATABASE, folder


def at(place: StorePlace) -> Place:
    """The store as the place of a finding."""
    return Place(thing=f"store {place.database}")
