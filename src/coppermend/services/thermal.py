"""A thermal picture against a board: laid on it, temperature per part, and which part is cold that should be warm, hot, or even."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.model import Board, Part, PartState
from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.log.canonical import Json
from coppermend.core.thermal.expect import (
    COLD,
    HOT,
    UNKNOWN,
    Expected,
    Judged,
    against_before,
    against_expected,
    against_good,
    case_rise_k,
    expected_rises,
    median_shift,
)
from coppermend.core.thermal.greybody import apparent_c
from coppermend.core.thermal.lie import Lying, lay
from coppermend.core.thermal.parts import Body, Warm, temperatures
from coppermend.core.thermal.scale import Mark
from coppermend.devices.book import DeviceBook
from coppermend.services.bind import bind, part_states
from coppermend.services.entries import write
from coppermend.services.layphoto import SIDES, Tap, suggested
from coppermend.services.notes import Noted, noted
from coppermend.services.scene import bounds_mm
from coppermend.services.thermalfile import ThermalPicture
from coppermend.services.workshop import Workshop

Floats = NDArray[np.float64]
PLASTIC = 0.90
"""Emissivity of plastic packages (a maker of cameras on boards: "plastic 0.9"; +-0.05)."""
METAL_PACKAGES = ("TO", "HC", "XTAL", "OSC", "CAN", "XO")
"""Packages with bare metal on top: their own emissivity is near 0.15, so that they show the room."""
METAL_REFS = ("Y", "X", "J", "P", "CN")
BODY_MM2 = 8.0
LEAST_CONTRAST_K = 2.0
"""A picture with less from its coldest to its warmest shows nothing: two readings of one camera differ by as much (common practice, no source)."""
WHOLE_MM = 2.0
"""A picture said to show the board from edge to edge that the bodies' edges move further is not that (some three pixels at 160 x 120; an assumption)."""
NOT_JUDGED = "the picture shows nothing warmer than the rest: not judged"
AGAINST = ("expected", "good", "before")
CAUTIONS = (
    "Bare metal, shiny lids and fresh solder mirror the room and look colder than they are: tape or matt paint on them, and their own emissivity.",
    "A camera right above sees itself and the hand in shiny places: take the picture at a slant, and again from elsewhere; what moves is a reflection.",
    "Emissivity 0.9 is assumed for plastic, +-0.05: some 1 K at 20 K above the air. Labels and dust differ.",
    "Take it 5 to 10 minutes after power on, without draught (common practice, no source).",
    "Parts can burn fingers, and a hot cell or capacitor can burst: power off, keep away. Keep clear of mains and picture tubes: qualified people, local rules.",
)


@dataclass(frozen=True, slots=True)
class HeatAsked:
    """How a picture lies and is judged. ``taps`` places of the board and their pixels; ``whole``: it shows the board's outline from edge to edge instead.

    ``emissivity`` of packages, ``own`` of single parts; ``camera_emissivity`` what the camera was set to; ``reflected_c``, ``air_c`` None: the air, and guessed.
    """

    taps: tuple[Tap, ...] = ()
    whole: bool = False
    side: str = "c"
    emissivity: float = PLASTIC
    own: Mapping[str, float] = field(default_factory=dict)
    camera_emissivity: float = 1.0
    reflected_c: float | None = None
    air_c: float | None = None
    other_taps: tuple[Tap, ...] = ()


@dataclass(frozen=True, slots=True)
class PartHeat:
    """A part in the picture and what is said of it. ``compared_c`` the same part in the other picture; ``metal``: bare metal, not judged."""

    warm: Warm
    own_k: float | None
    neighbour_k: float
    judged: Judged
    compared_c: float | None
    metal: bool

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        one = self.warm
        return {
            "part": one.ref,
            "celsius": round(one.celsius, 2),
            "hottest_c": round(one.hottest_c, 2),
            "around_c": None if one.around_c is None else round(one.around_c, 2),
            "pixels": round(one.pixels, 1),
            "expected_c": None if self.judged.expected_c is None else round(self.judged.expected_c, 1),
            "own_k": None if self.own_k is None else round(self.own_k, 1),
            "neighbour_k": round(self.neighbour_k, 1),
            "compared_c": None if self.compared_c is None else round(self.compared_c, 2),
            "verdict": self.judged.verdict,
            "metal": self.metal,
            "words": self.judged.words,
        }


