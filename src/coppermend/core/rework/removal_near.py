"""What stands beside a part and what lies under it: things that heat harms, tracks that a tool would cut."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from coppermend.core.board.model import Board, Part, PartState
from coppermend.core.copper.model import CopperGraph, Site, SiteKind

SHIELD_MM = 12.0
"""Parts whose body comes this near to the pins are looked at. Common practice, no source."""

_MICRO = re.compile(r"(\d+(?:[.,]\d+)?)\s*(u|µ|μ)(\d*)", re.IGNORECASE)
_CELL = re.compile(r"\b(ni-?cd|ni-?mh|li(thium)?|cr\d{4}|cell|battery)\b", re.IGNORECASE)
_WET = re.compile(r"radial|elko|electrolytic|polari[sz]ed|tantal|\bcp", re.IGNORECASE)
_TANTALUM = re.compile(r"tantal|\btan?t?\b", re.IGNORECASE)
_SUPER = re.compile(r"super ?-?cap|ultra ?-?cap|gold ?-?cap|double.?layer|\bedlc\b", re.IGNORECASE)
_FARAD = re.compile(r"(?<![\w.,])(\d+(?:[.,]\d+)?)\s*F\b")
SUPER_F = 0.01
"""A capacitor of so many farads for a few volts is a double-layer one. Common practice, no source."""
ELECTROLYTIC_UF = 1.0
"""Capacitors from here on are taken for electrolytics. Common practice, no source."""

PLASTIC = {
    "J": "a connector",
    "P": "a connector",
    "CN": "a connector",
    "CON": "a connector",
    "SL": "a slot",
    "JP": "a jumper",
    "SW": "a switch",
    "S": "a switch",
    "RV": "a trimmer",
    "VR": "a trimmer",
    "RL": "a relay",
    "K": "a relay or connector",
    "SK": "a socket",
    "XU": "a socket",
}
OTHER = {
    "Y": "a crystal",
    "XTAL": "a crystal",
    "LED": "a light emitting diode",
    "LS": "a loudspeaker",
    "BZ": "a buzzer",
    "DS": "a display",
}


@dataclass(frozen=True, slots=True)
class Beside:
    """A part to shield: ``gap_mm`` from the nearest pin of the part that comes out to its body, ``what`` it is, and what to ``do``."""

    part: str
    gap_mm: float
    what: str
    do: str

    def as_dict(self) -> dict[str, object]:
        """The neighbour as plain JSON values."""
        return {"part": self.part, "gap_mm": round(self.gap_mm, 1), "what": self.what, "do": self.do}


@dataclass(frozen=True, slots=True)
class Under:
    """Copper under the part's body on its own side: a site, its net, ``mm`` of it that lie under the body."""

    site: str
    net: str
    mm: float
    words: str

    def as_dict(self) -> dict[str, object]:
        """The copper as plain JSON values."""
        return {"site": self.site, "net": self.net, "mm": round(self.mm, 2), "words": self.words}


def to_shield(board: Board, part: Part, reach_mm: float = SHIELD_MM) -> tuple[Beside, ...]:
    """The parts within reach of the part's pins that heat harms, batteries first, then by distance."""
    pins = shapely.MultiPoint([(pin.x_mm, pin.y_mm) for pin in part.pins])
    found = []
    for other in board.parts:
        if other.ref == part.ref or other.state in (PartState.OUT, PartState.NOT_FITTED):
            continue
        gap = float(shapely.distance(pins, _body(other)))
        kind = what_heat_harms(other)
        if gap <= reach_mm and kind is not None:
            found.append(Beside(other.ref, gap, *kind))
    return tuple(sorted(found, key=lambda one: ("cell" not in one.what, one.gap_mm, one.part)))


