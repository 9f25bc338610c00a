"""Whole packages as bytes: drill formats that fit the copper, parts lists, corrections, limits. Coordinates by hand in the formats' own digits."""

from __future__ import annotations

import pytest

from coppermend.core.board.model import Board, PartState
from coppermend.core.findings import Refusal
from coppermend.formats.member import Member
from coppermend.services.board_views import board_report
from coppermend.services.boards import Package, Stopped, board_of, build_board, cache_key, package_id

PLACES = [(x, y) for x in range(10, 60, 10) for y in range(10, 50, 10)]
"""Twenty places in mm."""


def gerber(function: str, strokes: str = "") -> bytes:
    flashes = "".join(f"X{x * 10000}Y{y * 10000}D03*\n" for x, y in PLACES)
    head = f"%TF.FileFunction,{function}*%\n%FSLAX44Y44*%\n%MOMM*%\n%ADD10C,1.6*%\n%ADD11C,0.3*%\nD10*\n"
    return (head + flashes + "D11*\n" + strokes + "M02*\n").encode()


def excellon(head: str, rows: list[str]) -> bytes:
    return ("M48\n" + head + "%\nT1\n" + "\n".join(rows) + "\nM30\n").encode()


def package(drill: bytes | None, *more: Member, beside: tuple[Member, ...] = ()) -> Package:
    members = [Member("top.gbr", gerber("Copper,L1,Top")), Member("bottom.gbr", gerber("Copper,L2,Bot"))]
    if drill is not None:
        members.append(Member("board-PTH.drl", drill))
    return Package("board", (*members, *more), beside)


def joined(board: Board) -> int:
    """How many of the places are one net through both layers."""
    both = set(board.layers[0].island.tolist()) & set(board.layers[1].island.tolist())
    return len(both)


def code(board: Board, wanted: str) -> list[str]:
    return [finding.words for finding in board.findings if finding.code == wanted]


def test_holes_in_millimetres_with_decimal_points_join_every_place() -> None:
    rows = [f"X{x:.1f}Y{y:.1f}" for x, y in PLACES]
    board = board_of(package(excellon("METRIC\nT1C0.8\n", rows)))
    assert joined(board) == 20 and not code(board, "BRD-015")


def test_a_file_that_names_the_wrong_unit_is_read_in_the_one_that_fits_and_told() -> None:
    rows = [f"X{x / 25.4:.4f}Y{y / 25.4:.4f}" for x, y in PLACES]
    board = board_of(package(excellon("METRIC\nT1C0.0315\n", rows)))
    assert joined(board) == 20
    (words,) = code(board, "BRD-015")
    assert "inch" in words and "100%" in words


def test_digits_that_nothing_states_are_found_by_the_copper() -> None:
    rows = [f"X{x * 100:05d}Y{y * 100:05d}" for x, y in PLACES]  # 3.2 metric, all zeros written
    board = board_of(package(excellon("T1C0.8\n", rows)))
    assert joined(board) == 20


def test_a_shifted_drill_origin_is_found_and_told() -> None:
    rows = [f"X{x + 33.02:.3f}Y{y - 5.08:.3f}" for x, y in PLACES]
    board = board_of(package(excellon("METRIC\nT1C0.8\n", rows)))
    assert joined(board) == 20
    (words,) = code(board, "BRD-016")
    assert "-33.020, 5.080" in words


def test_holes_of_another_board_are_told() -> None:
    rows = [f"X{(x * 7) % 53 + 0.37:.2f}Y{(y * 11) % 47 + 0.61:.2f}" for x, y in PLACES]
    board = board_of(package(excellon("METRIC\nT1C0.3\n", rows)))
    assert code(board, "BRD-017")


def test_missing_drill_data_is_a_board_with_an_error_finding() -> None:
    board = board_of(package(None))
    assert joined(board) == 0 and code(board, "BRD-010")


def test_drill_data_written_as_gerber_joins_the_layers() -> None:
    drawing = gerber("Plated,1,2,PTH,Drill").replace(b"C,1.6", b"C,0.8")
    board = board_of(package(None, Member("holes.gbr", drawing)))
    assert joined(board) == 20 and board.holes[0].diameter_mm == 0.8


