"""A board as plain arrays and one JSON value, and back: what caches and bundles keep. No pickle, no code."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import (
    Board,
    CopperLayer,
    Hole,
    Net,
    NetlistPoint,
    Part,
    PartState,
    Pin,
)
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.shapes import ShapeSet

PACK_VERSION = 1
_TEXTS = ("kind", "pin", "stated_net", "function")


def pack_board(board: Board) -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    """The board as number arrays and a JSON value."""
    arrays: dict[str, NDArray[Any]] = {}
    layers = []
    for at, layer in enumerate(board.layers):
        _pack_shapes(arrays, f"layer{at}", layer.shapes)
        arrays[f"layer{at}.island"] = layer.island
        arrays[f"layer{at}.contacts"] = layer.contacts
        arrays[f"layer{at}.walls"] = layer.walls
        head: dict[str, Any] = {"key": layer.key, "file": layer.file}
        for name in _TEXTS:
            words, index = np.unique(np.asarray(getattr(layer, name), dtype=str), return_inverse=True)
            arrays[f"layer{at}.{name}"] = index.astype(np.int32)
            head[name] = words.tolist()
        layers.append(head)
    for kind in ("silk", "mask_openings"):
        for at, (_, shapes) in enumerate(getattr(board, kind)):
            _pack_shapes(arrays, f"{kind}{at}", shapes)
    value = {
        "version": PACK_VERSION,
        "package_id": board.package_id,
        "title": board.title,
        "layers": layers,
        "silk": [side for side, _ in board.silk],
        "mask_openings": [side for side, _ in board.mask_openings],
        "outline": [ring.tolist() for ring in board.outline],
        "holes": [_row(one) for one in board.holes],
        "parts": [_pack_part(one) for one in board.parts],
        "nets": [[net.name, net.names, net.pins] for net in board.nets],
        "points": [_row(one) for one in board.netlist_points],
        "origin_shift_mm": board.origin_shift_mm,
        "thickness_mm": board.thickness_mm,
        "copper_thickness_mm": board.copper_thickness_mm,
        "findings": [[f.code, f.severity, asdict(f.place), f.words, f.remedy] for f in board.findings],
        "seconds": board.seconds,
        "corrections": board.corrections,
        "extra": board.extra,
        "drill_files": board.drill_files,
    }
    return arrays, value


def unpack_board(arrays: dict[str, NDArray[Any]], value: dict[str, Any]) -> Board:
    """The board that ``pack_board`` packed. Any exception means that the pack is damaged or of another version."""
    if value["version"] != PACK_VERSION:
        raise ValueError("another version")
    return Board(
        package_id=value["package_id"],
        title=value["title"],
        layers=tuple(_layer(arrays, at, head) for at, head in enumerate(value["layers"])),
        holes=tuple(_hole(row) for row in value["holes"]),
        parts=tuple(_part(row) for row in value["parts"]),
        nets=tuple(Net(k, name, tuple(names), tuple(pins)) for k, (name, names, pins) in enumerate(value["nets"])),
        outline=tuple(np.asarray(ring, dtype=np.float64) for ring in value["outline"]),
        silk=_sided(arrays, "silk", value["silk"]),
        mask_openings=_sided(arrays, "mask_openings", value["mask_openings"]),
        netlist_points=tuple(_point(row) for row in value["points"]),
        origin_shift_mm=_pair(value["origin_shift_mm"]),
        thickness_mm=float(value["thickness_mm"]),
        copper_thickness_mm=tuple((key, thick) for key, thick in value["copper_thickness_mm"]),
        findings=tuple(
            Finding(code, Severity(severity), Place(**place), words, remedy)
            for code, severity, place, words, remedy in value["findings"]
        ),
        seconds=tuple((name, seconds) for name, seconds in value["seconds"]),
        corrections=value["corrections"],
        extra=dict(value["extra"]),
        drill_files=tuple(value.get("drill_files", ())),
    )


def _hole(row: Sequence[Any]) -> Hole:
    x, y, x2, y2, diameter, plated, layers, island, *file = row
    return Hole(x, y, x2, y2, diameter, plated, tuple(layers), island, *file)


def _point(row: Sequence[Any]) -> NetlistPoint:
    net, part, pin, x, y, layers, source, line, island = row
    return NetlistPoint(net, part, pin, x, y, tuple(layers), source, line, island)


def _pin(row: Sequence[Any]) -> Pin:
    part, number, x, y, hole, layers, net, function = row
    return Pin(part, number, x, y, hole, tuple(layers), net, function)


def _pair(value: Sequence[float]) -> tuple[float, float]:
    return float(value[0]), float(value[1])


def _row(one: Any) -> list[Any]:
    return [getattr(one, field.name) for field in fields(one)]


def _pack_shapes(arrays: dict[str, NDArray[Any]], name: str, shapes: ShapeSet) -> None:
    kind, coordinates, offsets = _ragged(shapes.skeleton)
    arrays[f"{name}.type"], arrays[f"{name}.xy"] = kind, coordinates
    for level, offset in enumerate(offsets):
        arrays[f"{name}.offset{level}"] = offset
    arrays[f"{name}.radius"] = shapes.radius_mm


def _ragged(skeleton: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any], list[NDArray[Any]]]:
    """Points and lines as coordinates with offsets (fast); anything else as well-known binary in the same three slots."""
    kind = shapely.get_type_id(skeleton).astype(np.int8) if len(skeleton) else np.empty(0, np.int8)
    simple = (kind == 0) | (kind == 1)
    counts = shapely.get_num_coordinates(skeleton[simple])
    other = [bytes(blob) for blob in shapely.to_wkb(skeleton[~simple], include_srid=False)]
    sizes = np.array([len(blob) for blob in other], dtype=np.int64)
    blob = np.frombuffer(b"".join(other), dtype=np.uint8)
    return kind, shapely.get_coordinates(skeleton[simple]), [counts.astype(np.int64), sizes, blob]


def _shapes(arrays: dict[str, NDArray[Any]], name: str) -> ShapeSet:
    kind, xy = arrays[f"{name}.type"], arrays[f"{name}.xy"]
    counts, sizes, blob = (arrays[f"{name}.offset{level}"] for level in range(3))
    skeleton = np.empty(len(kind), dtype=object)
    simple = np.flatnonzero((kind == 0) | (kind == 1))
    start = np.concatenate([[0], np.cumsum(counts)])
    point = kind[simple] == 0
    if point.any():
        skeleton[simple[point]] = shapely.points(xy[start[:-1][point]])
    if (~point).any():
        lines = np.flatnonzero(~point)
        take = np.repeat(np.isin(np.arange(len(counts)), lines), counts)
        skeleton[simple[~point]] = shapely.linestrings(
            xy[take], indices=np.repeat(np.arange(len(lines)), counts[lines])
        )
    rest = np.flatnonzero((kind != 0) & (kind != 1))
    ends = np.concatenate([[0], np.cumsum(sizes)])
    raw = blob.tobytes()
    if len(rest):
        skeleton[rest] = shapely.from_wkb([raw[a:b] for a, b in pairwise(ends.tolist())])
    return ShapeSet(skeleton, arrays[f"{name}.radius"])


def _layer(arrays: dict[str, NDArray[Any]], at: int, head: dict[str, Any]) -> CopperLayer:
    texts = {}
    for name in _TEXTS:
        words = np.empty(len(head[name]), dtype=object)
        words[:] = head[name]
        index = arrays[f"layer{at}.{name}"]
        texts[name] = words[index] if len(index) else np.empty(0, dtype=object)
    return CopperLayer(
        head["key"],
        head["file"],
        _shapes(arrays, f"layer{at}"),
        texts["kind"],
        arrays[f"layer{at}.island"],
        texts["pin"],
        texts["stated_net"],
        texts["function"],
        arrays[f"layer{at}.contacts"],
        arrays[f"layer{at}.walls"],
    )


def _sided(arrays: dict[str, NDArray[Any]], kind: str, sides: Sequence[str]) -> tuple[tuple[str, ShapeSet], ...]:
    return tuple((side, _shapes(arrays, f"{kind}{at}")) for at, side in enumerate(sides))


def _pack_part(part: Part) -> list[Any]:
    pins = [_row(pin) for pin in part.pins]
    through = [list(one) for one in part.through_ohm]
    return [
        part.ref,
        part.side,
        part.outline.tolist(),
        part.outline_from,
        pins,
        part.value,
        part.package,
        part.state,
        through,
    ]


def _part(row: Sequence[Any]) -> Part:
    ref, side, outline, origin, pins, value, package, state, through = row
    return Part(
        ref,
        side,
        np.asarray(outline, dtype=np.float64),
        origin,
        tuple(_pin(pin) for pin in pins),
        value,
        package,
        PartState(state),
        tuple((a, b, float(ohm)) for a, b, ohm in through),
    )
