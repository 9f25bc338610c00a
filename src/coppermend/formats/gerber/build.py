"""Rows to shapes, in bulk: all objects of one template at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import chain, pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from coppermend.core.findings import Place, Severity
from coppermend.core.geometry.shapes import ShapeSet
from coppermend.formats.collect import FindingList
from coppermend.formats.gerber.aperture import NO_TURN, Template, Turn, flattened, mended, rotation, turned
from coppermend.formats.gerber.attributes import AttributeStore
from coppermend.formats.gerber.model import ARC, DRAW, FLASH, REGION, GerberImage

if TYPE_CHECKING:
    from coppermend.formats.gerber.reader import ApertureEntry, State

Row = tuple[int, int, float, float, float, float]
"""kind, state, x0, y0, x1, y1 in mm; for ARC and REGION x0 is an index into the paths."""

FAR_MM = 1e5
"""Coordinates further out than this (100 m) are not of a board."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ImagePlacing:
    """Deprecated AS, MI, SF, OF (act on positions), IR (turns the whole image), then IJ and IO (move the turned image).

    ``justified_mm``: where the image's left (A) and lower (B) edge come to lie by IJ, None where it does not say; ``film_mm`` the offset of IO.
    """

    swapped: bool = False
    mirror: tuple[bool, bool] = (False, False)
    scale: tuple[float, float] = (1.0, 1.0)
    offset_mm: tuple[float, float] = (0.0, 0.0)
    degrees: float = 0.0
    justified_mm: tuple[float | None, float | None] = (None, None)
    film_mm: tuple[float, float] = (0.0, 0.0)

    def on_film(self, box: Floats) -> tuple[float, float]:
        """What IJ and IO move the image by; ``box`` (n, 4) the boxes of its objects."""
        low = np.nanmin(box[:, :2], axis=0).tolist() if len(box) and not np.isnan(box).all() else (0.0, 0.0)
        x, y = (
            io + (0.0 if at is None else at - edge)
            for at, io, edge in zip(self.justified_mm, self.film_mm, low, strict=True)
        )
        return x, y

    def apply(self, xy: Floats) -> Floats:
        """(n, 2) positions placed, IR included."""
        if self == ImagePlacing():
            return xy
        out = xy[:, ::-1] if self.swapped else xy
        factor = np.array(
            [(-1 if self.mirror[0] else 1) * self.scale[0], (-1 if self.mirror[1] else 1) * self.scale[1]]
        )
        out = out * factor + np.asarray(self.offset_mm)
        return Turn(rotation(self.degrees)).apply(out) if self.degrees else out


def build_image(
    name: str,
    rows: list[Row],
    paths: Sequence[Sequence[tuple[float, float]]],
    states: Sequence[State],
    entries: Sequence[ApertureEntry],
    inverted: bool,
    placing: ImagePlacing,
    attributes: AttributeStore,
    comments: tuple[str, ...],
    found: FindingList,
) -> GerberImage:
    """The image of the reader's rows; objects without area or out of range are left out with a finding."""
    table = np.array(rows, dtype=np.float64).reshape(-1, 6)
    kind, state = table[:, 0].astype(np.uint8), table[:, 1].astype(np.int64)
    start, end = placing.apply(table[:, 2:4]), placing.apply(table[:, 4:6])
    picture = _Picture(kind, state, start, end, states, entries, placing)
    on_paths = (kind == ARC) | (kind == REGION)
    picture.paths(np.flatnonzero(on_paths), table[on_paths, 2].astype(np.int64), paths)
    picture.flashes_and_draws(np.flatnonzero(~on_paths))
    keep = np.array([g is not None for g in picture.skeleton], dtype=bool)
    _note_dropped(name, picture, keep, entries, found)
    dark = np.array([s.dark for s in states], dtype=bool)
    aperture = np.array([entries[s.aperture].code if s.aperture >= 0 else -1 for s in states], dtype=np.int32)
    attribute = np.array([s.attribute for s in states], dtype=np.int32)
    state = state[keep]
    none = len(states) == 0
    shapes, at = ShapeSet(picture.skeleton[keep], picture.radius[keep]), picture.at[keep]
    film = placing.on_film(shapes.bounds_mm())
    if film != (0.0, 0.0):
        shapes = ShapeSet(shapely.transform(shapes.skeleton, lambda xy: xy + np.array(film)), shapes.radius_mm)
        at = at + np.array(film)
    return GerberImage(
        name=name,
        shapes=shapes,
        kind=kind[keep],
        dark=np.zeros(0, dtype=bool) if none else dark[state] != inverted,
        at_mm=at,
        aperture=np.zeros(0, dtype=np.int32) if none else aperture[state],
        attribute=np.zeros(0, dtype=np.int32) if none else attribute[state],
        attributes=tuple(attributes.sets),
        inverted=inverted,
        file_attributes=dict(attributes.file),
        comments=comments,
        findings=found.close(name),
        film_mm=film,
    )


