"""The thermal pictures of a case, to be looked at: which there are, what each says of the parts, and one of them drawn on the board by its fit."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from coppermend.core.findings import Place, refuse
from coppermend.core.geometry.lens import Lens
from coppermend.core.log.model import Entry
from coppermend.core.thermal.scale import Mark
from coppermend.services.bind import bind
from coppermend.services.cases import case_state
from coppermend.services.scene import bounds_mm
from coppermend.services.thermalfile import colours_of, read_thermal
from coppermend.services.workshop import Workshop

Floats = NDArray[np.float64]
MOST_CELLS = 480
"""Longer side of the drawn picture in pixels."""
RAMP = ((0, 0, 10), (60, 15, 110), (150, 40, 100), (225, 90, 45), (250, 175, 40), (250, 250, 200))
"""Colours from cold to hot; lightness rises all the way, so that they are told apart without colour."""


def heat_of(workshop: Workshop, case: str) -> tuple[dict[str, Any], ...]:
    """The case's thermal pictures, newest first: when, which side, how many parts are cold, hot and even; taken back ones left out."""
    undone = set(case_state(workshop, case).undone)
    rows = [one for one in workshop.store.entries(case) if one.kind == "heat" and one.id not in undone]
    return tuple(_row(one) for one in reversed(rows) if _picture(one))


def heat_drawn(workshop: Workshop, case: str, entry_id: str) -> dict[str, Any]:
    """One thermal picture on the board: ``box_mm`` where the drawn picture lies (x0, y0, x1, y1), ``low_c`` and ``high_c`` of its colours, ``parts``
    with outline, temperature and verdict, the board's ``outline``. Refusal THM-008 when the case has no such picture."""
    entry = _entry(workshop, case, entry_id)
    binding = bind(workshop, case)
    shown = _picture(entry)
    celsius = _celsius(workshop, entry)
    low, high = _range(celsius)
    said: Mapping[str, Any] = shown.get("parts") or {}
    return {
        **_row(entry),
        "box_mm": list(bounds_mm(binding.board)),
        "low_c": round(low, 1),
        "high_c": round(high, 1),
        "outline": [_flat(one) for one in binding.board.outline],
        "parts": [
            {"part": part.ref, "outline": _flat(part.outline), **said[part.ref]}
            for part in binding.board.parts
            if part.ref in said and len(part.outline) >= 3
        ],
    }


def heat_png(workshop: Workshop, case: str, entry_id: str) -> bytes:
    """The picture as it lies on the board, PNG: north up as the component side is seen, transparent where the camera saw nothing of the board."""
    entry = _entry(workshop, case, entry_id)
    celsius = _celsius(workshop, entry)
    x0, y0, x1, y1 = bounds_mm(bind(workshop, case).board)
    step = max(x1 - x0, y1 - y0) / MOST_CELLS
    xs = np.arange(x0 + step / 2, x1, step)
    ys = np.arange(y1 - step / 2, y0, -step)
    grid = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    at = np.rint(_lens(entry).to_px(grid)).astype(np.int64)
    high, wide = celsius.shape
    inside = (at[:, 0] >= 0) & (at[:, 0] < wide) & (at[:, 1] >= 0) & (at[:, 1] < high)
    values = np.full(len(grid), np.nan)
    values[inside] = celsius[at[inside, 1], at[inside, 0]]
    picture = Image.fromarray(_coloured(values, *_range(celsius)).reshape(len(ys), len(xs), 4), "RGBA")
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()


def as_taken(data: bytes, name: str = "", unit: str = "") -> bytes:
    """A thermal picture as the camera made it, PNG with its own pixels: to tap places in and to mark its colour bar, before it is read.

    A coloured picture keeps its colours; a radiometric one is drawn from cold (dark) to hot (light). Refusals THM-001, THM-003 as when it is read.
    """
    shown = colours_of(data, name)
    if shown is None:
        celsius = read_thermal(data, name, (), unit).celsius
        high, wide = celsius.shape
        shown = Image.fromarray(_coloured(celsius.ravel(), *_range(celsius)).reshape(high, wide, 4), "RGBA")
    out = io.BytesIO()
    shown.save(out, "PNG")
    return out.getvalue()


