"""The voltage-drop method on a short of a case: supply limits, feed points, the drops to expect along both nets, and the thermal hint."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coppermend.core.belief.ohmic import NetOhms
from coppermend.core.belief.shorts import MISFIT, ShortBelief, locate
from coppermend.core.board.model import Part, Pin
from coppermend.core.copper.bridges import BridgePlace
from coppermend.core.copper.model import ProbePoint
from coppermend.core.findings import refuse
from coppermend.core.log.state import plain
from coppermend.core.planning.describe import point_words
from coppermend.core.rework.care import SHORT
from coppermend.core.rework.removal_copper import ground_round
from coppermend.core.rework.removal_heat import FILM_W_M2K, heat_paths
from coppermend.core.rework.supply import (
    METER_MV,
    OPEN_V,
    SUPPLY_ASSUMED,
    CurrentLimit,
    Warmth,
    current_limit,
    mm_per_step,
    warmth,
)
from coppermend.core.units import COPPER_THICKNESS_MM
from coppermend.services.bind import Binding, bind
from coppermend.services.bridging import model_of
from coppermend.services.shorts import nets_in_short, readings_of_short
from coppermend.services.workshop import Workshop

UNKNOWN_BRIDGE_OHM = 0.02
"""A solder bridge before any reading says more. Common practice, no source."""
MOST_POINTS = 8
"""Points listed along each net."""


@dataclass(frozen=True, slots=True)
class Drop:
    """A place for the moving tip: its point, how far it is along the way of the current (``drop_mv`` from the feed point), and whether the current passes it."""

    net: str
    point: str
    words: str
    drop_mv: float
    on_the_way: bool


@dataclass(frozen=True, slots=True)
class SupplyPlan:
    """How to send a limited current through a short and where to read millivolts. ``place`` the likeliest place so far, in words; ``note_words``
    how a drop of the first net and one of the second are noted."""

    net_a: str
    net_b: str
    open_v: float
    limit: CurrentLimit
    feed: tuple[str, str]
    feed_words: str
    feed_tips: tuple[str, str]
    """Both clips in words, plus first."""
    expected_v: float
    drops: tuple[Drop, ...]
    step_mv: float
    mm_per_step: float
    place: str
    heat: Warmth
    note_words: tuple[str, ...]
    words: tuple[str, ...]
    cautions: tuple[str, ...]
    assumed: tuple[str, ...] = SUPPLY_ASSUMED

    def as_dict(self) -> dict[str, Any]:
        """The plan as plain JSON values."""
        return dict(plain(self))


def supply_plan(
    workshop: Workshop,
    case: str,
    between: tuple[str, str] | None = None,
    step_mv: float = METER_MV,
    most_a: float = 1.0,
) -> SupplyPlan:
    """The voltage-drop method for the short of a case. ``step_mv`` last digit of the millivolt meter, ``most_a`` what the supply gives.

    Refusals SHO-001 to SHO-003 as for locating a short, SHO-004 where the two nets come nowhere near each other on an outer layer or a net has no
    point for a clip, SHO-005 for a meter or supply that cannot be.
    """
    if not (0.0001 <= step_mv <= 100.0 and 0.01 <= most_a <= 5.0):
        raise refuse(
            "SHO-005",
            f"A last digit of {step_mv:g} mV or a supply of {most_a:g} A does not fit this method.",
            "Give a meter's last digit of 0.0001 to 100 mV and at most 5 A; 1 A is plenty.",
        )
    binding = bind(workshop, case)
    a, b = nets_in_short(binding, between)
    model = model_of(binding, a, b)
    names = (binding.graph.net_names[a], binding.graph.net_names[b])
    if model is None:
        raise refuse(
            "SHO-004",
            f"The copper of {names[0]} and {names[1]} comes nowhere near each other on an outer layer: the short is in a part, a socket, or inside the board.",
            "Take out the parts that join both nets one after the other, reading between them.",
        )
    readings = readings_of_short(binding, model)
    belief = locate(model, readings)
    thick = dict(binding.board.copper_thickness_mm)
    nets = model.a.nets | model.b.nets
    limit = current_limit([s for s in binding.graph.sites if binding.graph.node_net[s.a] in nets], thick, most_a)
    feed = tuple(_feed(binding, net) for net in (model.a, model.b))
    bridge = belief.bridge_ohm[0] if readings else UNKNOWN_BRIDGE_OHM
    ends = model.ends[belief.best]
    drops = [
        drop
        for net, name, point, end, scale in zip(
            (model.a, model.b), names, feed, ends, (belief.scale_a, belief.scale_b), strict=True
        )
        for drop in _drops(binding, net, name, point, end, limit.limit_a * scale)
    ]
    total = (
        sum(max((d.drop_mv for d in drops if d.net == name), default=0.0) for name in names) * 1e-3
        + limit.limit_a * bridge
    )
    share = min(1.0, OPEN_V / total) if total > 0 else 1.0
    drops = [replace(one, drop_mv=round(one.drop_mv * share, 3)) for one in drops]
    limit = _by_voltage(limit, share)
    step = mm_per_step(limit.limit_a, limit.width_mm or 0.3, min(thick.values(), default=COPPER_THICKNESS_MM), step_mv)
    best = model.places[belief.best]
    heat = warmth(limit.limit_a, bridge, _k_per_w(binding, best))
    return SupplyPlan(
        *names,
        OPEN_V,
        limit,
        (feed[0].id, feed[1].id),
        f"Feed: plus at {point_words(feed[0])}, minus at {point_words(feed[1])}.",
        (point_words(feed[0]), point_words(feed[1])),
        min(total, OPEN_V),
        tuple(drops),
        step_mv,
        step,
        f"{best.pin_a or ''}{' and ' if best.pin_a and best.pin_b else ''}{best.pin_b or ''}".strip()
        or f"{best.x_mm:.1f}, {best.y_mm:.1f} mm",
        heat,
        _note_words(feed, limit.limit_a),
        _words(belief, bool(readings), step, step_mv, heat),
        tuple(mind for one in SHORT.steps for mind in one.mind),
    )


def _note_words(feed: tuple[ProbePoint, ...], limit_a: float) -> tuple[str, ...]:
    """How a drop is noted, for the first net and for the second. The first of the two sense points is the one nearer to the supply's plus: on the
    second net the current comes from POINT to the clip."""
    told = f"ohms {feed[0].id} {feed[1].id} VOLT@{limit_a:g}A sense"
    return (f"{told} {feed[0].id} POINT", f"{told} POINT {feed[1].id}")


def _by_voltage(limit: CurrentLimit, share: float) -> CurrentLimit:
    """The same limit, said to be less where the open voltage drives only that share of it."""
    if share >= 1.0:
        return limit
    flows = round(limit.limit_a * share, 3)
    words = f"{limit.words} At {OPEN_V:g} V only about {flows:.2f} A will flow: read the current that does, and use it."
    return replace(limit, limit_a=flows, words=words)


def _feed(binding: Binding, net: NetOhms) -> ProbePoint:
    """Where to clip the supply on: the reachable point from which most copper lies between it and the rest of its net."""
    found = [p for p in binding.graph.points if p.reachable and p.node in net.at]
    if not found:
        names = ", ".join(binding.graph.net_names[n] for n in sorted(net.nets))
        raise refuse(
            "SHO-004",
            f"No point of {names} can be reached to clip a supply on.",
            "Take a chip out of its socket so that a pin of the net can be touched, note that, and ask again.",
        )
    resistance = {p.node: float(np.mean(_apart(net, p.node))) for p in found}
    return max(found, key=lambda p: (round(resistance[p.node], 9), p.kind in ("leg", "joint"), p.id))


def _apart(net: NetOhms, node: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Ohms from one node to every prepared node of its piece."""
    k = net.at[node]
    d = np.diag(net.g)
    same = net.piece == net.piece[k]
    return np.asarray((d[k] + d - 2 * net.g[k])[same])


