"""Sets the record as a PDF with typst: our template, the record as JSON beside it, pictures as files in memory. Nothing is written to disk."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import typst

from coppermend.core.findings import Place, refuse

TEMPLATE = "record.typ"


class TypstTypesetter:
    """Sets records with the typst compiler that comes as a wheel, with its built-in fonts (system fonts only for letters those lack)."""

    def pdf(self, record: Mapping[str, Any], pictures: Mapping[str, bytes]) -> bytes:
        """The record as a tagged PDF; the same record and pictures give the same bytes on one machine. Refusal REC-001 when it cannot be set."""
        template = files(__package__).joinpath(TEMPLATE).read_bytes()
        data = json.dumps(record, ensure_ascii=False, allow_nan=False).encode()
        inputs: Any = {"main.typ": template, "record.json": data, **pictures}
        try:
            made = typst.compile(inputs, format="pdf")
        except Exception as err:  # typst raises its own and runtime errors alike
            raise refuse(
                "REC-001",
                f"The record could not be set as a PDF ({str(err).splitlines()[0] if str(err) else type(err).__name__}).",
                "Write it as HTML with --html and report this with the case's export.",
                Place(thing="record"),
            ) from err
        assert isinstance(made, bytes)
        return made
