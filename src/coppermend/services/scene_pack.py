"""The drawing data of a board as one block of bytes, for the page: the same values as ``scene.scene_of``, made and read in a fraction of its time.

Layout, all little endian: the four letters ``CMSC``, uint32 version, uint32 length of the head, the head (JSON in UTF-8, padded with spaces to a
multiple of four), then int32 values in um. In the head every list of shapes is ``{"discs": [from, count], "strokes": ..., "regions": ...}``: place
and number of int32 values in the body, ``net`` an index into ``nets`` or -1:

- disc: ``net, radius, x, y``
- stroke: ``net, radius, corners, x0, y0, x1, y1, ...``
- region: ``net, radius, rings``, then for each ring ``corners, x0, y0, ...``; outer rings run anticlockwise, holes clockwise, none is closed by a repeated corner
- ``holes``: ``x, y, x2, y2, diameter, plated``
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board
from coppermend.core.board.pinboard import made_up_places
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.services.scene import SCENE_VERSION, bounds_mm, flat_mm, part_as_json

MAGIC = b"CMSC"
Ints = NDArray[np.int32]


def _um(mm: Any) -> Ints:
    return np.rint(np.asarray(mm, dtype=np.float64) * 1000.0).astype(np.int32)


def _runs(heads: Ints, counts: NDArray[np.int64], xy: Ints) -> Ints:
    """Rows of one length written one after the other: row k is ``heads[k]``, then its ``counts[k]`` corners out of ``xy`` (total, 2)."""
    wide = heads.shape[1]
    ends = np.cumsum(wide + 2 * counts)
    out = np.empty(int(ends[-1]) if len(ends) else 0, dtype=np.int32)
    is_head = np.zeros(len(out), dtype=bool)
    if len(ends):
        starts = ends - (wide + 2 * counts)
        is_head[(starts[:, None] + np.arange(wide)).ravel()] = True
        out[is_head] = heads.ravel()
        out[~is_head] = xy.ravel()
    return out


def shapes_as_ints(shapes: ShapeSet, nets: Iterable[int] | None = None) -> dict[str, Ints]:
    """The shapes as int32 values in um (see the module's head); ``nets`` one index per shape, -1 where left out.

    >>> s = ShapeSet.of([shapely.Point(1, 2), shapely.LineString([(0, 0), (3, 0)])], [0.5, 0.15])
    >>> {k: v.tolist() for k, v in shapes_as_ints(s, [7, 8]).items()}
    {'discs': [7, 500, 1000, 2000], 'strokes': [8, 150, 2, 0, 0, 3000, 0], 'regions': []}
    """
    number = np.full(len(shapes), -1, np.int32) if nets is None else np.asarray(list(nets), dtype=np.int32)
    one, of = shapes.skeleton, np.arange(len(shapes))
    if np.any(shapely.get_type_id(one) > 3):
        one, of = shapely.get_parts(one, return_index=True)
    kept = ~shapely.is_empty(one)
    one, of = one[kept], of[kept]
    head = np.column_stack([number[of], _um(shapes.radius_mm[of])]).astype(np.int32).reshape(-1, 2)
    kind = shapely.get_type_id(one)
    point, line, area = kind == 0, (kind == 1) | (kind == 2), kind == 3
    return {
        "discs": np.column_stack([head[point], _um(shapely.get_coordinates(one[point]))]).astype(np.int32).ravel(),
        "strokes": _strokes(one[line], head[line]),
        "regions": _regions(one[area], head[area]),
    }


def _strokes(lines: NDArray[Any], head: Ints) -> Ints:
    counts = shapely.get_num_coordinates(lines).astype(np.int64)
    return _runs(np.column_stack([head, counts]).astype(np.int32), counts, _um(shapely.get_coordinates(lines)))


def _regions(areas: NDArray[Any], head: Ints) -> Ints:
    if not len(areas):
        return np.empty(0, np.int32)
    turned = shapely.orient_polygons(areas)
    rings, of = shapely.get_rings(turned, return_index=True)
    xy, ring_of = shapely.get_coordinates(rings, return_index=True)
    last = np.append(ring_of[1:] != ring_of[:-1], True)
    xy, ring_of = xy[~last], ring_of[~last]
    counts = np.bincount(ring_of, minlength=len(rings)).astype(np.int64)
    flat = _runs(counts[:, None].astype(np.int32), counts, _um(xy))
    at = np.concatenate([[0], np.cumsum(1 + 2 * counts)[:-1]])
    first = np.append(True, of[1:] != of[:-1])
    heads = np.column_stack([head, np.bincount(of, minlength=len(areas))]).astype(np.int32)
    return np.insert(flat, np.repeat(at[first], 3), heads.ravel()).astype(np.int32)


class _Body:
    """The int32 values one after the other; ``put`` says where they lie."""

    def __init__(self) -> None:
        self.parts: list[Ints] = []
        self.size = 0

    def put(self, values: Ints) -> list[int]:
        """Add values; [from, count]."""
        place = [self.size, len(values)]
        self.parts.append(values)
        self.size += len(values)
        return place

    def shapes(self, shapes: ShapeSet, nets: Iterable[int] | None = None) -> dict[str, list[int]]:
        """Add shapes; where each kind lies."""
        return {kind: self.put(values) for kind, values in shapes_as_ints(shapes, nets).items()}


def scene_pack(board: Board) -> bytes:
    """The whole board as drawing data in one block (see the module's head), without anything a case lays over it. Lengths in the body are um."""
    body = _Body()
    holes = np.array(
        [[h.x_mm, h.y_mm, h.x2_mm, h.y2_mm, h.diameter_mm, 0.001 * h.plated] for h in board.holes], dtype=np.float64
    ).reshape(-1, 6)
    head = {
        "version": SCENE_VERSION,
        "package_id": board.package_id,
        "title": board.title,
        "bounds_mm": list(bounds_mm(board)),
        "thickness_mm": board.thickness_mm,
        "outline": [flat_mm(o) for o in board.outline if len(o)],
        "layers": [{"key": one.key, **body.shapes(one.shapes, one.island)} for one in board.layers],
        "holes": body.put(_um(holes).ravel()),
        "silk": {side: body.shapes(shapes) for side, shapes in board.silk},
        "mask": {side: body.shapes(shapes) for side, shapes in board.mask_openings},
        "mask_colour": board.extra.get("mask_colour", "green"),
        "parts": [part_as_json(p) for p in board.parts],
        "nets": [n.name for n in board.nets],
        "findings": [f.as_dict() for f in board.findings],
        "photos": [side for side in ("c", "s") if f"photo.{side}" in board.extra],
        "made_up": sorted(made_up_places(board)),
    }
    text = json.dumps(head, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    sizes = np.array([SCENE_VERSION, len(text)], dtype="<u4").tobytes()
    values = np.concatenate(body.parts).astype("<i4") if body.parts else np.empty(0, "<i4")
    return MAGIC + sizes + text + values.tobytes()
