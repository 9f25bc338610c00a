"""A pin list with places beside copper that names no pin: it names them. Expected values by looking at the drawing."""

from __future__ import annotations

from coppermend.core.copper.compare import compare
from coppermend.formats.member import Member
from coppermend.services.boards import Package, board_of

HEAD = "%FSLAX33Y33*%%MOMM*%%ADD10C,1.6*%%ADD11C,0.3*%%ADD12R,1X0.6*%"
FRONT = HEAD + "D10*X0Y0D03*X10000Y0D03*X0Y5000D03*X10000Y5000D03*D12*X5000Y8000D03*D11*X0Y0D02*X10000Y0D01*M02*"
BACK = HEAD + "D10*X0Y0D03*X10000Y0D03*X0Y5000D03*X10000Y5000D03*D11*X0Y5000D02*X10000Y5000D01*M02*"
DRILL = "M48\nMETRIC\nT1C0.8\n%\nT1\nX0.0Y0.0\nX10.0Y0.0\nX0.0Y5.0\nX10.0Y5.0\nM30\n"
LIST = "part,pin,net,x,y,side\nU1,1,CLK,100,50,c\nU2,1,CLK,110,50,c\nU1,2,RES,100,55,c\nU2,2,RES,110,55,c\nC1,1,,105,58,c\n"


def test_pins_get_their_names_and_holes_and_the_list_is_compared() -> None:
    """The list's origin differs by (100, 50) mm; its pins on the component side are drilled where a hole lies under them."""
    files = {"b.gtl": FRONT, "b.gbl": BACK, "b.drl": DRILL, "b.pins.csv": LIST}
    board = board_of(Package("b", tuple(Member(name, text.encode()) for name, text in files.items())))
    pins = {pin.name: pin for part in board.parts for pin in part.pins}
    assert {name: pin.hole is not None for name, pin in pins.items()} == {"U1.1": True, "U1.2": True, "U2.1": True, "U2.2": True, "C1.1": False}  # fmt: skip
    assert pins["U1.1"].net == pins["U2.1"].net != pins["U1.2"].net == pins["U2.2"].net
    (row,) = compare(board)
    assert row.source == "b.pins.csv" and row.exact and row.points == 5
    assert row.origin_shift_mm == (-100.0, -50.0)
