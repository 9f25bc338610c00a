"""A short under a limited current: how much current the copper stands, what a millivolt meter can tell, and how warm the place gets.

The current is limited by the narrowest track of the two nets after the curve fit of IPC-2221 (docs/sources.md): I = k dT^0.44 A^0.725, A in square
mil, k = 0.048 outside and 0.024 inside; the open voltage by silicon: at 0.3 V no junction conducts (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coppermend.core.copper.model import Site, SiteKind
from coppermend.core.units import COPPER_THICKNESS_MM, MM_PER_INCH, RHO_COPPER_OHM_MM

OPEN_V = 0.3
"""Open voltage of the supply. Common practice, no source."""
MOST_A = 1.0
"""Never more than this, whatever the copper stands. Common practice, no source."""
RISE_K = 10.0
"""What a track may warm by."""
METER_MV = 0.1
"""Last digit of a hand meter's millivolt range."""
SEEN_K = 0.2
"""A thermal camera tells this much from its neighbours. Common practice, no source."""


SUPPLY_ASSUMED = (
    f"Open voltage: no junction of a chip conducts at {OPEN_V:g} V (common practice, no source).",
    f"Current limit: the narrowest track of both nets may warm by {RISE_K:g} K: curve fit of IPC-2221 (docs/sources.md), copper as thick as the board says; "
    "never more than the supply was said to give.",
    "Clips: on each net the reachable point from which, in the mean, most copper lies to the rest of the net.",
    "Drops: copper at 20 degC as thick as the readings leave it (as fabricated while there are none), the short at its likeliest place, its bridge as the readings leave it.",
    "Last digit: of the meter as given, over the narrowest track at that current.",
    f"Warmth: the place takes its share of the power over the board's own heat path, steady, 10 W/m2K a face; a camera tells {SEEN_K:g} K (common practice, no source).",
)
"""What the plan of the voltage-drop method rests on."""


def track_limit_a(
    width_mm: float, thickness_mm: float = COPPER_THICKNESS_MM, rise_k: float = RISE_K, outer: bool = True
) -> float:
    """Current in A that warms a track by ``rise_k`` (IPC-2221 fit).

    >>> round(track_limit_a(0.254, 1.378e-3 * 25.4), 4)   # 10 mil, 1.378 mil thick
    0.8855
    """
    mil2 = (width_mm / MM_PER_INCH * 1000.0) * (thickness_mm / MM_PER_INCH * 1000.0)
    return float((0.048 if outer else 0.024) * rise_k**0.44 * mil2**0.725)


@dataclass(frozen=True, slots=True)
class CurrentLimit:
    """``limit_a`` for the supply, and the ``site`` (with its ``width_mm``) that sets it; "" where only the general limit does."""

    limit_a: float
    site: str
    width_mm: float
    words: str


def current_limit(sites: Sequence[Site], thickness_mm: dict[str, float], most_a: float = MOST_A) -> CurrentLimit:
    """The current that the narrowest run or spoke among these sites stands with RISE_K of warming, at most ``most_a``."""
    best: tuple[float, Site] | None = None
    for site in sites:
        if site.kind in (SiteKind.RUN, SiteKind.SPOKE) and site.width_mm > 0:
            limit = track_limit_a(
                site.width_mm, thickness_mm.get(site.layer, COPPER_THICKNESS_MM), RISE_K, site.layer in ("c", "s")
            )
            if best is None or limit < best[0]:
                best = (limit, site)
    if best is None or best[0] >= most_a:
        return CurrentLimit(most_a, "", 0.0, f"{most_a:g} A: every track of the two nets stands it.")
    limit, site = best
    rounded = max(int(limit * 100), 1) / 100.0
    words = f"{rounded:g} A: {site.words or site.id} is {site.width_mm:.2g} mm wide and warms by {RISE_K:g} K at {limit:.2f} A."
    return CurrentLimit(rounded, site.id, site.width_mm, words)


def mm_per_step(
    current_a: float, width_mm: float, thickness_mm: float = COPPER_THICKNESS_MM, step_mv: float = METER_MV
) -> float:
    """Millimetres of track that one last digit of the meter stands for.

    >>> round(mm_per_step(1.0, 0.25, 0.035, 0.1), 2)   # 1.97 milliohm a mm
    0.05
    """
    ohm_per_mm = RHO_COPPER_OHM_MM / (width_mm * thickness_mm)
    return step_mv * 1e-3 / (current_a * ohm_per_mm)


@dataclass(frozen=True, slots=True)
class Warmth:
    """What the bridge gets: ``watt``, the place's ``k_per_w``, and the steady ``rise_k``; whether a camera tells it."""

    watt: float
    k_per_w: float
    rise_k: float
    seen: bool
    words: str


def warmth(current_a: float, bridge_ohm: float, k_per_w: float) -> Warmth:
    """How warm a bridge of ``bridge_ohm`` gets where the board carries off a watt for ``k_per_w`` of rise.

    >>> warmth(0.5, 0.02, 80.0).rise_k
    0.4
    """
    watt = current_a**2 * bridge_ohm
    rise = watt * k_per_w
    seen = rise >= SEEN_K
    words = f"The bridge takes {watt * 1e3:.1f} mW and warms by about {rise:.2g} K (steady): " + (
        "a thermal camera shows it; the narrow tracks on the way warm too, a spot at their end is the hint."
        if seen
        else "too little for a camera; the millivolts tell more."
    )
    return Warmth(watt, k_per_w, rise, seen, words)
