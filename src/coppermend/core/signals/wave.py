"""The values of a capture: analogue waves, logic traces, and both together as one record.

``Wave``     one analogue channel: values at even or stated times.
``Trace``    one logic channel: the times at which its level changed.
``Capture``  the channels of one record, with what the reader noticed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coppermend.core.findings import Finding, Place, refuse

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Levels = npt.NDArray[np.int8]

LOW, HIGH, UNKNOWN, RELEASED = 0, 1, 2, 3
"""Levels of a trace: 0, 1, x (not known or in conflict) and z (nobody drives), as IEEE 1364 has them."""


@dataclass(frozen=True, slots=True, eq=False)
class Wave:
    """An analogue channel. ``values`` (n,) in ``unit``; sample k lies at ``start_s + k * step_s``, or at ``times_s[k]`` where that is given.

    ``step_u``: relative standard uncertainty of ``step_s``, where times printed with few digits tell it no better.

    >>> Wave("CH1", "V", np.array([0.0, 5.0, 5.0]), 0.0, 1e-6).end_s
    2e-06
    """

    name: str
    unit: str
    values: Floats
    start_s: float
    step_s: float
    times_s: Floats | None = None
    step_u: float = 0.0

    @property
    def end_s(self) -> float:
        """Second of the last sample."""
        return float(self.seconds(np.array([self.values.size - 1.0]))[0])

    def seconds(self, index: Floats) -> Floats:
        """Seconds at sample numbers with fractions, (m,) to (m,)."""
        if self.times_s is None:
            return np.asarray(self.start_s + self.step_s * index, dtype=np.float64)
        return np.asarray(np.interp(index, np.arange(self.times_s.size), self.times_s), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A logic channel: from ``times_s[k]`` on its level is ``levels[k]`` (LOW, HIGH, UNKNOWN, RELEASED), up to ``end_s``. ``grid_s`` is the step of its times;
    ``step_u`` how well that is known, as in ``Wave``."""

    name: str
    times_s: Floats
    levels: Levels
    end_s: float
    grid_s: float
    step_u: float = 0.0

    @property
    def start_s(self) -> float:
        """Second at which the record begins."""
        return float(self.times_s[0]) if self.times_s.size else self.end_s

    def at(self, times_s: Floats) -> Levels:
        """The level at these times, (m,); UNKNOWN before the record begins.

        >>> Trace("D0", np.array([0.0, 1.0]), np.array([0, 1], np.int8), 2.0, 1.0).at(np.array([-1.0, 0.5, 1.0])).tolist()
        [2, 0, 1]
        """
        k = np.searchsorted(self.times_s, times_s, side="right") - 1
        found = np.where(k >= 0, self.levels[np.maximum(k, 0)] if self.levels.size else UNKNOWN, UNKNOWN)
        return np.asarray(found, dtype=np.int8)

    def share(self, *levels: int) -> float:
        """The share of the record's time spent at these levels, 0 to 1; the share of entries where the record has no length."""
        if not self.times_s.size:
            return 0.0
        spans = np.diff(np.append(self.times_s, self.end_s))
        mine = np.isin(self.levels, levels)
        total = float(spans.sum())
        return float(spans[mine].sum()) / total if total > 0 else float(mine.mean())


Channel = Wave | Trace


@dataclass(frozen=True, slots=True)
class Capture:
    """One record: its channels in the file's order, how it was read (in words), and findings."""

    channels: tuple[Channel, ...]
    words: str
    findings: tuple[Finding, ...] = ()
    name: str = ""

    def channel(self, name: str = "") -> Channel:
        """The channel of that name (case does not matter; a unique ending will do, and the unit of a table's head may stand behind it) or number; "" is the
        first. Refusal WAV-008 when there is no such one, or several."""
        if not name:
            return self.channels[0]
        wanted = name.strip().casefold()
        several: list[int] = []
        for asked in dict.fromkeys((wanted, re.sub(r"\s*[(\[][^()\[\]]*[)\]]$", "", wanted))):
            for test in (str.__eq__, str.endswith):
                found = [k for k, one in enumerate(self.channels) if asked and test(one.name.casefold(), asked)]
                if len(found) == 1:
                    return self.channels[found[0]]
                several = several or found
        if wanted.isdecimal() and 1 <= int(wanted) <= len(self.channels):
            return self.channels[int(wanted) - 1]
        if several:
            numbers = ", ".join(str(k + 1) for k in several[:12])
            raise refuse(
                "WAV-008",
                f"{len(several)} channels of the record are called {name!r}.",
                f"Name one by its number: {numbers}.",
                Place(file=self.name),
            )
        names = [one.name for one in self.channels]
        shown = ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
        raise refuse(
            "WAV-008", f"The record has no one channel {name!r}.", f"Its channels are {shown}.", Place(file=self.name)
        )
