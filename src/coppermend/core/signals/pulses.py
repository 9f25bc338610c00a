"""What is wrong with pulses: overshoot, ringing, runts, glitches.

Overshoot: the greatest excursion beyond the state that a transition goes to, as a share of the amplitude (IEEE 181). Runt: a pulse that leaves one state
towards the other and comes back before it is there (IEEE 181). Glitch: a whole pulse far shorter than all others, or shorter than a chip may see.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coppermend.core.signals.edges import Edges, Flags, share_of_step
from coppermend.core.signals.levels import StateLevels
from coppermend.core.signals.wave import Floats, Ints, Wave

GLITCH_S = 20e-9
"""Shortest pulse that clocks and strobes of the 74LS series are specified for, about 20 to 25 ns (TTL data books, from memory)."""
GLITCH_SHARE = 0.25
"""A pulse shorter than this share of nearly all others is a glitch (an assumption)."""
_LEAST_PULSES = 8
RUNT_SHARE = 1.0 / 3.0
"""An excursion counts as a runt from this share of the way between the thresholds on: below it is noise or ringing (an assumption)."""
SWING = 0.05
"""Swings after a transition count from this share of the amplitude on, and above four noise deviations (an assumption)."""
RING_SWINGS = 3
"""From this many alternating swings on it is ringing: over, under, over (an assumption)."""
_LOOKED_AT = 200


@dataclass(frozen=True, slots=True)
class Swings:
    """After the transitions: ``overshoot`` of the rising, ``undershoot`` of the falling ones (shares of the amplitude, medians), ``ringing`` share of the
    looked-at transitions with three alternating swings or more, ``ringing_hz`` of those (None: none), ``back`` the largest second swing, a share."""

    overshoot: float
    undershoot: float
    ringing: float
    ringing_hz: float | None
    back: float


def swings(wave: Wave, levels: StateLevels, edges: Edges) -> Swings:
    """Overshoot and ringing of a wave's transitions.

    >>> from coppermend.core.signals.edges import wave_edges
    >>> v = np.array([0.0] * 8 + [4.4] + [4.0] * 8)
    >>> levels = StateLevels(0.0, 4.0, 0.0, 0.0, 4.4, False)
    >>> w = Wave("a", "V", v, 0.0, 1.0)
    >>> round(swings(w, levels, wave_edges(w, levels)).overshoot, 6)
    0.1
    """
    if not len(edges) or not edges.after.size:
        return Swings(0.0, 0.0, 0.0, None, 0.0)
    over, under = _beyond(wave.values, levels, edges)
    rings, backs, hertz = _ring(wave, levels, edges)
    return Swings(
        over,
        under,
        float(np.mean(rings)) if rings else 0.0,
        float(np.median(hertz)) if hertz else None,
        float(np.median(backs)) if backs else 0.0,
    )


def _beyond(v: Floats, levels: StateLevels, edges: Edges) -> tuple[float, float]:
    """Medians of the greatest excursion after rising and after falling transitions."""
    ends = np.append(edges.before[1:] + 1, v.size)
    ends = np.maximum(ends, edges.after + 1)
    bounds = np.stack([edges.after, ends], axis=1).ravel()
    bounds = bounds[:-1] if bounds[-1] >= v.size else bounds
    tops = np.maximum.reduceat(v, bounds)[::2]
    floors = np.minimum.reduceat(v, bounds)[::2]
    up = (tops - levels.high)[edges.rising] / levels.amplitude
    down = (levels.low - floors)[~edges.rising] / levels.amplitude
    return tuple(max(0.0, float(np.median(one))) if one.size else 0.0 for one in (up, down))  # type: ignore[return-value]


def _ring(wave: Wave, levels: StateLevels, edges: Edges) -> tuple[list[bool], list[float], list[float]]:
    """Of up to 200 transitions: whether it rings, its second swing, its ringing frequency."""
    v, n = wave.values, len(edges)
    least = max(SWING * levels.amplitude, 4.0 * levels.noise)
    rings: list[bool] = []
    backs: list[float] = []
    hertz: list[float] = []
    for k in range(0, n, max(1, n // _LOOKED_AT)):
        begin = int(edges.after[k])
        end = int(edges.before[k + 1]) + 1 if k + 1 < n else v.size
        level, sign = (levels.high, 1.0) if edges.rising[k] else (levels.low, -1.0)
        away = sign * (v[begin : min(end, begin + 20_000)] - level)
        turns = _turns(away, least, to_the_end=k + 1 == n)
        rings.append(len(turns) >= RING_SWINGS)
        if len(turns) >= 2:
            backs.append(abs(turns[1][1]) / levels.amplitude)
        if len(turns) >= RING_SWINGS:
            length = float(wave.seconds(np.array([float(begin + turns[-1][0])]))[0]) - float(
                wave.seconds(np.array([float(begin + turns[0][0])]))[0]
            )
            hertz.append((len(turns) - 1) / (2.0 * length) if length > 0 else 0.0)
    return rings, backs, hertz


def _turns(away: Floats, least: float, *, to_the_end: bool) -> list[tuple[int, float]]:
    """The extremes of alternating swings beyond ``least``, beginning with one beyond the state: (sample, value).

    A swing that lasts until the next transition is that transition's beginning, unless the record ends there (``to_the_end``).
    """
    beyond = np.flatnonzero(np.abs(away) >= least)
    if not beyond.size:
        return []
    side = away[beyond] > 0
    cuts = np.flatnonzero(side[1:] != side[:-1]) + 1
    found: list[tuple[int, float]] = []
    for group in np.split(beyond, cuts[:64]):
        if (not found and away[group[0]] < 0) or (group[-1] == away.size - 1 and not to_the_end):
            continue
        at = int(group[np.argmax(np.abs(away[group]))])
        found.append((at, float(away[at])))
    return found


def runts(wave: Wave, low: float, high: float, edges: Edges, quiet_s: float = 0.0) -> Floats:
    """Seconds of the runts between two thresholds, (m,). Excursions within ``quiet_s`` after a transition are ringing, not runts.

    >>> v = np.array([0.0, 0.0, 1.6, 0.0, 0.0, 4.0, 4.0])
    >>> from coppermend.core.signals.edges import no_edges
    >>> runts(Wave("a", "V", v, 0.0, 1.0), 0.8, 2.0, no_edges(1.0)).tolist()
    [2.0]
    """
    v = wave.values
    up, down = v >= high, v <= low
    settled = np.flatnonzero(up | down)
    gap = np.flatnonzero((np.diff(settled) > 1) & (up[settled[1:]] == up[settled[:-1]]))
    if not gap.size:
        return np.zeros(0)
    begin, end = settled[gap] + 1, settled[gap + 1]
    bounds = np.stack([begin, end], axis=1).ravel()
    from_low = ~up[settled[gap]]
    tops = np.maximum.reduceat(v, bounds)[::2] - low
    dips = high - np.minimum.reduceat(v, bounds)[::2]
    far = np.where(from_low, tops, dips) >= RUNT_SHARE * (high - low)
    times = wave.seconds(np.asarray(0.5 * (begin + end - 1.0), dtype=np.float64))[far]
    if not len(edges) or quiet_s <= 0:
        return times
    last = np.searchsorted(edges.times_s, times) - 1
    since = np.where(last >= 0, times - edges.times_s[np.maximum(last, 0)], np.inf)
    return np.asarray(times[since > quiet_s])


def glitches(edges: Edges, start_s: float, end_s: float) -> Flags:
    """Which transitions belong to glitches, (n,): both edges of each pulse that is far too short.

    >>> t = np.concatenate([np.arange(20.0), [20.0, 20.05, 20.1]])
    >>> e = Edges(t, np.arange(23) % 2 == 0, np.full(23, np.nan), np.zeros(0, np.int64), np.zeros(0, np.int64), 0.01)
    >>> np.flatnonzero(glitches(e, -1.0, 21.0)).tolist()
    [20, 21]
    """
    drop = np.zeros(len(edges), np.bool_)
    if len(edges) < 2:
        return drop
    widths = np.diff(edges.times_s)
    ends = np.array([edges.times_s[0] - start_s, end_s - edges.times_s[-1]])
    every = np.concatenate([widths, ends[ends > 0]])
    usual = float(np.median(every))
    short = (widths < GLITCH_S) & (widths < 0.5 * usual)
    if widths.size >= _LEAST_PULSES:
        short |= widths < GLITCH_SHARE * float(np.quantile(widths, 0.15))
    if short.mean() > 0.3 and widths.size > 3:
        return drop
    k = 0
    while k < widths.size:
        if short[k]:
            drop[k] = drop[k + 1] = True
            k += 1
        k += 1
    return drop


def widths_of(edges: Edges, rising: bool) -> Floats:
    """The widths of the pulses that begin with a rising (high pulses) or falling edge, in s."""
    gaps = np.diff(edges.times_s)
    return np.asarray(gaps[edges.rising[:-1] == rising])


def passes(v: Floats, k: Ints, level: float) -> Floats:
    """Sample numbers with fraction where the line from k to k + 1 passes a level."""
    return np.asarray(k + share_of_step(v, k, level))
