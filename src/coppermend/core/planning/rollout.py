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
Ints = NDArray[np.int64]

SURE = 0.97
"""Weight of one state of the suspects at which the play stops."""
DEPTH = 5
SMALL = 0.02
"""Branches less likely than this are not played."""
SECONDS_PER_BIT = 5.0
"""What is left in doubt at the end of a play is priced with this."""


@dataclass(frozen=True, slots=True)
class Game:
    """Readings to choose from. ``joined`` (readings, samples); ``a`` (readings,) chance of closed when joined; ``b`` when not; ``seconds`` (readings,).

    ``state`` (samples,): number of the suspects' state in each sample.
    """

    joined: Floats
    a: Floats
    b: float
    seconds: Floats
    state: Ints
    states: int

    def expected(self, first: int) -> float:
        """Expected seconds from now if reading ``first`` is taken now and the greedy rule follows."""
        weight = np.full(self.joined.shape[1], 1.0 / self.joined.shape[1])
        return self._after(first, weight, 1.0, DEPTH)

    def _after(self, reading: int, weight: Floats, chance: float, depth: int) -> float:
        closed = np.where(self.joined[reading] > 0.0, self.a[reading], self.b)
        total = float(self.seconds[reading])
        for like in (closed, 1.0 - closed):
            mass = weight * like
            p = float(mass.sum())
            if p > 0.0:
                total += p * self._play(mass / p, chance * p, depth - 1)
        return total

    def _play(self, weight: Floats, chance: float, depth: int) -> float:
        shares = np.bincount(self.state, weights=weight, minlength=self.states)
        left = SECONDS_PER_BIT * float(-(shares * np.log2(np.maximum(shares, 1e-15))).sum())
        if depth <= 0 or chance < SMALL or float(shares.max()) >= SURE:
            return left
        pi = self.joined @ weight
        bits = _bits(pi, self.a, self.b)
        best = int(np.argmax(bits / self.seconds))
        if bits[best] < 0.02:
            return left
        return min(left * 4.0, self._after(best, weight, chance, depth))


def _bits(pi: Floats, a: Floats, b: float) -> Floats:
    mixed = pi * a + (1.0 - pi) * b
    return np.asarray(_h(mixed) - pi * _h(a) - (1.0 - pi) * _h(np.array(b)), dtype=np.float64)


def _h(p: Floats) -> Floats:
    q = np.clip(p, 1e-12, 1.0 - 1e-12)
    return np.asarray(-(q * np.log2(q) + (1.0 - q) * np.log2(1.0 - q)), dtype=np.float64)
