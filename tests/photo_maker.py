"""Photos of a board made by a pinhole camera with a lens, a lamp and grain, by formulas of their own: truth known for every pixel.

The camera: board point (X, Y, 0) seen from a position above it, focal length in px; the lens bends the ideal image point outwards to inwards by Brown's
radial series x_d = x (1 + k1 r^2 + k2 r^4) with r in focal lengths (D. C. Brown, 1971, from memory). Nothing of the code under test is used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage

from coppermend.core.board.model import Board

Floats = NDArray[np.float64]
COLOURS = {
    "mask": (28, 92, 60), "copper": (52, 132, 88), "tin": (205, 205, 198), "laminate": (170, 150, 95), "hole": (18, 15, 14),
    "print": (232, 230, 215), "chip": (38, 36, 38), "leg": (190, 190, 186),
}  # fmt: skip


@dataclass(frozen=True)
class Shot:
    """How a photo is taken. Angles in degrees; ``k1, k2`` of Brown's series (below 0: barrel); ``away_mm`` of the camera; size in px."""

    size: tuple[int, int] = (2400, 1800)
    tilt: float = 9.0
    lean: float = -6.0
    turn: float = 4.0
    away_mm: float = 420.0
    fill: float = 0.9
    k1: float = -0.06
    k2: float = 0.01
    blur_px: float = 0.7
    motion_px: int = 0
    grain: float = 0.02
    shade: float = 0.35
    glare: bool = True
    mirrored: bool = False
    seed: int = 3


def picture_of(
    board: Board, side: str, per_mm: float = 12.0, colours: dict[str, Any] | None = None
) -> tuple[Image.Image, tuple[float, float, float, float]]:
    """The side in colours, laid along the board's axes as seen from the component side, with parts, legs and uneven solder; and the box it covers."""
    c = {**COLOURS, **(colours or {})}
    rng = np.random.default_rng(1)
    ring = np.vstack([o for o in board.outline if len(o)])
    x0, y0, x1, y1 = *ring.min(axis=0), *ring.max(axis=0)
    image = Image.new("RGB", (round((x1 - x0) * per_mm), round((y1 - y0) * per_mm)), c["mask"])
    pen = ImageDraw.Draw(image)

    def at(x: float, y: float) -> tuple[float, float]:
        return (x - x0) * per_mm, (y1 - y) * per_mm

    def disc(x: float, y: float, r: float, fill: Any) -> None:
        u, v = at(x, y)
        pen.ellipse((u - r * per_mm, v - r * per_mm, u + r * per_mm, v + r * per_mm), fill=fill)

    def put(shapes: Any, fill: Any, uneven: float = 0.0) -> None:
        for geometry, radius in zip(shapes.skeleton, shapes.radius_mm, strict=True):
            for one in shapely.get_parts(geometry):
                tone = tuple(int(v + uneven * rng.normal()) for v in fill)
                if one.geom_type == "Point":
                    disc(one.x, one.y, radius, tone)
                elif one.geom_type == "LineString":
                    pen.line([at(*xy) for xy in one.coords], fill=tone, width=max(1, round(2 * radius * per_mm)))
                    for xy in (one.coords[0], one.coords[-1]):
                        disc(*xy, radius, tone)
                else:
                    pen.polygon([at(*xy) for xy in one.buffer(max(radius, 1e-6)).exterior.coords], fill=tone)

    layer = next(one for one in board.layers if one.key == side)
    put(layer.shapes, c["copper"])
    put(dict(board.mask_openings)[side], c["tin"], 12.0)
    if side in dict(board.silk):
        put(dict(board.silk)[side], c["print"])
    for hole in board.holes:
        disc(hole.x_mm, hole.y_mm, hole.diameter_mm / 2, c["hole"])
    for part in board.parts:
        for pin in part.pins:
            if side == "s":
                disc(pin.x_mm + 0.05 * rng.normal(), pin.y_mm + 0.05 * rng.normal(), 0.45, c["leg"])
            else:
                disc(pin.x_mm, pin.y_mm, 0.4, c["leg"])
        if part.side == side and len(part.pins) >= 8:
            xy = np.array([(p.x_mm, p.y_mm) for p in part.pins])
            lo, hi = xy.min(axis=0), xy.max(axis=0)
            inset = np.where((hi - lo == (hi - lo).min()) & (hi - lo > 5.0), 1.2, -0.6)
            pen.rectangle(
                (*at(lo[0] + inset[0], hi[1] - inset[1]), *at(hi[0] - inset[0], lo[1] + inset[1])), fill=c["chip"]
            )
    return image, (float(x0), float(y0), float(x1), float(y1))


def _camera(shot: Shot, box: tuple[float, float, float, float]) -> tuple[Floats, Floats, float]:
    """Rotation (3, 3), board middle, focal length in px that lets the board fill the picture."""
    t, n, r = (math.radians(a) for a in (shot.tilt, shot.lean, shot.turn))
    about_x = np.array([[1, 0, 0], [0, math.cos(t), -math.sin(t)], [0, math.sin(t), math.cos(t)]])
    about_y = np.array([[math.cos(n), 0, math.sin(n)], [0, 1, 0], [-math.sin(n), 0, math.cos(n)]])
    about_z = np.array([[math.cos(r), -math.sin(r), 0], [math.sin(r), math.cos(r), 0], [0, 0, 1]])
    middle = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])
    share = min(shot.size[0] / (box[2] - box[0]), shot.size[1] / (box[3] - box[1]))
    return about_z @ about_x @ about_y, middle, shot.fill * share * shot.away_mm


