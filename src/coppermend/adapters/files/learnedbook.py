"""The book of what past cases taught: one file beside the store, which may be deleted; gathering makes it anew (rows from elsewhere are gone then)."""

from __future__ import annotations

import json
import threading
from pathlib import Path
from typing import Any

from coppermend.adapters.files.beside import read_beside, write_beside
from coppermend.core.findings import Place, Refusal, refuse
from coppermend.formats.learned import row_as_dict, row_from_dict
from coppermend.services.learning import Learned, Looked
from coppermend.services.numbers import check_numbers

VERSION = 1


class FileLearned:
    """A LearnedBook in a file; read anew when it changed."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self._door = threading.Lock()
        self._text: str | None = None
        self._held = Learned()

    def read(self) -> Learned:
        """What it holds; an empty book where there is none. Refusals FIL-012, LRN-002."""
        with self._door:
            text = read_beside(self.file)
            if text != self._text:
                self._held, self._text = _read(text, self.file), text
            return self._held

    def put(self, learned: Learned) -> None:
        """Keep this, whole. Refusal FIL-013."""
        with self._door:
            write_beside(self.file, json.dumps(_plain(learned), ensure_ascii=False))
            self._text = None


def _plain(learned: Learned) -> dict[str, Any]:
    own = {
        case: {"mark": one.mark, "row": row_as_dict(one.row) if one.row else None, "why_not": one.why_not}
        for case, one in learned.own.items()
    }
    taken = [row_as_dict(one) for one in learned.taken]
    return {"version": VERSION, "on": learned.on, "own": own, "taken": taken, "costs": learned.costs}


def _read(text: str, file: Path) -> Learned:
    if not text:
        return Learned()
    try:
        value = json.loads(text)
        if value["version"] != VERSION or not isinstance(value["on"], bool):
            raise ValueError("version")
        own = {str(case): _looked(one) for case, one in value["own"].items()}
        costs = value["costs"]
        if costs is not None:
            check_numbers("costs", costs)
        return Learned(value["on"], own, tuple(row_from_dict(one) for one in value["taken"]), costs)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, Refusal) as err:
        raise refuse(
            "LRN-002",
            f"The book of what was learned cannot be read ({type(err).__name__}).",
            "Delete it and gather again: coppermend learn gather; take in again what came from elsewhere.",
            Place(file=str(file)),
        ) from None


def _looked(value: dict[str, Any]) -> Looked:
    row = value["row"]
    return Looked(str(value["mark"]), None if row is None else row_from_dict(row), str(value["why_not"]))
