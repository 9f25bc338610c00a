"""The places where the nets of a case come near each other, prepared for its ohms readings: one model per pair of nets, kept with the copper."""

from __future__ import annotations

from collections.abc import Iterable

import shapely

from coppermend.core.belief.shorts import ShortModel, place_weight, short_model
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.bridges import OPEN_MM, BridgePlace, bridge_places
from coppermend.services.bind import Binding

MOST_PAIRS = 6
"""So many pairs of nets with ohms readings across are prepared, the last ones read: each costs the geometry of two nets."""


def bridges_of(binding: Binding) -> dict[frozenset[int], ShortModel]:
    """The models of the pairs of nets that an ohms reading of the case joins; empty where the copper is not known."""
    pairs = list(dict.fromkeys(_pairs(binding)))[-MOST_PAIRS:]
    made = {pair: model_of(binding, *sorted(pair)) for pair in pairs if copper_is_known(binding.board)}
    return {pair: model for pair, model in made.items() if model is not None}


def model_of(binding: Binding, net_a: int, net_b: int) -> ShortModel | None:
    """Two nets prepared for readings at every reachable point; None where they come nowhere near each other."""
    polygons = tuple(area.polygon for area in binding.areas)
    key = ("short model", id(binding.graph), net_a, net_b, polygons)
    if key not in binding.kept:
        places = bridge_places(binding.board, binding.graph, net_a, net_b, OPEN_MM)
        weights = [place_weight(one, inside_area(binding, one)) for one in places]
        nodes = [p.node for p in binding.graph.points if p.reachable]
        model = short_model(binding.graph, net_a, net_b, places, nodes, weights) if places else None
        binding.kept[key] = (binding.graph, model)
    found: ShortModel | None = binding.kept[key][1]
    return found


def inside_area(binding: Binding, place: BridgePlace) -> bool:
    """Whether a place lies in a work area."""
    spot = shapely.Point(place.x_mm, place.y_mm)
    return any(shapely.Polygon(area.polygon).distance(spot) <= 0.0 for area in binding.areas if len(area.polygon) >= 3)


def _pairs(binding: Binding) -> Iterable[frozenset[int]]:
    net = {p.id: p.net for p in binding.graph.points}
    for one in binding.evidence:
        if one.ohms is not None and one.point_a in net and one.point_b in net:
            pair = frozenset((net[one.point_a], net[one.point_b]))
            if len(pair) == 2:
                yield pair
