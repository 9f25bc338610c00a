"""Several channels of one record together: a chip's gates against their logic, and starts as timed sequences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from coppermend.core.circuit.machine import MachineModel
from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import plain
from coppermend.core.signals.edges import to_trace
from coppermend.core.signals.gates import SETTLE_S, GateReport, check_gate
from coppermend.core.signals.measure import measure
from coppermend.core.signals.model import Thresholds
from coppermend.core.signals.starts import StartRules, StartSeen, read_start, repeated
from coppermend.core.signals.wave import Capture, Trace, Wave
from coppermend.devices.book import DeviceBook
from coppermend.devices.model import Chip
from coppermend.services.bind import bind
from coppermend.services.cases import case_state
from coppermend.services.notes import Noted
from coppermend.services.points import known_part
from coppermend.services.waves import MOST_POINTS, MeasuredWave, here_of, note_record, thresholds_of
from coppermend.services.workshop import Workshop

TTL = Thresholds("TTL", 0.8, 2.0, named=False)


# ---- gates ----
@dataclass(frozen=True, slots=True)
class GateJudged:
    """A chip's recorded pins against its logic. ``pins`` number to channel; ``noted`` the entry that was written (None: none)."""

    chip: str
    part: str
    report: GateReport
    pins: Mapping[str, str]
    read: str
    noted: Noted | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        rows = [{**plain(one), "rows": [list(row) for row in one.rows]} for one in self.report.pins]
        out: dict[str, Any] = {
            "chip": self.chip, "part": self.part, "pins": rows, "disagree": list(self.report.disagree), "channels": dict(self.pins), "read": self.read,
        }  # fmt: skip
        return out if self.noted is None else {**out, "entry": self.noted.entry.id, "ref": self.noted.entry.bench_seq}


def judge_gate(
    capture: Capture,
    chip: Chip,
    named: Mapping[str, str],
    book: DeviceBook,
    family: str = "",
    settle_s: float = SETTLE_S,
    part: str = "",
) -> GateJudged:
    """Compare the recorded pins of a chip with its logic. ``named``: pin number or name to channel; empty: channels named like pins.

    Refusal SIG-033 when a pin is not the chip's or no channel is named like a pin.
    """
    pins = _pins(capture, chip, named, part)
    limits = thresholds_of(book, family) if family else _own(chip)
    traces = {number: _trace(capture, channel, limits) for number, channel in pins.items()}
    return GateJudged(chip.type, part, check_gate(chip, traces, settle_s), pins, capture.words)


def judge_gate_for_case(
    workshop: Workshop, case: str, data: bytes, capture: Capture, part: str, named: Mapping[str, str], book: DeviceBook,
    machine: MachineModel | None = None, family: str = "", settle_s: float = SETTLE_S,
) -> GateJudged:  # fmt: skip
    """As ``judge_gate`` for a part of the case's board, written into the log: a pin that disagrees shows a wrong pattern there."""
    binding = bind(workshop, case)
    ref = known_part(binding.graph, part)
    value = next((one.value for one in binding.board.parts if one.ref == ref), "")
    judged = judge_gate(capture, book.get(value), named, book, family, settle_s, ref)
    limits = thresholds_of(book, family) if family else _own(book.get(value))
    order = sorted(judged.pins, key=lambda n: (n not in judged.report.disagree, int(n)))[:MOST_POINTS]
    looked = []
    for number in order:
        here = here_of(binding, book, machine, f"{ref}.{number}")
        features = measure(capture.channel(judged.pins[number]), None, limits)
        wrong = number in judged.report.disagree
        looked.append(MeasuredWave(features, here.point.id, "wrong" if wrong else features.verdict, here.words))
    said = {one.pin: one.words for one in judged.report.pins}
    noted = note_record(
        workshop, case, data, capture, looked, {"gate": {"part": ref, "chip": judged.chip, "pins": said}}
    )
    return replace(judged, noted=noted)


