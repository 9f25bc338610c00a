"""The packed drawing data against the plain JSON scene: the same shapes, read back by the layout that its head describes."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from tests import handmade as hand

from coppermend.core.board.model import Board
from coppermend.services.boards import build_board
from coppermend.services.scene import scene_of
from coppermend.services.scene_pack import scene_pack


def read(data: bytes) -> tuple[dict[str, Any], NDArray[np.int32]]:
    """Head and body, by the published layout."""
    letters, version, length = struct.unpack_from("<4sII", data)
    assert letters == b"CMSC" and version == 1 and length % 4 == 0
    return json.loads(data[12 : 12 + length]), np.frombuffer(data, "<i4", offset=12 + length)


def rows(body: NDArray[np.int32], place: list[int], kind: str) -> list[list[Any]]:
    """The shapes of one list in the JSON scene's form, um."""
    values, out, i = body[place[0] : place[0] + place[1]].tolist(), [], 0
    while i < len(values):
        if kind == "discs":
            out.append(values[i : i + 4])
            i += 4
        elif kind == "strokes":
            count = values[i + 2]
            out.append([*values[i : i + 2], *values[i + 3 : i + 3 + 2 * count]])
            i += 3 + 2 * count
        else:
            net, radius, rings = values[i : i + 3]
            i, one = i + 3, [net, radius]
            for _ in range(rings):
                one.append(values[i + 1 : i + 1 + 2 * values[i]])
                i += 1 + 2 * values[i]
            out.append(one)
    return out


def in_um(one: list[Any]) -> list[Any]:
    """A shape of the JSON scene, mm to um; rings as point sets, because turning a ring changes its order."""
    return [
        one[0],
        *(round(v * 1000) if not isinstance(v, list) else ring_of([round(c * 1000) for c in v]) for v in one[1:]),
    ]


def ring_of(flat: list[int]) -> list[tuple[int, int]]:
    points = list(zip(flat[::2], flat[1::2], strict=True))
    return sorted(set(points))


def alike(one: Any, other: Any) -> bool:
    """Equal, or a number off by 1 um: both round to 1 um, half-way cases in different ways."""
    if isinstance(one, int | float):
        return bool(abs(one - other) <= 1)
    return len(one) == len(other) and all(alike(a, b) for a, b in zip(one, other, strict=True))


def same_scene(board: Board) -> int:
    """Every list of both scenes holds the same shapes in the same order; how many there are."""
    plain, (head, body) = scene_of(board), read(scene_pack(board))
    count = 0
    pairs = [
        *zip(plain["layers"], head["layers"], strict=True),
        *((plain[what][side], head[what][side]) for what in ("silk", "mask") for side in plain[what]),
    ]
    for wanted, place in pairs:
        for kind in ("discs", "strokes", "regions"):
            found = rows(body, place[kind], kind)
            if kind == "regions":
                found = [[*one[:2], *(ring_of(r) for r in one[2:])] for one in found]
            assert len(found) == len(wanted[kind])
            assert all(alike(one, in_um(other)) for one, other in zip(found, wanted[kind], strict=True)), (kind, place)
            count += len(found)
    holes = body[head["holes"][0] : sum(head["holes"])].reshape(-1, 6)
    assert holes.tolist() == [[*(round(v * 1000) for v in row[:5]), int(row[5])] for row in plain["holes"]]
    rest = set(plain) - {"layers", "silk", "mask", "holes"}
    assert {k: head[k] for k in rest} == {k: json.loads(json.dumps(plain[k])) for k in rest}
    return count


def test_the_demonstration_board_is_packed_whole(demo_package: Path) -> None:
    from coppermend.bootstrap import DiskPackages

    assert same_scene(build_board(DiskPackages(), str(demo_package), None)) > 4000


def test_pours_with_holes_and_pieces_keep_their_rings_and_turn_the_right_way() -> None:
    """Outer rings anticlockwise, holes clockwise (signed area, shoelace formula), none closed by a repeated corner."""
    ring = shapely.Polygon(
        [(0, 0), (0, 20), (20, 20), (20, 0)], [[(5, 5), (8, 5), (8, 8)], [(12, 12), (12, 15), (15, 15)]]
    )
    two = shapely.MultiPolygon([shapely.box(30, 0, 31, 1), shapely.box(40, 0, 42, 1)])
    made = hand.board([[hand.area(ring), hand.track((25, 0), (25, 9), (27, 9)), hand.area(two)], [hand.land(3, 3)]])
    assert same_scene(made) >= 4
    head, body = read(scene_pack(made))
    for one in rows(body, head["layers"][0]["regions"], "regions"):
        for k, flat in enumerate(one[2:]):
            xy = np.array(flat, dtype=float).reshape(-1, 2)
            x, y = xy.T
            area = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
            assert (area > 0) == (k == 0) and not np.array_equal(xy[0], xy[-1])


@pytest.mark.parametrize("copper", [[], [[]]])
def test_nothing_drawn_is_packed_too(copper: list[Any]) -> None:
    made = hand.board(copper or [[hand.land(1, 1)]])
    assert same_scene(made) >= 0 and read(scene_pack(made))[0]["title"] == "hand made"
