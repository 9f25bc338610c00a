"""A pin list as a value: which pin of which part is in which net, and where it sits as far as that is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Finding


@dataclass(frozen=True, slots=True)
class PinRow:
    """One pin. ``net`` "" = in no net; ``x_mm``, ``y_mm`` None where the list gives no place; ``side`` of the part: c, s or "" ; ``line`` from 1."""

    part: str
    pin: str
    net: str
    x_mm: float | None = None
    y_mm: float | None = None
    side: str = ""
    function: str = ""
    line: int = 0

    @property
    def name(self) -> str:
        """The pin as written everywhere: ``U1.8``."""
        return f"{self.part}.{self.pin}"


@dataclass(frozen=True, slots=True)
class PinList:
    """A pin list: every pin once, in the order of the file. ``parts``: values, packages and states that its rows give."""

    name: str
    rows: tuple[PinRow, ...]
    parts: tuple[PartRow, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def nets(self) -> dict[str, tuple[str, ...]]:
        """Net -> its pins, nets and pins in the order of the file; pins in no net are left out."""
        out: dict[str, list[str]] = {}
        for row in self.rows:
            if row.net:
                out.setdefault(row.net, []).append(row.name)
        return {net: tuple(pins) for net, pins in out.items()}

    @property
    def placed(self) -> bool:
        """Whether every pin has a place."""
        return all(row.x_mm is not None for row in self.rows)


@dataclass(frozen=True, slots=True)
class PartSpot:
    """Where a part sits, as the user says it. ``template`` "" = guessed. Either ``at_mm`` (pin 1) with ``rotation_deg``, or ``pins_px``: pin -> pixel
    in the photo of ``side``. ``pitch_mm``, ``row_mm`` None = the template's."""

    ref: str
    template: str = ""
    side: str = ""
    at_mm: tuple[float, float] | None = None
    rotation_deg: float = 0.0
    pitch_mm: float | None = None
    row_mm: float | None = None
    pins_px: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Mark:
    """A marked point of a photo: its pixel (x right, y down) and the pin it shows (``U1.1``) or its place in mm."""

    px: tuple[float, float]
    pin: str = ""
    mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class PhotoMarks:
    """A photo of one side (c or s) with its marks. ``file`` its name in the package."""

    side: str
    file: str
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class MapFile:
    """What a map file says: photos with marks, places of parts, the board's size (width, height in mm, corner at 0, 0) where it is given."""

    name: str = ""
    photos: tuple[PhotoMarks, ...] = ()
    parts: tuple[PartSpot, ...] = ()
    size_mm: tuple[float, float] | None = None
    text: str = ""
    findings: tuple[Finding, ...] = ()


NO_MAP = MapFile()
