"""Transitions of a wave or trace: where they cross 50 %, how long they take from 10 to 90 %, and what lies between them.

Reference levels are 10, 50 and 90 % of the amplitude; crossings lie on the straight line between two samples (IEEE 181, as repeated in docs/sources.md).
A transition is complete when the wave has gone from at most 10 % to at least 90 % or back: noise and runts in between make none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coppermend.core.signals.levels import StateLevels
from coppermend.core.signals.wave import HIGH, LOW, Floats, Ints, Trace, Wave

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Transitions in order of time, all arrays (n,): ``times_s`` of the 50 % crossing, ``rising``, ``duration_s`` from 10 to 90 % (NaN for a trace).

    ``before`` last sample in the old state, ``after`` first in the new one (empty for a trace). ``grid_s`` the step of the samples.
    ``resolved`` True where at least one sample lies inside the transition.
    """

    times_s: Floats
    rising: Flags
    duration_s: Floats
    before: Ints
    after: Ints
    grid_s: float

    def __len__(self) -> int:
        return int(self.times_s.size)

    @property
    def resolved(self) -> Flags:
        """Whether samples lie inside each transition; all False for a trace."""
        return np.asarray(self.after - self.before > 1) if self.after.size else np.zeros(len(self), np.bool_)

    def without(self, drop: Flags) -> Edges:
        """The transitions that are not dropped."""
        keep = ~drop
        pick = keep if self.after.size else slice(0, 0)
        return Edges(
            self.times_s[keep],
            self.rising[keep],
            self.duration_s[keep],
            self.before[pick],
            self.after[pick],
            self.grid_s,
        )


def no_edges(grid_s: float) -> Edges:
    """No transition at all."""
    none = np.zeros(0)
    return Edges(none, np.zeros(0, np.bool_), none, np.zeros(0, np.int64), np.zeros(0, np.int64), grid_s)


def wave_edges(wave: Wave, levels: StateLevels) -> Edges:
    """The transitions of a wave between its state levels.

    >>> v = np.array([0.0, 0.0, 1.0, 2.0, 3.0, 4.0, 4.0])
    >>> from coppermend.core.signals.levels import state_levels
    >>> e = wave_edges(Wave("a", "V", v, 0.0, 1.0), state_levels(v))
    >>> e.times_s.tolist(), [round(float(x), 9) for x in e.duration_s]
    ([3.0], [3.2])
    """
    if levels.steady or levels.amplitude <= 0:
        return no_edges(wave.step_s)
    v = wave.values
    p10, p50, p90 = (levels.low + share * levels.amplitude for share in (0.1, 0.5, 0.9))
    before, after, rising = state_changes(v, p10, p90)
    if not before.size:
        return no_edges(wave.step_s)
    first, last = np.where(rising, p10, p90), np.where(rising, p90, p10)
    begin = wave.seconds(before + share_of_step(v, before, first))
    end = wave.seconds(after - 1 + share_of_step(v, after - 1, last))
    return Edges(_middles(wave, p50, before, after), rising, end - begin, before, after, wave.step_s)


def state_changes(v: Floats, low: float, high: float) -> tuple[Ints, Ints, Flags]:
    """Where a wave goes from at or below ``low`` to at or above ``high`` or back: last sample of the old state, first of the new, and which way."""
    up = v >= high
    settled = np.flatnonzero(up | (v <= low))
    state = up[settled]
    change = np.flatnonzero(state[1:] != state[:-1])
    return settled[change], settled[change + 1], state[change + 1]


def share_of_step(v: Floats, k: Ints, level: Floats | float) -> Floats:
    """How far between samples k and k + 1 the straight line crosses a level, 0 to 1."""
    here, there = v[k], v[k + 1]
    gap = there - here
    share = np.divide(level - here, gap, out=np.full(k.size, 0.5), where=gap != 0)
    return np.asarray(np.clip(share, 0.0, 1.0))


def _middles(wave: Wave, p50: float, before: Ints, after: Ints) -> Floats:
    """Seconds of the 50 % crossings; where noise crosses several times within one transition, the middle of the first and the last."""
    v = wave.values
    over = v >= p50
    crossing = np.flatnonzero(over[1:] != over[:-1])
    first = crossing[np.searchsorted(crossing, before)]
    last = crossing[np.searchsorted(crossing, after) - 1]
    begin = wave.seconds(first + share_of_step(v, first, p50))
    end = wave.seconds(last + share_of_step(v, last, p50))
    return np.asarray(0.5 * (begin + end))


def trace_edges(trace: Trace) -> Edges:
    """The transitions of a trace between known levels; what lies between through x or z counts when the new level comes."""
    known = np.flatnonzero((trace.levels == LOW) | (trace.levels == HIGH))
    if known.size < 2:
        return no_edges(trace.grid_s)
    level = trace.levels[known]
    change = np.flatnonzero(level[1:] != level[:-1]) + 1
    none = np.zeros(0, np.int64)
    return Edges(
        trace.times_s[known[change]], level[change] == HIGH, np.full(change.size, np.nan), none, none, trace.grid_s
    )


def to_trace(wave: Wave, low: float, high: float) -> Trace:
    """A wave as a trace by two thresholds: it keeps its level between them. UNKNOWN until it has been beyond one; times by straight lines at their middle.

    >>> t = to_trace(Wave("a", "V", np.array([0.0, 0.0, 5.0, 1.5, 0.0]), 0.0, 1.0), 0.8, 2.0)
    >>> t.levels.tolist(), t.times_s.round(2).tolist()
    ([0, 1, 0], [0.0, 1.28, 3.07])
    """
    v = wave.values
    before, after, rising = state_changes(v, low, high)
    settled = np.flatnonzero((v >= high) | (v <= low))
    begin = float(wave.seconds(np.zeros(1))[0])
    if not settled.size:
        return Trace(wave.name, np.array([begin]), np.array([2], np.int8), wave.end_s, wave.step_s)
    first = int(settled[0])
    times = [np.array([begin])] if first == 0 else [np.array([begin]), wave.seconds(np.array([float(first)]))]
    levels = [HIGH if v[first] >= high else LOW] if first == 0 else [2, HIGH if v[first] >= high else LOW]
    if before.size:
        times.append(_crossings(wave, low, high, before, after))
    return Trace(
        wave.name,
        np.concatenate(times),
        np.concatenate([np.array(levels, np.int8), rising.astype(np.int8)]),
        wave.end_s,
        wave.step_s,
    )


def _crossings(wave: Wave, low: float, high: float, before: Ints, after: Ints) -> Floats:
    return _middles(wave, 0.5 * (low + high), before, after)
