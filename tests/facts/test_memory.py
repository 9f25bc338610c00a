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


# ---- two bad chips, multiplexers, fills without a rule ----
def log_of(words: list[tuple[int, int, int]], head: str = "range 8000-FFFF\n") -> str:
    return head + "".join(f"{a:04X} {wrote:02X} {read:02X}\n" for a, wrote, read in words)


@pytest.mark.parametrize("both", [False, True])
def test_two_bad_chips_are_both_named(demo: Bench, both: bool) -> None:
    """Bad cells scattered over U54 and U56 (bits 4 and 6, the generator's wiring): neither chip alone can make the other's words."""
    rng = np.random.default_rng(56)
    reads = (0xEF, 0xBF, 0xAF) if both else (0xEF, 0xBF)
    words = [(0x8000 + int(a), 0xFF, reads[k % len(reads)]) for k, a in enumerate(rng.integers(0, 0x7000, 10))]
    first = explain(read_errors(log_of(words)), demo.map).suspects[0]
    assert (first.unit, first.kind, first.parts) == ("parts U54 and U56", "chips", ("U54", "U56")) and first.p > (
        0.7 if both else 0.95
    )


@pytest.mark.parametrize("handed", [0, 8])
def test_the_net_that_switches_the_multiplexers_is_a_line(demo: Bench, handed: int) -> None:
    """MUX held: rows and columns both get A0-A7 (or A8-A15), so addresses with the same such byte are one cell. MATS+ upwards: the first word that
    another has overwritten is at 8100, at 8001 where the high byte is handed on (worked by hand). Driven by U14.5 to U12.1 and U13.1 (its generator)."""
    start = 0x8001 if handed else 0x8100
    found = explain(read_errors(log_of([(start + k, 0x00, 0xFF) for k in range(10)])), demo.map)
    line = next(one for one in found.suspects if one.unit == "line MUX")
    assert "line MUX" in found.named and line.pins == ("U14.5", "U12.1", "U13.1")
    fill = [(a, (a ^ a >> 8) & 0xFF, 0) for a in range(0x8000, 0x800B)]
    last = [(a & 0xFF) | 0xFF00 if not handed else (a & 0xFF00) | 0xFF for a, _, _ in fill]
    read = [(a, wrote, (end ^ end >> 8) & 0xFF) for (a, wrote, _), end in zip(fill, last, strict=True)]
    assert unit_of(log_of([one for one in read if one[1] != one[2]]), demo.map) == "line MUX"


@pytest.mark.parametrize(("one", "other"), [(2, 3), (0, 3), (1, 2)])
def test_bridged_multiplexed_lines_are_told_from_never_written_after_a_fill_without_a_known_rule(
    demo: Bench, one: int, other: int
) -> None:
    """RAx and RAy wired-and in row and column; every address is filled with a word of its own, then read: by definition it reads the last one written
    to its cell. Words that read right eight times over are none of a memory that is never written (chance 256^-8)."""

    def cell(a: int) -> int:
        for x, y in ((one, other), (one + 8, other + 8)):
            both = a >> x & a >> y & 1
            a = (a & ~(1 << x | 1 << y)) | both << x | both << y
        return a

    def word(a: int) -> int:
        return (a * 167 + (a >> 3) * 29 + 13) & 0xFF

    cells = {cell(a): word(a) for a in range(0x8000, 0x10000)}
    words = [(a, word(a), cells[cell(a)]) for a in range(0x8000, 0x8100) if word(a) != cells[cell(a)]][:10]
    found = explain(read_errors(log_of(words)), demo.map)
    assert found.suspects[0].unit in (f"lines RA{one} and RA{other}", f"lines RA{other} and RA{one}")
    assert all("never written" not in row.mode for row in found.suspects if row.p > 0.001)


