"""Pin lists, map files and part templates: what usual tables say, what is refused, where pins of usual parts sit.

Row spacings: JEDEC MS-001 (0.300 inch), MS-010 (0.400), MS-011 (0.600); pitch 0.100 inch; numbering down one row and up the other. From memory.
1 inch = 25.4 mm exactly (international yard and pound agreement, 1959).
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.core.board.model import PartState
from coppermend.core.board.pinlist import PinRow
from coppermend.core.board.templates import fitted, guessed, template, turned
from coppermend.core.findings import Refusal, Severity
from coppermend.formats.pinlist import looks_like_pinlist, read_map, read_pinlist

INCH = 25.4


@pytest.mark.parametrize(
    "heading",
    [
        "part,pin,net",
        "RefDes;Pin Number;Net Name",
        "Reference\tPad\tSignal",
        "component|pin no.|netname",
        "# Ref,Pin,Net",
        '"Designator","Pin #","NET"',
        "net,pin,ref",
        "\ufeffpart,pin,net",
    ],
)
def test_usual_headings(heading: str) -> None:
    mark = max(";\t|,", key=heading.count)
    cells = ["GND", "8", "U1"] if heading.startswith("net") else ["U1", "8", "GND"]
    text = f"{heading}\n{mark.join(cells)}\n"
    assert looks_like_pinlist(text.encode())
    assert [(r.part, r.pin, r.net) for r in read_pinlist(text.encode(), "p.csv").rows] == [("U1", "8", "GND")]


@pytest.mark.parametrize("written", ["U1.8", "U1-8", "U1:8", "u1/8"])
def test_a_pin_may_carry_its_part(written: str) -> None:
    rows = read_pinlist(f"node,net\n{written},GND\n".encode(), "p.csv").rows
    assert (rows[0].part.upper(), rows[0].pin) == ("U1", "8")


@pytest.mark.parametrize(
    ("head", "cell", "mm"),
    [
        ("x", "2.54", 2.54),
        ("x_mm", "2.54", 2.54),
        ("X (mil)", "100", INCH / 10),
        ("x[inch]", "0.1", INCH / 10),
        ("X", "100mil", INCH / 10),
        ("X", "0.1in", INCH / 10),
        ("pos x", "2,54", 2.54),
        ("x thou", "1e2", INCH / 10),
    ],
)
def test_units_of_places(head: str, cell: str, mm: float) -> None:
    y = head.replace("x", "y").replace("X", "Y")
    row = read_pinlist(f"part;pin;net;{head};{y}\nU1;1;A;{cell};{cell}\n".encode(), "p.csv").rows[0]
    assert row.x_mm == pytest.approx(mm, abs=1e-9) and row.y_mm == pytest.approx(mm, abs=1e-9)


def test_what_a_row_may_say() -> None:
    text = "ref,pin,net,side,pin name,value,package,state\nU1,1,N/C,bottom,A11,Z80,DIP-40,socketed\nU1,2,,TOP,A12,,,\nR1,1,-,component side,,33R,,\n"
    found = read_pinlist(text.encode(), "p.csv")
    assert [row.net for row in found.rows] == ["", "", ""] and found.nets == {}
    assert [row.side for row in found.rows] == ["s", "c", "c"] and found.rows[0].function == "A11"
    assert [(p.ref, p.value, p.package, p.state) for p in found.parts] == [
        ("U1", "Z80", "DIP-40", PartState.SOCKETED),
        ("R1", "33R", "", None),
    ]


def test_rows_that_cannot_be_used_are_named_and_the_rest_counts() -> None:
    text = "part,pin,net,x,y,side\nU1,1,A,1,1,c\n,2,A,,,\nU1,3,A,north,2,c\nU1,1,B,,,\nU1,4,A,9999999,0,\nU1,5,A,,,upstairs\nU1,6,A,1,,\n"
    found = read_pinlist(text.encode(), "p.csv")
    assert [row.name for row in found.rows] == ["U1.1", "U1.3", "U1.4", "U1.5", "U1.6"]
    assert found.rows[0] == PinRow("U1", "1", "A", 1.0, 1.0, "c", "", 2)
    assert [(f.code, f.place.line) for f in found.findings] == [
        ("PIN-010", 3), ("PIN-011", 4), ("PIN-013", 5), ("PIN-011", 6), ("PIN-012", 7), ("PIN-011", 8),
    ]  # fmt: skip
    assert all(f.severity is Severity.WARNING and f.remedy for f in found.findings)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "PIN-001"),
        (b"\0\1\2", "PIN-001"),
        (b"part,pin,net\n", "PIN-001"),
        (b"ref,value\nU1,74LS00\n", "PIN-002"),
        (b"hello world\n", "PIN-002"),
        (b'part,pin,net\nU1,"1,A\n' + b"x" * 200_000, "PIN-001"),
        (b"part,pin,net\n" + b"".join(b"U1,%d,A\n" % n for n in range(100_010)), "PIN-003"),
    ],
)
def test_what_is_no_pin_list_is_refused_in_words(data: bytes, code: str) -> None:
    with pytest.raises(Refusal) as refused:
        read_pinlist(data, "p.csv")
    assert refused.value.finding.code == code and refused.value.finding.remedy


GOOD = b"part;pin;net;x;y;side\nU1;1;GND;2.54;0;c\nU1;2;VCC;5.08;0;c\nR1;1;GND;0;0;s\n"


@given(st.binary(max_size=300) | st.lists(st.tuples(st.integers(0, len(GOOD) - 1), st.integers(0, 255)), max_size=8))
@settings(max_examples=300, deadline=1000)
def test_any_bytes_give_pins_or_a_refusal(damage: bytes | list[tuple[int, int]]) -> None:
    data = bytearray(GOOD)
    if isinstance(damage, bytes):
        data = bytearray(b"part,pin,net\n" + damage)
    else:
        for at, value in damage:
            data[at] = value
    for read in (read_pinlist, read_map):
        try:
            read(bytes(data), "p.csv")
        except Refusal as refusal:
            assert refusal.finding.remedy
    assert looks_like_pinlist(bytes(data)) in (True, False)


def test_map_file_says_what_it_cannot_use() -> None:
    text = b"""
