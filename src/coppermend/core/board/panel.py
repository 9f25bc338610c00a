"""Panels: one board several times in one package, each copy with the same names. The copies are told apart by where their pins lie.

A part that stands once on each copy has its pins at as many places as there are copies, always the same steps apart. The first copy (left,
then bottom) keeps its names; parts and nets of the others get ``_2``, ``_3`` ...
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.model import CopperLayer, NetlistPoint
from coppermend.core.board.naming import says_a_net
from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Finding, Place, Severity

SHARE = 0.8
"""This share of the pins must stand on every copy, the same steps apart. Fewer means parts with several lands of one number; ours."""

SAME_MM = 0.03
"""Steps this near to each other are one step: twice a netlist's coarsest rounding."""

FEWEST_PINS = 4
MOST_COPIES = 100


@dataclass(frozen=True, slots=True)
class Panel:
    """``box_mm`` (k, 4) the box round the pins of each copy, in the order of the copies."""

    box_mm: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.box_mm)

    def copy_of(self, xy_mm: NDArray[np.float64]) -> NDArray[np.int64]:
        """(n,) for each of (n, 2) places the copy whose box holds it or is nearest."""
        x, y = xy_mm[:, 0, None], xy_mm[:, 1, None]
        dx = np.maximum(np.maximum(self.box_mm[:, 0] - x, x - self.box_mm[:, 2]), 0.0)
        dy = np.maximum(np.maximum(self.box_mm[:, 1] - y, y - self.box_mm[:, 3]), 0.0)
        return np.asarray(np.argmin(np.hypot(dx, dy), axis=1), dtype=np.int64)


def find_panel(names: Sequence[str], xy_mm: NDArray[np.float64]) -> Panel | None:
    """The panel that pins of these names at (n, 2) places make, None where they stand on one board only.

    >>> xy = np.array([(x + step, 0.0) for step in (0.0, 50.0) for x in range(5)])
    >>> len(find_panel(["U1.1", "U1.2", "U1.3", "R1.1", "R1.2"] * 2, xy) or ())
    2
    """
    places: dict[str, set[tuple[float, float]]] = {}
    for name, (x, y) in zip(names, np.round(xy_mm, 3).tolist(), strict=True):
        places.setdefault(name, set()).add((x, y))
    if len(places) < FEWEST_PINS:
        return None
    count, often = Counter(len(found) for found in places.values()).most_common(1)[0]
    if not 2 <= count <= MOST_COPIES or often < SHARE * len(places):
        return None
    rows = np.array([sorted(found) for found in places.values() if len(found) == count])
    steps = rows - rows[:, :1]
    usual = np.median(steps, axis=0)
    same = np.all(np.abs(steps - usual) <= SAME_MM, axis=(1, 2))
    if int(same.sum()) < SHARE * len(places):
        return None
    copies = rows[same]
    box = np.concatenate([copies.min(axis=0), copies.max(axis=0)], axis=1)
    return None if _overlap(box) else Panel(box)


def _overlap(box: NDArray[np.float64]) -> bool:
    """Whether two copies' boxes share ground: then it is no panel, but parts with lands of equal numbers."""
    for k in range(len(box) - 1):
        other = box[k + 1 :]
        meet = (np.minimum(box[k, 2:], other[:, 2:]) >= np.maximum(box[k, :2], other[:, :2])).all(axis=1)
        if meet.any():
            return True
    return False


def panel_of_copper(
    layers: Sequence[CopperLayer], pads: Sequence[NDArray[Any]], at_mm: Sequence[NDArray[np.float64]]
) -> Panel | None:
    """The panel that the X2 pins of the copper make; ``pads`` and ``at_mm`` as in ``lands.x2_lands``."""
    named = [np.flatnonzero((one[:, 0] != "") & (layer.kind == "flash")) for one, layer in zip(pads, layers, strict=True)]  # fmt: skip
    names = [f"{one[k, 0]}.{one[k, 1]}" for one, found in zip(pads, named, strict=True) for k in found.tolist()]
    places = [at[found] for at, found in zip(at_mm, named, strict=True)]
    return find_panel(names, np.concatenate(places)) if names else None


