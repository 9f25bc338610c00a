"""ROM read-outs: checksums by their standards' vectors, and every way of reading wrong that is looked for, made by hand and found again."""

from __future__ import annotations

import hashlib
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.core.findings import Refusal
from coppermend.core.rom.bits import confined, single_flip, weak_bits
from coppermend.core.rom.check import RomChecked, check_rom
from coppermend.core.rom.lists import Listed, read_list, sums_of

GOOD = np.random.default_rng(2764).integers(0, 256, 8192, dtype=np.uint8).tobytes()
ROWS = read_list(f"U5 basic.bin 8192 {zlib.crc32(GOOD):08X} {hashlib.sha1(GOOD).hexdigest()}\n")[0]


def judged(data: bytes, rows: tuple[Listed, ...] = ROWS, socket: str = "U5") -> RomChecked:
    return check_rom([data], rows, socket)


def lines(data: bytes) -> np.ndarray:
    return np.frombuffer(data, np.uint8)


# ---- checksums and lists ----
def test_checksums_are_those_of_their_standards() -> None:
    """CRC-32 of "123456789" is CBF43926 (the check value of ISO 3309's CRC); SHA-1 and SHA-256 of "abc" from FIPS 180-4's examples."""
    assert sums_of(b"123456789").crc32 == "cbf43926"
    assert sums_of(b"abc").sha1 == "a9993e364706816aba3e25717850c26c9cd0d89d"
    assert sums_of(b"abc").sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.mark.parametrize(
    "line",
    ["CBF43926 test.bin", "test.bin cbf43926", "U7,test.bin,9,0xCBF43926", "name=test.bin;crc32=cbf43926", f"{hashlib.sha256(b'123456789').hexdigest()}  test.bin",
     f"{hashlib.sha1(b'123456789').hexdigest()} *test.bin"],
)  # fmt: skip
def test_lists_of_every_shape(line: str) -> None:
    rows, notes = read_list(line)
    assert not notes and rows[0].name == "test.bin"
    assert check_rom([b"123456789"], rows).verdict == "right"


def test_lines_without_a_checksum_are_said_and_a_list_without_any_is_refused() -> None:
    rows, notes = read_list("name,size,crc\nbasic.bin cbf43926\nmonitor.bin 1234\n", "list.csv")
    assert len(rows) == 1 and [(one.code, one.place.line) for one in notes] == [("ROM-001", 3)]
    with pytest.raises(Refusal) as said:
        read_list("nothing")
    assert said.value.finding.code == "ROM-002"


def test_a_row_whose_checksums_contradict_each_other_is_said_and_speaks_against_no_rom() -> None:
    """The CRC agrees and the SHA-1 does not: not that ROM, nor another; one of both was written down wrong."""
    rows, _ = read_list(f"U5 basic.bin {zlib.crc32(GOOD):08x} {'0' * 40}")
    found = judged(GOOD, rows)
    assert found.verdict == "list contradicts" and "CRC-32 is this read-out's, its SHA-1 is not" in found.words
    assert [(one.code, one.place.line) for one in found.findings] == [("ROM-009", 1)]


def test_two_contents_for_one_socket_are_said() -> None:
    rows, _ = read_list(f"U5 basic.bin {zlib.crc32(GOOD):08x}\nU5 basic.bin {zlib.crc32(GOOD) ^ 1:08x}")
    found = judged(GOOD, rows)
    assert found.verdict == "right" and "lines 1 and 2" in found.findings[0].words


def test_a_row_of_another_socket_is_no_match_for_this_one() -> None:
    """The list's only row names U4; the ROM was read from U5, for which it has none."""
    rows, _ = read_list(f"U4 monitor.bin 8192 {zlib.crc32(GOOD):08x}")
    found = judged(GOOD, rows)
    assert found.verdict == "wrong socket" and "U4, not for U5" in found.words
    assert judged(GOOD, rows, "").verdict == "right" and judged(GOOD, rows, "U4").verdict == "right"


