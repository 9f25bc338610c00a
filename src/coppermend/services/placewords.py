"""Words that lead a hand to a probe point: which part, which pin, counted from where, on which side, what to touch."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.model import Board, Part, Pin
from coppermend.core.copper.model import ProbePoint
from coppermend.core.copper.places import towards_words

SIDE_WORDS = {"c": "component side", "s": "solder side"}

TOUCH_WORDS = {
    "leg": "touch the leg",
    "contact": "touch inside the empty socket",
    "joint": "touch the solder joint",
    "hole": "touch the bare hole",
    "via": "touch the via",
    "land": "touch the land",
    "track": "touch the bared track",
}

_ROW_SLACK_MM = 0.3
"""Pins of one row stand on a line to within this; lead holes of a DIP row are drilled on one grid line."""


def ordinal(number: int) -> str:
    """A whole number as a rank.

    >>> [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 32, 103)]
    ['1st', '2nd', '3rd', '4th', '11th', '12th', '13th', '21st', '32nd', '103rd']
    """
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"


def _places(part: Part) -> dict[int, NDArray[np.float64]]:
    return {int(p.number): np.array([p.x_mm, p.y_mm]) for p in part.pins if p.number.isdecimal()}


def chip_rows(part: Part) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """The two pin rows of a dual in-line part, each in order from the notch; None for any other part.

    Row 1 is 1 .. n/2, row 2 is n .. n/2+1, so that the pins at equal rank face each other (JEDEC dual in-line numbering:
    from the notch down one row and up the other).
    """
    at = _places(part)
    n = len(part.pins)
    if n < 6 or n % 2 or sorted(at) != list(range(1, n + 1)):
        return None
    half = n // 2
    first, second = tuple(range(1, half + 1)), tuple(range(n, half, -1))
    a, b = np.array([at[k] for k in first]), np.array([at[k] for k in second])
    along = a[-1] - a[0]
    length = float(np.hypot(*along))
    if length < 1.0:
        return None
    along = along / length
    across = np.array([-along[1], along[0]])
    off_a, off_b = (a - a[0]) @ across, (b - a[0]) @ across
    straight = np.ptp(off_a) < _ROW_SLACK_MM and np.ptp(off_b) < _ROW_SLACK_MM
    facing = np.abs((a - b) @ along).max() < _ROW_SLACK_MM
    apart = abs(float(off_b.mean() - off_a.mean())) > 2.0
    return (first, second) if straight and facing and apart else None


def notch_of(part: Part) -> tuple[float, float] | None:
    """The middle of the end that bears the notch, at the outline's edge, in mm; None for parts that are not dual in-line."""
    rows = chip_rows(part)
    if rows is None:
        return None
    at = _places(part)
    middle = (at[rows[0][0]] + at[rows[1][0]]) / 2
    far = (at[rows[0][-1]] + at[rows[1][-1]]) / 2
    up = (middle - far) / max(float(np.hypot(*(middle - far))), 1e-9)
    reach = 1.27
    if len(part.outline):
        reach = max(float(((np.asarray(part.outline) - middle) @ up).max()), 0.0)
    end = middle + up * reach
    return (float(end[0]), float(end[1]))


def pin_where(part: Part, number: str, side: str) -> str:
    """Where a pin is found at its part, as seen from ``side``: row and rank from the notch, or rank from pin 1.

    Left and right are those of someone who looks at ``side`` with the notch end up, and the words say so ("notch up: left row,
    3rd from it"): they hold however the board lies.
    """
    found = pin_row(part, number)
    if found is not None:
        (up_x, up_y), (out_x, out_y) = found["up"], found["out"]
        left = (up_x * out_y - up_y * out_x > 0) != (side == "s")
        return f"notch up: {'left' if left else 'right'} row, {found['rank']}"
    order = [p.number for p in part.pins]
    if len(order) == 2:
        return _which_end(part, number)
    if number in order and len(order) > 2 and order[0] == "1":
        return f"{ordinal(order.index(number) + 1)} of {len(order)}, counted from pin 1"
    return ""


def pin_row(part: Part, number: str) -> dict[str, Any] | None:
    """How a pin's row lies on the board, so that a drawing turned any way can be put into words; None for parts without two rows.

    ``up``: from the middle of the part towards its notch; ``out``: from the middle towards the pin's own row; both unit vectors
    in board coordinates (y up, seen from the component side). ``rank``: "3rd from it", "last", "2nd from last".
    """
    rows = chip_rows(part)
    if rows is None or not number.isdecimal():
        return None
    at, pin = _places(part), int(number)
    row = 0 if pin in rows[0] else 1
    up = at[rows[0][0]] - at[rows[0][-1]]
    out = at[rows[row][0]] - at[rows[1 - row][0]]
    return {"up": _unit(up), "out": _unit(out), "rank": _rank_words(rows[row].index(pin) + 1, len(rows[row]))}


def _unit(way: NDArray[np.float64]) -> list[float]:
    x, y = way / np.hypot(*way)
    return [round(float(x), 4) + 0.0, round(float(y), 4) + 0.0]


def _rank_words(rank: int, of: int) -> str:
    back = of - rank + 1
    if back <= 3 and back < rank:
        return "last" if back == 1 else f"{ordinal(back)} from last"
    return f"{ordinal(rank)} from it"


