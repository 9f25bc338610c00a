"""Looking over a work area as a step: what it is expected to tell, and the short tour that goes with it, one field of view after the other.

The gain of a look over a side counts each site by itself: a break shows with chance d, something is taken for one with chance f. Of a site broken with
chance p it tells h(p d + (1 - p) f) - p h(d) - (1 - p) h(f) bits (h the binary entropy); the sites are summed, their chances taken as independent.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coppermend.core.belief.suspects.looks import OVER, OVER_FALSE

FIELD_MM = 15.0
"""A field of view of a hand lens or a microscope at its lowest power, roughly (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Visible:
    """Something that can show from one side: site kind, mm, its chance to be broken, the pin or part it belongs to ("" none)."""

    kind: str
    x_mm: float
    y_mm: float
    p: float
    pin: str = ""


@dataclass(frozen=True, slots=True)
class Stop:
    """One field of view: its box (x0, y0, x1, y1 mm), the pins and parts in it, breaks expected there, the findings to look for."""

    box: tuple[float, float, float, float]
    pins: tuple[str, ...]
    parts: tuple[str, ...]
    expected: float
    ask: tuple[str, ...]


def entropy_bits(p: float) -> float:
    """Binary entropy.

    >>> entropy_bits(0.5), entropy_bits(0.0)
    (1.0, 0.0)
    """
    return 0.0 if p <= 0.0 or p >= 1.0 else -(p * math.log2(p) + (1 - p) * math.log2(1 - p))


def look_bits(p: float, detect: float, false: float) -> float:
    """Bits that a look tells of one site: a fault of chance ``p`` shows with ``detect``, something is taken for one with ``false``.

    >>> look_bits(0.5, 1.0, 0.0), look_bits(0.5, 0.3, 0.3), round(look_bits(0.5, 0.5, 0.0), 3)
    (1.0, 0.0, 0.311)
    """
    seen = p * detect + (1 - p) * false
    return max(0.0, entropy_bits(seen) - p * entropy_bits(detect) - (1 - p) * entropy_bits(false))


def side_bits(chances: Iterable[tuple[str, float]]) -> float:
    """Bits that a look over one side is expected to tell. ``chances``: (site kind, chance to be broken) of what lies open to the eye there.

    >>> round(side_bits([("joint", 0.04)] * 10), 2), side_bits([("barrel", 0.5)])
    (0.44, 0.0)
    """
    rows = [(OVER[kind], p) for kind, p in chances if kind in OVER]
    false = OVER_FALSE / max(1, len(rows))
    return sum((look_bits(p, detect, false) for detect, p in rows), 0.0)


ASKS = {
    "joint": ("cracked joint", "lifted land", "solder bridge"),
    "run": ("corrosion", "broken track"),
    "spoke": ("broken track",),
    "leg": ("bent leg",),
    "part": ("wrong part", "wrong way round", "missing part"),
}
"""What is looked for where a site of this kind, or a part's body, lies in the field of view."""


def look_tour(things: Sequence[Visible], field_mm: float = FIELD_MM) -> tuple[Stop, ...]:
    """Fields of view that hold everything, row by row, every second row backwards: the lens moves on to a neighbouring field. Empty for nothing.

    >>> row = [Visible("joint", 2.54 * k, 0.0, 0.04, f"U1.{k + 1}") for k in range(10)]
    >>> [(one.pins[0], one.pins[-1]) for one in look_tour(row)]
    [('U1.1', 'U1.6'), ('U1.7', 'U1.10')]
    """
    if not things:
        return ()
    x0, y0 = min(t.x_mm for t in things), min(t.y_mm for t in things)
    cells: dict[tuple[int, int], list[Visible]] = {}
    for one in things:
        cells.setdefault((int((one.y_mm - y0) // field_mm), int((one.x_mm - x0) // field_mm)), []).append(one)
    rows = sorted({row for row, _ in cells})
    order: list[tuple[int, int]] = []
    for k, row in enumerate(rows):
        order += sorted((cell for cell in cells if cell[0] == row), reverse=k % 2 == 1)
    return tuple(_stop(cells[cell]) for cell in order)


def _stop(rows: Sequence[Visible]) -> Stop:
    xs, ys = [t.x_mm for t in rows], [t.y_mm for t in rows]
    kinds = {t.kind for t in rows}
    ask = tuple(dict.fromkeys(f for kind, found in ASKS.items() if kind in kinds for f in found))
    return Stop(
        (min(xs), min(ys), max(xs), max(ys)),
        tuple(dict.fromkeys(t.pin for t in rows if "." in t.pin)),
        tuple(dict.fromkeys(t.pin for t in rows if t.kind == "part")),
        sum(t.p * OVER.get(t.kind, 0.0) for t in rows),
        ask,
    )
