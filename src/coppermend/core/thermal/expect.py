"""How warm each part should be, and what a picture says of it: cold that should be warm, hot, or even."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

CASE_SHARE = 0.48
"""Case top's share of the junction's rise: (47.2 - 24.7) / 47.2 of a 40-pin and (60 - 31.4) / 60 of a 28-pin plastic DIP (theta JA and JC, Microchip)."""
SPREAD_MM = 22.0
"""How far a chip's heat reaches along the board: sqrt(k t / 2 h) of a fin (extended surfaces in Incropera and DeWitt, from memory) with 1.6 mm laminate at
0.81 W/mK, two foils of 35 um at 390 W/mK that cover 30 %, and 10 W/m2K on either face."""
NEIGHBOUR_SHARE = 0.25
"""What a body's rise gives its neighbour at its very edge. An assumption."""
LEAST_OWN_K = 5.0
"""A part that should rise by less cannot be called cold."""
COLD_SHARE, HOT_SHARE, HOT_K = 0.3, 2.0, 8.0
"""Cold: warmer than the board round it by less than this share of what its own power makes. Hot: by this many times that and so many kelvin more.
Data sheets say theta to 25 %, and a chip's usual power to a factor of two. Assumptions."""
STEP_K = 3.0
"""A difference between two pictures below this says nothing: two readings of one camera differ by some 2 K (common practice, no source)."""
COLD, HOT, EVEN, UNKNOWN = "cold", "hot", "even", "unknown"


@dataclass(frozen=True, slots=True)
class Expected:
    """``own_k`` rise of the case's top above the air by its own power, None where the book knows none; ``neighbour_k`` what the neighbours add."""

    own_k: float | None
    neighbour_k: float

    @property
    def rise_k(self) -> float:
        """The whole rise."""
        return (self.own_k or 0.0) + self.neighbour_k


@dataclass(frozen=True, slots=True)
class Judged:
    """``verdict`` cold, hot, even or unknown; ``expected_c`` None where nothing is known; ``words`` why."""

    verdict: str
    expected_c: float | None
    words: str


def case_rise_k(watts: float, theta_k_per_w: float) -> float:
    """Rise of a package's top above the air in kelvin, P (thetaJA - thetaJC), with the share of plastic DIPs.

    >>> round(case_rise_k(1.0, 47.2), 1)
    22.7
    """
    return watts * theta_k_per_w * CASE_SHARE


def expected_rises(
    own_k: Mapping[str, float | None], boxes: Mapping[str, tuple[float, float, float, float]]
) -> dict[str, Expected]:
    """The rise of every part with its neighbours' share. ``boxes`` x0, y0, x1, y1 in mm of every part of ``own_k``."""
    refs = list(own_k)
    box = np.array([boxes[one] for one in refs]).reshape(-1, 4)
    rise = np.array([own_k[one] or 0.0 for one in refs])
    made = {}
    for k, ref in enumerate(refs):
        dx = np.maximum(0.0, np.maximum(box[:, 0] - box[k, 2], box[k, 0] - box[:, 2]))
        dy = np.maximum(0.0, np.maximum(box[:, 1] - box[k, 3], box[k, 1] - box[:, 3]))
        share = NEIGHBOUR_SHARE * np.exp(-np.hypot(dx, dy) / SPREAD_MM)
        share[k] = 0.0
        made[ref] = Expected(own_k[ref], float((share * rise).sum()))
    return made


def against_expected(celsius: float, around_c: float | None, air_c: float, expected: Expected) -> Judged:
    """A part's temperature against P theta and its neighbours: those show in the board round it (``around_c``; None: the computed share stands for it).

    >>> against_expected(27.0, 27.5, 22.0, Expected(10.0, 5.0)).verdict, against_expected(36.0, 28.0, 22.0, Expected(10.0, 5.0)).verdict
    ('cold', 'even')
    """
    rise = celsius - air_c
    want = air_c + expected.rise_k
    if expected.own_k is None:
        return Judged(UNKNOWN, None, f"{rise:+.1f} K above the air; the book does not know what it should be")
    base = around_c if around_c is not None else air_c + expected.neighbour_k
    excess = celsius - base
    said = (
        f"{excess:+.1f} K against the board round it and {rise:+.1f} K against the air; its own power makes some {expected.own_k:.0f} K, "
        f"its neighbours {expected.neighbour_k:.0f} K"
    )
    if excess > HOT_SHARE * expected.own_k + HOT_K:
        return Judged(HOT, want, f"hot: {said}")
    if expected.own_k < LEAST_OWN_K:
        return Judged(UNKNOWN, want, f"not hot; too little power to call it cold: {said}")
    if excess < COLD_SHARE * expected.own_k and rise < expected.rise_k:
        return Judged(COLD, want, f"cold that should be warm: {said}")
    return Judged(EVEN, want, f"as warm as expected: {said}")


def against_good(celsius: float, good_c: float, shift_k: float, air_c: float) -> Judged:
    """A part's temperature against the same part's on a good board; ``shift_k`` how much warmer this whole board is (the median over its parts)."""
    want = good_c + shift_k
    off, rise = celsius - want, max(0.0, want - air_c)
    said = f"{celsius:.1f} degC, the good board's {want:.1f} (set to the same room)"
    if off < -max(STEP_K, 0.5 * rise):
        return Judged(COLD, want, f"cold that should be warm: {said}")
    if off > max(STEP_K + 1.0, 0.6 * rise):
        return Judged(HOT, want, f"hot: {said}")
    return Judged(EVEN, want, f"even with {said}")


def against_before(celsius: float, around_c: float | None, before_c: float, expected: Expected) -> Judged:
    """A part's temperature against the same board's before power, when all was at the room's temperature ``before_c``.

    Reflections and a wrong emissivity stand in both pictures and fall out of the difference, nearly.

    >>> against_before(22.5, 25.0, 22.0, Expected(10.0, 5.0)).words[:32]
    'cold that should be warm: -2.5 K'
    """
    made = against_expected(celsius, around_c, before_c, expected)
    return Judged(
        made.verdict,
        made.expected_c,
        made.words.replace("above the air", "since before").replace("against the air", "since before"),
    )


def median_shift(pairs: Sequence[tuple[float, float]]) -> float:
    """The median of first minus second, 0 without pairs: how much warmer the one room was.

    >>> median_shift([(30.0, 28.0), (41.0, 39.0), (22.0, 35.0)])
    2.0
    """
    return float(np.median([a - b for a, b in pairs])) if pairs else 0.0
