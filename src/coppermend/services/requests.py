"""What somebody wants noted, before anything is resolved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coppermend.core.log.canonical import Json
from coppermend.core.log.kinds import KINDS

UNIT = {"ohms": "ohm", "diode": "volt", "volts": "volt", "heat": "celsius", "hertz": "hertz"}
"""Kinds that carry a value, and its unit."""

TIPS = {
    "closed": (2, 2),
    "open": (2, 2),
    "ohms": (2, 2),
    "diode": (2, 2),
    "volts": (1, 2),
    "level": (1, 1),
    "hertz": (1, 1),
    "skip": (1, 2),
    "map": (0, 2),
    "patch": (2, 2),
    "cut": (0, 2),
    "solder": (1, 8),
    "wave": (1, 8),
}
"""How many points each kind takes."""

PART_KINDS = ("reseat", "remove", "fit", "swap", "piggyback", "state")
PLACE_KINDS = ("look", "clean", "press", "tap", "heat")
OWN_COMMANDS = (
    "intake",
    "supply",
    "chip",
    "chipcheck",
    "starts",
    "freerun",
    "diagnostic",
    "schematic",
    "waits",
    "waited",
)
"""Kinds that have commands of their own."""
NOTE_KINDS = tuple(
    kind
    for kind in KINDS
    if kind not in OWN_COMMANDS
    and kind not in ("case", "board", "area", "photo", "lay", "care", "basis", "practice", "memory", "rom")
)
"""Kinds that ``note`` writes."""


@dataclass(frozen=True, slots=True)
class Request:
    """What somebody wants noted, as the page or a command hands it in: nothing is resolved yet.

    ``points`` as people name them; ``value`` with its unit ("4.7k"); ``part`` for acts on parts; ``words`` free; ``fields`` further payload
    fields of the kind (see core/log/kinds.py); ``raw`` what an instrument sent, where ``value`` was worked out from it; ``undoes`` the entry to take back
    ("" the last one). ``entry_id`` of an earlier try makes a retry harmless.
    """

    kind: str
    points: tuple[str, ...] = ()
    value: str = ""
    part: str = ""
    words: str = ""
    fields: Mapping[str, Json] = field(default_factory=dict)
    instrument: str = "typed"
    raw: str = ""
    undoes: str = ""
    entry_id: str | None = None
    observed_at: str | None = None