@dataclass(frozen=True, slots=True)
class HeatRead:
    """A picture read against a board. ``missed`` parts with an expectation that the picture does not show well enough."""

    picture: ThermalPicture
    lying: Lying
    asked: HeatAsked
    against: str
    air_c: float
    reflected_c: float
    parts: tuple[PartHeat, ...]
    missed: tuple[str, ...]
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]
    noted: Noted | None = None

    def of(self, verdict: str) -> tuple[str, ...]:
        """The parts with this verdict."""
        return tuple(one.warm.ref for one in self.parts if one.judged.verdict == verdict)

    @property
    def words(self) -> str:
        """The result in one sentence."""
        cold, hot = self.of(COLD), self.of(HOT)
        if any(one.code == "THM-010" for one in self.findings):
            return f"{len(self.parts)} parts seen, none judged: nothing in the picture is warmer than the rest"
        said = [f"hot: {', '.join(hot)}"] if hot else []
        said += [f"cold that should be warm: {', '.join(cold)}"] if cold else []
        even = len(self.of("even"))
        return f"{len(self.parts)} parts seen; {'; '.join(said) or 'none is hot or cold beyond what is expected'}; {even} as expected"

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        height, width = self.picture.celsius.shape
        return {
            "read": self.picture.kind,
            "unit": self.picture.unit,
            "width_px": width,
            "height_px": height,
            "step_k": round(self.picture.step_k, 4),
            "against": self.against,
            "side": self.asked.side,
            "air_c": round(self.air_c, 2),
            "reflected_c": round(self.reflected_c, 2),
            "emissivity": self.asked.emissivity,
            "registration": {
                "px_per_mm": round(self.lying.px_per_mm, 3),
                "tap_mm": round(self.lying.tap_mm, 2),
                "moved_mm": round(self.lying.moved_mm, 2),
                "gain": round(self.lying.gain, 3),
            },
            "parts": [one.as_dict() for one in self.parts],
            "cold": list(self.of(COLD)),
            "hot": list(self.of(HOT)),
            "missed": list(self.missed),
            "says": self.words,
            "cautions": list(self.cautions),
            "findings": [one.as_dict() for one in self.findings],
            **({} if self.noted is None else {"noted": self.noted.as_dict()}),
        }


def read_heat(
    board: Board,
    book: DeviceBook,
    picture: ThermalPicture,
    asked: HeatAsked,
    other: ThermalPicture | None = None,
    against: str = "expected",
    without: Sequence[str] = (),
) -> HeatRead:
    """Lay a picture on a board and judge every part. ``other`` the good board's picture or the one before; ``without`` parts that are not there.

    Refusals MAP-001, MAP-002, MAP-013, THM-005, THM-006, THM-007.
    """
    if asked.side not in SIDES:
        raise refuse("MAP-022", f"{asked.side!r} is no side of a board.", "Say c (component side) or s (solder side).")
    parts = [one for one in board.parts if one.side == asked.side and one.ref not in without and _area(one) >= BODY_MM2]
    if not parts:
        raise refuse(
            "THM-007",
            f"The board has no parts with a known body on its {SIDES[asked.side]}.",
            "Take the picture of the other side.",
        )
    refs = {one.ref.upper(): one.ref for one in board.parts}
    strange = [ref for ref in asked.own if ref.upper() not in refs]
    if strange:
        raise refuse(
            "MAP-013", f"The board has no part {', '.join(strange[:4])}.", "Name it as the board does: Y1=0.95."
        )
    asked = replace(asked, own={refs[ref.upper()]: value for ref, value in asked.own.items()})
    notes = list(picture.findings)
    air = asked.air_c if asked.air_c is not None else _coldest(picture.celsius)
    if asked.air_c is None:
        notes.append(
            Finding(
                "THM-007",
                Severity.GUESS,
                Place(),
                f"The air is taken as the picture's coldest twentieth, {air:.1f} degC.",
                "Say what the air was: --air-c 22, or in the field for it.",
            )
        )
    reflected = asked.reflected_c if asked.reflected_c is not None else air
    lying, warm = _temperatures(board, parts, picture, asked, asked.taps, reflected)
    if asked.whole and lying.moved_mm > WHOLE_MM:
        notes.append(
            Finding(
                "THM-011",
                Severity.WARNING,
                Place(),
                f"The picture does not show the board from edge to edge: its warm and cold bodies lie {lying.moved_mm:.1f} mm off, and it was laid by them.",
                "Tap four places or more in it instead, far apart: equal chips in rows can be taken for each other.",
            )
        )
    rises = expected_rises({one.ref: _own_k(one, book) for one in parts}, {one.ref: _box(one) for one in parts})
    compared: dict[str, float] = {}
    if other is not None:
        notes += other.findings
        _, there = _temperatures(board, parts, other, asked, asked.other_taps or asked.taps, reflected)
        compared = {one.ref: one.celsius for one in there}
    shift = median_shift([(one.celsius, compared[one.ref]) for one in warm if one.ref in compared])
    metal = {one.ref for one in parts if _metal(one) and one.ref not in asked.own}
    rows = []
    for one in warm:
        judged = _judged(one, rises[one.ref], air, against, compared.get(one.ref), shift)
        if one.ref in metal and against != "before":
            judged = Judged(UNKNOWN, None, "bare metal on top mirrors the room: not judged (tape, and its emissivity)")
        rows.append(
            PartHeat(
                one, rises[one.ref].own_k, rises[one.ref].neighbour_k, judged, compared.get(one.ref), one.ref in metal
            )
        )
    seen = {one.ref for one in warm}
    missed = tuple(one.ref for one in parts if one.ref not in seen and rises[one.ref].own_k is not None)
    rows.sort(key=lambda row: -row.warm.celsius)
    span = contrast_k(picture.celsius, [one.warm.hottest_c for one in rows])
    if span < LEAST_CONTRAST_K:
        notes.append(_no_contrast(span))
        rows = [replace(one, judged=Judged(UNKNOWN, one.judged.expected_c, NOT_JUDGED)) for one in rows]
    return HeatRead(picture, lying, asked, against, air, reflected, tuple(rows), missed, tuple(notes), CAUTIONS)


