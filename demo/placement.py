"""Placement: where every part stands, and the supply copper that was drawn by hand before any track was searched.

Places are on the 0.1 inch raster (unit: 2.54 mm from the board's lower left corner, halves allowed) and are those of
pin 1. The board has four rows of chips; above each row runs a +5 V rail, below it a ground rail, both on the component
side, as combs from a ground trunk at the left and a +5 V trunk at the right, with cross ties on the solder side. The
order of the logic chips in their rows was found once by exchanging chips until the total length of the connections no
longer fell.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

from demo.circuit import Part, decoupled, parts
from demo.footprints import FOOTPRINTS, PITCH_MM, Footprint, Land

BOARD_UNITS = (110, 79)
WIDTH_MM, HEIGHT_MM = BOARD_UNITS[0] * PITCH_MM, BOARD_UNITS[1] * PITCH_MM
ROW_TOP = {"row1": 65.0, "tall": 51.0, "row3": 27.0, "row4": 13.0}
GROUND_RAILS = (4.5, 16.5, 30.5, 54.5, 68.5)
SUPPLY_RAILS = (14.5, 28.5, 52.5, 66.5)
MOUNTING_HOLES = ((3.0, 1.8), (107.0, 1.8), (3.0, 76.5), (107.0, 77.2), (54.0, 1.8))
MOUNTING_DRILL_MM = 3.2

_ROWS = {
    "row1": "- U34 U35 U33 U11 U2 U41 U23 U27 U28 U36 U43 -",
    "row3": "U39 U17 U40 U10 U9 U16 U3 U24 U25 U20 U15 - U19",
    "row4": "U14 - U12 U13 - U50 U51 U52 U53 U54 U55 U56 U57",
}
_TALL = {"U38": 12, "U4": 23, "U5": 34, "U1": 45, "U22": 56, "U26": 67, "U29": 78, "U31": 89, "U32": 97}
_STACKED = {"U30": (89.0, 39.0), "U37": (97.0, 39.0)}
_TURNED = {"U38", *(f"U{50 + i}" for i in range(8))}

# ref: (x, y) of pin 1 in units, rotation in degrees counter-clockwise
_SINGLE: dict[str, tuple[float, float, int]] = {
    "J3": (8, 76, 0),
    "RN2": (8, 72, 0),
    "J2": (24, 76, 0),
    "D6": (48, 76, 0),
    "R40": (47, 73, 0),
    "S1": (56, 76, 0),
    "S2": (62, 76, 0),
    "R22": (66, 73, 0),
    "R23": (66, 72, 0),
    "R24": (66, 71, 0),
    "J4": (72, 76, 0),
    "Q1": (72, 72, 0),
    "R25": (72, 70, 0),
    "R26": (76, 73, 0),
    "J5": (82, 76, 0),
    "R29": (82, 73, 0),
    "R30": (82, 72, 0),
    "D2": (82, 71, 0),
    "Q3": (88, 72, 0),
    "R33": (88, 70, 0),
    "J6": (90, 76, 0),
    "R27": (92, 73, 0),
    "R28": (92, 72, 0),
    "Q2": (93, 70.5, 0),
    "J1": (106, 74.5, 180),
    "C10": (98.5, 66.5, 90),
    "C11": (64.5, 52.5, 90),
    "C12": (66.5, 14.5, 90),
    "C13": (10.5, 14.5, 90),
    "SW1": (101, 65, 0),
    "RN3": (106, 65, 270),
    "LK1": (101, 59, 0),
    "BT1": (6, 48, 0),
    "D3": (10, 38, 0),
    "D4": (10, 37, 0),
    "R36": (10, 36, 0),
    "R39": (10, 35, 0),
    "R35": (10, 34, 0),
    "R37": (10, 33, 0),
    "R38": (10, 32, 0),
    "C8": (15, 33, 0),
    "C7": (15, 32, 0),
    "Y2": (17, 38, 180),
    "C5": (18, 38, 0),
    "C6": (18, 37, 0),
    "R34": (18, 36, 0),
    "Q4": (18, 34, 0),
    "D5": (18, 32, 0),
    "RN1": (23, 35, 0),
    "R18": (34, 36, 0),
    "R19": (34, 35, 0),
    "R20": (34, 34, 0),
    "R21": (78, 36, 0),
    "R9": (13, 13, 0),
    "R10": (13, 12, 0),
    "R11": (13, 11, 0),
    "R15": (13, 9, 0),
    "R12": (95, 27, 0),
    "C1": (96, 25, 0),
    "R13": (95, 23, 0),
    "Y1": (95, 21, 0),
    "R14": (95, 19, 0),
    "R16": (102, 47, 0),
    "R17": (102, 46, 0),
    "R31": (102, 45, 0),
    "R32": (102, 44, 0),
    "C3": (103, 42, 0),
    "C4": (103, 41, 0),
    "D1": (102, 39, 0),
    "C2": (103, 36, 0),
    **{f"R{i + 1}": (37, 13 - i, 0) for i in range(8)},
}


@dataclass(frozen=True, slots=True)
class Placed:
    """A part on the board: its footprint, the place of pin 1 in millimetres, and the rotation in degrees."""

    part: Part
    footprint: Footprint
    x_mm: float
    y_mm: float
    rotation: int

    def at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """The board coordinates of a point of the footprint, rounded to a nanometre."""
        a = radians(self.rotation)
        c, s = round(cos(a)), round(sin(a))
        return round(self.x_mm + c * x_mm - s * y_mm, 6), round(self.y_mm + s * x_mm + c * y_mm, 6)

    def centre_mm(self) -> tuple[float, float]:
        """The middle of the body, which is what a parts list states."""
        x0, y0, x1, y1 = self.footprint.body_mm
        return self.at((x0 + x1) / 2, (y0 + y1) / 2)

    def body_mm(self) -> tuple[float, float, float, float]:
        """The body's rectangle (x0, y0, x1, y1) on the board."""
        x0, y0, x1, y1 = self.footprint.body_mm
        (ax, ay), (bx, by) = self.at(x0, y0), self.at(x1, y1)
        return min(ax, bx), min(ay, by), max(ax, bx), max(ay, by)


