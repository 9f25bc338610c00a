"""Steps of the hands for the suspects: reseat, press, hold a good chip on top, replace a soldered part. What each is expected to tell, in bits.

A chip that must be paid or waited for costs seconds, too: money at the price of a working hour, waiting at a flat rate (assumptions). What cannot be
undone comes here only with the owner's consent (``HandsNow.replace`` is filled by the services from the log's consent and cost limit).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from coppermend.core.belief.suspects.field import Field, Floats, Ints
from coppermend.core.belief.suspects.hands import HANDS, Effect, Worked, cured_by, effect_logs, touched_shares
from coppermend.core.belief.suspects.posterior import Observation, Swapped
from coppermend.core.planning.costs import CostTable

PRESS_S = 20.0
"""A finger or a wooden stick on a part, a look at what the machine shows (an assumption)."""
TOP_S = 120.0
"""Setting a good chip on top of another one, legs on legs (an assumption)."""
REPLACE_S = 900.0
"""Taking a soldered chip out and putting another one in (an assumption)."""
MONEY_S = 90.0
"""Seconds that one unit of money costs: 40 of them buy an hour (an assumption)."""
BUY_S = 1800.0
"""Seconds that waiting for an ordered part weighs (an assumption)."""
PARTS_TRIED = 4
"""So many parts are weighed for each kind of step, those with most to tell."""
LEAST_P = 0.02
HAND_KINDS = ("reseat", "press", "piggyback", "replace")


@dataclass(frozen=True, slots=True)
class HandsNow:
    """What hands may do now. ``sockets`` parts that can be reseated; ``press`` whether parts may be pressed under power; ``tops`` parts on which a good chip
    may be held (by the device book, with one at hand); ``replace`` soldered parts with one to put in and the owner's consent; ``pay`` (part, seconds) that
    the chip for a part costs beyond the work."""

    sockets: tuple[str, ...] = ()
    press: bool = False
    tops: tuple[str, ...] = ()
    replace: tuple[str, ...] = ()
    pay: tuple[tuple[str, float], ...] = ()

    def pay_s(self, part: str) -> float:
        """Seconds beyond the work."""
        return dict(self.pay).get(part, 0.0)


@dataclass(frozen=True, slots=True)
class HandGain:
    """A step: kind (``HAND_KINDS``), part, modelled seconds, expected bits."""

    kind: str
    part: str
    seconds: float
    gain_bits: float


def hand_gains(
    made: Field, members: Ints, p: Floats, hands: HandsNow, costs: CostTable, power_s: float,
    told: Callable[[Floats], float], done: tuple[Observation, ...] = (),
) -> list[HandGain]:  # fmt: skip
    """The steps of the hands over the likeliest sets, ``members``. ``p`` of every cause; ``power_s`` to have power on; ``told`` the bits of an answer from
    its chances under each set, (sets, answers); ``done`` the evidence: what was tried since is not proposed again."""
    tried = {(one.act, one.part) for one in done if isinstance(one, (Effect, Worked))}
    tried |= {("replace", one.part) for one in done if isinstance(one, Swapped)}
    e = made.table.swap_misread
    found: list[HandGain] = []

    def add(kind: str, part: str, seconds: float, chance: Floats, misread: float) -> None:
        if (kind, part) not in tried:
            seen = chance * (1.0 - misread) + (1.0 - chance) * misread
            found.append(HandGain(kind, part, seconds, told(yes_or_no(seen))))

    shaky = _likeliest(made, p, HANDS["press"].sites)
    for part in [one for one in shaky if one in hands.sockets][:PARTS_TRIED]:
        add("reseat", part, costs.reseat_s + 2 * costs.power_s, cured_by(made, members, part, "reseat"), e)
    for part in shaky[:PARTS_TRIED] if hands.press else ():
        effect = np.exp(effect_logs(made, members, Effect("press", part, (), True)))
        add("press", part, PRESS_S + power_s, effect, 0.0)
    blamed = [part for part in _blamed(made, p) if part in {*hands.tops, *hands.replace}]
    for part in blamed[:PARTS_TRIED]:
        pay = hands.pay_s(part)
        if part in hands.tops:
            effect = np.exp(effect_logs(made, members, Effect("piggyback", part, (), True)))
            add("piggyback", part, TOP_S + 2 * costs.power_s + pay, effect, 0.0)
        if part in hands.replace:
            add("replace", part, REPLACE_S + 2 * costs.power_s + pay, cured_by(made, members, part, "swap"), e)
    return found


def _likeliest(made: Field, p: Floats, kinds: tuple[str, ...]) -> list[str]:
    """Parts by how much of the belief lies at their contacts, legs and joints, most first."""
    parts = {
        site.partition("@")[2].rpartition(".")[0]
        for k in np.flatnonzero(p > LEAST_P / 10).tolist()
        for site in made.causes[k].sites
        if site.partition("@")[0] in kinds
    }
    mass = {one: float(p @ touched_shares(made, one, (), kinds)[:-1]) for one in sorted(parts) if one}
    return [one for one in sorted(mass, key=lambda one: (-mass[one], one)) if mass[one] >= LEAST_P]


def _blamed(made: Field, p: Floats) -> list[str]:
    mass: dict[str, float] = {}
    for k in np.flatnonzero(p > LEAST_P / 10).tolist():
        if made.causes[k].part:
            mass[made.causes[k].part] = mass.get(made.causes[k].part, 0.0) + float(p[k])
    return [one for one in sorted(mass, key=lambda one: (-mass[one], one)) if mass[one] >= LEAST_P]


def yes_or_no(chance: Floats) -> Floats:
    """Chances of yes and of no, (sets, 2)."""
    return np.stack([chance, 1.0 - chance], axis=1)