def test_a_binary_drill_file_is_a_finding_and_copper_that_cannot_be_read_a_refusal() -> None:
    board = board_of(package(b"M48\nMETRIC\nT1C0.8\n%\n\0\0\0\xff" * 3))
    assert code(board, "BRD-018") and code(board, "BRD-010")
    broken = Package("board", (Member("top.gtl", b"\0\1\2" * 100), Member("bottom.gbr", gerber("Copper,L2,Bot"))))
    corrections = Member("coppermend-corrections.toml", b'[file."top.gtl"]\nrole = "copper c"\n')
    with pytest.raises(Refusal):
        board_of(Package("board", (*broken.members, corrections)))


def test_a_parts_list_in_the_package_gives_values_and_sockets() -> None:
    pads = b"%TF.FileFunction,Copper,L1,Top*%\n%FSLAX44Y44*%\n%MOMM*%\n%ADD10C,1.6*%\nD10*\n%TO.P,U1,1*%\nX0Y0D03*\n%TO.P,R1,1*%\nX50000Y0D03*\n%TO.P,R1,2*%\nX90000Y0D03*\nM02*\n"
    table = b"ref,type,value,package,state\nU1,Z80 CPU,Z80A,DIP40,socketed\nR1,resistor,33R,AXIAL,soldered\n"
    board = board_of(Package("board", (Member("top.gbr", pads), Member("parts.csv", table))))
    assert board.part("U1").state is PartState.SOCKETED and board.part("U1").value == "Z80A"
    assert board.part("R1").through_ohm == (("1", "2", 33.0),)


def test_corrections_beside_the_package_are_applied_listed_and_part_of_the_key() -> None:
    text = b'[file."board-PTH.drl"]\nplated = false\n[board]\nthickness_mm = 1.2\n[net]\n"10, 10 c" = "RESET"\n[part.U1]\nside = "x"\n'
    rows = [f"X{x:.1f}Y{y:.1f}" for x, y in PLACES]
    drill = excellon("METRIC\nT1C0.8\n", rows)
    plain, said = package(drill), package(drill, beside=(Member("coppermend-corrections.toml", text),))
    board = board_of(said)
    assert joined(board) == 0 and board.thickness_mm == 1.2 and "RESET" in {net.name for net in board.nets}
    listed = [f.place.thing for f in board.findings if f.code == "COR-010"]
    assert listed == ["board-PTH.drl", "10, 10 c", "board"]
    assert [f.place.thing for f in board.findings if f.code == "COR-004"] == ["part.U1.side"]
    assert package_id(plain.members) == package_id(said.members) and cache_key(plain) != cache_key(said)


def test_a_package_of_nothing_useful_is_refused_in_words() -> None:
    for members in ((), (Member("readme.txt", b"hello"),), (Member("a.gtl", b""),)):
        with pytest.raises(Refusal) as refused:
            board_of(Package("board", members))
        assert refused.value.finding.words and refused.value.finding.remedy


def test_a_build_tells_its_stages_and_stops_when_asked() -> None:
    class Here:
        def read(self, path: str) -> Package:
            return package(None)

    seen: list[tuple[str, float]] = []
    build_board(Here(), "here", progress=lambda words, share: seen.append((words, share)))
    shares = [share for _, share in seen]
    assert shares == sorted(shares) and shares[-1] == 1.0 and "reading top.gbr" in [words for words, _ in seen]
    with pytest.raises(Stopped):
        build_board(Here(), "here", stop=lambda: True)


def test_values_stated_by_x2_are_taken_and_the_parts_list_wins() -> None:
    head = b"%TF.FileFunction,Copper,L1,Top*%\n%FSLAX44Y44*%\n%MOMM*%\n%ADD10C,1.6*%\nD10*\n"
    pads = head + b"%TO.C,R1*%\n%TO.CVal,33R*%\n%TO.P,R1,1*%\nX50000Y0D03*\n%TO.P,R1,2*%\nX90000Y0D03*\n%TD*%\nM02*\n"
    assert board_of(Package("b", (Member("top.gbr", pads),))).part("R1").value == "33R"
    listed = Member("parts.csv", b"ref,value\nR1,47R\n")
    assert board_of(Package("b", (Member("top.gbr", pads), listed))).part("R1").through_ohm == (("1", "2", 47.0),)


