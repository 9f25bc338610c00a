"""One channel measured: levels, transitions, period, widths, aberrations, and the verdict.

The order of the verdicts: what cannot be a logic level comes first (floating or contention), then standing still, then a wrong frequency, then runts and
glitches, then ringing, then right or moving. A finding says what else was seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.signals.edges import Edges, trace_edges, wave_edges
from coppermend.core.signals.levels import StateLevels, state_levels
from coppermend.core.signals.model import Expected, Features, Thresholds
from coppermend.core.signals.period import Period, period_of
from coppermend.core.signals.pulses import Swings, glitches, runts, swings, widths_of
from coppermend.core.signals.wave import HIGH, LOW, RELEASED, UNKNOWN, Channel, Trace, Wave

NOTHING_V = 0.05
"""Without a family, a wave that stands still within 50 mV of zero shows nothing: no probe contact, no power, or ground (an assumption)."""
BETWEEN_SHARE = 0.25
"""A wave that spends more than this share of its time between the thresholds has no logic level (an assumption; a transition takes a few per cent)."""
RING_SHARE, RING_OVER = 0.5, 0.15
"""Verdict ringing: half of the transitions ring, and the first or second swing is more than 15 % of the amplitude (an assumption)."""
LEAST_PERIODS = 2.5
"""A record with fewer expected periods than this, and no period found, tells nothing of the frequency (an assumption)."""
MISSING_SHARE = 0.05
"""A clock that misses more of its periods than this has another frequency, as a counter would say; fewer count as glitches (an assumption)."""
SEEN_BETWEEN = 0.05
"""Said when a moving line spends more of its time than this between the thresholds (an assumption)."""
_MARKS = 2000


@dataclass(frozen=True, slots=True)
class _Seen:
    """What one look at a channel found, before it is judged."""

    edges: Edges
    spikes: int
    period: Period | None
    levels: StateLevels | None = None
    swing: Swings | None = None
    runts: int = 0
    shares: tuple[float, float, float] | None = None


def measure(
    channel: Channel,
    expected: Expected | None = None,
    thresholds: Thresholds | None = None,
    window_s: tuple[float, float] | None = None,
) -> Features:
    """The features and the verdict of one channel. ``window_s``: the 50 % crossings between these times are kept as marks. Refusal SIG-001 without a sample.

    >>> v = np.tile([0.2] * 5 + [3.4] * 5, 100)
    >>> f = measure(Wave("CH1", "V", v, 0.0, 1e-8), Expected(1e7, 100.0))
    >>> f.verdict, f.period_s is not None and round(f.period_s * 1e9, 6), f.duty
    ('right', 100.0, 0.5)
    """
    size = channel.values.size if isinstance(channel, Wave) else channel.times_s.size
    if size < 2 and not (isinstance(channel, Trace) and size == 1):
        raise refuse(
            "SIG-001",
            f"The channel holds {size} samples, at least 2 are measured.",
            "Record it again.",
            Place(thing=channel.name),
        )
    wanted = expected or Expected()
    if isinstance(channel, Wave):
        found = _wave(channel, thresholds)
    else:
        found = _trace(channel)
    done = _judged(channel, found, wanted, thresholds)
    times = found.edges.times_s
    inside = times if window_s is None else times[(times >= window_s[0]) & (times <= window_s[1])]
    return replace(done, marks_s=tuple(float(t) for t in inside[:_MARKS]))


def _wave(wave: Wave, thresholds: Thresholds | None) -> _Seen:
    levels = state_levels(wave.values)
    edges = wave_edges(wave, levels)
    drop = glitches(edges, wave.start_s, wave.end_s)
    kept = edges.without(drop)
    shares = None if thresholds is None else _shares(wave, thresholds)
    swing = swings(wave, levels, kept)
    return _Seen(
        kept,
        int(drop.sum()) // 2,
        _whole_record(_widened(period_of(kept), wave.step_u), kept, wave.start_s, wave.end_s),
        levels,
        swing,
        _runts(wave, levels, edges, thresholds),
        shares,
    )


def _whole_record(period: Period | None, edges: Edges, start_s: float, end_s: float) -> Period | None:
    """The period with what is missing before the first and after the last edge, from two periods on: a clock that stops, or starts late."""
    if period is None:
        return None
    gaps = [float(edges.times_s[0]) - start_s, end_s - float(edges.times_s[-1])]
    more = sum(int(gap / period.period_s) for gap in gaps if gap >= 2.0 * period.period_s)
    return replace(period, missing=period.missing + more)


def _runts(wave: Wave, levels: StateLevels, edges: Edges, thresholds: Thresholds | None) -> int:
    """Runts between the family's thresholds, or 30 and 70 % of the amplitude; nothing shows in a wave of one level."""
    if levels.steady:
        return 0
    low, high = (
        (thresholds.low_v, thresholds.high_v)
        if thresholds is not None
        else (levels.low + 0.3 * levels.amplitude, levels.low + 0.7 * levels.amplitude)
    )
    if not levels.low <= low < high <= levels.high:
        return 0
    usual = float(np.median(np.diff(edges.times_s))) if len(edges) > 1 else 0.0
    slow = float(np.nanmedian(edges.duration_s)) if len(edges) else 0.0
    return int(runts(wave, low, high, edges, min(10.0 * max(slow, wave.step_s), 0.25 * usual)).size)


