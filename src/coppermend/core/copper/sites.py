"""Sites of the bare board with their ids, resistances and words: track runs, spokes, barrels; and the names of nodes they use."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

from coppermend.core.board.conditions import copper_temperature_c
from coppermend.core.copper.draft import Draft, DraftLayer
from coppermend.core.copper.model import Site, SiteKind
from coppermend.core.copper.pins import xy_id
from coppermend.core.copper.places import layer_words, mm_words
from coppermend.core.copper.runs import Run
from coppermend.core.copper.squares import barrel_ohm, copper_ohm_mm, slot_ohm, track_ohm
from coppermend.core.units import sheet_resistance_ohm

LEAST_WIDTH_MM = 0.01
"""A stroke drawn thinner than this counts as this wide: no etched track is thinner. Our choice."""
SPOKE_MAX_MM = 3.0
"""A track between a land and a pour is a spoke up to this length. Our choice."""


def name_nodes(work: Draft) -> None:
    """Words for every node: its pin, the via, the land, the pour, the junction, the free end; no two places by the same words."""
    names: dict[int, str] = {}
    for pin in work.pins:
        for _, node in pin.lands:
            if work.node_kind[node] != "sheet":
                names.setdefault(node, pin.name)
    work.places.prepare(
        [work.node_place[n][:2] for n, kind in enumerate(work.node_kind) if n not in names and kind != "sheet"]
    )
    via = {layer.node_of_hole(hole) for layer in work.layers for hole in layer.parts.hole_blob}
    for node, kind in enumerate(work.node_kind):
        if node in names:
            work.node_words[node] = names[node]
            continue
        x, y, key = work.node_place[node]
        if kind == "sheet":
            work.node_words[node] = f"the pour on the {layer_words(key)}"
            continue
        what = {"land": "via" if node in via else "land", "junction": "junction", "end": "free end"}[kind]
        work.node_words[node] = f"the {what} {work.places.words(x, y)}"
    _tell_apart(work)


def _tell_apart(work: Draft) -> None:
    """Places (not pins, not pours) that would go by the same words: each gets its distance and way from the nearest pin, then its coordinates.

    "between U1 and U5" and "between U5 and U1" count as the same words.
    """
    asked = [n for n, words in work.node_words.items() if words.startswith("the ") and work.node_kind[n] != "sheet"]
    for more in (work.places.from_pin, lambda x, y: f"at {x:.2f}, {y:.2f} mm"):
        same: dict[str, list[int]] = {}
        for node in asked:
            same.setdefault(work.node_words[node], []).append(node)
        alike: dict[tuple[str, ...], dict[tuple[float, float], list[int]]] = {}
        for words, nodes in same.items():
            spots = alike.setdefault(tuple(sorted(words.split())), {})
            for node in nodes:
                spots.setdefault(work.node_place[node][:2], []).append(node)
        asked = []  # what went by words of its own stays as it is: the others get more words, in brackets
        for spots in alike.values():
            if len(spots) > 1:
                for (x, y), nodes in spots.items():
                    work.node_words.update({node: f"{work.node_words[node]} ({more(x, y)})" for node in nodes})
                    asked += nodes


def runs(work: Draft) -> None:
    """Track runs; a short run between a land and a sheet is one of its spokes."""
    taken: dict[str, int] = {}
    made: list[tuple[str, float, Site]] = []
    for layer in work.layers:
        for run in layer.topology.runs:
            made.append(_run(work, layer, run))
    for base, _, site in sorted(made, key=lambda m: (m[0], m[1])):
        taken[base] = taken.get(base, 0) + 1
        work.sites.append(site if taken[base] == 1 else replace(site, id=f"{base}#{taken[base]}"))


def _run(work: Draft, layer: DraftLayer, run: Run) -> tuple[str, float, Site]:
    a, b, path, widths = (
        layer.first + run.a,
        layer.first + run.b,
        run.path,
        [max(w, LEAST_WIDTH_MM) for w in run.widths],
    )
    ends = [_end_place(work, n, p) for n, p in ((a, path[0]), (b, path[-1]))]
    if ends[0] > ends[1]:
        a, b, path, widths, ends = b, a, path[::-1], widths[::-1], ends[::-1]
    kinds = {work.node_kind[a], work.node_kind[b]}
    spoke = kinds == {"land", "sheet"} and run.length <= SPOKE_MAX_MM
    key = layer.copper.key
    ohm = track_ohm(path, widths) / sheet_resistance_ohm() * layer.sheet_ohm
    if spoke:
        middle = (
            path[len(path) // 2] if len(path) > 2 else ((path[0][0] + path[1][0]) / 2, (path[0][1] + path[1][1]) / 2)
        )
        base = f"spoke@{key}:{xy_id(*middle)}"
        words = f"the spoke from {_ends_words(work, a, b)}"
    else:
        base = f"run@{key}:{ends[0][0]},{ends[0][1]}>{ends[1][0]},{ends[1][1]}"
        what = f"track from {_ends_words(work, a, b)}"
        if kinds == {"sheet"}:
            what = f"neck between two pours {work.places.words(*path[len(path) // 2])}"
        words = f"the {what}, {layer_words(key)}, {mm_words(run.length)} mm of {mm_words(min(widths))} mm"
    kind = SiteKind.SPOKE if spoke else SiteKind.RUN
    site = Site(
        base, kind, work.node_net[a], a, b, key, tuple(path), tuple(widths), run.length, min(widths), ohm, words=words
    )
    return base, run.length, site


def _end_place(work: Draft, node: int, path_end: tuple[float, float]) -> tuple[int, int]:
    """The place that names a run's end in whole micrometres: its land or junction, on a sheet where the track enters."""
    x, y = path_end if work.node_kind[node] == "sheet" else work.node_place[node][:2]
    spot = xy_id(x, y).split(",")
    return int(spot[0]), int(spot[1])


