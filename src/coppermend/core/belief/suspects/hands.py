"""What hands do to contacts and chips, as evidence over fault sets: reseat, clean, press, tap, a chip swapped, a good chip held on top.

Work that lasts (reseat, clean, the socket at a swap) may cure a contact and may harm one: it shifts how likely each contact fault is now. A press or a
tap lasts not: an effect meanwhile speaks for a contact, leg or joint there, or for a bond inside the part. A swap for a try is evidence on the chip and
on its socket at once, for putting another one in wipes the contacts too.

A span of copper holds several sites; its share at the touched contacts is by the priors of the kinds of sites (``Basis.prior_in``).
All chances are assumptions, no source: nobody has counted them. The table is docs/reference/constants.md.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from coppermend.core.belief.suspects.field import Field, Floats, Ints


@dataclass(frozen=True, slots=True)
class HandAct:
    """One act of the hands. ``sites`` kinds of sites it touches; ``cure`` chance that it mends a bad one for good, ``harm`` that it makes one bad (for the
    whole part); ``shows`` chance of an effect while it is done where a touched site is bad, ``inside`` where the part itself is, ``miss`` where neither is.
    """

    sites: tuple[str, ...]
    cure: float
    harm: float
    shows: float = 0.0
    inside: float = 0.0
    miss: float = 0.02


HANDS: Mapping[str, HandAct] = MappingProxyType(
    {
        "reseat": HandAct(("contact", "leg"), 0.6, 0.01),
        "clean": HandAct(("contact", "leg"), 0.8, 0.01),
        "swap": HandAct(("contact", "leg"), 0.6, 0.01),
        "press": HandAct(("contact", "leg", "joint"), 0.1, 0.005, 0.5, 0.03, 0.02),
        "tap": HandAct(("contact", "leg", "joint"), 0.02, 0.003, 0.3, 0.05, 0.02),
        "piggyback": HandAct((), 0.0, 0.01, 0.0, 0.0, 0.02),
    }
)
"""Chances of cure, harm and effect of each act. Assumptions, no source."""
ON_TOP: Mapping[str, float] = MappingProxyType(
    {"float": 0.9, "low": 0.1, "high": 0.1, "stuck0": 0.1, "stuck1": 0.1, "dried": 0.9}
)
"""Chance that a good part held on top shows, by how the one under it fails: where it drives nothing (or has dried out) the one on top does its work, where
it holds a level both fight. Assumptions."""
GOOD: Mapping[str, float] = MappingProxyType({"known good": 0.98, "unknown": 0.85, "known bad": 0.05})
"""Chance that a chip put in for a try is good, by what is known of it. Assumptions."""


@dataclass(frozen=True, slots=True)
class Effect:
    """Something was pressed, tapped or had a good chip held on top: ``seen`` whether what the machine shows changed. ``pins`` () the whole part; ``sites``
    (ids) where it was done at places that are no pins, such as a via."""

    act: str
    part: str
    pins: tuple[str, ...]
    seen: bool
    entry: str = ""
    sites: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Worked:
    """Work on a part's contacts that lasts: reseat, clean, swap. ``pins`` () all of them."""

    act: str
    part: str
    entry: str = ""
    pins: tuple[str, ...] = ()


def touched_shares(
    made: Field, part: str, pins: Collection[str], kinds: Collection[str], sites: Collection[str] = ()
) -> Floats:
    """Of every cause the share of its chance that lies at these sites of a part, or at ``sites`` (ids), (causes + 1,); the last (no cause) 0."""
    key = ("touched", part, tuple(pins), tuple(kinds), tuple(sites))
    if key not in made.memo:
        weight = made.table.copper.prior_in
        found = np.zeros(len(made.causes) + 1)
        for k, cause in enumerate(made.causes):
            total = mine = 0.0
            for site in cause.sites:
                kind, _, where = site.partition("@")
                w = weight.get(kind, made.table.copper.prior_out)
                total += w
                of, _, pin = where.rpartition(".")
                if site in sites or (kind in kinds and of == part and (not pins or pin in pins)):
                    mine += w
            found[k] = mine / total if total > 0 else 0.0
        made.memo[key] = found
    kept: Floats = made.memo[key]
    return kept


