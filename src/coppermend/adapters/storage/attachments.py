"""Attachments: files named by the SHA-256 of their bytes, written whole and synced before they are acknowledged."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from coppermend.core.findings import Finding, Place, Refusal, refuse
from coppermend.core.log.canonical import sha256_hex


def keep(folder: Path, data: bytes) -> str:
    """Keep bytes in ``folder``; their SHA-256. The same bytes are kept once. The file and every folder made for it are synced."""
    name = sha256_hex(data)
    path = path_of(folder, name)
    if path.exists() and path.stat().st_size == len(data):
        return name
    new = [one for one in (path.parent, *path.parent.parents) if not one.exists()]
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(prefix=".new-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    for one in [path.parent, *(made.parent for made in new)]:
        sync_folder(one)
    return name


def read(folder: Path, sha256: str) -> bytes:
    """The bytes kept under that SHA-256. Refusal STO-020 when there are none, STO-021 when they are no longer the same."""
    named_so(sha256)
    try:
        data = path_of(folder, sha256).read_bytes()
    except OSError as err:
        raise not_here(sha256) from err
    if sha256_hex(data) != sha256:
        raise not_the_same(sha256)
    return data


def named_so(sha256: str) -> None:
    """Refusal STO-020 when an attachment cannot have this name."""
    if len(sha256) != 64 or set(sha256) - set("0123456789abcdef"):
        raise refuse(
            "STO-020",
            "That is no SHA-256: expected 64 hexadecimal digits.",
            "Take the name from the case.",
            _at(sha256),
        )


def not_here(sha256: str) -> Refusal:
    """The refusal to give an attachment that the store has not."""
    return refuse(
        "STO-020", "The attachment is not in the store.", "Import the case from an export that holds it.", _at(sha256)
    )


def not_the_same(sha256: str) -> Refusal:
    """The refusal to give an attachment whose bytes are not what its name says."""
    return refuse(
        "STO-021",
        "The attachment's bytes have changed since it was kept.",
        "Restore it from a backup or an export.",
        _at(sha256),
    )


def _at(sha256: str) -> Place:
    return Place(thing=f"attachment {sha256}")


def check(folder: Path) -> Iterator[Finding]:
    """Every attachment whose bytes are not what its name says."""
    for path in sorted(folder.glob("??/*")):
        if path.name.startswith("."):
            continue
        if sha256_hex(path.read_bytes()) != path.name:
            yield not_the_same(path.name).finding


def path_of(folder: Path, sha256: str) -> Path:
    """Where an attachment's file is: two digits a folder, so that no folder grows large."""
    return folder / sha256[:2] / sha256


def sync_folder(folder: Path) -> None:
    """Make a folder's list of names durable. Systems that cannot open a folder (Windows) keep names durable by themselves or not at all."""
    with contextlib.suppress(PermissionError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
