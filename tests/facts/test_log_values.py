"""Typed values. The letter-for-point marking is that of IEC 60062; everything else is how meters and people write, common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.core.findings import Refusal
from coppermend.core.log.values import ampere_words, is_value, ohm_words, parse_value, volt_words


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("4k7", "ohm", 4700.0),  # IEC 60062: 4K7 = 4.7 kilohm
        ("R33", "ohm", None),  # IEC 60062 allows a leading letter; not taken: see the next test
        ("2R2", "ohm", 2.2),
        ("1M5", "ohm", 1.5e6),
        ("4.7k", "ohm", 4700.0),
        ("4,7 kΩ", "ohm", 4700.0),
        ("0.3 ohm", "ohm", 0.3),
        (".5", "ohm", 0.5),
        ("330", "ohm", 330.0),
        ("12 mΩ", "ohm", 0.012),
        ("1.2M", "ohm", 1.2e6),
        ("5.02V", "volt", 5.02),
        ("-12,1 v", "volt", -12.1),
        ("450 mV", "volt", 0.45),
        ("350mA", "ampere", 0.35),
        ("0.8 A", "ampere", 0.8),
        ("41.5 °C", "celsius", 41.5),
        ("1e3", "ohm", 1000.0),
    ],
)
def test_values_are_read_with_their_unit(text: str, unit: str, value: float | None) -> None:
    if value is None:
        assert not is_value(text, unit)
    else:
        assert parse_value(text, unit) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize("text", ["OL", "ol", "O.L", "0.L", "inf", "∞"])
def test_overload_is_no_number(text: str) -> None:
    assert parse_value(text, "ohm") is None


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("", "ohm"),
        ("beep", "ohm"),
        ("5V", "ohm"),
        ("4.7.1", "ohm"),
        ("5 A", "volt"),
        ("1e999", "ohm"),
        ("٣", "volt"),
        ("1 k°C", "celsius"),
        ("nan", "ohm"),
    ],
)
def test_what_is_no_value_is_refused_in_words(text: str, unit: str) -> None:
    with pytest.raises(Refusal, match="VAL-001"):
        parse_value(text, unit)


@given(st.floats(1e-3, 9.99e6))
def test_words_read_back_to_three_figures(ohm: float) -> None:
    assert parse_value(ohm_words(ohm), "ohm") == pytest.approx(ohm, rel=6e-3)


def test_words_are_short() -> None:
    assert [ohm_words(0.0), ohm_words(0.0042), ohm_words(999.6), volt_words(-11.98), ampere_words(0.0000021)] == [
        "0 Ω",
        "4.2 mΩ",
        "1e+03 Ω",
        "-12 V",
        "2.1 µA",
    ]
