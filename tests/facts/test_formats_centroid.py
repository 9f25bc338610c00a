# ruff: noqa: E501
"""Placement lists: dialects, units, sides; and what they say against the pins. Dialects: common practice, no source."""

from __future__ import annotations

import pytest

from coppermend.core.board.centroids import placement_findings
from coppermend.core.board.model import PartState, Pin
from coppermend.core.board.sources import PartRow
from coppermend.core.findings import Severity
from coppermend.formats.centroid import Centroids, read_centroids
from coppermend.formats.member import Member
from coppermend.formats.package import Format, format_of


def read(text: str) -> Centroids:
    found = read_centroids(text.encode(), "place.csv")
    assert found is not None
    return found


WANT = ("U1", "74LS00", "DIP-14", 25.4, 12.7, 90.0, "s")
"""One part, written in the dialects below: 1 inch = 25.4 mm, 500 mil = 12.7 mm."""

DIALECTS = {
    "headings with short words": "Ref,Val,Package,PosX,PosY,Rot,Side\nU1,74LS00,DIP-14,25.4,12.7,90,bottom\n",
    "units behind the numbers": "Designator,Val,Package,Mid X,Mid Y,Rotation,Layer\nU1,74LS00,DIP-14,25.4mm,12.7mm,90,Bottom\n",
    "mils in the heading, quoted": '"Designator","Comment","Layer","Footprint","Center-X(mil)","Center-Y(mil)","Rotation"\n"U1","74LS00","BottomLayer","DIP-14","1000.0","500","90"\n',
    "preamble with the unit": "Pick and Place Locations\n========\nUnits used: mil\n\nDesignator,Comment,Layer,Footprint,Center-X,Center-Y,Rotation\nU1,74LS00,BottomLayer,DIP-14,1000,500,90\n",
    "columns of spaces behind a hash": "### Positions ###\n## Unit = inches, Angle = deg.\n# Ref     Val       Package    PosX       PosY       Rot  Side\nU1        74LS00    DIP-14     1.0000     0.5000    90.0  bottom\n## End\n",
    "semicolons and decimal commas": "RefDes;Value;Footprint;X (mm);Y (mm);Angle;Side\nU1;74LS00;DIP-14;25,4;12,7;90,0;B\n",
    "tabs": "Reference\tValue\tPackage\tX[mm]\tY[mm]\tRotation\tSide\nU1\t74LS00\tDIP-14\t25.4\t12.7\t90\ts\n",
    "exclamation marks and a mirror column": "UUNITS = MILS\nREFDES!SYM_X!SYM_Y!SYM_ROTATE!SYM_MIRROR!SYM_NAME!COMP_VALUE\nU1!1000.0!500.0!90.000!YES!DIP-14!74LS00\n",
    "quoted cells with commas inside": 'Ref,Val,Package,PosX,PosY,Rot,Side\n"U1","74LS00","DIP-14","25.4","12.7","90","bottom"\n',
    "a remark with the unit": "# X,Y in mils. rotation in degrees.\n# RefDes, Description, Package, X, Y, rotation, top/bottom\nU1,74LS00,DIP-14,1000,500,90,bottom\n",
    "a line of units below the headings": "Ref;Value;Package;Mid X;Mid Y;Rot;Layer\n;;;(mil);(mil);(deg);\nU1;74LS00;DIP-14;1000;500;90;BottomLayer\n",
    "byte order mark, German headings, columns in another order": "\ufeffSeite;Drehung;Y (mm);X (mm);Gehäuse;Wert;Bauteil\nunten;90,0;12,7;25,4;DIP-14;74LS00;U1\n",
    "French headings": "Référence;Valeur;Boîtier;X (mm);Y (mm);Rotation;Face\nU1;74LS00;DIP-14;25,4;12,7;90;Dessous\n",
    "decimal commas in quoted cells between commas": '"Ref","Val","Package","PosX","PosY","Rot","Side"\n"U1","74LS00","DIP-14","25,4","12,7","90,0","bottom"\n',
    "thousands and decimals": "Ref;Val;Package;X (µm);Y (µm);Rot;Side\nU1;74LS00;DIP-14;25.400,0;12.700,0;90;b\n",
    "thousands in English": 'Ref,Val,Package,X (um),Y (um),Rot,Side\nU1,74LS00,DIP-14,"25,400.0","12,700.0",90,b\n',
    "clockwise angles": "Ref,Val,Package,X (mm),Y (mm),Rotation (CW),Side\nU1,74LS00,DIP-14,25.4,12.7,-90,bottom\n",
    "counter-clockwise angles": "Ref,Val,Package,X (mm),Y (mm),Rotation (CCW),Side\nU1,74LS00,DIP-14,25.4,12.7,90,bottom\n",
    "a spreadsheet's line about its mark": "sep=;\nRef;Val;Package;X [cm];Y [cm];Angle [deg];Top/Bottom\nU1;74LS00;DIP-14;2.54;1.27;90;B\n",
    "a column of units": "Part;Value;Package;X;Y;Unit;Rot;Side\nU1;74LS00;DIP-14;1000;500;mil;90;solder side\n",
    "unit in a cell of its own before the headings": '"Units","Inches"\n"RefDes","Value","Package","X","Y","Rotation","Side"\n"U1","74LS00","DIP-14","1.0","0.5","90°","SS"\n',
    "mounting side in words": "Name,Value,Package,Centre X,Centre Y,R,Mounting side\n\"U1, \",74LS00,DIP-14,25.4,12.7,+90.0,Back side\n",
}  # fmt: skip


