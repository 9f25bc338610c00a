"""Netlists laid on the copper: placing, layers of access, and the island that lies at each point."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.lands import HoleFinder
from coppermend.core.board.match import ENOUGH, SAME_PLACE_MM, CopperIndex, Placing, copper_at, place_points
from coppermend.core.board.model import CopperLayer, Hole, NetlistPoint
from coppermend.core.board.records import Netlist, NetlistRecord
from coppermend.core.findings import Finding, Place, Severity

CLEARLY_MORE = 0.02
"""A move of a netlist must put this share of its points more on copper than no move does."""

LAND_MM = 6.0
"""A region longer than this votes on no move: it is a pour rather than a land. Our choice, no source."""

STALE_SHARE = 0.5
"""Below this share of points on copper a netlist belongs to another board, or to another state of this one."""


@dataclass(frozen=True, slots=True)
class PlacedNetlist:
    """One netlist on the copper: ``points`` in copper coordinates, ``island`` (n,) -1 where no copper lies, ``through`` (n,) drilled, ``placing``."""

    name: str
    points: tuple[NetlistPoint, ...]
    island: NDArray[np.int64]
    through: NDArray[np.bool_]
    placing: Placing
    holes_known: bool = True


def access_layers(
    records: Sequence[NetlistRecord], keys: Sequence[str], counted: bool = False
) -> list[tuple[str, ...]]:
    """The layers each record can be touched on: access 0 or a plated hole all, 1 the component side, the last number the solder side.

    Files that know two sides only write 2 for the solder side of any board (IPC-D-356A, columns 38 to 41); files that count layers write the layer.
    ``counted``: the numbers are the board's layers for certain, and a hole with a layer is blind or buried (Netlist.counted).
    """
    count = len(keys)
    if counted:
        return [tuple(keys) if one.access == 0 else (keys[min(one.access, count) - 1],) for one in records]
    highest = max((record.access for record in records), default=0)
    if count == 1:
        return [tuple(keys)] * len(records)
    out: list[tuple[str, ...]] = []
    for record in records:
        if record.access == 0 or (record.hole_mm and record.plated is not False):
            out.append(tuple(keys))
        elif record.access == 1:
            out.append((keys[0],))
        elif record.access >= count or highest == 2:
            out.append((keys[-1],))
        else:
            out.append((keys[record.access - 1],))
    return out


def target_places(
    layers: Sequence[CopperLayer], at_mm: Sequence[NDArray[np.float64]], holes: Sequence[Hole]
) -> NDArray[np.float64]:
    """Places that netlist points can be expected at: hole centres, and flashes of the outer layers. (m, 2)"""
    centres = np.array([((h.x_mm + h.x2_mm) / 2, (h.y_mm + h.y2_mm) / 2) for h in holes]).reshape(-1, 2)
    flashes = [at[layer.kind == "flash"] for layer, at in zip(layers, at_mm, strict=True) if layer.key in ("c", "s")]
    return np.unique(np.round(np.concatenate([centres, *flashes]), 4), axis=0)


def islands_at(
    xy_mm: NDArray[np.float64],
    access: Sequence[tuple[str, ...]],
    through: NDArray[np.bool_],
    near_mm: NDArray[np.float64],
    layers: Sequence[CopperLayer],
    index: CopperIndex,
    holes: Sequence[Hole],
    finder: HoleFinder,
) -> NDArray[np.int64]:
    """The island at each of (n, 2) points: that of the plated hole there, else that of the copper under it on the layers it can be touched on; -1 for none."""
    xy = xy_mm
    out = np.full(len(xy), -1, dtype=np.int64)
    hole_island = np.array([h.island if h.plated and h.island is not None else -1 for h in holes], dtype=np.int64)
    drilled = np.flatnonzero(through)
    hole = finder.at(xy[drilled])
    out[drilled[hole >= 0]] = hole_island[hole[hole >= 0]]
    kinds = list(dict.fromkeys(access))
    kind = np.array([kinds.index(one) for one in access], dtype=np.int64)
    for layer in layers:
        reaches = np.array([layer.key in one for one in kinds], dtype=bool)
        open_ = np.flatnonzero((out < 0) & reaches[kind]) if len(xy) else np.empty(0, np.int64)
        piece = copper_at(index, layer.key, xy[open_], near_mm[open_])
        out[open_[piece >= 0]] = layer.island[piece[piece >= 0]]
    return out


def place_netlist(
    netlist: Netlist,
    layers: Sequence[CopperLayer],
    at_mm: Sequence[NDArray[np.float64]],
    index: CopperIndex,
    holes: Sequence[Hole],
    finder: HoleFinder,
    shift_mm: tuple[float, float] | None = None,
) -> PlacedNetlist:
    """A netlist with its points moved onto the copper. ``shift_mm`` from the corrections overrules the search for the shift."""
    records = netlist.records
    raw = np.array([(r.x_mm, r.y_mm) for r in records]).reshape(-1, 2)
    keys = [layer.key for layer in layers]
    through = np.array([bool(r.hole_mm) for r in records], dtype=bool)
    near = np.array([_slack_mm(r) for r in records])
    access = access_layers(records, keys, netlist.counted)
    ground = _Ground(netlist, access, through, near, layers, at_mm, index, holes, finder)
    if netlist.own:
        placing = Placing(1.0, 1.0, 0.0, 0.0, 1.0)
    elif shift_mm is not None:
        placing = Placing(1.0, 1.0, shift_mm[0], shift_mm[1], 1.0, "as the corrections say")
    else:
        placing = _search(raw, ground)
    xy = placing.apply(raw)
    island = ground.islands(xy).copy()
    surface = access_layers([replace(record, hole_mm=None) for record in records], keys, netlist.counted)
    _blind_holes(records, xy, surface, keys, holes, finder, island)
    points = _points(netlist, xy, access, island)
    return PlacedNetlist(netlist.name, points, island, through, placing, netlist.holes_known)


def _points(
    netlist: Netlist, xy_mm: NDArray[np.float64], access: Sequence[tuple[str, ...]], island: NDArray[np.int64]
) -> tuple[NetlistPoint, ...]:
    rows = zip(netlist.records, xy_mm.tolist(), access, island.tolist(), strict=True)
    return tuple(NetlistPoint(r.net, r.part, r.pin, x, y, on, netlist.name, r.line, k) for r, (x, y), on, k in rows)


@dataclass(frozen=True, slots=True)
class _Ground:
    """What a placing of ``netlist`` is tried on."""

    netlist: Netlist
    access: Sequence[tuple[str, ...]]
    through: NDArray[np.bool_]
    near_mm: NDArray[np.float64]
    layers: Sequence[CopperLayer]
    at_mm: Sequence[NDArray[np.float64]]
    index: CopperIndex
    holes: Sequence[Hole]
    finder: HoleFinder
    _found: dict[bytes, NDArray[np.int64]] = field(default_factory=dict)

    def islands(self, xy_mm: NDArray[np.float64]) -> NDArray[np.int64]:
        """The island at each of the netlist's points when they lie at ``xy_mm``; found once for each place."""
        key = xy_mm.tobytes()
        if key not in self._found:
            self._found[key] = islands_at(
                xy_mm, self.access, self.through, self.near_mm, self.layers, self.index, self.holes, self.finder
            )
        return self._found[key]

    def share(self, xy_mm: NDArray[np.float64]) -> float:
        """Share of points on any copper that they have for their net alone: on an island of several nets (a pour under
        a misplaced netlist) only the points of the net with most points there count. 0 for no points."""
        records = self.netlist.records
        if not records:
            return 0.0
        votes = Counter((k, r.net) for k, r in zip(self.islands(xy_mm).tolist(), records, strict=True) if k >= 0)
        most: dict[int, int] = {}
        for (k, _), count in votes.items():
            most[k] = max(most.get(k, 0), count)
        return sum(most.values()) / len(records)


