"""Waves of a case: a record judged against what its points should show, and kept in the log as evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from coppermend.core.circuit.expect import PinExpectation
from coppermend.core.circuit.machine import MachineModel
from coppermend.core.copper.model import ProbePoint
from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.log.canonical import Json
from coppermend.core.log.values import hertz_words
from coppermend.core.signals.measure import measure
from coppermend.core.signals.model import Expected, Features, Thresholds
from coppermend.core.signals.period import TypedFrequency
from coppermend.core.signals.wave import Capture
from coppermend.devices.book import DeviceBook
from coppermend.devices.model import LISTENING, Chip, PinKind
from coppermend.services.bind import Binding, bind, part_states
from coppermend.services.notes import Noted, note
from coppermend.services.points import resolve
from coppermend.services.powered import board_expectations
from coppermend.services.requests import Request
from coppermend.services.suspects import CRYSTAL_PPM
from coppermend.services.waves import (
    CRYSTAL_TOLERANCE_PPM,
    Asked,
    MeasuredRecord,
    MeasuredWave,
    TypedJudged,
    judge_typed,
    thresholds_of,
)
from coppermend.services.workshop import Workshop

COARSE = 0.02
"""A frequency known worse than this share says that it moves, no more: as for frequencies typed by hand (services/suspects.py)."""
MEDIA = {"value change dump": "application/x-vcd"}
MOST_POINTS = 8


@dataclass(frozen=True, slots=True)
class Here:
    """What a point should show: its pin's expectation (None: nothing known), the thresholds of the chip that reads it, the pin's chip and words."""

    point: ProbePoint
    pin: str
    net: str
    expect: PinExpectation | None
    thresholds: Thresholds | None
    words: str

    @property
    def hertz(self) -> float | None:
        """The expected frequency, None where none is."""
        return self.expect.hz if self.expect is not None else None

    @property
    def level(self) -> str:
        """low or high where the pin should stand still, else ""."""
        return self.expect.expect if self.expect is not None and self.expect.expect in ("low", "high") else ""


@dataclass(frozen=True, slots=True)
class Tap:
    """One channel of a record and the point where its probe was; ``channel`` "" the first, ``point`` "" nowhere on a board."""

    channel: str = ""
    point: str = ""


def thresholds_at(chips: Sequence[tuple[Chip, PinKind]]) -> Thresholds | None:
    """The thresholds of the chips on a net that read it: the strictest of them; of all, where none reads it; None where no family is known."""
    reading = [chip for chip, kind in chips if kind in LISTENING] or [chip for chip, _ in chips]
    known = [one.family for one in reading if one.family.vil_v is not None and one.family.vih_v is not None]
    if not known:
        return None
    low, high = min(one.vil_v or 0.0 for one in known), max(one.vih_v or 0.0 for one in known)
    return Thresholds("/".join(dict.fromkeys(one.name for one in known)), low, high)


def measure_for_case(
    workshop: Workshop,
    case: str,
    data: bytes,
    capture: Capture,
    taps: Sequence[Tap],
    book: DeviceBook,
    machine: MachineModel | None = None,
    asked: Asked | None = None,
    entry_id: str | None = None,
) -> MeasuredRecord:
    """Channels of a record measured against what their points should show, and written into the case's log as one entry with its file.

    What was said by hand goes before what the board says. Refusal SIG-031 without a point or with more than eight; PNT-0xx for unknown points.
    """
    said = asked or Asked()
    if not 1 <= len(taps) <= MOST_POINTS or not all(one.point for one in taps):
        raise refuse(
            "SIG-031",
            f"A record is noted at 1 to {MOST_POINTS} points, found {sum(bool(one.point) for one in taps)}.",
            "Name them: --at U1.6, or with several channels --at CH1=U1.6 --at CH2=U3.4.",
        )
    binding = bind(workshop, case)
    looked = [_measured_at(binding, book, machine, capture, one, said) for one in taps]
    noted = note_record(workshop, case, data, capture, looked, entry_id=entry_id)
    names = tuple(one.name for one in capture.channels)
    return MeasuredRecord(capture.words, names, tuple(looked), capture.findings, noted)


def _measured_at(
    binding: Binding, book: DeviceBook, machine: MachineModel | None, capture: Capture, tap: Tap, asked: Asked
) -> MeasuredWave:
    here = here_of(binding, book, machine, tap.point)
    limits = thresholds_of(book, asked.family) if asked.family else here.thresholds
    hertz = asked.hertz if asked.hertz is not None else here.hertz
    ppm = (
        asked.tolerance_ppm
        if asked.tolerance_ppm is not None
        else CRYSTAL_PPM
        if asked.hertz is None
        else CRYSTAL_TOLERANCE_PPM
    )
    features = measure(capture.channel(tap.channel), Expected(hertz, ppm, here.level), limits)
    features = replace(features, findings=(*features.findings, *_otherwise(here, asked.hertz)))
    return MeasuredWave(features, here.point.id, evidence_word(features, here, hertz), here.words)


def _otherwise(here: Here, hertz: float | None) -> tuple[Finding, ...]:
    """A warning where the frequency that was named is not the one that the board itself leads to expect."""
    if hertz is None or here.hertz is None or abs(hertz - here.hertz) <= COARSE * here.hertz:
        return ()
    words = f"You named {hertz_words(hertz)}; by its netlist {here.pin} should show {hertz_words(here.hertz)}. The verdict goes by yours, in the suspects too."
    remedy = "Leave --expect-hz out to go by the board; where the board is wrong, say so in the machine's file."
    return (Finding("SIG-035", Severity.WARNING, Place(thing=here.point.id), words, remedy),)


def evidence_word(features: Features, here: Here, hertz: float | None) -> str:
    """The verdict as the belief takes it: a rail by its voltage, a pin that stands as expected by its level, a frequency known too coarsely as moving."""
    expect = here.expect
    if expect is not None and expect.expect in ("rail", "ground") and features.low_v is not None:
        return _rail_word(expect, features)
    if features.verdict == "right" and here.level and hertz is None:
        return here.level
    if features.verdict == "right":
        doubt = 2.0 * (features.frequency_u_hz or 0.0)
        return "right" if hertz is not None and doubt <= COARSE * hertz else "moving"
    return features.verdict


def _rail_word(expect: PinExpectation, features: Features) -> str:
    """high: within its range; low: sagging; floating: less than half of it. Ground is low, or floating above 0.2 V."""
    volt = min(features.low_v or 0.0, features.high_v or 0.0, key=abs)
    if expect.expect == "ground":
        return "low" if abs(volt) < 0.2 else "floating"
    low, high = expect.low_v or 0.0, expect.high_v or 0.0
    nominal = 0.5 * (low + high)
    if nominal == 0 or volt / nominal < 0.5:
        return "floating"
    slack = 0.2 * abs(high - low) / 2.0
    return "low" if abs(volt) < min(abs(low), abs(high)) - slack else "high"


def here_of(binding: Binding, book: DeviceBook, machine: MachineModel | None, point: str) -> Here:
    """What a point of the case's board should show. Refusal PNT-0xx when there is no such point."""
    found = resolve(binding.graph, point)
    pin = f"{found.part}.{found.pin}" if found.part else ""
    net = binding.graph.net_names[found.net]
    rows = expected_pins(binding, book, machine)
    own = rows.get(pin)
    expect = own or next((one for one in rows.values() if one.net and one.net == net), None)
    on_net = _chips_on(binding, book, net)
    words = "nothing is known of it" if expect is None else f"{expect.pin} {expect.name}: {expect.words}"
    return Here(found, pin, net, expect, thresholds_at(on_net), words)


