"""Blind holes whose span only words tell: a name, a header comment, a layer-pair file. What they join is known by construction."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from tests.handmade import board, drill, land, track

from coppermend.formats.member import Member
from coppermend.formats.package import plan_package
from coppermend.formats.package.spanwords import Layers, in_comments, in_name
from coppermend.services.boards import Package, board_of

COPPER = ("b-F_Cu.gbr", "b-In1_Cu.gbr", "b-In2_Cu.gbr", "b-B_Cu.gbr")
LAND = b"%FSLAX44Y44*%%MOMM*%%ADD10C,1.0*%%ADD11C,0.3*%D10*X0Y0D03*X100000Y0D03*D11*X0Y0D02*X100000Y0D01*M02*"
VIA = b"M48\nMETRIC,TZ\nT1C0.400\n%\nG90\nT1\nX0.0Y0.0\nM30\n"
THROUGH = b"M48\nMETRIC,TZ\nT1C0.800\n%\nG90\nT1\nX50.0Y50.0\nM30\n"


def package(drill: str, data: bytes = VIA, through: str = "b-thru.drl", *more: Member, copper=COPPER) -> list[Member]:  # type: ignore[no-untyped-def]
    """Four layers with a track each, one above the other; one hole at an end of all of them, and a hole elsewhere that goes through."""
    return [*(Member(name, LAND) for name in copper), Member(drill, data), Member(through, THROUGH), *more]


def islands(members: list[Member]) -> int:
    """How many islands the four tracks make: a hole through n of them joins those."""
    return len(board_of(Package("b", tuple(members))).nets)


def span_of(members: list[Member], name: str) -> tuple[int, int] | None:
    """The span that the plan gives a file."""
    return next(f.role.span for f in plan_package(members).files if f.member.name == name)


def commented(first: str, last: str) -> bytes:
    return VIA.replace(b"M48\n", f"M48\n;FILE : v.drl for board b.brd layers {first} and {last}\n".encode())


PAIRS = Member("b.LDP", b"Layer Pairs Export File\r\nLayersSetName=A|DrillFile=b.tx1|DrillLayers=gtl,g1\r\n")


@pytest.mark.parametrize(("members", "span"), [
    (package("b-front-in1.drl"), (1, 2)),
    (package("b-in1-in2.drl"), (2, 3)),
    (package("b-in2-back.drl"), (3, 4)),
    (package("b-PTH-F_Cu-In1_Cu.drl"), (1, 2)),
    (package("b-PTH-In2_Cu-B_Cu.drl"), (3, 4)),
    (package("drill_L1L2.txt"), (1, 2)),
    (package("b-top-inner1.drl"), (1, 2)),
    (package("L3-L4.drl"), (3, 4)),
    (package("b_layer1_to_layer2.drl"), (1, 2)),
    (package("v1.drl", commented("TOP", "L2")), (1, 2)),
    (package("v1.drl", commented("L3", "BOTTOM")), (3, 4)),
    (package("b.TX1", VIA, "b.TXT", PAIRS, copper=("b.GTL", "b.G1", "b.G2", "b.GBL")), (1, 2)),
])  # fmt: skip
def test_words_that_name_two_layers_are_a_span_and_said(members: list[Member], span: tuple[int, int]) -> None:
    """Four tracks; a hole through two of them leaves three islands (through all: one)."""
    plan = plan_package(members)
    assert span_of(members, members[4].name) == span
    assert [f.place.file for f in plan.findings if f.code == "PKG-018"] == [members[4].name]
    assert islands(members) == 3


@pytest.mark.parametrize("members", [
    package("b_top_blind.drl"), package("b_buried.drl"), package("v1.drl", commented("SIG_A", "SIG_B")),
    package("b.TX1", VIA, "b.TXT"),
])  # fmt: skip
def test_words_that_leave_the_layers_open_are_an_error_that_says_what_may_be_false(members: list[Member]) -> None:
    found = [f for f in plan_package(members).findings if f.code == "PKG-017"]
    assert [f.place.file for f in found] == [members[4].name]
    assert "joined falsely" in found[0].words and "layers = [first, last]" in found[0].remedy
    assert islands(members) == 1


@pytest.mark.parametrize(
    "name", ["b-PTH.drl", "b-F_Cu-B_Cu.drl", "front-to-back.drl", "b.drl", "L1-L4.drl", "top-2.drl", "rev-l2.drl"]
)
def test_holes_through_the_board_stay_so_without_a_word(name: str) -> None:
    members = package(name)
    assert not {f.code for f in plan_package(members).findings} & {"PKG-017", "PKG-018"}
    assert islands(members) == 1


FIRST_LAST = {1: ("TOP", "F.Cu", "L1", "Layer 1", "Top Layer", "Component Side", "layer 1 (TOP)"), 2: ("L2", "In1.Cu", "Layer 2", "Inner 1", "Mid Layer 1", "INNER1", "L02"),
              3: ("L3", "In2.Cu", "Layer 3", "Inner Layer 2", "int2"), 4: ("BOTTOM", "B.Cu", "L4", "Solder Side", "Bottom Layer", "layer 4")}  # fmt: skip
LED = st.sampled_from(["LAYER PAIR: {a} - {b}", "layers {a} to {b}", "LAYERS {a} AND {b}", "drill span {a}/{b}", "Layer set: {a}, {b}", "PLATED HOLES FROM {a} TO {b}, layer pair",
                       "layer_pair={a},{b}", "Between layers {a} and {b}", "Layers={a}:{b}", "T1 C0.3 layers {a} thru {b}"])  # fmt: skip
PAIRS_OF_FOUR = st.sampled_from([(1, 2), (2, 3), (3, 4), (1, 3), (2, 4), (1, 4)])


@given(PAIRS_OF_FOUR, LED, st.data(), st.booleans(), st.sampled_from([";", "; ", ";\t", "("]))
def test_header_comments_that_name_two_layers_are_read_in_every_spelling(
    span: tuple[int, int], form: str, data: st.DataObject, turned: bool, mark: str
) -> None:
    """Common practice of wording, no source: the words for a layer, the joining words, order and case vary; the span is known by construction."""
    words = [data.draw(st.sampled_from((*FIRST_LAST[n], str(n)))) for n in span]
    a, b = reversed(words) if turned else words
    line = form.format(a=a, b=b)
    line = data.draw(st.sampled_from([line, line.lower(), line.upper()]))
    members = package("v1.drl", VIA.replace(b"M48\n", f"M48\n{mark}{line}\n".encode()))
    assert span_of(members, "v1.drl") == span
    assert ("PKG-018" in {f.code for f in plan_package(members).findings}) == (span != (1, 4))


NAMED = st.sampled_from(["drill_{a}{j}{b}", "via{a}{j}{b}-plated", "{a}{j}{b}_PTH", "b-via_{a}{j}{b}"])


@given(
    PAIRS_OF_FOUR,
    NAMED,
    st.sampled_from(["to", "-", "_", "_to_", "thru", "-L", " to ", "&"]),
    st.sampled_from(["", "L", "l0", "layer", "L-"]),
)
def test_names_that_join_two_layer_numbers_are_read_in_every_spelling(
    span: tuple[int, int], form: str, join: str, mark: str
) -> None:
    """Beside a file that goes through the board, two numbers of its layers in a name are a span (our reading, said as PKG-018)."""
    name = form.format(a=f"{mark}{span[0]}", j=join, b=span[1]) + ".drl"
    members = package(name)
    assert span_of(members, name) == span, name


@given(
    st.sampled_from(
        [
            "LAYER PAIR: {a} - {b}",
            "layers {a} and {b}",
            "layers {a} to {b}",
            "Span: {a} {b}",
            "FROM LAYER {a} TO LAYER {b}",
        ]
    ),
    st.sampled_from(["SIG_A", "7", "0", "L9", "PLANE"]),
    st.sampled_from(["VCC2", "9", "L12", "xyz"]),
)
def test_layer_words_that_are_not_understood_are_never_passed_over(form: str, first: str, last: str) -> None:
    members = package("v1.drl", VIA.replace(b"M48\n", ("M48\n;" + form.format(a=first, b=last) + "\n").encode()))
    assert [f.place.file for f in plan_package(members).findings if f.code == "PKG-017"] == ["v1.drl"]
    assert span_of(members, "v1.drl") is None


@pytest.mark.parametrize("line", [
    "FORMAT 2-4", "FILE_FORMAT=2:4", "FORMAT={3:3/ absolute / metric / decimal}", "Revision 1-2", "rev 1.2", "Tools 1-2 plated", "DATE 2021-03-04", "layers 4", "4 layers",
    "4-layer board", "drill file for board x from TOP side", "FILE : amp-2-3 for board amp.brd layers TOP and BOTTOM", "Layer_Color=1", "Layer: DRILL", "no blind or buried vias",
    "SET 1 OF 2", "hole range 0.3-0.5 mm", "tool range 1-4", "drill set A", "pairs 1-2", "layer 4 of 4", "12 holes from 1 to 2", "plated: 1 to 3",
    "Layer pair: Top Layer to Bottom Layer", "Layers 1,2,3,4", "12:30:45", "Holesize 1. = 0.3000 Tolerance = +0.0000/-0.0000 PLATED MM Quantity = 3",
])  # fmt: skip
def test_numbers_in_a_header_that_are_no_layers_alarm_nobody(line: str) -> None:
    members = package("v1.drl", VIA.replace(b"M48\n", f"M48\n;{line}\n".encode()))
    assert not {f.code for f in plan_package(members).findings} & {"PKG-017", "PKG-018"}
    assert islands(members) == 1


@pytest.mark.parametrize(
    "name",
    [
        "amp_rev1-2",
        "amp_2021-03-04",
        "amp-v2_3",
        "board 3-4",
        "drill_2-4_inch",
        "amp_4layer_drill",
        "drill (2)",
        "amp_1_2",
    ],
)
def test_numbers_in_the_name_of_the_only_drill_file_leave_its_holes_through(name: str) -> None:
    members = [*(Member(one, LAND) for one in COPPER), Member(f"{name}.drl", VIA)]
    assert not {f.code for f in plan_package(members).findings} & {"PKG-017", "PKG-018"}
    assert islands(members) == 1


def test_start_and_end_layer_on_two_lines_and_words_of_the_packages_own_layers() -> None:
    two = VIA.replace(b"M48\n", b"M48\n;START_LAYER=1\n;END_LAYER=2\n")
    assert span_of(package("v1.drl", two), "v1.drl") == (1, 2)
    own = ("b-top.gbr", "b-gnd_plane.g1", "b-vcc.g2", "b-bottom.gbr")
    assert span_of(package("v1.drl", commented("GND_PLANE", "VCC"), copper=own), "v1.drl") == (2, 3)


def test_several_spans_in_one_header_are_an_error() -> None:
    data = VIA.replace(b"M48\n", b"M48\n;T1 layers 1-2\n;T2 layers 2-3\n")
    (found,) = [f for f in plan_package(package("v1.drl", data)).findings if f.code == "PKG-017"]
    assert "several spans" in found.words


LAYERISH = st.sampled_from([
    "layer", "layers", "1", "2", "12", "-", "_", "to", "and", "from", "l", "in1", "top", "inner", "f.cu", "bottom", "pair", "span", "blind", "rev", "v",
    "20", "19", "format", "(", ")", ":", "=", ".", ",", "#", "@", "#@!", ";", "é", "²", "x", "sig_a", " ", "\t", "",
])  # fmt: skip


@given(st.lists(LAYERISH, max_size=60).map("".join), st.lists(LAYERISH, max_size=20).map(" ".join))
def test_whatever_a_header_or_a_name_says_the_answer_is_a_span_of_the_board_or_none(tight: str, loose: str) -> None:
    six = Layers(6, {"sig_a": 3})
    for said in (in_comments([tight, loose], six), in_name(tight, six), in_name(loose, six)):
        assert said.span is None or 1 <= said.span[0] < said.span[1] <= 6
        assert said.span is None or not said.open


def test_attribute_comments_beside_a_layer_pair_do_no_harm() -> None:
    data = VIA.replace(
        b"M48\n",
        b"M48\n; #@! TF.GenerationSoftware,A,B,1.2-3\n; #@! TF.CreationDate,2021-03-04T05:06:07\n;Layers 1-2\n",
    )
    assert span_of(package("v1.drl", data), "v1.drl") == (1, 2)


def test_two_layers_need_no_span() -> None:
    members = [Member("b-F_Cu.gbr", LAND), Member("b-B_Cu.gbr", LAND), Member("b-front-in1.drl", VIA)]
    assert span_of(members, "b-front-in1.drl") is None and islands(members) == 1


HOLES = (
    b"M48\n;   Holesize 1. = 0.4000 Tolerance = +0.0/-0.0 PLATED MM Quantity = 1\n"
    b";   Holesize 2. = 1.5000 Tolerance = +0.0/-0.0 NON_PLATED MM Quantity = 1\nM71\n%\nT01\nX0Y0\nT02\nX50000Y50000\nM30\n"
)  # fmt: skip


def test_hole_sizes_in_comments_without_a_tool_word() -> None:
    """Sizes and plating stand in the comments by number alone; the last one says nothing of the others."""
    from coppermend.formats.drill import read_drill
    from coppermend.formats.drill.model import DrillFormat

    made = read_drill(HOLES, "x.drl", DrillFormat(True, 3, 3, "leading"))
    assert made.diameter_mm.tolist() == [0.4, 1.5] and made.plated.tolist() == [1, 0]


def test_comments_that_say_both_of_plating_speak_for_no_whole_file() -> None:
    from coppermend.formats.drill import read_drill

    both = b"M48\nMETRIC,TZ\n;the PLATED holes are drilled first\n;then the NON_PLATED ones\n%\nT1C0.4\nX1.0Y1.0\nM30\n"
    one = b"M48\nMETRIC,TZ\n;all holes NON_PLATED\nT1C0.4\n%\nT1\nX1.0Y1.0\nM30\n"
    assert read_drill(one, "x.drl").plated.tolist() == [0]
    assert read_drill(both, "x.drl").plated.tolist() != [1]


def _vias(count: int, span: tuple[int, int] | None, layers: tuple[int, ...], copies: int = 4):  # type: ignore[no-untyped-def]
    """A four-layer board: five through holes with lands everywhere, and ``count`` vias with lands on ``layers`` only (from 0)."""
    through = [(10.0 * k, 0.0) for k in range(5)]
    vias = [(10.0 * k, 20.0) for k in range(count)]
    copper = [
        [track((0, 0), (10, 0))]
        + [land(x, y) for x, y in through]
        + ([land(x, y, diameter=0.6) for x, y in vias] if n in layers else [])
        for n in range(copies)
    ]
    copper[3].append(track((-5, 20), (5, 20)))  # foreign copper under the first via
    return board(
        copper,
        [
            drill([(x, y, 0.8) for x, y in through], name="t.drl"),
            drill([(x, y, 0.3) for x, y in vias], span=span, name="v.drl"),
        ],
    )


@pytest.mark.parametrize(("span", "layers", "says"), [
    (None, (0, 1), "error"), (None, (1, 2), "error"), (None, (0, 1, 2, 3), None), ((1, 2), (0, 1), None), ((1, 2), (0, 1, 2, 3), "warning"), (None, (0, 3), None),
])  # fmt: skip
def test_lands_that_contradict_the_layers_of_a_drill_file_are_said(
    span: tuple[int, int] | None, layers: tuple[int, ...], says: str | None
) -> None:
    """No word tells the span; the lands do. A through hole has lands on both outer layers (common practice, no source); inner lands may be left out."""
    found = [f for f in _vias(6, span, layers).findings if f.code == "BRD-039"]
    assert [str(f.severity) for f in found] == ([says] if says else [])
    assert all(
        f.place.file == "v.drl"
        and f"layers = [{layers[0] + 1}, {min(layers[-1], span[1] - 1 if span else 3) + 1}]" in f.remedy
        for f in found
    )


def _gerber(places: list[tuple[float, float]], tracks: list[tuple[float, float, float, float]]) -> bytes:
    flashes = "".join(f"X{round(x * 1e4)}Y{round(y * 1e4)}D03*" for x, y in places)
    drawn = "".join(
        f"X{round(a * 1e4)}Y{round(b * 1e4)}D02*X{round(c * 1e4)}Y{round(d * 1e4)}D01*" for a, b, c, d in tracks
    )
    return f"%FSLAX44Y44*%%MOMM*%%ADD10C,1.0*%%ADD11C,0.3*%D10*{flashes}D11*{drawn}M02*".encode()


def _blind_package(landed: dict[int, list[tuple[float, float]]], name: str) -> list[Member]:
    """Four layers with five through holes; holes at x 0, 10, 20 and y 30 in the file ``name``, with lands where ``landed`` says; copper of another net crosses under the first."""
    through = [(10.0 * k, 0.0) for k in range(5)]
    copper = [
        _gerber(through + landed.get(n, []), [(0, 0, 10, 0), *([(-5, 30, 5, 30)] if n == 3 else [])]) for n in range(4)
    ]
    vias = "".join(f"X{x:.1f}Y30.0\n" for x in (0, 10, 20))
    holes = "".join(f"X{x:.1f}Y{y:.1f}\n" for x, y in through)
    data = [f"M48\nMETRIC,TZ\nT1C0.400\n%\nT1\n{one}M30\n".encode() for one in (vias, holes)]
    return [
        *(Member(n, d) for n, d in zip(COPPER, copper, strict=True)),
        Member(name, data[0]),
        Member("b.drl", data[1]),
    ]


VIAS = [(0.0, 30.0), (10.0, 30.0), (20.0, 30.0)]


@pytest.mark.parametrize(("lands", "span"), [
    ({0: VIAS, 1: VIAS}, (1, 2)), ({1: VIAS, 2: VIAS}, (2, 3)), ({0: VIAS, 2: VIAS}, (1, 3)), ({0: VIAS, 1: VIAS, 3: VIAS[:1]}, None), ({0: VIAS, 1: VIAS[:2]}, None),
    (dict.fromkeys(range(4), VIAS), None),
])  # fmt: skip
def test_lands_tell_the_layers_of_holes_that_words_only_call_blind(
    lands: dict[int, list[tuple[float, float]]], span: tuple[int, int] | None
) -> None:
    """A land on each layer at which a plated hole ends (common practice, no source). Where the lands leave it open the error stays."""
    made = board_of(Package("b", tuple(_blind_package(lands, "b_blind.drl"))))
    codes = {f.code for f in made.findings if f.place.file == "b_blind.drl"}
    assert ("BRD-043" in codes, "PKG-017" in codes) == (span is not None, span is None)
    keys = ("c", "i1", "i2", "s")
    hole = next(h for h in made.holes if (h.x_mm, h.y_mm) == (0.0, 30.0))
    assert hole.layers == (keys if span is None else keys[span[0] - 1 : span[1]])


@pytest.mark.parametrize(
    ("lands", "span"),
    [({0: VIAS, 1: VIAS}, (1, 2)), (dict.fromkeys(range(4), VIAS), None), ({0: VIAS, 1: VIAS, 3: VIAS[:2]}, (1, 2))],
)
@pytest.mark.parametrize("name", ["M1-2_screws.drl", "drill_1to2.drl"])
def test_numbers_in_a_name_are_a_span_unless_the_lands_say_otherwise(
    lands: dict[int, list[tuple[float, float]]], span: tuple[int, int] | None, name: str
) -> None:
    """Lands on both outer layers: the holes go through, whatever the numbers mean (common practice, no source). Both readings are said."""
    made = board_of(Package("b", tuple(_blind_package(lands, name))))
    codes = {f.code for f in made.findings if f.place.file == name}
    assert ("PKG-020" in codes, "BRD-043" in codes) == (span is not None, span is None)
    hole = next(h for h in made.holes if (h.x_mm, h.y_mm) == (10.0, 30.0))
    assert hole.layers == (("c", "i1") if span else ("c", "i1", "i2", "s"))


@pytest.mark.parametrize("name", ["b-via.drl", "b-12.drl", "b-S1S2.drl", "b-bv1.drl"])
@pytest.mark.parametrize(("lands", "span", "code"), [
    ({0: VIAS, 1: VIAS}, (1, 2), "BRD-043"), ({1: VIAS, 2: VIAS}, (2, 3), "BRD-043"),
    ({0: VIAS, 1: VIAS, 3: VIAS[:1]}, None, "BRD-039"), ({0: VIAS, 1: VIAS[:2]}, None, "BRD-039"), (dict.fromkeys(range(4), VIAS), None, ""), ({0: VIAS, 3: VIAS}, None, ""),
])  # fmt: skip
def test_holes_of_which_nothing_is_said_end_where_their_lands_do(
    lands: dict[int, list[tuple[float, float]]], span: tuple[int, int] | None, code: str, name: str
) -> None:
    """A hole through the board has a land on both outer layers (common practice, no source). Copper of another net crosses under the first hole on the
    solder side: through the board, it would be joined to the via's net; where the lands leave it open, that is an error.
    """
    made = board_of(Package("b", tuple(_blind_package(lands, name))))
    said = {f.code: str(f.severity) for f in made.findings if f.place.file == name and f.code in ("BRD-039", "BRD-043")}
    assert said == ({} if not code else {code: "warning" if span else "error"})
    hole = next(h for h in made.holes if (h.x_mm, h.y_mm) == (0.0, 30.0))
    keys = ("c", "i1", "i2", "s")
    assert hole.layers == (keys if span is None else keys[span[0] - 1 : span[1]])


def test_one_hole_without_a_land_outside_ends_at_its_lands() -> None:
    made = board_of(Package("b", tuple(_blind_package({1: VIAS, 2: VIAS}, "x.drl"))))
    one = [
        m if m.name != "x.drl" else Member("x.drl", b"M48\nMETRIC,TZ\nT1C0.400\n%\nT1\nX0.0Y30.0\nM30\n")
        for m in _blind_package({1: VIAS[:1], 2: VIAS[:1]}, "x.drl")
    ]
    single = board_of(Package("b", tuple(one)))
    for found in (made, single):
        assert next(h for h in found.holes if (h.x_mm, h.y_mm) == (0.0, 30.0)).layers == ("i1", "i2")


FIRST, SECOND = "v1.drl", "v2.drl"
REPORTS = {
    "pairs lead": "Drill report\n\nLayer Pair : Top Layer to Mid-Layer 1\nASCII RoundHoles File : v1.drl\nTool 1 0.4mm\n\n"
    "Layer Pair : Mid-Layer 2 to Bottom Layer\nASCII File : v2.drl\n",
    "files lead": "Drill file 'v1.drl' contains\n    plated holes connecting layer pair: 'F.Cu, In1.Cu' (blind or buried)\n"
    "Drill file 'v2.drl' contains\n    plated holes connecting layer pair: 'In2.Cu, B.Cu'\n",
    "one line": "v1.drl   12 holes   layers 1-2\nv2.drl   7 holes    layers 3-4\n",
}


@pytest.mark.parametrize("name", ["b.drr", "drill report.rpt", "readme"])
@pytest.mark.parametrize("style", REPORTS)
def test_a_report_beside_the_drill_files_tells_their_layers(style: str, name: str) -> None:
    """Wording of several design systems' reports (common practice, no source). Through 1-2 and 3-4, four tracks make two islands."""
    members = [*package(FIRST, VIA), Member(SECOND, VIA), Member(name, REPORTS[style].encode())]
    made = board_of(Package("b", tuple(members)))
    assert sorted(hole.layers for hole in made.holes if hole.x_mm == 0.0) == [("c", "i1"), ("i2", "s")]
    said = {f.place.file: f.words for f in made.findings if f.code == "PKG-018"}
    assert set(said) == {FIRST, SECOND} and "by a report beside it" in said[FIRST]


