"""Layers brought onto the drill: a solder side plotted mirrored, or a layer with an origin of its own, is found by its lands and laid right."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from coppermend.core.board.drillfit import hits
from coppermend.core.board.match import Placing, place_points, share_on_target
from coppermend.core.board.records import DrillImage, GerberImage, LayerRole
from coppermend.core.findings import Finding, Place, Severity
from coppermend.core.geometry.groups import labels
from coppermend.core.geometry.shapes import ShapeSet

ENOUGH_HOLES = 20
"""Fewer holes or lands than this do not prove that a layer lies wrong."""

ASTRAY = 0.2
"""A layer with fewer of the holes than this on its lands may lie wrong ..."""

FOUND = 0.8
"""... and does when another placing brings this share of them onto its lands."""

HALF = 0.5
"""The layer that is held against stands right from this share of the holes on its lands on; this share found elsewhere is enough where a layer's
copper lies under few of the holes (``BARE``)."""

BARE = 0.3

ENOUGH_SPOTS = 8
"""Fewer spots than this on an inner layer do not prove that it lies wrong."""

SPOTS_FOUND, BETTER = 0.9, 0.35
"""An inner layer is moved when so many of its spots lie at holes then, and so many more than before. All its spots lie at holes (common practice, no source)."""

PAINTED_MM = 4.0
"""Strokes that touch within a box no larger and about as high as wide may paint a land."""

MOST_STROKES = 20_000
"""Layers with more strokes are not searched for painted lands."""


@dataclass(frozen=True, slots=True)
class Aligned:
    """The images, those that lay wrong moved, and a finding for each."""

    images: tuple[GerberImage, ...]
    findings: tuple[Finding, ...]


def align_layers(
    images: Sequence[GerberImage], roles: Mapping[str, LayerRole], drills: Sequence[DrillImage]
) -> Aligned:
    """Outer copper that misses the holes as it lies, but meets them mirrored, turned or shifted, is moved, with mask and silkscreen of its side.

    Only where the other outer layer meets the holes as it lies: two layers astray speak for a drill file astray. Inner layers whose lands or
    clearances miss the holes are moved by themselves.
    """
    outer = _outer_aligned(images, roles, drills)
    return _inner_aligned(outer, roles, drills)


def _outer_aligned(
    images: Sequence[GerberImage], roles: Mapping[str, LayerRole], drills: Sequence[DrillImage]
) -> Aligned:
    holes = np.unique(np.round(np.concatenate([np.empty((0, 2)), *(hits(one) for one in drills)]), 4), axis=0)
    outer = {
        role.side: image for image in images if (role := roles[image.name]).kind == "copper" and role.side in ("c", "s")
    }
    if len(holes) < ENOUGH_HOLES or len(outer) < 2:
        return Aligned(tuple(images), ())
    lands = {side: _spots(image, holes) for side, image in outer.items()}
    shares = {side: share_on_target(holes, cKDTree(spots)) if len(spots) else 1.0 for side, spots in lands.items()}
    for side, other in (("s", "c"), ("c", "s")):
        if shares[side] < ASTRAY and shares[other] >= HALF and len(lands[side]) >= ENOUGH_SPOTS:
            move = place_points(holes, lands[side], scales=False)
            if move.share >= FOUND or (move.share >= HALF and _under(holes, outer[side]) < BARE):
                return _move_side(images, roles, side, move, outer[side].name)
    return Aligned(tuple(images), tuple(_astray(holes, lands, outer)))


def _astray(
    holes: NDArray[np.float64], lands: Mapping[str, NDArray[np.float64]], outer: Mapping[str, GerberImage]
) -> Iterable[Finding]:
    """BRD-024 for an outer layer whose lands miss the holes however it is laid, while the other side's meet them: another unit, or another file."""
    shares = {side: share_on_target(holes, cKDTree(spots)) if len(spots) else 0.0 for side, spots in lands.items()}
    for side, other in (("s", "c"), ("c", "s")):
        if shares[side] >= ASTRAY or shares[other] < HALF:
            continue
        sized = (
            place_points(holes, lands[side]) if len(lands[side]) >= ENOUGH_HOLES else Placing(1.0, 1.0, 0.0, 0.0, 0.0)
        )
        unit = ""
        if sized.share >= FOUND and abs(abs(sized.sx) - 1.0) > 0.01:
            size = (
                f"{abs(sized.sx):.3g} times as large as"
                if abs(sized.sx) > 1
                else f"1/{1 / abs(sized.sx):.3g} the size of"
            )
            unit = f" It is {size} the other side; brought to its size {sized.share:.0%} would: the file states a wrong unit."
        yield Finding(
            "BRD-024",
            Severity.WARNING,
            Place(file=outer[side].name),
            f"{shares[side]:.0%} of the holes have a land on this layer, {shares[other]:.0%} on {outer[other].name}.{unit} "
            "Nets are split or joined wrongly if this is not the copper of this board.",
            "Export the layer again in the unit of the others, or say in coppermend-corrections.toml what this file is; "
            "nothing is to be done where the lands of one side are painted, not flashed.",
        )


def _flashes(image: GerberImage, clear: bool = False) -> NDArray[np.float64]:
    """(n, 2) places of what is flashed or drawn as a dot; ``clear``: what is cleared (antipads), too."""
    if image.at_mm is None:
        return np.empty((0, 2))
    spots: NDArray[np.float64] = image.at_mm[((image.kind == "flash") | image.shapes.dots()) & (image.dark | clear)]
    return np.asarray(spots[np.all(np.isfinite(spots), axis=1)], dtype=np.float64)