def expected_pins(binding: Binding, book: DeviceBook, machine: MachineModel | None) -> Mapping[str, PinExpectation]:
    """What every chip pin of the case's board should show, by pin; kept as long as the copper stays."""
    key = ("pin expectations", book.digest, machine)
    if key not in binding.kept:
        made = board_expectations(binding.board, book, machine)
        binding.kept[key] = {one.pin: one for one in made.pins}
    found: Mapping[str, PinExpectation] = binding.kept[key]
    return found


def _chips_on(binding: Binding, book: DeviceBook, net: str) -> list[tuple[Chip, PinKind]]:
    """The chips of the book that have a pin on a net and are fitted."""
    out = {ref for ref, state in part_states(binding.state).items() if str(state) in ("out", "not fitted")}
    found = []
    for part in binding.board.parts:
        mine = [q.number for q in part.pins if q.net is not None and binding.board.nets[q.net].name == net]
        chip = book.find(part.value) if mine and part.ref not in out else None
        pins = [chip.pin(number) for number in mine] if chip is not None else []
        found += [(chip, pin.kind) for pin in pins if chip is not None and pin is not None]
    return found


def note_record(
    workshop: Workshop,
    case: str,
    data: bytes,
    capture: Capture,
    looked: Sequence[MeasuredWave],
    more: Mapping[str, Json] | None = None,
    entry_id: str | None = None,
) -> Noted:
    """Write a record with its measured channels: one entry of kind wave, the file kept by its hash. It is on disk when this returns."""
    sha256 = workshop.store.attach(data)
    first = looked[0]
    features: dict[str, Json] = {
        **_kept(first.features),
        "verdict": first.evidence,
        "verdicts": [one.evidence for one in looked],
        "seen": [one.features.verdict for one in looked],
        "channels": [one.features.channel for one in looked],
        **(more or {}),
    }
    media = next((kind for word, kind in MEDIA.items() if capture.words.startswith(word)), "text/csv")
    words = "; ".join(f"{one.point}: {one.features.words}" for one in looked)
    request = Request(
        kind="wave",
        points=tuple(one.point for one in looked),
        words=words[:400],
        fields={"sha256": sha256, "media": media, "features": features},
        instrument=capture.name or "record",
        entry_id=entry_id,
    )
    return note(workshop, case, request)


_KEPT = (
    "frequency_hz", "frequency_u_hz", "period_s", "duty", "width_s", "low_v", "high_v", "rise_s", "fall_s", "overshoot", "undershoot", "edges",
    "runts", "glitches", "samples", "length_s", "step_s",
)  # fmt: skip


def _kept(features: Features) -> dict[str, Json]:
    plain = features.as_dict()
    return {name: plain[name] for name in _KEPT}


def typed_for_case(
    workshop: Workshop,
    case: str,
    read: TypedFrequency,
    point: str,
    raw: str,
    book: DeviceBook,
    machine: MachineModel | None,
    asked: Asked,
    entry_id: str | None = None,
) -> TypedJudged:
    """A typed figure judged against what its point should show, and noted as a level: right, wrong, or pulsing where it is too coarse to tell."""
    here = here_of(bind(workshop, case), book, machine, point)
    hertz = asked.hertz if asked.hertz is not None else here.hertz
    ppm = CRYSTAL_PPM if asked.tolerance_ppm is None else asked.tolerance_ppm
    judged = judge_typed(read, hertz, ppm)
    coarse = hertz is None or read.high_hz - read.low_hz > 2.0 * COARSE * hertz
    word = "wrong" if judged.verdict == "wrong frequency" else "pulsing" if coarse else "right"
    request = Request(kind="level", points=(here.point.id,), value=word, raw=raw, words=judged.words, entry_id=entry_id)
    return replace(judged, noted=note(workshop, case, request))
