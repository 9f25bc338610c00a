"""How much alloy keeps a part's joints liquid at the preheat temperature, dose by dose, and how many rounds of wick and fresh solder clean them again."""

from __future__ import annotations

import math
from dataclasses import dataclass

from coppermend.core.findings import refuse
from coppermend.core.rework.alloy.answer import Melt, melts_at, modelled_part
from coppermend.core.rework.alloy.caution import soft_remainder
from coppermend.core.rework.alloy.composition import Alloy, mix
from coppermend.core.rework.alloy.gibbs import ZERO_C_K
from coppermend.core.rework.alloy.melting import liquidus_k, mole_fractions

MOST_SHARE = 0.95
"""More than that is no mixing any more: it is the added alloy with a trace of the old."""

SHARE_STEP = 0.025

WICK_LEAVES = 0.2
"""Part of the solder that a round of wick leaves in hole and on land. Common practice, no source; an input."""

BISMUTH_LIMIT_WT = 0.25
"""Bismuth that a tin-lead solder pot may hold (a maker's table of limits, 0.250 percent, as in J-STD-001 from memory; docs/sources.md)."""

MOST_ROUNDS = 12


@dataclass(frozen=True, slots=True)
class Step:
    """The joint after a dose: the added alloy's ``share`` of it by mass, ``dose_mg`` fed in so far per pin, and what it melts at."""

    share: float
    dose_mg: float
    melt: Melt


@dataclass(frozen=True, slots=True)
class DosePlan:
    """How much to feed. Masses in mg per pin, ``total_g`` for all ``pins``, temperatures in degC.

    ``reaches``: whether the joint is wholly liquid at ``keep_c``; when not, ``share`` is the one with the lowest liquidus.
    ``wire_mm`` is the length of solder wire of ``wire_diameter_mm`` per pin. ``steps`` go from no dose to the last.
    """

    base: Alloy
    add: Alloy
    pins: int
    old_mg: float
    keep_c: float
    reaches: bool
    share: float
    dose_mg: float
    total_g: float
    wire_diameter_mm: float
    wire_mm: float
    melt: Melt
    steps: tuple[Step, ...]
    words: str


def plan_doses(
    base: Alloy,
    add: Alloy,
    old_mg: float,
    *,
    pins: int = 1,
    keep_c: float,
    wire_diameter_mm: float = 1.0,
    doses: int = 4,
) -> DosePlan:
    """The least dose of ``add`` that keeps a joint of ``old_mg`` mg of ``base`` liquid at ``keep_c``, for each of ``pins`` pins.

    The liquidus as computed is held against ``keep_c``; its uncertainty stands in the answer. Refusals: masses or pins that cannot be.

    >>> from coppermend.core.rework.alloy.composition import read_alloy
    >>> plan = plan_doses(read_alloy("Sn63Pb37"), read_alloy("Bi52Pb32Sn16"), 12.0, pins=40, keep_c=150.0)
    >>> plan.reaches, plan.melt.liquidus_c <= 150.01
    (True, True)
    """
    _check(old_mg, pins, wire_diameter_mm, keep_c)
    melts_at(add)  # refused here when nothing answers for it
    share, reaches = _least_share(base, add, keep_c)
    melt = melts_at(mix(base, add, share))
    dose = old_mg * share / (1 - share)
    section = math.pi * wire_diameter_mm**2 / 4
    wire = dose / (add.density_g_cm3 * section)
    many = doses if share > 0 else 0
    steps = tuple(_step(base, add, old_mg, dose * i / many if many else 0.0) for i in range(many + 1))
    return DosePlan(
        base, add, pins, old_mg, keep_c, reaches, share, dose, dose * pins / 1000, wire_diameter_mm, wire, melt, steps,
        _words(base, add, keep_c, reaches, share, dose, melt),
    )  # fmt: skip


def _check(old_mg: float, pins: int, wire_mm: float, keep_c: float) -> None:
    if not (math.isfinite(old_mg) and 0 < old_mg <= 1e6) or not 1 <= pins <= 10_000 or not 0 < wire_mm <= 10:
        raise refuse(
            "ALY-003",
            f"{old_mg:g} mg of old solder on {pins} pins and wire of {wire_mm:g} mm cannot be.",
            "Give the old solder per pin in mg (above zero), at least one pin, and a wire of at most 10 mm.",
        )
    if not (math.isfinite(keep_c) and 20 <= keep_c <= 350):
        raise refuse(
            "ALY-008",
            f"{keep_c:g} degC is no temperature to keep solder liquid at; expected 20 to 350.",
            "Give the board's temperature at the joints.",
        )


def _liquidus_c(base: Alloy, add: Alloy, share: float) -> float:
    """Liquidus of the mixture by the model's part alone, degC."""
    return liquidus_k(mole_fractions(modelled_part(mix(base, add, share))))[0] - ZERO_C_K


def _least_share(base: Alloy, add: Alloy, keep_c: float) -> tuple[float, bool]:
    """The least share whose liquidus is at or below ``keep_c``, else the share with the lowest liquidus."""
    melts_at(mix(base, add, 0.5))
    shares = [i * SHARE_STEP for i in range(round(MOST_SHARE / SHARE_STEP) + 1)]
    tried: list[tuple[float, float]] = []
    for share in shares:
        here = _liquidus_c(base, add, share)
        if here <= keep_c:
            return (0.0 if share == 0 else _halved(base, add, keep_c, shares[len(tried) - 1], share)), True
        tried.append((here, share))
    return min(tried)[1], False


