"""The photo of a side as the board's map: turned flat by its marks and scaled to the board, so that one mm is the same everywhere."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from coppermend.core.board.model import Board
from coppermend.core.findings import Place, refuse
from coppermend.services.bind import bind
from coppermend.services.packages import PackageSource
from coppermend.services.photos import MEDIA, look_at
from coppermend.services.scene import bounds_mm
from coppermend.services.workshop import Workshop

PIXELS_PER_MM = 12.0
MOST_PIXELS = 4000
"""Scale of the flattened photo and its largest side: a DIP pin is then some ten pixels wide, a board of 300 mm comes as 3,600 pixels."""
QUALITY = 88
LAMINATE = (196, 178, 128)
"""Colour where the photo shows nothing of the board."""


@dataclass(frozen=True, slots=True)
class FlatPhoto:
    """A flattened photo: ``jpeg`` bytes, the box ``bounds_mm`` (x0, y0, x1, y1) it covers, seen from the component side with y up."""

    jpeg: bytes
    bounds_mm: tuple[float, float, float, float]


def photos_of(board: Board) -> dict[str, dict[str, Any]]:
    """The photos that serve as map, by side: ``file``, ``matrix`` (9 numbers, pixels to mm), ``residual_mm``."""
    return {side: json.loads(board.extra[f"photo.{side}"]) for side in ("c", "s") if f"photo.{side}" in board.extra}


def board_photo(workshop: Workshop, case: str, side: str) -> FlatPhoto:
    """The photo of a side of a case's board, flattened. Refusal MAP-020 when there is none, PHO-001 or PHO-002 when it is no picture."""
    binding = bind(workshop, case)
    key = ("photo", side)
    if key not in binding.kept:
        spec = photos_of(binding.board).get(side)
        if spec is None or workshop.files is None:
            raise refuse(
                "MAP-020",
                "No photo of that side is laid on this board.",
                "Mark four points of one in coppermend-map.toml.",
            )
        data = _bytes_of(workshop.files, binding.state.package, spec["file"])
        binding.kept[key] = flatten(
            data, spec["file"], np.array(spec["matrix"]).reshape(3, 3), bounds_mm(binding.board)
        )
    found: FlatPhoto = binding.kept[key]
    return found


def _bytes_of(files: PackageSource, package: str, name: str) -> bytes:
    read = files.read(package)
    for member in (*read.members, *read.beside):
        if name in (member.name, member.base):
            return member.data
    raise refuse(
        "MAP-020", f"The photo {name} is not in the package now.", "Put it back beside the pin list.", Place(file=name)
    )


def flatten(data: bytes, name: str, to_mm: NDArray[np.float64], box: tuple[float, float, float, float]) -> FlatPhoto:
    """A photo resampled onto the board's plane over ``box`` (x0, y0, x1, y1 in mm). ``to_mm`` (3, 3) takes its pixels, as a viewer shows them, to mm."""
    look_at(data, name)
    x0, y0, x1, y1 = box
    scale = min(PIXELS_PER_MM, MOST_PIXELS / max(x1 - x0, y1 - y0, 1e-6))
    size = (max(1, round((x1 - x0) * scale)), max(1, round((y1 - y0) * scale)))
    place = np.array([[1 / scale, 0.0, x0 + 0.5 / scale], [0.0, -1 / scale, y1 - 0.5 / scale], [0.0, 0.0, 1.0]])
    back = np.linalg.inv(to_mm) @ place
    back = back / back[2, 2]
    try:
        with Image.open(io.BytesIO(data), formats=list(MEDIA)) as picture:
            shown = ImageOps.exif_transpose(picture).convert("RGB")
        flat = shown.transform(
            size, Image.Transform.PERSPECTIVE, back.ravel()[:8].tolist(), Image.Resampling.BILINEAR, fillcolor=LAMINATE
        )
        out = io.BytesIO()
        flat.save(out, "JPEG", quality=QUALITY)
    except (OSError, ValueError, SyntaxError) as err:
        raise refuse(
            "PHO-002", "That is no picture that can be drawn.", "Give a whole JPEG or PNG file.", Place(file=name)
        ) from err
    return FlatPhoto(out.getvalue(), box)