def _pins(capture: Capture, chip: Chip, named: Mapping[str, str], part: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, channel in named.items():
        pin = chip.pin(key)
        if pin is None:
            raise refuse(
                "SIG-033",
                f"{chip.type} has no pin {key}.",
                f"See coppermend device show {chip.type}.",
                Place(thing=key),
            )
        found[str(pin.number)] = capture.channel(channel).name
    if found:
        return found
    for one in capture.channels:
        label = one.name.removeprefix(f"{part}." if part else "")
        pin = chip.pin(label)
        if pin is not None:
            found[str(pin.number)] = one.name
    if not found:
        raise refuse(
            "SIG-033", f"No channel is named like a pin of {chip.type}.", "Say which is which: --pin 1=D0 --pin 2=D1 --pin 3=D2.", Place(file=capture.name)
        )  # fmt: skip
    return found


def _trace(capture: Capture, channel: str, limits: Thresholds) -> Trace:
    one = capture.channel(channel)
    return to_trace(one, limits.low_v, limits.high_v) if isinstance(one, Wave) else one


def _own(chip: Chip) -> Thresholds:
    family = chip.family
    return TTL if family.vil_v is None or family.vih_v is None else Thresholds(family.name, family.vil_v, family.vih_v)


# ---- starts ----
@dataclass(frozen=True, slots=True)
class StartAsked:
    """Which channel is what ("" none), and the rules; ``chip`` a type whose data-sheet rules are taken."""

    reset: str
    rail: str = ""
    clock: str = ""
    rules: StartRules = field(default_factory=StartRules)
    family: str = ""


@dataclass(frozen=True, slots=True)
class StartsJudged:
    """Starts judged, one a record, with how many were right; ``noted`` entries written. ``before`` verdicts of earlier starts at the same point of the case."""

    starts: tuple[StartSeen, ...]
    before: tuple[str, ...] = ()
    noted: tuple[Noted, ...] = ()

    @property
    def counted(self) -> tuple[int, int, str]:
        """(right, all, words) with the earlier ones."""
        return repeated([*self.before, *self.starts])

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        right, all_, words = self.counted
        rows = [{**plain(one), "events": [list(e) for e in one.events]} for one in self.starts]
        return {
            "starts": rows,
            "right": right,
            "times": all_,
            "words": words,
            "entries": [one.entry.id for one in self.noted],
        }


def rules_of(chip: Chip, given: StartRules) -> StartRules:
    """A chip's reset rules of the device book, where nothing stricter was said by hand."""
    pin = next((one for one in chip.pins if one.kind.value == "reset"), None)
    return replace(
        given,
        active_low=pin.active_low if pin is not None else given.active_low,
        clocks=max(given.clocks, float(chip.rules.get("reset_clocks", 0.0))),
        least_s=max(given.least_s, float(chip.rules.get("reset_s", 0.0))),
    )


def judge_starts(captures: Sequence[Capture], asked: StartAsked, book: DeviceBook) -> StartsJudged:
    """Each record as a start: rail, clock, reset in their order."""
    limits = thresholds_of(book, asked.family) if asked.family else None
    return StartsJudged(tuple(_start(one, asked, limits) for one in captures))


def _start(capture: Capture, asked: StartAsked, limits: Thresholds | None) -> StartSeen:
    rail = capture.channel(asked.rail) if asked.rail else None
    clock = capture.channel(asked.clock) if asked.clock else None
    return read_start(capture.channel(asked.reset), rail, clock, asked.rules, limits)


def judge_starts_for_case(
    workshop: Workshop, case: str, records: Sequence[tuple[bytes, Capture]], asked: StartAsked, point: str, book: DeviceBook,
    machine: MachineModel | None = None,
) -> StartsJudged:  # fmt: skip
    """Starts judged and written into the log at the reset's point; earlier starts of the case at that point are counted with them.

    The part at the point gives the reset's rules. As evidence a start that was right says that the line rests where it should.
    """
    here = here_of(bind(workshop, case), book, machine, point)
    chip = _chip_at(workshop, case, book, here.point.part)
    wanted = replace(asked, rules=rules_of(chip, asked.rules)) if chip is not None else asked
    before = earlier_starts(workshop, case, here.point.id)
    limits = thresholds_of(book, asked.family) if asked.family else here.thresholds
    seen, noted = [], []
    for data, capture in records:
        one = _start(capture, wanted, limits)
        rest = "high" if wanted.rules.active_low else "low"
        evidence = rest if one.verdict == "right" else one.verdict
        features = measure(capture.channel(wanted.reset), None, limits)
        looked = MeasuredWave(
            replace(features, verdict=one.verdict, words=f"{one.verdict}, {one.words}"),
            here.point.id,
            evidence,
            here.words,
        )
        noted.append(note_record(workshop, case, data, capture, [looked], {"start": _plain_start(one)}))
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


def earlier_starts(workshop: Workshop, case: str, point_id: str) -> tuple[str, ...]:
    """The verdicts of the starts that the case's log holds at a point, oldest first; taken back ones left out."""
    undone = set(case_state(workshop, case).undone)
    found = []
    for one in workshop.store.entries(case):
        features: Any = one.payload.get("features") if one.kind == "wave" and one.id not in undone else None
        start = features.get("start") if isinstance(features, Mapping) else None
        points: Any = one.payload.get("points")
        if isinstance(start, Mapping) and points and points[0]["id"] == point_id:
            found.append(str(start.get("verdict")))
    return tuple(found)