def _note_dropped(
    name: str, picture: _Picture, keep: NDArray[np.bool_], entries: Sequence[ApertureEntry], found: FindingList
) -> None:
    if picture.far:
        words = f"{picture.far} objects lie outside {FAR_MM / 1000:g} m or have unreadable coordinates; left out."
        found.add("GBR-040", Severity.ERROR, Place(file=name), words, "The coordinate format or unit may be wrong.")
    for index in sorted(picture.without_area):
        entry = entries[index]
        words = f"Aperture D{entry.code} is used, but {entry.problem or 'it has no area'}; {picture.without_area[index]} objects left out."
        severity = Severity.NOTE if entry.problem in ("", "it has no area") else Severity.ERROR
        found.add("GBR-041", severity, Place(file=name), words)
    if picture.crossing:
        words = f"{picture.crossing} regions touch or cross themselves; read by the even-odd rule."
        found.add("GBR-042", Severity.NOTE, Place(file=name), words)
    if picture.empty:
        found.add("GBR-043", Severity.NOTE, Place(file=name), f"{picture.empty} regions have no area; left out.")
    if picture.swept:
        words = f"{picture.swept} strokes with an aperture that is not convex; its hull was swept."
        found.add("GBR-044", Severity.WARNING, Place(file=name), words, "Look at this layer on the map.")


