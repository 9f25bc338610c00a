"""Where copper really meets on one layer: strokes cut at lands, sheets and each other, and joined to track runs.

A run's length counts outside the lands. Strokes whose centre lines meet are joined there; strokes that only overlap with their
edges are joined too unless they are joined within a few widths anyway (the next chord of the same bend, the other leg of a corner).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from coppermend.core.copper.blobs import LayerParts, Point
from coppermend.core.copper.meeting import Meeting
from coppermend.core.copper.onsheet import Spoke, lands_on_sheets
from coppermend.core.copper.runs import Run, Simplifier, hatched


@dataclass(slots=True)
class LayerTopology:
    """Local nodes (blobs first, by blob index), their kind, net and place; runs and spokes between them.

    ``blob_node[k]`` the node of blob k: a land that a sheet holds solidly shares the sheet's node.
    """

    key: str
    node_kind: list[str]
    node_net: list[int]
    node_place: list[Point]
    blob_node: list[int]
    runs: list[Run]
    spokes: list[Spoke] = field(default_factory=list)
    hatch: dict[int, list[Run]] = field(default_factory=dict)
    """Sheet node -> the runs that a hatched pour was drawn with."""


def meet_layer(parts: LayerParts) -> LayerTopology:
    """The nodes, runs and spokes of one layer."""
    solid, spokes = lands_on_sheets(parts)
    work = Meeting(parts, solid)
    work.cut_at_blobs()
    work.absorb()
    work.meet()
    pieces = work.pieces()
    work.join_overlaps(pieces)
    fixed = len(parts.blobs)
    for run in pieces:
        run.a, run.b = work.node.find(run.a), work.node.find(run.b)
    runs, hatch = hatched(Simplifier(pieces, fixed).run(), fixed)
    return _numbered(parts, work, runs, spokes, hatch)


def _numbered(
    parts: LayerParts, work: Meeting, runs: list[Run], spokes: list[Spoke], hatch: dict[int, list[Run]]
) -> LayerTopology:
    kind: list[str] = []
    net: list[int] = []
    place: list[Point] = []
    number: dict[int, int] = {}
    blob_node = [work.node.find(b) for b in range(len(parts.blobs))]
    sheets = {blob_node[b] for b, blob in enumerate(parts.blobs) if blob.kind == "sheet"}
    degree: dict[int, int] = {}
    for run in runs:
        degree[run.a] = degree.get(run.a, 0) + 1
        degree[run.b] = degree.get(run.b, 0) + 1
    for node in sorted({*blob_node, *degree, *hatch}):
        number[node] = len(kind)
        if node < len(parts.blobs):
            blob = parts.blobs[node]
            kind.append("sheet" if node in sheets else "land")
            net.append(blob.net)
            place.append(blob.place)
        else:
            kind.append("sheet" if node in hatch else "end" if degree[node] == 1 else "junction")
            net.append(work.net[node])
            place.append(work.place[node])
    for run in runs:
        run.a, run.b = number[run.a], number[run.b]
    for spoke in spokes:
        spoke.land, spoke.sheet = number[blob_node[spoke.land]], number[blob_node[spoke.sheet]]
    blob_node = [number[n] for n in blob_node]
    meshes = {number[node]: mesh for node, mesh in hatch.items()}
    kept = [s for s in spokes if s.land != s.sheet]
    return LayerTopology(parts.key, kind, net, place, blob_node, runs, kept, meshes)
