"""The copper layers of a package in order from the component side, each as pieces with clear polarity taken away, and its holes as columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.board.drillfit import slots_of
from coppermend.core.board.joined import Holes
from coppermend.core.board.records import DrillImage, GerberImage, LayerRole
from coppermend.core.board.sources import PackageRecords
from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.geometry.polarity import Pieces, after_clearing, negated

FRAME_MARGIN_MM = 1.0
"""A negative image without a board outline is turned over inside the box of its objects with this margin; an assumption, stated in a finding."""


@dataclass(frozen=True, slots=True)
class CopperSource:
    """One copper layer ready for islands: ``key`` (c, i1, ..., s), the file's image, and the pieces with their objects (``pieces.source``; -1 is the frame)."""

    key: str
    image: GerberImage
    pieces: Pieces


def layer_keys(count: int, lone_side: str = "c") -> tuple[str, ...]:
    """Keys of ``count`` copper layers from the component side; a single layer lies on ``lone_side``.

    >>> layer_keys(4)
    ('c', 'i1', 'i2', 's')
    """
    if count == 1:
        return (lone_side,)
    return ("c", *(f"i{n}" for n in range(1, count - 1)), "s") if count else ()


def copper_roles(records: PackageRecords) -> list[tuple[LayerRole, GerberImage]]:
    """Copper images with their roles, component side first: by order where stated, outer sides at the ends.

    Raises Refusal BRD-001 when the package has no copper layer, BRD-002 when two files claim one place.
    """
    found = [(records.roles[one.name], one) for one in records.images if _is_copper(records, one)]
    if not found:
        raise refuse(
            "BRD-001",
            "No file of the package is a copper layer.",
            "Add the Gerber files of the copper, or name their roles in coppermend-corrections.toml (see docs/reference/corrections.md).",
            Place(thing=records.title or "package"),
        )
    found.sort(key=lambda pair: (_rank(pair[0]), pair[1].name))
    ranks = [_rank(role) for role, _ in found]
    for (_, one), (_, next_), a, b in zip(found, found[1:], ranks, ranks[1:], strict=False):
        if a == b and a in (0.0, 1e6):
            side = "component" if a == 0.0 else "solder"
            raise refuse(
                "BRD-002",
                f"Both {one.name} and {next_.name} are taken for the copper of the {side} side; one layer can be one file only.",
                "Say in coppermend-corrections.toml which one it is and give the other its role.",
                Place(file=next_.name),
            )
    return found


def _is_copper(records: PackageRecords, image: GerberImage) -> bool:
    role = records.roles.get(image.name)
    return role is not None and role.kind == "copper"


def _rank(role: LayerRole) -> float:
    if role.side == "c":
        return 0.0
    if role.side == "s":
        return 1e6
    return float(role.order) if role.order > 0 else 5e5


def frame_of(outline: Sequence[NDArray[np.float64]], image: GerberImage) -> Any:
    """The polygon a negative image is turned over in: the board outline, else the box of its objects with a margin."""
    closed = [shapely.Polygon(ring) for ring in outline if len(ring) > 3]
    if closed:
        return max(closed, key=lambda ring: float(ring.area))
    box = image.shapes.bounds_mm()
    x0, y0 = np.nanmin(box[:, :2], axis=0) - FRAME_MARGIN_MM
    x1, y1 = np.nanmax(box[:, 2:], axis=0) + FRAME_MARGIN_MM
    return shapely.box(x0, y0, x1, y1)


def copper_source(
    key: str, role: LayerRole, image: GerberImage, outline: Sequence[NDArray[np.float64]]
) -> CopperSource:
    """The pieces of one copper layer; a negative image is turned over inside the outline first."""
    if not (image.negative or role.negative):
        return CopperSource(key, image, after_clearing(image.shapes, image.dark))
    if len(image.shapes) == 0:
        return CopperSource(key, image, Pieces(image.shapes, np.empty(0, np.int64)))
    pieces = after_clearing(*negated(image.shapes, image.dark, frame_of(outline, image)))
    return CopperSource(key, image, Pieces(pieces.shapes, pieces.source - 1))