def test_a_report_that_contradicts_itself_tells_nothing() -> None:
    text = b"v1.drl layers 1-2\nv1.drl layers 2-3\n"
    made = board_of(Package("b", (*package(FIRST, VIA), Member("b.rpt", text))))
    assert not [f for f in made.findings if f.code == "PKG-018"]


@pytest.mark.parametrize("header", [
    "T1C0.400 ; layers 1-2\nT2C0.400 ; layers 3-4\nT3C0.800 ; layers 1-4\n",
    ";T1 : layers 1-2\n;T2 : layers 3-4\n;T3 : layers 1-4\nT1C0.400\nT2C0.400\nT3C0.800\n",
    ";Layers TOP and L2\nT1C0.400\n;Layers L3 and BOTTOM\nT2C0.400\n;Layers TOP and BOTTOM\nT3C0.800\n",
])  # fmt: skip
def test_one_file_whose_tools_drill_between_different_layers(header: str) -> None:
    data = f"M48\nMETRIC,TZ\n{header}%\nG90\nT1\nX0.0Y0.0\nT2\nX10.0Y0.0\nT3\nX50.0Y50.0\nM30\n".encode()
    made = board_of(Package("b", tuple(package("all.drl", data)[:5])))
    assert {hole.x_mm: hole.layers for hole in made.holes} == {
        0.0: ("c", "i1"), 10.0: ("i2", "s"), 50.0: ("c", "i1", "i2", "s"),
    }  # fmt: skip
    (said,) = [f for f in made.findings if f.code == "PKG-018"]
    assert "T1: 1 to 2, T2: 3 to 4, T3: 1 to 4" in said.words and not [f for f in made.findings if f.code == "PKG-017"]


