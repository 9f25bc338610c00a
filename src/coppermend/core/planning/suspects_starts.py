"""Starting again several times as a step: plain, or with spray or heat on one part, and what counting the good starts is expected to tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coppermend.core.belief.suspects.field import Bytes, Field, Floats, Ints
from coppermend.core.belief.suspects.starts import Tally, starts_logs

TIMES = 5
"""How often a start is repeated in one step (common practice, no source)."""
SPRAY_S = 60.0
"""Spraying or warming one part before a start, on top of the starts' own seconds (an assumption)."""
PARTS_TRIED = 3


@dataclass(frozen=True, slots=True)
class Repeat:
    """A way to start ``TIMES`` times: condition and part ("" none), modelled seconds, expected bits."""

    condition: str
    part: str
    seconds: float
    gain_bits: float


def repeats(
    made: Field, members: Ints, screens: Bytes, weights: Floats, p: Floats, tallies: Sequence[Tally], power_s: float
) -> list[Repeat]:
    """Ways to go on counting, best first. ``weights`` (sums to 1) of ``members``; ``p`` of every cause; ``power_s`` for one power on or off.

    Spray and heat are weighed at the parts of the likeliest causes, and only where starts were counted without.
    """
    start_s = TIMES * 2.0 * power_s
    found = [Repeat("", "", start_s, _told(made, members, screens, weights, tallies, "", ""))]
    if tallies:
        for part in _likeliest(made, p):
            gain = _told(made, members, screens, weights, tallies, "freeze spray", part)
            found.append(Repeat("freeze spray", part, start_s + SPRAY_S, gain))
    found.sort(key=lambda one: (-one.gain_bits, one.seconds, one.part))
    return found


def _told(
    made: Field, members: Ints, screens: Bytes, weights: Floats, tallies: Sequence[Tally], condition: str, part: str
) -> float:
    """Bits that the number of good ones among ``TIMES`` further starts tells about which set holds: H(k) - H(k | set)."""
    before = starts_logs(made, members, screens, tallies) if tallies else np.zeros(len(members))
    chance = np.stack(
        [
            np.exp(starts_logs(made, members, screens, [*tallies, Tally(condition, part, k, TIMES)]) - before)
            * _ways(tallies, condition, part, k)
            for k in range(TIMES + 1)
        ],
        axis=1,
    )
    chance /= chance.sum(axis=1, keepdims=True)
    return max(0.0, _entropy(weights @ chance) - float(weights @ _entropies(chance)))


def _ways(tallies: Sequence[Tally], condition: str, part: str, k: int) -> float:
    """What turns the summed tally's binomial coefficient into that of the further starts alone: C(5, k) C(n, g) / C(n + 5, g + k)."""
    from math import comb

    mine = [t for t in tallies if (t.condition, t.part) == (condition, part)]
    good, of = sum(t.good for t in mine), sum(t.of for t in mine)
    return comb(TIMES, k) * comb(of, good) / comb(of + TIMES, good + k)


def _likeliest(made: Field, p: Floats) -> list[str]:
    """Parts at which the likeliest causes sit."""
    found: list[str] = []
    for k in np.argsort(-p, kind="stable")[:40].tolist():
        cause = made.causes[k]
        parts = (
            [cause.part]
            if cause.part
            else [
                s.partition("@")[2].split(".")[0] for s in cause.sites if s.startswith(("joint@", "contact@", "leg@"))
            ]
        )
        found += [one for one in parts if one and one not in found]
        if len(found) >= PARTS_TRIED:
            break
    return found[:PARTS_TRIED]


def _entropy(p: Floats) -> float:
    return float(_entropies(p[None, :])[0])


def _entropies(p: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        rows: Floats = -np.where(p > 0, p * np.log2(np.where(p > 0, p, 1.0)), 0.0).sum(axis=1)
    return rows