def _halved(base: Alloy, add: Alloy, keep_c: float, low: float, high: float) -> float:
    while high - low > 1e-4:
        middle = (low + high) / 2
        if _liquidus_c(base, add, middle) <= keep_c:
            high = middle
        else:
            low = middle
    return high


def _step(base: Alloy, add: Alloy, old_mg: float, dose_mg: float) -> Step:
    share = dose_mg / (old_mg + dose_mg)
    return Step(share, dose_mg, melts_at(mix(base, add, share)))


def _words(base: Alloy, add: Alloy, keep_c: float, reaches: bool, share: float, dose: float, melt: Melt) -> str:
    if reaches and share == 0:
        return f"{base.name} is liquid at {keep_c:g} degC by itself: nothing need be fed."
    if reaches:
        return (
            f"{dose:.1f} mg of {add.name} per pin make the joint liquid at {keep_c:g} degC "
            f"(liquidus {melt.liquidus_c:.0f} degC, give or take {melt.liquidus_off_c:g}); feed more rather than less."
        )
    return (
        f"No share of {add.name} keeps the joint liquid at {keep_c:g} degC. The lowest liquidus is {melt.liquidus_c:.0f} degC "
        f"with {100 * share:.0f} % of it ({dose:.1f} mg per pin): heat the joints to that, or take another alloy."
    )


@dataclass(frozen=True, slots=True)
class Cleaning:
    """Wick and refill: ``rounds`` bring bismuth under ``limit_wt``; ``bismuth_wt`` after each round, the first number before any.

    ``after`` is the joint's alloy then, ``soft`` the share of it that still freezes last below 100 degC (0 to 1) or None. ``surplus_rounds``: how many
    of the rounds, the first ones, only take off what the joint holds too much of: nothing fresh goes in.
    """

    rounds: int
    limit_wt: float
    wick_leaves: float
    bismuth_wt: tuple[float, ...]
    after: Alloy
    soft: float | None
    surplus_rounds: int = 0


def plan_cleaning(
    joint: Alloy,
    fresh: Alloy,
    *,
    wick_leaves: float = WICK_LEAVES,
    limit_wt: float = BISMUTH_LIMIT_WT,
    surplus: float = 1.0,
) -> Cleaning:
    """How many rounds of wick and refill with ``fresh`` solder bring the joint's bismuth to ``limit_wt`` percent or less.

    Each round leaves the part ``wick_leaves`` of the solder that is there and fills up with fresh to what the joint holds. ``surplus``: the solder
    that is there at first over what the joint holds, by mass (1: no more than that, and the bismuth falls by ``wick_leaves`` each round); a round
    that leaves more than the joint holds lets nothing fresh in. Refusals: a part, limit or surplus out of range; fresh solder that itself holds
    more than the limit.

    >>> from coppermend.core.rework.alloy.composition import read_alloy
    >>> plan_cleaning(read_alloy("Sn52.5Bi29Pb18.5"), read_alloy("Sn63Pb37")).rounds   # 29 x 0.2^3 = 0.232
    3
    >>> found = plan_cleaning(read_alloy("Sn52.5Bi29Pb18.5"), read_alloy("Sn63Pb37"), surplus=6.0)   # 6 x 0.2 = 1.2: all stays as it is
    >>> found.rounds, found.surplus_rounds, [round(one, 2) for one in found.bismuth_wt]   # 1.2 x 0.2 = 0.24: 29 x 0.24, then x 0.2 each
    (5, 1, [29.0, 29.0, 6.96, 1.39, 0.28, 0.06])
    """
    if not (0 < wick_leaves < 1 and 0 < limit_wt <= 100 and 0 < surplus <= 1e6):
        raise refuse(
            "ALY-003",
            f"Wick that leaves {wick_leaves:g} of the solder and a limit of {limit_wt:g} percent cannot be used.",
            "Give the part that stays, between 0 and 1 (0.2 is usual), and a limit above 0 percent.",
        )
    if fresh.share("Bi") >= limit_wt:
        raise refuse(
            "ALY-009",
            f"The fresh solder {fresh.name} holds {fresh.share('Bi'):g} percent bismuth, not less than the limit of {limit_wt:g}.",
            "Refill with a solder without bismuth, such as Sn63Pb37.",
        )
    now, told, there, only_off = joint, [joint.share("Bi")], surplus, 0
    while now.share("Bi") > limit_wt and len(told) <= MOST_ROUNDS:
        there *= wick_leaves
        if there < 1.0:
            now, there = mix(now, fresh, 1 - there), 1.0
        else:
            only_off += 1
        told.append(now.share("Bi"))
    if now.share("Bi") > limit_wt:
        raise refuse(
            "ALY-009",
            f"{MOST_ROUNDS} rounds that leave {wick_leaves:g} of the solder do not reach {limit_wt:g} percent; {now.share('Bi'):.2g} are left.",
            "Clear the holes with a pump or a vacuum iron: it leaves less than wick.",
        )
    soft = soft_remainder(now)
    return Cleaning(len(told) - 1, limit_wt, wick_leaves, tuple(told), now, None if soft is None else soft[0], only_off)
