"""The waves of a case, to be looked at: which there are, and one of them drawn with its levels and edges marked."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf
from typing import Any

from coppermend.core.circuit.machine import MachineModel
from coppermend.core.findings import Place, refuse
from coppermend.core.log.model import Entry
from coppermend.core.log.words import entry_words
from coppermend.core.signals.measure import measure
from coppermend.core.signals.model import Expected, Thresholds
from coppermend.core.signals.picture import picture
from coppermend.core.signals.wave import Capture
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import bind
from coppermend.services.cases import case_state
from coppermend.services.suspects import CRYSTAL_PPM
from coppermend.services.wavecase import here_of
from coppermend.services.waves import MeasuredRecord, read_record
from coppermend.services.workshop import Workshop


def waves_of(workshop: Workshop, case: str) -> tuple[dict[str, Any], ...]:
    """The case's wave entries, newest first: points, channels, verdicts and words of each; taken back ones left out."""
    undone = set(case_state(workshop, case).undone)
    found = [one for one in workshop.store.entries(case) if one.kind == "wave" and one.id not in undone]
    return tuple(_row(one) for one in reversed(found))


def _row(entry: Entry) -> dict[str, Any]:
    features = _features(entry)
    points: Any = entry.payload.get("points") or ()
    return {
        "entry": entry.id,
        "ref": entry.bench_seq,
        "observed_at": entry.observed_at,
        "sha256": entry.payload.get("sha256"),
        "points": [{"id": one["id"], "net": one.get("net", "")} for one in points],
        "channels": list(features.get("channels") or [""]),
        "seen": list(features.get("seen") or [features.get("verdict", "")]),
        "words": entry_words(entry),
    }


def _features(entry: Entry) -> Mapping[str, Any]:
    found: Any = entry.payload.get("features")
    return found if isinstance(found, Mapping) else {}


def draw_wave(
    workshop: Workshop, case: str, entry_id: str, book: DeviceBook, machine: MachineModel | None = None, channel: str = "",
    begin_s: float | None = None, end_s: float | None = None,
) -> dict[str, Any]:  # fmt: skip
    """One channel of a kept record, drawn between two times and measured anew. Refusal SIG-034 when the case has no such wave, STO-0xx when its file is gone."""
    entry = next((one for one in workshop.store.entries(case) if one.id == entry_id and one.kind == "wave"), None)
    if entry is None:
        raise refuse(
            "SIG-034", "This case has no such wave.", "See 'coppermend case show'.", Place(thing=entry_id[:40])
        )
    step: Any = _features(entry).get("step_s")
    data = workshop.store.attachment(str(entry.payload["sha256"]))
    capture = read_record(data, str(entry.payload.get("instrument") or ""), step if isinstance(step, float) else None)
    row = _row(entry)
    one = capture.channel(channel or row["channels"][0])
    where = row["channels"].index(one.name) if one.name in row["channels"] else 0
    limits, expected, words = _judged_by(
        workshop, case, book, machine, row["points"][where]["id"] if row["points"] else ""
    )
    window = (-inf if begin_s is None else begin_s, inf if end_s is None else end_s)
    drawn = picture(one, measure(one, expected, limits, window), begin_s, end_s)
    return {**drawn, "expected": words, "channels": [c.name for c in capture.channels], "read": capture.words}


def _judged_by(
    workshop: Workshop, case: str, book: DeviceBook, machine: MachineModel | None, point: str
) -> tuple[Thresholds | None, Expected, str]:
    """What a point should show, as far as the board of today knows it."""
    binding = bind(workshop, case)
    if not any(one.id == point for one in binding.graph.points):
        return None, Expected(), ""
    here = here_of(binding, book, machine, point)
    return here.thresholds, Expected(here.hertz, CRYSTAL_PPM, here.level), here.words


def drawn_record(record: MeasuredRecord, capture: Capture) -> dict[str, Any]:
    """A record just measured, as JSON with a picture of each measured channel."""
    pictures = [
        {**picture(capture.channel(one.features.channel), one.features), "expected": one.expected}
        for one in record.measured
    ]
    return {**record.as_dict(), "pictures": pictures}