def test_without_anything_to_compare_with_nothing_is_called_bad() -> None:
    """A character ROM of five columns: D5 to D7 are never set, and it is sound."""
    font = (np.random.default_rng(5).integers(0, 32, 2048)).astype(np.uint8).tobytes()
    found = check_rom([font])
    assert found.verdict == "no list" and "D5 is 0 at every address" in found.words and "font" in found.words
    assert check_rom([font], read_list("U29 1234abcd")[0], "U29").verdict == "stuck"


@pytest.mark.parametrize(("a", "b"), [(0, 1), (4, 5), (3, 12), (0, 12)])
@pytest.mark.parametrize("high", [False, True])
def test_two_address_lines_that_touch_are_named(a: int, b: int, high: bool) -> None:
    """By definition of a bridge: where the two differ, both are low (or both high)."""
    place = np.arange(8192)
    one, other = place >> a & 1, place >> b & 1
    both = one | other if high else one & other
    met = (place & ~(1 << a | 1 << b)) | both << a | both << b
    found = judged(lines(GOOD)[met].tobytes())
    assert (found.verdict, found.lines) == ("repeated", (f"A{a}", f"A{b}"))


def test_one_bit_against_a_good_read_out_is_a_single_bit() -> None:
    bad = bytearray(GOOD)
    bad[0x123] ^= 0x10
    found = check_rom([bytes(bad)], (), "", 0, GOOD)
    assert found.verdict == "single bit" and "D4 at 0123" in found.words and found.lines == ("D4",)


# ---- a read-out as a whole ----
def test_right_and_wrong_socket() -> None:
    assert judged(GOOD).verdict == "right"
    rows, _ = read_list(f"U4 monitor.bin {sums_of(GOOD).crc32}\nU5 basic.bin {'1' * 8}")
    found = judged(GOOD, rows)
    assert found.verdict == "wrong socket" and "U4" in found.words


def test_every_reordering_is_found_with_its_lines() -> None:
    raw, place = lines(GOOD), np.arange(8192)
    half = GOOD[4096:] + GOOD[:4096]
    pairs = raw.reshape(-1, 2)[:, ::-1].tobytes()
    d = raw.copy()
    d = (d & ~np.uint8(0x22)) | ((raw >> 4) & 2) | ((raw << 4) & 0x20)
    swap = (place & ~0x88) | ((place >> 4) & 8) | ((place << 4) & 0x80)
    expected = {
        "halves swapped": (half, ("A12",)),
        "bytes swapped": (pairs, ("A0",)),
        "half": (GOOD + GOOD, ()),
        "padded": (GOOD + b"\xff" * 100, ()),
        "inverted": ((~raw).tobytes(), ()),
        "data lines exchanged": (d.astype(np.uint8).tobytes(), ("D1", "D5")),
        "address lines exchanged": (raw[swap].tobytes(), ("A3", "A7")),
        "address line turned over": (raw[place ^ 0x20].tobytes(), ("A5",)),
    }
    for kind, (data, named) in expected.items():
        found = judged(data)
        assert (found.verdict, found.signs[0].kind, found.signs[0].lines) == ("reordered", kind, named), kind


def test_an_address_line_that_does_nothing_is_named() -> None:
    raw, place = lines(GOOD), np.arange(8192)
    for line in range(13):
        found = judged(raw[place & ~(1 << line)].tobytes())
        assert found.verdict == "repeated" and found.lines == (f"A{line}",)


def test_data_lines_that_stand_still_or_touch_are_named() -> None:
    raw = lines(GOOD)
    found = judged((raw | 0x08).tobytes())
    assert found.verdict == "stuck" and found.lines == ("D3",)
    both = (raw >> 2) & (raw >> 6) & 1
    found = judged(((raw & ~np.uint8(0x44)) | both << 2 | both << 6).astype(np.uint8).tobytes())
    assert found.verdict == "stuck" and found.lines == ("D2", "D6")


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 1023), st.integers(0, 7), st.binary(min_size=1024, max_size=1024))
def test_one_wrong_bit_is_found_by_the_checksum(address: int, bit: int, good: bytes) -> None:
    """Two messages that differ in one bit have the CRC difference of that bit alone (linearity; Peterson and Brown 1961)."""
    bad = bytearray(good)
    bad[address] ^= 1 << bit
    assert (address, bit) in single_flip(bytes(bad), f"{zlib.crc32(good):08x}")