size_mm = [100, 80]
colour = "green"
[part.U1]
template = "DIP-40"
at_mm = [10, 60]
rotation = 90
[part.U2]
side = "x"
px = { 1 = [1, 2], 8 = "far" }
[photo.c]
file = "c.jpg"
marks = [ { px = [0, 0], pin = "U1.1" }, { px = [1, 1] }, 5, { px = [9, 9], mm = [1, 2] } ]
[photo.top]
file = "t.jpg"
"""
    said = read_map(text, "coppermend-map.toml")
    assert said.size_mm == (100.0, 80.0) and said.parts[0].at_mm == (10.0, 60.0) and said.parts[0].rotation_deg == 90.0
    assert dict(said.parts[1].pins_px) == {"1": (1.0, 2.0)} and said.parts[1].side == ""
    assert [(m.pin, m.mm) for m in said.photos[0].marks] == [("U1.1", None), ("", (1.0, 2.0))]
    assert {f.code for f in said.findings} == {"MAP-011"} and len(said.photos) == 1
    with pytest.raises(Refusal) as refused:
        read_map(b"[part.U1\n", "coppermend-map.toml")
    assert refused.value.finding.code == "MAP-010" and refused.value.finding.place.line == 1


@pytest.mark.parametrize(
    ("name", "pins", "row_inch"),
    [("DIP-8", 8, 0.3), ("DIP-14", 14, 0.3), ("dil16", 16, 0.3), ("DIP-20", 20, 0.3), ("DIP-22", 22, 0.4), ("DIP-24", 24, 0.6), ("DIP-28", 28, 0.6), ("DIP-40", 40, 0.6)],
)  # fmt: skip
def test_dual_in_line(name: str, pins: int, row_inch: float) -> None:
    at = dict(template(name).places())
    half = pins // 2
    assert len(at) == pins and at["1"] == (0.0, 0.0)
    assert at[str(half)] == pytest.approx((0.0, -(half - 1) * 0.1 * INCH))
    assert at[str(half + 1)] == pytest.approx((row_inch * INCH, -(half - 1) * 0.1 * INCH))
    assert at[str(pins)] == pytest.approx((row_inch * INCH, 0.0))


def test_other_templates_and_names() -> None:
    assert dict(template("SIP-9").places())["9"] == pytest.approx((0.0, -0.8 * INCH))
    header = dict(template("HDR-2x13").places())
    assert header["2"] == pytest.approx((0.1 * INCH, 0.0)) and header["26"] == pytest.approx((0.1 * INCH, -1.2 * INCH))
    assert dict(template("AXIAL-12.7").places())["2"] == (12.7, 0.0)
    for wrong in ("DIP-15", "SOIC-8", "", "DIP-0", "DIP-999"):
        with pytest.raises(Refusal) as refused:
            template(wrong)
        assert refused.value.finding.code == "TPL-001"
    assert guessed("U3", [str(n) for n in range(1, 15) if n != 13]).name() == "DIP-14"  # type: ignore[union-attr]
    assert guessed("U3", ["1", "2"], "SOT; DIP-8").name() == "DIP-8"  # type: ignore[union-attr]
    assert guessed("J1", ["A1", "B1"]) is None


@given(
    st.sampled_from(["DIP-14", "DIP-40", "SIP-9", "HDR-2x13", "AXIAL-10.16"]),
    st.tuples(st.floats(-300, 300), st.floats(-300, 300)),
    st.floats(-179, 179),
    st.sampled_from("cs"),
    st.data(),
)
@settings(max_examples=120, deadline=None)
def test_a_template_is_found_again_from_two_of_its_pins(
    name: str, at: tuple[float, float], turn: float, side: str, data: st.DataObject
) -> None:
    made = template(name)
    true = turned(made.places(), at, turn, side)
    known = data.draw(st.lists(st.sampled_from(sorted(true)), min_size=2, max_size=4, unique=True))
    fit = fitted(made, {n: true[n] for n in known}, side)
    assert fit is not None and fit.residual_mm < 1e-5
    assert all(abs(fit.places[n][k] - true[n][k]) < 1e-4 for n in true for k in (0, 1))


def test_the_solder_side_is_mirrored() -> None:
    """Seen from the component side a part on the solder side has its second row to the left of the first."""
    assert turned(template("DIP-8").places(), (0.0, 0.0), 0.0, "s")["8"][0] == pytest.approx(-0.3 * INCH)


def test_two_values_of_one_part_are_said() -> None:
    read = read_pinlist(b"part,pin,net,value\nU1,1,A,74LS00\nU1,2,B,74LS02\nU1,3,C,\nU2,1,A,6502\n", "p.csv")
    assert [(row.ref, row.value) for row in read.parts] == [("U1", "74LS00"), ("U2", "6502")]
    (said,) = [one for one in read.findings if one.code == "PIN-015"]
    assert "'74LS00'" in said.words and "'74LS02'" in said.words and said.place.line == 3