def _ends_words(work: Draft, a: int, b: int) -> str:
    first, second = work.node_words[a], work.node_words[b]
    if first.startswith("the ") and not second.startswith("the "):
        first, second = second, first
    return f"{first} to {second}"


def spokes(work: Draft) -> None:
    seen: dict[str, int] = {}
    for layer in work.layers:
        key = layer.copper.key
        for spoke in layer.topology.spokes:
            land, sheet = layer.first + spoke.land, layer.first + spoke.sheet
            base = f"spoke@{key}:{xy_id(*spoke.place)}"
            seen[base] = seen.get(base, 0) + 1
            work.sites.append(
                Site(
                    base if seen[base] == 1 else f"{base}#{seen[base]}",
                    SiteKind.SPOKE,
                    work.node_net[land],
                    land,
                    sheet,
                    key,
                    (spoke.place, spoke.inner),
                    (spoke.width,),
                    spoke.length,
                    spoke.width,
                    layer.sheet_ohm * (spoke.length / spoke.width + spoke.crowding),
                    words=f"the spoke from {work.node_words[land]} to {work.node_words[sheet]}",
                )
            )


def barrels(work: Draft) -> None:
    """A barrel between consecutive layers on which copper meets the wall of a plated hole."""
    order = {layer.copper.key: k for k, layer in enumerate(work.layers)}
    step = work.board.thickness_mm / max(1, len(work.layers) - 1)
    warm = copper_ohm_mm(copper_temperature_c(work.board)) / copper_ohm_mm()
    pin_at: dict[int, str] = {}
    for part in work.board.parts:
        for pin in part.pins:
            if pin.hole is not None:
                pin_at.setdefault(pin.hole, pin.name)
    for index, hole in enumerate(work.board.holes):
        nodes = [(layer.copper.key, node) for layer in work.layers if (node := layer.node_of_hole(index)) is not None]
        if not hole.plated or len(nodes) < 2:
            continue
        x, y = (hole.x_mm + hole.x2_mm) / 2, (hole.y_mm + hole.y2_mm) / 2
        where = pin_at.get(index) or work.node_words[nodes[0][1]]
        slot = math.dist((hole.x_mm, hole.y_mm), (hole.x2_mm, hole.y2_mm))
        for (upper, a), (lower, b) in itertools.pairwise(nodes):
            height = step * (order[lower] - order[upper])
            ohm = warm * (
                barrel_ohm(hole.diameter_mm, height) if slot == 0 else slot_ohm(hole.diameter_mm, slot, height)
            )
            span = "" if len(work.layers) == 2 else f", {layer_words(upper)} to {layer_words(lower)}"
            work.sites.append(
                Site(
                    f"barrel@{xy_id(x, y)}:{upper}-{lower}",
                    SiteKind.BARREL,
                    work.node_net[a],
                    a,
                    b,
                    f"{upper}-{lower}",
                    ((x, y),),
                    (),
                    height,
                    hole.diameter_mm,
                    ohm,
                    words=f"the barrel of {where}{span}" if index not in pin_at else f"the hole wall at {where}{span}",
                )
            )