def _widened(period: Period | None, step_u: float) -> Period | None:
    """The period with what the record's own times leave open."""
    return (
        period
        if period is None or not step_u
        else replace(period, u_s=math.hypot(period.u_s, step_u * period.period_s))
    )


def _shares(wave: Wave, thresholds: Thresholds) -> tuple[float, float, float]:
    """Shares of the samples that are low, high, between."""
    low = float(np.mean(wave.values <= thresholds.low_v))
    high = float(np.mean(wave.values >= thresholds.high_v))
    return low, high, max(0.0, 1.0 - low - high)


def _trace(trace: Trace) -> _Seen:
    edges = trace_edges(trace)
    drop = glitches(edges, trace.start_s, trace.end_s)
    kept = edges.without(drop)
    low, high = trace.share(LOW), trace.share(HIGH)
    period = _whole_record(_widened(period_of(kept), trace.step_u), kept, trace.start_s, trace.end_s)
    return _Seen(kept, int(drop.sum()) // 2, period, shares=(low, high, max(0.0, 1.0 - low - high)))


# ---- judging ----
def _judged(channel: Channel, seen: _Seen, wanted: Expected, thresholds: Thresholds | None) -> Features:
    notes: list[Finding] = []
    facts = _facts(channel, seen, thresholds)
    verdict = _level_verdict(channel, seen, thresholds, notes)
    if wanted.hertz is not None and verdict.startswith("stuck") and facts.length_s * wanted.hertz < 1.0:
        notes.append(_too_short(wanted.hertz, facts.length_s, channel.name))
        verdict = "nothing"
    verdict = verdict or _moving_verdict(seen, wanted, notes, channel.name, facts.length_s)
    _said(channel, seen, wanted, notes)
    if verdict in ("stuck low", "stuck high") and wanted.level and verdict.endswith(wanted.level):
        verdict = "right"
    return replace(facts, verdict=verdict, words=words_of(replace(facts, verdict=verdict)), findings=tuple(notes))


def _level_verdict(channel: Channel, seen: _Seen, limits: Thresholds | None, notes: list[Finding]) -> str:
    """Verdicts that need no edge: nothing, floating, stuck; "" when it moves between levels."""
    if isinstance(channel, Trace):
        return _trace_level(channel, seen)
    levels = seen.levels
    if levels is None:
        return ""
    if limits is None:
        return _without_family(levels, notes, channel.name) if levels.steady else ""
    low, high, between = seen.shares or (0.0, 0.0, 1.0)
    if between > BETWEEN_SHARE and _idle_between(levels, limits, between):
        return "floating or contention"
    if low > 0 and high > 0:
        return ""
    if high == 0 and levels.high <= limits.low_v:
        return "stuck low"
    if low == 0 and levels.low >= limits.high_v:
        return "stuck high"
    if levels.steady or not len(seen.edges):
        return (
            "stuck low"
            if low >= 1.0 - BETWEEN_SHARE
            else "stuck high"
            if high >= 1.0 - BETWEEN_SHARE
            else "floating or contention"
        )
    return "floating or contention"


def _idle_between(levels: StateLevels, limits: Thresholds, between: float) -> bool:
    """Whether the time between the thresholds is spent at a level, not in slow transitions: a state lies there, or most of the time does."""
    lies = any(limits.low_v < one < limits.high_v for one in (levels.low, levels.high))
    return lies or between > 0.75


def _without_family(levels: StateLevels, notes: list[Finding], name: str) -> str:
    if abs(levels.low) <= NOTHING_V and levels.most - levels.least <= 2 * NOTHING_V + 10 * levels.noise:
        return "nothing"
    notes.append(
        Finding(
            "SIG-002",
            Severity.GUESS,
            Place(thing=name),
            "No logic family named; judged by TTL levels, 0.8 and 2.0 V.",
            "Name the family that reads this pin: --family HC.",
        )
    )
    return "stuck low" if levels.low <= 0.8 else "stuck high" if levels.low >= 2.0 else "floating or contention"


def _trace_level(trace: Trace, seen: _Seen) -> str:
    low, high, _ = seen.shares or (0.0, 0.0, 1.0)
    if trace.share(RELEASED, UNKNOWN) > BETWEEN_SHARE:
        return "floating or contention" if trace.share(RELEASED) > 0 or low + high > 0 else "nothing"
    if len(seen.edges) or seen.spikes:
        return ""
    return "stuck low" if low >= high else "stuck high"


def _moving_verdict(seen: _Seen, wanted: Expected, notes: list[Finding], name: str, length_s: float) -> str:
    if wanted.hertz is not None and seen.period is None and length_s * wanted.hertz < LEAST_PERIODS:
        notes.append(_too_short(wanted.hertz, length_s, name))
        return "moving"
    if wanted.hertz is not None and not _frequency_fits(seen, wanted, notes, name):
        return "wrong frequency"
    if seen.runts or seen.spikes or (wanted.hertz is not None and seen.period is not None and seen.period.missing):
        return "runts and glitches"
    swing = seen.swing
    if (
        swing is not None
        and swing.ringing >= RING_SHARE
        and max(swing.overshoot, swing.undershoot, swing.back) > RING_OVER
    ):
        return "ringing"
    return "right" if wanted.hertz is not None else "moving"


def _too_short(hertz: float, length_s: float, name: str) -> Finding:
    return Finding(
        "SIG-013",
        Severity.WARNING,
        Place(thing=name),
        f"The record holds {length_s * hertz:.2g} periods of the expected {hertz:.9g} Hz: too few to judge.",
        "Record more periods.",
    )


def _frequency_fits(seen: _Seen, wanted: Expected, notes: list[Finding], name: str) -> bool:
    """Whether expected and measured frequency agree within tolerance and twice the uncertainty; says when that is no proof."""
    expect = wanted.hertz or 0.0
    if seen.period is None:
        few = len(seen.edges) < 4
        words = "too few transitions for a period" if few else "it moves without a period"
        notes.append(
            Finding(
                "SIG-003",
                Severity.WARNING,
                Place(thing=name),
                f"{expect:.9g} Hz expected; {words}.",
                "Record more periods." if few else "Look at what gates it.",
            )
        )
        return False
    share = seen.period.missing / (seen.period.missing + seen.period.edges)
    off = max(abs(seen.period.frequency_hz - expect), expect * share if share > MISSING_SHARE else 0.0)
    slack, doubt = expect * wanted.tolerance_ppm * 1e-6, 2.0 * seen.period.frequency_u_hz
    if off > slack + doubt:
        return False
    if off + doubt > slack:
        ppm = 1e6 * doubt / expect
        notes.append(
            Finding(
                "SIG-004",
                Severity.WARNING,
                Place(thing=name),
                f"The record tells the frequency to {ppm:.3g} ppm (twice its uncertainty): no proof within {wanted.tolerance_ppm:g} ppm.",
                "Record more periods, or sample faster.",
            )
        )
    return True


def _said(channel: Channel, seen: _Seen, wanted: Expected, notes: list[Finding]) -> None:
    """Findings beside the verdict."""
    place = Place(thing=channel.name)
    if seen.period is not None and seen.period.missing:
        notes.append(
            Finding(
                "SIG-005",
                Severity.WARNING,
                place,
                f"{seen.period.missing} periods have no edge.",
                "A gated clock does that; a free one must not.",
            )
        )
    if seen.spikes:
        notes.append(
            Finding("SIG-006", Severity.WARNING, place, f"{seen.spikes} pulses are far too short (glitches).", "")
        )
    if seen.runts:
        notes.append(
            Finding(
                "SIG-007",
                Severity.WARNING,
                place,
                f"{seen.runts} pulses turn back half-way (runts).",
                "Two outputs against each other, or a load too heavy.",
            )
        )
    if seen.swing is not None and seen.swing.ringing >= RING_SHARE:
        notes.append(
            Finding(
                "SIG-008",
                Severity.NOTE,
                place,
                "The transitions ring.",
                "See first whether the probe's ground lead is short.",
            )
        )
    if len(seen.edges) and isinstance(channel, Wave) and not seen.edges.resolved.mean() > 0.5:
        notes.append(
            Finding(
                "SIG-009",
                Severity.NOTE,
                place,
                f"Transitions fall between two samples: rise and fall take at most {2 * channel.step_s:.3g} s.",
                "Sample faster to see them.",
            )
        )
    per = seen.period.period_s / seen.edges.grid_s if seen.period is not None and seen.edges.grid_s > 0 else np.inf
    if per < 4.0:
        notes.append(
            Finding(
                "SIG-010",
                Severity.WARNING,
                place,
                f"Only {per:.2g} samples a period: it may be the image of a faster wave (aliasing).",
                "Sample ten times a period or more.",
            )
        )
    low, high, between = seen.shares or (0.0, 0.0, 0.0)
    if low > 0 and high > 0 and between > SEEN_BETWEEN and isinstance(channel, Wave):
        notes.append(
            Finding(
                "SIG-012",
                Severity.NOTE,
                place,
                f"{100 * between:.3g} % of the time it lies between the thresholds: released, slow, or two outputs at once.",
                "Look at what drives it then.",
            )
        )
    if isinstance(channel, Trace) and 0 < channel.share(UNKNOWN, RELEASED) <= BETWEEN_SHARE:
        notes.append(
            Finding(
                "SIG-011",
                Severity.NOTE,
                place,
                f"{100 * channel.share(UNKNOWN, RELEASED):.3g} % of the time its level is not known (x) or released (z).",
                "",
            )
        )


def _facts(channel: Channel, seen: _Seen, limits: Thresholds | None) -> Features:
    edges, period, swing, levels = seen.edges, seen.period, seen.swing, seen.levels
    start = channel.start_s if isinstance(channel, Trace) else float(channel.seconds(np.zeros(1))[0])
    high = widths_of(edges, True)
    up = edges.duration_s[edges.rising] if levels is not None else edges.duration_s[:0]
    down = edges.duration_s[~edges.rising] if levels is not None else edges.duration_s[:0]
    moving = levels is not None and len(edges) > 0
    shares = seen.shares or (None, None, None)
    return Features(
        channel=channel.name,
        verdict="",
        words="",
        samples=channel.values.size if isinstance(channel, Wave) else int(channel.times_s.size),
        length_s=channel.end_s - start,
        step_s=edges.grid_s,
        edges=len(edges) + 2 * seen.spikes,
        frequency_hz=period.frequency_hz if period else None,
        frequency_u_hz=period.frequency_u_hz if period else None,
        period_s=period.period_s if period else None,
        period_u_s=period.u_s if period else None,
        jitter_s=period.jitter_s if period else None,
        missing=period.missing if period else 0,
        duty=float(high.mean()) / period.period_s if period and high.size else None,
        width_s=float(np.median(high)) if high.size else None,
        low_v=levels.low if levels else None,
        high_v=levels.high if levels else None,
        least_v=levels.least if levels else None,
        most_v=levels.most if levels else None,
        noise_v=levels.noise if levels else None,
        rise_s=float(np.median(up)) if up.size else None,
        fall_s=float(np.median(down)) if down.size else None,
        overshoot=swing.overshoot if swing and moving else None,
        undershoot=swing.undershoot if swing and moving else None,
        ringing_hz=swing.ringing_hz if swing else None,
        runts=seen.runts,
        glitches=seen.spikes,
        share_low=shares[0],
        share_high=shares[1],
        share_between=shares[2],
        thresholds=limits,
    )


def words_of(f: Features) -> str:
    """A channel in one line: verdict, levels, frequency."""
    parts = [f.verdict]
    if f.low_v is not None and f.high_v is not None:
        parts.append(f"{f.low_v:.3g} V" if f.low_v == f.high_v else f"{f.low_v:.3g} to {f.high_v:.3g} V")
    if f.frequency_hz is not None and f.frequency_u_hz is not None:
        parts.append(f"{_scaled(f.frequency_hz)} ± {f.frequency_u_hz:.2g} Hz")
    if f.duty is not None:
        parts.append(f"duty {100 * f.duty:.3g} %")
    return ", ".join(parts)


def _scaled(hertz: float) -> str:
    for scale, unit in ((1e6, "MHz"), (1e3, "kHz")):
        if hertz >= scale:
            return f"{hertz / scale:.9g} {unit}"
    return f"{hertz:.9g} Hz"