def test_a_single_wrong_bit_is_said_with_its_level() -> None:
    bad = bytearray(GOOD)
    bad[0x123] |= 0x10
    if bytes(bad) == GOOD:
        bad[0x123] &= ~0x10
    found = judged(bytes(bad))
    assert found.verdict == "single bit" and "D4 at 0123" in found.words and found.lines == ("D4",)


def test_many_wavering_bits_of_one_line_are_tried_all_high_and_all_low() -> None:
    """Forty places of D6 that read 1 in one reading or the other: no majority and no short list of choices has the content, all of them low has (its CRC-32
    and SHA are zlib's and hashlib's own). Where nothing fits it still wavers: that is no word against the content."""
    zeros = [k for k, one in enumerate(GOOD) if not one & 0x40][:40]
    readings = [bytearray(GOOD), bytearray(GOOD)]
    for n, k in enumerate(zeros):
        readings[n % 2][k] |= 0x40
    found = check_rom([bytes(one) for one in readings], ROWS, "U5")
    assert found.verdict == "weak" and found.row == ROWS[0] and any("D6 as 0" in one.words for one in found.signs)
    readings[0][zeros[0] + 1] ^= 0x81
    readings[1][zeros[0] + 1] ^= 0x81
    other = check_rom([bytes(one) for one in readings], ROWS, "U5")
    assert other.verdict == "weak" and "no choice" in other.words


def test_several_readings_show_weak_bits_and_the_right_choice() -> None:
    one, two = bytearray(GOOD), bytearray(GOOD)
    one[0x40] ^= 2
    two[0x41] ^= 4
    found = check_rom([bytes(one), bytes(two)], ROWS, "U5")
    assert found.verdict == "weak" and found.row == ROWS[0]
    assert [(w.address, w.bit) for w in found.weak] == [(0x40, 1), (0x41, 2)]
    assert check_rom([GOOD, GOOD, bytes(one)], ROWS, "U5").verdict == "weak"


def test_bits_that_waver_on_one_line_name_it() -> None:
    rng = np.random.default_rng(1)
    readings = [
        (lines(GOOD) ^ (rng.random(8192) < 0.01).astype(np.uint8) * 0x20).astype(np.uint8).tobytes() for _ in range(3)
    ]
    found = check_rom(readings, ROWS, "U5")
    assert {one.bit for one in weak_bits(readings)} == {5} and "D5" in found.lines


def test_against_a_good_read_out() -> None:
    raw = lines(GOOD)
    place = np.arange(8192)
    bad = np.where(place & 0x400, raw | 0x40, raw).astype(np.uint8).tobytes()
    found = check_rom([bad], (), "", 0, GOOD)
    said = next(one for one in found.signs if one.kind == "differs")
    assert (
        found.verdict == "wrong"
        and "all read 1 for 0" in said.words
        and "A10=1" in said.words
        and said.lines == ("D6",)
    )
    assert check_rom([GOOD], (), "", 0, GOOD).verdict == "right"


def test_common_address_lines_of_few_places() -> None:
    assert confined([0x10, 0x11, 0x1F], 5) == ((4, 1),)


# ---- bad input ----
def test_sizes_that_do_not_fit_are_said_or_refused() -> None:
    for readings, code in (([b""], "ROM-003"), ([b"a", b"ab"], "ROM-004"), ([b"\0" * (1 << 21)], "ROM-003")):
        with pytest.raises(Refusal) as said:
            check_rom(readings)
        assert said.value.finding.code == code
    found = check_rom([GOOD[:5000]], ROWS, "U5", 8192)
    assert [one.code for one in found.findings] == ["ROM-005"] * 3
    assert check_rom([b"\xff" * 2048]).verdict == "empty"
    assert (
        check_rom([GOOD]).verdict == "no list"
        and check_rom([GOOD], read_list("x.bin 12345678")[0]).verdict == "not listed"
    )
