"""Whether the copper bears out the layers that a drill file is taken to pass: a plated hole has a land on every layer at which it ends.

Needs no word of the files, so it also speaks where names and headers are silent (``span_doubts``: it says and changes no hole). Where
words say that a file's holes are blind or buried and not between which layers, the lands tell (``spans_by_lands``).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from coppermend.core.board.joined import Holes, Islands
from coppermend.core.board.records import DrillImage, GerberImage
from coppermend.core.findings import Finding, Place, Severity

FEWEST_HOLES = 3
BARE_SHARE = 0.5
"""Taken as through, but fewer of a file's plated holes than this meet copper on an outer layer ..."""
MET_SHARE = 0.9
"""... while on some other layer at least this share does. Our choice: through holes have lands on both outer layers (common practice, no source)."""
LANDED_SHARE = 0.95
"""Taken as blind, but at least this share of the holes has a land in its middle on an outer layer beyond."""
MIDDLE_MM = 0.02


_OTHERWISE = "Say layers = [first, last] for the file in coppermend-corrections.toml if that is wrong."
FOREIGN_SHARE = 0.25
"""At most this share of the holes may have a land in their middle on a layer beyond: those of other holes at the same place."""


def spans_by_lands(
    drills: Sequence[DrillImage],
    layers: Sequence[GerberImage],
    open_files: Collection[str],
    weak_files: Collection[str] = (),
) -> tuple[list[DrillImage], list[Finding]]:
    """The drill files, those of ``open_files`` (said to be blind or buried, not between which layers) with the span that their lands tell, those
    of ``weak_files`` (a span by mere numbers of the name) without it where nearly all their holes have lands on an outer layer beyond, and files of
    which nothing is said with the span of their lands where none of their holes has one on an outer layer that gives lands to other holes.

    ``layers`` copper images from the component to the solder side. All plated round holes of a file must have a flash in their middle on the first
    and last layer of the span, and few of them on any layer beyond. A finding (BRD-043) for each file that got or lost a span.
    """
    out: list[DrillImage] = []
    findings: list[Finding] = []
    trees = (
        [_flash_tree(image) for image in layers]
        if len(layers) > 2 and (open_files or weak_files or len(drills) > 1)
        else []
    )
    for drill in drills:
        others = [one for one in drills if one is not drill]
        words, severity = "", Severity.GUESS
        if drill.name in open_files and drill.span is None:
            span = _span_by_lands(drill, others, trees)
            if span is not None:
                drill = replace(drill, span=span)
                words = (
                    f"Words say that these holes are blind or buried and not between which layers. All have lands on layers {span[0]} and {span[1]} "
                    f"of {len(layers)} and on none beyond: read as holes between those."
                )
        elif drill.name in weak_files and drill.span is not None and _goes_further(drill, others, trees):
            words = (
                f"The numbers in the name seem to give layers {drill.span[0]} to {drill.span[1]} of {len(layers)}, but the holes have lands on the outer "
                "layers beyond: read as drilled through all layers."
            )
            drill = replace(drill, span=None)
        elif drill.span is None and trees and len(drills) > 1:
            span = _span_by_lands(drill, others, trees)
            if span is not None and _landless(drill, others, trees, span):
                drill = replace(drill, span=span)
                words = (
                    f"Nothing says between which layers these holes are drilled. All have lands on layers {span[0]} and {span[1]} of {len(layers)}, and none "
                    "on an outer layer beyond, where other holes have theirs: read as blind or buried holes between those."
                )
                severity = Severity.WARNING
        if words:
            findings.append(Finding("BRD-043", severity, Place(file=drill.name), words, _OTHERWISE))
        out.append(drill)
    return out, findings


def _goes_further(drill: DrillImage, others: Sequence[DrillImage], trees: Sequence[cKDTree | None]) -> bool:
    """Whether nearly all holes of a file have lands on an outer layer beyond its span, where no other file drills at the same place."""
    at = _round_holes(drill)
    rest = np.concatenate([np.empty((0, 2)), *(_round_holes(one) for one in others)])
    if len(at) and len(rest):
        at = at[cKDTree(rest).query(at)[0] > MIDDLE_MM]
    if not len(at) or drill.span is None:
        return False
    first, last = min(drill.span) - 1, max(drill.span) - 1
    share = _landed(at, trees)
    beyond = [share[k] for k in (0, len(trees) - 1) if not first <= k <= last]
    return bool(beyond) and min(beyond) >= LANDED_SHARE


def _landless(
    drill: DrillImage, others: Sequence[DrillImage], trees: Sequence[cKDTree | None], span: tuple[int, int]
) -> bool:
    """Whether no hole of a file has a land on the outer layers beyond a span, while each of these gives lands to holes of other files."""
    outer = [k for k in (0, len(trees) - 1) if not span[0] <= k + 1 <= span[1]]
    share = _landed(_round_holes(drill), trees)
    rest = np.concatenate([np.empty((0, 2)), *(_round_holes(one) for one in others)])
    drawn = _landed(rest, trees) if len(rest) else [0.0] * len(trees)
    return all(share[k] == 0.0 and drawn[k] * len(rest) >= FEWEST_HOLES for k in outer)