def _spots(image: GerberImage, holes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Flashes and dots, and where few holes meet those, the middles of lands that are painted by strokes."""
    spots = _flashes(image)
    if len(spots) and share_on_target(holes, cKDTree(spots)) >= ASTRAY:
        return spots
    lines = np.flatnonzero(image.dark & (shapely.get_type_id(image.shapes.skeleton) == 1))
    if not len(lines) or len(lines) > MOST_STROKES:
        return spots
    strokes = image.shapes.take(lines)
    label = labels(strokes.near_pairs(), len(lines))
    count = int(label.max()) + 1
    box, low, high = strokes.bounds_mm(), np.full((count, 2), np.inf), np.full((count, 2), -np.inf)
    np.minimum.at(low, label, box[:, :2])
    np.maximum.at(high, label, box[:, 2:])
    size = high - low
    painted = (size.max(axis=1) <= PAINTED_MM) & (size.min(axis=1) >= 0.7 * size.max(axis=1)) & (np.bincount(label) > 1)
    return np.concatenate([spots, (low + high)[painted] / 2])


def _under(holes: NDArray[np.float64], image: GerberImage) -> float:
    """The share of the holes with copper of the image in their middle."""
    dark = image.shapes.take(np.flatnonzero(image.dark))
    at, piece = shapely.STRtree(shapely.box(*dark.bounds_mm().T)).query(shapely.points(holes))
    on = shapely.distance(dark.skeleton[piece], shapely.points(holes)[at]) <= dark.radius_mm[piece]
    return len(np.unique(at[on])) / len(holes)


def _inner_aligned(aligned: Aligned, roles: Mapping[str, LayerRole], drills: Sequence[DrillImage]) -> Aligned:
    """Inner layers whose spots (lands or clearances) miss the holes as they lie and meet them elsewhere are moved; BRD-024 where they meet them nowhere."""
    copper = [image for image in aligned.images if roles[image.name].kind == "copper"]
    holes = np.unique(np.round(np.concatenate([np.empty((0, 2)), *(hits(one) for one in drills)]), 4), axis=0)
    outer = [_flashes(one) for one in copper if roles[one.name].side in ("c", "s")]
    if len(holes) < ENOUGH_SPOTS or not any(
        len(spots) and share_on_target(holes, cKDTree(spots)) >= HALF for spots in outer
    ):
        return aligned
    tree = cKDTree(holes)
    images, findings = list(aligned.images), list(aligned.findings)
    for at, image in enumerate(images):
        if roles[image.name].kind != "copper" or roles[image.name].side in ("c", "s"):
            continue
        spots = np.unique(np.round(_flashes(image, clear=True), 4), axis=0)
        share = share_on_target(spots, tree)
        if len(spots) < ENOUGH_SPOTS or share >= 1.0 - BETTER:
            continue
        move = place_points(spots, holes, scales=False)
        if move.share >= SPOTS_FOUND and move.share >= share + BETTER:
            back = Placing(
                1 / move.sx, 1 / move.sy, -move.dx_mm / move.sx, -move.dy_mm / move.sy, move.share, move.words
            )
            images[at] = laid(image, back)
            how = f"{move.words or 'shifted'} (by {move.dx_mm:.3f}, {move.dy_mm:.3f} mm)"
            words = f"As it lies, {share:.0%} of the layer's lands or clearances are at holes; {how}, {move.share:.0%}. It was laid so."
            findings.append(Finding("BRD-019", Severity.WARNING, Place(file=image.name), words, _EXPORT))
        elif share < ASTRAY:
            words = (
                f"{share:.0%} of the layer's {len(spots)} lands or clearances are at holes, however it is laid no more than {move.share:.0%}. "
                "Nets are split or joined wrongly if this is not copper of this board."
            )
            findings.append(Finding("BRD-024", Severity.WARNING, Place(file=image.name), words, _WHAT_IT_IS))
    return Aligned(tuple(images), tuple(findings))


_EXPORT = "Export the layer unmirrored, with the origin of the others."
_WHAT_IT_IS = "Export the layer again with the origin and unit of the others, or say in coppermend-corrections.toml what this file is."


def _move_side(
    images: Sequence[GerberImage], roles: Mapping[str, LayerRole], side: str, move: Placing, name: str
) -> Aligned:
    how = move.words or "shifted"
    words = (
        f"As it lies, the layer's lands miss the holes; {how} (by {move.dx_mm:.3f}, {move.dy_mm:.3f} mm) {move.share:.0%} of the holes "
        "meet them. It was laid so, with the mask and silkscreen of its side."
    )
    finding = Finding(
        "BRD-019",
        Severity.WARNING,
        Place(file=name),
        words,
        _EXPORT,
    )
    kinds = ("copper", "mask", "silk", "paste")
    moved = tuple(
        laid(one, move) if roles[one.name].side == side and roles[one.name].kind in kinds else one for one in images
    )
    return Aligned(moved, (finding,))


def laid(image: GerberImage, move: Placing) -> GerberImage:
    """The image with ``move`` undone: ``move`` brings holes onto the image's lands, this brings the lands under the holes."""
    scale, shift = np.array([move.sx, move.sy]), np.array([move.dx_mm, move.dy_mm])
    skeleton = shapely.transform(image.shapes.skeleton, lambda xy: (xy - shift) / scale)
    at = None if image.at_mm is None else (image.at_mm - shift) / scale
    return replace(image, shapes=ShapeSet(skeleton, image.shapes.radius_mm), at_mm=at)
