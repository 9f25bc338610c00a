"""What a photo of a board's side should show, in grey and in round things: what a registration compares the photo with."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from coppermend.core.board.model import Board, Hole
from coppermend.core.geometry.register import Drawing
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.services.scene import bounds_mm

PER_MM = 5.0
MOST_PX = 2600
OVER = 2
"""The picture is drawn this many times larger and made smaller, so that fine tracks have their right weight."""
MASK, COPPER, LAMINATE, TIN, HOLE, PRINT = 70, 105, 150, 200, 20, 225
"""Grey of green mask, of copper under it, of bare laminate, tinned metal, a hole, print. Only the order matters to the comparison."""
PART_GROWS_MM = 0.6
ROUND_MM = (0.25, 2.6)


def drawing_of(board: Board) -> Drawing:
    """Circles and grey pictures of both outer sides of a board (see ``Drawing``)."""
    box = bounds_mm(board)
    per_mm = min(PER_MM, MOST_PX / max(box[2] - box[0], box[3] - box[1], 1.0))
    sides = [one.key for one in board.layers if one.key in ("c", "s")]
    return Drawing(
        circles_of(board),
        {side: _grey(board, side, box, per_mm) for side in sides},
        {side: _bare(board, side, box, per_mm) for side in sides},
        box,
        per_mm,
    )


def circles_of(board: Board) -> NDArray[np.float64]:
    """Round lands and holes: (n, 4) x, y, land radius, hole radius in mm; a land on both sides once."""
    holes = {(round(h.x_mm, 2), round(h.y_mm, 2)): h.diameter_mm / 2 for h in board.holes if _is_round(h)}
    rows: dict[tuple[float, float], list[float]] = {}
    for layer in board.layers:
        if layer.key not in ("c", "s"):
            continue
        point = shapely.get_type_id(layer.shapes.skeleton) == 0
        radius = layer.shapes.radius_mm[point]
        for (x, y), land in zip(shapely.get_coordinates(layer.shapes.skeleton[point]), radius, strict=True):
            if ROUND_MM[0] <= land <= ROUND_MM[1]:
                key = (round(float(x), 2), round(float(y), 2))
                rows.setdefault(key, [float(x), float(y), float(land), holes.get(key, 0.0)])
    for key, hole in holes.items():
        if key not in rows and ROUND_MM[0] <= hole <= ROUND_MM[1]:
            rows[key] = [*key, 0.0, hole]
    return np.array(list(rows.values()), dtype=np.float64).reshape(-1, 4)


def _is_round(hole: Hole) -> bool:
    return abs(hole.x_mm - hole.x2_mm) + abs(hole.y_mm - hole.y2_mm) < 1e-6


class _Paper:
    """A grey picture drawn in mm."""

    def __init__(self, box: tuple[float, float, float, float], per_mm: float, ground: int) -> None:
        self.x0, self.y1, self.k = box[0], box[3], per_mm * OVER
        self.size = (max(2, round((box[2] - box[0]) * per_mm)), max(2, round((box[3] - box[1]) * per_mm)))
        self.image = Image.new("L", (self.size[0] * OVER, self.size[1] * OVER), ground)
        self.pen = ImageDraw.Draw(self.image)

    def px(self, coords: Any) -> list[tuple[float, float]]:
        """mm to px of the large picture."""
        return [((x - self.x0) * self.k - 0.5, (self.y1 - y) * self.k - 0.5) for x, y in np.asarray(coords)[:, :2]]

    def disc(self, x: float, y: float, r: float, grey: int) -> None:
        """A filled circle."""
        ((u, v),) = self.px([(x, y)])
        self.pen.ellipse((u - r * self.k, v - r * self.k, u + r * self.k, v + r * self.k), fill=grey)

    def shapes(self, shapes: ShapeSet, grey: int) -> None:
        """Shapes in one grey."""
        for skeleton, radius in zip(shapes.skeleton, shapes.radius_mm, strict=True):
            for one in shapely.get_parts(skeleton):
                self._shape(one, float(radius), grey)

    def _shape(self, one: Any, radius: float, grey: int) -> None:
        if one.is_empty:
            return
        if one.geom_type == "Point":
            self.disc(one.x, one.y, radius, grey)
        elif one.geom_type in ("LineString", "LinearRing"):
            corners = list(one.coords)
            self.pen.line(self.px(corners), fill=grey, width=max(1, round(2 * radius * self.k)), joint="curve")
            for x, y in (corners[0], corners[-1]):
                self.disc(x, y, radius, grey)
        elif one.geom_type == "Polygon":
            grown = one.buffer(radius) if radius > 0 else one
            for area in shapely.get_parts(grown):
                self.pen.polygon(self.px(area.exterior.coords), fill=grey)
                for ring in area.interiors:  # what lies inside a pour's hole is drawn after it
                    self.pen.polygon(self.px(ring.coords), fill=MASK)

    def done(self) -> NDArray[np.float32]:
        """The picture at its own size, 0 to 1."""
        small = self.image.resize(self.size, Image.Resampling.BOX)
        return np.asarray(small, dtype=np.float32) / 255.0


def _grey(board: Board, side: str, box: tuple[float, float, float, float], per_mm: float) -> NDArray[np.float32]:
    openings = dict(board.mask_openings).get(side)
    paper = _Paper(box, per_mm, MASK if openings is not None else LAMINATE)
    layer = next(one for one in board.layers if one.key == side)
    areas = shapely.get_type_id(layer.shapes.skeleton) >= 3
    for part in (layer.shapes.take(areas), layer.shapes.take(~areas)):
        paper.shapes(part, COPPER if openings is not None else TIN)
    if openings is not None:
        paper.shapes(openings, TIN)
    silk = dict(board.silk).get(side)
    if silk is not None:
        paper.shapes(silk, PRINT)
    for hole in board.holes:
        paper.disc(hole.x_mm, hole.y_mm, hole.diameter_mm / 2, HOLE)
    return paper.done()


def _bare(board: Board, side: str, box: tuple[float, float, float, float], per_mm: float) -> NDArray[np.bool_]:
    """Where no part stands on that side."""
    paper = _Paper(box, per_mm, 255)
    for part in board.parts:
        if part.side == side and len(part.outline) >= 3:
            around = shapely.Polygon(part.outline).buffer(PART_GROWS_MM)
            if not around.is_empty and around.geom_type == "Polygon":
                paper.pen.polygon(paper.px(around.exterior.coords), fill=0)
    return np.asarray(paper.done() > 0.5, dtype=np.bool_)
