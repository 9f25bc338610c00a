"""Which joints, lands and vias of other nets a wire passes over on its way: named, so that it gets slack there or is bent round them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.copper.model import CopperGraph, ProbePoint

OVER_MM = 1.05
"""A wire whose middle comes this near to a joint lies on it: half a land of 1.6 mm and half a wrap wire of 0.5 mm. Our choice."""
MOST_NAMED = 8


@dataclass(frozen=True, slots=True)
class _Spots:
    """The probe points of a graph with their places (n, 2)."""

    points: tuple[ProbePoint, ...]
    xy: NDArray[np.float64]


def lies_over(
    graph: CopperGraph, net: int, path: Sequence[tuple[float, float]], sides: str, off_mm: float = OVER_MM
) -> tuple[str, ...]:
    """Pins as ``U5.24 (A9)``, vias and lands by their place, of other nets than ``net``, that a wire along ``path`` (mm) passes over on these sides
    (c, s or cs), in the order of its way.

    >>> from coppermend.core.belief.examples import example_graph
    >>> graph = example_graph([(0, 1)], [0, 1, 2], nets=[0, 0, 1])
    >>> lies_over(graph, 0, [(0.0, 0.5), (9.0, 0.5)], "c")
    ('X1.2 (N1)',)
    >>> lies_over(graph, 0, [(0.0, 0.5), (9.0, 0.5)], "s")
    ()
    """
    spots = _spots(graph)
    if len(path) < 2 or not spots.points:
        return ()
    ends = np.asarray(path, dtype=np.float64)
    begin, step = ends[:-1], np.diff(ends, axis=0)
    long = np.maximum((step * step).sum(axis=1), 1e-12)
    away = spots.xy[:, None, :] - begin[None]
    along = np.clip((away * step[None]).sum(axis=2) / long, 0.0, 1.0)
    apart = np.hypot(*(away - along[..., None] * step[None]).transpose(2, 0, 1))
    leg = apart.argmin(axis=1)
    near = np.flatnonzero(apart.min(axis=1) < off_mm)
    order = sorted(near.tolist(), key=lambda k: (int(leg[k]), float(along[k, leg[k]]), spots.points[k].id))
    hit = [spots.points[k] for k in order if spots.points[k].net != net and spots.points[k].side in sides]
    return tuple(dict.fromkeys(_words(graph, point) for point in hit))


def _spots(graph: CopperGraph) -> _Spots:
    if "rework spots" not in graph.memo:
        xy = np.array([(p.x_mm, p.y_mm) for p in graph.points]).reshape(-1, 2)
        graph.memo["rework spots"] = _Spots(graph.points, xy)
    found: _Spots = graph.memo["rework spots"]
    return found


def _words(graph: CopperGraph, point: ProbePoint) -> str:
    name = f"{point.part}.{point.pin}" if point.part else f"the {point.kind} at {point.x_mm:.1f}, {point.y_mm:.1f}"
    return f"{name} ({graph.net_names[point.net]})"


def over_words(over: Sequence[str]) -> str:
    """The note for a wire that lies over these.

    >>> over_words(["U5.24 (A9)"])[:58]
    'It lies over joints or lands of other nets: U5.24 (A9). In'
    """
    named = ", ".join(over[:MOST_NAMED]) + (f" and {len(over) - MOST_NAMED} more" if len(over) > MOST_NAMED else "")
    return (
        f"It lies over joints or lands of other nets: {named}. Insulated there and with slack to move it aside; not pressed on a pointed joint: "
        "bend it round, or take another way."
    )
