"""Small hand-written Gerber files, one feature each, with the area in mm2 that follows from elementary geometry.

Written from the Gerber layer format specification (Ucamco); the areas are closed forms, worked out beside each case.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, cos, pi, sqrt

MM = "%FSLAX36Y36*%%MOMM*%"
END = "M02*"


@dataclass(frozen=True)
class Case:
    """``text`` the file, ``area`` its copper in mm2, ``spots`` points with whether copper is there."""

    name: str
    text: str
    area: float
    spots: tuple[tuple[float, float, bool], ...] = ()


def _flash(aperture: str, extra: str = "", at: str = "X0Y0") -> str:
    return f"{MM}{extra}%ADD10{aperture}*%D10*{at}D03*{END}"


def _thermal_area() -> float:
    """Ring 3.0 / 2.0 mm less a cross of 0.4 mm: four quarter pieces, by integration in polar form of the half gap h."""

    def quadrant(r: float, h: float) -> float:
        # area of the circle's part with x > h and y > h
        a = asin(h / r)
        return 0.5 * r * r * (pi / 2 - 2 * a) - h * (r * cos(a) - h)

    return 4 * (quadrant(1.5, 0.2) - quadrant(1.0, 0.2))


ROUND_RECT = (
    "%AMRoundRect*0 $1 radius, corners follow*4,1,4,$2,$3,$4,$5,$6,$7,$8,$9,$2,$3,0*1,1,$1+$1,$2,$3*1,1,$1+$1,$4,$5*"
    "1,1,$1+$1,$6,$7*1,1,$1+$1,$8,$9*20,1,$1+$1,$2,$3,$4,$5,0*20,1,$1+$1,$4,$5,$6,$7,0*20,1,$1+$1,$6,$7,$8,$9,0*"
    "20,1,$1+$1,$8,$9,$2,$3,0*%"
)

CASES = (
    Case("circle", _flash("C,1.5"), pi * 0.75**2, ((0.7, 0, True), (0.8, 0, False))),
    Case("circle with round hole", _flash("C,2X1"), pi * (1 - 0.25), ((0, 0, False), (0.75, 0, True))),
    Case("circle with square hole", _flash("C,2X0.8X0.8"), pi - 0.64, ((0.39, 0.39, False), (0.6, 0, True))),
    Case("rectangle", _flash("R,2X1"), 2.0, ((0.99, 0.49, True), (0.99, 0.51, False))),
    Case("rectangle with hole", _flash("R,2X1X0.6"), 2.0 - pi * 0.09, ((0, 0, False), (0.9, 0, True))),
    Case("obround", _flash("O,3X1"), 2.0 + pi * 0.25, ((1.49, 0, True), (1.45, 0.45, False))),
    Case("obround standing", _flash("O,1X3"), 2.0 + pi * 0.25, ((0, 1.49, True), (0.45, 1.45, False))),
    Case("polygon", _flash("P,2X6"), 1.5 * sqrt(3), ((0.99, 0, True), (0, 0.99, False))),
    Case("polygon turned", _flash("P,2X6X30"), 1.5 * sqrt(3), ((0, 0.99, True), (0.99, 0, False))),
    Case("polygon with hole", _flash("P,2X4X0X0.5"), 2.0 - pi * 0.0625, ((0, 0, False), (0.9, 0, True))),
    Case("macro circle off centre", _flash("AA", "%AMAA*1,1,1,2,0,90*%"), pi * 0.25, ((0, 2, True), (2, 0, False))),
    Case("macro vector line turned", _flash("AA", "%AMAA*20,1,0.5,0,0,2,0,90*%"), 1.0, ((0, 1, True), (1, 0, False))),
    Case("macro center line turned", _flash("AA,30", "%AMAA*21,1,3,1,0,0,$1*%"), 3.0, ((1.2, 0.7, True), (1.2, -0.7, False))),
    Case("macro lower left line", _flash("AA", "%AMAA*22,1,2,1,0.5,0.5,0*%"), 2.0, ((2.4, 1.4, True), (0.4, 0.4, False))),
    Case("macro outline", _flash("AA", "%AMAA*4,1,3,0,0,2,0,0,2,0,0,0*%"), 2.0, ((0.5, 0.5, True), (1.5, 1.5, False))),
    Case("macro polygon", _flash("AA", "%AMAA*5,1,8,0,0,2,22.5*%"), 2 * sqrt(2), ((0.9, 0, True), (0.95, 0, False))),
    Case("macro polygon away from the origin", _flash("AA", "%AMAA*5,1,8,0,0,2,22.5*%", "X5000000Y3000000"), 2 * sqrt(2), ((5.9, 3, True), (0, 0, False))),
    Case("macro thermal", _flash("AA", "%AMAA*7,0,0,3,2,0.4,0*%"), _thermal_area(), ((0.9, 0.9, True), (1.25, 0, False), (0, 0, False))),
    Case("macro thermal turned", _flash("AA", "%AMAA*7,0,0,3,2,0.4,45*%"), _thermal_area(), ((0.9, 0.9, False), (1.25, 0, True))),
    Case(
        "macro moire",
        _flash("AA", "%AMAA*6,0,0,4,0.3,0.2,2,0.01,4.2,0*%"),
        # rings 4/3.4 and 3/2.4; cross 0.01 x 4.2 twice where no ring is: about 0.01*2*(2*(0.1+0.2)+2.4) - 0.0001
        pi * (4 - 1.7**2 + 1.5**2 - 1.2**2) + 0.02 * (0.2 + 0.4 + 2.4) - 0.0001,
        ((1.85, 0, True), (1.6, 0.1, False), (0, 2.09, True)),
    ),
    Case("macro with a hole", _flash("AA", "%AMAA*1,1,3,0,0*1,0,1,0,0*%"), pi * (2.25 - 0.25), ((0, 0, False), (1, 0, True))),
    Case(
        "macro hole covered again",
        _flash("AA", "%AMAA*21,1,3,3,0,0,0*1,0,2,0,0*1,1,1,0,0*%"),
        9 - pi + pi * 0.25,
        ((0, 0, True), (0.75, 0, False), (1.4, 1.4, True)),
    ),
    Case("macro expressions", _flash("AA,2X0.5", "%AMAA*$3=$1-$2x2/(1+1)*0 note, with 1,2*21,1,$3,$1,0,0,0*%"), 3.0, ((0.7, 0.9, True),)),
    Case(
        "rounded rectangle",
        _flash("RoundRect,0.25X-0.75X0.25X-0.75X-0.25X0.75X-0.25X0.75X0.25", ROUND_RECT),
        2.0 * 1.0 - (4 - pi) * 0.25**2,
        ((0.99, 0, True), (0.98, 0.48, False), (0.9, 0.4, True)),
    ),
    Case("draw with a circle", f"{MM}%ADD10C,0.5*%D10*X0Y0D02*X3000000Y4000000D01*{END}", 2.5 + pi * 0.0625, ((1.5, 2, True),)),
    Case("draw of no length", f"{MM}%ADD10C,0.5*%D10*X1000000Y0D02*X1000000Y0D01*{END}", pi * 0.0625, ((1.2, 0, True),)),
    Case("draw with a rectangle", f"{MM}%ADD10R,1X0.5*%D10*X0Y0D02*X2000000Y2000000D01*{END}", 0.5 + 2 * 1.5, ((1, 1, True), (0, 1, False))),
    Case("draw modal coordinates", f"{MM}%ADD10C,0.2*%D10*X0Y0D02*X1000000D01*Y1000000D01*X0*Y0*{END}", 0.8 - 0.04 + pi * 0.01, ((1, 0.5, True), (0.5, 0.5, False))),
    Case("quarter arc G75", f"{MM}%ADD10C,0.2*%D10*G75*X1000000Y0D02*G03X0Y1000000I-1000000J0D01*{END}", pi / 2 * 0.2 + pi * 0.01, ((sqrt(0.5), sqrt(0.5), True),)),
    Case("quarter arc G74", f"{MM}%ADD10C,0.2*%D10*G74*X1000000Y0D02*G03X0Y1000000I1000000J0D01*{END}", pi / 2 * 0.2 + pi * 0.01, ((sqrt(0.5), sqrt(0.5), True),)),
    Case("full circle", f"{MM}%ADD10C,0.2*%D10*G75*X1000000Y0D02*G02X1000000Y0I-1000000J0D01*{END}", 2 * pi * 0.2, ((-1, 0, True), (0, 1, True), (0, 0, False))),
    Case("three quarter arc clockwise", f"{MM}%ADD10C,0.2*%D10*G75*X1000000Y0D02*G02X0Y1000000I-1000000J0D01*{END}", 1.5 * pi * 0.2 + pi * 0.01, ((-1, 0, True),)),
    Case("region", f"{MM}G36*X0Y0D02*X2000000D01*Y1000000D01*X0D01*Y0D01*G37*{END}", 2.0, ((1, 0.5, True),)),
    Case(
        "region with arcs",
        f"{MM}G75*G36*X0Y0D02*G01X2000000D01*G03X2000000Y2000000I0J1000000D01*G01X0D01*G03X0Y0I0J-1000000D01*G37*{END}",
        4 + pi,
        ((2.9, 1, True), (-0.9, 1, True), (2.9, 0.1, False)),
    ),
    Case(
        "region of two contours",
        f"{MM}G36*X0Y0D02*X1000000D01*Y1000000D01*X0Y0D01*X3000000D02*X4000000D01*Y1000000D01*X3000000Y0D01*G37*{END}",
        1.0,
        ((0.8, 0.4, True), (3.8, 0.4, True), (2, 0.1, False)),
    ),
    Case(
        "region with a cut-in",
        f"{MM}G36*X0Y0D02*X4000000D01*Y4000000D01*X0D01*Y2000000D01*X1000000D01*Y3000000D01*X3000000D01*Y1000000D01*X1000000D01*"
        f"Y2000000D01*X0D01*Y0D01*G37*{END}",
        12.0,
        ((2, 2, False), (0.5, 2.5, True), (0.5, 1.5, True)),
    ),
    Case("clear polarity", f"{MM}%ADD10R,4X4*%%ADD11C,2*%D10*X0Y0D03*%LPC*%D11*X0Y0D03*%LPD*%X5000000D03*{END}", 16 - pi + pi, ((0, 0, False), (5, 0, True))),
    Case("mirror x", f"{MM}%AMAA*4,1,3,0,0,2,0,0,1,0,0,0*%%ADD10AA*%D10*%LMX*%X0Y0D03*{END}", 1.0, ((-1.5, 0.1, True), (1.5, 0.1, False))),
    Case("mirror y", f"{MM}%AMAA*4,1,3,0,0,2,0,0,1,0,0,0*%%ADD10AA*%D10*%LMY*%X0Y0D03*{END}", 1.0, ((1.5, -0.1, True), (1.5, 0.1, False))),
    Case("mirror then rotate", f"{MM}%AMAA*4,1,3,0,0,2,0,0,1,0,0,0*%%ADD10AA*%D10*%LMX*%%LR90*%X0Y0D03*{END}", 1.0, ((-0.1, -1.5, True), (-0.1, 1.5, False))),
    Case("scale", f"{MM}%ADD10R,2X1*%D10*%LS2*%X0Y0D03*{END}", 8.0, ((1.9, 0.9, True),)),
    Case(
        "step and repeat",
        f"{MM}%ADD10R,1X1*%D10*%SRX3Y2I2J3*%X0Y0D03*%SR*%{END}",
        6.0,
        ((4, 3, True), (2, 0, True), (6, 0, False)),
    ),
    Case(
        "block aperture",
        f"{MM}%ADD10R,2X1*%%ABD12*%D10*X1000000Y0D03*%AB*%D12*%LR90*%X0Y0D03*%LR0*%X10000000D03*{END}",
        4.0,
        ((0, 1.9, True), (1.5, 0, False), (11.9, 0.4, True)),
    ),
    Case(
        "block flashed clear",
        f"{MM}%ADD10R,2X1*%%ADD11R,6X6*%%ABD12*%D10*X0Y0D03*%AB*%D11*X0Y0D03*D12*%LPC*%X0Y0D03*{END}",
        34.0,
        ((0, 0, False), (2, 2, True)),
    ),
    Case("inch, trailing zeros left out", f"%FSTAX24Y24*%%MOIN*%%ADD10C,0.1*%D10*X01Y005D03*{END}", pi * 1.27**2, ((25.4, 12.7, True),)),
    Case("incremental", f"%FSLIX36Y36*%%MOMM*%%ADD10C,1*%D10*X2000000Y0D03*X2000000Y1000000D03*{END}", 2 * pi * 0.25, ((2, 0, True), (4, 1, True))),
    Case("deprecated unit codes", f"%FSLAX24Y24*%G70*%ADD10C,0.1*%G54D10*G90*X10000Y0D03*{END}", pi * 1.27**2, ((25.4, 0, True),)),
    Case("unit inside the format statement", f"%FSLAX36Y36*MOMM*%%ADD10C,1*%D10*X1000000Y0D03*{END}", pi * 0.25, ((1, 0, True),)),
    Case("operation code left out", f"{MM}%ADD10C,1*%D10*X0Y0D03*X2000000*X4000000*{END}", 3 * pi * 0.25, ((2, 0, True), (4, 0, True))),
    Case("operation code alone", f"{MM}%ADD10C,1*%D10*X2000000Y0D02*D03*{END}", pi * 0.25, ((2, 0, True),)),
    Case("comment with percent and statement inside", f"{MM}G04 100 % tested, D10X0Y0D03 is no statement*%ADD10C,1*%D10*X0Y0D03*{END}", pi * 0.25),
)  # fmt: skip

FAULTS = {
    "gerbonara": {
        "circle with square hole": "refused: rectangular holes of old files are unknown to it",
        "polygon turned": "polygon turned by a wrong angle",
        "macro lower left line": "refused: primitive 22 is unknown to it",
        "macro thermal": "NameError in its thermal primitive",
        "macro thermal turned": "NameError in its thermal primitive",
        "macro moire": "AttributeError in its moire primitive",
        "draw with a rectangle": "strokes of rectangles drawn as round strokes",
        "mirror x": "LM ignored", "mirror y": "LM ignored", "mirror then rotate": "LM and LR ignored", "scale": "LS ignored",
        "step and repeat": "SR ignored",
        "block aperture": "refused: AB is unknown to it", "block flashed clear": "refused: AB is unknown to it",
        "incremental": "increments added wrongly",
        "operation code left out": "refused",
    },
    "pygerber": {
        "circle with square hole": "refused: rectangular holes of old files are unknown to it",
        "polygon": "corners off by more than 3 pixels", "polygon turned": "corners off by more than 3 pixels",
        "polygon with hole": "corners off by more than 3 pixels",
        "macro circle off centre": "rotation about the circle's own centre",
        "macro lower left line": "refused: primitive 22 is unknown to it",
        "macro thermal": "nothing drawn", "macro thermal turned": "nothing drawn",
        "macro moire": "refused",
        "draw with a rectangle": "strokes of rectangles drawn as round strokes",
        "region with arcs": "arcs of regions drawn wrongly",
        "region of two contours": "pixels missing at a corner",
        "block aperture": "block not turned", "block flashed clear": "block not drawn clear",
        "inch, trailing zeros left out": "nothing drawn", "incremental": "nothing drawn",
        "unit inside the format statement": "refused",
        "operation code left out": "only the first flash drawn",
        "comment with percent and statement inside": "refused",
    },
}  # fmt: skip
"""What the two libraries do not read rightly, seen with gerbonara 1.5.0 and pygerber 2.4.3. A test holds each of these to it."""
