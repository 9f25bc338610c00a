"""Canonical JSON against RFC 8785: number samples of its appendix B, the sorting sample of section 3.2.3, the string sample of 3.2.2."""

from __future__ import annotations

import json
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.core.log.canonical import canonical_bytes, sha256_hex

# RFC 8785 appendix B: IEEE 754 bits, expected JSON
APPENDIX_B = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]


@pytest.mark.parametrize(("bits", "text"), APPENDIX_B)
def test_numbers_are_written_as_the_rfc_samples(bits: str, text: str) -> None:
    assert canonical_bytes(struct.unpack(">d", bytes.fromhex(bits))[0]).decode() == text


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_nan_and_infinity_are_refused(bits: str) -> None:
    with pytest.raises(ValueError, match="NaN"):
        canonical_bytes(struct.unpack(">d", bytes.fromhex(bits))[0])


def test_members_are_sorted_by_utf16_units_as_in_the_rfc() -> None:
    """RFC 8785 section 3.2.3: carriage return, 1, control 0080, o umlaut, euro, a smiley (surrogates), a Hebrew presentation form."""
    sample = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    expected = [sample[key] for key in ("\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33")]
    assert list(json.loads(canonical_bytes(sample)).values()) == expected


def test_strings_are_written_as_the_rfc_sample() -> None:
    """RFC 8785 section 3.2.2, sample object."""
    sample = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"\u002f",
        "literals": [None, True, False],
    }
    expected = '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    assert canonical_bytes(sample).decode() == expected  # type: ignore[arg-type]


def test_whole_numbers_beyond_2_53_are_refused() -> None:
    """RFC 7493 section 2.2: only integers within plus or minus (2**53)-1 are safe; 2**53 itself is still exact."""
    with pytest.raises(ValueError, match="2\\*\\*53"):
        canonical_bytes(2**53 + 1)


def test_sha256_is_the_standard_one() -> None:
    """FIPS 180-4 example: SHA-256 of "abc"."""
    assert sha256_hex(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


values = st.recursive(
    st.none()
    | st.booleans()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.integers(-(2**53), 2**53)
    | st.text(st.characters(codec="utf-8")),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(codec="utf-8"), max_size=5), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(values)
def test_every_json_reader_gets_the_value_back(value: object) -> None:
    once = canonical_bytes(value)  # type: ignore[arg-type]
    assert (
        json.loads(once, parse_int=lambda digits: int(digits) if abs(int(digits)) <= 2**53 else float(digits)) == value
    )
    assert canonical_bytes(json.loads(once)) == once
