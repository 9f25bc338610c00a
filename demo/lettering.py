"""The legend's letters: a stroke alphabet of our own, and text as strokes on the board.

Letters stand on a grid 4 wide and 6 high; each is a list of polylines, each point two digits (x, then y).
"""

from __future__ import annotations

from math import cos, radians, sin

Points = tuple[tuple[float, float], ...]

_GLYPHS = {
    "A": "0004264440 0242",
    "B": "00063645443303 33424130 0030",
    "C": "4536160501103041",
    "D": "00062644422000",
    "E": "46060040 0333",
    "F": "460600 0333",
    "G": "45361605011030414323",
    "H": "0006 4046 0343",
    "I": "1030 2026 1636",
    "J": "0110203136 2646",
    "K": "0006 4602 1340",
    "L": "060040",
    "M": "0006234640",
    "N": "00064046",
    "O": "103041453616050110",
    "P": "00063645443303",
    "Q": "103041453616050110 2240",
    "R": "00063645443303 2340",
    "S": "453616050413334241301001",
    "T": "0646 2620",
    "U": "060110304146",
    "V": "062046",
    "W": "0610243046",
    "X": "0046 0640",
    "Y": "062346 2320",
    "Z": "06460040",
    "0": "103041453616050110 1135",
    "1": "152620 1030",
    "2": "05163645440040",
    "3": "051636454433 13334241301001",
    "4": "30360242",
    "5": "460603334241301001",
    "6": "4536160501103041423303",
    "7": "064610",
    "8": "13334445361605041302011030414233",
    "9": "0110304145361605041343",
    "-": "0343",
    "/": "0046",
    ".": "2021",
    "+": "0343 2125",
    ":": "2122 2425",
    "(": "36252130",
    "*": "0244 0442 2125",
    ")": "16252110",
    "&": "40051626350110203042",
}


def _polylines(code: str) -> list[Points]:
    return [tuple((float(w[i]), float(w[i + 1])) for i in range(0, len(w), 2)) for w in code.split()]


ALPHABET: dict[str, list[Points]] = {letter: _polylines(code) for letter, code in _GLYPHS.items()} | {" ": []}
ADVANCE, CAP = 6.0, 6.0


def width_mm(words: str, height_mm: float) -> float:
    """How long a line of text is, in mm, for capitals of that height."""
    return (len(words) * ADVANCE - 2.0) * height_mm / CAP


def text(words: str, x_mm: float, y_mm: float, height_mm: float, rotation: int = 0) -> list[Points]:
    """The strokes of a line of text centred at a point, turned counter-clockwise by `rotation` degrees.

    Raises KeyError for a sign that the alphabet lacks.
    """
    scale = height_mm / CAP
    c, s = round(cos(radians(rotation))), round(sin(radians(rotation)))
    left, low = -width_mm(words, height_mm) / 2, -height_mm / 2
    strokes = []
    for i, letter in enumerate(words.upper()):
        for line in ALPHABET[letter]:
            local = [(left + (i * ADVANCE + px) * scale, low + py * scale) for px, py in line]
            strokes.append(tuple((x_mm + c * lx - s * ly, y_mm + s * lx + c * ly) for lx, ly in local))
    return strokes