@pytest.mark.parametrize("text", DIALECTS.values(), ids=DIALECTS.keys())
def test_dialects(text: str) -> None:
    found = read(text)
    (row,) = found.rows
    got = (row.ref, row.value, row.package, row.x_mm, row.y_mm, row.rotation_deg, row.side)
    assert got == pytest.approx(WANT)
    assert not found.findings


@pytest.mark.parametrize("text", DIALECTS.values(), ids=DIALECTS.keys())
def test_dialects_are_told_from_drill_and_tool_lists(text: str) -> None:
    assert format_of(Member("list.txt", text.replace("U1", "T1").encode())) is Format.TABLE


@pytest.mark.parametrize("coding", ["utf-16", "latin-1", "utf-8-sig"])
def test_codings(coding: str) -> None:
    data = "Référence\tX (mm)\tY (mm)\tRotation\tFace\nU1\t25.4\t12.7\t90\tDessus\n".encode(coding)
    found = read_centroids(data, "place.csv")
    assert found is not None and format_of(Member("place.csv", data)) is Format.TABLE
    assert [(r.ref, r.x_mm, r.y_mm, r.rotation_deg, r.side) for r in found.rows] == [("U1", 25.4, 12.7, 90.0, "c")]


def test_whether_the_unit_is_stated() -> None:
    assert not read("Ref,X,Y\nU1,1,2\n").unit_stated
    assert read("Ref,X,Y\nU1,1mm,2mm\n").unit_stated


def test_tables_without_places_are_none() -> None:
    assert read_centroids(b"ref,value\nU1,Z80\n", "parts.csv") is None
    assert read_centroids(b"\0\0", "x") is None and read_centroids(b"", "x") is None


def test_a_list_of_pins_is_none_of_parts() -> None:
    assert read_centroids(b"part,pin,net,x,y,side\nU1,1,GND,1,2,c\n", "pins.csv") is None


def test_bad_rows_are_findings_and_keep_their_value() -> None:
    found = read("Ref,Val,X (mm),Y (mm),Side\nU1,Z80,abc,1,top\nU2,PIO,1,1e9,upside\nU3,SIO,1,2,top\n")
    assert [(row.ref, row.value, row.x_mm) for row in found.rows] == [
        ("U1", "Z80", None),
        ("U2", "PIO", None),
        ("U3", "SIO", 1.0),
    ]
    assert [(one.code, one.place.line) for one in found.findings] == [("CEN-001", 2), ("CEN-001", 3), ("CEN-002", 3)]


def test_parts_that_are_not_fitted() -> None:
    assert read("Ref,X,Y,DNP\nU1,1,2,yes\nU2,1,2,\n").rows[0].state is PartState.NOT_FITTED
    assert read("Ref,X,Y,Populate\nU1,1,2,no\nU2,1,2,yes\n").rows[1].state is None


PLACES = {"U1": (10, 10), "U2": (40, 12), "U3": (25, 44), "R1": (7, 31), "R2": (52, 38)}


def pins() -> list[Pin]:
    """Two pins 4 mm apart round each of five places without symmetry, on the component side."""
    return [
        Pin(ref, str(n), x + d, y, None, ("c",), 0) for ref, (x, y) in PLACES.items() for n, d in ((1, -2.0), (2, 2.0))
    ]


def rows(sx: float = 1.0, sy: float = 1.0, dx: float = 0.0, dy: float = 0.0, side: str = "c") -> list[PartRow]:
    return [
        PartRow(ref, source="p.csv line 2", side=side, x_mm=sx * x + dx, y_mm=sy * y + dy)
        for ref, (x, y) in PLACES.items()
    ]


def test_a_list_that_agrees_says_nothing() -> None:
    assert placement_findings(rows(), pins()) == []


@pytest.mark.parametrize(("list_", "words", "severity"), [
    (rows(dx=100, dy=-50), "another origin, -100.000, 50.000 mm", Severity.NOTE),
    (rows(sy=-1), "mirrored top to bottom", Severity.WARNING),
    (rows(sx=-1, dx=3), "mirrored left to right", Severity.WARNING),
    (rows(sx=1 / 0.0254, sy=1 / 0.0254), "in mils though read as mm", Severity.WARNING),
    (rows(sx=1 / 25.4, sy=1 / 25.4), "in inches though read as mm", Severity.WARNING),
])  # fmt: skip
def test_origin_mirror_and_unit_are_found(list_: list[PartRow], words: str, severity: Severity) -> None:
    (finding,) = placement_findings(list_, pins())
    assert (
        finding.code == "CEN-010"
        and finding.severity is severity
        and words in finding.words
        and "100%" in finding.words
    )


def test_a_part_elsewhere_is_named_with_its_place() -> None:
    moved = [*rows()[:-1], PartRow("R2", source="p.csv line 6", x_mm=52.0, y_mm=30.0)]
    (finding,) = placement_findings(moved, pins())
    assert (finding.code, finding.place.thing, finding.place.y_mm) == ("CEN-011", "R2", 30.0)
    assert "8.0 mm away" in finding.words


def test_a_part_on_the_other_side_is_named() -> None:
    found = placement_findings(rows(side="s"), pins())
    assert {one.code for one in found} == {"CEN-012"} and len(found) == 5
