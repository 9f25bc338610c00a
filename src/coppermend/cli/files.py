"""Files that a person names on the command line, read with words instead of tracebacks."""

from __future__ import annotations

from pathlib import Path

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
