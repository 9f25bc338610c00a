"""A short name for the code that builds boards and graphs: part of the cache's file names, so that changed code never reads what older code kept."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import coppermend

BUILDING = ("core/geometry", "core/board", "core/copper", "formats", "services")
"""The folders of the package whose code decides what a board or graph is."""
PREDICTING = ("core/belief/suspects", "core/circuit", "devices")
"""The folders whose code decides, from a circuit on its copper, what every fault set predicts."""


@cache
def code_digest() -> str:
    """First 12 hex digits of the SHA-256 over the building code; the package's version where its files cannot be read."""
    return _digest(BUILDING)


@cache
def predicting_digest() -> str:
    """First 12 hex digits of the SHA-256 over the code that predicts under power; the package's version where its files cannot be read."""
    return _digest(PREDICTING)


def _digest(folders: tuple[str, ...]) -> str:
    root = Path(coppermend.__file__).resolve().parent
    digest = hashlib.sha256(coppermend.__version__.encode())
    try:
        for folder in folders:
            files = sorted((root / folder).rglob("*.py"))
            for path in files:
                digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    except OSError:
        return coppermend.__version__
    return digest.hexdigest()[:12]
