"""The map file of a board without fabrication data (``coppermend-map.toml``): where parts sit, and photos with marked points.

::

    size_mm = [220, 140]                     # optional: width and height; the lower left corner is at 0, 0

    [part.U1]
    template = "DIP-40"                      # DIP-n, SIP-n, HDR-2xn, AXIAL-mm, RADIAL-mm; left out = guessed
    side = "c"
    at_mm = [30.0, 110.0]                    # pin 1
    rotation = 90                            # anticlockwise as seen on the part's side; 0 = pin 1 on top, its row running down

    [part.U7]
    px = { 1 = [412, 300], 14 = [470, 300] } # pins marked in the photo of its side instead

    [photo.c]
    file = "component.jpg"
    marks = [ { px = [101, 88], pin = "U1.1" }, { px = [2010, 95], mm = [220, 140] } ]   # four or more
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from typing import Any

from coppermend.core.board.pinlist import MapFile, Mark, PartSpot, PhotoMarks
from coppermend.core.findings import Place, Severity, refuse
from coppermend.formats.collect import FindingList, decode
from coppermend.formats.sidecars import MAP_NAME as MAP_NAME

MOST_MARKS = 500
_PART_KEYS = ("template", "side", "at_mm", "rotation", "pitch_mm", "row_mm", "px")


def read_map(data: bytes, name: str) -> MapFile:
    """The map file as a value. Raises Refusal MAP-010 with line and column where the text is no TOML; a wrong value is a finding (MAP-011).

    >>> said = read_map(b'[part.U1]\\ntemplate = "DIP-40"\\nat_mm = [10, 60]\\nrotation = 90\\n', "coppermend-map.toml")
    >>> said.parts[0].at_mm, said.parts[0].rotation_deg
    ((10.0, 60.0), 90.0)
    """
    text = decode(data, name, "MAP-010")
    try:
        root = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"line (\d+), column (\d+)", str(error))
        place = Place(file=name, line=int(at[1]) if at else None, column=int(at[2]) if at else None)
        remedy = "Mend that line; docs/how-to/board-without-data.md shows the form."
        raise refuse("MAP-010", f"The map file cannot be read: {str(error)[:120]}.", remedy, place) from None
    except RecursionError:
        raise refuse(
            "MAP-010", "The map file is nested too deeply.", "Write it as the docs show.", Place(file=name)
        ) from None
    return _Reader(name).read(root, text)


class _Reader:
    """Reads the tables and notes what is not possible."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.notes = FindingList()

    def wrong(self, thing: str, value: object, expected: str) -> None:
        """One value that cannot be used."""
        words = f"{thing} = {str(value)[:40]!r} is not possible here; expected {expected}. It is not applied."
        self.notes.add("MAP-011", Severity.WARNING, Place(file=self.name, thing=thing), words, "Mend that value.")

    def read(self, root: Mapping[str, Any], text: str) -> MapFile:
        """The whole file."""
        for key in root:
            if key not in ("size_mm", "part", "photo"):
                self.wrong(key, root[key], "one of size_mm, part, photo")
        size = self.pair(root, "size_mm", "size_mm", "two numbers of mm above 0")
        if size is not None and min(size) <= 0:
            self.wrong("size_mm", root["size_mm"], "two numbers of mm above 0")
            size = None
        parts = [self.part(ref, said) for ref, said in self.table(root, "part").items()]
        photos = [self.photo(side, said) for side, said in self.table(root, "photo").items()]
        kept = tuple(one for one in parts if one is not None), tuple(one for one in photos if one is not None)
        return MapFile(self.name, kept[1], kept[0], size, text, self.notes.close(self.name))

    def table(self, root: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        """A table of tables; empty where the file has another thing there."""
        value = root.get(key, {})
        if isinstance(value, dict):
            return value
        self.wrong(key, value, f"tables such as [{key}.{'c' if key == 'photo' else 'U1'}]")
        return {}

    def part(self, ref: str, said: Any) -> PartSpot | None:
        """One [part.REF]."""
        thing = f"part.{ref}"
        if not isinstance(said, dict):
            self.wrong(thing, said, f"a table [part.{ref}]")
            return None
        for key in said:
            if key not in _PART_KEYS:
                self.wrong(f"{thing}.{key}", said[key], "one of " + ", ".join(_PART_KEYS))
        side = said.get("side", "")
        if side not in ("", "c", "s"):
            self.wrong(f"{thing}.side", side, "c (component side) or s (solder side)")
            side = ""
        pixels = said.get("px", {})
        if not isinstance(pixels, dict):
            self.wrong(f"{thing}.px", pixels, "pins with pixels, such as { 1 = [412, 300] }")
            pixels = {}
        spots = {str(n): self.pair(pixels, n, f"{thing}.px.{n}", "a pixel [x, y]") for n in list(pixels)[:MOST_MARKS]}
        return PartSpot(
            ref,
            str(said.get("template", "")),
            side,
            self.pair(said, "at_mm", f"{thing}.at_mm", "the place of pin 1, [x, y] in mm"),
            self.number(said, "rotation", f"{thing}.rotation", "degrees", -360.0, 360.0) or 0.0,
            self.number(said, "pitch_mm", f"{thing}.pitch_mm", "0.3 to 50 mm", 0.3, 50.0),
            self.number(said, "row_mm", f"{thing}.row_mm", "0.3 to 50 mm", 0.3, 50.0),
            {n: spot for n, spot in spots.items() if spot is not None},
        )

    def photo(self, side: str, said: Any) -> PhotoMarks | None:
        """One [photo.c] or [photo.s]."""
        thing = f"photo.{side}"
        if side not in ("c", "s") or not isinstance(said, dict) or not isinstance(said.get("file"), str):
            self.wrong(thing, said, '[photo.c] or [photo.s] with file = "NAME" and marks')
            return None
        rows = said.get("marks", [])
        if not isinstance(rows, list):
            self.wrong(f"{thing}.marks", rows, 'a list of { px = [x, y], pin = "U1.1" }')
            rows = []
        marks = [self.mark(row, f"{thing}.marks[{k + 1}]") for k, row in enumerate(rows[:MOST_MARKS])]
        return PhotoMarks(side, said["file"], tuple(one for one in marks if one is not None))

    def mark(self, row: Any, thing: str) -> Mark | None:
        """One marked point."""
        if not isinstance(row, dict):
            self.wrong(thing, row, '{ px = [x, y], pin = "U1.1" }')
            return None
        px = self.pair(row, "px", f"{thing}.px", "a pixel [x, y]")
        mm = self.pair(row, "mm", f"{thing}.mm", "a place [x, y] in mm")
        pin = row.get("pin", "")
        if px is None or (mm is None and not (isinstance(pin, str) and "." in pin)):
            self.wrong(thing, row, 'px = [x, y] with pin = "U1.1" or mm = [x, y]')
            return None
        return Mark(px, str(pin), mm)

    def pair(self, table: Mapping[str, Any], key: str, thing: str, expected: str) -> tuple[float, float] | None:
        """Two numbers, or None with a finding where something else stands there."""
        value = table.get(key)
        if value is None:
            return None
        if isinstance(value, list) and len(value) == 2 and all(_number(v) for v in value):
            return float(value[0]), float(value[1])
        self.wrong(thing, value, expected)
        return None

    def number(
        self, table: Mapping[str, Any], key: str, thing: str, expected: str, low: float, high: float
    ) -> float | None:
        """A number in a range, or None with a finding."""
        value = table.get(key)
        if value is None:
            return None
        if _number(value) and low <= value <= high:
            return float(value)
        self.wrong(thing, value, expected)
        return None


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e6


def write_map(said: MapFile) -> bytes:
    """The map file as text that ``read_map`` reads back to the same value (comments of an earlier file are not kept).

    >>> write_map(MapFile(parts=(PartSpot("U1", "DIP-40", at_mm=(1.0, 2.5)),))).decode()
    '[part."U1"]\\ntemplate = "DIP-40"\\nat_mm = [1.0, 2.5]\\n'
    """
    lines = [f"size_mm = {list(said.size_mm)}"] if said.size_mm is not None else []
    for spot in said.parts:
        lines.append(f"[part.{_text(spot.ref)}]")
        lines += [
            f"{key} = {_text(value)}" for key, value in (("template", spot.template), ("side", spot.side)) if value
        ]
        lines += [f"at_mm = {list(spot.at_mm)}"] if spot.at_mm is not None else []
        rows = (("rotation", spot.rotation_deg or None), ("pitch_mm", spot.pitch_mm), ("row_mm", spot.row_mm))
        lines += [f"{key} = {value}" for key, value in rows if value is not None]
        if spot.pins_px:
            lines.append("px = { " + ", ".join(f"{_text(n)} = {list(px)}" for n, px in spot.pins_px.items()) + " }")
    for photo in said.photos:
        lines += [f"[photo.{photo.side}]", f"file = {_text(photo.file)}", "marks = ["]
        for mark in photo.marks:
            where = f"mm = {list(mark.mm)}" if mark.mm is not None else f"pin = {_text(mark.pin)}"
            lines.append(f"  {{ px = {list(mark.px)}, {where} }},")
        lines.append("]")
    return ("\n".join(lines) + "\n").encode()


def _text(value: str) -> str:
    return json.dumps(value)
