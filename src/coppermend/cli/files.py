"""Files that a person names on the command line, read with words instead of tracebacks."""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from coppermend.core.findings import Place, refuse


def file_bytes(file: Path) -> bytes:
    """All bytes of the file; Refusal CLI-002 says why it cannot be read."""
    try:
        return file.read_bytes()
    except OSError as err:
        raise refuse(
            "CLI-002",
            f"{file.name} cannot be read: {err.strerror or type(err).__name__}.",
            "See whether the name is right.",
            Place(file=file.name),
        ) from None


def opened(file: Path) -> IO[bytes]:
    """The file, to read; Refusal CLI-002 says why it cannot be read."""
    try:
        return file.open("rb")
    except OSError as err:
        words = f"{file.name} cannot be read: {err.strerror or type(err).__name__}."
        raise refuse("CLI-002", words, "See whether the name is right.", Place(file=file.name)) from None


def sha256_of(file: Path) -> str:
    """SHA-256 of a file that was just written."""
    with file.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()


@contextlib.contextmanager
def written_whole(file: Path) -> Iterator[IO[bytes]]:
    """A file to write that takes its name when it is complete and synced; what was there before stays until then. Refusal CLI-001 says why it cannot be written."""
    part = None
    try:
        handle, part = tempfile.mkstemp(prefix=f".{file.name[:40]}-", suffix=".part", dir=file.absolute().parent)
        with os.fdopen(handle, "w+b") as out:
            yield out
            out.flush()
            os.fsync(out.fileno())
        Path(part).chmod(0o666 & ~_umask())
        Path(part).replace(file)
        part = None
    except OSError as err:
        raise refuse(
            "CLI-001",
            f"The file cannot be written: {err.strerror or err}.",
            "Name another file with --to, on a disk with room.",
            Place(file=str(file)),
        ) from err
    finally:
        if part:
            Path(part).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
