"""Small pictures of photos: made when first asked for, kept beside by the photo's hash; the photo itself is never touched."""

from __future__ import annotations

import io
import threading
from typing import Protocol

from PIL import Image, ImageOps

from coppermend.core.findings import Place, refuse
from coppermend.services.photos import MEDIA, look_at

EDGES_PX = (160, 320, 640)
"""Longest edges that are made."""
QUALITY = 82
_ONE_AT_A_TIME = threading.Lock()
"""A large picture takes hundreds of MiB while it is read."""


class Thumbs(Protocol):
    """Where small pictures are kept; what is lost is made again."""

    def get(self, name: str) -> bytes | None:
        """The bytes kept under a name; None when there are none."""

    def put(self, name: str, data: bytes) -> None:
        """Keep them, if it can be done."""


class MemoryThumbs:
    """Keeps the last hundred."""

    def __init__(self) -> None:
        self._kept: dict[str, bytes] = {}

    def get(self, name: str) -> bytes | None:
        """The bytes kept under a name."""
        return self._kept.get(name)

    def put(self, name: str, data: bytes) -> None:
        """Keep them."""
        self._kept[name] = data
        for old in list(self._kept)[:-100]:
            del self._kept[old]


def thumbnail(data: bytes, sha256: str, edge_px: int, kept: Thumbs) -> bytes:
    """A photo as a small JPEG, upright as its camera says (EXIF orientation), nothing else of its EXIF in it; no larger than the photo.

    Refusal PHO-006 when the picture cannot be drawn, PHO-001 and PHO-002 as for a photo that is attached.
    """
    name = f"{sha256}-{edge_px}.jpg"
    found = kept.get(name)
    if found is None:
        with _ONE_AT_A_TIME:
            found = small(data, edge_px)
        kept.put(name, found)
    return found


def small(data: bytes, edge_px: int) -> bytes:
    """The same picture as a JPEG whose longer edge has at most ``edge_px`` pixels; the same bytes give the same bytes."""
    look_at(data)
    try:
        with Image.open(io.BytesIO(data), formats=list(MEDIA)) as picture:
            picture.draft("RGB", (edge_px, edge_px))  # a JPEG is read at a fraction of its size
            picture.thumbnail((edge_px, edge_px), Image.Resampling.LANCZOS)
            upright = ImageOps.exif_transpose(picture)
            out = io.BytesIO()
            _on_white(upright).save(out, "JPEG", quality=QUALITY)
    except (OSError, ValueError, SyntaxError, MemoryError, EOFError, Image.DecompressionBombError) as err:
        raise refuse(
            "PHO-006",
            f"The picture cannot be drawn small ({type(err).__name__}): its file is damaged.",
            "Open the photo itself, or attach it again; its bytes are kept as they came.",
            Place(),
        ) from None
    return out.getvalue()


def _on_white(picture: Image.Image) -> Image.Image:
    """Without transparency, on white."""
    if picture.mode in ("RGBA", "LA", "P", "PA"):
        shown = picture.convert("RGBA")
        paper = Image.new("RGB", shown.size, "white")
        paper.paste(shown, mask=shown.getchannel("A"))
        return paper
    return picture.convert("RGB")
