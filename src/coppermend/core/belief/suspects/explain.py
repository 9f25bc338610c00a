"""Explanations of all that was seen, of as many faults as it takes (up to six): conflicts from the readings, minimal sets, each tried out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coppermend.core.belief.suspects.field import DEEPEST, padded
from coppermend.core.belief.suspects.hitting import hitting_sets
from coppermend.core.belief.suspects.posterior import UNEXPLAINED, State, liked_by_singles, log_likelihood

FAULTS_EACH = 25
"""Likeliest faults taken up for each reading that must be explained."""
EXPLAINS = 0.3
MISREADINGS = 4
"""Abnormal readings of which an explanation may say that they were misread."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """A set of faults (their words), its log weight, and how many readings it leaves unexplained."""

    causes: tuple[int, ...]
    words: tuple[str, ...]
    log_weight: float
    left: int


def explanations(state: State, most: int = 20) -> tuple[Explanation, ...]:
    """The likeliest minimal explanations of the abnormal readings, best first by weight after each was simulated; none when nothing is abnormal.

    Readings are soft: a set that leaves some unexplained may still come first when that is likelier than one fault more.
    """
    made = state.field
    liked = liked_by_singles(state)
    healthy = made.remembered(padded([()]))
    cost = -np.log(made.odds)
    abnormal = []
    for k, one in enumerate(state.evidence):
        usual = float(log_likelihood(made, healthy, one)[0])
        like = liked[k]
        if usual < np.log(UNEXPLAINED):
            abnormal.append((like, -usual))
        else:
            cost = cost + np.maximum(0.0, usual - like)  # a fault that would spoil what was seen to be right
    base = min(0.0, float(cost.min()))
    lie = len(cost)  # beyond the faults: the k-th abnormal reading is a misreading
    prices: dict[int, float] = {}
    conflicts = []
    for k, (like, misread) in enumerate(abnormal):
        fits = np.flatnonzero(like > np.log(EXPLAINS))
        kept = [int(c) for c in fits[np.argsort(cost[fits], kind="stable")[:FAULTS_EACH]]]
        prices |= {c: float(cost[c]) - base + 1e-3 for c in kept} | {lie + k: misread}
        conflicts.append(frozenset((*kept, lie + k)))
    if not conflicts:
        return ()
    conflicts.sort(key=len)
    hit = hitting_sets(conflicts, prices, 2 * most, DEEPEST + MISREADINGS)
    sets = list(dict.fromkeys(real for one in hit if 0 < len(real := tuple(c for c in one if c < lie)) <= DEEPEST))[
        :most
    ]
    if not sets:
        return ()
    block = made.remembered(padded(sets, DEEPEST))
    logs = block.prior.copy()
    left = np.zeros(len(sets), np.int64)
    for one in state.evidence:
        like = log_likelihood(made, block, one)
        logs += like
        left += like < np.log(UNEXPLAINED)
    order = np.argsort(-logs, kind="stable")
    return tuple(
        Explanation(sets[k], tuple(made.causes[c].words for c in sets[k]), float(logs[k]), int(left[k]))
        for k in order.tolist()
    )
