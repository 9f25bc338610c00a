"""IPC-2581 files of a package: the whole board where no Gerber copper is beside them, else one more netlist and parts list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from coppermend.core.board.records import LayerRole, Netlist
from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Finding, Place, Refusal, Severity
from coppermend.formats.ipc2581 import Ipc2581, read_ipc2581
from coppermend.formats.package import Format, PackagePlan, PlannedFile, RoleKind

IPC2581_SOURCE = "ipc2581"
"""The source name of what a board's own IPC-2581 file states of nets; further files are called by their names."""


@dataclass(frozen=True, slots=True)
class Ipc2581Part:
    """What the IPC-2581 files of a package add. ``board`` the file that the copper is taken from, None where Gerber files have it."""

    board: Ipc2581 | None
    netlists: tuple[Netlist, ...]
    part_rows: tuple[PartRow, ...]
    findings: tuple[Finding, ...]


NOTHING = Ipc2581Part(None, (), (), ())


def ipc2581_part(plan: PackagePlan, step: Callable[[str], None]) -> Ipc2581Part:
    """Reads the IPC-2581 files. The file with most objects is the board where the package has no Gerber copper.

    A file that cannot be read refuses the package when no other copper is there, else it is a finding.
    """
    files = [one for one in plan.files if one.format is Format.IPC2581]
    if not files:
        return NOTHING
    alone = not any(one.role.kind is RoleKind.COPPER for one in plan.files)
    read, findings = _read(files, alone, step)
    board = max(read, key=_size, default=None) if alone else None
    netlists: list[Netlist] = []
    rows: list[PartRow] = []
    for one in read:
        if one.netlist is not None:
            name = IPC2581_SOURCE if one is board or (not alone and len(read) == 1) else one.name
            netlists.append(replace(one.netlist, name=name, own=one is board))
        rows += one.part_rows if one is board else [replace(row, outline=None) for row in one.part_rows]
    others = [one.name for one in read if one is not board]
    if board is not None and others:
        words = f"The package holds {len(read)} IPC-2581 files; the copper is that of {board.name}, the others are compared with it."
        findings.append(Finding("IPC-040", Severity.NOTE, Place(file=others[0]), words))
    if not alone:
        words = "The package has Gerber copper too, which is used; nets and parts of this file are compared with it."
        findings += [Finding("IPC-041", Severity.NOTE, Place(file=one.name), words) for one in read]
    return Ipc2581Part(board, tuple(netlists), tuple(rows), tuple(findings))


def _read(
    files: Sequence[PlannedFile], alone: bool, step: Callable[[str], None]
) -> tuple[list[Ipc2581], list[Finding]]:
    read: list[Ipc2581] = []
    findings: list[Finding] = []
    for at, file in enumerate(files):
        step(f"reading {file.member.base}")
        try:
            one = read_ipc2581(file.member.data, file.member.name)
        except Refusal as refusal:
            if alone and at == len(files) - 1 and not read:
                raise
            findings.append(replace(refusal.finding, severity=Severity.WARNING))
            continue
        read.append(one)
        findings += one.findings
    return read, findings


def _size(one: Ipc2581) -> int:
    return sum(len(image.kind) for image in one.images if one.roles[image.name].kind == "copper")


def corrected(board: Ipc2581, plan: PackagePlan) -> Ipc2581:
    """The board's layers with what the corrections say about ``file#layer``: role (copper side, other) and polarity."""
    if plan.corrections is None:
        return board
    roles: dict[str, LayerRole] = dict(board.roles)
    images = list(board.images)
    for at, image in enumerate(images):
        said = plan.corrections.of(image.name)
        if said is None:
            continue
        if said.polarity is not None:
            images[at] = replace(image, negative=said.polarity == "negative")
        if said.role == "other":
            roles[image.name] = replace(roles[image.name], kind="other", from_="corrections")
    for drill in board.drills:
        said = plan.corrections.of(drill.name)
        if said is not None and said.plated is not None:
            roles[drill.name] = replace(roles[drill.name], plated=said.plated, from_="corrections")
    return replace(board, images=tuple(images), roles=roles)
