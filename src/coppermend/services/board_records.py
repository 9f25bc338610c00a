"""The record of a case as HTML and PDF."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any, Protocol

from coppermend.services.recording.gather import document_date
from coppermend.services.recording.html import closing, heading_rows, printable, record_html
from coppermend.services.recording.model import RecordView

__all__ = ["Typesetter", "record_html", "record_pdf_of"]

SUFFIX = {"image/png": "png", "image/jpeg": "jpg", "image/webp": "webp", "image/gif": "gif"}
"""Media types that a record shows, and their file endings."""


class Typesetter(Protocol):
    """Sets a record as a PDF."""

    def pdf(self, record: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
        """The PDF of this record; pictures by the file names that the record uses."""


def record_pdf_of(view: RecordView, typesetter: Typesetter) -> bytes:
    """The record as a PDF, its date the last entry's time."""
    pictures = {f"{one.name}.svg": one.svg.encode() for one in view.maps}
    photos = []
    for i, photo in enumerate(view.photos, 1):
        name = f"photo-{i}.{SUFFIX[photo.media]}"
        pictures[name] = base64.b64decode(photo.base64)
        photos.append({"file": name, "words": photo.words, "when": photo.when})
    data = view.as_dict()
    data["maps"] = [
        {"file": f"{one.name}.svg", "title": one.title, "alt": one.alt, "ratio": one.height_by_width}
        for one in view.maps
    ]
    data["photos"] = photos
    data["date"] = list(document_date(view.heading.last))
    data["rows"] = [list(row) for row in heading_rows(view)]
    data["closing"] = closing(view)
    return typesetter.pdf(printable(data), pictures)