def project(shot: Shot, box: tuple[float, float, float, float], places: Any, side: str) -> Floats:
    """Pixels (n, 2) of board places (mm) in the photo: pinhole, then the lens."""
    turn, middle, focal = _camera(shot, box)
    xy = np.asarray(places, dtype=np.float64).reshape(-1, 2) - middle
    if (side == "s") != shot.mirrored:
        xy = xy * np.array([-1.0, 1.0])  # the board turned over
    seen = np.column_stack([xy, np.zeros(len(xy))]) @ turn.T
    depth = shot.away_mm - seen[:, 2]
    x, y = seen[:, 0] / depth, -seen[:, 1] / depth
    square = x * x + y * y
    bend = (
        1.0 + shot.k1 * square / 0.09 + shot.k2 * (square / 0.09) ** 2
    )  # r in units of 0.3 focal lengths: about the picture's corner
    return np.column_stack([shot.size[0] / 2 + focal * x * bend, shot.size[1] / 2 + focal * y * bend])


def photograph(board: Board, side: str, shot: Shot, colours: dict[str, Any] | None = None) -> NDArray[np.uint8]:
    """The photo (h, w, 3). Every pixel is taken back to the board by inverting ``project`` on a grid."""
    image, box = picture_of(board, side, colours=colours)
    per_mm = image.size[0] / (box[2] - box[0])
    w, h = shot.size
    # invert the projection: fixed-point on the ideal (unbent) point, then the homography of a plane by four corners of its own
    gx, gy = np.meshgrid(np.arange(0, w + 16, 16), np.arange(0, h + 16, 16))
    flat = replace(shot, k1=0.0, k2=0.0)
    _, _, focal = _camera(shot, box)
    dx, dy = (gx - w / 2) / focal, (gy - h / 2) / focal
    x, y = dx.copy(), dy.copy()
    for _ in range(30):
        square = (x * x + y * y) / 0.09
        bend = 1.0 + shot.k1 * square + shot.k2 * square**2
        x, y = dx / bend, dy / bend
    corners = np.array([(box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])])
    px = project(flat, box, corners, side)
    rows = []
    for (u, v), (a, b) in zip((px - [w / 2, h / 2]) / focal, corners, strict=True):
        rows += [[u, v, 1, 0, 0, 0, -a * u, -a * v, a], [0, 0, 0, u, v, 1, -b * u, -b * v, b]]
    system = np.array(rows)
    m = np.append(np.linalg.solve(system[:, :8], system[:, 8]), 1.0).reshape(3, 3)
    board_xyz = np.stack([x, y, np.ones_like(x)], axis=-1) @ m.T
    mm = board_xyz[..., :2] / board_xyz[..., 2:]
    scale = (np.arange(h)[:, None] / 16, np.arange(w)[None, :] / 16)
    grid = np.broadcast_arrays(*scale)
    bx, by = (ndimage.map_coordinates(mm[..., k], grid, order=1) for k in (0, 1))
    at = [(box[3] - by) * per_mm - 0.5, (bx - box[0]) * per_mm - 0.5]
    source = np.asarray(image, dtype=np.float32) / 255.0
    shrink = max(0.0, per_mm * shot.away_mm / focal)
    if shrink > 1.3:
        source = ndimage.gaussian_filter(source, (0.4 * shrink, 0.4 * shrink, 0))
    rng = np.random.default_rng(shot.seed)
    bench = np.array([0.55, 0.47, 0.38], dtype=np.float32)
    out = np.empty((h, w, 3), dtype=np.float32)
    off = (bx < box[0]) | (bx > box[2]) | (by < box[1]) | (by > box[3])
    for k in range(3):
        out[..., k] = ndimage.map_coordinates(source[..., k], at, order=1, mode="nearest")
        out[..., k][off] = bench[k]
    ys, xs = np.mgrid[0:h, 0:w].astype(np.float32)
    out *= (1.0 - shot.shade * (0.6 * xs / w + 0.4 * ((ys / h) - 0.5) ** 2 * 4))[..., None]
    if shot.glare:
        out += 0.5 * np.exp(-(((xs - 0.3 * w) / (0.07 * w)) ** 2 + ((ys - 0.35 * h) / (0.05 * h)) ** 2))[..., None]
    if shot.motion_px > 1:
        out = ndimage.uniform_filter1d(out, shot.motion_px, axis=1)
    if shot.blur_px > 0:
        out = ndimage.gaussian_filter(out, (shot.blur_px, shot.blur_px, 0))
    out += rng.normal(0.0, shot.grain, out.shape).astype(np.float32)
    return (np.clip(out, 0.0, 1.0) * 255).astype(np.uint8)
