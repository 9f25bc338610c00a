"""Database errors in words: what happened to the store, what is still true, what to do."""

from __future__ import annotations

import contextlib
import errno
import sqlite3
from collections.abc import Iterator

from sqlalchemy.exc import DBAPIError

from coppermend.adapters.storage.place import StorePlace, at
from coppermend.core.findings import Refusal, refuse

STILL = "Nothing that was acknowledged is lost and the case can still be read."


@contextlib.contextmanager
def in_words(place: StorePlace) -> Iterator[None]:
    """Turn database and file errors into refusals."""
    try:
        yield
    except DBAPIError as err:
        raise _database(str(err.orig or err), place) from err
    except sqlite3.Error as err:
        raise _database(str(err), place) from err
    except OSError as err:
        raise _file(err, place) from err


def _database(text: str, place: StorePlace) -> Refusal:
    low = text.lower()
    if "full" in low:
        return full(place)
    if "readonly" in low or "read-only" in low:
        return read_only(place)
    if "locked" in low or "busy" in low:
        return refuse(
            "STO-012",
            "Another program holds the store: the entry was not written.",
            "Close the other program or wait, then note it again.",
            at(place),
        )
    if "malformed" in low or "not a database" in low or "corrupt" in low:
        return refuse(
            "STO-013",
            f"The store's file is damaged ({text}).",
            "Keep a copy of it as it is; run store check; restore from a backup, or copy what can be read: coppermend store copy --to FOLDER.",
            at(place),
        )
    return refuse(
        "STO-014",
        f"The store does not answer ({text}): the entry was not written. {STILL}",
        "Check the disk and its free space; run doctor.",
        at(place),
    )


def _file(err: OSError, place: StorePlace) -> Refusal:
    if err.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return refuse(
            "STO-010", f"The disk is full: it was not written. {STILL}", "Free some space and try again.", at(place)
        )
    if err.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return read_only(place)
    return refuse(
        "STO-014",
        f"The store's folder does not answer ({err.strerror or err}). {STILL}",
        "Check the disk; run doctor.",
        at(place),
    )


def full(place: StorePlace) -> Refusal:
    """The refusal to write where the disk is full."""
    return refuse(
        "STO-010",
        f"The disk is full: the entry was not written. {STILL}",
        "Free some space and note it again.",
        at(place),
    )


def read_only(place: StorePlace) -> Refusal:
    """The refusal to write into a store that can only be read."""
    return refuse(
        "STO-011",
        f"The store can only be read: the entry was not written. {STILL}",
        "Give yourself the right to write there, or name another store.",
        at(place),
    )