def _flash_tree(image: GerberImage) -> cKDTree | None:
    if image.at_mm is None:
        return None
    at = image.at_mm[((image.kind == "flash") | image.shapes.dots()) & image.dark]
    return cKDTree(at) if len(at) else None


def _span_by_lands(
    drill: DrillImage, others: Sequence[DrillImage], trees: Sequence[cKDTree | None]
) -> tuple[int, int] | None:
    at = _round_holes(drill)
    if not len(at):
        return None
    share = _landed(at, trees)
    full = [k for k, one in enumerate(share) if one == 1.0]
    if len(full) < 2:
        return None
    first, last = full[0], full[-1]
    beyond = [k for k in range(len(trees)) if not first <= k <= last]
    if not beyond or max(share[k] for k in beyond) > FOREIGN_SHARE:
        return None
    rest = np.concatenate([np.empty((0, 2)), *(_round_holes(one) for one in others)])
    drawn = _landed(rest, trees) if len(rest) else [0.0] * len(trees)
    return (
        (first + 1, last + 1) if all(drawn[k] > 0 for k in beyond) else None
    )  # that layer does flash the lands of holes


def _round_holes(drill: DrillImage) -> NDArray[np.float64]:
    """(n, 2) places of the round holes that are not said to be without plating."""
    round_ = (drill.x_mm == drill.x2_mm) & (drill.y_mm == drill.y2_mm) & (drill.plated != 0)
    return np.asarray(np.c_[drill.x_mm, drill.y_mm][round_], dtype=np.float64)


def _landed(at: NDArray[np.float64], trees: Sequence[cKDTree | None]) -> list[float]:
    """The share of holes with a flash in their middle, layer by layer."""
    return [0.0 if tree is None else float(np.mean(tree.query(at)[0] <= MIDDLE_MM)) for tree in trees]


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
        if not len(mine):
            continue
        if np.all(whole[mine]):
            landed = _landed_share(holes, mine, flashes) if len(mine) >= FEWEST_HOLES else None
            out += _bare_outside(name, met[mine].mean(axis=0), landed, len(mine), keys)
        elif len(mine) >= FEWEST_HOLES and not np.any(whole[mine]):
            out += _landed_beyond(name, holes, mine, keys, flashes)
    return out


def _landed_share(holes: Holes, mine: NDArray[np.int64], flashes: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
    """(layers,) share of the holes ``mine`` with a flashed land in their middle; 1 where a layer flashes no land for other holes."""
    at = np.c_[holes.x_mm, holes.y_mm]
    rest = np.setdiff1d(np.flatnonzero(holes.plated), mine)
    out = np.ones(len(flashes))
    for k, spots in enumerate(flashes):
        if not len(spots):
            continue
        tree = cKDTree(spots)
        if len(rest) and np.sum(tree.query(at[rest])[0] <= MIDDLE_MM) >= FEWEST_HOLES:
            out[k] = np.mean(tree.query(at[mine])[0] <= MIDDLE_MM)
    return out


def _bare_outside(
    name: str, share: NDArray[np.float64], landed: NDArray[np.float64] | None, holes: int, keys: Sequence[str]
) -> list[Finding]:
    """Holes taken as through that meet no copper on an outer layer, or none that is a land of theirs (``landed`` shares, None for too few holes)."""
    share = (
        share
        if landed is None
        else np.minimum(share, np.where(np.isin(np.arange(len(keys)), (0, len(keys) - 1)), landed, 1.0))
    )
    bare = [k for k in (0, len(keys) - 1) if share[k] < BARE_SHARE]
    met = np.flatnonzero(share >= MET_SHARE)
    if not bare or not len(met):
        return []
    where = " and ".join(f"{round(float(share[k]) * holes)} on {keys[k]}" for k in bare)
    reach = f"; on {keys[met[0]]}" + (f" to {keys[met[-1]]}" if len(met) > 1 else "") + " they do"
    words = (
        f"The {holes} plated holes are taken as drilled through all {len(keys)} copper layers, but few meet a land on an outer layer "
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
            if near.mean() >= BARE_SHARE:
                beyond.append(keys[k])
    if not beyond:
        return []
    lowest, highest = int(holes.first[mine].min()), int(holes.last[mine].max())
    first, last = keys[lowest], keys[highest]
    words = (
        f"The holes are taken as drilled from {first} to {last}, but most have a land on {' and '.join(beyond)} too: "
        "if they go further, nets are split that they join."
    )
    return [Finding("BRD-039", Severity.WARNING, Place(file=name), words, _remedy(lowest, highest, len(keys)))]


def _remedy(first: int, last: int, count: int) -> str:
    return (
        f"Say layers = [{first + 1}, {last + 1}] for the file in coppermend-corrections.toml if they end where these lands do, "
        f"or layers = [1, {count}] if they go through the board."
    )