def test_a_netlist_that_cuts_reference_designators_makes_no_second_part() -> None:
    pads = b"%TF.FileFunction,Copper,L1,Top*%\n%FSLAX44Y44*%\n%MOMM*%\n%ADD10C,1.6*%\nD10*\n%TO.P,CONNECTOR1,1*%\nX254000Y254000D03*\nM02*\n"
    rows = b"P  UNITS CUST 0\n327N1               CONNEC-1          A01X+010000Y+010000X0630Y0000R000S1\n999\n"
    board = board_of(Package("b", (Member("top.gbr", pads), Member("n.ipc", rows))))
    assert [part.ref for part in board.parts] == ["CONNECTOR1"]
    assert board.netlist_points[0].island == 0


def test_an_ipc_2581_file_that_draws_nothing_is_refused() -> None:
    text = b'<?xml version="1.0"?>\n<IPC-2581 revision="C" xmlns="http://webstds.ipc.org/2581"></IPC-2581>\n'
    with pytest.raises(Refusal) as refused:
        board_of(Package("b", (Member("board.xml", text),)))
    assert refused.value.finding.code == "IPC-007"


SCATTER = [((k * 37) % 101 / 2 + 5, (k * 53) % 83 / 2 + 5) for k in range(30)]
"""Thirty places in mm without symmetry."""


def scattered(function: str, dx: float = 0.0, mirror: bool = False) -> bytes:
    flashes = "".join(f"X{round((-x if mirror else x + dx) * 10000)}Y{round(y * 10000)}D03*\n" for x, y in SCATTER)
    head = f"%TF.FileFunction,{function}*%\n%FSLAX44Y44*%\n%MOMM*%\n%ADD10C,1.0*%\nD10*\n"
    return (head + flashes + "M02*\n").encode()


@pytest.mark.parametrize(("dx", "mirror", "words"), [(0.0, True, "mirrored left to right"), (12.5, False, "shifted")])
def test_a_solder_side_plotted_mirrored_or_shifted_is_laid_under_the_holes(dx: float, mirror: bool, words: str) -> None:
    drill = excellon("METRIC\nT1C0.6\n", [f"X{x:.2f}Y{y:.2f}" for x, y in SCATTER])
    bottom = Member("bottom.gbr", scattered("Copper,L2,Bot", dx, mirror))
    members = (Member("top.gbr", scattered("Copper,L1,Top")), bottom, Member("a.drl", drill))
    board = board_of(Package("b", members))
    assert joined(board) == 30
    (said,) = code(board, "BRD-019")
    assert words in said and "100%" in said


@pytest.mark.parametrize("unit", ["%MOIN*%", "%MOMM*%"])
def test_a_layer_in_another_unit_is_said(unit: str) -> None:
    """An inch is 25.4 mm (international yard and pound agreement, 1959)."""
    drill = excellon("METRIC\nT1C0.6\n", [f"X{x:.2f}Y{y:.2f}" for x, y in SCATTER])
    bottom = Member("bottom.gbr", scattered("Copper,L2,Bot").replace(b"%MOMM*%", unit.encode()))
    board = board_of(Package("b", (Member("top.gbr", scattered("Copper,L1,Top")), bottom, Member("a.drl", drill))))
    said = code(board, "BRD-024")
    if unit == "%MOMM*%":
        assert not said and joined(board) == 30
    else:
        assert len(said) == 1 and "25.4 times as large" in said[0] and "wrong unit" in said[0]


def test_a_drawing_taken_for_copper_is_said() -> None:
    drill = excellon("METRIC\nT1C0.6\n", [f"X{x:.2f}Y{y:.2f}" for x, y in SCATTER])
    legend = b"%FSLAX44Y44*%\n%MOMM*%\n%ADD10C,0.2*%\nD10*\nX0Y0D02*\nX500000Y0D01*\nX500000Y400000D01*\nM02*\n"
    members = (Member("b.gtl", legend), Member("b.gbl", scattered("Copper,L2,Bot")), Member("a.drl", drill))
    (said,) = code(board_of(Package("b", members)), "BRD-024")
    assert said.startswith("0% of the holes have a land on this layer, 100% on b.gbl")


