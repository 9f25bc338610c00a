"""Drill reading: number formats, slots, routed paths, repeats, plating, side files.

Statements from IPC-NC-349 and the XNC format specification; meaning of pattern repeats from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from coppermend.core.findings import Refusal, Severity
from coppermend.formats.drill import (
    HOLE,
    ROUT,
    SLOT,
    DrillFile,
    DrillFormat,
    candidate_formats,
    read_drill,
    read_side_file,
)

HEAD = "M48\nMETRIC\nT1C0.800\nT2C1.000\n%\n"


def read(text: str, hint: DrillFormat | None = None) -> DrillFile:
    return read_drill(text.encode(), "holes.drl", hint)


def xy(drill: DrillFile) -> list[tuple[float, float]]:
    return [(round(float(x), 6), round(float(y), 6)) for x, y in zip(drill.x_mm, drill.y_mm, strict=True)]


# the same hole at 1.5 inch, 0.25 inch = 38.1, 6.35 mm (25.4 mm an inch, exact), written every way
@pytest.mark.parametrize(
    ("head", "line"),
    [
        ("INCH\n", "X1.5Y0.25"),
        ("INCH,LZ\n", "X015Y0025"),  # LZ: leading zeros are there, trailing ones left out
        ("INCH,TZ\n", "X15000Y2500"),
        ("METRIC,TZ,000.000\n", "X38100Y6350"),
        ("METRIC,LZ,000.000\n", "X0381Y00635"),
        ("METRIC,TZ,0000.00\n", "X3810Y635"),
        (";FILE_FORMAT=2:5\nINCH,TZ\n", "X150000Y25000"),
        ("; FORMAT={3:3/ absolute / metric / suppress leading zeros}\nMETRIC\n", "X38100Y6350"),
        ("; FORMAT={2:4/ absolute / inch / suppress trailing zeros}\nINCH\n", "X015Y0025"),
        ("; FORMAT={2:4/ absolute / inch / keep zeros}\nINCH\n", "X015000Y002500"),
        ("M71\n", "X38.1Y6.35"),
        ("M72\n", "X1.5Y.25"),
    ],
)
def test_one_hole_in_every_number_format(head: str, line: str) -> None:
    drill = read(f"M48\n{head}T1C0.03\n%\nT1\n{line}\nM30\n")
    assert xy(drill) == [(38.1, 6.35)]
    guesses = {f.code for f in drill.findings if f.severity is Severity.GUESS}
    assert guesses <= {"DRL-012"}  # 2.4 is customary for inch, but INCH,LZ does not say it


def test_what_is_not_stated_is_guessed_from_the_digits_and_said() -> None:
    drill = read("M48\nT1C0.03\n%\nT1\nX0150Y0025\nX015Y003\nM30\n")
    assert drill.guessed == ("unit", "zeros", "digits")
    assert xy(drill)[0] == (38.1, 6.35)  # begins with 0: trailing zeros left out; 0.03 can only be inch; 2.4 customary
    assert {"DRL-010", "DRL-011", "DRL-012"} <= {f.code for f in drill.findings}


def test_a_hint_overrules_the_file() -> None:
    drill = read("M48\nINCH,TZ\nT1C0.03\n%\nT1\nX38100Y6350\nM30\n", DrillFormat(True, 3, 3, "leading"))
    assert xy(drill) == [(38.1, 6.35)]


def test_one_of_the_candidates_is_the_true_format() -> None:
    wrong = read("M48\nT1C0.8\n%\nT1\nX381000Y63500\nX500000Y1\nM30\n")
    texts = "M48\nT1C0.8\n%\nT1\nX381000Y63500\nX500000Y1\nM30\n"
    found = [c for c in candidate_formats(wrong) if xy(read(texts, c))[0] == (38.1, 6.35)]
    assert any((c.metric, c.decimals) == (True, 4) for c in found)


def test_slots_of_both_kinds() -> None:
    drill = read(
        HEAD
        + "T1\nX1.0Y2.0G85X5.0Y2.0\nX10.0Y0.0G85Y3.0\nT2\nG00X0.0Y0.0\nM15\nG01X3.0Y0.0\nG01Y4.0\nM16\nG05\nX9.0Y9.0\nM30\n"
    )
    ends = np.column_stack([drill.x_mm, drill.y_mm, drill.x2_mm, drill.y2_mm]).tolist()
    assert ends == [[1, 2, 5, 2], [10, 0, 10, 3], [0, 0, 3, 0], [3, 0, 3, 4], [9, 9, 9, 9]]
    assert drill.kind.tolist() == [SLOT, SLOT, ROUT, ROUT, HOLE]
    assert drill.path[2] == drill.path[3] != -1
    assert drill.diameter_mm.tolist() == [0.8, 0.8, 1.0, 1.0, 1.0]


def test_a_routed_quarter_circle_by_radius_and_by_centre() -> None:
    for line in ("G03X0.0Y5.0A5.0", "G03X0.0Y5.0I-5.0J0.0"):
        drill = read(HEAD + f"T1\nG00X5.0Y0.0\nM15\n{line}\nM16\nM30\n")
        length = float(np.hypot(drill.x2_mm - drill.x_mm, drill.y2_mm - drill.y_mm).sum())
        assert length == pytest.approx(5 * math.pi / 2, rel=1e-4)
        assert np.hypot(drill.x_mm, drill.y_mm) == pytest.approx(5.0, abs=1e-9)


def test_no_hole_where_the_router_only_moves() -> None:
    drill = read(HEAD + "T1\nG00X5.0Y0.0\nM15\nG01X6.0Y0.0\nM16\nG00X9.0Y9.0\nM30\n")
    assert len(drill) == 1


def test_repeats_of_a_hole_and_of_a_pattern() -> None:
    drill = read(HEAD + "T1\nX1.0Y1.0\nR3X2.0\nM30\n")
    assert xy(drill) == [(1, 1), (3, 1), (5, 1), (7, 1)]
    drill = read(HEAD + "T1\nM25\nX0.0Y0.0\nX1.0Y0.0\nM01\nM02X10.0Y0.0\nM02X10.0Y0.0\nM08\nM30\n")
    assert xy(drill) == [(0, 0), (1, 0), (10, 0), (11, 0), (20, 0), (21, 0)]


def test_copies_of_a_routed_slot_are_paths_of_their_own() -> None:
    drill = read(HEAD + "T1\nM25\nG00X0.0Y0.0\nM15\nG01X2.0Y0.0\nM16\nM01\nM02X0.0Y5.0\nM02X0.0Y5.0\nM08\nM30\n")
    assert len(drill) == 3 and len(set(drill.path.tolist())) == 3


def test_incremental_and_modal_coordinates() -> None:
    drill = read(HEAD + "T1\nX1.0Y1.0\nY2.0\nG91\nX1.0\nX1.0Y-1.0\nG90\nX0.0Y0.0\nM30\n")
    assert xy(drill) == [(1, 1), (1, 2), (2, 2), (3, 1), (0, 0)]


@pytest.mark.parametrize(
    ("comment", "plated"),
    [
        ("; #@! TF.FileFunction,Plated,1,4,PTH", True),
        ("; #@! TF.FileFunction,NonPlated,1,2,NPTH", False),
        (";TYPE=PLATED", True),
        (";TYPE=NON_PLATED", False),
        ("; nothing of the kind", None),
    ],
)
def test_header_comments_tell_plated_from_not(comment: str, plated: bool | None) -> None:
    drill = read(f"M48\n{comment}\nMETRIC\nT1C0.8\n%\nT1\nX1.0Y1.0\nM30\n")
    assert drill.file_plated is plated
    assert drill.plated.tolist() == [-1 if plated is None else int(plated)]


def test_plating_by_tool_where_one_file_holds_both() -> None:
    text = (
        "M48\nMETRIC\n; #@! TA.AperFunction,Plated,PTH,ViaDrill\nT1C0.3\n; #@! TA.AperFunction,NonPlated,NPTH,ComponentDrill\nT2C3.2\n%\n"
        "T1\nX1.0Y1.0\nT2\nX2.0Y2.0\nM30\n"
    )
    assert read(text).plated.tolist() == [1, 0]


def test_tool_table_in_comments() -> None:
    text = (
        ";T01 Holesize 1. = 8.000000 Tolerance = +3.0/-3.0 PLATED MILS Quantity = 2\n"
        ";T02 Holesize 2. = 3.200000 Tolerance = +0.1/-0.1 NON_PLATED MM Quantity = 1\n%\nG90\nT01\nX1.0Y1.0\nT02\nX2.0Y2.0\nM30\n"
    )
    drill = read(text)
    assert drill.diameter_mm.tolist() == pytest.approx([0.2032, 3.2])  # 8 mil = 8 x 0.0254 mm
    assert drill.plated.tolist() == [1, 0]


def test_side_files_hold_the_number_format_and_the_tools() -> None:
    side = read_side_file(
        b"INTEGER-PLACES 3\nDECIMAL-PLACES 5\nOUTPUT-UNITS ENGLISH\nSUPPRESS-LEAD-ZEROES NO\nSUPPRESS-TRAIL-ZEROES NO\n",
        "param.txt",
    )
    tools = read_side_file(b"Tools\n T01  0.60mm\n T02  24mil NPTH\n", "holes.dri")
    assert side is not None and tools is not None
    assert side.format == DrillFormat(False, 3, 5, "none")
    assert tools.tool_sizes == pytest.approx({1: 0.6, 2: 0.6096})
    assert tools.plated == {2: False}
    drill = read_drill(b"%\nG90\nT01\nX00150000Y00025000\nM30\n", "holes.drl", side=side)
    assert xy(drill) == [(38.1, 6.35)]
    assert not drill.guessed


def test_a_tool_without_size_is_an_error_that_counts_its_holes() -> None:
    drill = read("M48\nMETRIC\n%\nT7\nX1.0Y1.0\nX2.0Y2.0\nM30\n")
    assert np.isnan(drill.diameter_mm).all()
    assert "2 holes" in next(f for f in drill.findings if f.code == "DRL-021").words


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "DRL-001"),
        (b"M48\n\0T1", "DRL-001"),
        (b"dear reader,\nthis is a letter\nand no drill file\nat all", "DRL-002"),
        (b"M48\nMETRIC\nT1C1\n%\nT1\nX1Y1\nR999999999X1\nM30", "DRL-003"),
        (b"M48\nMETRIC\nT1C1\n%\nT1\nM25\nX1.Y1.\nX2.Y1.\nM01\nR999999M02X1.Y1.\nM30", "DRL-003"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(data: bytes, code: str) -> None:
    with pytest.raises(Refusal) as refusal:
        read_drill(data, "x.drl")
    assert refusal.value.finding.code == code
    assert refusal.value.finding.remedy


def test_a_cut_off_file_says_so() -> None:
    assert "DRL-019" in [f.code for f in read(HEAD + "T1\nX1.0Y1.0\n").findings]
