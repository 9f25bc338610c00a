"""The plain enumerator: every break pattern of a small piece, one by one, straight from the definition.

Slow and simple on purpose: it shares no step with the engine (no blocks, no merging, no sweep) and is its oracle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.belief.readings import rates, reads_closed
from coppermend.core.copper.model import CopperGraph
from coppermend.core.geometry.groups import Groups

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Enumerated:
    """``sites``: posterior by site; ``log_evidence``; ``omitted``: prior mass of patterns with more breaks than were listed."""

    sites: Floats
    log_evidence: float
    omitted: float
    joined: dict[tuple[str, str], float]


def enumerate_breaks(
    graph: CopperGraph,
    prior: Floats,
    evidence: Sequence[Evidence],
    basis: Basis,
    most: int | None = None,
    ask: Sequence[tuple[str, str]] = (),
) -> Enumerated:
    """Posterior of every site by listing patterns of at most ``most`` breaks (None = all). All sites conduct.

    Bad contacts of the points used are listed too. Cost: patterns x contacts x sites; for graphs of a dozen sites.
    """
    low_open, low_closed = rates(basis)
    node = {p.id: p.node for p in graph.points}
    where = {s.id: k for k, s in enumerate(graph.sites)}
    used = sorted({p for e in evidence for p in (e.point_a, e.point_b)})
    n = len(graph.sites)
    total, listed = 0.0, 0.0
    mass = np.zeros(n)
    together = dict.fromkeys(ask, 0.0)
    for count in range((n if most is None else most) + 1):
        for gone in combinations(range(n), count):
            chance = float(np.prod([prior[k] if k in gone else 1.0 - prior[k] for k in range(n)]))
            listed += chance
            roots: dict[frozenset[int], list[int]] = {}
            closes = []
            for e in evidence:
                missing = frozenset(gone) | {where[s] for s in e.without}
                if missing not in roots:
                    roots[missing] = _roots(graph, missing)
                closes.append(roots[missing][node[e.point_a]] == roots[missing][node[e.point_b]])
            weight = chance * _contacts_summed(evidence, closes, used, basis, low_open, low_closed)
            total += weight
            mass[list(gone)] += weight
            if ask:
                now = _roots(graph, frozenset(gone))
                for a, b in ask:
                    if now[node[a]] == now[node[b]]:
                        together[a, b] += weight
    return Enumerated(
        mass / total, float(np.log(total)), max(0.0, 1.0 - listed), {k: v / total for k, v in together.items()}
    )


def _roots(graph: CopperGraph, gone: frozenset[int]) -> list[int]:
    groups = Groups()
    find = groups.find
    for k, site in enumerate(graph.sites):
        if k not in gone:
            groups.join(site.a, site.b)
    return [find(x) for x in range(graph.node_count)]


def _contacts_summed(
    evidence: Sequence[Evidence],
    closes: Sequence[bool],
    used: Sequence[str],
    basis: Basis,
    low_open: float,
    low_closed: float,
) -> float:
    """Likelihood of all readings given which circuits are whole, summed over which probe points bite badly."""
    bad, miss = basis.contact_bad, basis.contact_false_open
    summed = 0.0
    for draw in product((False, True), repeat=len(used) if bad > 0.0 else 0):
        state = dict(zip(used, draw, strict=False))
        term = float(np.prod([bad if s else 1.0 - bad for s in draw])) if draw else 1.0
        for e, whole in zip(evidence, closes, strict=True):
            bite = 1.0
            for point in dict.fromkeys((e.point_a, e.point_b)):
                bite *= 1.0 - miss if state.get(point, False) else 1.0
            p_closed = bite * (1.0 - low_open) + (1.0 - bite) * low_closed if whole else low_closed
            term *= p_closed if reads_closed(e, basis) else 1.0 - p_closed
        summed += term
    return summed
