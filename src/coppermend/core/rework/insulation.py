"""Which insulation a patch wire needs: by the heat near its way, its length and what it crosses."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

import shapely

from coppermend.core.rework.routes import KeepOut, Spot

BARE_MM = 12.7
"""Bare wire only below this, where clearances are kept (jumper-wire practice after IPC-A-610, docs/sources.md)."""
WARM_MM = 12.0
"""A hot part this near to the way asks for insulation that bears heat. Common practice, no source."""

WRAP = "insulated: wrap wire (PVDF, to some 105 to 125 degC) or better ETFE (150 degC), which does not creep back from the iron"
HOT = "ETFE (150 degC) or PTFE (200 degC and more), not PVC or PVDF"
SOURCE = "limits: ETFE from a maker's sheet (docs/sources.md), the others from memory"


BARE_WORDS = f"; bare only because it is shorter than {BARE_MM:g} mm and only if nothing comes near"
NEVER_BARE = "; never bare, however short, where a track was cut free under it"


def never_bare(words: str) -> str:
    """The insulation of a wire round a cut: copper that was cut free may still touch the other net.

    >>> never_bare(insulation_of(((0, 0), (9, 0)), "s", (), 9.0)).count("bare"), never_bare("insulated")
    (1, 'insulated')
    """
    return words.replace(BARE_WORDS, NEVER_BARE)


def insulation_of(path: Sequence[Spot], side: str, keep_outs: Iterable[KeepOut], length_mm: float) -> str:
    """The insulation in words.

    >>> insulation_of(((0, 0), (30, 0)), "s", (), 30.0).startswith("insulated: wrap wire")
    True
    >>> hot = KeepOut(20, 2, 30, 10, "s", "the heat of VR1")
    >>> "VR1" in insulation_of(((0, 0), (30, 0)), "s", (hot,), 30.0)
    True
    """
    near = hot_beside(path, side, keep_outs)
    if near:
        return f"{HOT}: {', '.join(near)} runs hot within {WARM_MM:g} mm of it [{SOURCE}]"
    bare = BARE_WORDS if length_mm < BARE_MM else ""
    return f"{WRAP}{bare} [{SOURCE}]"


def hot_beside(path: Sequence[Spot], side: str, keep_outs: Iterable[KeepOut]) -> tuple[str, ...]:
    """The hot parts near a way, by name."""
    if len(path) < 2:
        return ()
    line = shapely.MultiLineString([[p, q] for p, q in itertools.pairwise(path)])
    out = {
        one.words.removeprefix(HEAT_OF)
        for one in keep_outs
        if one.words.startswith(HEAT_OF)
        and side in (one.side, "both")
        and shapely.distance(line, shapely.box(one.x0, one.y0, one.x1, one.y1)) <= WARM_MM
    }
    return tuple(sorted(out))


HEAT_OF = "the heat of "
"""How a forbidden place round a hot part begins its words."""
