"""The copper graph as a value.

Nodes are integers. A node is a piece of metal without a site inside: a land on one layer, a junction of tracks, a pour, a pin's metal.
Sites are edges. Probe points sit on nodes. Wires (patch wires), part states and ring-through parts are laid over by ``worked.py``.

Site ids (stable while the copper files are; integer micrometres in copper coordinates):
``run@c:x1,y1>x2,y2`` (``#2`` for a second one between the same places), ``barrel@x,y:c-s``, ``joint@U1.8``, ``contact@U1.8``, ``leg@U1.8``,
``spoke@c:x,y``, ``wire@ENTRYID``, ``through@R5.1-2``, ``unknown@U1.8-U7.3``.
A run that a wire was lapped on in its middle is parted: ``run@s:0,0>9000,0|0-4000`` (micrometres along it, see ``laps.py``).
Point ids: ``U1.8/leg``, ``U1.8/contact``, ``U1.8/joint-c``, ``U1.8/joint-s``, ``U1.8/hole``, ``via@x,y/c``, ``land@x,y/s``, ``track@x,y/s`` (bared, a wire ends there).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from coppermend.core.board.conditions import ROOM_C, SPREAD
from coppermend.core.board.model import PartState
from coppermend.core.findings import Finding


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
    UNKNOWN = "unknown"
    """Copper that ties two pins of a net and that nobody has seen: a board from a pin list (see ``unknown.py``)."""


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
    """leg, contact, joint, hole, via, land, track (bared for a wire)."""
    reachable: bool = True
    why_not: str = ""
    needs: tuple[tuple[str, PartState], ...] = ()
    """Part states this point needs to exist or to be reached."""


@dataclass(frozen=True, slots=True)
class PinPlace:
    """Where one pin sits on the copper: what ``worked.py`` needs to lay another part state over the base graph.

    ``lands``: (layer key, node) of the lands the pin can be soldered to, c before s. ``hole``: it is a through-hole pin.
    ``side``: the side its part sits on. ``leg_hidden`` and ``joint_hidden``: words why its leg, and its joint on the part's own side,
    cannot be touched while the part is fitted ("" where they can). ``masked``: sides ("c", "s", "cs") where the mask covers the bare land.
    """

    part: str
    number: str
    net: int
    x_mm: float
    y_mm: float
    hole: bool
    side: str
    lands: tuple[tuple[str, int], ...]
    leg_hidden: str = ""
    joint_hidden: str = ""
    masked: str = ""

    @property
    def name(self) -> str:
        """The pin as written everywhere: ``U1.8``."""
        return f"{self.part}.{self.number}"

    def land(self, layer: str) -> int | None:
        """The node of its land on that layer, None where it has none."""
        for key, node in self.lands:
            if key == layer:
                return node
        return None


@dataclass(frozen=True, slots=True)
class Sheet:
    """A pour or plane: one conductor for continuity. ``rings`` its outline as polygons, each a shell followed by its holes, ((x_mm, y_mm), ...)."""

    node: int
    layer: str
    rings: tuple[tuple[tuple[tuple[float, float], ...], ...], ...]
    sheet_ohm: float


@dataclass(frozen=True, slots=True)
class Through:
    """A low-ohm part that is rung through, between two of its pins."""

    part: str
    pin_a: str
    pin_b: str
    ohm: float


@dataclass(frozen=True, slots=True)
class CopperGraph:
    """The copper of one board under given part states.

    ``net_names[i]``; nodes are 0 .. node_count-1; ``node_net``, ``node_place`` (x_mm, y_mm, layer key) and ``node_kind`` per node
    (land, junction, sheet, pin, socket, end). ``pins``, ``sheets``, ``through`` feed the overlays and the resistance model; ``findings`` say what was assumed.
    ``memo`` holds derived indexes (built on first use); it is no part of the value.
    """

    package_id: str
    net_names: tuple[str, ...]
    node_net: tuple[int, ...]
    node_place: tuple[tuple[float, float, str], ...]
    node_kind: tuple[str, ...]
    sites: tuple[Site, ...]
    points: tuple[ProbePoint, ...]
    part_states: tuple[tuple[str, PartState], ...]
    pins: tuple[PinPlace, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    through: tuple[Through, ...] = ()
    built_states: tuple[tuple[str, PartState], ...] = ()
    findings: tuple[Finding, ...] = ()
    copper_spread: float = SPREAD
    """How far the copper's thickness and width may lie from what the board states, as a share; it widens the band of resistances."""
    copper_c: float = ROOM_C
    """The temperature of the copper in degC at which the resistances hold."""
    memo: dict[str, Any] = field(default_factory=dict, compare=False, repr=False, hash=False)

    @property
    def node_count(self) -> int:
        """Number of nodes."""
        return len(self.node_net)

    def site(self, site_id: str) -> Site:
        """The site with that id; KeyError when there is none."""
        return self._by_id("sites", self.sites)[site_id]  # type: ignore[no-any-return]

    def point(self, point_id: str) -> ProbePoint:
        """The probe point with that id; KeyError when there is none."""
        return self._by_id("points", self.points)[point_id]  # type: ignore[no-any-return]

    def net_index(self, name: str) -> int:
        """The index of the net with that name; KeyError when there is none."""
        if "nets" not in self.memo:
            self.memo["nets"] = {n: i for i, n in reversed(list(enumerate(self.net_names)))}
        return int(self.memo["nets"][name])

    def _by_id(self, what: str, items: tuple[Any, ...]) -> Mapping[str, Any]:
        if what not in self.memo:
            self.memo[what] = {item.id: item for item in items}
        found: Mapping[str, Any] = self.memo[what]
        return found
