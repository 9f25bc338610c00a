"""What copper hangs on each pin of a part, layer by layer, and the board round the part as the heat solve needs it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from coppermend.core.board.conditions import laminate_gaps
from coppermend.core.board.model import Board, CopperLayer, Part, Pin
from coppermend.core.copper.model import CopperGraph, PinPlace, Site, SiteKind
from coppermend.core.rework.ground import board_ground
from coppermend.core.rework.pieces import sites_of
from coppermend.core.rework.removal_heat import Barrel, HotPin, Stack
from coppermend.core.units import BARREL_PLATING_MM, COPPER_THICKNESS_MM

WINDOW_MM = 60.0
"""Board up to this far round the part's pins is solved; heat hardly passes beyond (a plane cools over some 25 mm)."""
CLOSE_MM = 3.0
"""The ground round the pins in which pours are widened by their stroke."""
LARGE_CORNERS = 400
"""Outlines with more corners are treated so."""
SMALLEST_METAL_MM = 0.15
WINDOW_TOUCHES_MM = 1e-6

LAYER_WORDS = {"c": "component side", "s": "solder side"}


def layer_words(key: str) -> str:
    """A layer as a person says it.

    >>> layer_words("i2")
    'inner layer 2'
    """
    return LAYER_WORDS.get(key, f"inner layer {key[1:]}")


@dataclass(frozen=True, slots=True)
class PinCopper:
    """Copper of one pin on one layer: ``kind`` solid (it lies in a pour), spokes, tracks or land; widths in mm of the ``tracks`` and ``spokes`` that leave it."""

    layer: str
    kind: str
    tracks: tuple[float, ...] = ()
    spokes: tuple[float, ...] = ()

    def words(self) -> str:
        """The copper as a phrase.

        >>> PinCopper("s", "tracks", (0.3,)).words()
        'solder side: one track of 0.3 mm'
        """
        where = layer_words(self.layer)
        if self.kind == "solid":
            return f"{where}: lies solid in a pour or plane"
        parts = []
        if self.spokes:
            parts.append(f"{_count(len(self.spokes), 'spoke')} of {_widths(self.spokes)} into a pour or plane")
        if self.tracks:
            parts.append(f"{_count(len(self.tracks), 'track')} of {_widths(self.tracks)}")
        return f"{where}: {' and '.join(parts) or 'its land alone'}"

    def as_dict(self) -> dict[str, object]:
        """The copper as plain JSON values."""
        return {
            "layer": self.layer,
            "kind": self.kind,
            "tracks_mm": [round(w, 3) for w in self.tracks],
            "spokes_mm": [round(w, 3) for w in self.spokes],
        }


def _count(number: int, thing: str) -> str:
    return f"one {thing}" if number == 1 else f"{number} {thing}s"


def _widths(widths: Sequence[float]) -> str:
    low, high = min(widths), max(widths)
    return f"{low:.2g} mm" if high - low < 0.01 else f"{low:.2g} to {high:.2g} mm"


def copper_of_pin(graph: CopperGraph, place: PinPlace) -> tuple[PinCopper, ...]:
    """The copper that leaves the lands of a pin, component side first."""
    out = []
    for layer, node in place.lands:
        if graph.node_kind[node] == "sheet":
            out.append(PinCopper(layer, "solid"))
            continue
        mine = [s for s in sites_of(graph, place.net) if node in (s.a, s.b) and s.layer == layer and s.a != s.b]
        tracks = tuple(s.width_mm for s in mine if s.kind is SiteKind.RUN and not _into_sheet(graph, s, node))
        spokes = tuple(
            s.width_mm
            for s in mine
            if s.kind is SiteKind.SPOKE or (s.kind is SiteKind.RUN and _into_sheet(graph, s, node))
        )
        out.append(PinCopper(layer, "spokes" if spokes else "tracks" if tracks else "land", tracks, spokes))
    return tuple(out)


def _into_sheet(graph: CopperGraph, site: Site, node: int) -> bool:
    """A run that ends in a pour sinks heat as a spoke does."""
    return graph.node_kind[site.b if site.a == node else site.a] == "sheet"


@dataclass(frozen=True, slots=True)
class Ground:
    """What the heat solve is given: the board's area in the window, copper per sheet, the stack, pins, plated holes."""

    area: Any
    copper: tuple[Any, ...]
    stack: Stack
    pins: tuple[HotPin, ...]
    barrels: tuple[Barrel, ...]
    evenly_spaced: bool
    """True where the board has inner layers whose distances nobody stated."""


