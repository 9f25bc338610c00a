"""The person's own photo of a side laid on the board: which pins to tap, the registration kept as an entry, the photo flattened for the page."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from coppermend.core.board.model import Board, Pin
from coppermend.core.findings import Place, refuse
from coppermend.core.geometry.lens import Lens
from coppermend.core.geometry.register import Registered, finest_px_per_mm, look_before_taps, register
from coppermend.core.log.canonical import Json
from coppermend.core.log.state import LaidPhoto
from coppermend.services.bind import Binding, bind
from coppermend.services.boardphoto import LAMINATE, MOST_PIXELS, PIXELS_PER_MM, QUALITY, FlatPhoto
from coppermend.services.entries import write
from coppermend.services.notes import Noted, noted
from coppermend.services.photos import MEDIA, look_at
from coppermend.services.scene import bounds_mm
from coppermend.services.sidepicture import drawing_of
from coppermend.services.workshop import Workshop

USED_PIXELS = 12_000_000
"""A larger photo is made smaller before it is compared: at 12 megapixels a board of 300 mm has some 13 pixels a mm, more than a land needs."""
MESH = 48
SUGGESTED = 6
SIDES = {"c": "component side", "s": "solder side"}


@dataclass(frozen=True, slots=True)
class Tap:
    """A pin seen in the photo: its name (``U1.1``) and the pixel, x right and y down as a viewer shows the picture."""

    pin: str
    px: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Laid:
    """What was written and how well it fits; ``taps`` (pin, its own miss in mm)."""

    noted: Noted
    fit: Registered
    taps: tuple[tuple[str, float], ...]
    side: str

    @property
    def words(self) -> str:
        """The result in one or two sentences."""
        far = [f"{pin} by {miss:.1f} mm" for pin, miss in self.taps if miss > 1.0]
        missed = f" Your taps missed at {', '.join(far)}; the lands put that right." if far else ""
        return (
            f"The photo lies on the {SIDES[self.side]}: {self.fit.matched} lands found, off by {self.fit.residual_mm:.2f} mm on average "
            f"(root mean square), 95 of 100 by less than {self.fit.p95_mm:.2f} mm.{missed}"
        )

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON values."""
        fit = self.fit
        return {
            **self.noted.as_dict(),
            "says": self.words,
            "side": self.side,
            "residual_mm": round(fit.residual_mm, 3),
            "p95_mm": round(fit.p95_mm, 3),
            "matched": fit.matched,
            "tried": fit.tried,
            "blur_mm": round(fit.blur_mm, 3),
            "px_per_mm": round(fit.px_per_mm, 1),
            "taps": [{"pin": pin, "miss_mm": round(miss, 2)} for pin, miss in self.taps],
        }


def laid_view(workshop: Workshop, case: str) -> dict[str, Any]:
    """What lies on the board now, which pins are good to tap on each side, and the case's photos, as plain JSON values."""
    binding = bind(workshop, case)
    return {
        "laid": {
            one.side: {
                "sha256": one.sha256,
                "entry": one.entry,
                "residual_mm": one.residual_mm,
                "matched": one.matched,
                "tried": one.tried,
            }
            for one in binding.state.laid
        },
        "suggest": {side: [_spot(pin, side) for pin in suggested(binding.board)] for side in SIDES},
        "photos": [
            {"sha256": one.sha256, "words": one.words or one.name, "side": one.side} for one in binding.state.photos
        ],
    }


def _spot(pin: Pin, side: str) -> dict[str, Any]:
    return {"pin": pin.name, "x_mm": pin.x_mm, "y_mm": pin.y_mm, "side": side, "part": pin.part, "kind": "pin"}


