"""What a Gerber file says, as a value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.model import ObjectKind
from coppermend.core.findings import Finding
from coppermend.core.geometry.arcs import CHORD_ERROR_MM
from coppermend.core.geometry.shapes import ShapeSet

DRAW, ARC, FLASH, REGION = 0, 1, 2, 3
__all__ = ["ARC", "CHORD_ERROR_MM", "DRAW", "FLASH", "KINDS", "REGION", "GerberImage", "ObjectAttributes"]

KINDS = (ObjectKind.DRAW, ObjectKind.ARC, ObjectKind.FLASH, ObjectKind.REGION)
"""The kind column's codes 0 to 3 as ObjectKind."""


@dataclass(frozen=True, slots=True)
class ObjectAttributes:
    """X2 attributes of an object. ``nets`` of .N ("N/C" as it stands), ``part``, ``pin``, ``pin_function`` of .P and .C.

    ``function`` is the aperture's .AperFunction with its fields joined by commas; ``extra`` every other object or aperture attribute.
    """

    nets: tuple[str, ...] = ()
    part: str = ""
    pin: str = ""
    pin_function: str = ""
    function: str = ""
    extra: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class GerberImage:
    """A Gerber file's objects in drawing order, ``n`` of them, in mm.

    ``shapes``      (n) skeleton + radius, exact but for arcs (see CHORD_ERROR_MM)
    ``kind``        (n,) uint8: DRAW, ARC, FLASH, REGION (one object per contour)
    ``dark``        (n,) bool: False takes copper away from everything before it
    ``at_mm``       (n, 2) flash position, or first point
    ``aperture``    (n,) int32 D code, -1 for regions
    ``attribute``   (n,) int32 index into ``attributes``
    ``inverted``    the file said IPNEG: start from a filled area (``dark`` is already turned round)
    ``file_attributes``  X2 file attributes by name with the leading dot, e.g. ``{".FileFunction": ("Copper", "L1", "Top")}``
    """

    name: str
    shapes: ShapeSet
    kind: NDArray[np.uint8]
    dark: NDArray[np.bool_]
    at_mm: NDArray[np.float64]
    aperture: NDArray[np.int32]
    attribute: NDArray[np.int32]
    attributes: tuple[ObjectAttributes, ...]
    inverted: bool
    file_attributes: Mapping[str, tuple[str, ...]]
    comments: tuple[str, ...]
    findings: tuple[Finding, ...]
    film_mm: tuple[float, float] = (0.0, 0.0)
    """What the old IJ and IO moved the image by (it lies there already): the place of its film, which other files of a package may not share."""

    def __len__(self) -> int:
        return len(self.kind)
