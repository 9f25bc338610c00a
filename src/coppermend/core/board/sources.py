"""Everything a board is built from, as one value: records of the files, what each file is, and the user's corrections."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coppermend.core.board.model import PartState
from coppermend.core.board.records import DrillImage, GerberImage, LayerRole, Netlist
from coppermend.core.findings import Finding


@dataclass(frozen=True, slots=True)
class PartRow:
    """One row of a parts list. ``state`` None where the list does not say; ``source`` the file and line it stands in.

    ``side`` c, s or "" (not said); ``x_mm, y_mm`` the part's place and ``rotation_deg`` as the list says them, in the list's own coordinates,
    None where it does not; ``outline`` its body ((x_mm, y_mm), ...) in copper coordinates, None where not known.
    """

    ref: str
    value: str = ""
    package: str = ""
    state: PartState | None = None
    source: str = ""
    side: str = ""
    x_mm: float | None = None
    y_mm: float | None = None
    rotation_deg: float | None = None
    outline: tuple[tuple[float, float], ...] | None = None


@dataclass(frozen=True, slots=True)
class PartCorrection:
    """What the user says about a part. ``outline`` ((x_mm, y_mm), ...) or None; empty strings and None leave what was found."""

    side: str = ""
    value: str = ""
    package: str = ""
    state: PartState | None = None
    outline: tuple[tuple[float, float], ...] | None = None


@dataclass(frozen=True, slots=True)
class Cut:
    """Copper taken away by hand at the factory: a stroke from (x, y) to (x2, y2), ``width_mm`` wide, on one layer (c, i1, ..., s)."""

    layer: str
    x_mm: float
    y_mm: float
    x2_mm: float
    y2_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True)
class WireEnd:
    """Where a wire is soldered: a place on a layer (c, s, i1 ...), mm in the copper files' coordinates."""

    x_mm: float
    y_mm: float
    layer: str


@dataclass(frozen=True, slots=True)
class FactoryWire:
    """A wire added by hand at the factory. ``diameter_mm`` of its copper, None where not said."""

    start: WireEnd
    end: WireEnd
    diameter_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Corrections:
    """The corrections that the builder itself applies; roles, polarity and drill formats are applied where files are read.

    ``net_names``: a pin (``U1.8``) or a place (``"12.7, 30.0 c"``) to the name the net there is to have. ``parts`` by reference designator.
    ``cuts``: tracks cut at the factory; ``wires``: wires added there. ``ignore_netlists``: file names. ``origin_shift_mm`` overrules the shift that was found.
    ``copper_mm`` thickness of finished copper by layer key ("" for every layer), ``copper_spread`` how far it may lie from that (0.1: 10 %),
    ``temperature_c`` of the copper. ``digest`` names the text they came from ("" none).
    """

    parts: Mapping[str, PartCorrection] = field(default_factory=dict)
    net_names: Mapping[str, str] = field(default_factory=dict)
    ignore_netlists: tuple[str, ...] = ()
    origin_shift_mm: tuple[float, float] | None = None
    thickness_mm: float | None = None
    digest: str = ""
    cuts: tuple[Cut, ...] = ()
    wires: tuple[FactoryWire, ...] = ()
    copper_mm: Mapping[str, float] = field(default_factory=dict)
    copper_spread: float | None = None
    temperature_c: float | None = None


NO_CORRECTIONS = Corrections()


@dataclass(frozen=True, slots=True)
class PackageRecords:
    """A package as read: Gerber images, drill files, netlists, the role of each file by its name, parts list rows, corrections, findings so far.

    ``thickness_mm`` and ``title`` from a job file where there is one; ``extra`` goes to the board as it is (mask colour, finish);
    ``copper_mm`` thickness of copper by image name, where stated.
    """

    package_id: str
    title: str
    images: tuple[GerberImage, ...]
    drills: tuple[DrillImage, ...]
    netlists: tuple[Netlist, ...]
    roles: Mapping[str, LayerRole]
    part_rows: tuple[PartRow, ...] = ()
    corrections: Corrections = NO_CORRECTIONS
    findings: tuple[Finding, ...] = ()
    thickness_mm: float | None = None
    extra: Mapping[str, str] = field(default_factory=dict)
    copper_mm: Mapping[str, float] = field(default_factory=dict)
