"""Several channels of one record together: a chip's gates against their logic, and starts as timed sequences. Of a case: services/wavesetcase.py."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from coppermend.core.findings import Place, refuse
from coppermend.core.log.state import plain
from coppermend.core.signals.edges import to_trace
from coppermend.core.signals.gates import SETTLE_S, GateReport, check_gate
from coppermend.core.signals.model import Thresholds
from coppermend.core.signals.starts import StartRules, StartSeen, read_start, repeated
from coppermend.core.signals.wave import Capture, Trace, Wave
from coppermend.devices.book import DeviceBook
from coppermend.devices.model import Chip
from coppermend.services.waves import thresholds_of

if TYPE_CHECKING:
    from coppermend.services.notes import Noted

TTL = Thresholds("TTL", 0.8, 2.0, named=False)


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
    limits = thresholds_of(book, family) if family else own_thresholds(chip)
    traces = {number: _trace(capture, channel, limits) for number, channel in pins.items()}
    return GateJudged(chip.type, part, check_gate(chip, traces, settle_s), pins, capture.words)


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


def own_thresholds(chip: Chip) -> Thresholds:
    """The input thresholds of a chip's own family; TTL's where the book knows none."""
    family = chip.family
    return TTL if family.vil_v is None or family.vih_v is None else Thresholds(family.name, family.vil_v, family.vih_v)


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
    return StartsJudged(tuple(one_start(one, asked, limits) for one in captures))


def one_start(capture: Capture, asked: StartAsked, limits: Thresholds | None) -> StartSeen:
    """One record as a start: the named channels by the rules."""
    rail = capture.channel(asked.rail) if asked.rail else None
    clock = capture.channel(asked.clock) if asked.clock else None
    return read_start(capture.channel(asked.reset), rail, clock, asked.rules, limits)
