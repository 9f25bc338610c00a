"""A flat thing seen by a camera: the mapping between picture pixels and board millimetres, from four or more marked points.

The direct linear transform with normalised points (R. Hartley, "In defense of the eight-point algorithm", IEEE PAMI 19 (1997) 580; the method is
in Hartley and Zisserman, Multiple View Geometry, section 4.4). With four points it is exact, with more it is the algebraic least squares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.findings import refuse

Points = Sequence[tuple[float, float]]
MARKS = 4
"""A plane seen in perspective has eight unknowns; each mark gives two."""
DEGENERATE = 1e-7
"""Below this share of the largest singular value the marks fix no view: three of them lie on one line, or two are one."""


@dataclass(frozen=True, slots=True)
class Homography:
    """``matrix`` (3, 3) from the first plane to the second, last element of unit scale; ``residual`` root mean square and ``worst`` of the marks, in
    the second plane's unit; ``worst_mark`` its index from 0."""

    matrix: NDArray[np.float64]
    residual: float
    worst: float
    worst_mark: int

    def apply(self, points: Points | NDArray[np.float64]) -> NDArray[np.float64]:
        """The points (n, 2) in the second plane."""
        return mapped(self.matrix, points)

    def inverse(self) -> NDArray[np.float64]:
        """The matrix (3, 3) back from the second plane to the first."""
        back = np.linalg.inv(self.matrix)
        return np.asarray(back / back[2, 2], dtype=np.float64)


def mapped(matrix: NDArray[np.float64], points: Points | NDArray[np.float64]) -> NDArray[np.float64]:
    """Points (n, 2) through a homography matrix (3, 3)."""
    xy = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    out = np.column_stack([xy, np.ones(len(xy))]) @ matrix.T
    return np.asarray(out[:, :2] / out[:, 2:3], dtype=np.float64)


def homography(first: Points, second: Points) -> Homography:
    """The mapping that takes the marks ``first`` (n >= 4, such as pixels) to ``second`` (such as mm), by least squares.

    Refusal MAP-001 with fewer than four marks, MAP-002 when they fix no view (three on one line, two at one place).

    >>> h = homography([(0, 0), (100, 0), (100, 100), (0, 100)], [(0, 50), (50, 50), (50, 0), (0, 0)])
    >>> [round(float(v), 6) for v in h.apply([(50, 50)])[0]], round(h.residual, 9)
    ([25.0, 25.0], 0.0)
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if len(a) < MARKS or a.shape != b.shape:
        raise refuse(
            "MAP-001",
            f"A photo needs at least {MARKS} marked points, found {len(a)}.",
            "Mark points far apart, such as pin 1 and the last pin of both rows of two large chips.",
        )
    to_a, to_b = _normal(a), _normal(b)
    p, q = mapped(to_a, a), mapped(to_b, b)
    rows = []
    for (x, y), (u, v) in zip(p, q, strict=True):
        rows.append([-x, -y, -1, 0, 0, 0, u * x, u * y, u])
        rows.append([0, 0, 0, -x, -y, -1, v * x, v * y, v])
    _, sizes, right = np.linalg.svd(np.array(rows), full_matrices=True)
    raw = right[-1].reshape(3, 3)
    if sizes[7] < DEGENERATE * sizes[0] or abs(np.linalg.det(raw)) < DEGENERATE:
        raise _no_view()
    matrix = np.linalg.inv(to_b) @ raw @ to_a
    depth = np.column_stack([a, np.ones(len(a))]) @ matrix[2]
    if abs(matrix[2, 2]) < 1e-12 or np.any(depth * depth[0] <= 0):
        raise _no_view()
    matrix = matrix / matrix[2, 2]
    off = np.hypot(*(mapped(matrix, a) - b).T)
    return Homography(matrix, float(np.sqrt((off**2).mean())), float(off.max()), int(off.argmax()))


def _no_view() -> Exception:
    return refuse(
        "MAP-002",
        "The marked points fix no view: three lie on one line, two are at one place, or one is marked at a wrong pin.",
        "Mark four points that form a wide quadrilateral, and check which pin each belongs to.",
    )


def _normal(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(3, 3): moves points to their centre and scales them to a mean distance of sqrt 2."""
    centre = points.mean(axis=0)
    far = float(np.hypot(*(points - centre).T).mean())
    if far < 1e-12:
        raise _no_view()
    k = float(np.sqrt(2.0)) / far
    return np.array([[k, 0.0, -k * centre[0]], [0.0, k, -k * centre[1]], [0.0, 0.0, 1.0]])
