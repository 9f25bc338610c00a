"""Whether the copper bears out the layers that a drill file is taken to pass: a plated hole has a land on every layer at which it ends.

Needs no word of the files, so it also speaks where names and headers are silent. It says; it changes no hole.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from coppermend.core.board.joined import Holes, Islands
from coppermend.core.findings import Finding, Place, Severity

FEWEST_HOLES = 3
BARE_SHARE = 0.5
"""Taken as through, but fewer of a file's plated holes than this meet copper on an outer layer ..."""
MET_SHARE = 0.9
"""... while on some other layer at least this share does. Our choice: through holes have lands on both outer layers (common practice, no source)."""
LANDED_SHARE = 0.95
"""Taken as blind, but at least this share of the holes has a land in its middle on an outer layer beyond."""
MIDDLE_MM = 0.02


def span_doubts(
    holes: Holes, islands: Islands, keys: Sequence[str], flashes: Sequence[NDArray[np.float64]]
) -> list[Finding]:
    """A finding for each drill file whose plated holes' lands contradict the layers it is taken to pass, on boards of more than two layers.

    ``keys`` of the layers from c to s; ``flashes`` (k, 2) places of the flashed lands of each layer, mm.
    """
    count = len(keys)
    if count <= 2 or not len(holes.file):
        return []
    met = np.zeros((len(holes), count), bool)
    for at, layer in enumerate(islands.layers):
        met[layer.walls[:, 0], at] = True
    whole = holes.plated & (holes.first == 0) & (holes.last == count - 1)
    out: list[Finding] = []
    for n, name in enumerate(holes.files):
        mine = np.flatnonzero((holes.file == n) & holes.plated)
        if len(mine) < FEWEST_HOLES:
            continue
        if np.all(whole[mine]):
            out += _bare_outside(name, met[mine].mean(axis=0), len(mine), keys)
        elif not np.any(whole[mine]):
            out += _landed_beyond(name, holes, mine, keys, flashes)
    return out


def _bare_outside(name: str, share: NDArray[np.float64], holes: int, keys: Sequence[str]) -> list[Finding]:
    """Holes taken as through that meet no copper on an outer layer."""
    bare = [k for k in (0, len(keys) - 1) if share[k] < BARE_SHARE]
    met = np.flatnonzero(share >= MET_SHARE)
    if not bare or not len(met):
        return []
    where = " and ".join(f"{round(float(share[k]) * holes)} on {keys[k]}" for k in bare)
    reach = f"; on {keys[met[0]]}" + (f" to {keys[met[-1]]}" if len(met) > 1 else "") + " they do"
    words = (
        f"The {holes} plated holes are taken as drilled through all {len(keys)} copper layers, but few meet copper on an outer layer "
        f"({where}{reach}): they may be blind or buried, and nets that lie over one of them may be joined falsely."
    )
    return [Finding("BRD-039", Severity.ERROR, Place(file=name), words, _remedy(int(met[0]), int(met[-1]), len(keys)))]


def _landed_beyond(
    name: str, holes: Holes, mine: NDArray[np.int64], keys: Sequence[str], flashes: Sequence[NDArray[np.float64]]
) -> list[Finding]:
    """Holes taken as blind or buried that have lands on an outer layer beyond, where no other hole is drilled at the same place."""
    others = np.setdiff1d(np.arange(len(holes)), mine)
    at = np.c_[holes.x_mm, holes.y_mm]
    if len(others):
        mine = mine[cKDTree(at[others]).query(at[mine])[0] > MIDDLE_MM]
    if len(mine) < FEWEST_HOLES:
        return []
    beyond = []
    for k, outside in ((0, holes.first[mine] > 0), (len(keys) - 1, holes.last[mine] < len(keys) - 1)):
        if np.all(outside) and len(flashes[k]):
            near = cKDTree(flashes[k]).query(at[mine])[0] <= MIDDLE_MM
            if near.mean() >= LANDED_SHARE:
                beyond.append(keys[k])
    if not beyond:
        return []
    lowest, highest = int(holes.first[mine].min()), int(holes.last[mine].max())
    first, last = keys[lowest], keys[highest]
    words = (
        f"The holes are taken as drilled from {first} to {last}, but nearly all have a land on {' and '.join(beyond)} too: "
        "if they go further, nets are split that they join."
    )
    return [Finding("BRD-039", Severity.WARNING, Place(file=name), words, _remedy(lowest, highest, len(keys)))]


def _remedy(first: int, last: int, count: int) -> str:
    return (
        f"Say layers = [{first + 1}, {last + 1}] for the file in coppermend-corrections.toml if they end where these lands do, "
        f"or layers = [1, {count}] if they go through the board."
    )
