"""Photos of the machine, kept by content hash; the entry says what they show."""

from __future__ import annotations

import io

from PIL import Image, UnidentifiedImageError

from coppermend.core.findings import Place, refuse
from coppermend.core.log.canonical import Json
from coppermend.services.cases import case_state
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.workshop import Workshop

LARGEST_BYTES = 32 * 1024 * 1024
LARGEST_PIXELS = 120_000_000
MEDIA = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp", "GIF": "image/gif"}


def attach_photo(
    workshop: Workshop,
    case: str,
    data: bytes,
    *,
    name: str = "",
    words: str = "",
    side: str = "",
    entry_id: str | None = None,
) -> Noted:
    """Keep a photo with a case, its bytes unchanged. Refuses what is no JPEG, PNG, WebP or GIF, and what is larger than 32 MiB or 120 megapixels."""
    case_state(workshop, case)
    media, width, height = look_at(data, name)
    sha256 = workshop.store.attach(data)
    payload: dict[str, Json] = {
        "sha256": sha256, "media": media, "bytes": len(data), "name": name, "words": words, "side": side, "width_px": width, "height_px": height,
    }  # fmt: skip
    return noted(write(workshop, case, "photo", payload, entry_id=entry_id))


def look_at(data: bytes, name: str = "") -> tuple[str, int, int]:
    """Media type, width and height in pixels of a picture; only its header is read, so that a picture bomb costs nothing."""
    place = Place(file=name or None)
    if len(data) > LARGEST_BYTES:
        raise refuse(
            "PHO-001",
            f"The file has {len(data) / 2**20:.0f} MiB, at most {LARGEST_BYTES // 2**20} are kept.",
            "Make the picture smaller.",
            place,
        )
    try:
        with Image.open(io.BytesIO(data), formats=list(MEDIA)) as picture:
            media, (width, height) = MEDIA[picture.format or ""], picture.size
    except (
        UnidentifiedImageError,
        OSError,
        ValueError,
        KeyError,
        SyntaxError,
        Image.DecompressionBombError,
        Image.DecompressionBombWarning,
    ) as err:
        raise refuse(
            "PHO-002", "That is no picture that can be kept.", "Give a JPEG, PNG, WebP or GIF file.", place
        ) from err
    if width * height > LARGEST_PIXELS:
        raise refuse(
            "PHO-001", f"The picture has {width} x {height} pixels, too many.", "Make the picture smaller.", place
        )
    return media, width, height


def served_as(media: str) -> str:
    """The media type under which a photo is handed out: that of a picture, whatever the entry says, for it can come from another bench.

    >>> served_as("image/png"), served_as("text/javascript")
    ('image/png', 'application/octet-stream')
    """
    return media if media in MEDIA.values() else "application/octet-stream"


def photo_bytes(workshop: Workshop, case: str, sha256: str) -> tuple[bytes, str]:
    """A photo's bytes and media type. Refusal PHO-003 when the case has no such photo (photos of other cases are not given out)."""
    for one in case_state(workshop, case).photos:
        if one.sha256 == sha256:
            return workshop.store.attachment(sha256), served_as(one.media)
    raise refuse("PHO-003", "This case has no such photo.", "See 'coppermend case show'.", Place(thing=sha256[:16]))