class _Picture:
    """The columns while they are filled."""

    def __init__(
        self,
        kind: NDArray[np.uint8],
        state: NDArray[np.int64],
        start: Floats,
        end: Floats,
        states: Sequence[State],
        entries: Sequence[ApertureEntry],
        placing: ImagePlacing,
    ) -> None:
        self.kind, self.state, self.start, self.end = kind, state, start, end
        self.placing = placing
        self.skeleton: NDArray[Any] = np.full(len(kind), None, dtype=object)
        self.radius = np.zeros(len(kind))
        self.at = start.copy()
        self.far = self.crossing = self.empty = self.swept = 0
        self.without_area: dict[int, int] = {}
        self.templates: list[Template | None] = []
        self.template_entry: list[int] = []
        self.of_state = self._templates(states, entries)

    def _templates(self, states: Sequence[State], entries: Sequence[ApertureEntry]) -> NDArray[np.int64]:
        """(number of states,) index into ``templates``; -1 for regions."""
        spin = Turn(rotation(self.placing.degrees)) if self.placing.degrees else NO_TURN
        known: dict[tuple[int, Turn], int] = {}
        out = np.full(len(states), -1, dtype=np.int64)
        for n, state in enumerate(states):
            if state.aperture < 0:
                continue
            key = (state.aperture, state.turn)
            if key not in known:
                known[key] = len(self.templates)
                raw = entries[state.aperture].template
                self.templates.append(None if raw is None else turned(raw, spin.after(state.turn)))
                self.template_entry.append(state.aperture)
            out[n] = known[key]
        return out

    # ---- arcs and regions ----
    def paths(
        self, index: NDArray[np.int64], path: NDArray[np.int64], paths: Sequence[Sequence[tuple[float, float]]]
    ) -> None:
        """Fills the ARC and REGION objects at ``index``."""
        lengths = np.array([len(paths[p]) for p in path], dtype=np.int64)
        numbers = chain.from_iterable(chain.from_iterable(paths[p] for p in path))
        flat = np.fromiter(numbers, dtype=np.float64, count=2 * int(lengths.sum())).reshape(-1, 2)
        flat = self.placing.apply(flat)
        first = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
        near = np.ones(len(index), dtype=bool)
        if len(index):
            inside = (np.abs(flat) < FAR_MM).all(axis=1)
            near = np.logical_and.reduceat(inside, first[:-1])
            self.at[index] = flat[first[:-1]]
        self.far += int((~near).sum())
        is_region = self.kind[index] == REGION
        self._regions(index, lengths, flat, near & is_region)
        self._arcs(index, lengths, flat, first, near & ~is_region)

    def _regions(
        self, index: NDArray[np.int64], lengths: NDArray[np.int64], flat: Floats, use: NDArray[np.bool_]
    ) -> None:
        if not use.any():
            return
        members = np.repeat(use, lengths)
        owner = np.repeat(np.arange(int(use.sum())), lengths[use])
        polygons = shapely.polygons(shapely.linearrings(flat[members], indices=owner))
        polygons, self.crossing = mended(polygons)
        empty = shapely.area(polygons) == 0.0
        self.empty = int(empty.sum())
        polygons[empty] = None
        self.skeleton[index[use]] = polygons

    def _arcs(
        self,
        index: NDArray[np.int64],
        lengths: NDArray[np.int64],
        flat: Floats,
        first: NDArray[np.int64],
        use: NDArray[np.bool_],
    ) -> None:
        template = self.of_state[self.state[index]] if len(self.of_state) else np.zeros(0, dtype=np.int64)
        for number in np.unique(template[use]) if use.any() else ():
            chosen = np.flatnonzero(use & (template == number))
            made = self.templates[number]
            if made is None:
                self._count_without_area(int(number), len(chosen))
                continue
            for n in chosen:
                line = flat[first[n] : first[n] + lengths[n]]
                self.skeleton[index[n]], self.radius[index[n]] = self._stroke(made, line)

    def _stroke(self, template: Template, line: Floats) -> tuple[shapely.Geometry, float]:
        if template.round:
            same = bool((line == line[0]).all())
            return (shapely.Point(line[0]) if same else shapely.LineString(line)), template.radius_mm
        if not template.convex:
            self.swept += 1
        corners = shapely.get_coordinates(template.skeleton)
        swept = [
            shapely.convex_hull(shapely.MultiPoint(np.vstack([corners + a, corners + b]))) for a, b in pairwise(line)
        ]
        area = shapely.union_all([flattened(s, template.radius_mm) for s in swept])
        return area, 0.0

    # ---- flashes and straight draws ----
    def flashes_and_draws(self, index: NDArray[np.int64]) -> None:
        """Fills the FLASH and DRAW objects at ``index``, template by template; discs of all sizes at once."""
        if not len(index):
            return
        near = (np.abs(self.start[index]) < FAR_MM).all(axis=1) & (np.abs(self.end[index]) < FAR_MM).all(axis=1)
        self.far += int((~near).sum())
        index = index[near]
        template = self.of_state[self.state[index]]
        discs = np.array([t is not None and t.round for t in self.templates], dtype=bool)
        radii = np.array([0.0 if t is None else t.radius_mm for t in self.templates])
        round_ = discs[template]
        self._round(index[round_], radii[template[round_]])
        rest, numbers = index[~round_], template[~round_]
        order = np.argsort(numbers, kind="stable")
        rest, numbers = rest[order], numbers[order]
        if not len(rest):
            return
        cuts = np.flatnonzero(np.diff(numbers)) + 1
        starts = np.concatenate([[0], cuts])
        for group, number in zip(np.split(rest, cuts), numbers[starts], strict=True):
            self._of_template(group, int(number))

    def _round(self, index: NDArray[np.int64], radius: Floats) -> None:
        self.radius[index] = radius
        dot = (self.kind[index] == FLASH) | (self.start[index] == self.end[index]).all(axis=1)
        self.skeleton[index[dot]] = shapely.points(self.start[index[dot]])
        line = index[~dot]
        self.skeleton[line] = shapely.linestrings(np.stack([self.start[line], self.end[line]], axis=1))

    def _of_template(self, index: NDArray[np.int64], number: int) -> None:
        template = self.templates[number]
        if template is None:
            self._count_without_area(number, len(index))
            return
        self.radius[index] = template.radius_mm
        flash = index[self.kind[index] == FLASH]
        self.skeleton[flash] = _placed(template.skeleton, self.start[flash])
        draw = index[self.kind[index] == DRAW]
        if len(draw):
            if not template.convex:
                self.swept += len(draw)
            corners = shapely.get_coordinates(shapely.convex_hull(template.skeleton))
            both = np.concatenate(
                [corners + self.start[draw][:, None, :], corners + self.end[draw][:, None, :]], axis=1
            )
            self.skeleton[draw] = shapely.convex_hull(shapely.multipoints(both))

    def _count_without_area(self, number: int, count: int) -> None:
        entry = self.template_entry[number]
        self.without_area[entry] = self.without_area.get(entry, 0) + count


def _placed(skeleton: shapely.Geometry, at: Floats) -> NDArray[Any]:
    """The skeleton moved to each of (n, 2) positions."""
    if isinstance(skeleton, shapely.Polygon) and not len(skeleton.interiors):
        corners = shapely.get_coordinates(skeleton)
        make: Callable[..., Any] = shapely.polygons
        return np.asarray(make(corners + at[:, None, :]))
    copies = np.full(len(at), skeleton, dtype=object)
    coordinates = shapely.get_coordinates(copies)
    each = len(coordinates) // max(1, len(at))
    return np.asarray(shapely.set_coordinates(copies, coordinates + np.repeat(at, each, axis=0)))
