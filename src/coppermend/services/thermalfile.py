"""A thermal picture read from a file: radiometric CSV or TIFF, or a coloured PNG or JPEG with two marks on its colour bar."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from coppermend.core.findings import Finding, Place, Severity, refuse
from coppermend.core.thermal.scale import Mark, scaled
from coppermend.formats.thermal import LARGEST_BYTES, LEAST_C, LEAST_SIDE, MOST_C, MOST_SIDE, read_table

Floats = NDArray[np.float64]
UNITS = ("C", "K", "dK", "cK")
"""degC, kelvin, tenths and hundredths of a kelvin."""
STEP_K = {"C": 1.0, "K": 1.0, "dK": 0.1, "cK": 0.01}


@dataclass(frozen=True, slots=True)
class ThermalPicture:
    """``celsius`` (h, w) as the camera shows it (with the emissivity that it was set to), NaN where nothing is known; ``kind`` csv, tiff, png or jpeg."""

    celsius: Floats
    kind: str
    unit: str
    step_k: float
    findings: tuple[Finding, ...]


KINDS_READ = "Give a radiometric CSV or TIFF, or a PNG or JPEG with its colour bar."


def read_thermal(data: bytes, name: str = "", scale: Sequence[Mark] = (), unit: str = "") -> ThermalPicture:
    """Read a thermal picture. ``scale`` two marks on the colour bar (PNG and JPEG alone); ``unit`` of a radiometric file, "" to be told from its values.

    Refusals THM-001 (no such file, bomb, too small or large), THM-003 (unit), THM-004 (scale).
    """
    place = Place(file=name or None)
    kind = _kind(data)
    if kind in ("png", "jpeg"):
        return _coloured(data, kind, scale, place)
    if kind == "other":
        raise refuse("THM-001", "That is a picture or document of a type that is not read.", KINDS_READ, place)
    if kind == "csv" and name.lower().endswith((".png", ".jpg", ".jpeg", ".tif", ".tiff")):
        raise refuse("THM-001", "That is no picture, whatever its name says.", KINDS_READ, place)
    if scale:
        raise refuse(
            "THM-004",
            "This file holds temperatures itself; two marks on a colour bar belong to a PNG or JPEG.",
            "Leave out --scale.",
            place,
        )
    if kind == "tiff":
        values = _tiff(data, place)
        findings: tuple[Finding, ...] = ()
    else:
        table = read_table(data, name)
        values, findings = table.values, table.findings
    return _in_celsius(values, kind, unit, findings, place)


def colours_of(data: bytes, name: str = "") -> Image.Image | None:
    """The colours of a PNG or JPEG, read with the same care; None when the file is of another kind. Refusal THM-001."""
    kind = _kind(data)
    return _opened(data, kind.upper(), Place(file=name or None)).convert("RGB") if kind in ("png", "jpeg") else None


def _kind(data: bytes) -> str:
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "png"
    if data[:3] == b"\xff\xd8\xff":
        return "jpeg"
    if data[:4] in (b"GIF8", b"RIFF", b"%PDF") or (data[:2] == b"BM" and b"\0" in data[:32]):
        return "other"
    return "tiff" if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+") else "csv"


def _opened(data: bytes, form: str, place: Place) -> Image.Image:
    """The picture, after its header alone was looked at: a bomb costs nothing."""
    if len(data) > LARGEST_BYTES:
        raise refuse(
            "THM-001",
            f"The file has {len(data) / 2**20:.0f} MiB, at most {LARGEST_BYTES // 2**20} are read.",
            "Thermal pictures are small: give the camera's own.",
            place,
        )
    try:
        picture = Image.open(io.BytesIO(data), formats=[form])
        width, height = picture.size
        if not (LEAST_SIDE <= width <= MOST_SIDE and LEAST_SIDE <= height <= MOST_SIDE):
            raise refuse(
                "THM-001",
                f"The picture has {width} x {height} pixels, expected {LEAST_SIDE} to {MOST_SIDE} each way.",
                "Give the picture as the camera made it (160 x 120 to 640 x 480).",
                place,
            )
        picture.load()
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as err:
        raise refuse(
            "THM-001",
            f"The picture is far too large: at most {MOST_SIDE} pixels each way are read.",
            "Give the picture as the camera made it (160 x 120 to 640 x 480).",
            place,
        ) from err
    except (UnidentifiedImageError, OSError, ValueError, KeyError, SyntaxError, EOFError, TypeError) as err:
        raise refuse(
            "THM-001",
            "That is no picture that can be read: it is damaged or of another type.",
            KINDS_READ,
            place,
        ) from err
    return picture


def _tiff(data: bytes, place: Place) -> Floats:
    picture = _opened(data, "TIFF", place)
    if picture.mode not in ("F", "I", "I;16", "I;16B", "I;16L"):
        raise refuse(
            "THM-001",
            f"This TIFF holds colours or greys of 8 bits ({picture.mode}), no temperatures.",
            "Export it as radiometric TIFF (16 bits or floating point), or give a PNG with its colour bar.",
            place,
        )
    return np.asarray(picture, dtype=np.float64)


def _coloured(data: bytes, kind: str, scale: Sequence[Mark], place: Place) -> ThermalPicture:
    picture = _opened(data, kind.upper(), place)
    if len(scale) != 2:
        raise refuse(
            "THM-004",
            f"A {kind.upper()} shows colours; which is how warm must be said by two marks on its colour bar, found {len(scale)}.",
            "Add --scale X,Y=CELSIUS twice, at the two ends of the bar. Without a bar it cannot be read: export radiometric CSV or TIFF.",
            place,
        )
    made = scaled(np.asarray(picture.convert("RGB"), dtype=np.uint8), scale[0], scale[1])
    share = float(np.isfinite(made.celsius).mean())
    findings = []
    if share < 0.98:
        findings.append(
            Finding(
                "THM-002",
                Severity.NOTE,
                place,
                f"{100 * (1 - share):.0f} % of the pixels have no colour of the bar (writing, frame).",
                "",
            )
        )
    if share < 0.3:
        raise refuse(
            "THM-004",
            f"Only {100 * share:.0f} % of the picture have a colour of the marked bar.",
            "See whether both marks lie inside the colour bar.",
            place,
        )
    findings.append(
        Finding(
            "THM-002",
            Severity.NOTE,
            place,
            f"Read from colours: {made.step_k:.1f} K a step; what is beyond the bar's ends shows as its end.",
            "",
        )
    )
    return ThermalPicture(made.celsius, kind, "C", made.step_k, tuple(findings))


def _in_celsius(values: Floats, kind: str, unit: str, findings: tuple[Finding, ...], place: Place) -> ThermalPicture:
    good = values[np.isfinite(values)]
    if good.size < 0.5 * values.size:
        raise refuse("THM-001", "More than half of the picture holds no numbers.", "Export it again.", place)
    said = unit or _guessed(float(np.median(good)))
    if said not in UNITS:
        raise refuse(
            "THM-003", f"{unit!r} is no unit here.", "Say C, K, dK (tenths) or cK (hundredths of a kelvin).", place
        )
    if not unit and said != "C":
        more = Finding(
            "THM-003",
            Severity.GUESS,
            place,
            f"The values look like {said}: read so. Nothing in the file says it.",
            "Say --unit.",
        )
        findings = (*findings, more)
    celsius = values if said == "C" else values * STEP_K[said] - 273.15
    middle = float(np.nanmedian(celsius))
    if not LEAST_C <= middle <= MOST_C:
        raise refuse(
            "THM-003",
            f"As {said} the picture's middle value would be {middle:.0f} degC, expected {LEAST_C:g} to {MOST_C:g}.",
            "Say the unit: --unit C, K, dK or cK. Raw counts of a detector are no temperatures.",
            place,
        )
    celsius = np.where((celsius >= LEAST_C) & (celsius <= MOST_C), celsius, np.nan)
    return ThermalPicture(celsius, kind, said, _step(celsius), findings)


def _guessed(middle: float) -> str:
    """What the middle value of a room-warm picture says of its unit."""
    return "C" if middle < 200 else "K" if middle < 700 else "dK" if middle < 7000 else "cK"


def _step(celsius: Floats) -> float:
    levels = np.unique(celsius[np.isfinite(celsius)])
    return float(np.diff(levels).min()) if len(levels) > 1 else 0.0
