"""Error words of memory tests: notations, the map of a board, and whether the bad chip or line is named.

Faults and march tests after A. J. van de Goor, "Using March Tests to Test SRAMs", IEEE Design & Test of Computers 10(1), 1993 (from memory); the patients are
simulated cell by cell in ``benchmarks/memory.py``, which shares nothing with what explains them but the netlist.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from benchmarks.memory import BOARDS, Bench, Memory, demo_board, patient, run_test, two_banks

from coppermend.core.circuit.examples import inverter_chain
from coppermend.core.findings import Refusal
from coppermend.core.memory import explain as explaining
from coppermend.core.memory import faults, units, worlds
from coppermend.core.memory.derive import map_from_text, memory_map
from coppermend.core.memory.errors import ErrorWord, read_errors
from coppermend.core.memory.explain import explain
from coppermend.core.memory.model import MemoryMap, ranges_of


@pytest.fixture(scope="module")
def demo() -> Bench:
    return demo_board()


def unit_of(text: str, board: MemoryMap) -> str:
    return explain(read_errors(text), board).suspects[0].unit


# ---- words ----
@pytest.mark.parametrize(
    "line",
    [
        "8000 55 54", "8000,55,54", "$8000;0x55;54h", "8000: wrote 55 read 54", "addr=8000 expected=55 got=54", "8000 55 -> 54", "8000 55/54",
        "at 8000 wrote %01010101, read %01010100",
    ],
)  # fmt: skip
def test_every_notation_says_the_same(line: str) -> None:
    """By definition: one word written eight ways."""
    (word,) = read_errors(line).words
    assert (word.address, word.wrote, word.read) == (0x8000, 0x55, 0x54)


def test_a_heading_names_the_columns_and_waits_are_read() -> None:
    log = read_errors("read,wrote,address,after\n54,55,8000,2s\n54,55,8001,10ms\n")
    assert log.words == (ErrorWord(0x8000, 0x55, 0x54, 2.0, 2), ErrorWord(0x8001, 0x55, 0x54, 0.01, 3))


def test_typing_errors_are_said_by_line_and_the_rest_counts() -> None:
    log = read_errors("8000 55 54\n80O1 55 54\n8002 55\n\n# a remark\n8003 55 54\nrange 8000\n", "log.txt")
    assert [one.address for one in log.words] == [0x8000, 0x8003]
    assert [(one.code, one.place.line) for one in log.findings] == [("MEM-001", 2), ("MEM-001", 3), ("MEM-001", 7)]
    assert "'80O1'" in log.findings[0].words and log.findings[0].place.file == "log.txt"


def test_no_word_at_all_is_refused_with_an_example() -> None:
    with pytest.raises(Refusal) as said:
        read_errors("nothing here\n")
    assert said.value.finding.code == "MEM-002" and "8000 55 54" in said.value.finding.remedy


def test_a_picture_of_a_text_screen_is_error_words(demo: Bench) -> None:
    """ASCII (ANSI X3.4): A is 41, E is 45, so bit 2; C and G, H and L as well: the screen's memory U26 or its line VD2."""
    text = "screen 2000 80\npicture 3,0 A E\npicture 10,4 C G\npicture 0,1 H L\n"
    log = read_errors(text)
    assert [(one.address, one.bits) for one in log.words] == [(0x2003, 4), (0x2000 + 330, 4), (0x2050, 4)]
    assert explain(log, demo.map).bits == ((2, 3),)


# ---- the map ----
def test_the_map_of_the_demonstration_machine_is_its_makers(demo: Bench) -> None:
    """The wiring as its generator states it (demo/circuit.py): start ROM 0000-1FFF, screen 2000-3FFF, BASIC 4000-7FFF, bit k in U50+k, RAk from Ak and Ak+8."""
    board = demo.map
    found = {one.ref: ranges_of(one, board.space) for one in board.chips}
    assert (
        found["U4"] == ((0x0000, 0x1FFF),)
        and found["U26"] == ((0x2000, 0x3FFF),)
        and found["U5"] == ((0x4000, 0x7FFF),)
    )
    for bit in range(8):
        chip = board.chip(f"U{50 + bit}")
        assert chip is not None and chip.dynamic and not chip.rom
        assert [(one, set(pins)) for one, pins in chip.bits] == [(bit, {f"U{50 + bit}.2", f"U{50 + bit}.14"})]
        assert {bits for _, bits in chip.lines} == {(k, k + 8) for k in range(8)}
    lines = {one.name: one for one in board.lines}
    assert lines["RA3"].through == ("R4",) and set(lines["RA3"].nets) == {"RA3", "MX3"} and lines["RA3"].by == "U12.12"
    assert lines["D3"].program and not lines["RA3"].program
    assert board.asides and board.asides[0].startswith("U29")


def test_two_banks_behind_a_transceiver_and_multiplexers() -> None:
    """The board as benchmarks/memory.py wires it: bank 0 from 8000, bank 1 from C000, seven multiplexed lines."""
    bench = two_banks()
    for ref, (first, last, bits) in bench.chips.items():
        chip = bench.map.chip(ref)
        assert chip is not None
        assert ranges_of(chip, bench.map.space) == ((first, last),)
        assert tuple(bit for bit, _ in chip.bits) == bits
    assert {one.ref for one in bench.map.between} >= {"U4", "U6", "U7"}


