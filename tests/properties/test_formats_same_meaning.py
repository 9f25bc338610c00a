"""One image written in different ways reads the same: units, zero suppression, notation, order of statements, step-and-repeat."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.formats.drill import DrillFormat, read_drill
from coppermend.formats.gerber import GerberImage, read_gerber
from coppermend.formats.ipcd356 import read_ipcd356

points = st.lists(st.tuples(st.integers(-90_000, 90_000), st.integers(-90_000, 90_000)), min_size=1, max_size=12)
"""In 0.0001 inch."""


def gerber(text: str) -> GerberImage:
    return read_gerber(text.encode(), "a.gbr")


def digits(value: int, width: int, keep: str) -> str:
    """A whole number with leading zeros, trailing zeros or no zeros left out."""
    sign, plain = ("-" if value < 0 else ""), f"{abs(value):0{width}d}"
    if keep == "leading":
        return sign + (plain.rstrip("0") or "0")
    return sign + (plain if keep == "all" else (plain.lstrip("0") or "0"))


@given(points)
def test_zero_suppression_and_notation_change_nothing(xy: list[tuple[int, int]]) -> None:
    head = "%MOIN*%%ADD10C,0.01*%D10*"
    leading = "".join(f"X{x}Y{y}D03*" for x, y in xy)
    trailing = "".join(f"X{digits(x, 6, 'leading')}Y{digits(y, 6, 'leading')}D03*" for x, y in xy)
    steps = np.diff(np.array([(0, 0), *xy]), axis=0).tolist()
    incremental = "".join(f"X{dx}Y{dy}D03*" for dx, dy in steps)
    a = gerber(f"%FSLAX24Y24*%{head}{leading}M02*")
    b = gerber(f"%FSTAX24Y24*%{head}{trailing}M02*")
    c = gerber(f"%FSLIX24Y24*%{head}{incremental}M02*")
    assert np.allclose(a.at_mm, np.array(xy) * 0.00254, atol=1e-12)
    assert np.array_equal(a.at_mm, b.at_mm)
    assert np.allclose(a.at_mm, c.at_mm, atol=1e-9)


@given(points)
def test_inch_and_millimetre_change_nothing(xy: list[tuple[int, int]]) -> None:
    inch = "".join(f"X{x}Y{y}D01*" for x, y in xy)
    metric = "".join(f"X{x * 254}Y{y * 254}D01*" for x, y in xy)  # 0.0001 inch = 254 steps of 10 nm
    a = gerber(f"%FSLAX24Y24*%%MOIN*%%ADD10R,0.1X0.02*%D10*{inch}M02*")
    b = gerber(f"%FSLAX35Y35*%%MOMM*%%ADD10R,2.54X0.508*%D10*{metric}M02*")
    assert a.shapes.bounds_mm() == pytest.approx(b.shapes.bounds_mm(), abs=1e-9)


@given(points, st.integers(1, 4), st.integers(1, 4))
def test_step_and_repeat_is_writing_it_out(xy: list[tuple[int, int]], nx: int, ny: int) -> None:
    head = "%FSLAX24Y24*%%MOIN*%%ADD10O,0.03X0.01*%D10*"
    one = "".join(f"X{x}Y{y}D03*" for x, y in xy)
    all_ = "".join(f"X{x + 10_000 * a}Y{y + 20_000 * b}D03*" for a in range(nx) for b in range(ny) for x, y in xy)
    a = gerber(f"{head}%SRX{nx}Y{ny}I1.0J2.0*%{one}%SR*%M02*")
    b = gerber(f"{head}{all_}M02*")
    assert a.at_mm == pytest.approx(b.at_mm, abs=1e-9)


@given(points, st.sampled_from([0, 90, 180, 270]), st.booleans())
def test_turning_a_block_is_turning_what_is_in_it(xy: list[tuple[int, int]], angle: int, mirrored: bool) -> None:
    head = "%FSLAX24Y24*%%MOIN*%%ADD10R,0.03X0.01*%"
    inside = "".join(f"X{x}Y{y}D03*" for x, y in xy)
    mirror = "%LMX*%" if mirrored else ""
    block = gerber(f"{head}%ABD12*%D10*{inside}%AB*%D12*{mirror}%LR{angle}*%X0Y0D03*M02*")
    plain = gerber(f"{head}D10*{inside}M02*")
    a = plain.at_mm * ((-1, 1) if mirrored else (1, 1))
    c, s = round(np.cos(np.radians(angle))), round(np.sin(np.radians(angle)))
    box = block.shapes.bounds_mm()
    assert (box[:, :2] + box[:, 2:]) / 2 == pytest.approx(a @ np.array([[c, s], [-s, c]]), abs=1e-9)
    assert (box[:, 2] - box[:, 0]) == pytest.approx(0.762 if angle % 180 == 0 else 0.254)


@given(points, st.sampled_from(["LZ", "TZ"]))
def test_drill_zero_suppression_changes_nothing(xy: list[tuple[int, int]], zeros: str) -> None:
    keep = "leading" if zeros == "LZ" else "trailing"
    body = "".join(f"X{digits(x, 6, keep)}Y{digits(y, 6, keep)}\n" for x, y in xy)
    drill = read_drill(f"M48\nINCH,{zeros},00.0000\nT1C0.02\n%\nT1\n{body}M30\n".encode(), "a.drl")
    assert np.column_stack([drill.x_mm, drill.y_mm]) == pytest.approx(np.array(xy) * 0.00254, abs=1e-9)
    assert not drill.guessed
    again = read_drill(
        f"M48\nT1C0.02\n%\nT1\n{body}M30\n".encode(),
        "a.drl",
        DrillFormat(False, 2, 4, "trailing" if zeros == "LZ" else "leading"),
    )
    assert np.array_equal(again.x_mm, drill.x_mm)


@given(points)
def test_netlist_units_change_nothing(xy: list[tuple[int, int]]) -> None:
    def line(x: int, y: int) -> str:
        return f"317GND              U1    -1    D0400PA00X{x:+07d}Y{y:+07d}X0600Y0000R000S3\n"

    metric = read_ipcd356(("P  UNITS CUST 1\n" + "".join(line(x, y) for x, y in xy) + "999\n").encode(), "a")
    assert [(r.x_mm, r.y_mm) for r in metric.records] == [(x / 1000, y / 1000) for x, y in xy]
