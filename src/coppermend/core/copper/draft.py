"""The graph while it is built: what its steps hand to each other."""

from __future__ import annotations

from dataclasses import dataclass, field

from coppermend.core.board.model import Board, CopperLayer
from coppermend.core.copper.blobs import LayerParts
from coppermend.core.copper.model import PinPlace, ProbePoint, Site
from coppermend.core.copper.places import Places
from coppermend.core.copper.topology import LayerTopology


@dataclass(slots=True)
class DraftLayer:
    """One layer's parts and topology with the number of its first node."""

    copper: CopperLayer
    parts: LayerParts
    topology: LayerTopology
    first: int
    sheet_ohm: float

    def node_of_hole(self, hole: int) -> int | None:
        blob = self.parts.hole_blob.get(hole)
        return None if blob is None else self.first + self.topology.blob_node[blob]


@dataclass(slots=True)
class Draft:
    """The graph while it is built."""

    board: Board
    places: Places
    layers: list[DraftLayer] = field(default_factory=list)
    node_net: list[int] = field(default_factory=list)
    node_place: list[tuple[float, float, str]] = field(default_factory=list)
    node_kind: list[str] = field(default_factory=list)
    sites: list[Site] = field(default_factory=list)
    points: list[ProbePoint] = field(default_factory=list)
    pins: list[PinPlace] = field(default_factory=list)
    node_words: dict[int, str] = field(default_factory=dict)