def test_a_board_without_processor_says_what_to_give() -> None:
    with pytest.raises(Refusal) as said:
        memory_map(inverter_chain())
    assert said.value.finding.code == "MEM-003" and "--map" in said.value.finding.remedy


def test_a_given_map_is_enough() -> None:
    text = "\n".join(f"U{50 + bit} 8000-FFFF D{bit}" for bit in range(8))
    assert unit_of("8000 55 5D\n8001 55 5D\n8002 55 5D\n8003 55 5D", map_from_text(text)) == "part U53"


@pytest.mark.parametrize(
    "text", ["", "U50", "U50 8000 D0", "U50 9000-8000 D0", "U50 8000-8FFF D99", "U50 8000-8FFF Q0"]
)
def test_a_map_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(Refusal) as said:
        map_from_text(text)
    assert said.value.finding.code == "MEM-004"


# ---- what explains them ----
@pytest.mark.parametrize("bit", range(8))
@pytest.mark.parametrize("level", [0, 1])
def test_a_bit_that_is_stuck_everywhere_is_its_chip(demo: Bench, bit: int, level: int) -> None:
    words = []
    for k in range(20):
        wrote = 0x55 if k % 2 else 0xAA
        read = wrote | 1 << bit if level else wrote & ~(1 << bit)
        if read != wrote:
            words.append(f"{0x8000 + k:04X} {wrote:02X} {read:02X}")
    assert unit_of("\n".join(words[:10]), demo.map) == f"part U{50 + bit}"


@pytest.mark.parametrize("line", range(7))
def test_a_multiplexed_address_line_that_is_stuck_is_named(demo: Bench, line: int) -> None:
    """MATS+ upwards with RAk stuck: the first word that another address has overwritten is at 8000 + 2^k (worked by hand: all below have Ak = 0)."""
    words = [f"{0x8000 + a:04X} 00 FF" for a in range(1024) if a >> line & 1][:10]
    found = explain(read_errors("\n".join(words)), demo.map)
    assert found.suspects[0].unit == f"line RA{line}"
    assert f"R{line + 1}" in found.suspects[0].parts


def test_words_that_fail_after_waiting_alone_are_loss_of_the_chip(demo: Bench) -> None:
    """Data sheets of the 4164 (from memory): cells are held 2 ms without refresh; a word that is right at once and wrong after 2 s was lost."""
    words = [f"{0x9000 + 0x137 * k:04X} FF FF 0.0001s" for k in range(6)]
    words += [f"{0x9000 + 0x137 * k:04X} FF EF 2s" for k in range(6)]
    found = explain(read_errors("\n".join(words)), demo.map)
    assert found.suspects[0].unit == "part U54" and "forget" in found.suspects[0].mode


def test_all_bits_that_fade_are_the_refresh(demo: Bench) -> None:
    rng = np.random.default_rng(5)
    words = [
        f"{0x8000 + int(a):04X} FF {0xFF & ~(1 << int(b)):02X} 2s"
        for a, b in zip(rng.integers(0, 0x7FFF, 24), rng.integers(0, 8, 24), strict=True)
    ]
    assert unit_of("\n".join(words), demo.map) == "refresh"


def test_nothing_wrong_no_memory_there_and_too_wide_are_refused(demo: Bench) -> None:
    for text, code in (("8000 55 55", "MEM-005"), ("8000 155 154", "MEM-006")):
        with pytest.raises(Refusal) as said:
            explain(read_errors(text), demo.map)
        assert said.value.finding.code == code
    with pytest.raises(Refusal) as said:
        explain(read_errors("9000 00 01"), map_from_text("U50 8000-8FFF D0-D7"))
    assert said.value.finding.code == "MEM-006"


@pytest.mark.parametrize("kind", ["stuck cell", "decoder B", "decoder D", "transition", "inversion coupling"])
def test_the_simulated_march_finds_what_it_is_proven_to_find(demo: Bench, kind: str) -> None:
    """Van de Goor 1993 (from memory): MATS+ detects all stuck-at and address decoder faults, March C- unlinked transition and coupling faults as well."""
    test = "MATS+" if kind in ("stuck cell", "decoder B", "decoder D") else "March C-"
    for seed in range(12):
        memory = Memory(demo, np.random.default_rng([1, seed]), kind)
        assert run_test(memory, test, 10, 0), (kind, seed)


def test_the_bad_unit_is_named_from_ten_words() -> None:
    """A slice of ``python -m benchmarks memory``: of 12 patients on four boards at least 11 are named (the whole run's share is in docs/how-to)."""
    benches = tuple(make() for make in BOARDS)
    rows = [patient(benches, seed, 10, said=True) for seed in range(1001, 1013)]
    assert sum(row["named"] for row in rows) >= 11, [row for row in rows if not row["named"]]


def test_the_assumptions_are_those_of_the_reference() -> None:
    """docs/reference/constants.md says every number that the answers rest on."""
    page = (Path(__file__).parents[2] / "docs" / "reference" / "constants.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([A-Z_]+)(?: (\w+))?` \| ([0-9.]+) \|", page.split("## Memory tests")[1], re.MULTILINE)
    assert len(rows) == 21
    for name, of, value in rows:
        found = (
            units.PRIOR[of]
            if of
            else next((getattr(m, name) for m in (explaining, units, worlds, faults) if hasattr(m, name)), None)
        )
        assert found == float(value), (name, of)
