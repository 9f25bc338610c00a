"""A channel as few points as a picture needs: samples where they fit, else the least and the greatest of each column, so that no spike is lost."""

from __future__ import annotations

from typing import Any

import numpy as np

from coppermend.core.signals.model import Features
from coppermend.core.signals.wave import Channel, Trace, Wave

COLUMNS = 1000
MOST_MARKS = 400
_DIGITS = 9


def picture(
    channel: Channel,
    features: Features | None = None,
    begin_s: float | None = None,
    end_s: float | None = None,
    columns: int = COLUMNS,
) -> dict[str, Any]:
    """A channel between two times as plain JSON values.

    ``kind`` line (``time_s``, ``volt``), envelope (``time_s``, ``least_v``, ``most_v`` of each column) or steps (``time_s``, ``level`` 0, 1, x, z);
    ``begin_s``, ``end_s`` what is shown, ``first_s``, ``last_s`` the whole record; with features the levels, thresholds and the 50 % crossings.

    >>> picture(Wave("a", "V", np.arange(10.0), 0.0, 1.0), columns=4)["least_v"]
    [0.0, 2.0, 5.0, 7.0]
    """
    first = channel.start_s if isinstance(channel, Trace) else float(channel.seconds(np.zeros(1))[0])
    begin = first if begin_s is None else min(max(begin_s, first), channel.end_s)
    end = channel.end_s if end_s is None else min(max(end_s, begin), channel.end_s)
    shown = _steps(channel, begin, end, columns) if isinstance(channel, Trace) else _line(channel, begin, end, columns)
    out = {"channel": channel.name, "begin_s": begin, "end_s": end, "first_s": first, "last_s": channel.end_s, **shown}
    return out if features is None else {**out, **_marks(features, begin, end)}


def _line(wave: Wave, begin: float, end: float, columns: int) -> dict[str, Any]:
    if wave.times_s is not None:
        k0, k1 = (int(k) for k in np.searchsorted(wave.times_s, [begin, end]))
    else:
        k0, k1 = int((begin - wave.start_s) / wave.step_s), int(np.ceil((end - wave.start_s) / wave.step_s))
    k0, k1 = max(0, k0 - 1), min(wave.values.size, k1 + 2)
    part = wave.values[k0:k1]
    if part.size <= 2 * columns:
        times = wave.seconds(np.arange(k0, k1, dtype=np.float64))
        return {"kind": "line", "time_s": _plain(times), "volt": _plain(part)}
    starts = np.arange(columns, dtype=np.int64) * part.size // columns
    least, most = np.minimum.reduceat(part, starts), np.maximum.reduceat(part, starts)
    times = wave.seconds((k0 + starts).astype(np.float64))
    return {"kind": "envelope", "time_s": _plain(times), "least_v": _plain(least), "most_v": _plain(most)}


def _steps(trace: Trace, begin: float, end: float, columns: int) -> dict[str, Any]:
    """The changes; where there are more than two a column, one change a column is kept and the rest is said to be dense."""
    k0, k1 = (int(k) for k in np.searchsorted(trace.times_s, [begin, end], side="right"))
    times = np.append(begin, trace.times_s[k0:k1])
    levels = np.append(trace.at(np.array([begin])), trace.levels[k0:k1])
    dense = times.size > 2 * columns
    if dense:
        every = np.linspace(0, times.size - 1, 2 * columns).astype(np.int64)
        times, levels = times[every], levels[every]
    return {"kind": "steps", "time_s": _plain(times), "level": ["01xz"[int(one)] for one in levels], "dense": dense}


def _marks(features: Features, begin: float, end: float) -> dict[str, Any]:
    inside = [one for one in features.marks_s if begin <= one <= end]
    limits = features.thresholds
    return {
        "low_v": features.low_v,
        "high_v": features.high_v,
        "thresholds": None
        if limits is None
        else {"family": limits.family, "low_v": limits.low_v, "high_v": limits.high_v},
        "edges_s": inside if len(inside) <= MOST_MARKS else [],
        "words": features.words,
    }


def _plain(values: np.ndarray) -> list[float]:
    return [float(f"{one:.{_DIGITS}g}") for one in values]