def contrast_k(celsius: Floats, hottest_c: Sequence[float]) -> float:
    """How much warmer than the picture's coldest twentieth its warmest half per cent, or its warmest part, is; kelvin.

    >>> contrast_k(np.full((4, 5), 25.0), [25.2])
    0.2
    """
    warmest = max([float(np.nanpercentile(celsius, 99.5)), *hottest_c])
    return round(warmest - _coldest(celsius), 3)


def _no_contrast(span_k: float) -> Finding:
    return Finding(
        "THM-010",
        Severity.WARNING,
        Place(),
        f"Nothing in the picture is more than {span_k:.1f} K warmer than the rest: no part is judged, and there are no edges to lay it on the board by.",
        "See whether the board is powered (measure a rail at a chip), whether the lens is open, and wait 5 to 10 minutes after power on.",
    )


def _judged(one: Warm, expected: Expected, air: float, against: str, other_c: float | None, shift: float) -> Judged:
    if against == "expected":
        return against_expected(one.celsius, one.around_c, air, expected)
    if other_c is None:
        return Judged(UNKNOWN, None, "not seen in the other picture")
    if against == "good":
        return against_good(one.celsius, other_c, shift, air)
    return against_before(one.celsius, one.around_c, other_c, expected)


def _temperatures(
    board: Board,
    parts: Sequence[Part],
    picture: ThermalPicture,
    asked: HeatAsked,
    taps: Sequence[Tap],
    reflected: float,
) -> tuple[Lying, tuple[Warm, ...]]:
    px, mm = _marks(board, picture.celsius.shape, asked, taps)
    bodies = [Body(one.ref, one.outline, asked.own.get(one.ref, asked.emissivity)) for one in parts]
    apparent = apparent_c(picture.celsius, asked.camera_emissivity, reflected)
    lying = lay(picture.celsius, px, mm, [one.outline for one in bodies], asked.side)
    return lying, temperatures(apparent, lying.lens, bodies, reflected)


def _marks(
    board: Board, shape: tuple[int, ...], asked: HeatAsked, taps: Sequence[Tap]
) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    if asked.whole:
        x0, y0, x1, y1 = bounds_mm(board)
        left, right = (x0, x1) if asked.side == "c" else (x1, x0)
        high, wide = shape[0] - 0.5, shape[1] - 0.5
        return [(-0.5, -0.5), (wide, -0.5), (wide, high), (-0.5, high)], [
            (left, y1),
            (right, y1),
            (right, y0),
            (left, y0),
        ]
    if not taps:
        good = ", ".join(pin.name for pin in suggested(board)[:4])
        raise refuse(
            "THM-005",
            "Where the board lies in the picture is not said.",
            f"Tap four places or more: --tap PIN=X,Y (good ones: {good}; a part's name means its middle), or --whole when the board fills the picture.",
        )
    pins = {pin.name.upper(): (pin.x_mm, pin.y_mm) for part in board.parts for pin in part.pins}
    middles = {part.ref.upper(): _middle(part) for part in board.parts}
    strange = [tap.pin for tap in taps if tap.pin.upper() not in pins and tap.pin.upper() not in middles]
    if strange:
        raise refuse(
            "MAP-013",
            f"The board has no pin or part {', '.join(strange[:4])}.",
            "Name them as the board does: U1.1, U1.",
        )
    mm = [pins[tap.pin.upper()] if tap.pin.upper() in pins else middles[tap.pin.upper()] for tap in taps]
    return [tap.px for tap in taps], mm


