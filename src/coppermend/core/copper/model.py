"""The copper graph as a value.

Nodes are integers. A node is a piece of metal without a site inside: a land on one layer, a junction of tracks, a pour, a pin's metal.
Sites are edges. Probe points sit on nodes. Wires (patch wires), part states and ring-through parts are laid over by ``worked.py``.

Site ids (stable while the copper files are; integer micrometres in copper coordinates):
``run@c:x1,y1>x2,y2`` (``#2`` for a second one between the same places), ``barrel@x,y:c-s``, ``joint@U1.8``, ``contact@U1.8``, ``leg@U1.8``,
``spoke@c:x,y``, ``wire@ENTRYID``, ``through@R5.1-2``.
Point ids: ``U1.8/leg``, ``U1.8/contact``, ``U1.8/joint-c``, ``U1.8/joint-s``, ``U1.8/hole``, ``via@x,y/c``, ``land@x,y/s``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from coppermend.core.board.model import PartState


class SiteKind(StrEnum):
    """What kind of place can fail."""

    RUN = "run"
    BARREL = "barrel"
    JOINT = "joint"
    CONTACT = "contact"
    LEG = "leg"
    SPOKE = "spoke"
    WIRE = "wire"
    THROUGH = "through"
    """A low-ohm part that a technician rings through: joins two nets by its value; never copper proof."""


@dataclass(frozen=True, slots=True)
class Site:
    """One place where a connection can fail. ``path``: ((x_mm, y_mm), ...) along the copper; ``widths_mm`` one per segment of the path."""

    id: str
    kind: SiteKind
    net: int
    a: int
    b: int
    layer: str
    path: tuple[tuple[float, float], ...]
    widths_mm: tuple[float, ...]
    length_mm: float
    width_mm: float
    """Narrowest width (run), drill diameter (barrel), 0 where it has no meaning."""
    resistance_ohm: float
    part: str = ""
    pin: str = ""
    words: str = ""
    """The site as a person says it: "the track from U9.4 to the via at 31.2, 40.0 mm, solder side"."""


@dataclass(frozen=True, slots=True)
class ProbePoint:
    """A place where a tip can touch. ``side`` c or s. ``reachable`` with the part states of this graph; ``why_not`` says why it is not."""

    id: str
    node: int
    net: int
    x_mm: float
    y_mm: float
    side: str
    part: str = ""
    pin: str = ""
    kind: str = "leg"
    """leg, contact, joint, hole, via, land."""
    reachable: bool = True
    why_not: str = ""
    needs: tuple[tuple[str, PartState], ...] = ()
    """Part states this point needs to exist or to be reached."""


@dataclass(frozen=True, slots=True)
class CopperGraph:
    """The copper of one board under given part states. ``net_names[i]``; nodes are 0 .. node_count-1; ``node_net``, ``node_place`` (x_mm, y_mm, layer key) and ``node_kind`` per node.

    ``node_kind``: land, junction, sheet, pin, socket, end.
    """

    package_id: str
    net_names: tuple[str, ...]
    node_net: tuple[int, ...]
    node_place: tuple[tuple[float, float, str], ...]
    node_kind: tuple[str, ...]
    sites: tuple[Site, ...]
    points: tuple[ProbePoint, ...]
    part_states: tuple[tuple[str, PartState], ...]

    @property
    def node_count(self) -> int:
        """Number of nodes."""
        return len(self.node_net)
