"""The drawing data of a case's board, for its first picture: from memory, else kept since the board was built, else made of the board.

What was kept is had in a fraction of the time that board and copper graph take to be read, and these are begun meanwhile. It is kept under the board's
own key, so that other files, other corrections or other code never find it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coppermend.core.board.model import Board
from coppermend.core.findings import Refusal
from coppermend.services.bind import bind
from coppermend.services.cases import case_state
from coppermend.services.packages import Package, cache_key, package_id
from coppermend.services.scene_pack import scene_pack
from coppermend.services.workshop import Workshop

if TYPE_CHECKING:
    from coppermend.services.field_pack import FieldKeep

KIND = "drawing"


@dataclass(frozen=True, slots=True)
class Drawings:
    """Where drawing data are kept beside the built boards: ``read`` gives a package's files as they are now, ``keep`` holds what is kept by key and kind."""

    read: Callable[[str], Package]
    keep: FieldKeep

    def find(self, package: str, wanted: str) -> bytes | None:
        """What is kept for a package as its files are now; None where it cannot be read, its id is not the one ``wanted``, or nothing is kept."""
        try:
            found = self.read(package)
        except Refusal:
            return None
        blob = self.keep.load_blob(cache_key(found), KIND) if package_id(found.members) == wanted else None
        return None if blob is None else blob[0]["bytes"].tobytes()


def drawing_of(workshop: Workshop, case: str) -> bytes:
    """The drawing data (layout: see ``scene_pack``). Refusal CAS-004 when the board cannot be had."""
    state = case_state(workshop, case)
    if workshop.drawings is not None and workshop.shelf.known(state.package_id) is None:
        kept = workshop.drawings.find(state.package, state.package_id)
        if kept is not None:
            if workshop.building is not None:
                workshop.building.begin(state.package)
            return kept
    binding = bind(workshop, case)
    memo = binding.base.memo
    if "drawing data" not in memo:
        memo["drawing data"] = scene_pack(binding.board)
    data: bytes = memo["drawing data"]
    return data


def keep_drawing(board: Board, keep: FieldKeep) -> None:
    """Keep the drawing data of a board that was just built."""
    data = np.frombuffer(scene_pack(board), dtype=np.uint8)
    keep.save_blob(str(board.extra["key"]), KIND, {"bytes": data}, {})