def test_tools_of_which_one_has_no_layers_stay_open() -> None:
    data = b"M48\nMETRIC,TZ\nT1C0.400 ; layers 1-2\nT2C0.400 ; layers 3-4\nT3C0.800\n%\nT1\nX0.0Y0.0\nT2\nX10.0Y0.0\nT3\nX50.0Y50.0\nM30\n"
    made = board_of(Package("b", tuple(package("all.drl", data)[:5])))
    assert [f.severity for f in made.findings if f.code == "PKG-017"] == ["error"]


def test_a_layer_pair_file_that_lists_all_layers_is_read_from_first_to_last() -> None:
    pairs = Member("b.LDP", b"Layer Pairs Export File\r\nLayersSetName=A|DrillFile=b.tx1|DrillLayers=gtl,g1,g2,gbl\r\n")
    members = package("b.TX1", VIA, "b.TXT", pairs, copper=("b.GTL", "b.G1", "b.G2", "b.GBL"))
    assert span_of(members, "b.TX1") == (1, 4) and islands(members) == 1


def test_lands_drawn_as_dots_count_as_lands() -> None:
    """A file stated as 1-2 whose holes have lands on all four layers, all drawn as dots (strokes of no length): said."""

    def dot(x: float, y: float):  # type: ignore[no-untyped-def]
        return ("draw", shapely.Point(x, y), 0.8, True, land(x, y)[4])

    holes = [(10.0 * k, 0.0) for k in range(6)]
    vias = [(10.0 * k, 20.0) for k in range(6)]
    copper = [[dot(x, y) for x, y in [*holes, *vias]] for _ in range(4)]
    made = board(
        copper,
        [
            drill([(x, y, 0.8) for x, y in holes], name="t.drl"),
            drill([(x, y, 0.3) for x, y in vias], span=(1, 2), name="v.drl"),
        ],
    )
    assert [(f.place.file, str(f.severity)) for f in made.findings if f.code == "BRD-039"] == [("v.drl", "warning")]
