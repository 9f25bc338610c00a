"""From records to a board: layers, nets, names, pins, holes, parts, findings. Expected values by looking at the hand-made drawings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from tests.handmade import area, board, clear, drill, image, land, point, records, track

from coppermend.core.board.model import PartState
from coppermend.core.board.records import ObjectAttributes
from coppermend.core.board.sources import Corrections, PartCorrection, PartRow
from coppermend.core.copper.fabricate import board_from
from coppermend.core.findings import Refusal


def two_sided() -> tuple[list, list]:
    """U1.1 and R1.1 joined on the component side; R1.2 on the solder side by a via at 10, 5."""
    top = [
        land(0, 0, "U1.1", "A"),
        land(5, 0, "R1.1", "A"),
        track((0, 0), (5, 0), net="A"),
        land(10, 0, "R1.2", "B"),
        land(10, 5, "", "B", 0.8),
    ]
    top += [track((10, 0), (10, 5), net="B")]
    bottom = [land(0, 0, "U1.1", "A"), land(5, 0, "R1.1", "A"), land(10, 0, "R1.2", "B"), land(10, 5, "", "B", 0.8)]
    bottom += [land(20, 5, "U1.2", "B"), track((10, 5), (20, 5), net="B")]
    holes = [(0, 0, 0.8), (5, 0, 0.8), (10, 0, 0.8), (10, 5, 0.4), (20, 5, 0.8)]
    return [top, bottom], holes


def codes(made) -> set[str]:
    return {finding.code for finding in made.findings}


def test_nets_carry_the_names_that_the_copper_states() -> None:
    copper, holes = two_sided()
    made = board(copper, [drill(holes)])
    assert {net.name: set(net.pins) for net in made.nets} == {"A": {"U1.1", "R1.1"}, "B": {"R1.2", "U1.2"}}
    assert [layer.key for layer in made.layers] == ["c", "s"]


def test_a_through_hole_pin_is_one_pin_at_its_hole_on_all_layers() -> None:
    copper, holes = two_sided()
    made = board(copper, [drill(holes)])
    pin = made.part("U1").pins[0]
    assert (pin.number, pin.x_mm, pin.y_mm, pin.layers) == ("1", 0.0, 0.0, ("c", "s"))
    assert pin.hole is not None and made.holes[pin.hole].diameter_mm == 0.8


def test_a_surface_land_with_a_via_in_it_has_no_hole() -> None:
    copper = [[land(0, 0, "U1.1", "A", 3.0, "SMDPad,CuDef")], [land(0, 0, "", "A")]]
    made = board(copper, [drill([(0, 0, 0.3)])])
    pin = made.part("U1").pins[0]
    assert pin.hole is None and pin.layers == ("c",) and pin.net == 0


def test_lands_of_one_number_get_names_of_their_own() -> None:
    made = board([[land(0, 0, "J1.S", "GND"), land(5, 0, "J1.S", "GND"), track((0, 0), (5, 0))]])
    assert [pin.number for pin in made.part("J1").pins] == ["S", "S#2"]


def test_pins_and_names_come_from_a_netlist_where_the_copper_states_none() -> None:
    copper = [[land(0, 0), land(5, 0), track((0, 0), (5, 0)), land(9, 0)], [land(0, 0), land(5, 0), land(9, 0)]]
    netlist = [point("CLK", "U1.6", 0, 0), point("CLK", "U2.3", 5, 0), point("GND", "U2.7", 9, 0)]
    made = board(copper, [drill([(0, 0, 0.8), (5, 0, 0.8), (9, 0, 0.8)])], netlist)
    assert {net.name: set(net.pins) for net in made.nets} == {"CLK": {"U1.6", "U2.3"}, "GND": {"U2.7"}}


def test_a_split_net_keeps_its_name_on_the_larger_island_only() -> None:
    copper = [
        [land(0, 0, "U1.1", "A"), land(2, 0, "U1.2", "A"), track((0, 0), (2, 0), net="A"), land(9, 0, "U1.3", "A")]
    ]
    made = board(copper)
    assert {net.name: set(net.pins) for net in made.nets} == {"A": {"U1.1", "U1.2"}, "A#2": {"U1.3"}}


def test_an_island_without_a_name_is_called_after_its_pin_or_its_place() -> None:
    made = board([[land(0, 0, "U1.1", ""), land(5, 2.5)]])
    assert sorted(net.name for net in made.nets) == ["~5000,2500", "~U1.1"]


def test_stripping_every_name_changes_no_island() -> None:
    copper, holes = two_sided()
    bare = [[(*one[:4], ObjectAttributes()) for one in layer] for layer in copper]
    named, nameless = board(copper, [drill(holes)]), board(bare, [drill(holes)])
    for a, b in zip(named.layers, nameless.layers, strict=True):
        assert np.array_equal(a.island, b.island)
    assert [h.island for h in named.holes] == [h.island for h in nameless.holes]
    assert "BRD-032" in codes(nameless) and not nameless.parts


def test_a_package_without_drill_data_says_that_layers_are_not_joined() -> None:
    copper, _ = two_sided()
    made = board(copper)
    assert "BRD-010" in codes(made)
    assert {frozenset(net.pins) for net in made.nets if net.pins} == {
        frozenset({"U1.1", "R1.1"}),
        frozenset({"R1.2"}),
        frozenset({"U1.2"}),
    }


def test_one_copper_layer_is_a_board_with_a_warning() -> None:
    made = board([[land(0, 0, "U1.1", "A")]], [drill([(0, 0, 0.8)])])
    assert "BRD-003" in codes(made)
    assert made.part("U1").pins[0].hole == 0


def test_no_copper_layer_is_refused() -> None:
    with pytest.raises(Refusal) as refused:
        board([])
    assert refused.value.finding.code == "BRD-001"


def test_a_negative_plane_is_turned_over_inside_the_outline() -> None:
    # The plane's file draws antipads (1.2 mm) at two vias: the third hole meets the plane's copper.
    frame = shapely.box(-5, -5, 25, 5)
    edge = image("edge", [track(*frame.exterior.coords, width=0.1)])
    plane = [land(0, 0, diameter=1.2), land(10, 0, diameter=1.2)]
    pads = [land(0, 0, diameter=0.8), land(10, 0, diameter=0.8), land(20, 0, diameter=0.8)]
    made = board(
        [pads, plane, pads],
        [drill([(0, 0, 0.4), (10, 0, 0.4), (20, 0, 0.4)])],
        negative=[1],
        others=[(edge, "outline", "")],
    )
    plane_island = int(made.layer("i1").island[0])
    assert len(made.layer("i1").shapes) == 1
    assert [hole.island == plane_island for hole in made.holes] == [False, False, True]
    assert "BRD-005" in codes(made)
    area_mm2 = float(shapely.area(made.layer("i1").shapes.skeleton[0]))
    assert area_mm2 == pytest.approx(30 * 10 - 2 * np.pi * 0.6**2, rel=1e-3)


def test_a_thermal_pad_in_clear_polarity_is_joined_by_its_spokes() -> None:
    plane = area(shapely.box(-5, -5, 5, 5), "GND")
    ring = clear(land(0, 0, diameter=2.0))
    spoke = track((-1.2, 0), (1.2, 0), width=0.3, net="GND")
    copper = [[plane, ring, land(0, 0, "U1.7", "GND", 1.2), spoke]]
    assert len(board(copper).nets) == 1
    assert len(board([copper[0][:-1]]).nets) == 2


def test_holes_given_twice_count_once_and_plated_wins() -> None:
    made = board([[land(0, 0)], [land(0, 0)]], [drill([(0, 0, 0.8)]), drill([(0, 0, 1.0)], plated=0, name="bare")])
    assert len(made.holes) == 1 and made.holes[0].plated and made.holes[0].diameter_mm == 0.8
    assert "BRD-012" in codes(made)


def test_a_parts_list_gives_values_states_and_ring_through_parts() -> None:
    copper = [[land(0, 0, "R1.1", "A"), land(5, 0, "R1.2", "B"), land(0, 5, "U1.1", "A"), land(5, 5, "U1.2", "B")]]
    rows = [PartRow("R1", "33R"), PartRow("U1", "2764", "DIP28", PartState.SOCKETED), PartRow("U99", "7400")]
    made = board(copper, rows=rows)
    assert made.part("R1").through_ohm == (("1", "2", 33.0),)
    assert made.part("U1").state is PartState.SOCKETED and made.part("U1").value == "2764"
    assert "BRD-031" in codes(made)


def test_a_part_outline_comes_from_the_closed_strokes_round_its_middle() -> None:
    copper = [
        [land(0, 0, "U1.1", "A"), land(0, 10, "U1.2", "B"), land(7.6, 10, "U1.3", "C"), land(7.6, 0, "U1.4", "D")]
    ]
    body = shapely.box(1, -1, 6.6, 11)
    silk = image("silk", [track(*body.exterior.coords, width=0.15), track((20, 20), (21, 20), width=0.15)])
    made = board(copper, others=[(silk, "silk", "c")])
    part = made.part("U1")
    assert part.outline_from == "silkscreen"
    assert shapely.Polygon(part.outline).equals(body)


def test_an_outline_cut_back_from_lands_is_found_by_its_long_strokes() -> None:
    copper = [[land(0, 0, "C1.1", "A"), land(5, 0, "C1.2", "B")]]
    silk = image("silk", [track((0, 1.2), (5, 1.2), width=0.1), track((0, -1.2), (5, -1.2), width=0.1)])
    made = board(copper, others=[(silk, "silk", "c")])
    assert made.part("C1").outline_from == "silkscreen"
    assert shapely.Polygon(made.part("C1").outline).equals(shapely.box(0, -1.2, 5, 1.2))


def test_without_silkscreen_the_outline_is_the_box_of_the_pins_with_a_margin() -> None:
    made = board([[land(0, 0, "C1.1", "A"), land(5, 0, "C1.2", "B")]])
    assert made.part("C1").outline_from == "pins"
    assert shapely.Polygon(made.part("C1").outline).bounds == (-1.0, -1.0, 6.0, 1.0)


def test_surface_parts_sit_on_the_side_of_their_lands() -> None:
    bottom = [land(0, 0, "C1.1", "A", 1.0, "SMDPad,CuDef"), land(2, 0, "C1.2", "B", 1.0, "SMDPad,CuDef")]
    made = board([[land(9, 9)], bottom])
    assert made.part("C1").side == "s"


def test_corrections_change_part_and_net_and_are_kept_by_digest() -> None:
    said = Corrections(
        parts={"U1": PartCorrection("s", "6502", "", PartState.SOCKETED, ((0, 0), (9, 0), (9, 9)))},
        net_names={"U1.1": "RESET", "0, 5 c": "IRQ", "U7.1": "X"},
        digest="abc",
    )
    made = board([[land(0, 0, "U1.1", "A"), land(0, 5, "U1.2", "B")]], corrections=said)
    part = made.part("U1")
    assert (part.side, part.value, part.state, part.outline_from) == ("s", "6502", PartState.SOCKETED, "corrections")
    assert [net.name for net in made.nets] == ["RESET", "IRQ"]
    assert made.nets[0].names == ("RESET", "A")
    assert "BRD-030" in codes(made) and made.corrections == "abc"


def test_mask_openings_are_what_the_mask_file_draws() -> None:
    mask = image("mask", [land(0, 0, diameter=2.0)])
    made = board([[land(0, 0)]], others=[(mask, "mask", "c")])
    ((side, shapes),) = made.mask_openings
    assert side == "c" and shapes.radius_mm.tolist() == [1.0]


def test_the_outline_is_the_ring_that_the_edge_file_draws_with_cut_outs() -> None:
    outer, inner = shapely.box(0, 0, 50, 30), shapely.box(10, 10, 20, 20)
    edge = image("edge", [track(*outer.exterior.coords, width=0.1), track(*inner.exterior.coords, width=0.1)])
    made = board([[land(5, 5)]], others=[(edge, "outline", "")])
    assert [shapely.Polygon(ring).area for ring in made.outline] == pytest.approx([1500.0, 100.0])


def test_two_files_for_one_side_are_refused() -> None:
    made = records([[land(0, 0)], [land(0, 0)]])
    both = {name: replace(role, side="c") for name, role in made.roles.items()}
    with pytest.raises(Refusal) as refused:
        board_from(replace(made, roles=both))
    assert refused.value.finding.code == "BRD-002"
