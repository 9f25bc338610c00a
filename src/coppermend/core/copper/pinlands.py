"""Pins on copper: which lands a pin can be soldered to, and whether a tip gets at its leg, its joint and its land."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board, Part, Pin
from coppermend.core.copper.draft import Draft, DraftLayer
from coppermend.core.copper.model import PinPlace

CONNECTOR_PREFIXES = ("J", "P", "K", "CN", "X", "CON", "SK", "SL", "JP", "TP")
"""Reference letters of parts whose pins stand up where a tip reaches them (connectors, jumpers, test points). Common practice, no source."""
COVERED_MM = 0.5
"""A pin this deep inside its part's outline is covered by the body. Our choice."""
ROW_SLACK_MM = 0.3
"""Pins within this of one line are a row; legs of parts with one or two rows come down outside the body."""


def pin_lands(work: Draft) -> list[tuple[Part, Pin, tuple[tuple[str, int], ...]]]:
    """Every pin with the lands it can be soldered to, in layer order."""
    entries = [(part, pin) for part in work.board.parts for pin in part.pins]
    found: list[list[tuple[str, int]]] = [[] for _ in entries]
    for layer in work.layers:
        key = layer.copper.key
        loose: list[int] = []
        for k, (_, pin) in enumerate(entries):
            node = layer.node_of_hole(pin.hole) if pin.hole is not None else None
            if node is not None:
                found[k].append((key, node))
            elif key in pin.layers and (pin.hole is None or not work.board.holes[pin.hole].plated):
                loose.append(k)
        for k, node in _lands_at(layer, [entries[k][1] for k in loose]):
            found[loose[k]].append((key, node))
    return [(part, pin, tuple(lands)) for (part, pin), lands in zip(entries, found, strict=True)]


def _lands_at(layer: DraftLayer, pins: list[Pin]) -> Iterable[tuple[int, int]]:
    """(position in ``pins``, node) of the land or sheet under each pin without a plated hole: by its X2 name first, then by place."""
    stated = {
        (str(layer.copper.pin[p]), int(layer.copper.island[p])): b
        for p, b in layer.parts.piece_blob.items()
        if str(layer.copper.pin[p])
    }
    placed = _inner(layer, pins, "sheet") | _blobs_under(layer, pins) | _inner(layer, pins, "land")
    for k, pin in enumerate(pins):
        blob = None if pin.net is None else stated.get((pin.name, pin.net))
        blob = placed.get(k) if blob is None else blob
        if blob is not None:
            yield k, layer.first + layer.topology.blob_node[blob]


def _inner(layer: DraftLayer, pins: list[Pin], kind: str) -> dict[int, int]:
    """Position in ``pins`` -> the land (or sheet) that narrow copper was cut into and that lies under the pin."""
    lands = [(outline, blob) for outline, blob in layer.parts.pin_blobs if layer.parts.blobs[blob].kind == kind]
    if not lands or not pins:
        return {}
    spots = shapely.points(np.array([(p.x_mm, p.y_mm) for p in pins]))
    i, j = shapely.STRtree([outline for outline, _ in lands]).query(spots, predicate="intersects")
    out: dict[int, int] = {}
    for k, at in zip(i.tolist(), j.tolist(), strict=True):
        blob = lands[at][1]
        if pins[k].net in (None, layer.parts.blobs[blob].net):
            out.setdefault(k, blob)
    return out


