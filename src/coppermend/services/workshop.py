"""The workshop: the ports bundled as one value, handed to every use case."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from coppermend.services.ports import BoardShelf, CaseStore, Clock, Ids

if TYPE_CHECKING:
    from coppermend.services.bind import Binding
    from coppermend.services.building import BuildingShelf
    from coppermend.services.drawing import Drawings
    from coppermend.services.field_pack import FieldKeep
    from coppermend.services.packages import PackageSource


@dataclass(frozen=True, slots=True)
class Workshop:
    """Everything a use case may reach. ``author`` who works here, written into each entry. ``bindings`` what was computed, by case (see bind.py)."""

    store: CaseStore
    shelf: BoardShelf
    clock: Clock
    ids: Ids
    author: str = ""
    bindings: dict[str, Binding] = field(default_factory=dict)
    files: PackageSource | None = None
    """Reads packages again where a use case needs a file of one (photos); None where there is no disk."""
    building: BuildingShelf | None = None
    """The shelf again, where boards are built in the background (a server); None where the asker waits."""
    fields: FieldKeep | None = None
    """Where the fault sets of boards under power are kept from one command to the next; None: they are reckoned anew."""
    drawings: Drawings | None = None
    """Where the drawing data of built boards are kept, for the first picture after a start; None: they are made of the board."""
