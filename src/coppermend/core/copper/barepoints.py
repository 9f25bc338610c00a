"""Probe points that belong to no pin: vias and lands on the outer sides, where the mask is open and no body is in the way."""

from __future__ import annotations

from coppermend.core.board.model import PartState
from coppermend.core.copper.draft import Draft
from coppermend.core.copper.model import ProbePoint
from coppermend.core.copper.pinlands import open_at
from coppermend.core.copper.pins import xy_id


def bare_points(work: Draft) -> None:
    """Vias and lands that belong to no pin, on the outer sides, where the mask is open and no body is in the way."""
    pinned = {node for pin in work.pins for _, node in pin.lands}
    pin_holes = {pin.hole for part in work.board.parts for pin in part.pins if pin.hole is not None}
    rows: list[tuple[str, float, float, str, int, str]] = []
    for layer in work.layers:
        side = layer.copper.key
        if side not in ("c", "s"):
            continue
        for index in layer.parts.hole_blob:
            node = layer.node_of_hole(index)
            if node is not None and index not in pin_holes:
                hole = work.board.holes[index]
                x, y = (hole.x_mm + hole.x2_mm) / 2, (hole.y_mm + hole.y2_mm) / 2
                rows.append((f"via@{xy_id(x, y)}/{side}", x, y, side, node, "via"))
        for k, blob in enumerate(layer.parts.blobs):
            node = layer.first + layer.topology.blob_node[k]
            if blob.kind == "land" and blob.flashed and not blob.holes and node not in pinned:
                rows.append((f"land@{xy_id(*blob.place)}/{side}", *blob.place, side, node, "land"))
    for side in ("c", "s"):
        own = [r for r in rows if r[3] == side]
        places = [(r[1], r[2]) for r in own]
        opened = open_at(work.board, side, places)
        seen: set[str] = set()
        for row, is_open, over in zip(own, opened.tolist(), work.places.all_covering(places, side), strict=True):
            if row[0] not in seen:
                seen.add(row[0])
                work.points.append(_bare_point(work, row, is_open, over))


def _bare_point(work: Draft, row: tuple[str, float, float, str, int, str], is_open: bool, over: str) -> ProbePoint:
    name, x, y, side, node, kind = row
    why = "" if is_open else "covered by the solder mask"
    needs: tuple[tuple[str, PartState], ...] = ()
    if is_open and over:
        why = f"under the body of {over}"
        needs = ((over, PartState.NOT_FITTED),)
    return ProbePoint(name, node, work.node_net[node], x, y, side, "", "", kind, not why, why, needs)