def _coloured(values: Floats, low: float, high: float) -> NDArray[np.uint8]:
    """Red, green, blue and opacity of temperatures, (n, 4); what is not known is transparent.

    >>> _coloured(np.array([20.0, np.nan, 40.0]), 20.0, 40.0)[:, 3].tolist()
    [255, 0, 255]
    """
    share = np.clip((values - low) / max(high - low, 1e-6), 0.0, 1.0)
    known = np.isfinite(share)
    at = np.linspace(0.0, 1.0, len(RAMP))
    made = np.zeros((len(values), 4), np.uint8)
    for k in range(3):
        made[known, k] = np.rint(np.interp(share[known], at, [one[k] for one in RAMP]))
    made[known, 3] = 255
    return made


def _range(celsius: Floats) -> tuple[float, float]:
    known = celsius[np.isfinite(celsius)]
    return (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)


def _celsius(workshop: Workshop, entry: Entry) -> Floats:
    shown = _picture(entry)
    marks = [
        Mark((float(one["px"][0]), float(one["px"][1])), float(one["celsius"])) for one in shown.get("scale") or ()
    ]
    data = workshop.store.attachment(str(entry.payload["sha256"]))
    if not marks and data[:4] in (b"\x89PNG", b"\xff\xd8\xff\xe0", b"\xff\xd8\xff\xe1"):
        raise refuse(
            "THM-008",
            "This picture was noted before its scale was kept: its temperatures stand in the log, its colours cannot be drawn.",
            "Read the file once more: coppermend heat read PICTURE --case CASE.",
            Place(thing=f"entry {entry.bench_seq}"),
        )
    return read_thermal(data, str(entry.payload.get("raw", "")), marks, str(shown.get("unit", ""))).celsius


def _lens(entry: Entry) -> Lens:
    shown = _picture(entry)
    wide, high = (float(one) for one in shown["size_px"])
    bend = shown.get("bend") or (0.0, 0.0)
    matrix = np.array(shown["matrix"], dtype=np.float64).reshape(3, 3)
    centre = ((wide - 1.0) / 2.0, (high - 1.0) / 2.0)
    return Lens(matrix, centre, float(np.hypot(wide, high)) / 2.0, float(bend[0]), float(bend[1]))


def _entry(workshop: Workshop, case: str, entry_id: str) -> Entry:
    found = next((one for one in workshop.store.entries(case) if one.id == entry_id and one.kind == "heat"), None)
    if found is None or not _picture(found):
        raise refuse(
            "THM-008", f"The case has no thermal picture {entry_id[:36]!r}.", "See which there are: GET /api/cases/CASE/heat, or coppermend case show CASE."
        )  # fmt: skip
    return found


def _picture(entry: Entry) -> Mapping[str, Any]:
    found: Any = entry.payload.get("picture")
    return found if isinstance(found, Mapping) and "matrix" in found else {}


def _row(entry: Entry) -> dict[str, Any]:
    shown = _picture(entry)
    parts: Mapping[str, Any] = shown.get("parts") or {}
    verdicts = {
        word: sorted(ref for ref, one in parts.items() if one.get("verdict") == word)
        for word in ("cold", "hot", "even")
    }
    return {
        "entry": entry.id,
        "ref": entry.bench_seq,
        "observed_at": entry.observed_at,
        "sha256": entry.payload.get("sha256"),
        "side": shown.get("side", "c"),
        "against": shown.get("against", ""),
        "words": entry.payload.get("words", ""),
        **verdicts,
    }


def _flat(ring: Any) -> list[list[float]]:
    return [[round(float(x), 3), round(float(y), 3)] for x, y in ring]
