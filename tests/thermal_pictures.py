"""Thermal pictures of the demonstration board made for tests: bodies at stated temperatures, seen through a stated view, blurred, with noise."""

from __future__ import annotations

import io
from collections.abc import Mapping

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from coppermend.core.board.model import Board

Floats = NDArray[np.float64]


def view_of(board: Board, size: tuple[int, int]) -> Floats:
    """(3, 3) from mm to pixels: the board a little turned, in slight perspective, filling nine tenths of the picture."""
    every = np.concatenate(board.outline)
    x0, y0, x1, y1 = every[:, 0].min(), every[:, 1].min(), every[:, 0].max(), every[:, 1].max()
    k = 0.9 * min(size[0] / (x1 - x0), size[1] / (y1 - y0))
    c, s = np.cos(0.03), np.sin(0.03)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    middle = np.array([[1, 0, -(x0 + x1) / 2], [0, 1, -(y0 + y1) / 2], [0, 0, 1]])
    lean = np.array([[1, 0, 0], [0, 1, 0], [1e-4, -8e-5, 1]])
    return np.array([[k, 0, size[0] / 2], [0, -k, size[1] / 2], [0, 0, 1]]) @ lean @ turn @ middle


def seen_at(view: Floats, places: object) -> Floats:
    """Pixels (n, 2) of places in mm."""
    xy = np.atleast_2d(np.asarray(places, float))
    out = np.column_stack([xy, np.ones(len(xy))]) @ view.T
    return out[:, :2] / out[:, 2:]


def picture(
    board: Board, celsius: Mapping[str, float], air_c: float, size: tuple[int, int] = (320, 240), seed: int = 1
) -> tuple[Floats, Floats]:
    """A picture (h, w) in degC and its view. Parts not named are at the air's temperature plus 3 K, as the board is; 0.08 K noise (a common sensor's)."""
    view = view_of(board, size)
    over = 3
    gx, gy = np.meshgrid((np.arange(size[0] * over) + 0.5) / over - 0.5, (np.arange(size[1] * over) + 0.5) / over - 0.5)
    at = seen_at(np.linalg.inv(view), np.column_stack([gx.ravel(), gy.ravel()]))
    every = np.concatenate(board.outline)
    on = (at >= every.min(axis=0)).all(axis=1) & (at <= every.max(axis=0)).all(axis=1)
    made = np.where(on, air_c + 3.0, air_c)
    for part in board.parts:
        if part.ref in celsius and part.side == "c":
            made[shapely.contains_xy(shapely.Polygon(part.outline), at[:, 0], at[:, 1])] = celsius[part.ref]
    # the board round the bodies glows: part of what they give, spread over some 12 mm (not the tool's own model)
    px_per_mm = np.sqrt(abs(np.linalg.det(view[:2, :2])))
    glow = ndimage.gaussian_filter(
        (made - air_c).reshape(size[1] * over, size[0] * over), 12.0 * px_per_mm * over
    ).ravel()
    bare = on & (made == air_c + 3.0)
    made = np.where(bare, air_c + 1.0 + 0.7 * glow, made)
    fine = ndimage.gaussian_filter(made.reshape(size[1] * over, size[0] * over), 0.7 * over)
    small = fine.reshape(size[1], over, size[0], over).mean(axis=(1, 3))
    return small + np.random.default_rng(seed).normal(0, 0.08, small.shape), view


def csv_of(celsius: Floats, sep: str = ",", comma: bool = False) -> bytes:
    """The picture as a table of text with two lines of words above."""
    rows = [sep.join(f"{v:.2f}" for v in row) for row in celsius]
    text = "\n".join(rows)
    return ("Camera\nDate\n" + (text.replace(".", ",") if comma else text)).encode()


def tiff_of(values: NDArray[np.float32] | NDArray[np.uint16]) -> bytes:
    """The picture as TIFF, 32-bit floating point or 16-bit whole numbers."""
    out = io.BytesIO()
    Image.fromarray(values).save(out, "TIFF")
    return out.getvalue()


def png_of(celsius: Floats, low_c: float, high_c: float) -> tuple[bytes, tuple[str, str]]:
    """The picture in colours from black over purple and orange to white, with its bar right of it; and the two marks on the bar."""
    stops = np.array([[0, 0, 0], [70, 0, 120], [220, 60, 40], [255, 190, 20], [255, 255, 255]], float)
    high, wide = celsius.shape
    share = np.clip((celsius - low_c) / (high_c - low_c), 0, 1)
    bar = np.repeat(np.linspace(1, 0, high)[:, None], 16, axis=1)
    both = np.hstack([share, np.full((high, 4), 0.5), bar])
    at = np.arange(len(stops)) / (len(stops) - 1)
    colours = np.stack([np.interp(both, at, stops[:, c]) for c in range(3)], axis=2).round().astype(np.uint8)
    colours[:, wide : wide + 4] = (0, 120, 0)
    out = io.BytesIO()
    Image.fromarray(colours).save(out, "PNG")
    x = wide + 11
    return out.getvalue(), (f"{x},0={high_c}", f"{x},{high - 1}={low_c}")