def ground_round(board: Board, part: Part, places: dict[str, PinPlace], film_w_m2k: float) -> Ground:
    """The board round a part's pins, ready for ``heat_paths``."""
    spots = np.array([(pin.x_mm, pin.y_mm) for pin in part.pins])
    window = shapely.box(*(spots.min(axis=0) - WINDOW_MM), *(spots.max(axis=0) + WINDOW_MM))
    close = shapely.union_all(shapely.buffer(shapely.points(spots), CLOSE_MM, quad_segs=4))
    faces = [layer.key for layer in board.layers]
    keys = [*(["c"] if "c" not in faces else []), *faces, *(["s"] if "s" not in faces else [])]
    known = dict(board.copper_thickness_mm)
    foil = [known.get(key, COPPER_THICKNESS_MM) if key in faces else 0.0 for key in keys]
    copper = tuple(
        _window_copper(board.layer(key), window, close) if key in faces else np.empty(0, dtype=object) for key in keys
    )
    gaps = laminate_gaps(board) if keys == faces else ()
    stack = Stack(tuple(foil), gaps, film_w_m2k) if gaps else Stack.even(board.thickness_mm, foil, film_w_m2k)
    pins = tuple(_hot_pin(board, pin, places.get(pin.number), keys, spots) for pin in part.pins)
    mine = {pin.hole for pin in part.pins if pin.hole is not None}
    barrels = tuple(
        Barrel(h.x_mm, h.y_mm, h.diameter_mm, min(BARREL_PLATING_MM, h.diameter_mm / 3))
        for k, h in enumerate(board.holes)
        if h.plated and k not in mine and h.diameter_mm > 0 and shapely.intersects_xy(window, h.x_mm, h.y_mm)
    )
    return Ground(_area(board, window), copper, stack, pins, barrels, len(keys) > 2 and not gaps)


def _area(board: Board, window: Any) -> Any:
    """The board inside the window: its outline, or the box of its copper where no outline was found."""
    whole = board_ground(board)
    if whole is None:
        boxes = np.vstack([layer.shapes.bounds_mm() for layer in board.layers if len(layer.shapes)])
        whole = shapely.box(*np.nanmin(boxes[:, :2], axis=0) - 1.0, *np.nanmax(boxes[:, 2:], axis=0) + 1.0)
    inside = shapely.intersection(whole, window)
    return inside if inside.area > 0 else window


def _window_copper(layer: CopperLayer, window: Any, close: Any) -> Any:
    """The pieces of a layer that reach into the window, as polygons. A pour drawn with a stroke round it is widened by that stroke near the pins only:
    further out the stroke's half width does not count, and widening a large outline takes seconds.
    """
    box = layer.shapes.bounds_mm()
    x0, y0, x1, y1 = window.bounds
    with np.errstate(invalid="ignore"):
        inside = (box[:, 0] < x1) & (box[:, 2] > x0) & (box[:, 1] < y1) & (box[:, 3] > y0)
    shapes = layer.shapes.take(np.flatnonzero(inside))
    drawn = shapes.radius_mm > 0
    large = drawn & (shapely.get_num_coordinates(shapes.skeleton) > LARGE_CORNERS)
    pieces = [shapes.skeleton[~drawn], shapes.take(drawn & ~large).polygons(quad_segs=4)]
    for skeleton, radius in zip(shapes.skeleton[large], shapes.radius_mm[large].tolist(), strict=True):
        whole = shapely.make_valid(skeleton)
        around = shapely.buffer(close, radius, quad_segs=4)
        near = shapely.buffer(shapely.intersection(whole, around), radius, quad_segs=4)
        pieces.append(np.array([whole, near], dtype=object))
    found = np.concatenate(pieces)
    bad = ~shapely.is_valid(found)
    found[bad] = shapely.make_valid(found[bad])
    return found


def _hot_pin(board: Board, pin: Pin, place: PinPlace | None, keys: Sequence[str], spots: Any) -> HotPin:
    """The pin's metal: its hole filled with solder, or the middle of its land."""
    apart = np.hypot(spots[:, 0] - pin.x_mm, spots[:, 1] - pin.y_mm)
    apart = apart[apart > WINDOW_TOUCHES_MM]
    most = 0.45 * float(apart.min()) if len(apart) else 1.0
    lands = tuple(key for key, _ in place.lands) if place is not None else ()
    if pin.hole is not None:
        hole = board.holes[pin.hole]
        radius = hole.diameter_mm / 2
        sheets = tuple(range(len(keys))) if hole.plated else tuple(keys.index(key) for key in lands if key in keys)
    else:
        side = next((key for key in pin.layers if key in keys), keys[0])
        radius = 0.4 * _land_width(board, pin, side)
        sheets = (keys.index(side),)
    return HotPin(pin.x_mm, pin.y_mm, min(max(radius, SMALLEST_METAL_MM), most), sheets or (keys.index("s"),))


def _land_width(board: Board, pin: Pin, side: str) -> float:
    """The narrow side of the smallest piece of copper under a surface pin, in mm; 0.5 where none is found."""
    try:
        shapes = board.layer(side).shapes
    except KeyError:
        return 0.5
    box = shapes.bounds_mm()
    with np.errstate(invalid="ignore"):
        over = np.flatnonzero(
            (box[:, 0] <= pin.x_mm) & (box[:, 2] >= pin.x_mm) & (box[:, 1] <= pin.y_mm) & (box[:, 3] >= pin.y_mm)
        )
    wide = np.minimum(box[over, 2] - box[over, 0], box[over, 3] - box[over, 1])
    return float(wide.min()) if len(wide) else 0.5
