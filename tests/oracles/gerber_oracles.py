"""Two independent Gerber libraries as oracles: their parse, turned into an area (gerbonara) or pixels (pygerber)."""

from __future__ import annotations

import io
import math
import warnings
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from coppermend.formats.gerber import GerberImage

SEGMENTS = 64


def paint(pieces: Iterable[tuple[bool, Any]]) -> Any:
    """Polygons painted one after the other: dark adds, clear takes away."""
    area: Any = shapely.Polygon()
    run: list[Any] = []
    mode = True
    for dark, polygon in pieces:
        if dark != mode:
            area, run, mode = _apply(area, run, mode), [], dark
        run.append(polygon)
    return _apply(area, run, mode)


def _apply(area: Any, run: list[Any], dark: bool) -> Any:
    if not run:
        return area
    merged = shapely.union_all(run)
    return shapely.union(area, merged) if dark else shapely.difference(area, merged)


def ours(image: GerberImage, segments: int = SEGMENTS) -> Any:
    """Our image as one area."""
    return paint(zip(image.dark.tolist(), image.shapes.polygons(segments), strict=True))


# ---- gerbonara ----
def gerbonara_area(text: str, segments: int = SEGMENTS) -> Any:
    """The area gerbonara's parser sees. Two of its faults are gone round: its own conversion to polygons makes wrong ones of
    turned rectangles (polygons are made here), and it flashes macro polygons at the origin (flashes are made there and moved here)."""
    from gerbonara import GerberFile
    from gerbonara.utils import MM

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        parsed = GerberFile.from_string(text)
        return paint(piece for o in parsed.objects for piece in _gerbonara_pieces(o, MM, segments))


def _gerbonara_pieces(thing: Any, unit: Any, segments: int) -> Iterable[tuple[bool, Any]]:
    if type(thing).__name__ != "Flash":
        return [(p.polarity_dark, _gerbonara_polygon(p, segments)) for p in thing.to_primitives(unit)]
    at = thing.converted(unit)
    flashed = thing.aperture.flash(0, 0, unit, thing.polarity_dark)
    return [(p.polarity_dark, shapely.affinity.translate(_gerbonara_polygon(p, segments), at.x, at.y)) for p in flashed]


def _gerbonara_polygon(p: Any, segments: int) -> Any:
    kind = type(p).__name__
    if kind == "Circle":
        return shapely.Point(p.x, p.y).buffer(p.r, quad_segs=segments)
    if kind == "Line":
        if (p.x1, p.y1) == (p.x2, p.y2):
            return shapely.Point(p.x1, p.y1).buffer(p.width / 2, quad_segs=segments)
        return shapely.LineString([(p.x1, p.y1), (p.x2, p.y2)]).buffer(p.width / 2, quad_segs=segments)
    if kind == "Rectangle":
        c, s = math.cos(p.rotation), math.sin(p.rotation)
        corners = [(-p.w / 2, -p.h / 2), (p.w / 2, -p.h / 2), (p.w / 2, p.h / 2), (-p.w / 2, p.h / 2)]
        return shapely.Polygon([(p.x + a * c - b * s, p.y + a * s + b * c) for a, b in corners])
    if kind == "Arc":
        line = _arc((p.x1, p.y1), (p.x2, p.y2), (p.cx, p.cy), p.clockwise)
        return shapely.LineString(line).buffer(p.width / 2, quad_segs=segments)
    if kind == "ArcPoly":
        return _arc_poly(p)
    raise NotImplementedError(kind)


def _arc(
    a: tuple[float, float], b: tuple[float, float], c: tuple[float, float], clockwise: bool
) -> list[tuple[float, float]]:
    start, end = math.atan2(a[1] - c[1], a[0] - c[0]), math.atan2(b[1] - c[1], b[0] - c[0])
    sweep = (start - end if clockwise else end - start) % (2 * math.pi)
    if math.dist(a, b) < 1e-9 or sweep < 1e-12:
        sweep = 2 * math.pi
    r = math.dist(a, c)
    angles = [start + (-1 if clockwise else 1) * sweep * k / 256 for k in range(257)]
    return [a, *((c[0] + r * math.cos(t), c[1] + r * math.sin(t)) for t in angles[1:-1]), b]


def _arc_poly(p: Any) -> Any:
    points: list[tuple[float, float]] = []
    outline = [tuple(q) for q in p.outline]
    centers = list(p.arc_centers or []) + [None] * len(outline)
    for n, a in enumerate(outline):
        b = outline[(n + 1) % len(outline)]
        arc = centers[n]
        if arc is None or a == b:
            points.append(a)
        else:
            clockwise, centre = arc
            points.extend(_arc(a, b, tuple(centre), clockwise)[:-1])
    return shapely.make_valid(shapely.Polygon(points)) if len(points) > 2 else shapely.Polygon()


# ---- pygerber ----
class Pixels:
    """pygerber's raster of a file: ``dark(points)`` says for (n, 2) points in mm whether their pixel is copper."""

    def __init__(self, text: str, dots_per_mm: int) -> None:
        from PIL import Image
        from pygerber.gerberx3.api.v2 import ColorScheme, GerberFile, ImageFormatEnum

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            parsed = GerberFile.from_str(text).parse()
            info = parsed.get_info()
            out = io.BytesIO()
            parsed.render_raster(
                out, dpmm=dots_per_mm, image_format=ImageFormatEnum.PNG, color_scheme=ColorScheme.DEBUG_1_ALPHA
            )
        self.dots = dots_per_mm
        picture = np.asarray(Image.open(io.BytesIO(out.getvalue())).convert("RGBA"))
        self.copper = (picture[:, :, :3].astype(int).sum(axis=2) > 0) & (picture[:, :, 3] > 0)
        self.x0, self.y1 = float(info.min_x_mm), float(info.max_y_mm)

    def dark(self, xy: NDArray[np.float64]) -> NDArray[np.bool_]:
        """(n,) bool."""
        column = np.floor((xy[:, 0] - self.x0) * self.dots).astype(int)
        row = np.floor((self.y1 - xy[:, 1]) * self.dots).astype(int)
        inside = (column >= 0) & (row >= 0) & (column < self.copper.shape[1]) & (row < self.copper.shape[0])
        out = np.zeros(len(xy), dtype=bool)
        out[inside] = self.copper[row[inside], column[inside]]
        return out


def scatter(area: Any, count: int, away_mm: float, seed: int = 7) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Random points of the area's box (a little larger), none nearer than ``away_mm`` to its edge, and whether each is inside."""
    x0, y0, x1, y1 = area.bounds
    rng = np.random.default_rng(seed)
    xy = rng.uniform((x0 - 0.3, y0 - 0.3), (x1 + 0.3, y1 + 0.3), (count, 2))
    points = shapely.points(xy)
    shapely.prepare(area)
    edge = shapely.boundary(area)
    shapely.prepare(edge)
    keep = ~shapely.dwithin(points, edge, away_mm)
    return xy[keep], shapely.contains(area, points[keep])
