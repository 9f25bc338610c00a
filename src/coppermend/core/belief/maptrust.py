"""Whether the map is a map of this board: a hypothesis of its own, beside all breaks.

A replica or another revision agrees on most nets and differs on some. Readings on copper that nobody touched speak of it: where the map is right they
agree but for lying tips and rare old breaks; where it is of another board a net of many pins differs more often. Each pair of points counts
once: repeating a reading says more about the tips than about the map. So does each net that reads open: one old break, or one pin that hangs
elsewhere, opens every pair across it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.engine import prior_of
from coppermend.core.belief.model import Basis, Evidence, WorkArea
from coppermend.core.belief.priors import area_factors
from coppermend.core.belief.readings import rates, reads_closed

MAP_WRONG = 0.05
"""Chance, before any reading, that the package is of another board or revision (an assumption)."""
MAP_WRONG_ONCE_CORRECTED = 0.3
"""The same once the map was corrected at a place: it differs elsewhere too, more often than not looked at (an assumption)."""
PIN_DIFFERS = (0.02, 0.08, 0.30)
"""On a wrong map: chance that one pin of a net is not on that net here; a late revision, another revision, another machine, alike likely (an assumption)."""
NETS_MEET = 0.02
"""On a wrong map: chance that two given nets that lie apart on it are joined here (an assumption)."""
REPEATED_FALSE = 0.3
"""A pair that read falsely once does so again this often: the tips stand in the same dirt (shared bench table)."""
DOUBT, TRUST = 0.9, 0.02
"""Above DOUBT the map is called wrong, below TRUST it is trusted."""


@dataclass(frozen=True, slots=True)
class MapReading:
    """What one pair of points says: ``joined`` on the map, ``closed`` here, the likelihoods of it on a right map and on
    a wrong one (one for each of PIN_DIFFERS), how often it was read; ``net`` its net's index where the map joins both points, else -1."""

    point_a: str
    point_b: str
    joined: bool
    closed: bool
    right: float
    wrong: tuple[float, ...]
    times: int
    net: int = -1

    @property
    def contradicts(self) -> bool:
        """Map and board differ in this reading."""
        return self.joined != self.closed


def differs(level: float) -> float:
    """On a wrong map: chance that two pins joined on it are not joined here, when one pin differs with chance ``level``.

    >>> round(differs(0.08), 4)
    0.1536
    """
    return 1.0 - (1.0 - level) ** 2


def map_readings(
    copper: Copper, areas: Sequence[WorkArea], evidence: Sequence[Evidence], basis: Basis
) -> tuple[MapReading, ...]:
    """The readings that speak of the map: those whose ways lie wholly outside the work areas, one row a pair, in the order first read.

    A pair that reads both ways is taken as closed when any reading was: closed readings lie less often.
    """
    false_open, false_closed = rates(basis)
    chance = prior_of(copper.graph, areas, basis)
    touched = area_factors(copper.graph, areas, basis) > 0.0
    said: dict[tuple[str, str], list[bool]] = {}
    for one in evidence:
        if one.point_a in copper.points and one.point_b in copper.points and one.says in ("closed", "open", "ohms"):
            pair = (min(one.point_a, one.point_b), max(one.point_a, one.point_b))
            said.setdefault(pair, []).append(reads_closed(one, basis))
    out = []
    for (p, q), answers in said.items():
        a, b = copper.points[p], copper.points[q]
        joined = copper.tree.piece[a.node] == copper.tree.piece[b.node]
        closed = any(answers)
        if joined:
            old = old_break(copper, chance, touched, a.node, b.node)
            if old is None:
                continue
            other = _chance(closed, false_closed, len(answers))
            whole = (1.0 - old) * _chance(closed, 1.0 - false_open, len(answers)) + old * _chance(
                closed, false_closed, len(answers)
            )
            out.append(MapReading(p, q, True, closed, whole, _blend(whole, other, differs), len(answers), a.net))
        elif not _near_area(copper, touched, a.node, b.node) and a.net != b.net:
            apart = _chance(closed, false_closed + basis.prior_out, len(answers))
            met = _chance(closed, 1.0 - false_open, len(answers))
            out.append(MapReading(p, q, False, closed, apart, _blend(apart, met, lambda _: NETS_MEET), len(answers)))
    return tuple(out)


def _blend(same: float, other: float, share: Callable[[float], float]) -> tuple[float, ...]:
    return tuple((1.0 - share(level)) * same + share(level) * other for level in PIN_DIFFERS)


def _chance(closed: bool, p_closed: float, times: int) -> float:
    """Likelihood of a pair's answers: the first by its rate, each further one that says the same falsely by REPEATED_FALSE."""
    first = p_closed if closed else 1.0 - p_closed
    if first >= 0.5:
        return first
    return float(first * REPEATED_FALSE ** (times - 1))


def old_break(copper: Copper, chance: NDArray[np.float64], touched: NDArray[np.bool_], a: int, b: int) -> float | None:
    """Chance of a break on the only ways between two nodes; None where a site of a way lies in a work area. ``chance``, ``touched`` by site."""
    sound = 1.0
    for block, _, _ in copper.tree.route(a, b):
        sites = copper.block_sites[block]
        if any(touched[k] for k in sites):
            return None
        if len(sites) == 1:
            sound *= 1.0 - float(chance[sites[0]])
    return 1.0 - sound


def _near_area(copper: Copper, touched: NDArray[np.bool_], *nodes: int) -> bool:
    """Whether a site of the pieces of these nodes lies in a work area: then a short is likelier than a wrong map."""
    return any(touched[k] for piece in {copper.tree.piece[n] for n in nodes} for k in copper.pieces[piece])


def p_map_wrong(readings: Sequence[MapReading], before: float = MAP_WRONG) -> float:
    """Chance that the map is of another board, after these readings.

    >>> round(p_map_wrong(()), 9) == MAP_WRONG
    True
    >>> agree = MapReading("a", "b", True, True, 0.98, (0.94, 0.83, 0.48), 1)
    >>> p_map_wrong([agree] * 8) < 0.02
    True

    Two pairs of one net that read open are one break or one pin that hangs elsewhere: they count as the one that a break explains better.

    >>> odd = MapReading("a", "b", True, False, 0.001, (0.01, 0.04, 0.13), 2, net=3)
    >>> p_map_wrong([odd, odd]) == p_map_wrong([odd])
    True
    """
    readings = _each_net_once(readings)
    logs = [sum(math.log(max(r.wrong[k], 1e-300)) for r in readings) for k in range(len(PIN_DIFFERS))]
    top = max(logs)
    wrong = top + math.log(sum(math.exp(one - top) for one in logs) / len(logs))
    odds = math.log(before / (1.0 - before)) + wrong - sum(math.log(max(r.right, 1e-300)) for r in readings)
    return 1.0 / (1.0 + math.exp(-min(max(odds, -700.0), 700.0)))


def _each_net_once(readings: Sequence[MapReading]) -> list[MapReading]:
    """The readings with one open pair a net: the one that an old break explains best."""
    opens: dict[int, MapReading] = {}
    for one in readings:
        if one.contradicts and one.net >= 0:
            opens[one.net] = max(opens.get(one.net, one), one, key=lambda r: (r.right, r.point_a, r.point_b))
    return [*(one for one in readings if not one.contradicts or one.net < 0), *opens.values()]
