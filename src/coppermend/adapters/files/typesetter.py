"""Sets records and labels as PDF with typst: our template, the words as JSON beside it, pictures as files in memory. Nothing is written to disk."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import lru_cache
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

    def lacking(self, letters: Iterable[str]) -> tuple[str, ...]:
        """Those of these letters for which no font here has a shape, in the order of their numbers: typst would set an empty box for each."""
        return _lacking(tuple(sorted(one for one in set(letters) if _to_be_tried(one))))


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


def _to_be_tried(letter: str) -> bool:
    """Beyond ASCII, and with a shape of its own: marks that join the letter before, separators and controls have none."""
    return letter > "~" and unicodedata.category(letter) not in ("Mn", "Me", "Mc", "Zs", "Zl", "Zp", "Cc", "Cf", "Cs")


NO_LETTER = "\U0010fffd"
"""A code point for private use that no font here gives a shape: what is set for it is set for any letter without one."""


@lru_cache(maxsize=32)
def _lacking(letters: tuple[str, ...]) -> tuple[str, ...]:
    """Set each letter between two marks as a picture, and see which became the box that ``NO_LETTER`` is."""
    if not letters:
        return ()
    fonts = re.search(r"#set text\(font: (\([^)]*\))", files(__package__).joinpath(RECORD).read_text("utf-8"))
    assert fonts is not None
    page = "#set page(width: 200pt, height: auto, margin: 0pt)"
    source = f'{page}\n#set text(font: {fonts[1]})\n#for c in json("letters.json") [#block[a] #block(c)]'
    inputs: Any = {"main.typ": source.encode(), "letters.json": json.dumps([NO_LETTER, *letters]).encode()}
    picture = typst.compile(inputs, format="svg")
    assert isinstance(picture, bytes)
    shapes = re.findall(r'<use xlink:href="#([^"]+)"', picture.decode())
    runs = " ".join(shapes).split(shapes[0])[1:]
    box = runs[0].split()
    return tuple(one for one, run in zip(letters, runs[1:], strict=True) if run.split() == box)


def font_families() -> tuple[str, ...]:
    """The families that the typesetter can use here: its own and the system's."""
    return tuple(typst.Fonts(include_system_fonts=True, include_embedded_fonts=True).families())
