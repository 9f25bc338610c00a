"""The record of a case as HTML and PDF."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, Protocol

from coppermend.core.circuit.machine import MachineModel
from coppermend.core.findings import Place, Refusal, refuse
from coppermend.core.log.state import CaseState
from coppermend.core.log.state import Photo as CasePhoto
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import Binding, bind
from coppermend.services.chiptries import chip_conflicts, mute_swaps
from coppermend.services.recording.gather import CaseFacts, document_date, gather
from coppermend.services.recording.handled import chip_rows
from coppermend.services.recording.html import (
    closing,
    heading_rows,
    ohms_ellipses,
    ohms_rests,
    photo_line,
    printable,
    record_html,
    title_of,
)
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

    def lacking(self, letters: Iterable[str]) -> tuple[str, ...]:
        """Those of these letters that no font has."""


def case_record(
    workshop: Workshop, case: str, book: DeviceBook | None = None, machine: MachineModel | None = None
) -> RecordView:
    """The record of a case as it stands: everything computed from its log and its board; with ``book`` also the suspects of what was seen under power."""
    binding = bind(workshop, case)
    entries = workshop.store.entries(case)
    _refuse_shortened(workshop, case, len(entries))
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
    chips = chip_rows(binding.state, mute_swaps(binding), chip_conflicts(binding))
    return with_seen(replace(view, chips=chips), workshop, binding, book, machine)


def _refuse_shortened(workshop: Workshop, case: str, here: int) -> None:
    """Refusal STO-043 where the list has counted more entries than the log holds: a record of the rest would pass for the whole. A list that cannot be
    read says nothing."""
    try:
        counted = max((one.head.entries for one in workshop.store.heads_of((case,))), default=0)
    except Refusal:
        return
    if counted > here:
        raise refuse(
            "STO-043",
            f"Acknowledged entries are missing: the list has counted {counted}, the log holds {here}. A record would leave them out.",
            "See 'coppermend store check'; import the case's latest export, or restore a backup.",
            Place(thing=f"case {case}"),
        )


def _photos(workshop: Workshop, binding: Binding) -> tuple[Photo, ...]:
    """The case's photos; one that the store cannot give back whole or that cannot be decoded is named without a picture."""
    return tuple(_photo(workshop, one, moment_of(binding.state, one)) for one in binding.state.photos[:MOST_PHOTOS])


def first_repair(state: CaseState) -> int | None:
    """Position of the first entry that changed the machine; None where nothing was done yet."""
    return min(_changes(state), default=None)


def _changes(state: CaseState) -> list[int]:
    """Positions of the entries that changed the machine."""
    acts = [one.at for one in state.acts if one.kind in CHANGES]
    return [*acts, *(one.at for one in state.wires), *(one.at for one in state.care)]


def moment_of(state: CaseState, photo: CasePhoto) -> str:
    """When a photo shows the machine: on arrival (kept by the intake, or its own words begin so), before the first repair, between repairs, after the
    last; "" where nothing was repaired and it is no picture of the arrival."""
    if any(photo.sha256 in one.photos for one in state.intake) or _ARRIVAL.match(photo.words):
        return "on arrival"
    at = _changes(state)
    if not at:
        return ""
    if photo.at < min(at) or _BEFORE.match(photo.words):
        return "before the repair"
    return "during the repair" if photo.at < max(at) else "after the repair"


_ARRIVAL = re.compile(r"\s*(on |at )?arrival\b|\s*as it (came|arrived)\b", re.IGNORECASE)
_BEFORE = re.compile(r"\s*before\b", re.IGNORECASE)


def _photo(workshop: Workshop, photo: CasePhoto, moment: str) -> Photo:
    words, when = photo.words or photo.name, stamp(photo.observed_at)
    try:
        copy = shown_copy(workshop.store.attachment(photo.sha256))
    except Refusal:
        copy = None
    if copy is None:
        return Photo(words, when, "", moment=moment)
    return Photo(words, when, base64.b64encode(copy.jpeg).decode(), copy.width_px, copy.height_px, moment)


def record_pdf_of(view: RecordView, typesetter: Typesetter) -> bytes:
    """The record as a PDF, its date the last entry's time. A letter that no font has stands as its number (``[U+5C71]``), and the last line says so."""
    lacking = lacking_letters(view, typesetter)
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
    data["ohms_ellipses"] = list(ohms_ellipses(view.by_ohms))
    data["ohms_rests"] = [{"title": title, "lines": list(lines)} for title, lines in ohms_rests(view.by_ohms)]
    data["photos"] = photos
    data["date"] = list(document_date(view.heading.last))
    data["rows"] = [list(row) for row in heading_rows(view)]
    numbers = ", ".join(f"U+{ord(one):04X}" for one in lacking)
    said = f" Letters that no font on the computer that made this had stand as their Unicode numbers: {numbers}."
    data["closing"] = closing(view) + (said if lacking else "")
    data["title"] = title_of(view)
    stand_in = {ord(one): f"[U+{ord(one):04X}]" for one in lacking}
    drawn = {name: _with_letters(one, stand_in) for name, one in pictures.items()}
    return typesetter.pdf(_written(printable(data), stand_in), drawn)


def lacking_letters(view: RecordView, typesetter: Typesetter) -> tuple[str, ...]:
    """The letters of this record that no font of the typesetter has; () where all can be set."""
    bare = replace(view, photos=tuple(replace(one, jpeg="") for one in view.photos))
    return typesetter.lacking(set(json.dumps(printable(bare.as_dict()), ensure_ascii=False)))


def _with_letters(svg: bytes, stand_in: Mapping[int, str]) -> bytes:
    return svg if not stand_in or svg.isascii() else svg.decode().translate(stand_in).encode()


def _written(value: Any, stand_in: Mapping[int, str]) -> Any:
    """These JSON values with every letter that cannot be set written as its stand-in."""
    if isinstance(value, str):
        return value.translate(stand_in)
    if isinstance(value, dict):
        return {key: _written(one, stand_in) for key, one in value.items()}
    return [_written(one, stand_in) for one in value] if isinstance(value, list) else value


def _framed(photo: Photo) -> str:
    """A photo inside an SVG document: the typesetter takes text files only."""
    size = f'width="{photo.width_px}" height="{photo.height_px}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {photo.width_px} {photo.height_px}">'
        f'<image {size} href="data:image/jpeg;base64,{photo.jpeg}"/></svg>'
    )