def suggested(board: Board, most: int = SUGGESTED) -> tuple[Pin, ...]:
    """Pins far apart that are easy to name: of chips where they lie well, first those near the four corners, then those between.

    Each next pin is the one farthest from those taken (T. F. Gonzalez, Theor. Comput. Sci. 38 (1985) 293, from memory), begun at a corner.
    """
    x0, y0, x1, y1 = bounds_mm(board)
    pins = _nameable(board, (x1 - x0, y1 - y0))
    if not pins:
        return ()
    xy = np.array([(pin.x_mm, pin.y_mm) for pin in pins])
    taken: list[int] = []
    for corner in ((x0, y0), (x1, y1), (x0, y1), (x1, y0)):
        k = int(np.hypot(*(xy - corner).T).argmin())
        if k not in taken:
            taken.append(k)
    while len(taken) < min(most, len(pins)):
        far = np.min(np.hypot(xy[:, None, 0] - xy[None, taken, 0], xy[:, None, 1] - xy[None, taken, 1]), axis=1)
        taken.append(int(far.argmax()))
    return tuple(pins[k] for k in taken)


WIDE_ENOUGH = 0.6
"""Chips and connectors are enough where their pins span this share of the board both ways."""


def _nameable(board: Board, size_mm: tuple[float, float]) -> list[Pin]:
    """Pins that a person can tell from their neighbours: of parts with eight pins or more where these lie wide enough, else of every part with
    holes; never one of several lands under one number (``1#7``), as fixing holes have them."""
    single = [(part, pin) for part in board.parts for pin in part.pins if "#" not in pin.number]
    many = [pin for part, pin in single if len({one.number.partition("#")[0] for one in part.pins}) >= 8]
    if many:
        xy = np.array([(pin.x_mm, pin.y_mm) for pin in many])
        if all(np.ptp(xy, axis=0) >= WIDE_ENOUGH * np.array(size_mm)):
            return many
    return [pin for part, pin in single if pin.hole is not None or len(part.pins) >= 8]


GLANCED_PX_PER_MM = (4.0, 2.0)
"""A photo is made as small as these before it is looked at: what is too blurred to be laid is so at that scale too."""


def board_size_mm(workshop: Workshop, case: str) -> tuple[float, float]:
    """Width and height in mm of the case's board."""
    x0, y0, x1, y1 = bounds_mm(bind(workshop, case).board)
    return (x1 - x0, y1 - y0)


def look_at_choice(data: bytes, size_mm: tuple[float, float]) -> None:
    """Look at a photo that is to be laid before anything is kept or tapped; ``size_mm`` width and height of its board. Asks nothing of a case.

    Refusals: PHO-001, PHO-002 no picture, PHO-011 blurred beyond use wherever the board lies in it.
    """
    shown = _shown(data).convert("L")
    finest = finest_px_per_mm(shown.size, size_mm)
    look_before_taps([_grey(shown, min(1.0, per_mm / finest)) for per_mm in GLANCED_PX_PER_MM], size_mm)


def _grey(shown: Image.Image, share: float) -> NDArray[np.float32]:
    size = (max(1, round(shown.size[0] * share)), max(1, round(shown.size[1] * share)))
    return np.asarray(shown.resize(size, Image.Resampling.BOX), dtype=np.float32) / np.float32(255.0)


@dataclass(frozen=True, slots=True)
class Laying:
    """A photo about to be laid: all that the comparison needs, taken from the case at once, so that it can run while the case goes on.

    ``data`` the photo's bytes, ``memo`` where the board's drawing is kept.
    """

    sha256: str
    side: str
    taps: tuple[Tap, ...]
    pins: tuple[Pin, ...]
    data: bytes
    board: Board
    memo: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Compared:
    """How a photo lies on the board, and the size in pixels that it was compared at."""

    fit: Registered
    size: tuple[int, int]


def lay_photo(
    workshop: Workshop, case: str, sha256: str, side: str, taps: Sequence[Tap], *, entry_id: str | None = None
) -> Laid:
    """Lay a photo that the case keeps on a side of its board, and write that down.

    Refusals: PHO-003 no such photo, MAP-013 a pin that the board does not have, MAP-001 and MAP-002 taps that fix no view, PHO-010 to PHO-014 a photo that cannot
    be laid there (too coarse, blurred, mirrored or the other side, another board, one tap wrong).
    """
    begun = begin_laying(workshop, case, sha256, side, taps)
    return end_laying(workshop, case, begun, compare(begun), entry_id=entry_id)


