"""Gerber job files (.gbrjob, JSON) to layer functions and board facts.

``read_gerberjob(data: bytes, name: str) -> JobFile``. Raises Refusal (JOB-...) when it is no job file.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.formats.collect import FindingList, decode

__all__ = ["JobFile", "JobLayer", "JobMaterial", "read_gerberjob"]


@dataclass(frozen=True, slots=True)
class JobLayer:
    """A file of the job: path as written, FileFunction fields, negative polarity or not."""

    path: str
    function: tuple[str, ...]
    negative: bool


@dataclass(frozen=True, slots=True)
class JobMaterial:
    """A layer of the stack from the component side: type (Copper, Dielectric, SolderMask ...), name, thickness (0 unknown), colour."""

    kind: str
    name: str
    thickness_mm: float
    color: str


@dataclass(frozen=True, slots=True)
class JobFile:
    """What the job file says; numbers are None and texts "" where it does not."""

    name: str
    layers: tuple[JobLayer, ...]
    materials: tuple[JobMaterial, ...]
    size_mm: tuple[float, float] | None
    thickness_mm: float | None
    layer_count: int | None
    finish: str
    title: str
    findings: tuple[Finding, ...]

    def layer_of(self, base: str) -> JobLayer | None:
        """The job's entry for a file of that name (folders and case ignored)."""
        wanted = base.lower()
        for layer in self.layers:
            if layer.path.replace("\\", "/").rsplit("/", 1)[-1].lower() == wanted:
                return layer
        return None


def read_gerberjob(data: bytes, name: str) -> JobFile:
    """Layer functions, stack, size, thickness and finish of a Gerber job file.

    >>> job = read_gerberjob(b'{"GeneralSpecs": {"BoardThickness": 1.6}, "FilesAttributes": [{"Path": "a.gtl", "FileFunction": "Copper,L1,Top"}]}', "a.gbrjob")
    >>> job.thickness_mm, job.layer_of("A.GTL").function
    (1.6, ('Copper', 'L1', 'Top'))

    Raises Refusal JOB-001 (empty, not text), JOB-002 (no JSON object) with line and column. Source: Gerber job file specification (Ucamco).
    """
    text = decode(data, name, "JOB-001")
    try:
        root = json.loads(text)
    except json.JSONDecodeError as error:
        words = f"The job file is no valid JSON: {error.msg}."
        raise refuse(
            "JOB-002",
            words,
            "Leave it out or export it again.",
            Place(file=name, line=error.lineno, column=error.colno),
        ) from None
    except (RecursionError, ValueError):
        raise refuse(
            "JOB-002", "The job file is nested too deeply.", "Leave it out or export it again.", Place(file=name)
        ) from None
    if not isinstance(root, dict):
        raise refuse(
            "JOB-002", "The job file is no JSON object.", "Leave it out or export it again.", Place(file=name, line=1)
        )
    found = FindingList()
    general = _table(root.get("GeneralSpecs"))
    layers = tuple(_layers(root.get("FilesAttributes")))
    if not layers:
        words = "The job file names no files (FilesAttributes); expected a list with Path and FileFunction."
        found.add("JOB-003", Severity.WARNING, Place(file=name), words)
    size = _table(general.get("Size"))
    x, y = _number(size.get("X")), _number(size.get("Y"))
    count = _number(general.get("LayerNumber"))
    return JobFile(
        name=name,
        layers=layers,
        materials=tuple(_materials(root.get("MaterialStackup"))),
        size_mm=(x, y) if x is not None and y is not None else None,
        thickness_mm=_number(general.get("BoardThickness")),
        layer_count=None if count is None else int(count),
        finish=_text(general.get("Finish")),
        title=_text(_table(general.get("ProjectId")).get("Name")),
        findings=found.close(name),
    )


def _table(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _text(value: Any) -> str:
    return value[:200] if isinstance(value, str) else ""


def _number(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if 0 < value < 1e5 else None


def _rows(value: Any) -> list[Mapping[str, Any]]:
    return [v for v in value[:10_000] if isinstance(v, dict)] if isinstance(value, list) else []


def _layers(value: Any) -> list[JobLayer]:
    out: list[JobLayer] = []
    for row in _rows(value):
        path, function = _text(row.get("Path")), _text(row.get("FileFunction"))
        if path and function:
            fields = tuple(f.strip() for f in function.split(","))
            out.append(JobLayer(path, fields, _text(row.get("FilePolarity")).lower() == "negative"))
    return out


def _materials(value: Any) -> list[JobMaterial]:
    out: list[JobMaterial] = []
    for row in _rows(value):
        thickness = _number(row.get("Thickness"))
        out.append(
            JobMaterial(_text(row.get("Type")), _text(row.get("Name")), thickness or 0.0, _text(row.get("Color")))
        )
    return out
