"""Gerber reading: attributes, exact skeletons, findings with their place, limits.

Rules from the Gerber layer format specification (Ucamco): attributes chapter 5, deprecated elements chapter 8 (numbers from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from tests.oracles.gerber_cases import ROUND_RECT

from coppermend.core.findings import Refusal, Severity
from coppermend.core.geometry.polarity import after_clearing
from coppermend.formats.gerber import FLASH, REGION, GerberImage, read_gerber

MM = "%FSLAX36Y36*%%MOMM*%"


def read(text: str) -> GerberImage:
    return read_gerber(text.encode(), "top.gbr")


def codes(image: GerberImage) -> list[str]:
    return [f.code for f in image.findings]


# ---- attributes ----
def test_object_attributes_stay_with_each_flash() -> None:
    image = read(
        MM + "%TF.FileFunction,Copper,L1,Top*%%TA.AperFunction,ComponentPad*%%ADD10C,1*%%TD*%D10*"
        "%TO.P,U1,8,VCC*%%TO.N,+5V*%X0Y0D03*%TO.P,U1,9*%%TO.N,GND*%X1000000D03*%TD*%X2000000D03*M02*"
    )
    kept = [image.attributes[n] for n in image.attribute]
    assert [(a.part, a.pin, a.pin_function, a.nets) for a in kept] == [
        ("U1", "8", "VCC", ("+5V",)),
        ("U1", "9", "", ("GND",)),
        ("", "", "", ()),
    ]
    assert {a.function for a in kept} == {"ComponentPad"}  # an aperture's attributes are those in force at its AD
    assert image.file_attributes[".FileFunction"] == ("Copper", "L1", "Top")


def test_attributes_inside_comments_count() -> None:
    image = read(
        "G04 #@! TF.FileFunction,Copper,L4,Bot*" + MM + "G04 #@! TA.AperFunction,ViaPad*%ADD10C,1*%G04 #@! TD*D10*"
        "G04 #@! TO.N,/CPU_A15*X0Y0D03*M02*"
    )
    assert image.file_attributes[".FileFunction"] == ("Copper", "L4", "Bot")
    assert image.attributes[image.attribute[0]].nets == ("/CPU_A15",)
    assert image.attributes[image.attribute[0]].function == "ViaPad"


def test_attribute_values_that_look_like_statements_draw_nothing() -> None:
    image = read(MM + "%ADD10C,1*%D10*%TO.N,X1000000Y0D03*%%TO.C,D11*%%TO.CVal,G36*%X0Y0D03*M02*")
    assert len(image) == 1
    kept = image.attributes[image.attribute[0]]
    assert (kept.nets, kept.part, kept.extra) == (("X1000000Y0D03",), "D11", ((".CVal", ("G36",)),))


def test_escaped_comma_belongs_to_its_field() -> None:
    image = read(MM + "%ADD10C,1*%D10*%TO.N,A\\u002CB,C*%X0Y0D03*M02*")
    assert image.attributes[image.attribute[0]].nets == ("A,B", "C")


def test_deleting_one_attribute_keeps_the_others() -> None:
    image = read(MM + "%ADD10C,1*%D10*%TO.N,GND*%%TO.P,R1,1*%%TD.N*%X0Y0D03*M02*")
    kept = image.attributes[image.attribute[0]]
    assert (kept.nets, kept.part, kept.pin) == ((), "R1", "1")


def test_a_region_takes_the_aperture_attributes_in_force() -> None:
    image = read(MM + "%TA.AperFunction,Conductor*%%TO.N,GND*%G36*X0Y0D02*X1000000D01*Y1000000D01*X0Y0D01*G37*M02*")
    kept = image.attributes[image.attribute[0]]
    assert image.kind.tolist() == [REGION]
    assert (kept.function, kept.nets) == ("Conductor", ("GND",))


# ---- exact skeletons ----
@pytest.mark.parametrize(
    ("aperture", "wkt", "radius"),
    [
        ("C,1.5", "POINT (0 0)", 0.75),
        ("O,3X1", "LINESTRING (-1 0, 1 0)", 0.5),
        ("O,1X1", "POINT (0 0)", 0.5),
        ("R,2X1", "POLYGON ((-1 -0.5, 1 -0.5, 1 0.5, -1 0.5, -1 -0.5))", 0.0),
    ],
)
def test_standard_apertures_are_exact(aperture: str, wkt: str, radius: float) -> None:
    shapes = read(f"{MM}%ADD10{aperture}*%D10*X0Y0D03*M02*").shapes
    assert shapes.radius_mm[0] == radius
    assert shapely.equals_exact(shapes.skeleton[0].normalize(), shapely.from_wkt(wkt).normalize(), 1e-12)


def test_a_rounded_rectangle_macro_is_a_rectangle_grown_by_its_radius() -> None:
    text = f"{ROUND_RECT}%ADD10RoundRect,0.25X-0.75X0.25X-0.75X-0.25X0.75X-0.25X0.75X0.25*%D10*X0Y0D03*M02*"
    shapes = read(MM + text).shapes
    assert shapes.radius_mm[0] == pytest.approx(0.25)
    assert shapes.skeleton[0].area == pytest.approx(1.5 * 0.5)  # corners at +-0.75, +-0.25


def test_an_obround_built_of_a_line_and_two_circles_is_a_segment_grown_by_its_radius() -> None:
    text = "%AMOB*20,1,1,-1,0,1,0,0*1,1,1,-1,0*1,1,1,1,0*%%ADD10OB*%D10*X0Y0D03*M02*"
    shapes = read(MM + text).shapes
    assert (shapes.radius_mm[0], shapes.skeleton[0].length, shapes.skeleton[0].area) == (0.5, 2.0, 0.0)


def test_rotated_rectangles_that_do_not_touch_stay_apart() -> None:
    # two bars of 3 x 1 mm at 45 degrees, 1.5 mm apart measured across: drawn unrotated they would overlap (a false short)
    text = "%AMBAR*21,1,3,1,0,0,$1*%%ADD10BAR,45*%D10*X0Y0D03*X1060660Y-1060660D03*M02*"
    shapes = read(MM + text).shapes
    assert float(shapes.gap_mm(np.array([0]), np.array([1]))[0]) == pytest.approx(0.5, abs=1e-5)


def test_arc_chords_stay_within_the_stated_error() -> None:
    shapes = read(MM + "%ADD10C,0.1*%D10*G75*X10000000Y0D02*G03X10000000Y0I-10000000J0D01*M02*").shapes
    points = shapely.get_coordinates(shapes.skeleton[0])
    middle = (points[1:] + points[:-1]) / 2
    assert np.hypot(*points.T) == pytest.approx(10.0, abs=1e-9)
    assert 10.0 - np.hypot(*middle.T).min() <= 0.0005 + 1e-9


# ---- image-wide statements ----
def test_a_negative_image_turns_every_polarity_round() -> None:
    image = read(MM.replace("%MO", "%IPNEG*%%MO") + "%ADD10C,1*%D10*X0Y0D03*%LPC*%X1000000D03*M02*")
    assert image.inverted
    assert image.dark.tolist() == [False, True]


def test_offset_scale_mirror_and_swap_act_on_positions() -> None:
    image = read(MM + "%ASAYBX*%%MIA1B0*%%SFA2B1*%%OFA1B2*%%ADD10C,1*%D10*X3000000Y4000000D03*M02*")
    # swapped (4, 3), mirrored and scaled (-8, 3), moved (-7, 5)
    assert image.at_mm.tolist() == [[-7.0, 5.0]]


def test_image_rotation_turns_positions_and_apertures() -> None:
    image = read(MM + "%IR90*%%ADD10R,2X1*%D10*X3000000Y0D03*M02*")
    assert image.shapes.bounds_mm()[0].tolist() == pytest.approx([-0.5, 2.0, 0.5, 4.0])


def test_strokes_of_size_zero_are_no_copper_but_may_be_an_outline() -> None:
    text = (MM + "%ADD10C,0*%D10*X0Y0D02*X1000000D01*M02*").encode()
    assert len(read_gerber(text, "a.gbr")) == 0
    outline = read_gerber(text, "a.gbr", hairlines=True)
    assert (outline.shapes.skeleton[0].length, outline.shapes.radius_mm[0]) == (1.0, 0.0)


def test_an_aperture_may_be_defined_again() -> None:
    image = read(MM + "%ADD10C,1*%D10*X0Y0D03*%ADD10C,2*%D10*X5000000D03*M02*")
    assert image.shapes.radius_mm.tolist() == [0.5, 1.0]


# ---- findings ----
def test_an_undefined_aperture_is_an_error_with_its_line() -> None:
    image = read(MM + "\n%ADD10C,1*%\nD10*\nX0Y0D03*\nD11*\nX1000000Y0D03*\nM02*\n")
    fault = next(f for f in image.findings if f.code == "GBR-010")
    assert fault.severity is Severity.ERROR
    assert (fault.place.line, fault.place.text) == (6, "X1000000Y0D03*")
    assert "D11" in fault.words
    assert image.kind.tolist() == [FLASH]


def test_a_cut_off_file_is_read_as_far_as_it_goes() -> None:
    image = read(MM + "%ADD10C,1*%D10*X0Y0D03*X10000")
    assert len(image) == 1
    assert {"GBR-032", "GBR-011"} <= set(codes(image))


def test_thousands_of_equal_faults_stay_few_findings() -> None:
    image = read(MM + "%ADD10C,1*%D10*X0Y0D03*" + "Q7*" * 5000 + "M02*")
    assert sum(c == "GBR-013" for c in codes(image)) == 4
    assert "4997 more" in image.findings[-1].words


@pytest.mark.parametrize(
    ("macro", "words"),
    [
        ("%AMA*1,1,$1/0,0,0*%", "division by zero"),
        ("%AMA*1,1," + "(" * 5000 + "1" + ")" * 5000 + ",0,0*%", "nested"),
        ("%AMA*9,1,1,0,0*%", "does not exist"),
        ("%AMA*1,1*%", "needs 4 numbers"),
        ("%AMA*4,1,900000,0,0*%", "corners"),
        ("", "no macro"),
    ],
)
def test_an_impossible_macro_costs_its_flashes_only(macro: str, words: str) -> None:
    image = read(f"{MM}{macro}%ADD10A,1*%%ADD11C,1*%D10*X0Y0D03*D11*X5000000D03*M02*")
    fault = next(f for f in image.findings if f.code == "GBR-019")
    assert words in fault.words
    assert image.at_mm.tolist() == [[5.0, 0.0]]
    assert "GBR-041" in codes(image)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "GBR-001"),
        (b"  \n ", "GBR-001"),
        (b"%FSLAX24Y24*%\0\0\0X0*", "GBR-001"),
        (b"just some words, no statement", "GBR-002"),
        (b"X0Y0D02*X100Y100D01*M02*", "GBR-002"),
        (b"%FSLAX2*%", "GBR-002"),
        (b"%FSLAX24Y24*%%MOMM*%%ADD10C,1*%D10*%SRX1000000000Y1I1J1*%X0Y0D03*%SR*%M02*", "GBR-003"),
        (b"%FSLAX24Y24*%%MOMM*%%ADD10C,1*%D10*%SRX999999Y1I1J1*%X0Y0D03*X1Y1D03*%SR*%M02*", "GBR-003"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(data: bytes, code: str) -> None:
    with pytest.raises(Refusal) as refusal:
        read_gerber(data, "x.gbr")
    finding = refusal.value.finding
    assert (finding.code, finding.place.file) == (code, "x.gbr")
    assert finding.remedy


def test_blocks_that_multiply_are_refused_before_they_are_made() -> None:
    blocks = "%ABD20*%D10*X0Y0D03*%AB*%"
    for n in range(21, 35):
        blocks += f"%ABD{n}*%" + f"D{n - 1}*X0Y0D03*" * 10 + "%AB*%"
    with pytest.raises(Refusal, match="GBR-003"):
        read(f"{MM}%ADD10C,1*%{blocks}D34*X0Y0D03*M02*")


def test_a_missing_unit_is_a_guess_that_is_named() -> None:
    image = read("%FSLAX24Y24*%%ADD10C,0.1*%D10*X10000Y0D03*M02*")
    guess = next(f for f in image.findings if f.code == "GBR-020")
    assert guess.severity is Severity.GUESS
    assert image.at_mm.tolist() == [[25.4, 0.0]]


def test_coordinates_of_another_planet_are_left_out() -> None:
    image = read(MM + "%ADD10C,1*%D10*X0Y0D03*X" + "9" * 30 + "Y0D03*X" + "9" * 3000 + "D03*M02*")
    assert len(image) == 1
    assert "GBR-040" in codes(image)


def test_a_file_beyond_all_measure_is_refused_unread() -> None:
    with pytest.raises(Refusal, match="64 MiB"):
        read_gerber(b" " * (64 * 1024 * 1024 + 1), "huge.gbr")


def test_memory_stays_in_proportion_to_the_strokes() -> None:
    import tracemalloc

    lines = "".join(f"X{n % 1000 * 1000}Y{n}D01*\n" for n in range(30_000))
    text = f"{MM}%ADD10C,0.1*%D10*{lines}M02*".encode()
    tracemalloc.start()
    image = read_gerber(text, "painted.gbr")
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(image) == 30_000
    assert peak < 1_000 * len(image)  # bytes a stroke: Python's and numpy's own, GEOS not counted (460 were measured)


def test_a_file_without_quadrant_mode_is_read_as_its_offsets_say() -> None:
    """A round-cornered square of quarter circles, offsets without sign: G74 (Gerber specification, deprecated elements: offsets are unsigned in single quadrant mode)."""
    head = "%FSLAX23Y23*%%MOMM*%%ADD10C,0.1*%D10*"
    arcs = "X1000Y0D02*G03X2000Y1000J1000D01*X1000Y2000I1000*X0Y1000J1000*X1000Y0I1000*"
    image = read_gerber((head + arcs + "M02*").encode(), "a.gbr")
    box = image.shapes.bounds_mm()
    assert [box[:, k].min() for k in (0, 1)] == pytest.approx([-0.05, -0.05], abs=1e-3)
    assert [box[:, k].max() for k in (2, 3)] == pytest.approx([2.05, 2.05], abs=1e-3)
    assert [one.code for one in image.findings] == ["GBR-026"]


def test_padding_of_old_systems_at_the_end_is_no_text() -> None:
    data = b"%FSLAX24Y24*%%MOMM*%%ADD10C,1.5*%D10*X0Y0D03*M02*"
    assert len(read_gerber(data + bytes(29), "a.gbr").kind) == len(read_gerber(data + b"\x1a\0", "a.gbr").kind) == 1


def test_a_macro_called_by_a_name_with_spaces() -> None:
    data = b"%FSLAX24Y24*%%MOMM*%%AMCustom Round 5*1,1,$1,0,0*%%ADD10Custom Round 5,2.0*%D10*X0Y0D03*M02*"
    assert read_gerber(data, "a.gbr").shapes.bounds_mm()[0] == pytest.approx([-1, -1, 1, 1], abs=1e-3)


@pytest.mark.parametrize(
    ("statement", "codes"),
    [("ICAS", []), ("PFA4", []), ("IJACBC", ["GBR-033"]), ("IOA0B0", []), ("KO", [])],
)
def test_statements_of_the_oldest_format_are_known(statement: str, codes: list[str]) -> None:
    """Names from memory of RS-274X of 1998; none of these moves the image (IJ with C centres it on a film of unknown size, and that is said)."""
    data = f"%FSLAX24Y24*%%MOMM*%%{statement}*%%ADD10C,1*%D10*X0Y0D03*M02*"
    image = read_gerber(data.encode(), "a.gbr")
    assert [one.code for one in image.findings] == codes and image.at_mm.tolist() == [[0.0, 0.0]]


@pytest.mark.parametrize(
    ("statements", "first", "film"),
    [
        ("%IOA1.5B-0.5*%", (6.5, 6.5), (1.5, -0.5)),
        ("%IOB-0.5*%", (5.0, 6.5), (0.0, -0.5)),
        ("%IJALBL*%", (0.5, 0.5), (-4.5, -6.5)),  # two discs of 1 mm at 5, 7 and 9, 7: the box begins at 4.5, 6.5
        ("%IJA2B3*%", (2.5, 3.5), (-2.5, -3.5)),
        ("%IJACBL*%", (5.0, 0.5), (0.0, -6.5)),
        ("%IJALBL*%%IOA1B2*%", (1.5, 2.5), (-3.5, -4.5)),
        ("%IR90*%%IOA10B0*%", (3.0, 5.0), (10.0, 0.0)),  # 5, 7 turned by 90 degrees is -7, 5
        ("%SFA2B1*%%IJALBL*%", (0.5, 0.5), (-9.5, -6.5)),  # places doubled along A, apertures not
    ],
)
def test_an_image_moved_on_its_film(statements: str, first: tuple[float, float], film: tuple[float, float]) -> None:
    """Worked by hand. Order IR, IJ, IO, and that they are in the unit in force: from memory of the RS-274X format description of 1998."""
    image = read_gerber(
        f"%FSLAX24Y24*%%MOMM*%{statements}%ADD10C,1*%D10*X50000Y70000D03*X90000D03*M02*".encode(), "a.gbr"
    )
    assert image.at_mm[0].tolist() == pytest.approx(first) and image.film_mm == pytest.approx(film)
    box = image.shapes.bounds_mm()[0]
    assert ((box[:2] + box[2:]) / 2).tolist() == pytest.approx(first)


def test_an_offset_of_the_image_is_in_the_unit_in_force() -> None:
    image = read_gerber(b"%FSLAX23Y23*%%MOIN*%%IOB-1*%%ADD10C,0.05*%D10*X0Y1000D03*M02*", "a.gbr")
    assert image.at_mm[0].tolist() == pytest.approx([0.0, 0.0])


@pytest.mark.parametrize(("polarity", "area"), [("C", 16.0 - 2.0), ("D", 16.0)])
def test_a_knock_out_paints_a_rectangle_over_what_was_drawn_before(polarity: str, area: float) -> None:
    """A square of 4 mm about 0, then a rectangle from 0, 0, 3 wide and 1 high; closed form: 2 mm2 of it lie in the square. Then a dot upon it."""
    data = f"%FSLAX24Y24*%%MOMM*%%ADD10R,4X4*%%ADD11R,1X1*%D10*X0Y0D03*%KO{polarity}X0Y0I3J1*%D11*X10000Y5000D03*M02*"
    image = read_gerber(data.encode(), "a.gbr")
    assert image.dark.tolist() == [True, polarity == "D", True]
    left = after_clearing(image.shapes, image.dark).shapes
    dot = 1.0 if polarity == "C" else 0.0
    more = 0.0 if polarity == "C" else 1.0  # what of the dark rectangle lies beside the square
    assert float(shapely.area(shapely.union_all(left.polygons()))) == pytest.approx(area + dot + more)


@pytest.mark.parametrize("statement", ["KOCK0.5", "KOC", "KOX0Y0I1J1", "KOCX0Y0I1J0"])
def test_a_knock_out_whose_area_is_not_clear_is_refused(statement: str) -> None:
    """With a border, or without polarity or size: where it ends is not at hand (RS-274X of 1998, from memory): refused with its place."""
    with pytest.raises(Refusal) as told:
        read_gerber(f"%FSLAX24Y24*%\n%MOMM*%\n%{statement}*%\n%ADD10C,1*%D10*X0Y0D03*M02*".encode(), "a.gbr")
    found = told.value.finding
    assert (found.code, found.place.line, found.place.text) == ("GBR-035", 3, f"%{statement}*%")


def test_a_rectangle_with_one_size_is_a_square_and_said() -> None:
    image = read_gerber(b"%FSLAX24Y24*%%MOMM*%%ADD10R,2*%D10*X0Y0D03*M02*", "a.gbr")
    assert image.shapes.bounds_mm()[0].tolist() == [-1, -1, 1, 1] and [one.code for one in image.findings] == [
        "GBR-034"
    ]


@pytest.mark.parametrize("written", ["A\\u002CB", "A\\002CB"])
def test_escaped_characters_of_attribute_values_in_both_spellings(written: str) -> None:
    """Gerber specification, 3.4.3: a backslash, u and four hexadecimal digits; older texts without the u (from memory)."""
    data = f"%FSLAX24Y24*%%MOMM*%%ADD10C,1*%%TO.N,{written}*%D10*X0Y0D03*M02*"
    image = read_gerber(data.encode(), "a.gbr")
    assert image.attributes[int(image.attribute[0])].nets == ("A,B",)


@pytest.mark.parametrize(
    ("repeat", "codes"), [("X-3Y0I1J1", ["GBR-013"]), ("X0Y1I1J1", ["GBR-013"]), ("X1Y1I0J0", []), ("", [])]
)
def test_a_repeat_of_less_than_once_is_said(repeat: str, codes: list[str]) -> None:
    image = read_gerber(f"%FSLAX24Y24*%%MOMM*%%ADD10C,1*%%SR{repeat}*%D10*X0Y0D03*%SR*%M02*".encode(), "a.gbr")
    assert len(image) == 1 and [one.code for one in image.findings] == codes
