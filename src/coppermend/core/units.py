"""Named constants and conversions. Lengths inside are mm, resistances ohm, times seconds, temperatures degC."""

from __future__ import annotations

MM_PER_INCH = 25.4
"""Exact since the 1959 international yard and pound agreement."""

UM_PER_MM = 1000.0

RHO_COPPER_OHM_MM = 1.0 / 58_000.0
"""Resistivity of annealed copper at 20 degC in ohm mm: 100 % IACS = 1/58 ohm mm2/m (NBS Handbook 100, 1966)."""

ALPHA_COPPER_PER_K = 0.00393
"""Temperature coefficient at 20 degC (Dellinger, Bull. Bur. Stand. 7, 1911)."""

COPPER_THICKNESS_MM = 0.035
"""Default foil: 1 oz/ft2, in use are 34.1 to 35.0 um (docs/sources.md). An input wherever it matters."""

BARREL_PLATING_MM = 0.025
"""Default plating of a hole wall; common practice 20 to 25 um, an input."""

BOARD_THICKNESS_MM = 1.6
"""Default laminate thickness where the package does not say; common practice, no source."""


def um(value_mm: float) -> int:
    """A length in whole micrometres, halves away from zero, as used in ids.

    >>> um(1.2345)
    1235
    >>> um(-1.2345)
    -1235
    """
    scaled = value_mm * UM_PER_MM
    return int(scaled + 0.5) if scaled >= 0 else -int(0.5 - scaled)


def sheet_resistance_ohm(thickness_mm: float = COPPER_THICKNESS_MM, temperature_c: float = 20.0) -> float:
    """Resistance of one square of foil in ohm: rho / t, linear in temperature (valid for 0 to 100 degC).

    >>> round(sheet_resistance_ohm(0.035) * 1e3, 4)   # 35 um: 0.4926 mohm/sq (1/58 ohm mm2/m over 35 um)
    0.4926
    """
    rho = RHO_COPPER_OHM_MM * (1.0 + ALPHA_COPPER_PER_K * (temperature_c - 20.0))
    return rho / thickness_mm


def chance_words(p: float, decimals: int = 1) -> str:
    """A chance p (0 to 1) in percent, never rounded to certainty: beyond the last figure shown it is "more than" or "less than" that.

    >>> chance_words(0.873), chance_words(0.99997), chance_words(0.99997, 0), chance_words(0.0002)
    ('87.3 %', 'more than 99.9 %', 'more than 99 %', 'less than 0.1 %')
    """
    step = 10.0**-decimals
    percent = 100.0 * p
    if percent > 100.0 - step:
        return f"more than {100.0 - step:.{decimals}f} %"
    if percent < step:
        return f"less than {step:.{decimals}f} %"
    return f"{percent:.{decimals}f} %"
