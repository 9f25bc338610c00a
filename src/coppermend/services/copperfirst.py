"""Prove all copper of the reworked areas now, or chase the symptom: both on the same modelled clock, so that they can be weighed against each other.

Chasing names one fault after the other, each followed by a power-up that shows whether it was the last. Proving reads the whole round of the areas, without
power, finds every break there, and leaves only what lies elsewhere to be chased. Mending costs the same either way and is left out. What is
reckoned: seconds of the round that is left (the planner's own), the bits that are missing until one unit can be named over the bits a second of the best
step now, and how many faults are expected in the areas' copper and elsewhere. The chase is an estimate: later steps may tell more or less than the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from coppermend.core.belief.suspects.posterior import State
from coppermend.core.planning.suspects_next import SuspectStep
from coppermend.services.bench import plan_of
from coppermend.services.bind import Binding

SWITCHES = 2
"""Power off and on again between two faults."""
NAME_S = 204.0
"""Seconds of looks under power until one fault is named: the median of 500 patients (docs/reference/measured.md, suspects)."""


@dataclass(frozen=True, slots=True)
class CopperFirst:
    """Two ways on one clock. ``prove_s`` the round that is left, ``prove_all_s`` with what is then left to chase; ``chase_one_s`` until one unit is named,
    ``chase_all_s`` until none is left. ``breaks`` expected in the areas' copper, ``elsewhere`` faults expected elsewhere; ``chance`` that any lies in it."""

    checks: int
    prove_s: float
    prove_all_s: float
    chase_one_s: float
    chase_all_s: float
    breaks: float
    elsewhere: float
    chance: float
    better: str
    words: str

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        return {key: round(value, 3) if isinstance(value, float) else value for key, value in asdict(self).items()}


def copper_first(binding: Binding, state: State, steps: Sequence[SuspectStep], powered: bool) -> CopperFirst | None:
    """The two ways weighed; None where no area was reworked, its round is done, or no step is left."""
    if not steps or not any(str(area.kind) == "rework" for area in binding.areas):
        return None
    plan = plan_of(binding)
    if not plan.checks:
        return None
    inside = units_inside(state, frozenset(plan.provable))
    p = state.units()
    breaks, every = float(p[inside].sum()), float(p.sum())
    chance = 1.0 - float(np.exp(np.log1p(-np.minimum(p[inside], 1.0 - 1e-9)).sum()))
    return weighed(
        checks=len(plan.checks),
        prove_s=plan.seconds + (binding.costs.power_s if powered else 0.0),
        missing_bits=missing_bits(p),
        bits_per_s=steps[0].gain_bits / steps[0].whole_s,
        breaks=breaks,
        elsewhere=max(0.0, every - breaks),
        chance=chance,
        switch_s=SWITCHES * binding.costs.power_s,
    )


def power_first(binding: Binding, state: State, pairs_s: float = 0.0) -> str:
    """Why a start is seen before the round of the areas is read, in words; "" where the round is the shorter way.

    The round is worth what the breaks that it finds would cost under power: ``NAME_S`` of looks and a power-up each. How many it finds is the belief's own
    number, from the areas and what was read so far. ``pairs_s``: seconds of the pairs that are read with it.
    """
    plan = plan_of(binding)
    inside = units_inside(state, frozenset(plan.provable))
    breaks = float(state.units()[inside].sum())
    return first_words(plan.seconds + pairs_s, breaks, SWITCHES * binding.costs.power_s)


def first_words(round_s: float, breaks: float, switch_s: float) -> str:
    """The two ways by their numbers: "" where the round goes first.

    >>> first_words(60.0, 0.5, 90.0), first_words(660.0, 0.5, 90.0)[:39]
    ('', 'A start first: it costs 2 min and says ')
    """
    saved = breaks * (NAME_S + switch_s)
    if round_s <= saved:
        return ""
    return (
        f"A start first: it costs {minutes(switch_s)} and says where to look. The round of the areas takes {minutes(round_s)} (modelled) and finds "
        f"{breaks:.1f} breaks by what is known, which under power would take {minutes(saved)}; it is read when a start makes it likelier, or at the end."
    )


def weighed(
    checks: int,
    prove_s: float,
    missing_bits: float,
    bits_per_s: float,
    breaks: float,
    elsewhere: float,
    chance: float,
    switch_s: float,
) -> CopperFirst:
    """The two ways from their numbers.

    >>> found = weighed(checks=40, prove_s=300.0, missing_bits=5.0, bits_per_s=0.05, breaks=2.0, elsewhere=0.2, chance=0.9, switch_s=90.0)
    >>> found.chase_one_s, round(found.chase_all_s, 6), found.prove_all_s, found.better
    (100.0, 418.0, 338.0, 'prove')
    """
    one = missing_bits / max(bits_per_s, 1e-9)
    chase = max(1.0, breaks + elsewhere) * (one + switch_s)
    prove = prove_s + elsewhere * (one + switch_s)
    better = "prove" if prove < chase else "chase"
    first = (
        f"Prove all copper of the reworked areas now: {checks} checks, about {minutes(prove_s)} (modelled), which find every break there "
        f"({breaks:.1f} expected, {100 * chance:.0f} % that there is one); with what lies elsewhere about {minutes(prove)}."
    )
    second = f"Chase the symptom: about {minutes(one)} to the first named fault, about {minutes(chase)} until all are found, one power-up each."
    end = "Proving first is the shorter way." if better == "prove" else "Chasing is the shorter way."
    return CopperFirst(checks, prove_s, prove, one, chase, breaks, elsewhere, chance, better, f"{first} {second} {end}")


def missing_bits(p: np.ndarray[Any, np.dtype[np.float64]]) -> float:
    """Bits until one unit can be named: the entropy of which of them it is.

    >>> missing_bits(np.array([0.5, 0.5, 0.5, 0.5])), missing_bits(np.array([1.0, 0.0]))
    (2.0, 0.0)
    """
    share = p / max(float(p.sum()), 1e-300)
    share = share[share > 0]
    return abs(float(-(share * np.log2(share)).sum()))


def minutes(seconds: float) -> str:
    """Seconds as a person says them.

    >>> minutes(50.0), minutes(400.0)
    ('50 s', '7 min')
    """
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


def units_inside(state: State, sites: frozenset[str]) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Which units are spans with a site of the round."""
    made = state.field
    found = np.zeros(len(made.units), dtype=np.bool_)
    for k, one in enumerate(made.causes):
        if one.kind == "span" and sites.intersection(one.sites):
            found[made.unit_of[k]] = True
    return found
