"""Whether two pieces of copper that belong apart are joined: beeps and ohms readings across them, and where the bridge sits.

A beep counts by its rates. The value of an ohms reading counts where the places are known at which the two pieces come near (``shorts``): if they are
bridged it lies about the copper up to the bridge and the bridge itself; a value that is not true (a tip that adds resistance, a false closed) lies
anywhere. Ohms readings along either net, true ones, sharpen the copper's scale: their own evidence is the net's, so it is taken out again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.belief.ohmic import Array, OhmsReading
from coppermend.core.belief.readings import COARSE, LEAST_RATE, Taken, reads_closed
from coppermend.core.belief.shorts import ShortModel, short_evidence
from coppermend.core.belief.valued import TIP_ADDS, flat, through_parts

MOST_ACROSS = 6
"""So many ohms readings across two nets are weighed together, the last ones; earlier ones count as closed or open."""
MOST_ALONG = 6
"""So many ohms readings along the two nets help."""

Bridges = Mapping[frozenset[int], ShortModel]
"""By the indices of two nets: the places where they come near, prepared for the readings of the case."""


@dataclass(frozen=True, slots=True)
class Joining:
    """What readings say about two pieces that should be apart: posterior that they are joined (a short).

    ``places``: with ohms readings and the places where the two come near (``belief``'s ``bridges``): the chance of each, if they are joined.
    """

    point_a: str
    point_b: str
    p: float
    readings: int
    last_closed: bool
    places: tuple[float, ...] = ()


def joinings(
    copper: Copper,
    between: Sequence[Evidence],
    basis: Basis,
    along: Mapping[int, Sequence[Taken]],
    bridges: Bridges,
) -> tuple[tuple[Joining, ...], float]:
    """For each pair of pieces with readings across: joined by a short or apart; and the log evidence of all. ``along``: readings by piece."""
    pairs: dict[tuple[int, int], list[Evidence]] = {}
    for one in between:
        a, b = (copper.tree.piece[copper.points[p].node] for p in (one.point_a, one.point_b))
        pairs.setdefault((min(a, b), max(a, b)), []).append(one)
    found: list[Joining] = []
    log_evidence = 0.0
    for (a, b), said in pairs.items():
        last = said[-1]
        nets = frozenset(copper.points[p].net for p in (last.point_a, last.point_b))
        inside = [t for piece in (a, b) for t in along.get(piece, ())]
        joined, apart, places = _two_ways(copper, said, basis, inside, bridges.get(nets))
        top = max(joined, apart)
        log_evidence += top + float(np.log(np.exp(joined - top) + np.exp(apart - top)))
        p = 1.0 / (1.0 + float(np.exp(min(700.0, apart - joined))))
        found.append(Joining(last.point_a, last.point_b, p, len(said), reads_closed(last, basis), places))
    return tuple(found), log_evidence


def _two_ways(
    copper: Copper, said: Sequence[Evidence], basis: Basis, along: Sequence[Taken], model: ShortModel | None
) -> tuple[float, float, tuple[float, ...]]:
    """Log of prior times likelihood when joined and when apart, and the places if joined."""
    low_open, low_closed = max(basis.false_open, LEAST_RATE), max(basis.false_closed, LEAST_RATE)
    valued = [(e, r) for e in said if (r := _as_form(copper, e, model)) is not None][-MOST_ACROSS:]
    own = {id(e) for e, _ in valued}
    joined, apart = float(np.log(basis.short_prior)), float(np.log1p(-basis.short_prior))
    for one in said:
        if id(one) in own:
            continue
        closed = reads_closed(one, basis)
        joined += float(np.log(1.0 - low_open if closed else low_open))
        apart += float(np.log(low_closed if closed else 1.0 - low_closed))
    if model is None or not valued:
        return joined, apart, ()
    inner = [r for t in along if (r := _along(t, model)) is not None][-MOST_ALONG:]
    base = short_evidence(model, inner)[0] if inner else 0.0
    logs, places = [], []
    for missing in range(len(valued) + 1):
        for out in combinations(range(len(valued)), missing):
            true = [r for k, (_, r) in enumerate(valued) if k not in out]
            log, p = short_evidence(model, [*inner, *true]) if true else (base, model.prior)
            log -= base
            for k, (e, r) in enumerate(valued):
                adds = TIP_ADDS[r.instrument.wires]
                if k in out:
                    value = e.ohms or 0.0
                    log += float(np.log((1 - low_open) * adds * flat(value) + low_open * _apart(e, low_closed)))
                else:
                    log += float(np.log((1 - low_open) * (1 - adds)))
            logs.append(log)
            places.append(p)
    weight = np.exp(np.array(logs) - max(logs))
    joined += max(logs) + float(np.log(weight.sum()))
    apart += sum(float(np.log(_apart(e, low_closed))) for e, _ in valued)
    share: Array = (weight / weight.sum()) @ np.array(places)
    return joined, apart, tuple(share.tolist())


def _apart(one: Evidence, low_closed: float) -> float:
    """Density of a value where nothing joins the two pieces but parts or a false closed."""
    value = one.ohms or 0.0
    return max(low_closed * flat(value) + (1.0 - low_closed) * through_parts(value), 1e-12)


def _as_form(copper: Copper, one: Evidence, model: ShortModel | None) -> OhmsReading | None:
    """An ohms reading as the model takes it; None for beeps and for points that the model was not made for."""
    if model is None or one.says != "ohms" or one.ohms is None:
        return None
    ends = one.sense or (one.point_a, one.point_b)
    names = (one.point_a, one.point_b, *ends)
    if any(p not in copper.points for p in names):
        return None
    nodes = [copper.points[p].node for p in names]
    if any(n not in model.a.at and n not in model.b.at for n in nodes):
        return None
    return OhmsReading((nodes[0], nodes[1]), (nodes[2], nodes[3]), one.ohms, one.instrument or COARSE, one.entry)


def _along(one: Taken, model: ShortModel) -> OhmsReading | None:
    if one.ohm is None or one.sense is None:
        return None
    nodes = (one.node_a, one.node_b, *one.sense)
    if not (all(n in model.a.at for n in nodes) or all(n in model.b.at for n in nodes)):
        return None
    return OhmsReading((one.node_a, one.node_b), one.sense, one.ohm, one.instrument or COARSE, one.entry)