def effect_chances(made: Field, one: Effect) -> Floats:
    """P(effect | one cause alone), without the chance of one by itself, (causes + 1,)."""
    act = HANDS[one.act]
    if one.act == "piggyback":
        found = np.zeros(len(made.causes) + 1)
        for k, cause in enumerate(made.causes):
            if cause.part == one.part:
                found[k] = ON_TOP.get(str(cause.key[0]), 0.0)
        return found
    found = act.shows * touched_shares(made, one.part, one.pins, act.sites, one.sites)
    inside = [k for k, cause in enumerate(made.causes) if one.part and cause.part == one.part]
    found[inside] = np.maximum(found[inside], act.inside)
    return found


def effect_logs(made: Field, members: Ints, one: Effect) -> Floats:
    """Log P(effect or none | set): each fault shows by itself or not (noisy or).

    With q of each fault and ``miss``: P(none) = (1 - miss) * product of (1 - q).
    """
    quiet = np.log1p(-effect_chances(made, one))[members].sum(axis=1) + math.log1p(-HANDS[one.act].miss)
    return np.asarray(np.log(-np.expm1(quiet)) if one.seen else quiet, dtype=np.float64)


def odds_after(prior: float, share: float, cure: float, harm: float) -> float:
    """How many times the odds of a fault change by work that cures its ``share`` with ``cure`` and makes a new one with ``harm``.

    p' = p (1 - share cure) + (1 - p) harm.

    >>> round(odds_after(0.03, 1.0, 0.6, 0.0), 4)     # 0.012 / 0.988 over 0.03 / 0.97
    0.3927
    """
    after = prior * (1.0 - share * cure) + (1.0 - prior) * harm
    return (after / (1.0 - after)) / (prior / (1.0 - prior))


def worked_logs(made: Field, members: Ints, one: Worked) -> Floats:
    """Log of how many times likelier every set is after the work than before."""
    key = ("worked", one.act, one.part, one.pins)
    if key not in made.memo:
        act = HANDS[one.act]
        shares = touched_shares(made, one.part, one.pins, act.sites)
        mine = np.flatnonzero(shares)
        harm = act.harm / max(1, len(mine))
        factor = np.zeros(len(shares))
        for k in mine.tolist():
            factor[k] = math.log(odds_after(made.causes[k].prior, float(shares[k]), act.cure, harm))
        made.memo[key] = factor
    return np.asarray(made.memo[key][members].sum(axis=1), dtype=np.float64)


def cure_chances(made: Field, part: str, act: str) -> Floats:
    """P(a cause alone is cured by working on a part's contacts), (causes + 1,); 1 for no cause."""
    found = HANDS[act].cure * touched_shares(made, part, (), HANDS[act].sites)
    found[-1] = 1.0
    return found


def cured_by(made: Field, members: Ints, part: str, act: str, good: float = 1.0) -> Floats:
    """P(everything is cured | set), (n,): by reseating or cleaning a part, or by a chip that is ``good`` put in its place (``act`` swap)."""
    each = cure_chances(made, part, act)
    if act == "swap":
        each[[k for k, cause in enumerate(made.causes) if cause.part == part]] = 1.0
    whole = each[members].prod(axis=1)
    return np.asarray(good * whole if act == "swap" else whole, dtype=np.float64)


def swap_logs(made: Field, members: Ints, part: str, started: bool, good: float, misread: float) -> Floats:
    """Log P(it starts or not | set) with another chip in, put back afterwards."""
    p = cured_by(made, members, part, "swap", good)
    seen = p * (1.0 - misread) + (1.0 - p) * misread
    return np.asarray(np.log(seen if started else 1.0 - seen), dtype=np.float64)
