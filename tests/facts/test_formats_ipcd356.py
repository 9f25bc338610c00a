"""IPC-D-356 reading: columns, units, aliases, continuations, several boards, faults.

Column layout of IPC-D-356A from memory, as written by the design systems whose files lie in the corpus.
"""

from __future__ import annotations

import pytest

from coppermend.core.findings import Refusal
from coppermend.formats.ipcd356 import Netlist, read_ipcd356


def read(*lines: str) -> Netlist:
    return read_ipcd356(("\n".join(lines) + "\n").encode(), "net.ipc")


PIN = "317GND              U1    -8    D0320PA00X+010000Y-020000X0600Y0400R090S3"
SMD = "327VCC              C12   -2          A01X+005000Y+006000X0500Y0250R180 S1"
VIA = "317/CPU_A15         VIA        MD0118PA00X+120400Y-068100X0236Y0000R000S0"


def test_every_column_of_a_pin() -> None:
    r = read("P  UNITS CUST 0", PIN, "999").records[0]
    assert (r.operation, r.net, r.ref, r.pin, r.via, r.midpoint) == ("317", "GND", "U1", "8", False, False)
    # 0.0001 inch = 0.00254 mm exactly
    assert (r.x_mm, r.y_mm) == (25.4, -50.8)
    assert (r.hole_mm, r.size_x_mm, r.size_y_mm) == pytest.approx((0.8128, 1.524, 1.016))
    assert (r.plated, r.access, r.rotation_deg, r.mask, r.line) == (True, 0, 90.0, 3, 2)


def test_surface_pads_and_vias() -> None:
    n = read(
        "P  UNITS CUST 0", SMD, VIA, "367N/C              J3          D0256UA00X+034951Y-036272X0256Y0000R180S0", "999"
    )
    smd, via, tooling = n.records
    assert (smd.operation, smd.hole_mm, smd.plated, smd.access, smd.pin) == ("327", 0.0, None, 1, "2")
    assert (via.via, via.midpoint, via.ref, via.pin, via.size_y_mm) == (True, True, "", "", 0.0)
    assert (tooling.plated, tooling.unconnected, tooling.ref) == (False, True, "J3")


@pytest.mark.parametrize(
    ("units", "x_mm"),
    [("CUST 0", 25.4), ("CUST", 25.4), ("CUST 1", 10.0), ("SI", 10.0), ("CUST 2", 25.4)],
)
def test_units(units: str, x_mm: float) -> None:
    assert read(f"P  UNITS {units}", PIN, "999").records[0].x_mm == pytest.approx(x_mm)


def test_long_names_come_from_parameters_and_from_comments() -> None:
    n = read(
        "P  UNITS CUST 0",
        "P  NNAMEm0000 MPCIE_CLKREQ3_B",
        "C  NNAME00001 A_RATHER_LONG_NAME_INDEED",
        PIN.replace("GND       ", "NNAMEm0000"),
        PIN.replace("GND       ", "NNAME00001"),
        PIN.replace("GND       ", "NNAME00009"),
        "999",
    )
    assert [r.net for r in n.records] == ["MPCIE_CLKREQ3_B", "A_RATHER_LONG_NAME_INDEED", "NNAME00009"]
    assert "IPC-015" in [f.code for f in n.findings]


def test_continuation_adds_the_other_side() -> None:
    n = read(
        "P  UNITS CUST 0",
        "317GND              U1    -8    D0320PA01X+010000Y-020000",
        "017                                    A02X0600Y0400",
        "999",
    )
    r = n.records[0]
    assert len(n.records) == 1
    assert (r.access, r.size_x_mm, r.size_y_mm) == (0, pytest.approx(1.524), pytest.approx(1.016))


def test_blind_via_keeps_its_layers() -> None:
    r = read(
        "P  UNITS CUST 0", "307SIG             VIA        MD0080PA01X+010000Y+010000X0160Y     S0 L01L03", "999"
    ).records[0]
    assert (r.via, r.span, r.access) == (True, (1, 3), 1)


def test_conductors_adjacency_and_outline() -> None:
    n = read(
        "P  UNITS CUST 0",
        PIN,
        "378GND            L01 X0100     X+010000Y+010000X+020000Y+020000",
        "078               Y+030000",
        "379GND            VCC /RESET",
        "389BOARD_EDGE      X+000000Y+000000X+100000Y+000000Y+050000",
        "089               X+000000",
        "999",
    )
    line = n.conductors[0]
    assert (line.net, line.layer, line.width_mm) == ("GND", 1, pytest.approx(0.254))
    assert line.points == ((25.4, 25.4), (50.8, 50.8), (50.8, 76.2))
    assert n.adjacency == (("GND", "VCC"), ("GND", "/RESET"))
    assert n.outlines == (((0.0, 0.0), (254.0, 0.0), (254.0, 127.0), (0.0, 127.0)),)


def test_several_boards_in_one_file() -> None:
    n = read("P  UNITS CUST 0", PIN, "999", "P  JOB second", "P  UNITS CUST 0", SMD, "999")
    assert [r.board for r in n.records] == [0, 1]
    assert n.boards == 2
    assert "IPC-017" in [f.code for f in n.findings]


def test_names_cut_at_fourteen_characters_are_mentioned() -> None:
    n = read("P  UNITS CUST 0", PIN.replace("GND           ", "ED-(U10-PAD11)"), "999")
    assert n.records[0].net == "ED-(U10-PAD11)"
    assert "IPC-016" in [f.code for f in n.findings]


def test_a_line_that_is_no_record_is_named_and_the_rest_is_read() -> None:
    n = read("P  UNITS CUST 0", PIN, "317GND    this is broken", SMD, "999")
    assert len(n.records) == 2
    fault = next(f for f in n.findings if f.code == "IPC-013")
    assert (fault.place.line, fault.place.text) == (3, "317GND    this is broken")


def test_missing_end_and_missing_unit_are_said() -> None:
    assert {"IPC-010", "IPC-014"} <= {f.code for f in read(PIN).findings}


@pytest.mark.parametrize(
    ("data", "code"), [(b"", "IPC-001"), (b"317\0\1\2NET", "IPC-001"), (b"dear reader\nno netlist here", "IPC-002")]
)
def test_what_cannot_be_read_is_refused_in_words(data: bytes, code: str) -> None:
    with pytest.raises(Refusal) as refusal:
        read_ipcd356(data, "x.ipc")
    assert refusal.value.finding.code == code
    assert refusal.value.finding.remedy
