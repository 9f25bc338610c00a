"""Small pictures in the cache folder: a file each; it may be deleted at any time, and what cannot be written is only made again."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


class FolderThumbs:
    """A Thumbs in a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def get(self, name: str) -> bytes | None:
        """The bytes kept under a name; None when there are none."""
        try:
            return self._place(name).read_bytes() or None
        except OSError:
            return None

    def put(self, name: str, data: bytes) -> None:
        """Keep them whole, or not at all."""
        place = self._place(name)
        with contextlib.suppress(OSError):
            place.parent.mkdir(parents=True, exist_ok=True)
            handle, new = tempfile.mkstemp(prefix=".new-", dir=place.parent)
            try:
                with os.fdopen(handle, "wb") as out:
                    out.write(data)
                Path(new).replace(place)
            except OSError:
                Path(new).unlink(missing_ok=True)

    def _place(self, name: str) -> Path:
        return self.folder / name[:2] / name