def layer_findings(records: PackageRecords, layers: Sequence[CopperSource]) -> list[Finding]:
    """What is missing or assumed about the copper layers: one layer only, empty layers, negative images."""
    out: list[Finding] = []
    if len(layers) == 1:
        side = "component side" if layers[0].key == "c" else "solder side"
        out.append(
            Finding(
                "BRD-003",
                Severity.WARNING,
                Place(file=layers[0].image.name),
                f"The package holds one copper layer only ({side}). A board with two layers would have nets split where its other side joins them.",
                "Add the other copper file if the board has two layers; nothing is to be done for a one-sided board.",
            )
        )
    for layer in layers:
        if len(layer.pieces.shapes) == 0:
            out.append(
                Finding(
                    "BRD-004",
                    Severity.WARNING,
                    Place(file=layer.image.name, layer=layer.key),
                    "The copper layer is empty: no dark object is left on it.",
                    "Check that the file is whole, or give it its true role in coppermend-corrections.toml.",
                )
            )
        role = records.roles[layer.image.name]
        if layer.image.negative or role.negative:
            out.append(
                Finding(
                    "BRD-005",
                    Severity.NOTE,
                    Place(file=layer.image.name, layer=layer.key),
                    "The file is a negative: what it draws is where copper is missing. It was turned over inside the board outline.",
                    'Say polarity = "positive" for this file in coppermend-corrections.toml if the map shows the plane inside out.',
                )
            )
    return out


def hole_columns(drills: Sequence[DrillImage], roles: dict[str, LayerRole], layer_count: int) -> Holes:
    """All holes as columns. Plating: the hit's own statement, else the file's role, else plated (``drill_findings`` says so).

    A span in copper layer numbers (1 based) becomes positions in the layer list; none means all layers.
    """
    none = np.empty(0)
    plated, first, last, file = (
        [np.empty(0, bool)],
        [np.empty(0, np.int64)],
        [np.empty(0, np.int64)],
        [np.empty(0, np.int64)],
    )
    for at, one in enumerate(drills):
        count = len(one.x_mm)
        role = roles.get(one.name)
        stated = role.plated if role is not None and role.plated is not None else True
        if role is not None and role.plated is not None and role.from_ == "corrections":
            plated.append(np.full(count, stated))
        else:
            plated.append(np.where(one.plated < 0, stated, one.plated == 1))
        begin, end = (1, layer_count) if one.span is None else (min(one.span), max(one.span))
        first.append(np.full(count, max(0, begin - 1), np.int64))
        last.append(np.full(count, min(layer_count, end) - 1, np.int64))
        file.append(np.full(count, at, np.int64))
    return Holes(
        np.concatenate([none, *(one.x_mm for one in drills)]),
        np.concatenate([none, *(one.y_mm for one in drills)]),
        np.concatenate([none, *(one.x2_mm for one in drills)]),
        np.concatenate([none, *(one.y2_mm for one in drills)]),
        np.concatenate([none, *(one.diameter_mm for one in drills)]),
        np.concatenate(plated).astype(bool),
        np.concatenate(first),
        np.concatenate(last),
        np.concatenate(file),
        tuple(one.name for one in drills),
    )


def plating_stated(drills: Sequence[DrillImage], roles: Mapping[str, LayerRole]) -> NDArray[np.bool_]:
    """(holes,) in the order of ``hole_columns``: whether the hit, the file's role or its name says plated or not."""
    said = [(one.plated >= 0) | (one.name in roles and roles[one.name].plated is not None) for one in drills]
    return np.concatenate([np.empty(0, bool), *said])


