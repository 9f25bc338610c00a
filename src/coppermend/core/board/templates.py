"""Where the pins of a part sit relative to its pin 1, by the usual shapes of leaded parts: two rows, one row, two leads, connectors.

A template is seen from the component side with pin 1 at (0, 0) and the first row running down (towards -y), x to the right. Two-row parts are
numbered down the first row and up the second, connectors of two rows zigzag (1 and 2 face each other).
Sources, named from memory: JEDEC MS-001 (0.300 inch rows), MS-010 (0.400 inch), MS-011 (0.600 inch); pitch 0.100 inch throughout.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.findings import Place, refuse

PITCH_MM = 2.54
AXIAL_MM = 10.16
RADIAL_MM = 5.08
"""Lead distance of a quarter-watt resistor laid flat, and of a small radial capacitor. Common practice, no source."""
MOST_PINS = 500
BODY_MM = 1.0
"""How far a body reaches beyond its end pins; 1.27 mm would touch the next part on the grid. Common practice, no source."""

Spot = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Template:
    """A shape: ``kind`` dip, sip, axial, radial or header; ``pins``; ``pitch_mm`` along a row; ``row_mm`` between the two rows (or leads)."""

    kind: str
    pins: int
    pitch_mm: float
    row_mm: float

    def places(self) -> tuple[tuple[str, Spot], ...]:
        """(pin number, (x_mm, y_mm) from pin 1) of every pin, in order of their numbers.

        >>> dict(template("DIP-4").places())["4"]
        (7.62, 0.0)
        >>> dict(template("HDR-2x3").places())["4"]
        (2.54, -2.54)
        """
        return tuple((str(k + 1), self._spot(k)) for k in range(self.pins))

    def _spot(self, k: int) -> Spot:
        if self.kind == "dip":
            half = self.pins // 2
            return (0.0, -k * self.pitch_mm) if k < half else (self.row_mm, -(self.pins - 1 - k) * self.pitch_mm)
        if self.kind == "header":
            return (k % 2) * self.row_mm, -(k // 2) * self.pitch_mm
        if self.kind in ("axial", "radial"):
            return k * self.row_mm, 0.0
        return 0.0, -k * self.pitch_mm

    def name(self) -> str:
        """The template as it is written.

        >>> template("dil14").name(), template("HDR-2x13").name(), template("AXIAL-12.7").name()
        ('DIP-14', 'HDR-2x13', 'AXIAL-12.7')
        """
        if self.kind == "header":
            return f"HDR-2x{self.pins // 2}"
        if self.kind in ("axial", "radial"):
            return f"{self.kind.upper()}-{self.row_mm:g}"
        return f"{self.kind.upper()}-{self.pins}"


_TWO_ROWS = re.compile(r"(?:C|P|CER|S)?-?(?:DIP|DIL)[-_ ]?(\d{1,3})", re.I)
_ONE_ROW = re.compile(r"(?:SIP|SIL|ROW|HDR-?1X|PINHEAD-?1X)[-_ ]?(\d{1,3})", re.I)
_HEADER = re.compile(r"(?:HDR|CONN|IDC|BOX|PINHEAD)[-_ ]?(?:2X(\d{1,3})|(\d{1,3}))", re.I)
_LEADS = re.compile(r"(AXIAL|RADIAL)(?:[-_ ]?(\d{1,2}(?:\.\d{1,2})?))?", re.I)
KNOWN = "DIP-14, SIP-9, HDR-2x13, AXIAL-10.16, RADIAL-5.08"


def row_spacing_mm(pins: int) -> float:
    """Distance of the two rows of a dual in-line part by its number of pins: 0.300 inch to 20 pins, 0.400 for 22, 0.600 from 24 on.

    >>> row_spacing_mm(14), row_spacing_mm(22), row_spacing_mm(40)
    (7.62, 10.16, 15.24)
    """
    return 7.62 if pins <= 20 else 10.16 if pins == 22 else 15.24


def template(name: str, pitch_mm: float | None = None, row_mm: float | None = None) -> Template:
    """The template of that name; ``pitch_mm`` and ``row_mm`` overrule the usual ones (0.3 to 50 mm). Refusal TPL-001, TPL-002.

    >>> template("DIP-40").row_mm, template("SIP-9").pins, template("axial").row_mm
    (15.24, 9, 10.16)
    """
    for value, what in ((pitch_mm, "pitch"), (row_mm, "distance of the rows")):
        if value is not None and not 0.3 <= value <= 50.0:
            raise refuse("TPL-002", f"A {what} of {value:g} mm is not possible.", "Give 0.3 to 50 mm.")
    made = _named(name.strip(), pitch_mm or PITCH_MM, row_mm)
    if made is None or not 1 <= made.pins <= MOST_PINS:
        raise refuse(
            "TPL-001", f"There is no part template {name[:40]!r}.", f"Write it like {KNOWN}.", Place(thing=name[:40])
        )
    return made


def _named(name: str, pitch: float, row: float | None) -> Template | None:
    found = _TWO_ROWS.fullmatch(name)
    if found and int(found[1]) % 2 == 0:
        return Template("dip", int(found[1]), pitch, row or row_spacing_mm(int(found[1])))
    found = _ONE_ROW.fullmatch(name)
    if found:
        return Template("sip", int(found[1]), pitch, 0.0)
    found = _HEADER.fullmatch(name)
    if found:
        pins = 2 * int(found[1]) if found[1] else int(found[2])
        return Template("header", pins, pitch, row or PITCH_MM) if pins % 2 == 0 else None
    found = _LEADS.fullmatch(name)
    if found:
        usual = AXIAL_MM if found[1].upper() == "AXIAL" else RADIAL_MM
        return Template(found[1].lower(), 2, pitch, row or (float(found[2]) if found[2] else usual))
    return None


_CHIPS = ("U", "IC", "Q", "N", "D")
_LAID = ("R", "D", "L", "FB", "F", "W", "JP", "LK", "Z")


def guessed(ref: str, numbers: Sequence[str], package: str = "") -> Template | None:
    """The template a part most likely has: its package where that names one that fits, else by letters and number of pins; None when nothing fits.

    >>> guessed("U7", [str(n) for n in range(1, 15)]).name(), guessed("R1", ["1", "2"]).name(), guessed("J1", ["1", "2", "3"]).name()
    ('DIP-14', 'AXIAL-10.16', 'SIP-3')
    """
    count, letters = len(numbers), ref.rstrip("0123456789").upper()
    whole = {str(n) for n in range(1, count + 1)} == set(numbers)
    for word in re.split(r"[,;:/\s]+", package):
        made = _named(word, PITCH_MM, None) if word else None
        if made is not None and set(numbers) <= {number for number, _ in made.places()}:
            return made
    highest = max((int(n) for n in numbers if n.isdecimal()), default=0)
    if letters in _CHIPS and highest >= 6 and highest <= 64 and all(n.isdecimal() for n in numbers):
        pins = highest + highest % 2
        return Template("dip", pins, PITCH_MM, row_spacing_mm(pins))
    if count == 2 and whole:
        laid = letters in _LAID
        return Template("axial" if laid else "radial", 2, PITCH_MM, AXIAL_MM if laid else RADIAL_MM)
    return Template("sip", count, PITCH_MM, 0.0) if whole and count <= MOST_PINS else None


def turned(places: Iterable[tuple[str, Spot]], at: Spot, rotation_deg: float, side: str) -> dict[str, Spot]:
    """Pins on the board: turned ``rotation_deg`` anticlockwise as seen on the part's own side, pin 1 at ``at`` (mm). Side s is mirrored left to right.

    >>> turned(template("DIP-4").places(), (10.0, 20.0), 90.0, "c")["2"]
    (12.54, 20.0)
    >>> turned(template("DIP-4").places(), (10.0, 20.0), 0.0, "s")["4"]
    (2.38, 20.0)
    """
    flip = -1.0 if side == "s" else 1.0
    c, s = math.cos(math.radians(rotation_deg)), math.sin(math.radians(rotation_deg))
    return {
        number: (round(at[0] + flip * (c * x - s * y), 6) + 0.0, round(at[1] + s * x + c * y, 6) + 0.0)
        for number, (x, y) in places
    }


@dataclass(frozen=True, slots=True)
class Fit:
    """A template laid on known pins: ``places`` of every pin (mm), ``rotation_deg`` as ``turned`` takes it, ``residual_mm`` root mean square."""

    places: dict[str, Spot]
    rotation_deg: float
    residual_mm: float


def fitted(made: Template, known: Mapping[str, Spot], side: str) -> Fit | None:
    """The template moved and turned (never stretched) onto two or more known pins by least squares; None with fewer.

    Source: the closed form for two dimensions (B. K. P. Horn, JOSA A 4 (1987) 629, named from memory).

    >>> fit = fitted(template("DIP-14"), {"1": (5.0, 5.0), "7": (20.24, 5.0)}, "c")
    >>> round(fit.rotation_deg, 3), fit.places["14"], round(fit.residual_mm, 6)
    (90.0, (5.0, 12.62), 0.0)
    """
    flip = -1.0 if side == "s" else 1.0
    base = dict(made.places())
    shared = [number for number in base if number in known]
    if len(shared) < 2:
        return None
    a: NDArray[np.float64] = np.array([base[n] for n in shared])
    b: NDArray[np.float64] = np.array([(flip * known[n][0], known[n][1]) for n in shared])
    p, q = a - a.mean(axis=0), b - b.mean(axis=0)
    turn = math.atan2(float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum()), float((p * q).sum()))
    c, s = math.cos(turn), math.sin(turn)
    rotated = a @ np.array([[c, s], [-s, c]])
    shift = b.mean(axis=0) - rotated.mean(axis=0)
    residual = float(np.sqrt(((rotated + shift - b) ** 2).sum(axis=1).mean()))
    at = (flip * float(shift[0]), float(shift[1]))
    return Fit(turned(made.places(), at, math.degrees(turn), side), math.degrees(turn), residual)


def body(places: Iterable[Spot], kind: str, row_mm: float) -> NDArray[np.float64]:
    """(5, 2) closed outline of the body in mm: between the rows of a dual in-line part, else round the pins. ``places`` in board coordinates."""
    xy = np.array(list(places), dtype=np.float64)
    if len(xy) < 2:
        low, high = xy.min(axis=0) - BODY_MM, xy.max(axis=0) + BODY_MM
        return np.array([(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1]), (low[0], low[1])])
    along = _along(xy, kind)
    across = np.array([-along[1], along[0]])
    u, v = xy @ along, xy @ across
    inset = -min(0.75, row_mm / 4) if kind == "dip" else BODY_MM
    u0, u1, v0, v1 = u.min() - BODY_MM, u.max() + BODY_MM, v.min() - inset, v.max() + inset
    corners = [(u0, v0), (u1, v0), (u1, v1), (u0, v1), (u0, v0)]
    return np.array([p * along + q * across for p, q in corners])


def _along(xy: NDArray[np.float64], kind: str) -> NDArray[np.float64]:
    """The direction of the rows: from the first pin to the last of its row."""
    last = len(xy) // 2 - 1 if kind == "dip" else len(xy) - (2 if kind == "header" and len(xy) > 2 else 1)
    step = xy[max(last, 1)] - xy[0]
    length = float(np.hypot(*step))
    return step / length if length > 1e-9 else np.array([0.0, -1.0])
