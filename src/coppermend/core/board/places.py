"""Where the pins of a board without fabrication data sit: from the pin list, from the user's map file, from marked photos, by part templates;
what is left over is laid out in rows beside, and said to be made up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from coppermend.core.board.pinlist import NO_MAP, MapFile, Mark, PartSpot, PhotoMarks, PinList
from coppermend.core.board.templates import PITCH_MM, Spot, Template, fitted, guessed, template, turned
from coppermend.core.findings import Finding, Place, Refusal, Severity
from coppermend.core.geometry.homography import Homography, homography

FAR_OFF_MM = 0.7
"""Marks or pins that miss by more than this are worth a look: more than a quarter of a pitch. Our choice."""
BESIDE_MM = 12.7
"""Gap between parts at made-up places, wide enough that a work area round one part touches no other."""
PHOTO_ROOM_MM = 60.0
"""Room left under the placed pins for the rest of a board that a photo shows and no size tells."""
WIDE = 1.6
"""Made-up places fill a sheet this much wider than high."""


@dataclass(slots=True)
class Places:
    """Places of all pins. ``at`` pin name -> (x, y) mm; ``side`` and ``shape`` by part; ``made_up`` parts whose place nobody said; ``photos`` by side."""

    at: dict[str, Spot] = field(default_factory=dict)
    side: dict[str, str] = field(default_factory=dict)
    shape: dict[str, Template | None] = field(default_factory=dict)
    made_up: list[str] = field(default_factory=list)
    photos: dict[str, tuple[str, Homography]] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    def note(self, code: str, severity: Severity, thing: str, words: str, remedy: str) -> None:
        """Add a finding about a part or photo."""
        self.findings.append(Finding(code, severity, Place(thing=thing), words, remedy))


def place_pins(pins: PinList, said: MapFile = NO_MAP) -> Places:
    """A place for every pin of the list, the best source first: list, map file (mm), photo (pixels), template on what is known, made up."""
    work = _Work(pins, said)
    for ref in work.numbers:
        work.from_list(ref)
    for spot in said.parts:
        if spot.ref in work.numbers and spot.at_mm is not None:
            work.by_spot(spot, spot.at_mm)
    for photo in said.photos:
        work.see(photo)
    for spot in said.parts:
        if spot.ref in work.numbers and spot.at_mm is None and spot.pins_px:
            work.by_photo(spot)
        elif spot.ref not in work.numbers:
            work.out.note(
                "PIN-023",
                Severity.WARNING,
                spot.ref,
                f"The map file places {spot.ref}, which the pin list does not have.",
                "Check the designator.",
            )
    work.rest()
    return work.out


class _Work:
    """Places while they are found."""

    def __init__(self, pins: PinList, said: MapFile) -> None:
        self.pins = pins
        self.out = Places()
        self.numbers: dict[str, list[str]] = {}
        self.known: dict[str, dict[str, Spot]] = {}
        self.size_mm = said.size_mm
        self.spots: Mapping[str, PartSpot] = {one.ref: one for one in said.parts}
        packages = {row.ref: row.package for row in pins.parts}
        for row in pins.rows:
            self.numbers.setdefault(row.part, []).append(row.pin)
            if row.x_mm is not None and row.y_mm is not None:
                self.known.setdefault(row.part, {})[row.pin] = (row.x_mm, row.y_mm)
            if row.side:
                self.out.side.setdefault(row.part, row.side)
        for ref, numbers in self.numbers.items():
            spot = self.spots.get(ref)
            self.out.side[ref] = (spot.side if spot and spot.side else "") or self.out.side.get(ref, "c")
            self.out.shape[ref] = self._shape(ref, numbers, packages.get(ref, ""), spot)

    def _shape(self, ref: str, numbers: Sequence[str], package: str, spot: PartSpot | None) -> Template | None:
        if spot is None or not (spot.template or spot.pitch_mm or spot.row_mm):
            return guessed(ref, numbers, package)
        base = guessed(ref, numbers, package)
        name = spot.template or (base.name() if base else "")
        try:
            made = template(name, spot.pitch_mm, spot.row_mm)
        except Refusal as refusal:
            self.out.findings.append(refusal.finding)
            return base
        strange = [n for n in numbers if n not in dict(made.places())]
        if strange:
            words = f"{ref} has pins that {made.name()} does not have: {', '.join(strange[:8])}."
            self.out.note("PIN-024", Severity.WARNING, ref, words, "Name another template, or give these pins' places.")
        return made

    def settle(self, ref: str, places: Mapping[str, Spot]) -> None:
        """Take places for the pins of a part; what the list says itself stays."""
        for number in self.numbers[ref]:
            if number in places:
                self.out.at.setdefault(f"{ref}.{number}", places[number])

    def from_list(self, ref: str) -> None:
        """Places that the list gives, and by template the rest of that part."""
        known = self.known.get(ref, {})
        self.settle(ref, known)
        made = self.out.shape[ref]
        if not known or len(known) == len(self.numbers[ref]) or made is None:
            return
        fit = fitted(made, known, self.out.side[ref])
        if fit is not None:
            self._look(ref, made, fit.residual_mm)
            self.settle(ref, fit.places)
        else:
            number, at = next(iter(known.items()))
            first = dict(made.places()).get(number, (0.0, 0.0))
            flip = -1.0 if self.out.side[ref] == "s" else 1.0
            corner = (at[0] - flip * first[0], at[1] - first[1])
            self.settle(ref, turned(made.places(), corner, 0.0, self.out.side[ref]))

    def by_spot(self, spot: PartSpot, at: Spot) -> None:
        """A part that the map file places in mm."""
        made = self.out.shape[spot.ref]
        if made is not None:
            self.settle(spot.ref, turned(made.places(), at, spot.rotation_deg, self.out.side[spot.ref]))

    def see(self, photo: PhotoMarks) -> None:
        """Fit a photo to its marks; where no mark has a place in mm yet, the part with the most marks becomes the origin."""
        marks = [(mark, self._mark_mm(mark)) for mark in photo.marks]
        if sum(mm is not None for _, mm in marks) < 4:
            self._origin(photo)
            marks = [(mark, self._mark_mm(mark)) for mark in photo.marks]
        lost = [mark.pin for mark, mm in marks if mm is None and mark.pin]
        if lost:
            words = f"The photo of side {photo.side} has marks at pins without a place: {', '.join(lost[:6])}. They were left out."
            self.out.note("PIN-025", Severity.NOTE, photo.file, words, "Place these parts, or mark other pins.")
        used = [(mark, mm) for mark, mm in marks if mm is not None]
        try:
            found = homography([mark.px for mark, _ in used], [mm for _, mm in used])
        except Refusal as refusal:
            self.out.findings.append(
                Finding(
                    refusal.finding.code,
                    Severity.ERROR,
                    Place(file=photo.file),
                    refusal.finding.words,
                    refusal.finding.remedy,
                )
            )
            return
        self.out.photos[photo.side] = (photo.file, found)
        worst = used[found.worst_mark][0]
        where = worst.pin or f"pixel {worst.px[0]:g}, {worst.px[1]:g}"
        fits = (
            "exactly (four marks say nothing about the error)" if len(used) == 4 else f"within {found.residual:.2f} mm"
        )
        bad = found.worst > FAR_OFF_MM
        words = f"The photo of side {photo.side} lies on the board {fits}" + (
            f"; the mark at {where} misses by {found.worst:.2f} mm." if bad else "."
        )
        self.out.note(
            "PIN-026",
            Severity.WARNING if bad else Severity.NOTE,
            photo.file,
            words,
            "Look at that mark again: a wrong pin, or a bent picture edge." if bad else "",
        )

    def _mark_mm(self, mark: Mark) -> Spot | None:
        return mark.mm if mark.mm is not None else self.out.at.get(self._known_name(mark.pin))

    def _known_name(self, name: str) -> str:
        part, _, number = name.rpartition(".")
        ref = next((one for one in self.numbers if one.upper() == part.upper()), part)
        return f"{ref}.{number}"

    def _origin(self, photo: PhotoMarks) -> None:
        """No place in mm is known: the part with the most marked pins is laid at 0, 0 and gives the scale."""
        count: dict[str, int] = {}
        for mark in photo.marks:
            ref = self._known_name(mark.pin).rpartition(".")[0]
            if (
                ref in self.numbers
                and f"{ref}.{self.numbers[ref][0]}" not in self.out.at
                and self.out.shape[ref] is not None
            ):
                count[ref] = count.get(ref, 0) + 1
        best = max(count, key=lambda ref: (count[ref], -list(self.numbers).index(ref)), default="")
        made = self.out.shape.get(best)
        if made is None or count[best] < 4:
            return
        spot = self.spots.get(best)
        self.settle(best, turned(made.places(), (0.0, 0.0), spot.rotation_deg if spot else 0.0, self.out.side[best]))
        words = f"No place in mm is given; {best} ({made.name()}) is taken as the origin and gives the scale."
        self.out.note(
            "PIN-027", Severity.GUESS, best, words, "Give at_mm for one part in the map file to choose another."
        )

    def by_photo(self, spot: PartSpot) -> None:
        """A part whose pins were marked in a photo: one pin and a rotation, or two and more pins."""
        side = "s" if "s" in self.out.photos and (self.out.side[spot.ref] == "s" or "c" not in self.out.photos) else "c"
        made = self.out.shape[spot.ref]
        if side not in self.out.photos or made is None:
            words = f"{spot.ref} is marked in a photo that could not be laid on the board, or has no template; its place is made up."
            self.out.note(
                "PIN-028", Severity.WARNING, spot.ref, words, "Mark four points of that photo, name a template."
            )
            return
        view = self.out.photos[side][1]
        known = {number: _spot(view, px) for number, px in spot.pins_px.items()}
        fit = fitted(made, known, self.out.side[spot.ref])
        if fit is not None:
            self._look(spot.ref, made, fit.residual_mm)
            self.settle(spot.ref, fit.places)
            return
        number, at = next(iter(known.items()))
        first = turned(made.places(), (0.0, 0.0), spot.rotation_deg, self.out.side[spot.ref]).get(number, (0.0, 0.0))
        corner = (at[0] - first[0], at[1] - first[1])
        self.settle(spot.ref, turned(made.places(), corner, spot.rotation_deg, self.out.side[spot.ref]))

    def _look(self, ref: str, made: Template, residual_mm: float) -> None:
        if residual_mm > FAR_OFF_MM:
            words = f"{made.name()} misses the known pins of {ref} by {residual_mm:.2f} mm."
            self.out.note(
                "PIN-022", Severity.WARNING, ref, words, "Check template, pitch and row distance of that part."
            )

    def rest(self) -> None:
        """Lay out in rows what nobody placed."""
        xs = [x for x, _ in self.out.at.values()]
        x0 = min(xs, default=0.0)
        y = self._below()
        x, deepest = x0, 0.0
        shapes: dict[str, dict[str, Spot]] = {}
        for ref, numbers in self.numbers.items():
            left = [n for n in numbers if f"{ref}.{n}" not in self.out.at]
            if len(left) == len(numbers):
                self.out.made_up.append(ref)
            if left:
                shapes[ref] = self._made_up(ref, left)
        tall_first = sorted(shapes, key=lambda ref: min(v for _, v in shapes[ref].values()))
        row_width = math.sqrt(WIDE * sum(_room(shape) for shape in shapes.values()))
        for ref in tall_first:
            shape = shapes[ref]
            low = min(v for _, v in shape.values())
            wide = max(u for u, _ in shape.values())
            if x > x0 and x + wide - x0 > row_width:
                x, y, deepest = x0, y - deepest - BESIDE_MM, 0.0
            self.settle(ref, {n: (round(x + u, 6), round(y + v, 6)) for n, (u, v) in shape.items()})
            x, deepest = x + wide + BESIDE_MM, max(deepest, -low)

    def _below(self) -> float:
        """Where made-up places begin: under the board where its size is given, under the placed pins, and well under them where a photo shows more."""
        ys = [y for _, y in self.out.at.values()]
        if not ys:
            return 0.0
        room = max(PHOTO_ROOM_MM, max(ys) - min(ys)) if self.out.photos else 0.0
        low = min(ys) - room if self.size_mm is None else min(0.0, *ys)
        return low - 2 * BESIDE_MM

    def _made_up(self, ref: str, left: Sequence[str]) -> dict[str, Spot]:
        made = self.out.shape[ref]
        base = dict(made.places()) if made is not None else {}
        if all(n in base for n in left):
            return {n: base[n] for n in left}
        rows = max(1, math.ceil(math.sqrt(len(left))))
        return {n: ((k // rows) * PITCH_MM, -(k % rows) * PITCH_MM) for k, n in enumerate(left)}


def _room(shape: Mapping[str, Spot]) -> float:
    """Area in mm2 that a part at a made-up place takes with its gap."""
    return (max(u for u, _ in shape.values()) + BESIDE_MM) * (BESIDE_MM - min(v for _, v in shape.values()))


def _spot(view: Homography, px: Spot) -> Spot:
    x, y = np.asarray(view.apply([px]))[0]
    return float(x), float(y)
