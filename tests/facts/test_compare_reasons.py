"""What `board compare` may say about a disagreement. The truth of each board is known by how it is drawn; no published values."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from tests.handmade import area, board, drill, land, point, track

from coppermend.core.copper.compare import SourceRow, compare, cut_width
from coppermend.core.findings import Finding, Place, Severity


def row_of(copper: list, holes: list, points: list) -> SourceRow:
    (row,) = [
        one for one in compare(board(copper, [drill(holes)] if holes else (), points)) if one.source == "nets.ipc"
    ]
    return row


def pin_rows(count: int = 10) -> tuple[list, list, list, list]:
    """U1 and U2 with ``count`` pins each, 20 mm apart; nets N0 ... without their tracks: front, back, holes, netlist."""
    front, back, holes, rows = [], [], [], []
    for k in range(count):
        for x, part in ((0.0, "U1"), (20.0, "U2")):
            y = 2.54 * k
            front.append(land(x, y))
            back.append(land(x, y))
            holes.append((x, y, 0.8))
            rows.append(point(f"N{k}", f"{part}.{k + 1}", x, y, line=10 + 2 * k + (x > 0)))
    return front, back, holes, rows


def wires(count: int = 10, without: int = -1) -> list:
    return [track((0, 2.54 * k), (20, 2.54 * k)) for k in range(count) if k != without]


def test_a_crack_far_from_a_part_with_pins_on_both_sides_is_an_open() -> None:
    """GND runs from J1.1 round the board to J1.10; a crack of 0.3 mm lies 60 mm from J1."""
    pins = [(2.54 * k, 0.0) for k in range(10)]
    lands = [land(x, y) for x, y in pins]
    tracks = [track((0, 0), (0, 60), (10, 60)), track((10.6, 60), (22.86, 60), (22.86, 0))]
    names = ["GND", *(f"S{k}" for k in range(8)), "GND"]
    rows = [point(n, f"J1.{k + 1}", x, y, line=k) for k, (n, (x, y)) in enumerate(zip(names, pins, strict=True))]
    row = row_of([lands + tracks, lands], [(x, y, 0.8) for x, y in pins], rows)
    (split,) = row.split_nets
    assert split.why == "open" and "jumper" not in split.words
    assert (split.x_mm, split.y_mm) == pytest.approx((10.3, 60.0), abs=1e-6)


def test_neighbouring_lands_of_a_connector_that_are_not_joined_are_an_open() -> None:
    """J1.1 and J1.2 carry one net, 0.4 mm between their lands; the track that joined them is missing. J1 is no jumper by its name."""
    pads = [land(0, 0), land(2.0, 0), land(4.0, 0), land(9, 0), land(9, 5)]
    rows = [point("A", f"J1.{k + 1}", 2.0 * k, 0, 1, None) for k in (0, 1)]
    rows += [point("B", "J1.3", 4, 0, 1, None), point("C", "U1.1", 9, 0, 1, None), point("D", "U1.2", 9, 5, 1, None)]
    row = row_of([pads, [land(30, 30)]], [(30, 30, 0.8)], rows)
    (split,) = row.split_nets
    assert split.why == "open" and "If J1 is a jumper" in split.words


@pytest.mark.parametrize("drawn", ["flash", "region"])
def test_open_lands_of_a_jumper_part_are_called_so(drawn: str) -> None:
    shapes = [shapely.box(0, 0, 1, 1), shapely.box(1.2, 0, 2.2, 1)]
    pads = [area(one) if drawn == "region" else ("flash", one, 0.0, True, land(0, 0)[4]) for one in shapes]
    rows = [point("A", "SJ1.1", 0.5, 0.5, 1, None), point("A", "SJ1.2", 1.7, 0.5, 1, None)]
    for k, (x, y) in enumerate([(9, 9), (15, 3), (21, 8), (4, 17), (26, 13)]):
        pads.append(land(x, y))
        rows.append(point(f"N{k}", f"U1.{k}", x, y, 1, None))
    row = row_of([pads, [land(30, 30)]], [(30, 30, 0.8)], rows)
    (split,) = row.split_nets
    assert split.why == "jumper" and "0.20 mm" in split.words


def test_a_crack_in_the_track_of_a_bridged_jumper_is_an_open() -> None:
    """JP1 lies at 0 and 5 mm; the track between its lands is broken for 0.1 mm in the middle: the gap is not between lands."""
    pads = [land(0, 0), land(5, 0), track((0, 0), (2.3, 0)), track((2.7, 0), (5, 0))]
    rows = [point("A", "JP1.1", 0, 0, 1, None), point("A", "JP1.2", 5, 0, 1, None)]
    row = row_of([pads, [land(30, 30)]], [(30, 30, 0.8)], rows)
    assert [one.why for one in row.split_nets] == ["open"]


def test_an_open_on_an_inner_layer_is_no_jumper() -> None:
    """JP1.1 and JP1.2 are drilled; the plane on the inner layer stays 0.2 mm clear of the land of JP1.2."""
    ends = [land(0, 0), land(5, 0)]
    plane = area(shapely.box(-3, -3, 4.0, 3))
    rows = [point("A", "JP1.1", 0, 0), point("A", "JP1.2", 5, 0)]
    row = row_of([ends, [plane, land(5, 0)], ends], [(0, 0, 0.8), (5, 0, 0.8)], rows)
    assert [one.why for one in row.split_nets] == ["open"]


def test_names_that_merely_are_equally_long_are_not_cut() -> None:
    """RESET, CLOCKA, CLOCKB, DATA10: three names of six characters, DATA10 is open."""
    front, back, holes, rows = pin_rows(4)
    names = dict(zip(("N0", "N1", "N2", "N3"), ("CLOCKA", "CLOCKB", "DATA10", "GND"), strict=True))
    rows = [point(names[r.net], f"{r.part}.{r.pin}", r.x_mm, r.y_mm, line=r.line) for r in rows]
    row = row_of([front + wires(4, without=2), back], holes, rows)
    (split,) = row.split_nets
    assert split.nets == ("DATA10",) and split.why == "open" and "cut" not in split.words


def test_one_point_apart_is_an_open_though_the_name_fills_its_column() -> None:
    front, back, holes, rows = pin_rows(4)
    rows = [point("DATA_BUS_BIT10" if r.net == "N2" else r.net, f"{r.part}.{r.pin}", r.x_mm, r.y_mm) for r in rows]
    row = row_of([front + wires(4, without=2), back], holes, rows)
    (split,) = row.split_nets
    assert split.why == "open" and "14 characters" in split.words


def test_a_narrower_column_is_believed_only_where_x2_has_the_names_longer() -> None:
    short = {"ADDRESS", "CONTROL", "DATABUS", "GND"}
    assert cut_width("a.ipc", short, ()) == 0
    assert cut_width("a.ipc", short, {"ADDRESS_0", "CONTROL_EN", "DATABUS_7", "GND"}) == 7
    assert cut_width("a.ipc", short, {"ADDRESS", "CONTROL", "DATABUS", "GND"}) == 0
    assert cut_width("a.ipc", {"CONTROL_BUS_EN"}, ()) == 14  # IPC-D-356A, columns 4 to 17
    assert cut_width("a.ipc", {"CONTROL_BUS_EN", "CONTROL_BUS_ENABLE"}, ()) == 0
    assert cut_width("pins.csv", {"CONTROL_BUS_EN"}, ()) == 0


@pytest.mark.parametrize("x", [1.0, 5.0, 10.0, 19.0])
def test_a_whisker_between_two_tracks_is_a_short_wherever_a_part_lies(x: float) -> None:
    front, back, holes, rows = pin_rows()
    row = row_of([front + wires() + [track((x, 2.54), (x, 5.08), width=0.2)], back], holes, rows)
    (joined,) = row.joined_nets
    assert set(joined.nets) == {"N1", "N2"} and joined.why == "short"
    assert joined.x_mm == pytest.approx(x, abs=0.2) and joined.y_mm == pytest.approx(3.81, abs=0.2)


def test_lands_bridged_in_a_large_part_are_a_short() -> None:
    front, back, holes, rows = pin_rows()
    row = row_of([front + wires() + [track((0, 2.54), (0, 5.08), width=0.8)], back], holes, rows)
    (joined,) = row.joined_nets
    assert joined.why == "short" and "between lands of U1" in joined.words


def test_a_track_between_the_lands_of_a_capacitor_is_a_short_and_a_whisker_beside_a_jumper_too() -> None:
    for ref in ("C1", "JP1"):
        front, back, holes, rows = pin_rows()
        pads = [land(9, 2.54, diameter=1.0), land(9, 5.08, diameter=1.0)]
        rows += [point("N1", f"{ref}.1", 9, 2.54, 1, None), point("N2", f"{ref}.2", 9, 5.08, 1, None)]
        whisker = track((9, 2.54), (9, 5.08)) if ref == "C1" else track((12, 2.54), (12, 5.08))
        row = row_of([front + wires() + pads + [whisker], back], holes, rows)
        assert [one.why for one in row.joined_nets] == ["short"], ref


def test_overlapping_lands_of_a_part_of_two_pins_are_a_tie() -> None:
    front, back, holes, rows = pin_rows()
    pads = [land(9, 2.54 + 0.77, diameter=1.6), land(9, 5.08 - 0.77, diameter=1.6)]
    rows += [point("N1", "SP1.1", 9, 3.31, 1, None), point("N2", "SP1.2", 9, 4.31, 1, None)]
    row = row_of([front + wires() + pads, back], holes, rows)
    (joined,) = row.joined_nets
    assert joined.why == "tie" and "inside SP1" in joined.words


def test_a_line_taken_off_at_a_land_is_a_tie_or_a_short_and_the_words_say_that_it_is_not_known() -> None:
    copper = [
        [
            land(0, 0, "R1.1", "V"),
            land(9, 0, "U1.1", "V"),
            track((0, 0), (9, 0), net="V"),
            land(0, 9, "U2.1", "SENSE"),
            track((0, 9), (0, 0), net="SENSE"),
        ]
    ]
    (row,) = compare(board(copper))
    (joined,) = row.joined_nets
    assert joined.why == "tie or short" and "which do not say" in joined.words and "R1.1" in joined.words


def test_nets_joined_by_holes_of_an_open_span_are_not_called_a_short() -> None:
    """A hole of layers 1 and 2, taken as through all of four layers, meets a track of the last one; PKG-017 says that its file's span is open.

    The same finding about another drill file says nothing of this hole.
    """
    front, back, holes, rows = pin_rows()
    copper = [[*front, *wires(), land(10, 0)], [land(10, 0)], [], [*back, track((10, 0), (10, 30)), land(10, 30)]]
    vias = drill([(10, 0, 0.3)], name="vias.drl")
    rows.append(point("OTHER", "U3.1", 10, 30))
    made = board(copper, [vias, drill([*holes, (10, 30, 0.8)], name="holes.drl")], rows)

    def said(file: str) -> SourceRow:
        doubt = Finding("PKG-017", Severity.ERROR, Place(file=file), "nothing says between which layers")
        told = replace(made, findings=(*made.findings, doubt) if file else made.findings)
        (row,) = [one for one in compare(told) if one.source == "nets.ipc"]
        return row

    assert made.drill_files[made.holes[0].file] == "vias.drl"
    assert "short" in {one.why for one in said("").joined_nets}
    assert {one.words for one in said("holes.drl").joined_nets} == {one.words for one in said("").joined_nets}
    assert len(said("vias.drl").joined_nets) == len(said("").joined_nets)
    assert not {one.why for one in said("vias.drl").joined_nets} & {"short", "stale"}
    assert any(
        one.why == "open span" and "vias.drl" in one.words and "PKG-017" in one.words
        for one in said("vias.drl").joined_nets
    )


def test_a_net_that_a_longer_hole_would_join_is_told_with_the_guess_about_its_span() -> None:
    """N0 runs on the first layer to a via and on the last one from it; by its name the via ends at layer 2. Without the guess it is an open."""
    front, back, holes, rows = pin_rows()
    front_wires = [*wires(without=0), track((0, 0), (10, 0)), land(10, 0)]
    copper = [
        [*front, *front_wires],
        [land(10, 0)],
        [track((50, 50), (60, 50))],
        [*back, land(10, 0), track((10, 0), (20, 0))],
    ]
    made = board(copper, [drill([(10, 0, 0.3)], span=(1, 2), name="v_1-2.drl"), drill(holes, name="holes.drl")], rows)
    guess = Finding("PKG-020", Severity.GUESS, Place(file="v_1-2.drl"), "by the numbers in its name")

    def why(told: tuple[Finding, ...]) -> tuple[str, str]:
        (row,) = [one for one in compare(replace(made, findings=(*made.findings, *told))) if one.source == "nets.ipc"]
        (split,) = row.split_nets
        return split.why, split.words

    assert why(())[0] == "open"
    assert why((guess,))[0] == "open span" and "v_1-2.drl" in why((guess,))[1] and "PKG-020" in why((guess,))[1]