def renamed_layer(layer: CopperLayer, pads: NDArray[Any], at_mm: NDArray[np.float64], panel: Panel) -> tuple[CopperLayer, NDArray[Any]]:  # fmt: skip
    """The layer and its pads with the names of each copy."""
    copy = panel.copy_of(at_mm)
    pin, net, part = layer.pin.copy(), layer.stated_net.copy(), pads.copy()
    for k in np.flatnonzero(copy > 0).tolist():
        suffix = f"_{copy[k] + 1}"
        if part[k, 0]:
            part[k, 0] = part[k, 0] + suffix
            pin[k] = f"{part[k, 0]}.{part[k, 1]}"
        if net[k] and says_a_net(net[k]):
            net[k] = net[k] + suffix
    return replace(layer, pin=pin, stated_net=net), part


def renamed_points(points: Sequence[NetlistPoint]) -> tuple[tuple[NetlistPoint, ...], int]:
    """Netlist points of a panel with the names of each copy, and the number of copies (1: no panel, the points as they are)."""
    pins = [point for point in points if point.part not in ("", "VIA") and point.pin]
    if not pins:
        return tuple(points), 1
    panel = find_panel([f"{p.part}.{p.pin}" for p in pins], np.array([(p.x_mm, p.y_mm) for p in pins]))
    if panel is None:
        return tuple(points), 1
    copy = panel.copy_of(np.array([(p.x_mm, p.y_mm) for p in points])).tolist()
    return tuple(_of_copy(p, k) for p, k in zip(points, copy, strict=True)), len(panel)


def _of_copy(point: NetlistPoint, copy: int) -> NetlistPoint:
    if copy == 0:
        return point
    part = f"{point.part}_{copy + 1}" if point.part not in ("", "VIA") else point.part
    return replace(point, part=part, net=f"{point.net}_{copy + 1}" if says_a_net(point.net) else point.net)


def rows_told_apart(rows: Sequence[PartRow], copies: int) -> list[PartRow]:
    """The rows with the copies' names where a placement list of the whole panel gives one reference as many places as there are boards."""
    at: dict[tuple[str, str], list[int]] = {}
    for k, row in enumerate(rows):
        if row.x_mm is not None and row.y_mm is not None:
            at.setdefault((row.source.rpartition(" line ")[0], row.ref), []).append(k)
    out = list(rows)
    for (_, ref), places in at.items():
        if len(places) == copies:
            places.sort(key=lambda k: (round(rows[k].x_mm or 0.0, 1), rows[k].y_mm))
            for copy, k in enumerate(places[1:], 2):
                out[k] = replace(rows[k], ref=f"{ref}_{copy}")
    return out


def rows_of_copies(rows: Sequence[PartRow], copies: int, parts: Collection[str]) -> list[PartRow]:
    """The rows of a parts list, and for each the same part on the other boards of a panel (of those ``parts`` that are there), without its place.

    A row that names a copy itself (``U1_2``) counts instead.
    """
    named = {row.ref for row in rows}
    first: dict[str, PartRow] = {}
    for row in rows:
        first.setdefault(row.ref, row)
    more = [
        replace(row, ref=f"{ref}_{k}", x_mm=None, y_mm=None, rotation_deg=None, outline=None)
        for ref, row in first.items()
        for k in range(2, copies + 1)
        if f"{ref}_{k}" not in named and f"{ref}_{k}" in parts
    ]
    return [*rows, *more]


def panel_finding(copies: int) -> Finding:
    """BRD-037: the package holds several boards of one kind."""
    words = (
        f"The package is a panel: every part stands {copies} times, the same steps apart. "
        f"The first board (left, then bottom) keeps its names; parts and nets of the others are called U1_2 ... U1_{copies}."
    )
    return Finding(
        "BRD-037", Severity.NOTE, Place(thing="panel"), words, "Work with the single board's package if there is one."
    )
