"""What an IPC-D-356 file says, as a value."""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.core.findings import Finding


@dataclass(frozen=True, slots=True)
class TestRecord:
    """One test point record (317, 327, 307, 367, ... with its continuations).

    ``operation`` the three digits; ``net`` the full name where an alias gives one, ``short_net`` as in columns 4 to 17;
    ``ref`` "" for a via; ``via`` the record named VIA or 307; ``midpoint`` flag M; ``hole_mm`` 0 where none; ``plated`` None without hole;
    ``access`` 0 both sides, 1 component side, n layer n; ``size_y_mm`` 0 for a round land; ``rotation_deg``; ``mask`` S code 0 to 3 or None;
    ``span`` first and last layer of a blind or buried via; ``board`` counts boards (images) in one file from 0; ``line`` from 1.
    """

    __test__ = False

    operation: str
    net: str
    short_net: str
    ref: str
    pin: str
    via: bool
    midpoint: bool
    hole_mm: float
    plated: bool | None
    access: int | None
    x_mm: float
    y_mm: float
    size_x_mm: float
    size_y_mm: float
    rotation_deg: float
    mask: int | None
    span: tuple[int, int] | None
    board: int
    line: int

    @property
    def unconnected(self) -> bool:
        """Whether the record stands for a point without net (N/C or no name)."""
        return self.short_net in ("", "N/C")


@dataclass(frozen=True, slots=True)
class Conductor:
    """A 378 record: the centre line of a conductor. ``width_mm`` 0 where not stated, ``points`` in mm."""

    net: str
    layer: int | None
    width_mm: float
    points: tuple[tuple[float, float], ...]
    board: int
    line: int


@dataclass(frozen=True, slots=True)
class Netlist:
    """An IPC-D-356 or 356A file.

    ``records`` test points in file order; ``conductors`` of 378; ``adjacency`` net pairs of 379; ``outlines`` of 389 in mm;
    ``boards`` number of boards (999 marks or IMAGE parameters); ``aliases`` short to full names; ``parameters`` of the P records.
    """

    name: str
    records: tuple[TestRecord, ...]
    conductors: tuple[Conductor, ...]
    adjacency: tuple[tuple[str, str], ...]
    outlines: tuple[tuple[tuple[float, float], ...], ...]
    boards: int
    aliases: tuple[tuple[str, str], ...]
    parameters: tuple[tuple[str, str], ...]
    findings: tuple[Finding, ...]
