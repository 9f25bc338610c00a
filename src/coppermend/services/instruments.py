"""Instruments on the bench: found, named, tried, their leads zeroed, and a touch's reading written as one entry like any other answer."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Finding, refuse
from coppermend.core.log.canonical import Json, canonical_bytes, sha256_hex
from coppermend.core.log.model import Entry
from coppermend.core.log.state import CaseState, plain
from coppermend.core.log.values import ohm_words, volt_words
from coppermend.core.signals.leads import LeadZero, without_leads, zero_of
from coppermend.services.bench import next_for_case
from coppermend.services.cases import case_state
from coppermend.services.entries import write
from coppermend.services.health import Look
from coppermend.services.notes import Noted, note, noted
from coppermend.services.ports import FoundInstrument, Instruments, Meter, Sample, WaveTaken
from coppermend.services.requests import Request
from coppermend.services.workshop import Workshop

LEADS = "leads"
"""Name of the basis entry that holds the zero of the leads."""
TRIED = 5
"""Readings of a trial and of a zero."""


@dataclass(frozen=True, slots=True)
class Touched:
    """One reading of a meter, ready to be noted under ``id`` (an entry id: noted twice it is written once).

    ``raw`` the meter's last answer unchanged, ``ohm`` before the leads are taken off (None: overload), ``step_ohm`` how fine it is.
    """

    id: str
    raw: str
    ohm: float | None
    step_ohm: float | None
    wires: int
    instrument: str

    @property
    def words(self) -> str:
        """The value in words, leads still in it."""
        return ohm_words(self.ohm)


@dataclass(frozen=True, slots=True)
class Around:
    """What was found: instruments, and the ways to instruments that are closed here."""

    rows: tuple[FoundInstrument, ...]
    closed: tuple[Finding, ...]

    def as_dict(self) -> dict[str, Any]:
        """As plain JSON values."""
        return {"found": [plain(one) for one in self.rows], "closed": [one.as_dict() for one in self.closed]}


@dataclass(frozen=True, slots=True)
class Trial:
    """An instrument tried: who it says it is, what it read, how many readings a second."""

    address: str
    name: str
    what: str
    readings: tuple[str, ...]
    per_s: float
    words: str

    def as_dict(self) -> dict[str, Any]:
        """As plain JSON values."""
        return dict(plain(self))


def look_around(instruments: Instruments) -> Around:
    """What could be an instrument here. Nothing is opened, nothing on the network is asked."""
    return Around(*instruments.found())


def look_at_instruments(instruments: Instruments) -> Look:
    """For ``doctor``: what is plugged in, and what is unavailable because of what. No meter is needed, so this is never bad."""
    around = look_around(instruments)
    real = [one for one in around.rows if one.kind != "simulated"]
    found = f"{len(real)} plugged in: {', '.join(one.address for one in real)}" if real else "none plugged in"
    shut = "; ".join(f"unavailable because: {one.words}" for one in around.closed)
    remedy = " ".join(one.remedy for one in around.closed)
    words = f"{found}; {shut}" if shut else found
    return Look("instruments", "warning" if around.closed else "ok", words, remedy)


def try_meter(
    instruments: Instruments,
    address: str,
    wires: int = 2,
    baud: int = 9600,
    now_s: Callable[[], float] = time.monotonic,
) -> Trial:
    """Open a meter, ask its name, set it to ohms, read a few times, let go. Refusal INS-0xx in words."""
    meter = instruments.meter(address, baud)
    try:
        name = meter.identity().words
        meter.set_ohms(wires)
        begin = now_s()
        samples = [meter.read() for _ in range(TRIED)]
        per_s = TRIED / max(now_s() - begin, 1e-6)
    finally:
        meter.close()
    rate = f"{per_s:.0f}" if per_s >= 3 else f"{per_s:.1f}"
    words = f"{name} reads ohms in {wires} wires, {rate} times a second. Last: {ohm_words(samples[-1].ohm)}."
    return Trial(meter.address, name, "meter", tuple(one.raw for one in samples), round(per_s, 2), words)


def try_scope(instruments: Instruments, address: str, channel: int = 1, baud: int = 9600) -> Trial:
    """Open an oscilloscope, ask its name, take what a channel shows, let go. Refusal INS-0xx in words."""
    name, opened, taken = _wave(instruments, address, channel, baud)
    low, high = min(taken.volts), max(taken.volts)
    words = (
        f"{name}, channel {channel}: {len(taken.volts)} samples, {volt_words(low)} to {volt_words(high)}, "
        f"{taken.step_s * (len(taken.volts) - 1):.3g} s long."
    )
    return Trial(opened, name, "scope", (volt_words(low), volt_words(high)), 0.0, words)


def take_wave(instruments: Instruments, address: str, channel: int = 1, baud: int = 9600) -> bytes:
    """What a channel shows, as CSV: a head line, then second and volt of each sample."""
    _, _, taken = _wave(instruments, address, channel, baud)
    rows = [f"{taken.start_s + k * taken.step_s:.9e},{volt:.6e}" for k, volt in enumerate(taken.volts)]
    return ("time_s,volt\n" + "\n".join(rows) + "\n").encode()


def _wave(instruments: Instruments, address: str, channel: int, baud: int) -> tuple[str, str, WaveTaken]:
    scope = instruments.scope(address, baud)
    try:
        return scope.identity().words, scope.address, scope.wave(channel)
    finally:
        scope.close()


# ---- leads ----
def zero_from(samples: Sequence[Sample], wires: int) -> LeadZero:
    """The zero of the leads from readings with the tips on each other. Refusal INS-011 when they are none, or for four wires, which need none."""
    if wires != 2:
        raise refuse("INS-011", "Four wires need no zero: the leads are not measured.", "Take the zero with two wires.")
    return zero_of([one.ohm for one in samples])


def measure_zero(meter: Meter, wires: int) -> LeadZero:
    """Read a few times with the tips on each other: the zero of the leads."""
    return zero_from([meter.read() for _ in range(TRIED)], wires)


def keep_zero(workshop: Workshop, case: str, instrument: str, zero: LeadZero) -> Entry:
    """Write the zero of the leads into the case as its basis "leads": taken off this instrument's two-wire readings from now on."""
    values: dict[str, Json] = {
        "instrument": instrument,
        "wires": 2,
        "zero_ohm": zero.ohm,
        "spread_ohm": zero.spread_ohm,
    }
    sha256 = sha256_hex(canonical_bytes(values))
    return write(workshop, case, "basis", {"name": LEADS, "sha256": sha256, "values": values})


