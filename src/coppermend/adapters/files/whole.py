"""A file written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def put_whole(path: Path, data: bytes) -> None:
    """Write a file beside its place, for its owner only, sync it, and give it its name. Raises OSError; what stood there before then still does."""
    handle, name = tempfile.mkstemp(prefix=".new-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
