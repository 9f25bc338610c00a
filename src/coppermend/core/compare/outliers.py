"""Outliers in small samples: Grubbs' test, repeated after Rosner, so that two odd ones do not hide each other.

F. E. Grubbs, "Procedures for Detecting Outlying Observations in Samples", Technometrics 11(1), 1969; B. Rosner, "Percentage Points for a Generalized ESD
Many-Outlier Procedure", Technometrics 25(2), 1983; both as in NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

LEAST = 3
"""Fewer values than this have no outlier."""


@dataclass(frozen=True, slots=True)
class Outlier:
    """Index of a value, its distance ``g`` in standard deviations of the sound values and itself, and the chance ``p`` of a greatest distance as large
    among so many sound ones. (Rosner's own steps test it beside the other odd ones, whose spread hides it: what such a step says is no chance of this one.)"""

    index: int
    g: float
    p: float


def grubbs_limit(n: int, alpha: float) -> float:
    """The distance that the farthest of ``n`` normal values passes with chance ``alpha``, either side, in sample standard deviations. ValueError below 3.

    >>> round(grubbs_limit(8, 0.05), 3)
    2.127
    """
    if n < LEAST:
        raise ValueError("Grubbs' test takes three values or more")
    t = float(stdtrit(n - 2, 1.0 - alpha / (2.0 * n)))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def grubbs_p(g: float, n: int) -> float:
    """Chance (upper bound, exact for large ``g``) that the farthest of ``n`` normal values is ``g`` sample standard deviations off or more, either side.

    >>> round(grubbs_p(grubbs_limit(8, 0.05), 8), 6)
    0.05
    """
    most = (n - 1) / math.sqrt(n)
    if g >= most * (1.0 - 1e-12):
        return 0.0
    t = math.sqrt(n * (n - 2) * g * g / ((n - 1) ** 2 - n * g * g))
    return min(1.0, 2.0 * n * float(stdtr(n - 2, -t)))


def outliers(values: Sequence[float], alpha: float = 0.01, floor: float = 0.0) -> tuple[Outlier, ...]:
    """The outliers of a small sample, the farthest first. ``floor``: a standard deviation below it counts as it (the meter's own spread).

    Up to (n - 2) // 3 are looked for, one at least; the last that passes its limit decides how many there are (Rosner).

    >>> [one.index for one in outliers([0.601, 0.604, 0.600, 0.211, 0.603, 0.602, 0.605, 0.600])]
    [3]
    >>> outliers([0.601, 0.604])
    ()
    """
    left = list(range(len(values)))
    found: list[Outlier] = []
    many = 0
    for _ in range(max(1, (len(values) - 2) // 3)):
        n = len(left)
        if n < LEAST:
            break
        rows = np.array([values[k] for k in left], dtype=np.float64)
        spread = max(float(rows.std(ddof=1)), floor)
        away = np.abs(rows - rows.mean())
        at = int(away.argmax())
        g = float(away[at]) / spread if spread > 0 else 0.0
        found.append(Outlier(left[at], g, grubbs_p(g, n)))
        if found[-1].p <= alpha:
            many = len(found)
        left.pop(at)
    odd = {one.index for one in found[:many]}
    sound = [v for k, v in enumerate(values) if k not in odd]
    return tuple(_among(values[one.index], sound, one.index, floor) for one in found[:many])


def _among(value: float, sound: Sequence[float], index: int, floor: float) -> Outlier:
    """An odd value tested among the sound ones alone."""
    rows = np.array([*sound, value], dtype=np.float64)
    spread = max(float(rows.std(ddof=1)), floor)
    g = abs(value - float(rows.mean())) / spread if spread > 0 else 0.0
    return Outlier(index, g, grubbs_p(g, len(rows)) if len(rows) >= LEAST else 1.0)
