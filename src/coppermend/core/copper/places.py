"""A place on the board in words that a person at the bench finds again: under which part, between which, near which pin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.model import Board

PIN_NEAR_MM = 6.0
"""A pin at most this far away names a place under its part; about two pin pitches. Our choice."""
BESIDE_MM = 3.0
"""A place at most this far from a pin is "by" that pin. Our choice."""
PARTS_NEAR = 6
AT_ONCE = 1000
"""Places asked together: bounds the memory."""
STEP_MM = 0.4
"""A shorter step has no direction that a person could tell by eye. Our choice."""

LAYER_WORDS = {"c": "component side", "s": "solder side"}


def layer_words(key: str) -> str:
    """A layer key in words.

    >>> layer_words("s"), layer_words("i2")
    ('solder side', 'inner layer 2')
    """
    return LAYER_WORDS.get(key) or f"inner layer {key[1:]}"


def mm_words(length_mm: float) -> str:
    """A length as a person says it: whole millimetres from 10 mm on, one decimal below.

    >>> mm_words(23.4), mm_words(0.3), mm_words(2.54)
    ('23', '0.3', '2.5')
    """
    return f"{length_mm:.0f}" if length_mm >= 10 else f"{length_mm:.1f}"


def towards_words(dx_mm: float, dy_mm: float) -> str:
    """The way of a step as a person says it, y upwards on the component side; "" for one under 0.4 mm, too short to have a direction.

    Left and right change places when the board is turned over, so they come with the side they are seen on.

    >>> towards_words(0.2, 3.0), towards_words(-2.0, -2.0), towards_words(0.1, 0.1)
    (' towards the top', ' towards bottom left as seen on the component side', '')
    """
    far = math.hypot(dx_mm, dy_mm)
    if far < STEP_MM:
        return ""
    level = "" if abs(dx_mm) < 0.4 * far else ("right" if dx_mm > 0 else "left")
    upright = "" if abs(dy_mm) < 0.4 * far else ("top" if dy_mm > 0 else "bottom")
    way = f" towards {upright} {level}" if level and upright else f" towards the {level or upright}"
    return f"{way} as seen on the component side" if level else way


class Places:
    """Names places on one board; build it once, ask often."""

    def __init__(self, board: Board) -> None:
        from scipy.spatial import cKDTree  # here: the layer words of this module are wanted where no tree is

        self.parts = [p for p in board.parts if p.pins]
        rings = [p.outline if len(p.outline) >= 4 else None for p in self.parts]
        self.shapes: NDArray[Any] = np.array(
            [
                shapely.Polygon(ring)
                if ring is not None
                else shapely.MultiPoint([(q.x_mm, q.y_mm) for q in part.pins]).convex_hull
                for part, ring in zip(self.parts, rings, strict=True)
            ],
            dtype=object,
        )
        self.area: list[float] = shapely.area(self.shapes).tolist()
        self.tree = shapely.STRtree(self.shapes) if len(self.shapes) else None
        self.pins = [pin for part in self.parts for pin in part.pins]
        self.pin_tree = cKDTree(np.array([(p.x_mm, p.y_mm) for p in self.pins])) if self.pins else None
        self._pins_of: dict[str, tuple[list[str], NDArray[np.float64]]] = {}
        self._said: dict[tuple[float, float], str] = {}
        self._under: dict[tuple[float, float], str] = {}
        self._near: dict[tuple[float, float], tuple[float, int]] = {}
        box = shapely.bounds(self.shapes).reshape(-1, 4)
        self._low, self._high = box[:, :2], box[:, 2:]

    def covering(self, x_mm: float, y_mm: float, side: str) -> str:
        """The part on that side whose outline covers the place, "" where none does; the smallest when several do."""
        return self.all_covering([(x_mm, y_mm)], side)[0]

    def all_covering(self, xy_mm: Sequence[tuple[float, float]], side: str) -> list[str]:
        """``covering`` for many places at once."""
        out = [""] * len(xy_mm)
        if self.tree is None or not len(xy_mm):
            return out
        spot, part = self.tree.query(shapely.points(np.asarray(xy_mm, dtype=np.float64)), predicate="within")
        least = [math.inf] * len(xy_mm)
        for k, n in sorted(zip(spot.tolist(), part.tolist(), strict=True)):
            if self.parts[n].side == side and 0 < self.area[n] < least[k]:
                least[k], out[k] = self.area[n], self.parts[n].ref
        return out

    def words(self, x_mm: float, y_mm: float) -> str:
        """The place in words: "under U14 near pin 6", "by U9.4", "between U9 and U14", "near U9"; coordinates where no part is known."""
        key = (x_mm, y_mm)
        if key not in self._said:
            self._said[key] = self._words(x_mm, y_mm)
        return self._said[key]

    def from_pin(self, x_mm: float, y_mm: float) -> str:
        """The place measured from the pin nearest to it: "2.3 mm from U14.6 towards the top"; tells apart places that ``words`` calls alike."""
        if self.pin_tree is None:
            return f"at {x_mm:.1f}, {y_mm:.1f} mm"
        far, k = self._nearest(x_mm, y_mm)
        pin = self.pins[k]
        return f"{far:.1f} mm from {pin.name}{towards_words(x_mm - pin.x_mm, y_mm - pin.y_mm)}"

    def _nearest(self, x_mm: float, y_mm: float) -> tuple[float, int]:
        """How far the nearest pin is, mm, and its number in ``pins``."""
        if (x_mm, y_mm) not in self._near:
            self._find_pins([(x_mm, y_mm)])
        return self._near[x_mm, y_mm]

    def _find_pins(self, spots: Sequence[tuple[float, float]]) -> None:
        if self.pin_tree is not None and len(spots):
            far, k = self.pin_tree.query(np.asarray(spots, dtype=np.float64))
            self._near.update(zip(spots, zip(far.tolist(), k.tolist(), strict=True), strict=True))

    def prepare(self, xy_mm: Sequence[tuple[float, float]]) -> None:
        """Find the parts over many places and the pins nearest to them at once, so that the words of them cost less."""
        spots = list(dict.fromkeys((float(x), float(y)) for x, y in xy_mm))
        both = zip(self.all_covering(spots, "c"), self.all_covering(spots, "s"), strict=True)
        self._under.update(zip(spots, (front or back for front, back in both), strict=True))
        self._find_pins(spots)
        if self.tree is not None and self.pin_tree is not None:
            between = [at for at in spots if not self._under[at] and self._near[at][0] > BESIDE_MM]
            self._said.update(zip(between, self._all_between(between), strict=True))

    def _words(self, x: float, y: float) -> str:
        if self.tree is None or self.pin_tree is None:
            return f"at {x:.1f}, {y:.1f} mm"
        if (x, y) not in self._under:
            self.prepare([(x, y)])
        under = self._under[x, y]
        if under:
            return f"under {under}{self._pin_of(under, x, y)}"
        far, k = self._nearest(x, y)
        if far <= BESIDE_MM:
            return f"by {self.pins[k].name}"
        return self._all_between([(x, y)])[0]

    def _pin_of(self, ref: str, x: float, y: float) -> str:
        if ref not in self._pins_of:
            part = next(p for p in self.parts if p.ref == ref)
            pins = sorted(part.pins, key=lambda p: p.number)
            self._pins_of[ref] = [p.number for p in pins], np.array([(p.x_mm, p.y_mm) for p in pins])
        numbers, at = self._pins_of[ref]
        far = np.hypot(at[:, 0] - x, at[:, 1] - y)
        k = int(far.argmin())
        return f" near pin {numbers[k]}" if far[k] <= PIN_NEAR_MM else ""

    def _all_between(self, xy_mm: Sequence[tuple[float, float]]) -> list[str]:
        """For places that no part covers: the nearest part, and the next one that lies on the other side of the place."""
        out: list[str] = []
        for k in range(0, len(xy_mm), AT_ONCE):
            xy = np.asarray(xy_mm[k : k + AT_ONCE], dtype=np.float64)
            spots = shapely.points(xy)
            order = self._parts_near(xy, spots)
            lines = shapely.shortest_line(spots[:, None], self.shapes[order])
            way = shapely.get_coordinates(lines)[1::2].reshape(*order.shape, 2) - xy[:, None]
            across = (way[:, :1] * way).sum(axis=2) < 0.0
            second = np.where(across.any(axis=1), across.argmax(axis=1), -1)
            for row, n in zip(order.tolist(), second.tolist(), strict=True):
                first = self.parts[row[0]].ref
                out.append(f"near {first}" if n < 0 else f"between {first} and {self.parts[row[n]].ref}")
        return out

    def _parts_near(self, xy: NDArray[np.float64], spots: NDArray[Any]) -> NDArray[np.int64]:
        """(n, up to ``PARTS_NEAR``) parts whose outlines are nearest to each place, the nearest first; boxes tell which outlines need be asked."""
        count, asked = len(self.shapes), 3 * PARTS_NEAR
        if count <= asked:
            return self._by_distance(spots, np.broadcast_to(np.arange(count), (len(xy), count)))[0]
        at = xy[:, None]
        gap = np.maximum(np.maximum(self._low - at, at - self._high), 0.0)
        least = np.hypot(gap[..., 0], gap[..., 1])
        split = np.argpartition(least, asked, axis=1)
        order, far = self._by_distance(spots, np.sort(split[:, :asked], axis=1))
        unsure = np.flatnonzero(far >= least[np.arange(len(xy)), split[:, asked]])
        if len(unsure):
            order[unsure] = self._by_distance(spots[unsure], np.broadcast_to(np.arange(count), (len(unsure), count)))[0]
        return order

    def _by_distance(
        self, spots: NDArray[Any], parts: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Of each place's parts the nearest ones in order, and how far the last of them is."""
        far = shapely.distance(self.shapes[parts], spots[:, None])
        order = np.argsort(far, axis=1, kind="stable")[:, :PARTS_NEAR]
        return np.take_along_axis(parts, order, axis=1), np.take_along_axis(far, order[:, -1:], axis=1)[:, 0]
