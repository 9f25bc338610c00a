"""What the readers of fabrication data hand to the board builder: plain records, before anything is joined.

The readers (``coppermend.formats``) make these; ``core.board.build`` joins them. Lengths in mm, in each file's own coordinates.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.findings import Finding
from coppermend.core.geometry.shapes import ShapeSet


@dataclass(frozen=True, slots=True)
class ObjectAttributes:
    """X2 attributes of a graphical object; "" where not stated. ``pin_function`` is the third field of .P, ``value`` .CVal, ``footprint`` .CFtp."""

    aperture_function: str = ""
    net: str = ""
    part: str = ""
    pin: str = ""
    pin_function: str = ""
    value: str = ""
    footprint: str = ""


@dataclass(frozen=True, slots=True)
class GerberImage:
    """One Gerber file: ``n`` objects in drawing order.

    ``kind`` (n,) draw, arc, flash, region; ``dark`` (n,) polarity; ``shapes`` skeleton and radius; ``attribute`` (n,) index into ``attributes``.
    ``file_attributes`` X2 TF values by name with the leading dot (``.FileFunction`` -> ("Copper", "L1", "Top")). ``negative`` from IPNEG or .FilePolarity.
    """

    name: str
    kind: NDArray[Any]
    dark: NDArray[np.bool_]
    shapes: ShapeSet
    attribute: NDArray[np.int32]
    attributes: tuple[ObjectAttributes, ...]
    file_attributes: Mapping[str, tuple[str, ...]]
    negative: bool
    findings: tuple[Finding, ...]
    tolerance_mm: float
    at_mm: NDArray[np.float64] | None = None
    """(n, 2) position of each flash (of other objects: their first point); None where the reader does not say."""
    film_mm: tuple[float, float] = (0.0, 0.0)
    """What old statements about its film moved the image by."""


@dataclass(frozen=True, slots=True)
class DrillImage:
    """One drill file: ``n`` hits. ``x2_mm, y2_mm`` equal to ``x_mm, y_mm`` for round holes, else the end of a slot's centre line.

    ``plated`` (n,) 1 plated, 0 not plated, -1 not stated. ``span`` copper layer numbers (1 based) it passes, None = all.
    """

    name: str
    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    x2_mm: NDArray[np.float64]
    y2_mm: NDArray[np.float64]
    diameter_mm: NDArray[np.float64]
    plated: NDArray[np.int8]
    span: tuple[int, int] | None
    findings: tuple[Finding, ...]
    extra: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NetlistRecord:
    """One test record of a netlist. ``part`` "VIA" for vias. ``access`` layer numbers as written: 0 both sides, 1 component side, 2.. inner, last solder side."""

    net: str
    part: str
    pin: str
    midpoint: bool
    hole_mm: float | None
    plated: bool | None
    access: int
    x_mm: float
    y_mm: float
    size_x_mm: float
    size_y_mm: float
    rotation_deg: float
    mask: int
    line: int


@dataclass(frozen=True, slots=True)
class Netlist:
    """One netlist file: its records, the nets' full names where aliases were given (already applied in ``records``), and findings.

    ``own``: it stands in the file that the copper comes from, so that its places need no search for a shift.
    ``counted``: its layers of access are the board's layer numbers for certain, and only access 0 is a hole through all layers.
    ``holes_known`` False: it does not say which pins are drilled (a pin list with places); the hole at a pin's place is looked at instead.
    """

    name: str
    records: tuple[NetlistRecord, ...]
    findings: tuple[Finding, ...]
    boards: int = 1
    own: bool = False
    holes_known: bool = True
    counted: bool = False


@dataclass(frozen=True, slots=True)
class LayerRole:
    """What a file of the package is. ``kind`` copper, mask, paste, silk, outline, drill, netlist, job, side, other.

    ``side`` c or s (mask, paste, silk, outer copper), ``order`` of a copper layer counted from the component side (1 based), ``from_`` how it was found:
    corrections, x2, job, name, content. ``negative`` polarity.
    """

    file: str
    kind: str
    side: str = ""
    order: int = 0
    negative: bool = False
    from_: str = ""
    plated: bool | None = None
