"""What a measurement is asked for and what it answers: thresholds, expectation, features."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from coppermend.core.findings import Finding

VERDICTS = (
    "right", "moving", "wrong frequency", "stuck low", "stuck high", "floating or contention", "runts and glitches", "ringing",
    "released too early", "released too late", "nothing",
)  # fmt: skip
"""``moving``: it moves, and nothing was expected to compare it with. All others as their words say."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """The input levels of a logic family in volt: at or below ``low_v`` is low, at or above ``high_v`` high. ``named`` False: taken for want of a family."""

    family: str
    low_v: float
    high_v: float
    named: bool = True


@dataclass(frozen=True, slots=True)
class Expected:
    """What should be seen. ``hertz`` None: no frequency is expected. ``level`` low, high or "": where it should stand still."""

    hertz: float | None = None
    tolerance_ppm: float = 100.0
    level: str = ""


@dataclass(frozen=True, slots=True)
class Features:
    """One channel, measured. Volts are null for a logic trace. ``duty``, ``overshoot`` and ``undershoot`` are shares (0.465, not 46.5).

    ``edges`` counts whole transitions of both senses. ``frequency_u_hz`` and ``period_u_s`` are standard uncertainties from sampling, noise and length.
    ``marks_s`` are the 50 % crossings that the page draws (at most 2,000).
    """

    channel: str
    verdict: str
    words: str
    samples: int
    length_s: float
    step_s: float
    edges: int
    frequency_hz: float | None = None
    frequency_u_hz: float | None = None
    period_s: float | None = None
    period_u_s: float | None = None
    jitter_s: float | None = None
    missing: int = 0
    duty: float | None = None
    width_s: float | None = None
    low_v: float | None = None
    high_v: float | None = None
    least_v: float | None = None
    most_v: float | None = None
    noise_v: float | None = None
    rise_s: float | None = None
    fall_s: float | None = None
    overshoot: float | None = None
    undershoot: float | None = None
    ringing_hz: float | None = None
    runts: int = 0
    glitches: int = 0
    share_low: float | None = None
    share_high: float | None = None
    share_between: float | None = None
    thresholds: Thresholds | None = None
    findings: tuple[Finding, ...] = ()
    marks_s: tuple[float, ...] = field(default=(), repr=False)

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values; numbers rounded to 12 significant digits."""
        skip = ("findings", "marks_s", "thresholds")
        out: dict[str, Any] = {
            name: rounded(getattr(self, name)) for name in self.__dataclass_fields__ if name not in skip
        }
        out["thresholds"] = None if self.thresholds is None else plain_thresholds(self.thresholds)
        out["findings"] = [one.as_dict() for one in self.findings]
        return out


def plain_thresholds(one: Thresholds) -> Mapping[str, Any]:
    """Thresholds as plain JSON values."""
    return {"family": one.family, "low_v": one.low_v, "high_v": one.high_v, "named": one.named}


def rounded(value: Any) -> Any:
    """A float to 12 significant digits, anything else as it is.

    >>> rounded(0.1 + 0.2), rounded("a")
    (0.3, 'a')
    """
    return float(f"{value:.12g}") if isinstance(value, float) else value