def begin_laying(workshop: Workshop, case: str, sha256: str, side: str, taps: Sequence[Tap]) -> Laying:
    """What ``compare`` needs of a case. Refusals PHO-003, MAP-013, MAP-022."""
    binding = bind(workshop, case)
    if side not in SIDES:
        raise refuse("MAP-022", f"{side!r} is no side of a board.", "Say c (component side) or s (solder side).")
    _kept_by(binding, sha256)
    named = {pin.name.upper(): pin for part in binding.board.parts for pin in part.pins}
    strange = [tap.pin for tap in taps if tap.pin.upper() not in named]
    if strange:
        raise refuse("MAP-013", f"The board has no pin {', '.join(strange[:4])}.", "Name pins as the board does: U1.1.")
    pins = tuple(named[tap.pin.upper()] for tap in taps)
    data = workshop.store.attachment(sha256)
    return Laying(sha256, side, tuple(taps), pins, data, binding.board, binding.base.memo)


def compare(begun: Laying) -> Compared:
    """Where the photo lies on the board: seconds of work, and nothing of the case is asked or changed. Refusals as ``lay_photo``."""
    small, share = _usable(_shown(begun.data))
    grey = np.asarray(small.convert("L"), dtype=np.float32) / np.float32(255.0)
    px = [((tap.px[0] + 0.5) * share - 0.5, (tap.px[1] + 0.5) * share - 0.5) for tap in begun.taps]
    places = [(pin.x_mm, pin.y_mm) for pin in begun.pins]
    return Compared(register(grey, begun.side, px, places, _drawing(begun.board, begun.memo)), small.size)


def end_laying(
    workshop: Workshop, case: str, begun: Laying, compared: Compared, *, entry_id: str | None = None
) -> Laid:
    """Write down where the photo lies. Refusal PHO-003 when the photo was taken back meanwhile."""
    _kept_by(bind(workshop, case), begun.sha256)
    fit = compared.fit
    payload: dict[str, Json] = {
        "sha256": begun.sha256,
        "side": begun.side,
        "taps": [
            {"pin": pin.name, "x_mm": pin.x_mm, "y_mm": pin.y_mm, "px": list(tap.px)}
            for pin, tap in zip(begun.pins, begun.taps, strict=True)
        ],
        "lens": _as_map(fit.lens, compared.size),
        "residual_mm": round(fit.residual_mm, 4),
        "p95_mm": round(fit.p95_mm, 4),
        "matched": fit.matched,
        "tried": fit.tried,
        "blur_mm": round(fit.blur_mm, 4),
    }
    entry = noted(write(workshop, case, "lay", payload, entry_id=entry_id))
    misses = tuple((pin.name, miss) for pin, miss in zip(begun.pins, fit.taps_mm, strict=True))
    return Laid(entry, fit, misses, begun.side)


def _kept_by(binding: Binding, sha256: str) -> None:
    if not any(one.sha256 == sha256 for one in binding.state.photos):
        raise refuse(
            "PHO-003",
            "This case has no such photo.",
            "Keep it first: coppermend photo CASE FILE.",
            Place(thing=sha256[:16]),
        )


@dataclass(frozen=True, slots=True)
class Underlay:
    """A laid photo about to be flattened: its bytes, how it lies, the board's box in mm, and where the picture is kept."""

    data: bytes
    laid: LaidPhoto
    box: tuple[float, float, float, float]
    kept: dict[Any, Any]


def underlay(workshop: Workshop, case: str, side: str) -> Underlay:
    """What ``flatten`` needs of a case. Refusal MAP-020 when no photo lies on that side."""
    binding = bind(workshop, case)
    found = next((one for one in reversed(binding.state.laid) if one.side == side), None)
    if found is None:
        raise refuse("MAP-020", "No photo of that side is laid on this board.", "Lay one: coppermend lay CASE FILE.")
    data = b"" if ("laid", found.entry) in binding.kept else workshop.store.attachment(found.sha256)
    return Underlay(data, found, bounds_mm(binding.board), binding.kept)


