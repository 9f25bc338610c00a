"""Which joints, lands and vias of other nets a wire passes over on its way: named, so that it is raised or sleeved there."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from coppermend.core.board.model import Board
from coppermend.core.copper.model import CopperGraph
from coppermend.core.rework.bare import WIRE_RADIUS_MM, bare_places, place_words

MOST_NAMED = 8


def lies_over(
    graph: CopperGraph,
    net: int,
    path: Sequence[tuple[float, float]],
    sides: str,
    radius_mm: float = WIRE_RADIUS_MM,
    board: Board | None = None,
) -> tuple[str, ...]:
    """Pins as ``U5.24 (A9)``, vias and lands by their place, of other nets than ``net``, whose land a wire of ``radius_mm`` along ``path`` (mm) touches
    on these sides (c, s or cs), in the order of its way. What the solder mask covers is not named.

    >>> from coppermend.core.belief.examples import example_graph
    >>> graph = example_graph([(0, 1)], [0, 1, 2], nets=[0, 0, 1])
    >>> lies_over(graph, 0, [(0.0, 0.5), (9.0, 0.5)], "c")
    ('X1.2 (N1)',)
    >>> lies_over(graph, 0, [(0.0, 0.5), (9.0, 0.5)], "s")
    ()
    """
    places = bare_places(graph, board)
    if len(path) < 2 or not places.points:
        return ()
    line = shapely.LineString(path)
    touched = (places.points[k] for k in places.touched(path, radius_mm - 1e-6))
    hit = [point for point in touched if point.net != net and point.side in sides]
    hit.sort(key=lambda one: (float(shapely.line_locate_point(line, shapely.Point(one.x_mm, one.y_mm))), one.id))
    return tuple(dict.fromkeys(place_words(graph, point) for point in hit))


def over_words(over: Sequence[str]) -> str:
    """The note for a wire that lies over these.

    >>> over_words(["U5.24 (A9)"])[:58]
    'It lies over joints or lands of other nets: U5.24 (A9). Ra'
    """
    named = ", ".join(over[:MOST_NAMED]) + (f" and {len(over) - MOST_NAMED} more" if len(over) > MOST_NAMED else "")
    return (
        f"It lies over joints or lands of other nets: {named}. Raise the wire or sleeve it there, with slack to move it aside, never pressed on a "
        "pointed joint; or take another way."
    )
