"""Gates and starts of a case: judged by the part or the point on its board, and kept in the log as evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from coppermend.core.circuit.machine import MachineModel
from coppermend.core.signals.gates import SETTLE_S
from coppermend.core.signals.measure import measure
from coppermend.core.signals.starts import StartSeen
from coppermend.core.signals.wave import Capture
from coppermend.devices.book import DeviceBook
from coppermend.devices.model import Chip
from coppermend.services.bind import bind
from coppermend.services.cases import case_state
from coppermend.services.points import known_part
from coppermend.services.wavecase import MOST_POINTS, here_of, note_record
from coppermend.services.waves import MeasuredWave, thresholds_of
from coppermend.services.wavesets import (
    GateJudged,
    StartAsked,
    StartsJudged,
    judge_gate,
    one_start,
    own_thresholds,
    rules_of,
)
from coppermend.services.workshop import Workshop


def judge_gate_for_case(
    workshop: Workshop, case: str, data: bytes, capture: Capture, part: str, named: Mapping[str, str], book: DeviceBook,
    machine: MachineModel | None = None, family: str = "", settle_s: float = SETTLE_S, entry_id: str | None = None,
) -> GateJudged:  # fmt: skip
    """As ``judge_gate`` for a part of the case's board, written into the log: a pin that disagrees shows a wrong pattern there."""
    binding = bind(workshop, case)
    ref = known_part(binding.graph, part)
    value = next((one.value for one in binding.board.parts if one.ref == ref), "")
    judged = judge_gate(capture, book.get(value), named, book, family, settle_s, ref)
    limits = thresholds_of(book, family) if family else own_thresholds(book.get(value))
    said = {one.pin: one.words for one in judged.report.pins}
    order = sorted(judged.pins, key=lambda n: (n not in judged.report.disagree, int(n)))[:MOST_POINTS]
    looked = []
    for number in order:
        here = here_of(binding, book, machine, f"{ref}.{number}")
        features = measure(capture.channel(judged.pins[number]), None, limits)
        wrong = number in judged.report.disagree
        if number in said:
            features = replace(features, words=said[number])
        looked.append(MeasuredWave(features, here.point.id, "wrong" if wrong else features.verdict, here.words))
    noted = note_record(
        workshop, case, data, capture, looked, {"gate": {"part": ref, "chip": judged.chip, "pins": said}}, entry_id
    )
    return replace(judged, noted=noted)


def judge_starts_for_case(
    workshop: Workshop, case: str, records: Sequence[tuple[bytes, Capture]], asked: StartAsked, point: str, book: DeviceBook,
    machine: MachineModel | None = None, entry_ids: Sequence[str] = (),
) -> StartsJudged:  # fmt: skip
    """Starts judged and written into the log at the reset's point; earlier starts of the case at that point are counted with them.

    The part at the point gives the reset's rules. As evidence a start that was right says that the line rests where it should.
    ``entry_ids``: one a record, in their order, from an earlier try; a retry is then harmless.
    """
    here = here_of(bind(workshop, case), book, machine, point)
    chip = _chip_at(workshop, case, book, here.point.part)
    wanted = replace(asked, rules=rules_of(chip, asked.rules)) if chip is not None else asked
    before = earlier_starts(workshop, case, here.point.id, entry_ids)
    limits = thresholds_of(book, asked.family) if asked.family else here.thresholds
    seen, noted = [], []
    for k, (data, capture) in enumerate(records):
        one = one_start(capture, wanted, limits)
        rest = "high" if wanted.rules.active_low else "low"
        evidence = rest if one.verdict == "right" else one.verdict
        features = measure(capture.channel(wanted.reset), None, limits)
        looked = MeasuredWave(
            replace(features, verdict=one.verdict, words=f"{one.verdict}, {one.words}"),
            here.point.id,
            evidence,
            here.words,
        )
        again = entry_ids[k] if k < len(entry_ids) else None
        noted.append(note_record(workshop, case, data, capture, [looked], {"start": _plain_start(one)}, again))
        seen.append(one)
    return StartsJudged(tuple(seen), before, tuple(noted))


def _plain_start(one: StartSeen) -> dict[str, Any]:
    return {
        "verdict": one.verdict,
        "ready_s": one.ready_s,
        "released_s": one.released_s,
        "wait_s": one.wait_s,
        "clocks": one.clocks,
    }


def _chip_at(workshop: Workshop, case: str, book: DeviceBook, ref: str) -> Chip | None:
    value = next((one.value for one in bind(workshop, case).board.parts if one.ref == ref), "")
    return book.find(value) if value else None


def earlier_starts(workshop: Workshop, case: str, point_id: str, without: Sequence[str] = ()) -> tuple[str, ...]:
    """The verdicts of the starts that the case's log holds at a point, oldest first; taken back ones and the entries ``without`` left out."""
    undone = {*case_state(workshop, case).undone, *without}
    found = []
    for one in workshop.store.entries(case):
        features: Any = one.payload.get("features") if one.kind == "wave" and one.id not in undone else None
        start = features.get("start") if isinstance(features, Mapping) else None
        points: Any = one.payload.get("points")
        if isinstance(start, Mapping) and points and points[0]["id"] == point_id:
            found.append(str(start.get("verdict")))
    return tuple(found)