def flatten(one: Underlay) -> FlatPhoto:
    """The photo flattened over the board's box, seen from the component side, y up; kept. Asks nothing of the case."""
    key = ("laid", one.laid.entry)
    if key not in one.kept:
        one.kept[key] = _flattened(one.data, one.laid, one.box)
    flat: FlatPhoto = one.kept[key]
    return flat


def _flattened(data: bytes, laid: LaidPhoto, box: tuple[float, float, float, float]) -> FlatPhoto:
    said = json.loads(laid.lens)
    lens, size = _from_map(said), tuple(said["size_px"])
    shown = _shown(data)
    source = shown if shown.size == size else shown.resize(size, Image.Resampling.BOX)
    x0, y0, x1, y1 = box
    scale = min(PIXELS_PER_MM, MOST_PIXELS / max(x1 - x0, y1 - y0, 1e-6))
    wide, high = max(2, round((x1 - x0) * scale)), max(2, round((y1 - y0) * scale))
    xs, ys = np.linspace(0, wide, MESH + 1).round(), np.linspace(0, high, MESH + 1).round()
    gx, gy = np.meshgrid(x0 + xs / scale, y1 - ys / scale)
    px = lens.to_px(np.column_stack([gx.ravel(), gy.ravel()])).reshape(MESH + 1, MESH + 1, 2) + 0.5
    mesh = [
        (
            (int(xs[i]), int(ys[j]), int(xs[i + 1]), int(ys[j + 1])),
            tuple(float(v) for at in ((j, i), (j + 1, i), (j + 1, i + 1), (j, i + 1)) for v in px[at]),
        )
        for j in range(MESH)
        for i in range(MESH)
    ]
    flat = source.transform((wide, high), Image.Transform.MESH, mesh, Image.Resampling.BILINEAR, fillcolor=LAMINATE)
    out = io.BytesIO()
    flat.save(out, "JPEG", quality=QUALITY)
    return FlatPhoto(out.getvalue(), box)


def _shown(data: bytes) -> Image.Image:
    """The picture as a viewer shows it: turned by what the camera wrote into it. Refusals as ``look_at``."""
    look_at(data)
    try:
        with Image.open(io.BytesIO(data), formats=list(MEDIA)) as picture:
            return ImageOps.exif_transpose(picture).convert("RGB")
    except (OSError, ValueError, SyntaxError) as err:
        raise refuse("PHO-002", "That is no picture that can be drawn.", "Give a whole JPEG or PNG file.") from err


def _usable(shown: Image.Image) -> tuple[Image.Image, float]:
    """The picture at most USED_PIXELS large, and its scale."""
    share = min(1.0, (USED_PIXELS / (shown.size[0] * shown.size[1])) ** 0.5)
    if share == 1.0:
        return shown, 1.0
    size = (round(shown.size[0] * share), round(shown.size[1] * share))
    return shown.resize(size, Image.Resampling.BOX), size[0] / shown.size[0]


def _drawing(board: Board, memo: dict[str, Any]) -> Any:
    if "drawing for photos" not in memo:
        memo["drawing for photos"] = drawing_of(board)
    return memo["drawing for photos"]


def _as_map(lens: Lens, size: tuple[int, int]) -> dict[str, Json]:
    matrix: NDArray[np.float64] = lens.matrix
    return {
        "matrix": [float(v) for v in matrix.ravel()],
        "centre_px": [float(v) for v in lens.centre_px],
        "reach_px": lens.reach_px,
        "k": lens.k,
        "k2": lens.k2,
        "size_px": [int(v) for v in size],
    }


def _from_map(said: Mapping[str, Any]) -> Lens:
    centre = (float(said["centre_px"][0]), float(said["centre_px"][1]))
    matrix = np.array(said["matrix"], dtype=np.float64).reshape(3, 3)
    return Lens(matrix, centre, float(said["reach_px"]), float(said["k"]), float(said["k2"]))
