"""Writes Gerber X2 files (Ucamco, "The Gerber Layer Format Specification", revision 2022.02): our own small writer."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from demo.copper import Board, Track
from demo.legend import LINE_MM, MASK_GROWTH_MM, legend, solder_legend
from demo.placement import HEIGHT_MM, WIDTH_MM
from demo.pour import one_contour

SOFTWARE = "Coppermend,coppermend demo,1"
PROJECT = "Larkenfell 64,4c61726b-656e-4665-ac6c-363464656d6f,2"
OUTLINE_MM = 0.1


def _xy(x_mm: float, y_mm: float) -> str:
    return f"X{round(x_mm * 1e6)}Y{round(y_mm * 1e6)}"


class GerberWriter:
    """One Gerber file in the making: apertures with their functions, object attributes, draws and flashes.

    Apertures are defined when first used; object attributes are written when they change.
    """

    def __init__(self, function: str, polarity: str) -> None:
        self._lines = [
            f"%TF.GenerationSoftware,{SOFTWARE}*%",
            f"%TF.ProjectId,{PROJECT}*%",
            "%TF.SameCoordinates,Larkenfell64*%",
            f"%TF.FileFunction,{function}*%",
            *([f"%TF.FilePolarity,{polarity}*%"] if polarity else []),
            "%FSLAX46Y46*%",
            "%MOMM*%",
            "%LPD*%",
            "G01*",
            "G75*",
        ]
        self._apertures: dict[tuple[str, str], int] = {}
        self._current = 0
        self._attributes: dict[str, str] = {}

    def aperture(self, template: str, function: str) -> None:
        """Selects an aperture, e.g. `aperture("C,0.3", "Conductor")`."""
        key = (template, function)
        if key not in self._apertures:
            number = 10 + len(self._apertures)
            self._apertures[key] = number
            if function:
                self._lines.append(f"%TA.AperFunction,{function}*%")
            self._lines.append(f"%ADD{number}{template}*%")
            if function:
                self._lines.append("%TD.AperFunction*%")
        if self._apertures[key] != self._current:
            self._current = self._apertures[key]
            self._lines.append(f"D{self._current}*")

    def attributes(self, **wanted: str) -> None:
        """Sets the object attributes N, P, C for what follows and deletes those not named."""
        for name in sorted(self._attributes):
            if name not in wanted:
                self._lines.append(f"%TD.{name}*%")
        for name, value in sorted(wanted.items()):
            if self._attributes.get(name) != value:
                self._lines.append(f"%TO.{name},{value}*%")
        self._attributes = dict(wanted)

    def flash(self, x_mm: float, y_mm: float) -> None:
        """Prints the aperture once."""
        self._lines.append(f"{_xy(x_mm, y_mm)}D03*")

    def draw(self, points: Iterable[tuple[float, float]]) -> None:
        """Draws the aperture along a polyline."""
        for i, (x, y) in enumerate(points):
            self._lines.append(f"{_xy(x, y)}D0{1 if i else 2}*")

    def region(self, contour: Iterable[tuple[float, float]], function: str) -> None:
        """Fills a closed contour."""
        self._lines += [f"%TA.AperFunction,{function}*%", "G36*"]
        self.draw(contour)
        self._lines += ["G37*", "%TD.AperFunction*%"]

    def bytes(self) -> bytes:
        """The finished file."""
        return ("\n".join([*self._lines, "M02*"]) + "\n").encode("ascii")


def _template(form: str, size: float) -> str:
    return f"R,{size:g}X{size:g}" if form == "square" else f"C,{size:g}"


def _safe(words: str) -> str:
    """A field of an attribute: comma, asterisk and percent sign would end it."""
    return "".join(c if c not in ",*%\\" else "_" for c in words)


def _flash_lands(w: GerberWriter, board: Board, grow: float, function: str) -> None:
    names = {(p.part.ref, pin.number): pin.name for p in board.parts for pin in p.part.device.pins}
    for land in board.lands:
        w.aperture(_template(land.land.form, round(land.land.size_mm + grow, 3)), function)
        if function == "ComponentPad":
            label = _safe(names[land.ref, land.number])
            w.attributes(
                N=land.net or "N/C",
                P=f"{land.ref},{land.number}" + (f",{label}" if label != land.number else ""),
                C=land.ref,
            )
        w.flash(land.x_mm, land.y_mm)


def _flash_vias(w: GerberWriter, board: Board, grow: float, function: str) -> None:
    for via in board.vias:
        w.aperture(f"C,{round(via.land_mm + grow, 3):g}", function)
        if function == "ViaPad":
            w.attributes(N=via.net)
        w.flash(via.x_mm, via.y_mm)


def _copper(board: Board, side: str) -> bytes:
    w = GerberWriter("Copper,L1,Top" if side == "c" else "Copper,L2,Bot", "Positive")
    for pour in board.pours:
        if pour.side == side:
            w.attributes(N=pour.net)
            w.region(one_contour(pour.rings), "Conductor")
    tracks: list[Track] = [t for t in board.tracks if t.side == side]
    for track in tracks:
        w.aperture(f"C,{track.width_mm:g}", "Conductor")
        w.attributes(N=track.net)
        w.draw(track.points)
    _flash_vias(w, board, 0.0, "ViaPad")
    _flash_lands(w, board, 0.0, "ComponentPad")
    w.attributes()
    return w.bytes()


def _mask(board: Board, side: str) -> bytes:
    w = GerberWriter(f"Soldermask,{'Top' if side == 'c' else 'Bot'}", "Negative")
    _flash_vias(w, board, 2 * MASK_GROWTH_MM, "")
    _flash_lands(w, board, 2 * MASK_GROWTH_MM, "")
    return w.bytes()


def _legend(board: Board, side: str) -> bytes:
    w = GerberWriter(f"Legend,{'Top' if side == 'c' else 'Bot'}", "Positive")
    w.aperture(f"C,{LINE_MM:g}", "")
    for item in legend(board) if side == "c" else solder_legend(board):
        w.attributes(**({"C": item.ref} if item.ref else {}))
        for stroke in item.strokes:
            w.draw(stroke)
    w.attributes()
    return w.bytes()


def _outline(_: Board) -> bytes:
    w = GerberWriter("Profile,NP", "")
    w.aperture(f"C,{OUTLINE_MM:g}", "Profile")
    w.draw([(0, 0), (WIDTH_MM, 0), (WIDTH_MM, HEIGHT_MM), (0, HEIGHT_MM), (0, 0)])
    return w.bytes()


_WRITERS: dict[str, Callable[[Board], bytes]] = {
    "larkenfell64-copper-component.gbr": lambda b: _copper(b, "c"),
    "larkenfell64-copper-solder.gbr": lambda b: _copper(b, "s"),
    "larkenfell64-mask-component.gbr": lambda b: _mask(b, "c"),
    "larkenfell64-mask-solder.gbr": lambda b: _mask(b, "s"),
    "larkenfell64-legend-component.gbr": lambda b: _legend(b, "c"),
    "larkenfell64-legend-solder.gbr": lambda b: _legend(b, "s"),
    "larkenfell64-outline.gbr": _outline,
}


def gerber_files(board: Board) -> dict[str, bytes]:
    """The board's Gerber files: file name to bytes."""
    return {name: write(board) for name, write in _WRITERS.items()}
