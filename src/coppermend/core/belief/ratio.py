"""What ohms prove where a beep cannot: a stretch with another way round, by one reading whose value when broken is well above its value when whole.

Removing a super-edge of resistance R from the network adds share^2 R / (1 - R_eff / R) to a pair's reading (Sherman and Morrison's rank-one change with
the excess grown without bound); share is the part of one ampere that the stretch carries between the pair.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from coppermend.core.belief.netforms import NetForms, around_of, forms_of, net_forms
from coppermend.core.belief.ohmic import SCALE_COMMON_SD, SCALE_NET_SD, Instrument, common_variance
from coppermend.core.belief.readings import COARSE, Taken
from coppermend.core.copper.model import CopperGraph, ProbePoint
from coppermend.core.copper.provable import NetView, net_view
from coppermend.core.copper.resistance import FLOOR_OHM
from coppermend.core.log.values import ohm_words

RATIO = 1.5
"""Least ratio of the value when broken to that when whole for which a reading is offered: above a copper scale off by 15 % (three of its sd of 11 % at most)."""
NEAR = 6
"""Points tried near either end of a stretch."""


@dataclass(frozen=True, slots=True)
class RatioReading:
    """One reading that tells whether a stretch with another way round is whole. ``sites`` of the stretch; ohms when it is whole and when it is broken;
    ``common`` variance of the scale of the board's copper.
    """

    sites: tuple[str, ...]
    point_a: str
    point_b: str
    whole_ohm: float
    broken_ohm: float
    common: float = SCALE_COMMON_SD**2

    @property
    def ratio(self) -> float:
        """Broken over whole."""
        return self.broken_ohm / max(self.whole_ohm, FLOOR_OHM)

    @property
    def words(self) -> str:
        """The reading as a person takes it.

        >>> RatioReading(("s",), "U1.3/leg", "U2.4/leg", 0.12, 0.31).words
        'ohms U1.3/leg to U2.4/leg: 0.12 Ω when whole, 0.31 Ω when broken'
        """
        return f"ohms {self.point_a} to {self.point_b}: {ohm_words(self.whole_ohm)} when whole, {ohm_words(self.broken_ohm)} when broken"


def ratio_readings(
    graph: CopperGraph, net: int, sites: Collection[str] | None = None, least: float = RATIO
) -> tuple[tuple[RatioReading, ...], tuple[str, ...]]:
    """For every stretch of a net with another way round (or those holding ``sites``): its best reading; and the ids of the sites that have none.

    Pours are left out: many ways lie side by side there and one of them changes nothing that a meter shows.
    """
    view = net_view(graph, net)
    wanted = [
        e
        for e in view.super_edges
        if not e.bridge and not e.dead and e.a != e.b and (sites is None or set(sites) & set(e.sites))
    ]
    sheets = {s.node for s in graph.sheets}
    at = _first_points(graph, view)
    if not wanted or len(at) < 2:
        return (), tuple(s for e in wanted for s in e.sites)
    model = net_forms(graph, net)
    number = {sites_of: k for k, sites_of in enumerate(model.edges)}
    found: list[RatioReading] = []
    none: list[str] = []
    for edge in wanted:
        k = number.get(edge.sites)
        best = None if k is None or {edge.a, edge.b} & sheets else _best(model, k, at)
        if best is not None and best.ratio >= least:
            found.append(best)
        else:
            none += edge.sites
    return tuple(found), tuple(none)


def _first_points(graph: CopperGraph, view: NetView) -> dict[int, ProbePoint]:
    points = {p.id: p for p in graph.points}
    return {node: points[ids[0]] for node, ids in view.points.items() if ids}


def _best(model: NetForms, k: int, at: dict[int, ProbePoint]) -> RatioReading | None:
    """The pair of points, one near either end, whose reading changes most for its size; on one side of the board where that costs little.

    Near by resistance, among the points nearest by distance.
    """
    graph = model.graph
    a, b = (int(n) for n in model.ends[k])
    around = float(around_of(model, [k])[0])
    if around == 0.0:
        return None

    def nearest(end: int) -> list[int]:
        x, y, _ = graph.node_place[end]
        close = sorted(at, key=lambda n: (math.dist((at[n].x_mm, at[n].y_mm), (x, y)), n))[: 2 * NEAR]
        own = model.row(end)
        if own is None:
            return []
        drive = model.column(own)
        ohm: dict[int, float] = {}
        for n in close:
            row = model.row(n)
            if row is not None:
                ohm[n] = float(model.column(row)[row] + drive[own] - 2 * drive[row])
        return sorted(ohm, key=lambda n: (ohm[n], n))[:NEAR]

    pairs = [(p, q) for p in nearest(a) for q in nearest(b) if p != q]
    if not pairs:
        return None
    forms = forms_of(model, pairs, pairs)
    whole = forms.sound
    broken = whole + forms.force[:, k] ** 2 * float(model.ohm[k]) / around
    score = np.log(broken / np.maximum(whole, FLOOR_OHM)) - 0.1 * np.array([at[p].side != at[q].side for p, q in pairs])
    best = int(np.argmax(score))
    p, q = (at[n] for n in pairs[best])
    return RatioReading(
        model.edges[k], p.id, q.id, float(whole[best]), float(broken[best]), common_variance(graph.copper_spread)
    )


def chance_broken(reading: RatioReading, ohm: float, prior: float, instrument: Instrument) -> float:
    """Chance that the stretch is broken after its reading; ``prior`` before it, 0..1. Gaussian about either value with the copper's scale and the meter.

    >>> from coppermend.core.belief.ohmic import FOUR_WIRE
    >>> one = RatioReading(("s",), "a", "b", 0.12, 0.31)
    >>> chance_broken(one, 0.125, 0.02, FOUR_WIRE) < 1e-3, chance_broken(one, 0.30, 0.02, FOUR_WIRE) > 0.999
    (True, True)
    """
    if not 0.0 < prior < 1.0:
        return min(max(prior, 0.0), 1.0)
    scale = reading.common + SCALE_NET_SD**2 + instrument.gain**2
    logs = []
    for value in (reading.whole_ohm, reading.broken_ohm):
        variance = scale * value**2 + instrument.variance + instrument.common_ohm**2
        logs.append(-0.5 * (ohm - value) ** 2 / variance - 0.5 * math.log(variance))
    odds = math.log(prior / (1.0 - prior)) + logs[1] - logs[0]
    return 1.0 / (1.0 + math.exp(-min(max(odds, -700.0), 700.0)))


def says_broken(graph: CopperGraph, sites: Sequence[str], taken: Taken) -> bool:
    """Whether an ohms reading is three times likelier with a stretch (site ids) broken than with it whole. False for a bridge."""
    model = net_forms(graph, graph.node_net[taken.node_a])
    k = next((k for k, e in enumerate(model.edges) if set(e) & set(sites)), None)
    if k is None or taken.ohm is None:
        return False
    around = float(around_of(model, [k])[0])
    if around == 0.0:
        return False
    pair = (taken.node_a, taken.node_b)
    forms = forms_of(model, [pair], [pair])
    whole = float(forms.sound[0])
    broken = whole + float(forms.force[0, k]) ** 2 * float(model.ohm[k]) / around
    common = common_variance(graph.copper_spread)
    one = RatioReading(tuple(sites), taken.point_a, taken.point_b, whole, broken, common)
    return chance_broken(one, taken.ohm, 0.5, taken.instrument or COARSE) > 0.75


def fine_enough(reading: RatioReading, instrument: Instrument) -> bool:
    """Whether the instrument tells the two values apart: three standard deviations of it and of the copper's scale lie between them."""
    sd = math.sqrt(
        (reading.common + SCALE_NET_SD**2) * reading.whole_ohm**2 + instrument.variance + instrument.common_ohm**2
    )
    return reading.broken_ohm - reading.whole_ohm >= 3.0 * sd


MOST_TERMINALS = 2000
"""Nets with more points than this keep their words: listing costs seconds."""


def with_ohms_words(graph: CopperGraph, unprovable: Sequence[tuple[str, str, str]]) -> tuple[tuple[str, str, str], ...]:
    """The rows (site id, why no beep proves it, what would) with the ohms reading that does named where there is one.

    Nets of more than MOST_TERMINALS points are left as they are. What was found is kept with the graph.
    """
    kept: dict[str, str] = graph.memo.setdefault("ratio words", {})
    at = {s.id: s.net for s in graph.sites}
    nets: dict[int, list[str]] = {}
    for site, _, _ in unprovable:
        if site not in kept and site in at:
            nets.setdefault(at[site], []).append(site)
    for net, sites in nets.items():
        kept.update(dict.fromkeys(sites, ""))
        if len(net_view(graph, net).terminals) <= MOST_TERMINALS:
            found, _ = ratio_readings(graph, net, sites)
            kept.update({site: one.words for one in found for site in one.sites})
    return tuple((site, why, f"{kept[site]}; or {what}" if kept.get(site) else what) for site, why, what in unprovable)