@dataclass(frozen=True, slots=True)
class PlacedLand:
    """A land on the board: whose pin it is, its net ("" when unconnected), its centre and the land itself."""

    ref: str
    number: str
    net: str
    x_mm: float
    y_mm: float
    land: Land


def _chip_places() -> dict[str, tuple[float, float, int]]:
    places: dict[str, tuple[float, float, int]] = {}
    for row, names in _ROWS.items():
        for slot, ref in enumerate(names.split()):
            if ref != "-":
                places[ref] = (5.0 + 8 * slot, ROW_TOP[row], 0)
    places |= {ref: (float(x), ROW_TOP["tall"], 0) for ref, x in _TALL.items()}
    places |= {ref: (x, y, 0) for ref, (x, y) in _STACKED.items()}
    return places


def _capacitor_place(ref: str, x: float, y: float, wide: bool) -> tuple[float, float, int]:
    """The decoupling capacitor of a chip: from the ground rail to the supply rail above it, or above a stacked chip."""
    if ref in _STACKED:
        return x + 1, y + 2, 0
    return x + (3 if wide else 1), y + 3.5, 270


def placed() -> tuple[Placed, ...]:
    """Every part with its place, in the order of `circuit.parts`. Raises KeyError for a part without a place."""
    chips = _chip_places()
    places = dict(_SINGLE) | chips
    all_parts = parts()
    devices = {p.ref: p.device for p in all_parts}
    for i, ref in enumerate(decoupled(), 20):
        x, y, _ = chips[ref]
        places[f"C{i}"] = _capacitor_place(ref, x, y, devices[ref].package in ("DIP24", "DIP28", "DIP40"))
    result = []
    for part in all_parts:
        footprint = FOOTPRINTS[part.device.package]
        x, y, rotation = places[part.ref]
        if part.ref in _TURNED:
            last = footprint.lands[len(footprint.lands) // 2]
            first = footprint.lands[len(footprint.lands) // 2 - 1]
            x, y, rotation = x + last.x_mm / PITCH_MM, y + first.y_mm / PITCH_MM, 180
        result.append(Placed(part, footprint, x * PITCH_MM, y * PITCH_MM, rotation))
    return tuple(result)


def lands(of: tuple[Placed, ...]) -> tuple[PlacedLand, ...]:
    """Every land of the board, part by part in pin order."""
    result = []
    for item in of:
        for (number, net), land in zip(item.part.nets, item.footprint.lands, strict=True):
            x, y = item.at(land.x_mm, land.y_mm)
            result.append(PlacedLand(item.part.ref, number, net, x, y, land))
    return tuple(result)


@dataclass(frozen=True, slots=True)
class SupplyTrack:
    """A straight supply track drawn by hand: net, side (`c` or `s`), width, both ends in millimetres."""

    net: str
    side: str
    width_mm: float
    x0_mm: float
    y0_mm: float
    x1_mm: float
    y1_mm: float


_GROUND_TIES = (
    (26.5, 4.5, 16.5),
    (74.5, 4.5, 16.5),
    (26.5, 16.5, 30.5),
    (74.5, 16.5, 30.5),
    (42.5, 30.5, 54.5),
    (75.5, 30.5, 54.5),
    (27.5, 54.5, 68.5),
    (74.5, 54.5, 68.5),
)
_SUPPLY_TIES = (
    (50.5, 14.5, 28.5),
    (90.5, 14.5, 28.5),
    (52.5, 28.5, 52.5),
    (87.5, 28.5, 52.5),
    (50.5, 52.5, 66.5),
    (91.5, 52.5, 66.5),
)
RAIL_MM, TRUNK_MM, TIE_MM = 1.5, 2.54, 1.27
TIE_LAND_MM, TIE_HOLE_MM = 1.6, 0.9


def supply_tracks() -> tuple[SupplyTrack, ...]:
    """Rails, trunks and ties of ground and +5 V, all of them straight."""

    def track(net: str, side: str, width: float, *ends: float) -> SupplyTrack:
        x0, y0, x1, y1 = (round(v * PITCH_MM, 6) for v in ends)
        return SupplyTrack(net, side, width, x0, y0, x1, y1)

    return (
        track("GND", "c", TRUNK_MM, 2, GROUND_RAILS[0], 2, GROUND_RAILS[-1]),
        *(track("GND", "c", RAIL_MM, 2, y, 106, y) for y in GROUND_RAILS),
        track("VCC", "c", TRUNK_MM, 108, SUPPLY_RAILS[0], 108, 74.5),
        *(track("VCC", "c", RAIL_MM, 4, y, 108, y) for y in SUPPLY_RAILS),
        track("VCC", "c", TRUNK_MM, 104, 74.5, 108, 74.5),
        track("GND", "c", TRUNK_MM, 100, 74.5, 102, 74.5),
        track("GND", "c", TRUNK_MM, 102, 68.5, 102, 74.5),
        *(track("GND", "s", TIE_MM, x, y0, x, y1) for x, y0, y1 in _GROUND_TIES),
        *(track("VCC", "s", TIE_MM, x, y0, x, y1) for x, y0, y1 in _SUPPLY_TIES),
    )


def supply_vias() -> tuple[tuple[str, float, float], ...]:
    """The plated holes at the ends of the ties: net, x, y in millimetres, each place once."""
    ends = {
        (net, x, y) for net, ties in (("GND", _GROUND_TIES), ("VCC", _SUPPLY_TIES)) for x, a, b in ties for y in (a, b)
    }
    return tuple((net, round(x * PITCH_MM, 6), round(y * PITCH_MM, 6)) for net, x, y in sorted(ends))
