"""Roles of the files of a package, as values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from coppermend.core.findings import Finding
from coppermend.formats.drill.model import DrillFormat, SideFile
from coppermend.formats.gerberjob import JobFile
from coppermend.formats.member import Member


class RoleKind(StrEnum):
    """What a file is for."""

    COPPER = "copper"
    MASK = "mask"
    PASTE = "paste"
    SILK = "silk"
    OUTLINE = "outline"
    DRILL = "drill"
    NETLIST = "netlist"
    OTHER = "other"


class Format(StrEnum):
    """How a file is written."""

    GERBER = "gerber"
    DRILL = "drill"
    IPCD356 = "ipcd356"
    IPC2581 = "ipc2581"
    JOB = "job"
    SIDE = "side"
    CORRECTIONS = "corrections"
    TABLE = "table"
    IGNORED = "ignored"


class Source(StrEnum):
    """Where a role comes from, the strongest first."""

    CORRECTIONS = "corrections"
    X2 = "X2"
    JOB = "job file"
    NAME = "name"
    CONTENT = "content"
    NONE = "nothing"


STRENGTH = {s: n for n, s in enumerate(Source)}


@dataclass(frozen=True, slots=True)
class LayerRole:
    """``side`` "c" or "s" (None: inner, or of no side); ``number`` the stated layer number or inner number, used to order inner layers.

    ``key`` the layer key of copper after ordering: c, s, i1, i2 ...; ``negative`` the image shows where material is missing
    (usual for masks); ``plated`` and ``span`` for drills; ``guessed`` nothing states it.
    """

    kind: RoleKind
    side: str | None = None
    number: int | None = None
    key: str | None = None
    negative: bool = False
    plated: bool | None = None
    span: tuple[int, int] | None = None
    source: Source = Source.NONE

    @property
    def guessed(self) -> bool:
        """Whether it was read from a name or the content only."""
        return self.source in (Source.NAME, Source.CONTENT)

    def words(self) -> str:
        """The role in words.

        >>> LayerRole(RoleKind.COPPER, key="i2").words(), LayerRole(RoleKind.MASK, side="s").words()
        ('inner copper i2', 'solder mask, solder side')
        """
        sides = {"c": ", component side", "s": ", solder side", None: ""}
        if self.kind is RoleKind.COPPER:
            if self.key and self.key.startswith("i"):
                return f"inner copper {self.key}"
            return "copper" + (sides[self.side] or ", inner")
        if self.kind is RoleKind.DRILL:
            return {True: "plated holes", False: "holes without plating", None: "holes"}[self.plated]
        names = {RoleKind.MASK: "solder mask", RoleKind.PASTE: "solder paste", RoleKind.SILK: "silkscreen"}
        return names.get(self.kind, str(self.kind)) + sides[self.side]


@dataclass(frozen=True, slots=True)
class PlannedFile:
    """A member with its format and role; ``drill_hint`` from the corrections; ``side_files`` what belongs to a drill file.

    ``tool_spans``: first and last copper layer by tool number, where a drill file gives its tools different ones.
    """

    member: Member
    format: Format
    role: LayerRole
    drill_hint: DrillFormat | None = None
    side: SideFile | None = None
    tool_spans: tuple[tuple[int, tuple[int, int]], ...] = ()


NOTHING_STATED = DrillFormat()


@dataclass(frozen=True, slots=True)
class FileCorrection:
    """What the corrections file says about one file."""

    name: str
    role: str | None = None
    polarity: str | None = None
    plated: bool | None = None
    drill_format: DrillFormat = NOTHING_STATED
    span: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Corrections:
    """A corrections file: per-file statements and every other table as it stands (for the board builder)."""

    name: str
    files: tuple[FileCorrection, ...] = ()
    tables: Mapping[str, object] | None = None
    text: str = ""
    findings: tuple[Finding, ...] = ()

    def of(self, member: str) -> FileCorrection | None:
        """The correction for a member, by full name or name without folders."""
        base = member.rsplit("/", 1)[-1]
        for one in self.files:
            if one.name in (member, base):
                return one
        return None


@dataclass(frozen=True, slots=True)
class PackagePlan:
    """The package sorted out: ``files`` in name order; ``job`` and ``corrections`` where there are such files."""

    files: tuple[PlannedFile, ...]
    job: JobFile | None
    corrections: Corrections | None
    findings: tuple[Finding, ...]

    def of_kind(self, kind: RoleKind) -> tuple[PlannedFile, ...]:
        """The files of one role; copper from the component to the solder side."""
        chosen = [f for f in self.files if f.role.kind is kind]
        if kind is RoleKind.COPPER:
            chosen.sort(key=lambda f: layer_rank(f.role.key or "c"))
        return tuple(chosen)


def layer_rank(key: str) -> int:
    """Order of a layer key from the component side.

    >>> sorted(["s", "i10", "c", "i2"], key=layer_rank)
    ['c', 'i2', 'i10', 's']
    """
    if key == "c":
        return 0
    return 10_000 if key == "s" else int(key[1:])