def without_repeats(holes: Holes, stated: NDArray[np.bool_]) -> tuple[Holes, int, list[Finding]]:
    """Holes drilled once each: same centre (1 um) and span keep the one whose plating is ``stated``, then the plated, then the widest one.

    Second value: how many were dropped. Third: BRD-044 where one file states a hole as plated and another as not.
    """
    if len(holes.x_mm) == 0:
        return holes, 0, []
    place = np.round(np.c_[holes.x_mm, holes.y_mm, holes.x2_mm, holes.y2_mm] * 1000).astype(np.int64)
    order = np.lexsort((-holes.diameter_mm, ~holes.plated, ~stated))
    key = np.c_[place, holes.first, holes.last][order]
    _, keep, of = np.unique(key, axis=0, return_index=True, return_inverse=True)
    pick = np.sort(order[keep])
    against = stated[order] & ~holes.plated[order] & holes.plated[order[keep]][np.ravel(of)]
    return (
        holes.take(pick),
        len(holes) - len(pick),
        _contradicted(holes, order[against], order[keep][np.ravel(of)[against]]),
    )


def _contradicted(holes: Holes, bare: NDArray[np.int64], plated: NDArray[np.int64]) -> list[Finding]:
    """BRD-044 for each pair of files that contradict each other about holes: ``bare`` in one, the same ``plated`` in another."""
    out = []
    pairs = np.unique(np.c_[holes.file[plated], holes.file[bare]], axis=0) if len(holes.file) and len(bare) else ()
    for one, other in pairs:
        mine = (holes.file[plated] == one) & (holes.file[bare] == other)
        at = bare[mine][0]
        words = (
            f"{int(mine.sum())} holes are plated by {holes.files[one]} and not plated by {holes.files[other]}. They are taken as plated: "
            "nets may be joined falsely there."
        )
        where = Place(file=holes.files[other], x_mm=float(holes.x_mm[at]), y_mm=float(holes.y_mm[at]))
        out.append(
            Finding("BRD-044", Severity.ERROR, where, words, "Take the file out that is left over from another export.")
        )
    return out


def drill_findings(records: PackageRecords, holes: Holes, dropped: int) -> list[Finding]:
    """What is missing or assumed about the holes: no drill file, plating not stated, holes given twice."""
    out: list[Finding] = []
    if not records.drills or len(holes.x_mm) == 0:
        out.append(
            Finding(
                "BRD-010",
                Severity.ERROR,
                Place(thing=records.title or "package"),
                "The package has no drill data. Nothing joins the layers, so every net that changes sides is split, and no hole is known.",
                "Add the drill files (NC drill or drill data written as Gerber).",
            )
        )
    elif not holes.plated.any() and sum(role.kind == "copper" for role in records.roles.values()) > 1:
        out.append(
            Finding(
                "BRD-010",
                Severity.ERROR,
                Place(file=records.drills[0].name),
                "The drill data holds no plated hole. Nothing joins the layers, so every net that changes sides is split.",
                "Add the drill file of the plated holes, or say plated = true for this one in coppermend-corrections.toml if its holes are plated.",
            )
        )
    for drill in records.drills:
        role = records.roles.get(drill.name)
        unknown = len(np.unique(slots_of(drill)[drill.plated < 0]))
        if unknown and (role is None or role.plated is None):
            out.append(
                Finding(
                    "BRD-011",
                    Severity.GUESS,
                    Place(file=drill.name),
                    f"{unknown} holes and slots are not said to be plated or not; they are taken as plated.",
                    "Say plated = false for the file in coppermend-corrections.toml if they are not.",
                )
            )
        milled = int(drill.extra.get("milled", 0))
        if milled and (role is None or role.plated is None or role.from_ != "corrections"):
            out.append(
                Finding(
                    "BRD-011",
                    Severity.GUESS,
                    Place(file=drill.name),
                    f"{milled} routed paths are not said to be plated or not. They close, or are long beside their tool: they are taken as milled, not plated.",
                    "Say plated = true for the file in coppermend-corrections.toml if they are plated slots.",
                )
            )
    if dropped:
        out.append(
            Finding(
                "BRD-012",
                Severity.NOTE,
                Place(thing="drill data"),
                f"{dropped} holes stand more than once in the drill data; each was counted once (stated plating before open, plated before not plated, wider before narrower).",
            )
        )
    return out
