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
from coppermend.core.geometry.shapes import ShapeSet

ENOUGH_HOLES = 20
"""Fewer holes or lands than this do not prove that a layer lies wrong."""

ASTRAY = 0.2
"""A layer with fewer of the holes than this on its lands may lie wrong ..."""

FOUND = 0.8
"""... and does when another placing brings this share of them onto its lands."""


@dataclass(frozen=True, slots=True)
class Aligned:
    """The images, those that lay wrong moved, and a finding for each."""

    images: tuple[GerberImage, ...]
    findings: tuple[Finding, ...]


def align_layers(
    images: Sequence[GerberImage], roles: Mapping[str, LayerRole], drills: Sequence[DrillImage]
) -> Aligned:
    """Outer copper that misses the holes as it lies, but meets them mirrored, turned or shifted, is moved, with mask and silkscreen of its side.

    Only where the other outer layer meets the holes as it lies: two layers astray speak for a drill file astray.
    """
    holes = np.unique(np.round(np.concatenate([np.empty((0, 2)), *(hits(one) for one in drills)]), 4), axis=0)
    outer = {
        role.side: image for image in images if (role := roles[image.name]).kind == "copper" and role.side in ("c", "s")
    }
    if len(holes) < ENOUGH_HOLES or len(outer) < 2:
        return Aligned(tuple(images), ())
    lands = {side: _flashes(image) for side, image in outer.items()}
    shares = {side: share_on_target(holes, cKDTree(spots)) if len(spots) else 1.0 for side, spots in lands.items()}
    for side, other in (("s", "c"), ("c", "s")):
        if shares[side] < ASTRAY and shares[other] >= FOUND and len(lands[side]) >= ENOUGH_HOLES:
            move = place_points(holes, lands[side], scales=False)
            if move.share >= FOUND:
                return _move_side(images, roles, side, move, outer[side].name)
    return Aligned(tuple(images), tuple(_astray(holes, lands, outer)))


def _astray(
    holes: NDArray[np.float64], lands: Mapping[str, NDArray[np.float64]], outer: Mapping[str, GerberImage]
) -> Iterable[Finding]:
    """BRD-024 for an outer layer whose lands miss the holes however it is laid, while the other side's meet them: another unit, or another file."""
    shares = {side: share_on_target(holes, cKDTree(spots)) if len(spots) else 0.0 for side, spots in lands.items()}
    for side, other in (("s", "c"), ("c", "s")):
        if shares[side] >= ASTRAY or shares[other] < FOUND:
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


def _flashes(image: GerberImage) -> NDArray[np.float64]:
    if image.at_mm is None:
        return np.empty((0, 2))
    spots: NDArray[np.float64] = image.at_mm[(image.kind == "flash") & image.dark]
    return np.asarray(spots[np.all(np.isfinite(spots), axis=1)], dtype=np.float64)


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
        "Export the layer unmirrored, with the origin of the others.",
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