def _middle(part: Part) -> tuple[float, float]:
    x0, y0, x1, y1 = _box(part)
    return (x0 + x1) / 2.0, (y0 + y1) / 2.0


def _box(part: Part) -> tuple[float, float, float, float]:
    at = part.outline if len(part.outline) else np.array([(pin.x_mm, pin.y_mm) for pin in part.pins] or [(0.0, 0.0)])
    return float(at[:, 0].min()), float(at[:, 1].min()), float(at[:, 0].max()), float(at[:, 1].max())


def _area(part: Part) -> float:
    if len(part.outline) < 3:
        return 0.0
    x, y = part.outline[:, 0], part.outline[:, 1]
    return abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))) / 2.0


def _metal(part: Part) -> bool:
    return part.package.upper().startswith(METAL_PACKAGES) or part.ref.rstrip("0123456789").upper() in METAL_REFS


def _own_k(part: Part, book: DeviceBook) -> float | None:
    chip = book.find(part.value)
    if chip is None or chip.typical_w is None or chip.theta_k_per_w is None:
        return None
    return case_rise_k(chip.typical_w, chip.theta_k_per_w)


def _coldest(celsius: Floats) -> float:
    return float(np.nanpercentile(celsius, 5.0))


def note_heat(
    workshop: Workshop,
    case: str,
    book: DeviceBook,
    data: bytes,
    picture: ThermalPicture,
    asked: HeatAsked,
    other: ThermalPicture | None = None,
    against: str = "expected",
    *,
    name: str = "",
    entry_id: str | None = None,
    scale: Sequence[Mark] = (),
) -> HeatRead:
    """Read a picture against a case's board and write it into its log, the file kept by its hash; parts that are out are not looked at.

    ``scale``: the marks that a coloured picture was read by, kept so that it can be drawn again.
    """
    binding = bind(workshop, case)
    gone = [ref for ref, state in part_states(binding.state).items() if state in (PartState.OUT, PartState.NOT_FITTED)]
    found = read_heat(binding.board, book, picture, asked, other, against, gone)
    if not found.parts:
        raise refuse(
            "THM-007", "The picture shows no part well enough.", "Take it from nearer.", Place(file=name or None)
        )
    hottest = found.parts[0].warm
    lens = found.lying.lens
    shape = picture.celsius.shape
    seen: dict[str, Json] = {
        "against": against,
        "side": asked.side,
        "air_c": round(found.air_c, 2),
        "reflected_c": round(found.reflected_c, 2),
        "emissivity": asked.emissivity,
        "size_px": [int(shape[1]), int(shape[0])],
        "matrix": [float(v) for v in lens.matrix.ravel()],
        "bend": [float(lens.k), float(lens.k2)],
        "unit": picture.unit if picture.kind in ("csv", "tiff") else "",
        "scale": [{"px": [float(v) for v in one.px], "celsius": float(one.celsius)} for one in scale],
        "taps": [{"pin": tap.pin, "px": [float(v) for v in tap.px]} for tap in asked.taps],
        "tap_mm": round(found.lying.tap_mm, 3),
        "parts": {
            one.warm.ref: {
                "celsius": round(one.warm.celsius, 2),
                "expected_c": None if one.judged.expected_c is None else round(one.judged.expected_c, 1),
                "verdict": one.judged.verdict,
                "words": one.judged.words,
            }
            for one in found.parts
        },
    }
    payload: dict[str, Json] = {
        "celsius": round(hottest.celsius, 1),
        "part": hottest.ref,
        "sha256": workshop.store.attach(data),
        "raw": name,
        "instrument": "thermal picture",
        "words": found.words[:400],
        "picture": seen,
    }
    return replace(found, noted=noted(write(workshop, case, "heat", payload, entry_id=entry_id)))