def _search(raw_mm: NDArray[np.float64], ground: _Ground) -> Placing:
    """The placing of a netlist's points. No move wins when nearly all points lie on copper as given, whatever drew it; a move must put clearly
    more of them on copper. Flashes and holes vote on moves; where they find none that suits, the middles of regions vote too."""
    best = Placing(1.0, 1.0, 0.0, 0.0, ground.share(raw_mm))
    if best.share >= ENOUGH:
        return best
    flashes = target_places(ground.layers, ground.at_mm, ground.holes)
    moved = place_points(raw_mm, flashes)
    if not ground.layers:
        return moved
    for more in (False, True):
        if more:
            regions = _region_places(ground.layers)
            if len(regions) == 0:
                break
            moved = place_points(raw_mm, np.concatenate([flashes, regions]))
        share = ground.share(moved.apply(raw_mm))
        if share > best.share + CLEARLY_MORE:
            best = replace(moved, share=share)
        if share >= ENOUGH:
            break
    return best


def _region_places(layers: Sequence[CopperLayer]) -> NDArray[np.float64]:
    """Middles of the regions of the outer layers that are as small as a land. (m, 2)"""
    out = [np.empty((0, 2))]
    for layer in layers:
        if layer.key in ("c", "s"):
            box = layer.shapes.bounds_mm()[layer.kind == "region"]
            box = box[np.max(box[:, 2:] - box[:, :2], axis=1, initial=0.0) <= LAND_MM]
            out.append((box[:, :2] + box[:, 2:]) / 2)
    return np.unique(np.round(np.concatenate(out), 4), axis=0)


