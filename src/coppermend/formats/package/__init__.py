"""The files of a package sorted out: format and role of each, with findings for everything that was guessed.

``plan_package(members: Sequence[Member]) -> PackagePlan``: ``files`` (PlannedFile: member, format, role, drill_hint, side), ``job``,
``corrections``, ``findings``, ``of_kind(RoleKind) -> tuple[PlannedFile, ...]`` (copper ordered c, i1 ... s).
Raises Refusal (PKG-..., COR-...).
"""

from coppermend.formats.package.corrections import read_corrections
from coppermend.formats.package.model import (
    Corrections,
    FileCorrection,
    Format,
    LayerRole,
    PackagePlan,
    PlannedFile,
    RoleKind,
    Source,
    layer_rank,
)
from coppermend.formats.package.plan import plan_package, side_for
from coppermend.formats.package.sniff import format_of

__all__ = [
    "Corrections", "FileCorrection", "Format", "LayerRole", "PackagePlan", "PlannedFile", "RoleKind", "Source", "format_of", "layer_rank",
    "plan_package", "read_corrections", "side_for",
]  # fmt: skip