def test_corrections_inside_a_package_leave_its_id_and_change_its_key() -> None:
    plain = package(None)
    said = package(None, Member("coppermend-corrections.toml", b"[board]\nthickness_mm = 0.8\n"))
    assert package_id(plain.members) == package_id(said.members)
    assert cache_key(plain) != cache_key(said)


def test_of_several_boards_in_one_netlist_the_fitting_one_is_used() -> None:
    pads = b"".join(b"X%dY%dD03*\n" % (round(x * 1e6), round(y * 1e6)) for x, y in SCATTER)
    top = b"%TF.FileFunction,Copper,L1,Top*%\n%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,0.8*%\nD10*\n" + pads + b"M02*\n"

    def rows(places: list[tuple[float, float]], part: str) -> str:
        lines = [
            f"327N{k:<13d}   {part:<6s}-{k:<4d}      A01X{round(x * 1000):+07d}Y{round(y * 1000):+07d}X0800Y0000R000S1"
            for k, (x, y) in enumerate(places)
        ]
        return "\n".join(lines)

    other = [(y * 1.7 + 3, x * 0.6 + (k % 7)) for k, (x, y) in enumerate(SCATTER)]
    text = f"P  UNITS CUST 1\n{rows(other, 'X1')}\n999\nP  UNITS CUST 1\n{rows(SCATTER, 'U1')}\n999\n"
    found = board_of(Package("b", (Member("top.gbr", top), Member("n.ipc", text.encode()))))
    assert {point.part for point in found.netlist_points} == {"U1"}
    assert any(one.code == "BRD-023" and "number 2" in one.words for one in found.findings)


ROUTED = {
    "straight": "G00X3.2Y1.7\nM15\nG01X6.2Y1.7\nM16\nG05",
    "bent": "G00X3.2Y1.7\nM15\nG01X3.2Y3.0\nG01X6.2Y3.0\nG01X6.2Y1.7\nM16\nG05",
    "arc": "G00X3.2Y1.7\nM15\nG02X6.2Y1.7A1.5\nM16\nG05",
    "closed": "G00X3.2Y1.7\nM15\nG01X6.2Y1.7\nG01X6.2Y3.0\nG01X3.2Y1.7\nM16\nG05",
    "long": "G00X3.2Y1.7\nM15\nG01X3.2Y20.0\nM16\nG05",
}
"""A slot routed from (3.2, 1.7) mm; 0.8 mm tool. What it is follows from how it was made."""


@pytest.mark.parametrize("way", list(ROUTED))
def test_routed_slots_of_unstated_plating_are_taken_alike_and_counted_once(way: str) -> None:
    rows = [f"X{x:.1f}Y{y:.1f}" for x, y in PLACES]
    board = board_of(package(None, Member("board.drl", excellon("METRIC\nT1C0.8\n", [*rows, ROUTED[way]]))))
    slot = [hole for hole in board.holes if (hole.x_mm, hole.y_mm) != (hole.x2_mm, hole.y2_mm)]
    milled = way in ("closed", "long")
    assert {hole.plated for hole in slot} == {not milled}
    said = code(board, "BRD-011")
    assert said[0].startswith(f"{20 if milled else 21} holes and slots are not said")
    assert [words[:14] for words in said[1:]] == (["1 routed paths"] if milled else [])
    report = board_report(board)
    assert (report["holes"], report["plated_holes"]) == (21, 20 if milled else 21)
    assert not code(board, "BRD-017")


def test_an_arc_among_few_holes_is_one_slot_for_the_fit_of_the_drill_data() -> None:
    """Eight holes on lands and one arc of many pieces: nearly all lie on lands, nothing is doubted."""
    rows = [f"X{x:.1f}Y{y:.1f}" for x, y in PLACES[:8]]
    head = "; #@! TF.FileFunction,Plated,1,2,PTH\nMETRIC\nT1C0.8\n"
    board = board_of(package(excellon(head, [*rows, ROUTED["arc"]])))
    assert board_report(board)["holes"] == 9 and len(board.holes) > 30
    assert not code(board, "BRD-017") and not code(board, "BRD-015")
