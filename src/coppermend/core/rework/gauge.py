"""Round copper wire by American wire gauge: diameter, section, resistance, and what current it stands.

Sources (docs/sources.md): diameters after the formula of ASTM B258; resistance from 100 % IACS (1/58 ohm mm2/m);
fusing currents after Preece (steady, bare wire in free air) and Onderdonk (short pulse, no heat lost).
The two fusing models disagree with each other by a factor of two and more: read them as an order of magnitude.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from coppermend.core.findings import refuse
from coppermend.core.units import ALPHA_COPPER_PER_K, MM_PER_INCH, RHO_COPPER_OHM_MM

THINNEST_AWG = 40
THICKEST_AWG = 0
BENCH_GAUGES = (30, 28, 26, 24, 22, 20, 18)
"""Gauges a bench keeps, thinnest first; 30 is wrap wire. Common practice, no source."""

PREECE_A_PER_MM15 = 80.0
"""Preece's constant for copper with the diameter in mm (10,244 with inches; docs/sources.md)."""

DENSITY_A_PER_MM2 = 6.0
"""Steady current that an insulated patch wire on a board may carry per mm2. Common practice, no source; an input everywhere."""

COPPER_MELTS_C = 1083.0
"""As written in Onderdonk's equation."""


GAUGE_ASSUMED = (
    "diameter after ASTM B258, annealed copper of 1/58 ohm mm2/m at 20 degC; real wire within 2 to 3 % (docs/sources.md)",
    "fusing: Preece, bare in free air, steady; Onderdonk, nothing lost within a second: an order of magnitude, no rating",
)
"""What the figures of a wire rest on."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """One wire: gauge number, ``diameter_mm``, ``section_mm2``, and for ``length_mm`` of it at 20 degC ``resistance_ohm``;

    ``preece_a`` the steady current that melts it in free air, ``onderdonk_a`` the current that melts it in one second.
    """

    awg: int
    length_mm: float
    diameter_mm: float
    section_mm2: float
    resistance_ohm: float
    preece_a: float
    onderdonk_a: float

    def as_dict(self) -> dict[str, object]:
        """The wire as plain JSON values, with what they rest on."""
        return {
            "awg": self.awg,
            "length_mm": self.length_mm,
            "diameter_mm": self.diameter_mm,
            "section_mm2": self.section_mm2,
            "resistance_ohm": self.resistance_ohm,
            "preece_a": self.preece_a,
            "onderdonk_a": self.onderdonk_a,
            "assumed": list(GAUGE_ASSUMED),
        }


def diameter_mm(awg: int) -> float:
    """Diameter of a solid wire of this gauge in mm: 0.127 * 92^((36 - n) / 39) (ASTM B258).

    >>> diameter_mm(36)
    0.127
    >>> round(diameter_mm(30), 4)
    0.2546
    """
    return 0.127 * float(92.0 ** ((36 - awg) / 39))


def section_mm2(awg: int) -> float:
    """Cross section of a solid wire of this gauge in mm2.

    >>> round(section_mm2(30), 4)
    0.0509
    """
    return math.pi * diameter_mm(awg) ** 2 / 4


def resistance_ohm(awg: int, length_mm: float, temperature_c: float = 20.0) -> float:
    """Resistance in ohm of ``length_mm`` of copper wire of this gauge, linear in temperature (valid 0 to 100 degC).

    >>> round(resistance_ohm(30, 100.0) * 1e3, 2)   # mohm; 338.56 ohm/km at 20 degC
    33.86
    """
    rho = RHO_COPPER_OHM_MM * (1.0 + ALPHA_COPPER_PER_K * (temperature_c - 20.0))
    return rho * length_mm / section_mm2(awg)


def preece_a(awg: int) -> float:
    """Steady current in A that melts bare copper of this gauge in free air: 80 * d^1.5, d in mm (Preece).

    >>> round(preece_a(30), 2)
    10.28
    """
    return PREECE_A_PER_MM15 * float(diameter_mm(awg) ** 1.5)


def onderdonk_a(awg: int, seconds: float = 1.0, ambient_c: float = 25.0) -> float:
    """Current in A that melts copper of this gauge within ``seconds`` when no heat is lost (Onderdonk; below about 10 s).

    33 (I/A)^2 t = log10((Tm - Ta) / (234 + Ta) + 1), A in circular mils, Tm = 1083 degC.

    >>> round(onderdonk_a(30), 2)
    14.7
    """
    circular_mils = (diameter_mm(awg) / MM_PER_INCH * 1000.0) ** 2
    rise = math.log10((COPPER_MELTS_C - ambient_c) / (234.0 + ambient_c) + 1.0)
    return circular_mils * math.sqrt(rise / (33.0 * seconds))


def gauge(awg: int, length_mm: float) -> Gauge:
    """All about ``length_mm`` of wire of this gauge at 20 degC; a Refusal for a gauge or length no bench has.

    >>> round(gauge(30, 100.0).resistance_ohm, 5)
    0.03386
    """
    if not THICKEST_AWG <= awg <= THINNEST_AWG:
        raise refuse(
            "WIR-001",
            f"Gauge {awg} is outside {THICKEST_AWG} to {THINNEST_AWG} AWG.",
            "Name a gauge of the wire at hand, such as 30 for wrap wire.",
        )
    if not (math.isfinite(length_mm) and 0 < length_mm <= 100_000):
        raise refuse(
            "WIR-002",
            f"A length of {length_mm} mm is no length of wire; expected more than 0 and at most 100,000 mm.",
            "Give the length in millimetres.",
        )
    return Gauge(
        awg,
        length_mm,
        diameter_mm(awg),
        section_mm2(awg),
        resistance_ohm(awg, length_mm),
        preece_a(awg),
        onderdonk_a(awg),
    )


@dataclass(frozen=True, slots=True)
class GaugeChoice:
    """The thinnest gauge at hand that takes a track's place, and why in words; ``enough`` False when even the thickest falls short."""

    gauge: Gauge
    enough: bool
    reason: str