def _both_ends(part: Part, number: str) -> NDArray[np.float64] | None:
    this = next((p for p in part.pins if p.number == number), None)
    other = next((p for p in part.pins if p.number != number), None)
    if this is None or other is None:
        return None
    return np.array([this.x_mm - other.x_mm, this.y_mm - other.y_mm])


def _from_other_end(part: Part, number: str) -> list[float] | None:
    step = _both_ends(part, number) if len(part.pins) == 2 else None
    return _unit(step) if step is not None and step.any() else None


def _which_end(part: Part, number: str) -> str:
    step = _both_ends(part, number)
    if step is None:
        return ""
    dx, dy = step
    if abs(dx) >= abs(dy):
        return f"the end towards the {'right' if dx > 0 else 'left'} edge as seen on the component side"
    return f"the end towards the {'top' if dy > 0 else 'bottom'} edge"


def point_words(board: Board, point: ProbePoint) -> dict[str, Any]:
    """``name`` (U1 pin 30), ``where`` (notch up: right row, 3rd from it), ``row`` (see ``pin_row``), ``touch``, ``side_words``, ``of`` (number of pins).

    For a drawing turned any way: ``way``, the unit vector in board coordinates from the pin that leads to a loose place, or from the other pin of a
    part of two pins, None elsewhere; ``by`` of a loose place, the pin that leads to it and how far it is ({"pin": "U9 pin 4", "far": "2.3"}).
    """
    side_words = SIDE_WORDS.get(point.side, point.side)
    part = next((p for p in board.parts if p.ref == point.part), None) if point.part else None
    if part is None:
        near = _nearest_pin(board, point.x_mm, point.y_mm)
        name, where = _loose_words(near, point.x_mm, point.y_mm)
        return {
            "name": f"{point.kind} {name}",
            "where": where,
            "row": None,
            "way": _unit(near[2]) if near and where else None,
            "by": {"pin": f"{near[0].part} pin {near[0].number}", "far": f"{near[1]:.1f}"} if near else None,
            "touch": TOUCH_WORDS.get(point.kind, "touch"),
            "side_words": side_words,
            "of": 0,
        }
    return {
        "name": f"{part.ref} pin {point.pin}",
        "where": pin_where(part, point.pin, point.side),
        "row": pin_row(part, point.pin),
        "way": _from_other_end(part, point.pin),
        "by": None,
        "touch": TOUCH_WORDS.get(point.kind, "touch"),
        "side_words": side_words,
        "of": len(part.pins),
    }


_PIN_ID = re.compile(r"\b([A-Za-z]+\d+\w*\.\w+)/(?:leg|contact|hole|joint-[cs])(?!\w)")
_LOOSE_ID = re.compile(r"\b([a-z]+)@(-?\d+),(-?\d+)/([cs])(?!\w)")


def places_in_words(board: Board, text: str) -> str:
    """A line with ids of probe points, as the log keeps them, with places that a person can find instead of the ids.

    "closed: U38.5/leg and via@127000,20320/c" becomes "closed: U38.5 and via 5.1 mm from U50 pin 3 towards the right": a loose point's
    coordinates stand in its id in micrometres.
    """

    return loose_in_words(board, [_PIN_ID.sub(r"\1", text)])[0]


def loose_in_words(board: Board, texts: Sequence[str], sides: bool = False) -> list[str]:
    """The same for the loose places alone, in many texts; ``sides`` says on which side each was touched, too. Pins keep their ids.

    A place that the texts name often is looked up once, so that a whole log can be given at one time.
    """
    known: dict[str, str] = {}

    def loose(found: re.Match[str]) -> str:
        whole = found.group(0)
        if whole not in known:
            kind, x, y, side = found.groups()
            said = " ".join(filter(None, (kind, *near_words(board, int(x) / 1000, int(y) / 1000))))
            known[whole] = f"{said} ({SIDE_WORDS[side]})" if sides else said
        return known[whole]

    return [_LOOSE_ID.sub(loose, text) for text in texts]


def near_words(board: Board, x_mm: float, y_mm: float) -> tuple[str, str]:
    """A loose place by the pin nearest to it: how far ("2.3 mm from U9 pin 4"), and which way from there ("towards the top").

    Both together tell apart the vias round one pin. On a board without pins: its coordinates, and no way. The way of a very short step is "".
    """
    return _loose_words(_nearest_pin(board, x_mm, y_mm), x_mm, y_mm)


_Near = tuple[Pin, float, NDArray[np.float64]]


def _loose_words(near: _Near | None, x_mm: float, y_mm: float) -> tuple[str, str]:
    if near is None:
        return f"at {x_mm:.1f}, {y_mm:.1f}", ""
    pin, far_mm, (dx, dy) = near
    return f"{far_mm:.1f} mm from {pin.part} pin {pin.number}", towards_words(float(dx), float(dy)).strip()


def _nearest_pin(board: Board, x_mm: float, y_mm: float) -> _Near | None:
    """The pin nearest to a place, how far it is in mm, and the step from it to the place; None on a board without pins."""
    pins = [p for part in board.parts for p in part.pins]
    if not pins:
        return None
    steps = np.array([x_mm, y_mm]) - np.array([[p.x_mm, p.y_mm] for p in pins])
    apart = np.hypot(steps[:, 0], steps[:, 1])
    nearest = int(apart.argmin())
    return pins[nearest], float(apart[nearest]), steps[nearest]
