"""Gerber (RS-274X, X2) to objects in mm.

``read_gerber(data: bytes, name: str, hairlines: bool = False) -> GerberImage``: columns of objects in drawing order: ``shapes`` (ShapeSet), ``kind``
(DRAW, ARC, FLASH, REGION), ``dark``, ``at_mm``, ``aperture``, ``attribute`` -> ``attributes`` (ObjectAttributes: nets, part, pin,
pin_function, function), plus ``file_attributes``, ``inverted``, ``comments``, ``findings``. Raises Refusal (GBR-...).
"""

from coppermend.formats.gerber.model import (
    ARC,
    CHORD_ERROR_MM,
    DRAW,
    FLASH,
    KINDS,
    REGION,
    GerberImage,
    ObjectAttributes,
)
from coppermend.formats.gerber.reader import read_gerber

__all__ = [
    "ARC",
    "CHORD_ERROR_MM",
    "DRAW",
    "FLASH",
    "KINDS",
    "REGION",
    "GerberImage",
    "ObjectAttributes",
    "read_gerber",
]