def choose_gauge(
    length_mm: float,
    *,
    track_section_mm2: float = 0.0,
    track_ohm: float = 0.0,
    allowance_ohm: float = 0.1,
    current_a: float = 0.0,
    drop_v: float = 0.05,
    density_a_per_mm2: float = DENSITY_A_PER_MM2,
    at_hand: tuple[int, ...] = BENCH_GAUGES,
) -> GaugeChoice:
    """The thinnest gauge at hand that loses nothing against the track it replaces.

    Its section is at least ``track_section_mm2`` (width and capacity must not drop: rework guides), its resistance at most that of the
    track or ``allowance_ohm``, whichever is more, and with a named ``current_a`` the drop stays within ``drop_v`` and the density within
    ``density_a_per_mm2``.

    >>> choose_gauge(60.0, track_section_mm2=0.3 * 0.035, track_ohm=0.03).gauge.awg
    30
    >>> choose_gauge(60.0, track_section_mm2=2.5 * 0.035).gauge.awg   # a 2.5 mm rail of 35 um foil
    26
    """
    if not 0.0 <= current_a <= MOST_A:
        raise refuse(
            "WIR-015",
            f"A current of {current_a:g} A is none that a patch wire is chosen for; 0 to {MOST_A:g} A was expected.",
            "Give the current of the net in ampere, or leave it out where it is not known.",
        )
    limit_ohm = max(track_ohm, allowance_ohm)
    if current_a > 0:
        limit_ohm = min(limit_ohm, drop_v / current_a)
    least_mm2 = max(track_section_mm2, current_a / density_a_per_mm2)
    for awg in sorted(at_hand, reverse=True):
        if section_mm2(awg) >= least_mm2 and resistance_ohm(awg, length_mm) <= limit_ohm:
            return GaugeChoice(
                gauge(awg, length_mm), True, _why(awg, length_mm, track_section_mm2, track_ohm, current_a)
            )
    thickest = min(at_hand)
    times = max(least_mm2 / section_mm2(thickest), resistance_ohm(thickest, length_mm) / limit_ohm)
    reason = (
        f"Even {thickest} AWG falls short: {least_mm2:.3f} mm2 and at most {limit_ohm * 1e3:.3g} milliohm are asked for, it has "
        f"{section_mm2(thickest):.3f} mm2 and {resistance_ohm(thickest, length_mm) * 1e3:.1f} milliohm. {_beside(times)}"
    )
    return GaugeChoice(gauge(thickest, length_mm), False, reason)


MOST_A = 50.0
"""More current than this is no matter of patch wires. Our choice."""
MOST_BESIDE = 4
"""More wires than this side by side are no way out. Our choice."""


def _beside(times: float) -> str:
    """What to do where the thickest wire falls short by this factor.

    >>> _beside(1.5)
    'Lay 2 wires side by side, or find a shorter way.'
    """
    if times <= MOST_BESIDE:
        return f"Lay {math.ceil(times)} wires side by side, or find a shorter way."
    return "No few patch wires carry that: mend the track itself or lead a cable, and look at the figure again."


def _why(awg: int, length_mm: float, track_section_mm2: float, track_ohm: float, current_a: float) -> str:
    """Why this gauge, in one sentence."""
    words = f"{awg} AWG ({diameter_mm(awg):.2f} mm): {resistance_ohm(awg, length_mm) * 1e3:.1f} milliohm over {length_mm:.0f} mm"
    if track_ohm > 0:
        words += f", the copper it replaces has {track_ohm * 1e3:.1f} milliohm"
    if track_section_mm2 > 0:
        words += f"; section {section_mm2(awg):.3f} mm2 against {track_section_mm2:.3f} mm2 of the track"
    if current_a > 0:
        words += f"; {current_a * resistance_ohm(awg, length_mm) * 1e3:.1f} mV lost at {current_a:g} A"
    return words + "."
