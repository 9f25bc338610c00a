"""Thermal pictures: grey bodies, P theta, the colour scale, tables, and what is refused."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image
from tests.thermal_pictures import csv_of, png_of, tiff_of

from coppermend.core.findings import Refusal
from coppermend.core.thermal.expect import case_rise_k
from coppermend.core.thermal.greybody import apparent_c, object_c
from coppermend.core.thermal.scale import Mark
from coppermend.services.thermalfile import read_thermal

RAMP = 20.0 + 40.0 * np.linspace(0, 1, 160)[None, :] * np.ones((120, 1))


@pytest.mark.parametrize(("emissivity", "seen"), [(0.95, 58.32), (0.90, 56.61), (0.15, 27.08), (0.05, 22.42)])
def test_grey_body_at_60_in_a_room_of_20(emissivity: float, seen: float) -> None:
    """Total-radiation grey body, T_app^4 = e T^4 + (1 - e) T_room^4 in kelvin, worked by hand outside the project (60 degC seen in 20 degC)."""
    assert float(apparent_c(60.0, emissivity, 20.0)) == pytest.approx(seen, abs=0.02)
    assert float(object_c(seen, emissivity, 20.0)) == pytest.approx(60.0, abs=0.01 / emissivity)


def test_camera_set_to_095_on_a_package_of_090() -> None:
    """The same formula both ways: the camera says 58.23 where 60 is."""
    apparent = float(apparent_c(58.23, 0.95, 20.0))
    assert float(object_c(apparent, 0.90, 20.0)) == pytest.approx(60.0, abs=0.03)


def test_case_rise_of_data_sheet_values() -> None:
    """40-pin PDIP 47.2 / 24.7 and 28-pin 60 / 31.4 degC/W (theta JA / JC, Microchip): 1 W makes the top 22.5 and 28.6 K."""
    assert case_rise_k(1.0, 47.2) == pytest.approx(47.2 - 24.7, rel=0.03)
    assert case_rise_k(1.0, 60.0) == pytest.approx(60.0 - 31.4, rel=0.03)


@pytest.mark.parametrize(("sep", "comma"), [(",", False), (";", True), ("\t", False), (";", False), (" ", False)])
def test_tables_of_every_dialect(sep: str, comma: bool) -> None:
    read = read_thermal(csv_of(RAMP, sep, comma))
    assert read.celsius.shape == (120, 160) and np.allclose(read.celsius, RAMP, atol=0.006)


def test_table_with_index_row_and_column_and_a_hole() -> None:
    rows = [",".join(["", *map(str, range(160))])]
    rows += [",".join([str(k), *(f"{v:.2f}" for v in row)]) for k, row in enumerate(RAMP)]
    rows[5] = rows[5].replace("20.00", "NaN", 1)
    read = read_thermal("\n".join(rows).encode())
    assert read.celsius.shape == (120, 160) and int(np.isnan(read.celsius).sum()) == 1
    assert any("hold no number" in one.words for one in read.findings)


def test_tiff_of_degrees_and_of_hundredths_of_a_kelvin() -> None:
    """273.15 K is 0 degC (SI)."""
    assert np.allclose(read_thermal(tiff_of(RAMP.astype(np.float32))).celsius, RAMP, atol=1e-4)
    raw = np.round((RAMP + 273.15) * 100).astype(np.uint16)
    read = read_thermal(tiff_of(raw))
    assert read.unit == "cK" and np.allclose(read.celsius, RAMP, atol=0.006)
    assert any(one.severity == "guess" for one in read.findings)


def test_colours_read_along_the_bar() -> None:
    data, marks = png_of(RAMP, 20.0, 60.0)
    (x1, y1), (x2, y2) = (tuple(map(float, m.split("=")[0].split(","))) for m in marks)
    read = read_thermal(data, scale=[Mark((x1, y1), 60.0), Mark((x2, y2), 20.0)])
    assert float(np.nanmax(np.abs(read.celsius[:, :160] - RAMP))) < 0.5


def _png(colours: np.ndarray) -> bytes:
    out = io.BytesIO()
    Image.fromarray(colours.astype(np.uint8)).save(out, "PNG")
    return out.getvalue()


def _bomb(side: int) -> bytes:
    out = io.BytesIO()
    Image.new("1", (side, side)).save(out, "PNG")
    return out.getvalue()


FLAT = np.full((120, 160, 3), 90)
RAINBOW = np.stack([128 + 127 * np.sin(np.linspace(0, 8 * np.pi, 160) + k) for k in (0, 2, 4)], axis=1)[None] * np.ones(
    (120, 1, 1)
)
BAR = (Mark((5, 60), 20.0), Mark((155, 60), 60.0))


@pytest.mark.parametrize(
    ("data", "scale", "code", "words"),
    [
        (b"", (), "THM-001", "no table"),
        (b"\0\1\2" * 5000, (), "THM-001", "no table"),
        (b"1," * 1_000_000, (), "THM-001", "no table"),
        (b"GIF89a" + bytes(900), (), "THM-001", "type that is not read"),
        (b"BM" + bytes(900), (), "THM-001", "type that is not read"),
        (("nan," * 159 + "nan\n").encode() * 120, (), "THM-001", "no table"),
        (_png(RAINBOW), (), "THM-004", "two marks"),
        (_png(FLAT), BAR, "THM-004", "no temperature scale"),
        (_png(RAINBOW), BAR, "THM-004", "two temperatures"),
        (_png(RAINBOW), (Mark((5, 60), 20.0), Mark((900, 60), 60.0)), "THM-004", "outside"),
        (_png(RAINBOW)[:300], BAR, "THM-001", "damaged"),
        (_bomb(20000), BAR, "THM-001", "far too large"),
        (_bomb(6000), BAR, "THM-001", "pixels"),
        (tiff_of(np.zeros((120, 160), np.uint8)), (), "THM-001", "no temperatures"),  # type: ignore[arg-type]
        (csv_of(RAMP), BAR, "THM-004", "temperatures itself"),
        (csv_of(RAMP * 1e5 / 30), (), "THM-003", "unit"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(data: bytes, scale: tuple[Mark, ...], code: str, words: str) -> None:
    with pytest.raises(Refusal) as caught:
        read_thermal(data, "x", scale)
    assert caught.value.finding.code == code and words in f"{caught.value.finding.words} {caught.value.finding.remedy}"
    assert caught.value.finding.remedy