def _blobs_under(layer: DraftLayer, pins: list[Pin]) -> dict[int, int]:
    """Position in ``pins`` -> the blob of the pin's net under its place; lands before sheets, the nearest first."""
    pieces = np.array(sorted(layer.parts.piece_blob), dtype=np.int64)
    if not len(pieces) or not pins:
        return {}
    shapes = layer.copper.shapes.take(pieces)
    spots = shapely.points(np.array([(p.x_mm, p.y_mm) for p in pins]))
    boxes = shapely.box(*(shapes.bounds_mm() + np.array([-0.05, -0.05, 0.05, 0.05])).T)
    i, j = shapely.STRtree(boxes).query(spots, predicate="intersects")
    gap = shapely.distance(shapes.skeleton[j], spots[i]) - shapes.radius_mm[j]
    best: dict[int, tuple[bool, float, int]] = {}
    for k, near, far in zip(i.tolist(), j.tolist(), gap.tolist(), strict=True):
        net = pins[k].net
        piece = int(pieces[near])
        if far > 0.05 or (net is not None and int(layer.copper.island[piece]) != net):
            continue
        blob = layer.parts.piece_blob[piece]
        hit = (layer.parts.blobs[blob].kind != "land", far, blob)
        if k not in best or hit < best[k]:
            best[k] = hit
    return {k: blob for k, (_, _, blob) in best.items()}


def pin_places(work: Draft, pins: list[tuple[Part, Pin, tuple[tuple[str, int], ...]]]) -> list[PinPlace]:
    shows: dict[str, bool] = {}
    outlines = {part.ref: shapely.Polygon(part.outline) for part in work.board.parts if len(part.outline) >= 4}
    masks = {side: open_at(work.board, side, [(p.x_mm, p.y_mm) for _, p, _ in pins]) for side in ("c", "s")}
    out = []
    for k, (part, pin, lands) in enumerate(pins):
        if not lands:
            continue
        covered = part.ref in outlines and _covers(part, outlines[part.ref], pin)
        if part.ref not in shows:
            shows[part.ref] = _leg_shows(part)
        hidden = f"under the body of {part.ref}" if covered else ""
        leg = hidden if covered and not shows[part.ref] else ""
        masked = "".join(side for side in ("c", "s") if not masks[side][k])
        net = work.node_net[lands[0][1]]
        out.append(
            PinPlace(
                part.ref,
                pin.number,
                net,
                pin.x_mm,
                pin.y_mm,
                pin.hole is not None,
                part.side,
                lands,
                leg,
                hidden,
                masked,
            )
        )
    return out


def _covers(part: Part, shape: Any, pin: Pin) -> bool:
    """Whether the part's outline covers the pin; an envelope drawn round the pins for want of an outline covers none of its rim."""
    spot = shapely.Point(pin.x_mm, pin.y_mm)
    deep = COVERED_MM if part.outline_from == "silkscreen" else 2.0
    return bool(shape.contains(spot)) and float(shape.exterior.distance(spot)) > deep


def _leg_shows(part: Part) -> bool:
    """Whether legs can be touched although the outline covers them: connectors, and parts with one or two rows of at least two pins."""
    letters = part.ref.rstrip("0123456789").upper()
    if letters in CONNECTOR_PREFIXES:
        return True
    if len(part.pins) < 3:
        return letters.startswith(("R", "D", "W"))
    xy = np.array([(p.x_mm, p.y_mm) for p in part.pins])
    centre = xy - xy.mean(axis=0)
    _, _, axes = np.linalg.svd(centre, full_matrices=False)
    off = centre @ axes[-1]
    return bool(np.all(np.minimum(np.abs(off - off.min()), np.abs(off - off.max())) <= ROW_SLACK_MM))


def open_at(board: Board, side: str, xy: list[tuple[float, float]]) -> NDArray[np.bool_]:
    """(n,) whether the solder mask of that side is open at each place; all open where the board has no mask data for the side."""
    masks = dict(board.mask_openings)
    if side not in masks or not xy:
        return np.ones(len(xy), dtype=bool)
    shapes = masks[side]
    out = np.zeros(len(xy), dtype=bool)
    if not len(shapes):
        return out
    spots = shapely.points(np.asarray(xy, dtype=np.float64))
    boxes = shapely.box(*shapes.bounds_mm().T)
    i, j = shapely.STRtree(boxes).query(spots, predicate="intersects")
    hit = shapely.distance(shapes.skeleton[j], spots[i]) <= shapes.radius_mm[j] + 1e-6
    out[i[hit]] = True
    return out
