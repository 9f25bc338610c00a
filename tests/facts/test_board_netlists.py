"""Netlists on the copper: origin shift, mirroring, access side, and the comparison with its words. Expected values by looking at the drawing."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest
import shapely
from tests.handmade import area, board, drill, land, point, track

from coppermend.core.board.match import place_points
from coppermend.core.board.names import nearest_names
from coppermend.core.board.netlists import access_layers
from coppermend.core.copper.compare import compare
from coppermend.services.board_views import compare_board


def scattered(count: int, seed: int) -> np.ndarray:
    """Points on a 1.27 mm grid, as on a board of its time."""
    chance = random.Random(seed)
    spots = {(chance.randrange(120), chance.randrange(80)) for _ in range(count)}
    return np.array(sorted(spots), dtype=float) * 1.27


@pytest.mark.parametrize("shift", [(0.0, 0.0), (12.7, -3.81), (-101.6, 55.88), (0.3, 0.0)])
def test_a_shifted_origin_is_found(shift: tuple[float, float]) -> None:
    copper = scattered(300, 1)
    found = place_points(copper[:200] - np.array(shift), copper)
    assert (found.dx_mm, found.dy_mm) == pytest.approx(shift, abs=1e-9)
    assert found.share == 1.0 and found.words == ""


@pytest.mark.parametrize(
    ("mirror", "words"), [((-1, 1), "left to right"), ((1, -1), "top to bottom"), ((-1, -1), "180 degrees")]
)
def test_a_mirrored_netlist_is_found(mirror: tuple[int, int], words: str) -> None:
    copper = scattered(300, 2)
    raw = (copper - np.array([7.0, 11.0])) * np.array(mirror)
    found = place_points(raw, copper)
    assert words in found.words
    assert np.abs(found.apply(raw) - copper).max() < 1e-9


def test_a_netlist_in_the_wrong_unit_is_found() -> None:
    copper = scattered(300, 3)
    found = place_points(copper / 25.4, copper)
    assert "inches" in found.words and found.sx == 25.4 and found.share == 1.0


def test_a_shift_is_found_though_a_third_of_the_points_has_no_copper() -> None:
    copper = scattered(300, 4)
    strange = scattered(100, 5) + 500.0
    found = place_points(np.concatenate([copper[:200], strange]) - np.array([2.54, 1.27]), copper)
    assert (found.dx_mm, found.dy_mm) == pytest.approx((2.54, 1.27), abs=1e-9)


def test_coordinates_rounded_to_a_thousandth_of_an_inch_still_lie_on_their_holes() -> None:
    copper = scattered(300, 6)
    rounded = np.round((copper - 5.0) / 0.0254) * 0.0254
    found = place_points(rounded, copper)
    assert found.share == 1.0 and (found.dx_mm, found.dy_mm) == pytest.approx((5.0, 5.0), abs=0.013)


def test_layers_of_access_follow_ipc_d_356a() -> None:
    # IPC-D-356A, columns 39 to 41: A00 both sides, A01 component side, then by layer; files that know two sides write A02 for the solder side.
    keys = ["c", "i1", "i2", "s"]
    rows = [point("N", "U1.1", 0, 0, access, None) for access in (0, 1, 2, 4)]
    assert access_layers(rows, keys) == [("c", "i1", "i2", "s"), ("c",), ("i1",), ("s",)]
    assert access_layers(rows[1:3], keys) == [("c",), ("s",)]


def pairs(count: int = 12) -> tuple[list, list, list]:
    """``count`` nets of two lands each, 5 mm apart, a row each 2.54 mm: copper of both sides, holes, netlist."""
    top, bottom, holes, rows = [], [], [], []
    for k in range(count):
        y = k * 2.54
        for x, part in ((0.0, "U1"), (5.0, "U2")):
            top.append(land(x, y))
            bottom.append(land(x, y))
            holes.append((x, y, 0.8))
            rows.append(point(f"N{k}", f"{part}.{k + 1}", x, y, line=10 + 2 * k + (x > 0)))
        top.append(track((0, y), (5, y)))
    return [top, bottom], holes, rows


def test_copper_and_netlist_that_agree_give_every_point_and_nothing_else() -> None:
    copper, holes, rows = pairs()
    (row,) = compare(board(copper, [drill(holes)], rows))
    assert (row.source, row.nets, row.points, row.agree) == ("nets.ipc", 12, 24, 24)
    assert row.exact


def test_a_shifted_netlist_agrees_and_its_shift_is_reported() -> None:
    copper, holes, rows = pairs()
    moved = [point(r.net, f"{r.part}.{r.pin}", r.x_mm + 30.0, r.y_mm - 7.0) for r in rows]
    made = board(copper, [drill(holes)], moved)
    assert made.origin_shift_mm == pytest.approx((-30.0, 7.0), abs=1e-9)
    assert compare(made)[0].exact
    assert any(f.code == "BRD-020" for f in made.findings)


def test_a_missing_track_splits_the_net_and_says_where() -> None:
    copper, holes, rows = pairs()
    copper[0].remove(next(one for one in copper[0] if one[0] == "draw" and one[1].coords[0] == (0, 2.54)))
    (row,) = compare(board(copper, [drill(holes)], rows))
    (split,) = row.split_nets
    assert split.nets == ("N1",) and split.points == ("U2.2",) and split.why == "open"
    assert row.agree == 23
    assert (split.x_mm, split.y_mm) == pytest.approx((2.5, 2.54))


def test_a_short_joins_two_nets_and_says_where() -> None:
    copper, holes, rows = pairs()
    copper[1].append(track((0, 0), (0, 2.54)))
    (row,) = compare(board(copper, [drill(holes)], rows))
    (joined,) = row.joined_nets
    assert set(joined.nets) == {"N0", "N1"} and row.agree == 22
    assert joined.layer in ("c", "s") and math.hypot(joined.x_mm, joined.y_mm - 1.27) < 4.0


def test_a_pin_that_moved_to_another_net_is_called_so() -> None:
    copper, holes, rows = pairs()
    for side in copper:  # a third pin on each of two nets, whose names the netlist exchanges
        side += [land(9, 0), land(9, 2.54), track((5, 0), (9, 0)), track((5, 2.54), (9, 2.54))]
    rows += [point("N1", "U3.1", 9.0, 0.0, 1, None), point("N0", "U3.2", 9.0, 2.54, 1, None)]
    (row,) = compare(board(copper, [drill(holes)], rows))
    assert {one.why for one in (*row.split_nets, *row.joined_nets)} == {"moved"}
    assert {one.points for one in row.split_nets} == {("U3.1",), ("U3.2",)} and row.agree == 24


def test_a_bridged_jumper_land_is_called_one() -> None:
    copper = [[land(0, 0), land(1.5, 0)], []]
    rows = [point("A", "JP1.1", 0, 0, 1, None), point("B", "JP1.2", 1.5, 0, 1, None)]
    (row,) = compare(board(copper, (), rows))
    assert [one.why for one in row.joined_nets] == ["jumper"]


def test_an_open_jumper_land_is_called_one() -> None:
    copper = [[land(0, 0), land(1.8, 0)], []]
    rows = [point("A", "JP1.1", 0, 0, 1, None), point("A", "JP1.2", 1.8, 0, 1, None)]
    (row,) = compare(board(copper, (), rows))
    assert [one.why for one in row.split_nets] == ["jumper"]


def test_lands_of_one_number_that_the_part_joins_are_called_so() -> None:
    copper = [
        [land(0, 0, "SW1.1", "A"), land(9, 0, "SW1.1", "A"), land(0, 5, "U1.1", "A"), track((0, 0), (0, 5), net="A")]
    ]
    (row,) = compare(board(copper))
    (split,) = row.split_nets
    assert split.why == "equal numbers" and row.source == "X2 attributes"


def test_a_point_without_copper_is_missed() -> None:
    copper, holes, rows = pairs()
    rows.append(point("N0", "U3.1", 50.0, 50.0, line=99))
    (row,) = compare(board(copper, [drill(holes)], rows))
    (missed,) = row.missed
    assert (missed.point, missed.net, missed.line) == ("U3.1", "N0", 99) and row.agree == 24


def test_a_point_said_to_be_in_no_net_on_the_copper_of_one_is_told() -> None:
    copper, holes, rows = pairs()
    copper[0].append(land(2.5, 0))
    rows.append(point("", "U3.1", 2.5, 0, 1, None))
    (row,) = compare(board(copper, [drill(holes)], rows))
    assert [one.why for one in row.joined_nets] == ["no net"] and row.agree == 24 and row.points == 25


def test_the_netlist_of_another_board_names_nothing_and_is_told() -> None:
    copper, holes, _ = pairs()
    chance = random.Random(9)
    strange = [point(f"X{k}", f"Q{k}.1", chance.uniform(0, 90), chance.uniform(0, 90), 1, None) for k in range(60)]
    made = board(copper, [drill(holes)], strange)
    assert any(f.code == "BRD-022" for f in made.findings)
    assert not made.parts and not any(net.names for net in made.nets)


def test_upper_cased_names_of_the_netlist_do_not_replace_those_of_the_copper() -> None:
    copper = [[land(0, 0, "U1.1", "/cpu/D0"), land(5, 0, "U2.1", "/cpu/D0"), track((0, 0), (5, 0), net="/cpu/D0")]]
    rows = [point("/CPU/D0", "U1.1", 0, 0, 1, None), point("/CPU/D0", "U2.1", 5, 0, 1, None)]
    made = board(copper, (), rows)
    assert made.nets[0].name == "/cpu/D0" and made.nets[0].names == ("/cpu/D0", "/CPU/D0")


def test_unknown_names_get_the_nearest_ones() -> None:
    assert nearest_names("u1.9", ["U1.8", "U1.9", "R4.1"]) == ("U1.9", "U1.8")
    assert nearest_names("zzz", ["A", "B"]) == ()


def test_blind_holes_over_each_other_are_told_apart_by_their_side() -> None:
    # A joins the first two layers, B the last two, at one place
    copper = [
        [land(0, 0), track((0, 0), (9, 0)), land(9, 0)],
        [land(0, 0)],
        [land(0, 0)],
        [land(0, 0), track((0, 0), (0, 9)), land(0, 9)],
    ]
    holes = [drill([(0, 0, 0.3)], span=(1, 2)), drill([(0, 0, 0.3)], span=(3, 4))]
    rows = [
        point("A", "VIA", 0, 0, 1, 0.3), point("B", "VIA", 0, 0, 4, 0.3),
        point("A", "U1.1", 9, 0, 1, None), point("B", "U2.1", 0, 9, 4, None),
    ]  # fmt: skip
    (row,) = compare(board(copper, holes, rows))
    assert row.exact and row.points == 4


def test_two_nets_of_one_cut_name_are_told_from_an_open() -> None:
    """IPC-D-356A gives a net's name 14 columns (4 to 17). X2 tells the two nets apart; without X2 the split is said to be uncertain."""
    ends = [(0.0, "U1.1"), (5.0, "U1.2"), (10.0, "U2.1"), (15.0, "U2.2")]
    full = ["/CONTROL_BUS_ENABLE_A", "/CONTROL_BUS_ENABLE_B"]
    holes = drill([(x, 0.0, 0.8) for x, _ in ends])
    short = [point("CONTROL_BUS_EN", pin, x, 0.0) for x, pin in ends]
    bare_copper = [[land(x, 0.0) for x, _ in ends] + [track((0, 0), (5, 0)), track((10, 0), (15, 0))], []]
    (said,) = compare(board(bare_copper, [holes], short))
    assert [one.why for one in said.split_nets] == ["cut name"] and "14 characters" in said.split_nets[0].words
    named = [[land(x, 0.0, net=full[k // 2], pin=pin) for k, (x, pin) in enumerate(ends)] + bare_copper[0][4:], []]
    rows = {row.source: row for row in compare(board(named, [holes], short))}
    assert rows["nets.ipc"].exact and rows["nets.ipc"].nets == 2


def test_a_missing_drill_file_is_not_called_a_stale_netlist() -> None:
    """Every second hole of a board whose nets all change sides is not in the package."""
    spots = [(float(x), 0.0) for x in range(0, 80, 4)]
    front = [land(x, y) for x, y in spots] + [track(spots[k], spots[k + 1]) for k in range(0, 20, 4)]
    back = [land(x, y) for x, y in spots] + [track(spots[k + 1], spots[k + 2]) for k in range(0, 18, 4)]
    points = [point(f"N{k // 4}", f"U{k}.1", x, y, line=k) for k, (x, y) in enumerate(spots) if k % 4 != 3]
    (row,) = compare(board([front, back], [drill([(*s, 0.8) for s in spots[::2][:3]])], points))
    assert row.split_nets and {one.why for one in row.split_nets} == {"no hole"}
    assert "have no plated hole" in row.split_nets[0].words


def test_escaped_characters_of_names_are_shown_as_they_are() -> None:
    made = board([[land(0, 0, net="/D{slash}A", pin="U1.1"), land(5, 0, net="X{0}", pin="U1.2")]])
    assert [net.name for net in made.nets] == ["/D/A", "X{0}"]
    two = board([[land(0, 0, net="/D{slash}A", pin="U1.1"), land(5, 0, net="/D/A", pin="U1.2")]])
    assert [net.name for net in two.nets] == ["/D{slash}A", "/D/A"]


def test_plating_that_only_the_netlist_doubts_is_said_and_changes_no_net() -> None:
    """IPC-D-356A, column 38: P plated, U not plated."""
    bare = replace(point("N1", "U1.1", 0.0, 0.0), plated=False)
    made = board([[land(0, 0)], [land(0, 0)]], [drill([(0.0, 0.0, 0.8)])], [bare, point("N1", "U1.2", 5.0, 0.0)])
    assert len(made.nets) == 1 and made.holes[0].plated
    (found,) = [one for one in made.findings if one.code == "BRD-038"]
    assert "1 holes are not plated" in found.words


def test_a_mirrored_netlist_is_said_in_its_row() -> None:
    copper, holes, rows = pairs()
    copper[1] += [land(7, 31), land(1, 36), track((7, 31), (1, 36))]
    holes += [(7, 31, 0.8), (1, 36, 0.8)]
    rows += [point("ODD", "U3.1", 7, 31), point("ODD", "U3.2", 1, 36)]
    turned = [point(r.net, f"{r.part}.{r.pin}", 100.0 - r.x_mm, r.y_mm) for r in rows]
    (plain,) = compare_board(board(copper, [drill(holes)], rows))["sources"]
    (row,) = compare_board(board(copper, [drill(holes)], turned))["sources"]
    assert (plain["placing"], plain["agree"], row["agree"]) == ("", 26, 26)
    assert "the netlist is mirrored left to right" in row["placing"]


def region_pads() -> tuple[list, list]:
    """Twelve nets of two pads drawn as regions 30 mm apart, and three fiducials as the only flashes: copper, netlist."""
    copper, rows = [land(*at, diameter=1.0, function="FiducialPad") for at in ((60, 3), (64, 9), (70, 22))], []
    for k in range(12):
        x, low = 5 + 3.1 * k, 7 + 2.3 * (k % 5)
        for j, y in enumerate((low, low + 30)):
            copper.append(area(shapely.box(x - 0.4, y - 0.6, x + 0.4, y + 0.6)))
            rows.append(point(f"N{k}", f"P{2 * k + j + 1}.1", x, y, 1, None, line=2 * k + j))
        copper.append(track((x, low), (x, low + 30)))
    return copper, rows


def test_a_netlist_whose_points_all_lie_on_regions_is_not_moved_onto_the_flashes() -> None:
    copper, rows = region_pads()
    made = board([copper, []], (), rows)
    assert made.origin_shift_mm == (0.0, 0.0) and not any(f.code == "BRD-020" for f in made.findings)
    (row,) = [one for one in compare(made) if one.source == "nets.ipc"]
    assert row.exact and row.points == 24


def test_a_shifted_netlist_of_region_pads_is_found() -> None:
    copper, rows = region_pads()
    moved = [replace(one, x_mm=one.x_mm + 40.0, y_mm=one.y_mm - 9.5) for one in rows]
    made = board([copper, []], (), moved)
    assert made.origin_shift_mm == pytest.approx((-40.0, 9.5), abs=1e-3)
    (row,) = [one for one in compare(made) if one.source == "nets.ipc"]
    assert row.exact and row.points == 24


def test_a_shifted_netlist_over_a_pour_is_found_though_its_points_lie_on_copper() -> None:
    copper, holes, rows = pairs()
    copper[0].append(area(shapely.box(20, -20, 80, 60)))
    moved = [replace(one, x_mm=one.x_mm + 30.0, access=1, hole_mm=None) for one in rows]
    made = board(copper, [drill(holes)], moved)
    assert made.origin_shift_mm == pytest.approx((-30.0, 0.0), abs=1e-9)
    assert compare(made)[0].exact
