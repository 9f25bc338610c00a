"""Whatever bytes a package holds, the answer is a board with findings or a refusal in words."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.cli.test_cli_board import netlist
from tests.facts.test_board_packages import PLACES, excellon, gerber

from coppermend.core.copper.compare import compare
from coppermend.core.findings import Refusal
from coppermend.formats.member import Member
from coppermend.services.board_pack import pack_board, unpack_board
from coppermend.services.boards import Package, board_of, board_report

WHOLE = {
    "top.gbr": gerber(
        "Copper,L1,Top", "%LPC*%X100000Y100000D02*X500000Y100000D01*%LPD*%X100000Y200000D02*X500000Y200000D01*"
    ),
    "bottom.gbr": gerber("Copper,L2,Bot"),
    "mask.gbr": gerber("Soldermask,Top"),
    "silk.gbr": gerber("Legend,Top", "X0Y0D02*X600000Y0D01*Y500000D01*X0D01*Y0D01*"),
    "edge.gbr": gerber("Profile,NP", "X0Y0D02*X600000Y0D01*Y500000D01*X0D01*Y0D01*"),
    "board-PTH.drl": excellon("METRIC\nT1C0.8\n", [f"X{x:.1f}Y{y:.1f}" for x, y in PLACES]),
    "board.ipc": netlist().encode(),
    "parts.csv": b"ref,value,state\nU1,Z80,socketed\n",
    "coppermend-corrections.toml": b'[file."mask.gbr"]\npolarity = "positive"\n[part.U1]\nside = "s"\n[net]\n"U1.1" = "CLK"\n',
}
NAMES = sorted(WHOLE)


@st.composite
def broken(draw: Any) -> dict[str, bytes]:
    """The package after one to three accidents: bytes changed, cut off, repeated, files lost or swapped."""
    files = dict(WHOLE)
    for _ in range(draw(st.integers(1, 3))):
        name = draw(st.sampled_from(NAMES))
        data = files.get(name, b"")
        kind = draw(st.sampled_from(["cut", "flip", "insert", "lose", "swap", "empty", "double", "digit"]))
        at = draw(st.integers(0, max(0, len(data) - 1)))
        if kind == "cut":
            files[name] = data[:at]
        elif kind == "flip" and data:
            files[name] = data[:at] + bytes([draw(st.integers(0, 255))]) + data[at + 1 :]
        elif kind == "insert":
            files[name] = data[:at] + draw(st.binary(min_size=1, max_size=20)) + data[at:]
        elif kind == "lose":
            files.pop(name, None)
        elif kind == "swap":
            other = draw(st.sampled_from(NAMES))
            files[name], files[other] = files.get(other, b""), data
        elif kind == "empty":
            files[name] = b""
        elif kind == "double":
            files[name] = data + data
        elif data:
            files[name] = data[:at] + draw(st.sampled_from([b"9" * 12, b"-", b".", b"e", b"1e9"])) + data[at:]
    return files


@settings(max_examples=150)
@given(broken())
def test_a_broken_package_is_a_board_or_a_refusal(files: dict[str, bytes]) -> None:
    members = tuple(Member(name, data) for name, data in files.items())
    try:
        board = board_of(Package("broken", members))
    except Refusal as refusal:
        assert refusal.finding.words and refusal.finding.code
        return
    assert board.layers and len(board.nets) == board_report(board)["nets"]
    assert all(row.agree <= row.points for row in compare(board))
    again = unpack_board(*pack_board(board))
    assert again.nets == board.nets and again.holes == board.holes


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(st.sampled_from([*NAMES, "a.gtl", "b.drl", "c.ipc", "d.zip"]), st.binary(max_size=300)), max_size=6
    )
)
def test_a_package_of_noise_is_refused_or_a_board(files: list[tuple[str, bytes]]) -> None:
    members = tuple(Member(name, data) for name, data in dict(files).items())
    try:
        board_of(Package("noise", members))
    except Refusal as refusal:
        assert refusal.finding.words and refusal.finding.remedy
