"""Sets records and labels as PDF with typst: our template, the words as JSON beside it, pictures as files in memory. Nothing is written to disk."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import typst

from coppermend.core.findings import Place, refuse

RECORD, LABEL = "record.typ", "label.typ"


class TypstTypesetter:
    """Sets records with the typst compiler that comes as a wheel, with its built-in fonts (system fonts only for letters those lack)."""

    def pdf(self, record: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
        """The record as a tagged PDF; the same record and pictures give the same bytes on one machine. Refusal REC-001 when it cannot be set."""
        return _set(RECORD, {"record.json": _json(record), **pictures}, "record")

    def label(self, words: Mapping[str, Any], picture: bytes) -> bytes:
        """A label as a PDF of one page; ``picture`` its QR picture as SVG. Refusal REC-001 when it cannot be set."""
        return _set(LABEL, {"label.json": _json(words), "qr.svg": picture}, "label")


def _json(value: Mapping[str, Any]) -> bytes:
    return json.dumps(value, ensure_ascii=False, allow_nan=False).encode()


def _set(template: str, beside: Mapping[str, bytes], thing: str) -> bytes:
    inputs: Any = {"main.typ": files(__package__).joinpath(template).read_bytes(), **beside}
    try:
        made = typst.compile(inputs, format="pdf")
    except Exception as err:  # typst raises its own and runtime errors alike
        raise refuse(
            "REC-001",
            f"The {thing} could not be set as a PDF ({str(err).splitlines()[0] if str(err) else type(err).__name__}).",
            "Write the record as HTML with --html and report this with the case's export.",
            Place(thing=thing),
        ) from err
    assert isinstance(made, bytes)
    return made


def font_families() -> tuple[str, ...]:
    """The families that the typesetter can use here: its own and the system's."""
    return tuple(typst.Fonts(include_system_fonts=True, include_embedded_fonts=True).families())
