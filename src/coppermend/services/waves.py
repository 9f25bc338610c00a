"""Records of waves measured and judged by what is said by hand; nothing here knows a case (services/wavecase.py does)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from coppermend.core.findings import Finding, Place, refuse
from coppermend.core.log.values import last_digit, parse_value
from coppermend.core.signals.measure import measure
from coppermend.core.signals.model import Expected, Features, Thresholds
from coppermend.core.signals.period import TypedFrequency, typed_frequency, typed_period
from coppermend.core.signals.wave import Capture
from coppermend.devices.book import DeviceBook
from coppermend.formats.waves import read_waves

if TYPE_CHECKING:
    from coppermend.services.notes import Noted

CRYSTAL_TOLERANCE_PPM = 100.0
"""A crystal's clock is within this (common practice, no source); taken when nobody says a tolerance."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What was said by hand; None and "" where nothing was."""

    hertz: float | None = None
    tolerance_ppm: float | None = None
    family: str = ""


@dataclass(frozen=True, slots=True)
class MeasuredWave:
    """One channel measured. ``evidence`` the word that the log keeps for the belief, ``expected`` what should be seen there, in words."""

    features: Features
    point: str = ""
    evidence: str = ""
    expected: str = ""


@dataclass(frozen=True, slots=True)
class MeasuredRecord:
    """A record measured: how it was read, its channels' names, what was measured, and the entry that was written (None: none)."""

    read: str
    channels: tuple[str, ...]
    measured: tuple[MeasuredWave, ...]
    findings: tuple[Finding, ...]
    noted: Noted | None = None
    more: Mapping[str, Any] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """The first channel's features on top, all measured channels in ``measured``; findings of reading and measuring together."""
        first = self.measured[0]
        rows = [_row(one) for one in self.measured]
        own = [one.as_dict() for one in self.findings]
        out = {**rows[0], "findings": own + rows[0]["findings"], "read": self.read, "channels": list(self.channels)}
        if len(rows) > 1:
            out["measured"] = rows
        if self.noted is not None:
            out |= {"entry": self.noted.entry.id, "ref": self.noted.entry.bench_seq, "noted": self.noted.words}
        return {**out, "point": first.point, **self.more}


def _row(one: MeasuredWave) -> dict[str, Any]:
    return {**one.features.as_dict(), "point": one.point, "evidence": one.evidence, "expected": one.expected}


def thresholds_of(book: DeviceBook, family: str) -> Thresholds:
    """The input thresholds of a logic family by its name in the device book. Refusal SIG-030 with the names there are.

    >>> from coppermend.devices.book import shipped
    >>> thresholds_of(shipped(), "hct").high_v
    2.0
    """
    for name, one in book.families.items():
        if name.upper() == family.strip().upper() and one.vil_v is not None and one.vih_v is not None:
            return Thresholds(name, one.vil_v, one.vih_v)
    names = [name for name, one in book.families.items() if one.vih_v is not None]
    raise refuse("SIG-030", f"There is no logic family {family!r}.", f"Families are {', '.join(names)}.")


def read_record(data: bytes, name: str = "", step_s: float | None = None) -> Capture:
    """The record in a file's bytes; refusals WAV-0xx of the readers."""
    return read_waves(data, name, step_s)


def measure_record(capture: Capture, asked: Asked, book: DeviceBook, channel: str = "") -> MeasuredRecord:
    """One channel of a record, measured and judged by what was said by hand."""
    limits = thresholds_of(book, asked.family) if asked.family else None
    ppm = CRYSTAL_TOLERANCE_PPM if asked.tolerance_ppm is None else asked.tolerance_ppm
    features = measure(capture.channel(channel), Expected(asked.hertz, ppm), limits)
    names = tuple(one.name for one in capture.channels)
    return MeasuredRecord(capture.words, names, (MeasuredWave(features),), capture.findings)


@dataclass(frozen=True, slots=True)
class TypedJudged:
    """A typed figure judged: verdict, whether it is proof, in words, and the entry that was written (None: none)."""

    read: TypedFrequency
    verdict: str
    proof: bool
    words: str
    noted: Noted | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        one = self.read
        out: dict[str, Any] = {
            "frequency_hz": one.hertz, "frequency_u_hz": one.u_hz, "low_hz": one.low_hz, "high_hz": one.high_hz, "period_s": one.period_s,
            "verdict": self.verdict, "proof": self.proof, "words": self.words,
        }  # fmt: skip
        return out if self.noted is None else {**out, "entry": self.noted.entry.id, "ref": self.noted.entry.bench_seq}


