"""Small boards made by hand for the tests of the copper graph: pieces, holes and parts in, a Board with true islands out."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely import affinity

from coppermend.core.board.model import Board, CopperLayer, Hole, Net, Part, PartState, Pin
from coppermend.core.copper.islands import Holes, join, layer_copper
from coppermend.core.geometry.shapes import ShapeSet

Piece = tuple[str, Any, float]
"""(kind, skeleton, radius_mm)"""


def track(width: float, *points: tuple[float, float]) -> list[Piece]:
    """One stroke per segment, as a photoplotter draws a polyline."""
    return [("draw", shapely.LineString([p, q]), width / 2) for p, q in itertools.pairwise(points)]


def arc(width: float, *points: tuple[float, float]) -> list[Piece]:
    """One stroke with many points (a flattened arc)."""
    return [("arc", shapely.LineString(points), width / 2)]


def pad(x: float, y: float, diameter: float) -> Piece:
    """A round flash."""
    return ("flash", shapely.Point(x, y), diameter / 2)


def box(x0: float, y0: float, x1: float, y1: float) -> Piece:
    """A rectangular region."""
    return ("region", shapely.box(x0, y0, x1, y1), 0.0)


def region(polygon: Any) -> Piece:
    """A region of any shape."""
    return ("region", polygon, 0.0)


def part(ref: str, side: str, pins: Sequence[tuple[str, float, float, int | None]], **more: Any) -> Part:
    """A part with pins (number, x, y, hole index); outline empty unless given."""
    made = tuple(Pin(ref, n, x, y, h, ("c", "s") if h is not None else (side,), None) for n, x, y, h in pins)
    more.setdefault("outline", np.empty((0, 2)))
    return Part(ref, side, outline_from="silkscreen", pins=made, **more)


def board(
    layers: dict[str, Sequence[Piece]],
    holes: Sequence[tuple[float, float, float]] = (),
    parts: Sequence[Part] = (),
    bare_holes: Sequence[int] = (),
    masks: Sequence[tuple[str, ShapeSet]] = (),
    thickness_mm: float = 1.6,
) -> Board:
    """A board; holes are (x, y, drill), plated unless listed in ``bare_holes``. Islands are found by the project's own ``join``."""
    keys = list(layers)
    x, y, d = (np.array([h[k] for h in holes], dtype=float) for k in range(3))
    plated = np.array([k not in bare_holes for k in range(len(holes))], dtype=bool)
    last = np.full(len(holes), len(keys) - 1)
    columns = Holes(x, y, x.copy(), y.copy(), d, plated, np.zeros(len(holes), dtype=np.int64), last)
    shapes = [ShapeSet.of([p[1] for p in layers[key]], [p[2] for p in layers[key]]) for key in keys]
    copper = [layer_copper(s, columns, at) for at, s in enumerate(shapes)]
    islands = join(copper, len(holes))
    made = []
    for at, key in enumerate(keys):
        kind = np.array([layers[key][k][0] for k in copper[at].source], dtype=object)
        blank = np.full(len(kind), "", dtype=object)
        made.append(
            CopperLayer(
                key,
                key,
                copper[at].shapes,
                kind,
                islands.piece_island[at],
                blank,
                blank,
                blank,
                copper[at].contacts,
                copper[at].walls,
            )
        )
    hole_rows = tuple(
        Hole(
            h[0],
            h[1],
            h[0],
            h[1],
            h[2],
            bool(plated[k]),
            tuple(keys),
            int(i) if (i := islands.hole_island[k]) >= 0 else None,
        )
        for k, h in enumerate(holes)
    )
    fitted = [_with_nets(one, hole_rows, made) for one in parts]
    nets = tuple(
        Net(k, f"N{k}", (f"N{k}",), tuple(q.name for one in fitted for q in one.pins if q.net == k))
        for k in range(islands.count)
    )
    return Board(
        "hand" * 16,
        "by hand",
        tuple(made),
        hole_rows,
        tuple(fitted),
        nets,
        (),
        (),
        tuple(masks),
        (),
        (0.0, 0.0),
        thickness_mm,
        (),
        (),
    )


def _with_nets(one: Part, holes: tuple[Hole, ...], layers: list[CopperLayer]) -> Part:
    pins = []
    for pin in one.pins:
        net = holes[pin.hole].island if pin.hole is not None else None
        if net is None:
            for layer in layers:
                if layer.key in pin.layers and len(layer.shapes):
                    far = (
                        shapely.distance(layer.shapes.skeleton, shapely.Point(pin.x_mm, pin.y_mm))
                        - layer.shapes.radius_mm
                    )
                    if far.min() <= 1e-6:
                        net = int(layer.island[int(far.argmin())])
        pins.append(replace(pin, net=net))
    return replace(one, pins=tuple(pins))


def moved(made: Board, degrees: float = 0.0, dx: float = 0.0, dy: float = 0.0, mirror: bool = False) -> Board:
    """The same board turned about the origin, mirrored in the y axis, and shifted; islands, contacts and walls are found anew."""

    def shift(geometry: Any) -> Any:
        if mirror:
            geometry = affinity.scale(geometry, -1.0, 1.0, origin=(0, 0))
        return affinity.translate(affinity.rotate(geometry, degrees, origin=(0, 0)), dx, dy)

    def spot(x: float, y: float) -> tuple[float, float]:
        p = shift(shapely.Point(x, y))
        return p.x, p.y

    layers = {
        layer.key: [
            (str(k), shift(g), float(r))
            for k, g, r in zip(layer.kind, layer.shapes.skeleton, layer.shapes.radius_mm, strict=True)
        ]
        for layer in made.layers
    }
    holes = [(*spot(h.x_mm, h.y_mm), h.diameter_mm) for h in made.holes]
    parts = [
        replace(
            one,
            outline=np.array([spot(x, y) for x, y in one.outline]) if len(one.outline) else one.outline,
            pins=tuple(replace(q, x_mm=spot(q.x_mm, q.y_mm)[0], y_mm=spot(q.x_mm, q.y_mm)[1]) for q in one.pins),
        )
        for one in made.parts
    ]
    bare = [k for k, h in enumerate(made.holes) if not h.plated]
    return board(layers, holes, parts, bare, thickness_mm=made.thickness_mm)


SOCKETED = PartState.SOCKETED
