"""The record of a case as HTML and PDF."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any, Protocol

from coppermend.core.circuit.machine import MachineModel
from coppermend.core.findings import Refusal
from coppermend.core.log.state import CaseState
from coppermend.core.log.state import Photo as CasePhoto
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import Binding, bind
from coppermend.services.recording.gather import CaseFacts, document_date, gather
from coppermend.services.recording.html import closing, heading_rows, photo_line, printable, record_html, title_of
from coppermend.services.recording.judge import judge
from coppermend.services.recording.model import Photo, RecordView
from coppermend.services.recording.pictures import shown_copy
from coppermend.services.recording.saying import stamp
from coppermend.services.recording.seen import with_seen
from coppermend.services.workshop import Workshop

__all__ = ["Typesetter", "case_record", "record_html", "record_pdf_of"]

MOST_PHOTOS = 40
"""Photos that a record shows; the rest stay with the case."""
CHANGES = ("clean", "reseat", "remove", "fit", "swap", "state", "solder")
"""Acts after which the machine is no longer as it came."""


class Typesetter(Protocol):
    """Sets a record as a PDF."""

    def pdf(self, record: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
        """The PDF of this record; pictures by the file names that the record uses."""


def case_record(
    workshop: Workshop, case: str, book: DeviceBook | None = None, machine: MachineModel | None = None
) -> RecordView:
    """The record of a case as it stands: everything computed from its log and its board; with ``book`` also the suspects of what was seen under power."""
    binding = bind(workshop, case)
    entries = workshop.store.entries(case)
    last = entries[-1]
    facts = CaseFacts(
        workshop.store.number_of(case), len(entries), last.sha256(), max(entry.recorded_at for entry in entries)
    )
    view = gather(
        binding.state,
        facts,
        binding.board,
        binding.graph,
        judge(binding),
        _photos(workshop, binding),
        binding.base,
        machine,
    )
    return with_seen(view, workshop, binding, book, machine)


def _photos(workshop: Workshop, binding: Binding) -> tuple[Photo, ...]:
    """The case's photos; one that the store cannot give back whole or that cannot be decoded is named without a picture."""
    begun = first_repair(binding.state)
    return tuple(_photo(workshop, one, begun) for one in binding.state.photos[:MOST_PHOTOS])


def first_repair(state: CaseState) -> int | None:
    """Position of the first entry that changed the machine; None where nothing was done yet."""
    acts = [one.at for one in state.acts if one.kind in CHANGES]
    return min([*acts, *(one.at for one in state.wires), *(one.at for one in state.care)], default=None)


def _photo(workshop: Workshop, photo: CasePhoto, begun: int | None) -> Photo:
    words, when = photo.words or photo.name, stamp(photo.observed_at)
    moment = "" if begun is None else "before" if photo.at < begun else "after"
    try:
        copy = shown_copy(workshop.store.attachment(photo.sha256))
    except Refusal:
        copy = None
    if copy is None:
        return Photo(words, when, "", moment=moment)
    return Photo(words, when, base64.b64encode(copy.jpeg).decode(), copy.width_px, copy.height_px, moment)


def record_pdf_of(view: RecordView, typesetter: Typesetter) -> bytes:
    """The record as a PDF, its date the last entry's time."""
    pictures = {f"{one.picture.name}.svg": one.picture.svg.encode() for one in view.plans if one.picture}
    photos = []
    for i, photo in enumerate(view.photos, 1):
        name = f"photo-{i}.svg" if photo.jpeg else ""
        if name:
            pictures[name] = _framed(photo).encode()
        photos.append({"file": name, "words": photo.words, "when": photo_line(photo)})
    data = view.as_dict()
    for name, shown in (
        ("maps", view.maps),
        ("wave_pictures", view.wave_pictures),
        ("warm_pictures", view.warm_pictures),
    ):
        pictures |= {f"{one.name}.svg": one.svg.encode() for one in shown}
        data[name] = [
            {"file": f"{one.name}.svg", "title": one.title, "alt": one.alt, "ratio": one.height_by_width}
            for one in shown
        ]
    data["plans"] = [
        {
            "title": one.title,
            "words": f"{one.when} {one.words}",
            "file": f"{one.picture.name}.svg" if one.picture else "",
            "alt": one.picture.alt if one.picture else "",
            "limits": [list(row) for row in one.limits],
            "assumed": list(one.assumed),
            "tables": [
                {"title": table.title, "names": list(table.names), "rows": [list(row) for row in table.rows]}
                for table in one.tables
            ],
        }
        for one in view.plans
    ]
    data["photos"] = photos
    data["date"] = list(document_date(view.heading.last))
    data["rows"] = [list(row) for row in heading_rows(view)]
    data["closing"] = closing(view)
    data["title"] = title_of(view)
    return typesetter.pdf(printable(data), pictures)


def _framed(photo: Photo) -> str:
    """A photo inside an SVG document: the typesetter takes text files only."""
    size = f'width="{photo.width_px}" height="{photo.height_px}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {photo.width_px} {photo.height_px}">'
        f'<image {size} href="data:image/jpeg;base64,{photo.jpeg}"/></svg>'
    )