def test_a_select_that_never_comes_is_named_from_a_test_that_reads_several_times_a_place(demo: Bench) -> None:
    """March B reads three times at an address before it goes on (van de Goor 1993, from memory); memory that is never selected reads anything."""
    rng = np.random.default_rng(122)
    words = [(0x8000 + k // 3, 0xFF if k % 3 == 1 else 0x00, int(rng.integers(1, 255))) for k in range(10)]
    assert set(explain(read_errors(log_of(words)), demo.map).named) == {"line /DWE", "line /DRAS", "line /DCAS"}


def test_two_bits_that_come_back_in_each_others_place_are_no_refresh(demo: Bench) -> None:
    """D2 and D5 of every word read exchanged (by definition); a missing refresh spares no six of eight chips and goes one way."""
    wrote = (0x04, 0x20, 0x24, 0x0F, 0xF0, 0x84, 0x60, 0x55, 0xAA, 0x21)
    words = [(0x8000 + k, w, (w & ~0x24) | (w >> 3 & 4) | (w << 3 & 0x20)) for k, w in enumerate(wrote)]
    found = explain(read_errors(log_of(words)), demo.map)
    assert found.suspects[0].unit == "lines D2 and D5" and all(one.unit != "refresh" for one in found.suspects)


def test_what_a_fill_without_any_rule_cannot_part_is_named_together(demo: Bench) -> None:
    """Ten words in a row read ten other words: no memory that is never written, no stuck RA4-RA7, and no multiplexer that is not switched makes anything
    else of them (each reads a word that nobody can know)."""
    rng = np.random.default_rng(3093)
    words = [(0x8000 + k, int(w), int(r)) for k, (w, r) in enumerate(rng.integers(0, 256, (10, 2)))]
    named = set(explain(read_errors(log_of(words)), demo.map).named)
    assert named >= {"line MUX", "line /DWE", "line /DRAS", "line /DCAS", "line RA4", "line RA7"}


# ---- words that cannot be, ranges that contradict, pictures ----
def test_a_word_too_wide_or_beyond_the_bus_is_left_out_by_its_line(demo: Bench) -> None:
    text = "range 8000-FFFF\n8000 55 45\n8001 55 45\n8002 55 454\n18003 55 45\n8004 55 45\n8005 55 45\n"
    found = explain(read_errors(text), demo.map)
    assert (found.suspects[0].unit, found.words) == ("part U54", 4)
    assert [(one.code, one.place.line) for one in found.findings] == [("MEM-001", 4), ("MEM-001", 5)]
    assert (
        "wider than the 8 data bits" in found.findings[0].words
        and "beyond the processor's FFFF" in found.findings[1].words
    )


def test_addresses_that_are_all_beyond_the_bus_are_refused(demo: Bench) -> None:
    """32768 is 8000 in hexadecimal; read as hexadecimal it has 19 bits, the Z80 has 16 address lines (its data sheet)."""
    with pytest.raises(Refusal) as said:
        explain(read_errors("32768 85 84\n32769 85 84"), demo.map)
    assert said.value.finding.code == "MEM-006" and "32768 is 8000" in said.value.finding.remedy


def test_errors_outside_the_range_that_the_log_states_are_said(demo: Bench) -> None:
    found = explain(read_errors("range 8000-8FFF\n9000 FF EF\n9001 FF EF\n"), demo.map)
    (said,) = found.findings
    assert said.code == "MEM-008" and "9000 (line 2), 9001 (line 3)" in said.words and said.remedy
    assert explain(read_errors("range 8000-9FFF\n9000 FF EF\n9001 FF EF\n"), demo.map).findings == ()


def test_a_picture_weighs_only_what_it_is_fetched_from(demo: Bench) -> None:
    """The screen is fetched from U26 over VD0-7, latched by U28 and drawn by U29 (demo/circuit.py); the dynamic memories at the same addresses are not."""
    assert [one.ref for one in demo.map.chips if one.shown] == ["U26"]
    found = explain(
        read_errors("screen 2000 80\npicture 0,0 A E\npicture 5,0 H L\npicture 9,2 @ D\npicture 1,3 C G"), demo.map
    )
    assert found.named == ("line VD2", "part U26")
    assert not any(part.startswith("U5") for one in found.suspects for part in one.parts)


def test_a_picture_says_nothing_of_characters_that_nobody_wrote_down(demo: Bench) -> None:
    """L, H, O lose bit 3 (ASCII: 4C, 48, 4F to 44, 40, 47). An A that reads right (41, bit 3 is 0 as it is) between them, or characters further on, change nothing:
    a picture is looked at here and there, it is no test that ran from one word to the next."""
    lines = ["screen 2000 80", "picture 3,0 L D", "picture 4,0 H @", "picture 7,1 O G"]
    for more in ([], ["picture 5,0 A A"], ["picture 9,2 M E", "picture 10,12 N F"]):
        found = explain(read_errors("\n".join([*lines, *more])), demo.map)
        assert found.named == ("line VD3", "part U26"), more
        assert not any("read right" in words for one in found.suspects for words in one.con)


def test_a_word_that_read_right_does_not_say_how_far_the_test_came(demo: Bench) -> None:
    """D3 of the screen's memory stuck low, the first ten errors of a fill by a rule; then, or before, a word that was looked up elsewhere and is right."""
    errors = [(a, w, w & ~8) for a in range(0x2000, 0x2100) if (w := (37 * a + 11) & 0xFF) & 8][:10]
    for rows in ([*errors, (0x2600, 0x41, 0x41)], [(0x2600, 0x41, 0x41), *errors]):
        found = explain(read_errors(log_of(rows, "range 2000-27FF\n")), demo.map)
        assert found.named[0] == "line VD3" and "part U26" in found.named


def test_a_memory_under_a_smaller_one_is_hardly_the_one_that_was_tested(demo: Bench) -> None:
    found = explain(read_errors(log_of([(0x2000 + k, 0x00, 0x04) for k in range(10)], "range 2000-27FF\n")), demo.map)
    of = {one.unit: one.p for one in found.suspects}
    assert of["line VD2"] + of["part U26"] > 0.9 and of["part U26"] > 3 * of["part U52"]


def test_the_assumptions_are_those_of_the_reference() -> None:
    """docs/reference/constants.md says every number that the answers rest on."""
    page = (Path(__file__).parents[2] / "docs" / "reference" / "constants.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([A-Z_]+)(?: (\w+))?` \| ([0-9.]+) \|", page.split("## Memory tests")[1], re.MULTILINE)
    assert len(rows) == 28
    for name, of, value in rows:
        found = (
            units.PRIOR[of]
            if of
            else next((getattr(m, name) for m in (explaining, units, worlds, faults) if hasattr(m, name)), None)
        )
        assert found == float(value), (name, of)