def judge_typed(read: TypedFrequency, hertz: float | None, tolerance_ppm: float) -> TypedJudged:
    """A figure read by cursor or counter against an expected frequency.

    >>> from coppermend.core.signals.period import typed_period
    >>> judge_typed(typed_period(70e-9, 2e-9), 14.318182e6, 100.0).words
    '14.29 MHz, between 13.89 and 14.71 MHz: agrees with 14.318182 MHz, but too coarse to prove it within 100 ppm'
    """
    scale, unit = (1e6, "MHz") if read.hertz >= 1e6 else (1e3, "kHz") if read.hertz >= 1e3 else (1.0, "Hz")
    digits = _digits(read)
    range_words = f"{read.hertz / scale:.{digits}g} {unit}, between {read.low_hz / scale:.{digits}g} and {read.high_hz / scale:.{digits}g} {unit}"
    if hertz is None:
        return TypedJudged(read, "moving", False, range_words)
    verdict, proof = read.says(hertz, tolerance_ppm), read.proves(hertz, tolerance_ppm)
    expected = f"{hertz / scale:.9g} {unit}"
    if verdict != "right":
        return TypedJudged(read, verdict, False, f"{range_words}: {expected} lies outside")
    end = f"agrees with {expected}" + (
        f" within {tolerance_ppm:g} ppm" if proof else f", but too coarse to prove it within {tolerance_ppm:g} ppm"
    )
    return TypedJudged(read, verdict, proof, f"{range_words}: {end}")


def typed_figure(figure: str, step: str = "", periods: int = 1) -> TypedFrequency:
    """A figure as it is typed (70ns, 14.3MHz), with its step (2ns, 1kHz; "": the last digit typed) and how many periods lie between the cursors.

    Refusal SIG-032 when either is neither a time nor a frequency.

    >>> read = typed_figure("70ns", "2ns")
    >>> round(read.low_hz), round(read.high_hz)
    (13888889, 14705882)
    """
    length, hertz = seconds_or_hertz(figure)
    if length is not None:
        grid = seconds_or_hertz(step)[0] if step else last_digit(figure, length)
        return typed_period(length, grid or 0.0, periods)
    last = seconds_or_hertz(step)[1] if step else last_digit(figure, hertz or 0.0)
    return typed_frequency(hertz or 0.0, last or 0.0)


def typed_raw(figure: str, step: str = "", periods: int = 1) -> str:
    """The figure as the log keeps it: as it was typed, with its step and its periods."""
    return " ".join(
        [figure, *(["step", step] if step else []), *(["over", str(periods), "periods"] if periods > 1 else [])]
    )


def _digits(read: TypedFrequency) -> int:
    """Significant digits that show the ends of the range apart, and one more; 4 to 12.

    >>> from coppermend.core.signals.period import typed_frequency
    >>> _digits(typed_frequency(14.3182e6, 100.0)), _digits(typed_frequency(14.3e6, 1e5))
    (8, 5)
    """
    apart = (read.high_hz - read.low_hz) / read.hertz
    return 12 if apart <= 0 else min(max(4, 2 + math.ceil(-math.log10(apart))), 12)


def seconds_or_hertz(text: str) -> tuple[float | None, float | None]:
    """A typed figure as (seconds, None) or (None, hertz). Refusal SIG-032 when it is neither.

    >>> seconds_or_hertz("70ns"), seconds_or_hertz("14.3 MHz")
    ((7e-08, None), (None, 14300000.0))
    """
    from coppermend.formats.waves.units import figure

    found = figure(text)
    if found is not None and found[1] == "s" and found[0] > 0:
        return found[0], None
    if text.strip().lower().endswith("hz"):
        value = parse_value(text, "hertz")
        if value is not None and value > 0:
            return None, value
    raise refuse(
        "SIG-032", f"{text!r} is no period or frequency.", "Write it like 70ns or 14.3MHz.", Place(text=text[:40])
    )
