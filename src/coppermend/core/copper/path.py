"""The way through the copper between two points: every run, barrel, joint, contact, spoke and wire in order."""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass

from coppermend.core.copper.model import CopperGraph, Site, SiteKind
from coppermend.core.copper.places import layer_words, mm_words
from coppermend.core.copper.resistance import Ohms, effective_ohm, known_node, sheets_ohm, spot_of
from coppermend.core.copper.worked import node_of
from coppermend.core.findings import refuse

HOP_MM = 0.01
"""What a joint, contact, barrel or spoke adds to a way's length when the shortest is chosen, so that fewer of them win."""


@dataclass(frozen=True, slots=True)
class Step:
    """One site of a way: ``kind``, ``layer`` key, ``length_mm`` and ``width_mm`` (0 where they have no meaning), ``resistance_ohm``, words."""

    site: str
    kind: str
    layer: str
    length_mm: float
    width_mm: float
    resistance_ohm: float
    words: str

    def as_dict(self) -> dict[str, object]:
        """The step as plain JSON values."""
        return {
            "site": self.site,
            "kind": self.kind,
            "layer": self.layer,
            "length_mm": round(self.length_mm, 4),
            "width_mm": round(self.width_mm, 4),
            "resistance_ohm": self.resistance_ohm,
            "words": self.words,
        }


@dataclass(frozen=True, slots=True)
class Way:
    """A way between two points.

    ``steps`` in order from a to b; ``length_mm`` of its tracks; ``vias`` number of barrels passed; ``ohms`` effective resistance between the points
    over all ways there are; ``along_ohm`` of this way alone, ``sheets_ohm`` of it in the pours that it passes; ``other_ways`` whether some site
    of the way can fail without parting the points.
    """

    point_a: str
    point_b: str
    net: str
    steps: tuple[Step, ...]
    length_mm: float
    vias: int
    along_ohm: float
    sheets_ohm: float
    ohms: Ohms
    other_ways: bool

    def as_dict(self) -> dict[str, object]:
        """The way as plain JSON values."""
        return {
            "from": self.point_a,
            "to": self.point_b,
            "net": self.net,
            "steps": [step.as_dict() for step in self.steps],
            "length_mm": round(self.length_mm, 4),
            "vias": self.vias,
            "along_ohm": self.along_ohm,
            "sheets_ohm": self.sheets_ohm,
            "effective_ohm": self.ohms.value,
            "effective_ohm_low": self.ohms.low,
            "effective_ohm_high": self.ohms.high,
            "ohms_note": self.ohms.note,
            "other_ways": self.other_ways,
        }

    def lines(self) -> list[str]:
        """The way as lines of text."""
        out = [f"{self.point_a} to {self.point_b}, net {self.net}"]
        for step in self.steps:
            out.append(f"  {step.words}" + (f"  ({step.resistance_ohm * 1e3:.2f} mohm)" if step.resistance_ohm else ""))
        unseen = sum(step.kind == "unknown" for step in self.steps)
        vias = "no barrel" if not self.vias else "1 barrel" if self.vias == 1 else f"{self.vias} barrels"
        if unseen:
            stretch = "1 stretch" if unseen == 1 else f"{unseen} stretches"
            out.append(
                f"{stretch} of copper that nobody has seen: length and vias are not known, resistances are assumed"
            )
        else:
            pours = f", {self.sheets_ohm * 1e3:.1f} of them in the pour" if self.sheets_ohm else ""
            alone = f"this way alone {self.along_ohm * 1e3:.1f} mohm{pours}"
            out.append(f"{mm_words(self.length_mm)} mm of track, {vias}; {alone}")
        band = f"{self.ohms.low * 1e3:.1f} to {self.ohms.high * 1e3:.1f}"
        out.append(f"between the points {self.ohms.value * 1e3:.1f} mohm (sound copper and contacts: {band})")
        if self.ohms.note:
            out.append(self.ohms.note)
        if self.other_ways:
            out.append("There is more than one way between these points: a beep does not prove every site named here.")
        return out


