"""What was seen under power, as the record shows it: symptoms, waves with what was measured, thermal pictures, the suspects and how they changed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from coppermend.core.belief.suspects.reasons import Reason, Suspect
from coppermend.core.board.model import Board
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.findings import Refusal
from coppermend.core.log.model import Entry
from coppermend.core.log.state import CaseState
from coppermend.core.log.values import hertz_words, volt_words
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import Binding
from coppermend.services.placewords import places_in_words
from coppermend.services.recording.model import RecordView, SuspectRow
from coppermend.services.recording.shown import heat_pictures, wave_pictures
from coppermend.services.suspectcourse import Moment, suspect_course
from coppermend.services.suspects import board_of_case, suspects_for_case
from coppermend.services.workshop import Workshop

MOST_MOMENTS = 60
"""Moments of the course that a record shows, the last ones; how many came before is said."""
MOST_SUSPECTS = 5
POWERED = ("level", "volts", "hertz", "wave", "heat")


def with_seen(
    view: RecordView,
    workshop: Workshop,
    binding: Binding,
    book: DeviceBook | None = None,
    machine: MachineModel | None = None,
) -> RecordView:
    """The record with what was seen under power. Without ``book``, or where nothing was seen, nothing is reckoned: the tables of suspects stay empty."""
    state, entries = binding.state, workshop.store.entries(binding.case)
    counted = [one for one in entries if one.id not in set(state.undone)]
    view = replace(
        view,
        symptoms=tuple(_symptoms(state)),
        waves=tuple(row for one in counted if one.kind == "wave" for row in _waves(binding.board, one)),
        warm=tuple(row for one in counted if one.kind == "heat" for row in _warm(one)),
        warm_pictures=heat_pictures(workshop, binding.case, binding.board),
    )
    if book is not None:
        waves = [one for one in counted if one.kind == "wave"]
        view = replace(view, wave_pictures=wave_pictures(workshop, binding.case, binding.board, waves, book, machine))
    if book is None or not _powered(state):
        return view
    try:
        made = board_of_case(binding, book, machine, workshop.fields)
        course = suspect_course(workshop, binding.case, binding, made, book, machine)
        found = suspects_for_case(workshop, binding.case, book, machine, MOST_SUSPECTS)
    except Refusal as err:
        return replace(view, course_note=f"The suspects cannot be reckoned: {err.finding.words}")
    note = f"Named beyond doubt: {places_in_words(binding.board, found.suspects[0].words)}." if found.named else ""
    left = max(0, len(course) - MOST_MOMENTS)
    if left:
        note = f"{note} {left} earlier moments are left out.".strip()
    return replace(
        view,
        course=tuple(_moment(one) for one in course[-MOST_MOMENTS:]),
        course_note=note,
        suspects=tuple(_suspect(binding.board, one) for one in found.suspects),
    )


def _powered(state: CaseState) -> bool:
    """Whether anything was read or seen under power."""
    started = any(one.screen for up in state.power_ups for one in up.seen)
    told = any(one.kind == "symptom" and one.key for one in state.notes)
    return started or told or any(one.kind in POWERED for one in state.readings)


def _stamp(iso: str) -> str:
    return iso[:16].replace("T", " ")


def _symptoms(state: CaseState) -> Iterable[tuple[str, str, str]]:
    """(when, what, how it stands): symptoms that were noted and what each start showed, in the order of the log."""
    rows = [(one.at, one.observed_at, one.words, "no longer seen" if one.result == "gone" else "noted") for one in state.notes if one.kind == "symptom"]  # fmt: skip
    for up in state.power_ups:
        for one in up.seen:
            named = (("screen", one.screen), ("sound", one.sound), ("smell", one.smell))
            shown = ", ".join([f"{name}: {word}" for name, word in named if word] + [one.words] * bool(one.words))
            rows += [(one.at, one.observed_at, shown, "at a start")] if shown else []
    for _, when, words, how in sorted(rows):
        yield _stamp(when), words, how


def _waves(board: Board, entry: Entry) -> Iterable[tuple[str, str, str, str, str]]:
    """(when, where, what it was called, measured values of the first channel, verdict) of each point of a record."""
    features = entry.payload.get("features")
    said: Mapping[str, Any] = features if isinstance(features, Mapping) else {}
    points = [p for p in _rows(entry.payload.get("points")) if isinstance(p, Mapping)]
    for k, point in enumerate(points):
        seen, judged = _nth(said.get("seen"), k), _nth(said.get("verdicts"), k)
        verdict = seen or judged or str(said.get("verdict", ""))
        yield (
            _stamp(entry.observed_at),
            f"{places_in_words(board, str(point.get('id', '')))}\n{point.get('net', '')}".strip(),
            _nth(said.get("channels"), k),
            "\n".join(_values(said)) if k == 0 else "as the record's file says",
            verdict,
        )


def _rows(value: object) -> list[Any]:
    return list(value) if isinstance(value, (list, tuple)) else []


def _nth(value: object, k: int) -> str:
    rows = _rows(value)
    return str(rows[k]) if k < len(rows) else ""


def _values(said: Mapping[str, Any]) -> Iterable[str]:
    """Measured values in words; a value that was not measured is left out."""
    number = {k: float(v) for k, v in said.items() if isinstance(v, (int, float)) and not isinstance(v, bool)}
    if "frequency_hz" in number:
        yield _frequency(number["frequency_hz"], number.get("frequency_u_hz", 0.0))
    if "duty" in number:
        yield f"high for {100 * number['duty']:.1f} %"
    if "low_v" in number and "high_v" in number:
        yield f"low {volt_words(number['low_v'])}, high {volt_words(number['high_v'])}"
    if number.get("overshoot"):
        yield f"overshoot {100 * number['overshoot']:.0f} %"
    if "edges" in number:
        yield f"{number['edges']:.0f} edges"


def _frequency(hertz: float, doubt_hz: float) -> str:
    """A frequency with no more digits than its uncertainty leaves.

    >>> _frequency(4000002.82, 32.0), _frequency(50.0, 0.0)
    ('4 MHz ± 32 Hz', '50 Hz')
    """
    if doubt_hz <= 0:
        return hertz_words(hertz)
    step = 10.0 ** math.floor(math.log10(doubt_hz))
    return f"{hertz_words(round(hertz / step) * step)} ± {doubt_hz:.2g} Hz"


def _warm(entry: Entry) -> Iterable[tuple[str, str, str, str, str]]:
    """(when, part, measured, expected, verdict) of the parts of a thermal picture that are not as they should be, and how many are."""
    picture = entry.payload.get("picture")
    parts = picture.get("parts") if isinstance(picture, Mapping) else None
    if not isinstance(parts, Mapping):
        yield (
            _stamp(entry.observed_at),
            str(entry.payload.get("part", "")),
            _celsius(entry.payload.get("celsius")),
            "",
            "",
        )
        return
    even = [ref for ref, said in parts.items() if isinstance(said, Mapping) and said.get("verdict") == "even"]
    for ref, said in parts.items():
        if isinstance(said, Mapping) and said.get("verdict") in ("cold", "hot"):
            yield (
                _stamp(entry.observed_at),
                str(ref),
                _celsius(said.get("celsius")),
                _celsius(said.get("expected_c")),
                str(said.get("verdict")),
            )
    if even:
        yield _stamp(entry.observed_at), f"{len(even)} others", "", "", "as expected"


def _celsius(value: object) -> str:
    return f"{value:.1f} °C" if isinstance(value, (int, float)) else ""


def _share(p: float) -> str:
    return "over 99.9 %" if p > 0.9995 else f"{100 * p:.1f} %"


def _moment(one: Moment) -> tuple[str, str, str, str]:
    seen = f"Repair: {one.seen}" if one.kind == "repair" else one.seen
    return _stamp(one.at), seen, one.words, _share(one.p)


def _suspect(board: Board, one: Suspect) -> SuspectRow:
    return SuspectRow(
        _share(one.p),
        places_in_words(board, one.words),
        tuple(_reason(board, why) for why in one.pro),
        tuple(_reason(board, why) for why in one.con),
        places_in_words(board, one.clears),
    )


def _reason(board: Board, one: Reason) -> str:
    times = one.factor if one.factor >= 1 else 1.0 / max(one.factor, 1e-12)
    shown = "over 1000" if times > 1000 else f"{times:.0f}" if times >= 10 else f"{times:.1f}"
    return f"{places_in_words(board, one.words)} ({shown} times {'likelier' if one.factor >= 1 else 'less likely'})"