def zero_in(state: CaseState, instrument: str, wires: int) -> LeadZero | None:
    """The zero that the case holds for this instrument; None for four wires or when it was taken with another instrument."""
    for name, _, text in state.basis:
        values = json.loads(text)
        if name == LEADS and wires == 2 and values.get("instrument") == instrument:
            return LeadZero(float(values["zero_ohm"]), float(values["spread_ohm"]))
    return None


# ---- a reading into the log ----
SIMULATED = "Coppermend simulated meter"
"""What the simulated meter names itself (its ``*IDN?``); its readings go into practice cases alone."""


def note_touch(
    workshop: Workshop, case: str, points: Sequence[str], touched: Touched, seen: str | None = None
) -> Noted:
    """Write a meter's reading between two points as an ohms entry, the leads taken off. It is on disk when this returns.

    The same touch again gives the entry that was first written, whatever the points: one touch is one reading, however many pages are open.
    ``seen``: the case's mark on the screen that names the points. Refusal INS-016 when the log has grown since: the points may be those of an
    older check, and another screen that is up to date will name the right ones. INS-017 for the simulated meter in a case that is no practice.
    """
    for entry in workshop.store.entries(case):
        if entry.id == touched.id:
            return noted(entry)
    if seen is not None and seen != workshop.store.mark(case):
        raise refuse(
            "INS-016",
            "This screen was a moment behind; the touch is not noted by it.",
            "If no other screen noted it: lift the tips and touch again.",
        )
    state = case_state(workshop, case)
    if touched.instrument == SIMULATED and not state.practice:
        raise refuse(
            "INS-017",
            "The simulated meter makes its readings up: this case is a real one, and it is not noted.",
            "Take your own meter at Meter, or try the simulated one in a practice case.",
        )
    zero = zero_in(state, touched.instrument, touched.wires)
    ohm = without_leads(touched.ohm, zero)
    fine = None if touched.step_ohm is None else max(touched.step_ohm, zero.spread_ohm if zero else 0.0)
    words = f"leads, {zero.ohm:.3g} ohm, taken off" if zero is not None and ohm is not None else ""
    fields: dict[str, Any] = {"wires": touched.wires} | ({} if fine is None or ohm is None else {"step_ohm": fine})
    if words:
        fields["lead_ohm"] = zero.ohm if zero else 0.0
    return note(
        workshop, case,
        Request(
            kind="ohms", points=tuple(points), value="OL" if ohm is None else f"{ohm:.9g}", raw=touched.raw, words=words,
            fields=fields, instrument=touched.instrument, entry_id=touched.id,
        ),
    )  # fmt: skip


def points_in_hand(workshop: Workshop, case: str) -> tuple[str, str]:
    """The two points of the check that is proposed now. Refusal INS-014 when the next step is no check."""
    check = next_for_case(workshop, case).check
    if check is None:
        raise refuse(
            "INS-014", "The next step is no check of two points.", "Name two points: meter read CASE U1.8 U7.3."
        )
    return check.point_a, check.point_b
