"""How the record says counts, times and places. Pure."""

from __future__ import annotations

import re

from coppermend.core.log.state import PointRef
from coppermend.core.log.words import how_many

SIDES = {"c": "component side", "s": "solder side"}


def some(count: int, one: str, many: str = "") -> str:
    """A count with its noun.

    >>> some(1, "break"), some(0, "wire"), some(2, "entry", "entries")
    ('1 break', 'no wire', '2 entries')
    """
    return how_many(count, one, many) if count else f"no {one}"


def stamp(iso: str) -> str:
    """A time of the log as a person reads it.

    >>> stamp("2026-01-31T09:15:02.123Z")
    '2026-01-31 09:15'
    """
    return iso[:16].replace("T", " ")


def say_point(point: PointRef) -> str:
    """A point in words.

    >>> say_point(PointRef("U1.8/joint-s", 1.0, 2.0, "s", "A0", "U1", "8"))
    'U1.8 joint, solder side'
    >>> say_point(PointRef("via@31200,40000/c", 31.2, 40.0, "c"))
    'via at 31.2, 40.0 mm, component side'
    """
    side = SIDES.get(point.side, point.side)
    kind = point.id.rpartition("/")[2].split("-")[0]
    if point.part:
        return f"{point.part}.{point.pin} {kind}, {side}"
    what = point.id.partition("@")[0] or "place"
    return f"{what} at {point.x_mm:.1f}, {point.y_mm:.1f} mm, {side}"


_ID = re.compile(r"\b(?:(via|land|track)@(-?\d+),(-?\d+)|([A-Z]+\d+\.\w+))/(leg|contact|hole|joint-[cs]|[cs])\b")


def in_words(text: str) -> str:
    """A line of the log with its ids of points as a person finds them.

    >>> in_words("open: via@231775,120650/c and U11.11/joint-s")
    'open: via at 231.8, 120.7 mm, component side and U11.11 joint, solder side'
    """

    def said(found: re.Match[str]) -> str:
        what, x, y, pin, kind = found.groups()
        side = SIDES.get(kind[-1], "") if kind in ("c", "s") or "-" in kind else ""
        name = f"{what} at {int(x) / 1000:.1f}, {int(y) / 1000:.1f} mm" if what else f"{pin} {kind.split('-')[0]}"
        return f"{name}, {side}" if side else name

    return _ID.sub(said, text)
