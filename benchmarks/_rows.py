"""Rows of a job that can be stopped and gone on with: one JSON line a patient."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any


def kept_rows(path: Path | None, world: str) -> Iterator[dict[str, Any]]:
    """The rows that earlier runs left of one world; a last line cut short by a killed job is passed over."""
    if path is None or not path.exists():
        return
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            row = json.loads(line)
        except json.JSONDecodeError:
            continue
        if row["world"] == world:
            yield row


def keep_row(path: Path | None, row: dict[str, Any]) -> None:
    """Add a row as a line of its own, also after one that a killed job cut short."""
    if path is not None:
        with path.open("a", encoding="utf-8") as out:
            out.write("\n" + json.dumps(row) + "\n")
