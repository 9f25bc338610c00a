"""How patch wires may be laid on a board: what the person allows and forbids, and the board's own forbidden places, prepared once."""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.core.board.model import Board
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.copper.model import CopperGraph
from coppermend.core.findings import refuse
from coppermend.core.rework.bare import keep_clear
from coppermend.core.rework.routes import Ways
from coppermend.core.rework.routes_places import ways_of
from coppermend.services.points import known_part


@dataclass(frozen=True, slots=True)
class Laying:
    """How wires may be laid. ``straight``: without regard to the board's ground. ``scrape``: bared tracks count as ends. ``allow``: parts whose ground
    a wire may cross after all; ``keep_out`` further boxes ((x0, y0, x1, y1) in mm, side c, s or "" for both). ``cut``: runs to be cut on purpose, by
    site id or by place "x,y/s".
    """

    straight: bool = False
    scrape: bool = True
    allow: tuple[str, ...] = ()
    keep_out: tuple[tuple[tuple[float, float, float, float], str], ...] = ()
    cut: tuple[str, ...] = ()


PLAIN = Laying()


def box_typed(text: str) -> tuple[tuple[float, float, float, float], str]:
    """A box as typed: two corners in mm, and a side after a slash. Refusal WIR-014 for anything else.

    >>> box_typed("30,40 10,20/s")
    ((10.0, 20.0, 30.0, 40.0), 's')
    """
    corners, _, side = text.strip().partition("/")
    try:
        (x0, y0), (x1, y1) = ((float(v) for v in spot.split(",")) for spot in corners.split())
    except ValueError:
        raise refuse(
            "WIR-014",
            f"{text!r} is no box.",
            "Write two corners in mm, like '10,20 30,40', or '10,20 30,40/s' for one side.",
        ) from None
    if side not in ("", "c", "s"):
        raise refuse("WIR-014", f"{side!r} is no side.", "Say c (component side) or s (solder side).")
    return (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)), side


def board_ways(board: Board, graph: CopperGraph, laying: Laying = PLAIN, net: int | None = None) -> Ways | None:
    """Where wires of ``net`` may lie on this board, clear of the bare places of all others; None where nobody
    knows its ground (a board from a pin list) or straight wires are asked for.

    Refusal for a part to allow that is not there, WIR-014 for a box that is none.
    """
    if laying.straight or not copper_is_known(board):
        return None
    allow = tuple(known_part(graph, one) for one in laying.allow)
    for box, _ in laying.keep_out:
        if not (box[0] < box[2] and box[1] < box[3]):
            raise refuse(
                "WIR-014",
                f"The box from {box[0]:g}, {box[1]:g} to {box[2]:g}, {box[3]:g} mm holds no ground.",
                "Give the lower left corner first, then the upper right one, in mm.",
            )
    key = ("wire ways", allow, laying.keep_out)
    kept = graph.memo.get(str(key))
    if kept is None or kept[0] is not board:
        own = [(box, on, "a place you keep free") for box, on in laying.keep_out]
        kept = graph.memo[str(key)] = (board, ways_of(board, graph, own, allow))
    found: Ways = kept[1]
    return found if net is None else found.clear_of(keep_clear(graph, board, net))