def _blind_holes(
    records: Sequence[NetlistRecord],
    xy: NDArray[np.float64],
    surface: Sequence[tuple[str, ...]],
    keys: Sequence[str],
    holes: Sequence[Hole],
    finder: HoleFinder,
    island: NDArray[np.int64],
) -> None:
    """Where blind holes of both sides lie over each other, gives each record the island of the hole that reaches its layer of access."""
    if not any(len(hole.layers) < len(keys) for hole in holes):
        return
    for k, record in enumerate(records):
        if not record.hole_mm or record.access == 0:
            continue
        here = finder.near(float(xy[k, 0]), float(xy[k, 1]))
        reached = [holes[j].island for j in here if holes[j].plated and surface[k][0] in holes[j].layers]
        if len(here) > 1 and reached and reached[0] is not None:
            island[k] = reached[0]


def _slack_mm(record: NetlistRecord) -> float:
    """How far off the copper a point may lie: a quarter of its land's narrow side, 0.05 to 0.25 mm (rounded coordinates, ring-shaped lands)."""
    sizes = [size for size in (record.size_x_mm, record.size_y_mm) if size > 0]
    return min(max(min(sizes) / 4, SAME_PLACE_MM), 0.25) if sizes else SAME_PLACE_MM


def netlist_findings(placed: PlacedNetlist) -> list[Finding]:
    """What the user should know about a netlist's place: a shift, mirroring, another scale, and a netlist that does not fit at all."""
    place, out = Place(file=placed.name), []
    move = placed.placing
    if move.words or abs(move.dx_mm) > SAME_PLACE_MM or abs(move.dy_mm) > SAME_PLACE_MM:
        far = abs(move.dx_mm) > SAME_PLACE_MM or abs(move.dy_mm) > SAME_PLACE_MM
        how = [f"is {move.words}"] if move.words else []
        how += ["has another origin"] if far else []
        words = f"Against the copper, the netlist {' and '.join(how)}; its points were moved (by {move.dx_mm:.3f}, {move.dy_mm:.3f} mm)."
        out.append(Finding("BRD-020", Severity.NOTE, place, words))
    on_copper = float(np.mean(placed.island >= 0)) if len(placed.island) else 0.0
    if len(placed.island) == 0:
        out.append(
            Finding(
                "BRD-021",
                Severity.WARNING,
                place,
                "The netlist holds no test point.",
                "Export it again, or leave it out of the package.",
            )
        )
    elif on_copper < STALE_SHARE:
        out.append(
            Finding(
                "BRD-022",
                Severity.ERROR,
                place,
                f"Only {on_copper:.0%} of the netlist's points lie on copper, wherever it is laid. It seems to belong to another board.",
                'Put the right netlist into the package, or say netlists.ignore = ["'
                + placed.name
                + '"] in coppermend-corrections.toml.',
            )
        )
    return out


def plating_findings(
    netlist: Netlist, placed: PlacedNetlist, holes: Sequence[Hole], finder: HoleFinder
) -> list[Finding]:
    """BRD-038 where the netlist says that holes are not plated which the drill data gives as plated, or leaves open. The copper is not changed by it."""
    rows = [k for k, record in enumerate(netlist.records) if record.hole_mm and record.plated is False]
    xy = np.array([(placed.points[k].x_mm, placed.points[k].y_mm) for k in rows]).reshape(-1, 2)
    found = [int(k) for k in finder.at(xy) if k >= 0 and holes[k].plated]
    if not found:
        return []
    spots = ", ".join(f"{holes[k].x_mm:.3f} {holes[k].y_mm:.3f}" for k in found[:4]) + (
        " ..." if len(found) > 4 else ""
    )
    words = (
        f"The netlist says that {len(found)} holes are not plated which are read as plated (at {spots} mm). "
        "Nets are made from copper and drill data alone: their walls join the layers as long as the drill data does not say otherwise."
    )
    remedy = "If the netlist is right, say plated = false for the drill file in coppermend-corrections.toml, or part the file."
    return [Finding("BRD-038", Severity.WARNING, Place(file=placed.name), words, remedy)]


def ignored(placed: PlacedNetlist) -> bool:
    """Whether a netlist fits so badly that it may name nothing."""
    return len(placed.island) == 0 or float(np.mean(placed.island >= 0)) < STALE_SHARE
