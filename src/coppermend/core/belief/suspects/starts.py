"""k of n starts as evidence: healthy, at fault every time, or now and then, and under which condition.

A set of faults is there at every start ("hard"), or only at a share q of them that nobody knows ("now and then", each q from 0 to 1 alike likely before).
With k good starts of n: healthy boards give Binomial(n, 1 - e), hard faults Binomial(n, e), faults now and then the uniform mixture of binomials,
B(k + 1, n - k + 1) C(n, k) = 1 / (n + 1) (the Beta-binomial with a = b = 1; T. Bayes 1763, from memory). e is the chance to misread one start.
A condition (cold, warm, vibration, minutes on) may change q, with chance ``SENSITIVE``; freeze spray or heat on one part changes it with
``SENSITIVE_HERE`` where the fault sits at that part and ``SENSITIVE_BESIDE`` where it does not. How likely a fault comes and goes depends on what it is: contacts and
joints often, dead chips seldom (``NOW_AND_THEN``). All of these are assumptions, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import betaln, gammaln

from coppermend.core.belief.suspects.causes import Cause
from coppermend.core.belief.suspects.field import Bytes, Field, Floats, Ints

NOW_AND_THEN = {
    "contact": 0.6, "leg": 0.6, "joint": 0.5, "barrel": 0.4, "spoke": 0.3, "run": 0.2, "wire": 0.3, "part": 0.1, "short": 0.1, "rail": 0.15,
}  # fmt: skip
"""P(a fault comes and goes | what it is): site kinds, then parts, bridges, rails (assumptions)."""
SENSITIVE = 0.5
"""P(a condition of the whole board changes how often it fails | it comes and goes); an assumption."""
SENSITIVE_HERE, SENSITIVE_BESIDE = 0.7, 0.1
"""The same for freeze spray or heat on one part: where the fault sits at that part, and where it does not (spray spreads); assumptions."""
LOCAL = ("freeze spray", "heat")
"""Conditions that are brought to one part."""
MOST_PLACES = 4


@dataclass(frozen=True, slots=True)
class Tally:
    """``good`` of ``of`` starts as they should be, under one condition ("" none said), with spray or heat on ``part`` ("" none)."""

    condition: str
    part: str
    good: int
    of: int


@dataclass(frozen=True, slots=True)
class Starts:
    """All starts that were counted since the last repair, as one piece of evidence."""

    tallies: tuple[Tally, ...]
    entry: str = ""


def summed(tallies: Sequence[Tally]) -> tuple[Tally, ...]:
    """The tallies of each condition and part together, in order.

    >>> summed([Tally("cold", "", 1, 2), Tally("warm", "", 3, 3), Tally("cold", "", 0, 3)])
    (Tally(condition='cold', part='', good=1, of=5), Tally(condition='warm', part='', good=3, of=3))
    """
    found: dict[tuple[str, str], list[int]] = {}
    for one in tallies:
        row = found.setdefault((one.condition, one.part), [0, 0])
        row[0] += one.good
        row[1] += one.of
    return tuple(Tally(c, p, k, n) for (c, p), (k, n) in found.items())


def log_choose(n: int, k: int) -> float:
    """Log of the binomial coefficient.

    >>> round(math.exp(log_choose(5, 2)), 9)
    10.0
    """
    return float(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1))


def log_binomial(tallies: Sequence[Tally], good: float) -> float:
    """Log P(tallies) when every start is good with the same known chance.

    >>> round(math.exp(log_binomial([Tally("", "", 4, 5)], 0.5)), 9)
    0.15625
    """
    return sum(
        log_choose(t.of, t.good) + t.good * math.log(good) + (t.of - t.good) * math.log(1.0 - good) for t in tallies
    )


def log_mixed(tallies: Sequence[Tally]) -> float:
    """Log P(tallies) when all share one chance of which nothing is known: 1 / (n + 1) for a single tally.

    >>> round(math.exp(log_mixed([Tally("", "", 3, 5)])), 9), round(math.exp(log_mixed([Tally("", "", 0, 5)])), 9)
    (0.166666667, 0.166666667)
    """
    if not tallies:
        return 0.0
    good, of = sum(t.good for t in tallies), sum(t.of for t in tallies)
    return sum(log_choose(t.of, t.good) for t in tallies) + float(betaln(good + 1, of - good + 1))


def log_now_and_then(tallies: Sequence[Tally], here: Sequence[str] = ()) -> float:
    """Log P(tallies) of a fault that comes and goes and sits at the parts ``here``: mixed over what it is sensitive to.

    Five of five without spray, none of five with spray on U1: a fault at U1 explains it, one elsewhere hardly.

    >>> sprayed = [Tally("", "", 5, 5), Tally("freeze spray", "U1", 0, 5)]
    >>> round(math.exp(log_now_and_then(sprayed, ["U1"]) - log_now_and_then(sprayed)), 1)
    6.3
    """
    board = [t for t in tallies if not t.part]
    places = sorted({t.part for t in tallies if t.part})[:MOST_PLACES]
    several = len({t.condition for t in board}) > 1
    logs = []
    for own, *local in product((False, True) if several else (False,), *([(False, True)] * len(places))):
        chance = (SENSITIVE if own else 1.0 - SENSITIVE) if several else 1.0
        shared = [] if own else list(board)
        log = sum(log_mixed([t]) for t in board) if own else 0.0
        for part, apart in zip(places, local, strict=True):
            mine = [t for t in tallies if t.part == part]
            p = SENSITIVE_HERE if part in here else SENSITIVE_BESIDE
            chance *= p if apart else 1.0 - p
            if apart:
                log += sum(log_mixed([t]) for t in mine)
            else:
                shared += mine
        logs.append(math.log(chance) + log + log_mixed(shared))
    return float(np.logaddexp.reduce(logs))


def starts_needed(share: float, sure: float = 0.95) -> int:
    """How many good starts in a row it takes to be ``sure`` that a fault that shows in ``share`` of them is gone: 1 - (1 - share)^n >= sure.

    >>> starts_needed(1 / 3), starts_needed(0.5)
    (8, 5)
    """
    if not 0.0 < share < 1.0:
        return 1
    return math.ceil(math.log(1.0 - sure) / math.log(1.0 - share) - 1e-9)


def now_and_then(cause: Cause) -> float:
    """How likely one fault comes and goes."""
    if cause.sites:
        kinds = [NOW_AND_THEN.get(site.partition("@")[0], 0.2) for site in cause.sites]
        return sum(kinds) / len(kinds)
    return NOW_AND_THEN.get(cause.kind, 0.1)


def starts_logs(made: Field, members: Ints, screens: Bytes, tallies: Sequence[Tally]) -> Floats:
    """Log P(tallies | set) for every fault set (n, size), -1 where fewer; ``screens`` what each set predicts."""
    rows = summed(tallies)
    e = made.table.screen_misread
    works = next((k for k, s in enumerate(made.screens) if s.name == "works"), -1)
    fine = (screens == works) | (members.max(axis=1) < 0)
    share = _shares(made)[members].prod(axis=1)
    places = sorted({t.part for t in rows if t.part})[:MOST_PLACES]
    pattern = np.zeros(len(members), np.int64)
    for k, part in enumerate(places):
        pattern |= _at(made, part)[members].any(axis=1).astype(np.int64) << k
    loose = np.array(
        [log_now_and_then(rows, [p for k, p in enumerate(places) if bits >> k & 1]) for bits in range(1 << len(places))]
    )
    hard = log_binomial(rows, e)
    with np.errstate(divide="ignore"):
        faulty = np.logaddexp(np.log1p(-share) + hard, np.log(share) + loose[pattern])
    return np.asarray(np.where(fine, log_binomial(rows, 1.0 - e), faulty), dtype=np.float64)


def loose_share(made: Field, members: Ints, tallies: Sequence[Tally]) -> Floats:
    """Of every fault set: how likely it comes and goes, after the tallies, if it is what is wrong. (sets,)"""
    rows = summed(tallies)
    share = _shares(made)[members].prod(axis=1)
    loose, hard = math.exp(log_now_and_then(rows)), math.exp(log_binomial(rows, made.table.screen_misread))
    return np.asarray(share * loose / np.maximum(share * loose + (1.0 - share) * hard, 1e-300), dtype=np.float64)


def _shares(made: Field) -> Floats:
    """(causes + 1,), 1 for none: a set comes and goes when all of its faults do."""
    if "now and then" not in made.memo:
        made.memo["now and then"] = np.array([*(now_and_then(one) for one in made.causes), 1.0])
    found: Floats = made.memo["now and then"]
    return found


def _at(made: Field, part: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(causes + 1,) whether a cause sits at a part: inside it, or a joint, contact or leg of it."""
    ends = tuple(f"{kind}@{part}." for kind in ("joint", "contact", "leg"))
    rows = [one.part == part or any(site.startswith(ends) for site in one.sites) for one in made.causes]
    return np.array([*rows, False])
