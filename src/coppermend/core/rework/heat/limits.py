"""Limits of heating a board, each with where it comes from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit: what it holds, its ``value`` in ``unit``, and its ``source``."""

    name: str
    value: float
    unit: str
    source: str


TG_OLD_C = 120.0
"""Glass transition of old FR-4: "above 120 degC" (an encyclopaedia's article, read); 120 to 140 degC in old boards (from memory). An input."""

BELOW_TG_K = 10.0
PREHEAT = Limit("preheat of a board, highest", 125.0, "degC", "rework guide on preheating: 75 to 125 degC (read)")
PREHEAT_LOW = Limit("preheat of a board, lowest", 75.0, "degC", "rework guide on preheating: 75 to 125 degC (read)")
RAMP_UP = Limit(
    "warming, fastest",
    2.0,
    "K/s",
    "rework guide 2.5: ceramic capacitors 2 to 4 K/s (read); J-STD-020C profile 3 K/s (read)",
)
RAMP_DOWN = Limit("cooling, fastest", 6.0, "K/s", "J-STD-020C profile, qualification of packages (read)")
ELECTROLYTIC = Limit("electrolytic capacitors, case", 105.0, "degC", "their marking, 85 or 105 degC (common practice)")
TOUCH_C = 45.0
"""Cool enough to handle. Common practice, no source."""


def below_tg(tg_c: float) -> Limit:
    """The limit that the laminate sets: 10 K under its glass transition.

    >>> below_tg(130.0).value
    120.0
    """
    return Limit(
        "laminate, hottest place", tg_c - BELOW_TG_K, "degC", "rework guide on preheating: at most Tg less 10 K (read)"
    )


def over_laminate(celsius: float, tg_c: float = TG_OLD_C) -> str:
    """That a board warmed to so many degC is over what its laminate bears; "" where it is not.

    >>> over_laminate(110.0), over_laminate(130.0)[:27]
    ('', '130 degC is above 110 degC:')
    """
    most = below_tg(tg_c)
    if celsius <= most.value:
        return ""
    return (
        f"{celsius:g} degC is above {most.value:g} degC: {BELOW_TG_K:g} K under the laminate's glass transition of {tg_c:g} degC is the limit "
        f"[{most.source}]."
    )


NOT_ALL_OVER = (
    f"{TG_OLD_C:g} degC is taken for old FR-4: measure, or know the laminate, before you go higher. Warm the whole board to "
    f"{TG_OLD_C - BELOW_TG_K:g} degC at the most; what is missing comes from the iron at the joint. Over its glass transition a board bows, and lands come off."
)
"""What to do where a plan asks for a board that is warmer than its laminate bears."""

CAUTIONS = (
    "Preheaters and hot air burn: gloves, eye protection, nothing that burns near them, never left alone while on.",
    "Batteries and cells come off before any heat: they can burst. Electrolytic capacitors are shielded or taken off.",
    "Old boards and flux give off fume: draw it off, keep your head out of the plume. Old solder holds lead: wash your hands.",
    "A damp board blisters: bake it dry first, hours at about 100 degC (common practice; your local rules hold).",
    "Let the board cool by itself, level, unsupported parts held: no spray, no cold plate.",
    "Follow your local rules; leave mains and tube work to people qualified for it.",
)
