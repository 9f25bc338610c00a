"""``coppermend rom check``: fixed names, the pin that explains, bad input in words, and what a read-out does to the suspects of a case."""

from __future__ import annotations

import json
import zlib
from pathlib import Path

import numpy as np
from click.testing import CliRunner

from coppermend.cli import cli
from coppermend.core.belief.suspects.posterior import Witness
from coppermend.core.findings import Refusal
from coppermend.core.log.model import Entry
from coppermend.services.roms import rom_witness

GOOD = np.random.default_rng(27128).integers(0, 256, 16384, dtype=np.uint8)


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, list(words))
    if isinstance(done.exception, Refusal):
        return 2, done.exception.finding.line()
    return done.exit_code, done.output


def test_the_pin_and_its_net_are_named(tmp_path: Path) -> None:
    """27128: D3 is pin 15 (Intel's data sheet, as in the device book); on the Larkenfell 64 that is net D3 to U1.8 (its netlist)."""
    (tmp_path / "a.bin").write_bytes((GOOD & ~np.uint8(8)).tobytes())
    (tmp_path / "list.txt").write_text(f"U5 basic.bin {zlib.crc32(GOOD.tobytes()):08x}\n", encoding="utf-8")
    words = [
        "rom",
        "check",
        str(tmp_path / "a.bin"),
        "--list",
        str(tmp_path / "list.txt"),
        "--board",
        "demo",
        "--part",
        "U5",
        "--json",
    ]
    status, said = run(*words)
    found = json.loads(said)
    assert status == 1 and found["verdict"] == "stuck" and found["chip"] == "27128"
    assert [(one["line"], one["pin"]) for one in found["pins"]] == [("D3", "U5.15")]
    assert found["pins"][0]["leads_to"].startswith("D3: ") and "U1.8" in found["pins"][0]["leads_to"]


def test_a_right_one_ends_with_status_0(tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(GOOD.tobytes())
    (tmp_path / "list.txt").write_text(f"basic.bin {zlib.crc32(GOOD.tobytes()):08x}\n", encoding="utf-8")
    status, said = run("rom", "check", str(tmp_path / "a.bin"), "--list", str(tmp_path / "list.txt"))
    assert status == 0 and "right" in said and "Power off" in said


def test_bad_input_in_words(tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(GOOD.tobytes())
    (tmp_path / "none.bin").write_bytes(b"")
    (tmp_path / "a.hex").write_text(
        ":10000000214601360121470136007EFE09D2190140\n:00000001FF\n" * 300, encoding="ascii"
    )
    (tmp_path / "list.txt").write_text("hello\n", encoding="utf-8")
    a = str(tmp_path / "a.bin")
    for words, code in (
        ((str(tmp_path / "none.bin"),), "ROM-003"),
        ((str(tmp_path / "gone.bin"),), "CLI-002"),
        ((a, "--list", str(tmp_path / "list.txt")), "ROM-002"),
        ((a, "--board", "demo", "--part", "U99"), "ROM-006"),
        ((a, "--board", "demo", "--part", "R1"), "ROM-007"),
        ((a, "--type", "9999"), "ROM-007"),
        ((a, "--board", "demo", "--part", "U1"), "ROM-007"),
        ((a, "--type", "4164"), "ROM-007"),
        ((str(tmp_path / "a.hex"),), "ROM-008"),
    ):
        status, said = run("rom", "check", *words)
        assert status == 2 and f"error {code}" in said, (words, said)


def test_one_flipped_bit_names_the_rom_but_speaks_for_no_dead_output() -> None:
    """A chip that gives 16383 of 16384 bytes right drives its outputs: what is bad is what stands in it (by definition)."""

    def said(verdict: str) -> Witness | None:
        found = rom_witness(Entry("e", "c", "b", 1, 1, "", "", "", "", "rom", 1, {"part": "U4", "verdict": verdict}))
        return None if found is None else found[0]

    flipped, dead = said("single bit"), said("empty")
    assert flipped is not None and flipped.says == (("content", "U4", 0.0),)
    assert dead is not None and dead.says == (("part", "U4", 0.0),)
    assert said("list contradicts") is None


def test_read_outs_weigh_the_suspects_of_a_case(tmp_path: Path) -> None:
    store, good, bad, listed = (str(tmp_path / name) for name in ("store", "good.bin", "bad.bin", "list.txt"))
    Path(good).write_bytes(GOOD.tobytes())
    Path(bad).write_bytes((GOOD & ~np.uint8(8)).tobytes())
    Path(listed).write_text(f"U5 basic.bin {zlib.crc32(GOOD.tobytes()):08x}\n", encoding="utf-8")
    assert run("--store", store, "case", "new", "--board", "demo", "--title", "R")[0] == 0

    def p_of_u5() -> float:
        rows = json.loads(run("--store", store, "suspects", "1", "--json", "--most", "40")[1])["suspects"]
        return next((float(one["p"]) for one in rows if one["unit"] == "part U5"), 0.0)

    before = p_of_u5()
    assert run("--store", store, "rom", "check", good, "--list", listed, "--case", "1", "--part", "U5")[0] == 0
    right = p_of_u5()
    assert run("--store", store, "rom", "check", bad, "--list", listed, "--case", "1", "--part", "U5")[0] == 1
    assert right < 0.5 * before and p_of_u5() > 5 * before
    status, said = run("--store", store, "rom", "check", good, "--case", "1")
    assert status == 2 and "ROM-006" in said
