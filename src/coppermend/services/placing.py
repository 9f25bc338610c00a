"""Marks in a photo, made on the page: which picture, which pixel is which pin. Kept in the map file beside the board's list; the board is built again."""

from __future__ import annotations

import mimetypes
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from coppermend.core.board.model import Board
from coppermend.core.board.pinboard import copper_is_known, made_up_places
from coppermend.core.board.pinlist import NO_MAP, MapFile, Mark, PartSpot, PhotoMarks
from coppermend.core.findings import Place, refuse
from coppermend.formats.pinlist import MAP_NAME, read_map, write_map
from coppermend.services.bind import bind
from coppermend.services.boardphoto import photos_of
from coppermend.services.packages import Package, PackageSource
from coppermend.services.photos import look_at
from coppermend.services.workshop import Workshop

PICTURES = (".jpg", ".jpeg", ".png", ".webp")
FEW = 4
"""From this many marks on a part without a place carries the photo (four points fix a view); fewer marks place the part in it."""


@dataclass(frozen=True, slots=True)
class PinMark:
    """One pin seen in a photo: pixel (x right, y down) and the pin's name."""

    pin: str
    px: tuple[float, float]


def placing(workshop: Workshop, case: str) -> dict[str, Any]:
    """The pictures beside the board's list, the marks in them, and what is placed, as plain JSON values. Refusal MAP-021 for a board with copper data."""
    binding = bind(workshop, case)
    package = _package(workshop, binding.board, binding.state.package)
    said = _said(package)
    board, fits = binding.board, photos_of(binding.board)
    guess = made_up_places(board)
    return {
        "pictures": [m.base for m in (*package.members, *package.beside) if m.base.lower().endswith(PICTURES)],
        "photos": [
            {
                "side": photo.side,
                "file": photo.file,
                "marks": [{"pin": m.pin, "px": list(m.px)} for m in _marks_of(said, photo)],
                "residual_mm": fits.get(photo.side, {}).get("residual_mm"),
            }
            for photo in said.photos
        ],
        "parts": [
            {"ref": part.ref, "side": part.side, "package": part.package, "placed": part.ref not in guess, "pins": [p.number for p in part.pins]}
            for part in board.parts
        ],
        "findings": [one.as_dict() for one in board.findings if one.code[:4] in ("PIN-", "MAP-", "TPL-")],
    }  # fmt: skip


def mark_photo(workshop: Workshop, case: str, side: str, file: str, marks: Sequence[PinMark]) -> dict[str, Any]:
    """Keep the marks of one side's photo and build the board anew; what ``placing`` says then.

    Marks on parts whose place is known, or with four marks and more, fix the photo; marks on other parts place these. Refusal MAP-013 for pins
    that the board does not have, MAP-022 for a wrong side.
    """
    binding = bind(workshop, case)
    state, board = binding.state, binding.board
    package = _package(workshop, board, state.package)
    if side not in ("c", "s"):
        raise refuse("MAP-022", f"{side!r} is no side of a board.", "Say c (component side) or s (solder side).")
    named = {pin.name.upper(): pin for part in board.parts for pin in part.pins}
    strange = [one.pin for one in marks if one.pin.upper() not in named]
    if strange:
        raise refuse(
            "MAP-013",
            f"The board has no pin {', '.join(strange[:4])}.",
            "Name pins as in the list: U1.1.",
            Place(file=file),
        )
    whole = [Mark(one.px, named[one.pin.upper()].name) for one in marks]
    said = _with_marks(_said(package), board, PhotoMarks(side, file, tuple(whole)))
    assert workshop.files is not None
    workshop.files.keep_map(state.package, write_map(said))
    workshop.shelf.take(state.package)
    workshop.bindings.pop(case, None)
    return placing(workshop, case)


def picture(workshop: Workshop, case: str, name: str) -> tuple[bytes, str]:
    """A picture beside the board's list, as it is, and its media type. Refusal MAP-020 when there is none of that name."""
    binding = bind(workshop, case)
    package = _package(workshop, binding.board, binding.state.package)
    for member in (*package.members, *package.beside):
        if member.base == name and name.lower().endswith(PICTURES):
            look_at(member.data, name)
            return member.data, mimetypes.guess_type(name)[0] or "application/octet-stream"
    raise refuse(
        "MAP-020",
        f"There is no picture {name[:60]!r} beside the list.",
        "Put it into the package's folder.",
        Place(file=name[:60]),
    )


def _package(workshop: Workshop, board: Board, path: str) -> Package:
    if copper_is_known(board) or workshop.files is None:
        raise refuse(
            "MAP-021",
            "This board has copper data: its map is drawn from that.",
            "Photos serve as map for boards from a pin list.",
        )
    files: PackageSource = workshop.files
    return files.read(path)


def _said(package: Package) -> MapFile:
    for member in (*package.members, *package.beside):
        if member.base.lower() == MAP_NAME:
            return read_map(member.data, member.name)
    return NO_MAP


def _marks_of(said: MapFile, photo: PhotoMarks) -> list[PinMark]:
    """All marks in a photo: those that fix it, and those that place parts."""
    out = [PinMark(mark.pin, mark.px) for mark in photo.marks if mark.pin]
    for spot in said.parts:
        if _in_photo(spot, photo.side, said):
            out += [PinMark(f"{spot.ref}.{number}", px) for number, px in spot.pins_px.items()]
    return out


def _in_photo(spot: PartSpot, side: str, said: MapFile) -> bool:
    """Whether the pixels of a part lie in the photo of that side: its own side's, where there is one."""
    own = spot.side or "c"
    return side == (own if any(photo.side == own for photo in said.photos) else said.photos[0].side)


def _with_marks(said: MapFile, board: Board, photo: PhotoMarks) -> MapFile:
    """The map file with one photo's marks in place of those it had."""
    of_part: dict[str, list[Mark]] = {}
    for mark in photo.marks:
        of_part.setdefault(mark.pin.rpartition(".")[0], []).append(mark)
    spots = {spot.ref: spot for spot in said.parts}
    by_pixels = {spot.ref for spot in said.parts if spot.pins_px and spot.at_mm is None}
    guess = made_up_places(board)
    fixed = {ref for ref, marks in of_part.items() if len(marks) >= FEW or (ref not in guess and ref not in by_pixels)}
    old = next((one for one in said.photos if one.side == photo.side), None)
    in_mm = (
        tuple(mark for mark in old.marks if mark.mm is not None) if old is not None and old.file == photo.file else ()
    )
    marks = (*in_mm, *(mark for mark in photo.marks if mark.pin.rpartition(".")[0] in fixed))
    photos = (*(one for one in said.photos if one.side != photo.side), replace(photo, marks=marks))
    for ref in list(spots):
        if _in_photo(spots[ref], photo.side, replace(said, photos=photos)):
            spots[ref] = replace(spots[ref], pins_px={})
    for ref, found in of_part.items():
        if ref not in fixed:
            pixels = {mark.pin.rpartition(".")[2]: mark.px for mark in found}
            spots[ref] = replace(spots.get(ref, PartSpot(ref)), pins_px=pixels)
    kept = tuple(spot for spot in spots.values() if spot != PartSpot(spot.ref))
    return replace(said, photos=photos, parts=kept)