def _drops(binding: Binding, net: NetOhms, name: str, feed: ProbePoint, end: int, current_a: float) -> list[Drop]:
    """Drops from the feed point along one net when the current leaves at ``end``: a few points from the feed to beyond the bridge."""
    if end not in net.at or net.piece[net.at[end]] != net.piece[net.at[feed.node]]:
        return []
    f, e = net.at[feed.node], net.at[end]
    whole = float(net.g[f, f] - 2 * net.g[f, e] + net.g[e, e])
    rows: dict[int, Drop] = {}
    for p in sorted(binding.graph.points, key=lambda p: (p.side != "s", p.id)):
        if not p.reachable or p.node in rows or p.node not in net.at or p.node == feed.node:
            continue
        k = net.at[p.node]
        if net.piece[k] != net.piece[f]:
            continue
        ohm = float(net.g[f, f] - net.g[f, e] - net.g[k, f] + net.g[k, e])
        rows[p.node] = Drop(name, p.id, point_words(p), round(current_a * ohm * 1e3, 3), ohm < whole * 0.999)
    ordered = sorted(rows.values(), key=lambda d: (d.drop_mv, d.point))
    if len(ordered) <= MOST_POINTS:
        return ordered
    at = np.unique(np.round(np.linspace(0, len(ordered) - 1, MOST_POINTS)).astype(int))
    return [ordered[int(k)] for k in at]


def _k_per_w(binding: Binding, place: BridgePlace) -> float:
    """Thermal resistance of the board at a place, from one watt into a spot of 0.6 mm on its layer."""
    spot = Pin("?", "1", place.x_mm, place.y_mm, None, (place.layer,), None)
    ground = ground_round(binding.board, Part("?", place.layer, np.empty((0, 2)), "", (spot,)), {}, FILM_W_M2K)
    pins = (replace(ground.pins[0], radius_mm=0.3),)
    return float(heat_paths(ground.area, ground.copper, ground.stack, pins, ground.barrels).k_per_w[0])


_NO_FIT = (
    "The readings so far fit no one bridge (a part between the nets, two bridges, or a tip on the wrong pin): the place and the drops may be far off. "
    "Take one of them again before you go by them."
)


def _words(belief: ShortBelief, read: bool, step_mm: float, step_mv: float, heat: Warmth) -> tuple[str, ...]:
    """What to expect and how far the meter tells."""
    out = [
        *((_NO_FIT,) if read and belief.misfit < MISFIT else ()),
        "Keep one tip on the feed point and move the other along the net, away from it: the drop grows up to the short and stays the same beyond. Then the other net.",
        f"One last digit ({step_mv:g} mV) stands for {step_mm:.2g} mm of the narrowest track"
        + (
            ": fine enough."
            if step_mm <= 2.0
            else ": coarse; a meter with a finer range or a wider search with the glass helps more."
        ),
        heat.words,
    ]
    if not read:
        out.insert(
            0,
            "No ohms reading yet: the drops are for the place that the copper alone makes likeliest; the first readings change it.",
        )
    return tuple(out)
