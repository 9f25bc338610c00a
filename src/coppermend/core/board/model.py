"""The fabricated board as a value. Built once from a package, never changed; everything a bench does is laid over it later.

Layer keys: ``c`` component side, ``s`` solder side, ``i1``, ``i2`` ... inner layers counted from the component side.
Coordinates: those of the copper files, mm, before any shift, x to the right and y up, seen from the component side.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.findings import Finding
from coppermend.core.geometry.shapes import ShapeSet


class PartState(StrEnum):
    """What can be touched at a part and what a reading proves there."""

    SOLDERED = "soldered"
    SOCKETED = "socketed"
    OUT = "out"
    NOT_FITTED = "not fitted"
    REPLACED = "replaced"


class ObjectKind(StrEnum):
    """How a piece of copper was drawn."""

    DRAW = "draw"
    ARC = "arc"
    FLASH = "flash"
    REGION = "region"


@dataclass(frozen=True, slots=True)
class CopperLayer:
    """The copper of one layer after clear polarity was taken away: ``n`` pieces, each wholly of one island.

    ``shapes`` the pieces; ``kind`` (n,) of ObjectKind values; ``island`` (n,) index into Board.nets;
    ``pin`` (n,) "REF.PIN" stated by an X2 .P attribute or "" ; ``stated_net`` (n,) X2 .N or ""; ``function`` (n,) X2 .AperFunction or "".
    """

    key: str
    file: str
    shapes: ShapeSet
    kind: NDArray[Any]
    island: NDArray[np.int32]
    pin: NDArray[Any]
    stated_net: NDArray[Any]
    function: NDArray[Any]
    contacts: NDArray[np.int64] = field(default_factory=lambda: np.empty((0, 2), np.int64))
    """(k, 2) pairs i < j of pieces that touch, as the islands were found."""
    walls: NDArray[np.int64] = field(default_factory=lambda: np.empty((0, 2), np.int64))
    """(m, 2) pairs (index into Board.holes, piece) where the wall of a plated hole meets copper of this layer."""


@dataclass(frozen=True, slots=True)
class Hole:
    """A drilled hole or slot. ``x2_mm, y2_mm`` end of a slot's centre line (equal to x, y for a round hole). ``layers`` from c to s that it passes."""

    x_mm: float
    y_mm: float
    x2_mm: float
    y2_mm: float
    diameter_mm: float
    plated: bool
    layers: tuple[str, ...]
    island: int | None
    """Index into Board.nets of the copper it is joined to; None where it meets none or is not plated."""
    file: int = -1
    """Index into Board.drill_files of the file it stands in; -1 where it comes from none."""


@dataclass(frozen=True, slots=True)
class Pin:
    """One pin of a part. ``hole`` index into Board.holes (through-hole), else None and ``layers`` has one side. ``net`` index into Board.nets."""

    part: str
    number: str
    x_mm: float
    y_mm: float
    hole: int | None
    layers: tuple[str, ...]
    net: int | None
    function: str = ""

    @property
    def name(self) -> str:
        """The pin as written everywhere: ``U1.8``."""
        return f"{self.part}.{self.number}"


@dataclass(frozen=True, slots=True)
class Part:
    """A part: reference designator, the side it sits on, its outline (m, 2) in mm, and its pins in pin order.

    ``state`` the state as built (``socketed`` where a parts list says so). ``value`` e.g. "74LS00" or "33R" ("" unknown).
    ``through_ohm`` value for a part that a technician rings through (series resistor, ferrite, fuse, jumper): pairs of pin numbers with ohms.
    """

    ref: str
    side: str
    outline: NDArray[np.float64]
    outline_from: str
    pins: tuple[Pin, ...]
    value: str = ""
    package: str = ""
    state: PartState = PartState.SOLDERED
    through_ohm: tuple[tuple[str, str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Net:
    """One copper island: everything that copper and plated holes join. ``names``: all names stated for it by X2 or a netlist, best first."""

    index: int
    name: str
    names: tuple[str, ...]
    pins: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NetlistPoint:
    """A point that a netlist says belongs to a net, moved into copper coordinates."""

    net: str
    part: str
    pin: str
    x_mm: float
    y_mm: float
    layers: tuple[str, ...]
    source: str
    line: int
    island: int = -1
    """Index into Board.nets of the copper found at the point; -1 where none lies there."""


@dataclass(frozen=True, slots=True)
class Board:
    """A board as fabricated. ``outline`` polygon as (m, 2) mm (empty when none was found); ``size_mm`` of the copper and outline box."""

    package_id: str
    title: str
    layers: tuple[CopperLayer, ...]
    holes: tuple[Hole, ...]
    parts: tuple[Part, ...]
    nets: tuple[Net, ...]
    outline: tuple[NDArray[np.float64], ...]
    silk: tuple[tuple[str, ShapeSet], ...]
    """(side, shapes) of the silkscreen."""
    mask_openings: tuple[tuple[str, ShapeSet], ...]
    """(side, shapes) of the openings in the solder mask; a side that is missing here has no mask data: everything counts as open."""
    netlist_points: tuple[NetlistPoint, ...]
    origin_shift_mm: tuple[float, float]
    """Netlist coordinates + shift = copper coordinates."""
    thickness_mm: float
    copper_thickness_mm: tuple[tuple[str, float], ...]
    findings: tuple[Finding, ...]
    seconds: tuple[tuple[str, float], ...] = ()
    corrections: str = ""
    extra: dict[str, str] = field(default_factory=dict)
    drill_files: tuple[str, ...] = ()
    """Names of the files that the holes stand in."""

    def layer(self, key: str) -> CopperLayer:
        """The copper layer with that key; KeyError when the board has none."""
        for one in self.layers:
            if one.key == key:
                return one
        raise KeyError(key)

    def part(self, ref: str) -> Part:
        """The part with that reference designator; KeyError when there is none."""
        for one in self.parts:
            if one.ref == ref:
                return one
        raise KeyError(ref)