def neighbours_of(graph: CopperGraph) -> dict[int, list[tuple[int, Site]]]:
    """Node -> (other node, site) over copper and wires, without parts that are rung through. Kept with the graph."""
    if "near" not in graph.memo:
        near: dict[int, list[tuple[int, Site]]] = {}
        for site in graph.sites:
            if site.kind is not SiteKind.THROUGH:
                near.setdefault(site.a, []).append((site.b, site))
                near.setdefault(site.b, []).append((site.a, site))
        graph.memo["near"] = near
    found: dict[int, list[tuple[int, Site]]] = graph.memo["near"]
    return found


def shortest(graph: CopperGraph, start: int, goal: int) -> list[Site] | None:
    """The sites of the shortest way between two nodes; [] for the same node, None where copper does not join them."""
    near = neighbours_of(graph)
    best = {start: 0.0}
    came: dict[int, tuple[int, Site]] = {}
    queue = [(0.0, start)]
    while queue:
        far, node = heapq.heappop(queue)
        if node == goal:
            break
        if far > best[node]:
            continue
        for other, site in near.get(node, ()):
            step = far + (site.length_mm if site.kind in (SiteKind.RUN, SiteKind.WIRE) else 0.0) + HOP_MM
            if step < best.get(other, math.inf):
                best[other] = step
                came[other] = (node, site)
                heapq.heappush(queue, (step, other))
    if goal not in best:
        return None
    out: list[Site] = []
    node = goal
    while node != start:
        node, site = came[node]
        out.append(site)
    return out[::-1]


def sites_between(graph: CopperGraph, point_a: str, point_b: str) -> tuple[Site, ...]:
    """The sites on the shortest way between two points, () where a point is unknown or copper does not join them."""
    a, b = node_of(graph, point_a), node_of(graph, point_b)
    if a is None or b is None:
        return ()
    return tuple(shortest(graph, a, b) or ())


def way(graph: CopperGraph, point_a: str, point_b: str) -> Way:
    """The shortest way through the copper between two points, with the effective resistance over all ways.

    Points are ids (``U1.8/leg``, ``via@x,y/s``) or pins (``U1.8``: what the part's state exposes). Refusal GRF-020 for an unknown point,
    GRF-021 where copper does not join the two.
    """
    a, b = known_node(graph, point_a), known_node(graph, point_b)
    sites = shortest(graph, a, b)
    if sites is None:
        names = [graph.net_names[graph.node_net[n]] for n in (a, b)]
        raise refuse(
            "GRF-021",
            f"No copper joins {point_a} (net {names[0]}) and {point_b} (net {names[1]}).",
            "Ask for two points of one net.",
        )
    ids = {site.id for site in sites}
    pours = sheets_ohm(graph, sites, spot_of(graph, point_a), spot_of(graph, point_b))
    steps = tuple(
        Step(s.id, s.kind.value, s.layer, s.length_mm, s.width_mm, s.resistance_ohm, _words(s)) for s in sites
    )
    return Way(
        point_a,
        point_b,
        graph.net_names[graph.node_net[a]],
        steps,
        sum(s.length_mm for s in sites if s.kind is SiteKind.RUN),
        sum(s.kind is SiteKind.BARREL for s in sites),
        sum(s.resistance_ohm for s in sites) + pours,
        pours,
        effective_ohm(graph, point_a, point_b),
        _has_other_ways(graph, a, b, ids),
    )


def _words(site: Site) -> str:
    if site.kind is SiteKind.RUN and layer_words(site.layer) not in site.words:
        return f"{site.words}, {layer_words(site.layer)}"
    return site.words


def _has_other_ways(graph: CopperGraph, a: int, b: int, ids: set[str]) -> bool:
    """Whether any single site of the way can go without parting a and b."""
    near = neighbours_of(graph)
    for gone in ids:
        seen, todo = {a}, [a]
        while todo:
            for other, site in near.get(todo.pop(), ()):
                if site.id != gone and other not in seen:
                    seen.add(other)
                    todo.append(other)
        if b in seen:
            return True
    return False
