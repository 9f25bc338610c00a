"""What an IPC-2581 file says, as the records a board is built from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coppermend.core.board.records import DrillImage, GerberImage, LayerRole, Netlist
from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Finding


@dataclass(frozen=True, slots=True)
class Ipc2581:
    """One board of an IPC-2581 file.

    ``images`` a GerberImage per copper, mask, paste and silkscreen layer and one of the outline, named ``file#layer``; ``drills`` a DrillImage per
    drill or rout layer; ``roles`` by those names, copper numbered from the component side; ``netlist`` what the file states of nets, pin by pin
    (None where it states none); ``part_rows`` parts with value, package, state, side and outline; ``copper_mm`` thickness by image name;
    ``gaps_mm`` laminate between the copper layers from the component side, () where no stack-up states it.
    """

    name: str
    revision: str
    title: str
    images: tuple[GerberImage, ...]
    drills: tuple[DrillImage, ...]
    roles: Mapping[str, LayerRole]
    netlist: Netlist | None
    part_rows: tuple[PartRow, ...]
    thickness_mm: float | None
    copper_mm: Mapping[str, float]
    findings: tuple[Finding, ...]
    gaps_mm: tuple[float, ...] = ()
