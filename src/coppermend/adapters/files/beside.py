"""Small files beside the store, written whole and synced: the bench's name, what was learned."""

from __future__ import annotations

from pathlib import Path

from coppermend.adapters.files.whole import put_whole
from coppermend.core.findings import Place, refuse


def read_beside(file: Path) -> str:
    """The file's text, "" when there is none. Refusal FIL-012 when it cannot be read."""
    try:
        return file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return ""
    except (OSError, ValueError) as err:
        raise refuse(
            "FIL-012",
            f"A file beside the store cannot be read: {getattr(err, 'strerror', None) or type(err).__name__}.",
            "Give yourself the right to read it, or delete it.",
            Place(file=str(file)),
        ) from None


def write_beside(file: Path, text: str) -> None:
    """Write the file whole, for its owner only. Refusal FIL-013 when it cannot be written."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        put_whole(file, text.encode())
    except OSError as err:
        raise refuse(
            "FIL-013",
            f"A file beside the store cannot be written: {err.strerror or err}.",
            "Give yourself the right to write there, or free some space.",
            Place(file=str(file)),
        ) from err
