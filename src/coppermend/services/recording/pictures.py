"""Copies of a case's photos for the record: upright, no larger than a page needs, without what a camera writes into them (place, device)."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps

from coppermend.core.findings import Refusal
from coppermend.services.photos import MEDIA, look_at

LARGEST_PX = 1600
QUALITY = 85


@dataclass(frozen=True, slots=True)
class ShownCopy:
    """A JPEG copy with its size in pixels."""

    jpeg: bytes
    width_px: int
    height_px: int


def shown_copy(data: bytes) -> ShownCopy | None:
    """A copy of a photo to show; None when it cannot be decoded. The photo itself stays as it is in the case."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            look_at(data)  # it can come from another bench: its size before its pixels
            image = ImageOps.exif_transpose(Image.open(io.BytesIO(data), formats=list(MEDIA)))
            image.thumbnail((LARGEST_PX, LARGEST_PX))
            flat = Image.new("RGB", image.size, (255, 255, 255))
            layer = image.convert("RGBA")
            flat.paste(layer, mask=layer.getchannel("A"))
    except (Refusal, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None
    file = io.BytesIO()
    flat.save(file, "JPEG", quality=QUALITY)
    return ShownCopy(file.getvalue(), *flat.size)
