"""The record of a case as HTML and PDF."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any, Protocol

from coppermend.core.findings import Refusal
from coppermend.services.bind import Binding, bind
from coppermend.services.recording.gather import CaseFacts, document_date, gather, stamp
from coppermend.services.recording.html import closing, heading_rows, printable, record_html
from coppermend.services.recording.judge import judge
from coppermend.services.recording.model import Photo, RecordView
from coppermend.services.workshop import Workshop

__all__ = ["Typesetter", "case_record", "record_html", "record_pdf_of"]

MOST_PHOTOS = 40
"""Photos that a record shows; the rest stay with the case."""

SUFFIX = {"image/png": "png", "image/jpeg": "jpg", "image/webp": "webp", "image/gif": "gif"}
"""Media types that a record shows, and their file endings."""


class Typesetter(Protocol):
    """Sets a record as a PDF."""

    def pdf(self, record: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
        """The PDF of this record; pictures by the file names that the record uses."""


def case_record(workshop: Workshop, case: str) -> RecordView:
    """The record of a case as it stands: everything computed from its log and its board."""
    binding = bind(workshop, case)
    entries = workshop.store.entries(case)
    last = entries[-1]
    facts = CaseFacts(
        workshop.store.number_of(case), len(entries), last.sha256(), max(entry.recorded_at for entry in entries)
    )
    return gather(
        binding.state, facts, binding.board, binding.graph, judge(binding), _photos(workshop, binding), binding.base
    )


def _photos(workshop: Workshop, binding: Binding) -> tuple[Photo, ...]:
    """The case's photos that a page can show; one that the store cannot give back whole is left out (the store check names it)."""
    found = []
    for one in binding.state.photos[:MOST_PHOTOS]:
        if one.media not in SUFFIX:
            continue
        try:
            data = workshop.store.attachment(one.sha256)
        except Refusal:
            continue
        found.append(Photo(one.words or one.name, stamp(one.observed_at), one.media, base64.b64encode(data).decode()))
    return tuple(found)


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
