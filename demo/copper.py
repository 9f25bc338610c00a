"""The copper as it will be etched: tracks, vias and lands with their nets, and routes.json, which keeps the tracks."""

from __future__ import annotations

import json
from dataclasses import dataclass

from demo.placement import (
    TIE_HOLE_MM,
    TIE_LAND_MM,
    Placed,
    PlacedLand,
    lands,
    placed,
    supply_tracks,
    supply_vias,
)
from demo.raster import CELL_MM, VIA_HOLE_MM, VIA_LAND_MM


@dataclass(frozen=True, slots=True)
class Track:
    """A run of track of one width: net, side (`c` component, `s` solder), width and its corners in millimetres."""

    net: str
    side: str
    width_mm: float
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Via:
    """A plated hole that holds no lead: net, place, land and hole in millimetres."""

    net: str
    x_mm: float
    y_mm: float
    land_mm: float
    hole_mm: float


@dataclass(frozen=True, slots=True)
class Pour:
    """A poured area: net, side, and its rings in micrometres (the outer one first, then the holes), each left open."""

    net: str
    side: str
    rings: tuple[tuple[tuple[int, int], ...], ...]


@dataclass(frozen=True, slots=True)
class Board:
    """The whole board: placed parts, lands, tracks, vias and poured areas, each in a fixed order."""

    parts: tuple[Placed, ...]
    lands: tuple[PlacedLand, ...]
    tracks: tuple[Track, ...]
    vias: tuple[Via, ...]
    pours: tuple[Pour, ...] = ()


Corner = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Routed:
    """One net's searched tracks: (side, width in micrometres, corners in raster cells), and via cells."""

    tracks: tuple[tuple[str, int, tuple[Corner, ...]], ...]
    vias: tuple[Corner, ...]


@dataclass(frozen=True, slots=True)
class Routes:
    """Everything that routes.json keeps: the searched tracks of each net, and the poured areas."""

    nets: dict[str, Routed]
    pours: tuple[Pour, ...] = ()


def _flat(corners: tuple[Corner, ...]) -> list[int]:
    return [v for corner in corners for v in corner]


def _corners(flat: list[int]) -> tuple[Corner, ...]:
    return tuple(zip(flat[::2], flat[1::2], strict=True))


def routes_to_text(routes: Routes) -> str:
    """The text of routes.json: one line per net, nets in order of their names, then one line per poured area.

    Each net has `tracks`, a list of [side, width in micrometres, x0, y0, x1, y1, ...], and `vias`, a flat list of x, y;
    coordinates count cells of 0.635 mm from the board's lower left corner. A pour has its rings in micrometres.
    """
    nets = []
    for name, routed in sorted(routes.nets.items()):
        body = {
            "tracks": [[side, width, *_flat(corners)] for side, width, corners in routed.tracks],
            "vias": _flat(routed.vias),
        }
        nets.append(f"{json.dumps(name)}: {json.dumps(body, separators=(',', ':'))}")
    areas = [
        json.dumps([p.net, p.side, [_flat(ring) for ring in p.rings]], separators=(",", ":")) for p in routes.pours
    ]
    return '{"nets": {\n' + ",\n".join(nets) + '\n},\n"pours": [\n' + ",\n".join(areas) + "\n]}\n"


def routes_from_text(text: str) -> Routes:
    """Reads what `routes_to_text` wrote."""
    body = json.loads(text)
    nets = {
        name: Routed(tuple((t[0], t[1], _corners(t[2:])) for t in net["tracks"]), _corners(net["vias"]))
        for name, net in body["nets"].items()
    }
    return Routes(nets, tuple(Pour(net, side, tuple(_corners(r) for r in rings)) for net, side, rings in body["pours"]))


def _mm(corner: Corner) -> tuple[float, float]:
    return round(corner[0] * CELL_MM, 6), round(corner[1] * CELL_MM, 6)


def board(routes: Routes) -> Board:
    """The board from the circuit, the placement, the hand-drawn supply tracks, the searched tracks and the pours."""
    parts = placed()
    tracks = [Track(t.net, t.side, t.width_mm, ((t.x0_mm, t.y0_mm), (t.x1_mm, t.y1_mm))) for t in supply_tracks()]
    vias = [Via(net, x, y, TIE_LAND_MM, TIE_HOLE_MM) for net, x, y in supply_vias()]
    for name, routed in sorted(routes.nets.items()):
        tracks += [
            Track(name, side, width / 1000, tuple(_mm(c) for c in corners)) for side, width, corners in routed.tracks
        ]
        vias += [Via(name, *_mm(c), VIA_LAND_MM, VIA_HOLE_MM) for c in routed.vias]
    return Board(parts, lands(parts), tuple(tracks), tuple(vias), routes.pours)