def what_heat_harms(part: Part) -> tuple[str, str] | None:
    """What a part is and what to do about it when heat comes near; None for parts that stand it.

    >>> what_heat_harms(Part("C2", "c", np.empty((0, 2)), "", (), "22u 16V"))[0]
    'an electrolytic capacitor'
    """
    letters = re.match(r"[A-Za-z]+", part.ref)
    prefix = letters.group(0).upper() if letters else ""
    if prefix in ("BT", "BAT", "B") or _CELL.search(part.value):
        return "a cell or battery", "take it out before you heat anything: a cell that gets hot can burst or leak"
    if is_super(part):
        return (
            "a supercapacitor",
            "take it out, or shield it from hot air: it is marked 70 or 85 degC, vents when hot, and holds its charge for days",
        )
    if prefix == "C" and is_tantalum(part):
        return (
            "a tantalum capacitor",
            "keep hot air off it; it does not dry out, but one that was cracked by heat shorts its rail and can burn at power",
        )
    if prefix == "C" and (_WET.search(part.package) or microfarad(part.value) >= ELECTROLYTIC_UF):
        return "an electrolytic capacitor", "shield it from hot air, or take it out: it dries out and may burst"
    if part.state is PartState.SOCKETED:
        return "a plastic socket", "shield it from hot air, and take the chip out of it first"
    if prefix in PLASTIC:
        return (
            f"plastic: {PLASTIC[prefix]}",
            "shield it with foil or polyimide tape; plastic softens below solder's melting point",
        )
    if prefix in OTHER:
        return OTHER[prefix], "keep hot air off it"
    return None


def is_super(part: Part) -> bool:
    """Whether a part is a supercapacitor (double layer), by its value's words or farads.

    >>> [is_super(Part(r, "c", np.empty((0, 2)), "", (), v)) for r, v in (("SC1", "0.1F 5.5V"), ("C1", "0.1uF"), ("C2", "gold cap"), ("F1", "2 F"))]
    [True, False, True, False]
    """
    letters = re.match(r"[A-Za-z]+", part.ref)
    if _SUPER.search(f"{part.value} {part.package}"):
        return True
    found = _FARAD.search(part.value)
    capacitor = letters is not None and letters.group(0).upper() in ("C", "SC", "EC", "GC")
    return capacitor and found is not None and float(found[1].replace(",", ".")) >= SUPER_F


def is_tantalum(part: Part) -> bool:
    """Whether the value or package of a part says tantalum.

    >>> is_tantalum(Part("C7", "c", np.empty((0, 2)), "", (), "10u 16V tantalum")), is_tantalum(Part("C7", "c", np.empty((0, 2)), "", (), "10u 16V"))
    (True, False)
    """
    return bool(_TANTALUM.search(f"{part.value} {part.package}"))


def microfarad(value: str) -> float:
    """Microfarads that a parts list's value states, 0 where it states none.

    >>> microfarad("22u 16V"), microfarad("2u2"), microfarad("100n")
    (22.0, 2.2, 0.0)
    """
    found = _MICRO.search(value)
    if found is None:
        return 0.0
    whole, _, rest = found.groups()
    return float(f"{whole}.{rest}" if rest and "." not in whole else whole.replace(",", "."))


def _body(part: Part) -> Any:
    """A part's body: its outline, else its pins."""
    if len(part.outline) >= 3:
        shape = shapely.Polygon(part.outline)
        return shape if shape.is_valid else shapely.make_valid(shape)
    return shapely.MultiPoint([(pin.x_mm, pin.y_mm) for pin in part.pins])


def body_of(part: Part) -> Any:
    """The ground that a part covers: its outline together with the hull of its pins."""
    pins = shapely.MultiPoint([(pin.x_mm, pin.y_mm) for pin in part.pins]).convex_hull
    return shapely.union_all([shapely.convex_hull(_body(part)), pins])


def lies_under(graph: CopperGraph, part: Part) -> tuple[Under, ...]:
    """Tracks on the part's own side that run under its body, longest first: a blade or a scraping tool would cut them."""
    body = body_of(part)
    if body.area <= 0:
        return ()
    runs = list(_runs_on(graph, part.side))
    if not runs:
        return ()
    lines = np.array([shapely.LineString(site.path) for site in runs], dtype=object)
    mm = shapely.length(shapely.intersection(lines, body))
    found = [
        Under(site.id, graph.net_names[site.net], float(length), site.words or site.id)
        for site, length in zip(runs, mm, strict=True)
        if length > 0.2
    ]
    return tuple(sorted(found, key=lambda one: (-one.mm, one.site)))


def _runs_on(graph: CopperGraph, side: str) -> Iterable[Site]:
    return (s for s in graph.sites if s.kind is SiteKind.RUN and s.layer == side and len(s.path) >= 2)
