"""Look further than one reading: the expected seconds until a break is found, if after this reading the greedy rule went on.

Weighted samples of the posterior stand for the net. Each reading splits their weight; the greedy rule (most bits per second) plays on down both
answers until one state of the suspects is nearly sure. The reading with the least expected total is taken.
Source: D. P. Bertsekas' rollout, applied to test sequencing by Tu and Pattipati 2002 (named from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SURE = 0.97
"""Weight of one state of the suspects at which the play stops."""
DEPTH = 5
SMALL = 0.02
"""Branches less likely than this are not played."""
SECONDS_PER_BIT = 5.0
"""What is left in doubt at the end of a play is priced with this."""
SECONDS_PER_CHECK = 5.0
"""A second reading that a break still lacks at the end of a play is priced with this."""


@dataclass(frozen=True, slots=True)
class Owed:
    """What the readings have to bring besides certainty. ``members`` (states, suspects): which are broken in which state.

    ``opens_now`` (suspects,): two independent open readings cross it already. ``with_past`` (suspects, readings): an open answer would be the second
    one, by an open reading of the log. ``together`` (suspects, readings, readings): two of these, both open, would do.
    """

    members: Bools
    opens_now: Bools
    with_past: Bools
    together: Bools

    def seconds(self, shares: Floats, opens: tuple[int, ...]) -> float:
        """Price of what is owed at the end of a play: a second reading across each break that lacks it."""
        broken = self.members[int(shares.argmax())]
        checks = 0.0
        for k in np.flatnonzero(broken & ~self.opens_now).tolist():
            done = any(self.with_past[k, c] for c in opens) or any(
                self.together[k, c, d] for i, c in enumerate(opens) for d in opens[i + 1 :]
            )
            checks += 0.0 if done else 1.0
        return SECONDS_PER_CHECK * checks


@dataclass(frozen=True, slots=True)
class Game:
    """Readings to choose from. ``closes`` (readings, samples): chance that each reads closed in each sample, copper and contacts taken together, so that
    the same tips on the same points twice are no news twice. ``seconds`` (readings,); ``of_state`` (samples, states): 1 where a sample is in a state.
    """

    closes: Floats
    seconds: Floats
    of_state: Floats
    owed: Owed

    def expected(self, first: int) -> float:
        """Expected seconds from now if reading ``first`` is taken now and the greedy rule follows."""
        weight = np.full(self.closes.shape[1], 1.0 / self.closes.shape[1])
        return self._after(first, weight, 1.0, DEPTH, ())

    def _after(self, reading: int, weight: Floats, chance: float, depth: int, opens: tuple[int, ...]) -> float:
        closed = self.closes[reading]
        total = float(self.seconds[reading])
        for like, after in ((closed, opens), (1.0 - closed, (*opens, reading))):
            mass = weight * like
            p = float(mass.sum())
            if p > 0.0:
                total += p * self._play(mass / p, chance * p, depth - 1, after)
        return total

    def _play(self, weight: Floats, chance: float, depth: int, opens: tuple[int, ...]) -> float:
        shares = weight @ self.of_state
        left = SECONDS_PER_BIT * float(-(shares * np.log2(np.maximum(shares, 1e-15))).sum())
        left += self.owed.seconds(shares, opens)
        if depth <= 0 or chance < SMALL or float(shares.max()) >= SURE:
            return left
        bits = self._bits(weight, shares)
        best = int(np.argmax(bits / self.seconds))
        if bits[best] < 0.02:
            return left
        return min(left * 4.0, self._after(best, weight, chance, depth, opens))

    def _bits(self, weight: Floats, shares: Floats) -> Floats:
        """(readings,) what each tells about the state: h(P(closed)) less the mean of h(P(closed | state))."""
        closed = self.closes @ (weight[:, None] * self.of_state)
        inside = _h(closed / np.maximum(shares, 1e-300)) @ shares
        return np.asarray(_h(closed.sum(axis=1)) - inside, dtype=np.float64)


def _h(p: Floats) -> Floats:
    q = np.clip(p, 1e-12, 1.0 - 1e-12)
    return np.asarray(-(q * np.log2(q) + (1.0 - q) * np.log2(1.0 - q)), dtype=np.float64)
