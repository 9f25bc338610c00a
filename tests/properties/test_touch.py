"""From a stream of ohms to one reading per touch, and the SCPI answers that the stream is made of: whatever comes."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyvisa.util import from_ieee_block

from coppermend.core.findings import Refusal
from coppermend.core.signals.leads import without_leads, zero_of
from coppermend.core.signals.touch import RULES, Settled, TouchState, feel
from coppermend.formats.scpi import error_of, identity_of, number_of, step_of_answer, volts_of

OHMS = st.floats(0.0, 1e6)
ANY = st.one_of(st.none(), st.floats(0.0, 1e9))


def run(samples: list[tuple[float, float | None]]) -> list[Settled]:
    state, out = TouchState(), []
    for t, ohm in samples:
        state, done = feel(state, t, ohm)
        out += [done] if done else []
    return out


@given(
    st.lists(st.tuples(OHMS, st.integers(7, 40), st.floats(-0.004, 0.004)), max_size=6),
    st.sampled_from([0.02, 0.05, 0.1]),
)
def test_every_touch_that_is_held_gives_its_reading_once(
    touches: list[tuple[float, int, float]], step_s: float
) -> None:
    air = math.ceil(RULES.lift_s / step_s) + 2
    held = math.ceil(RULES.settle_s / step_s) + 2
    stream: list[float | None] = [None] * air
    for ohm, extra, wobble in touches:
        stream += [ohm * (1 + wobble * (k % 2)) for k in range(held + extra)] + [None] * air
    found = run([(k * step_s, ohm) for k, ohm in enumerate(stream)])
    assert [one.ohm for one in found] == [pytest.approx(ohm, rel=0.005, abs=0.02) for ohm, _, _ in touches]


@given(st.lists(st.tuples(st.floats(0.001, 0.5), ANY), max_size=120))
def test_never_more_readings_than_touches_and_never_one_from_overload(steps: list[tuple[float, float | None]]) -> None:
    t, stream = 0.0, []
    for dt, ohm in steps:
        t += dt
        stream.append((t, ohm))
    found = run(stream)
    values = [ohm is not None and ohm < RULES.apart_ohm for _, ohm in stream]
    landings = sum(1 for before, now in zip([False, *values], values, strict=False) if now and not before)
    assert len(found) <= landings
    for one in found:
        assert one.ohm < RULES.apart_ohm and one.samples >= RULES.samples
        assert one.spread_ohm <= max(RULES.relative * (one.ohm + one.spread_ohm), RULES.absolute_ohm) + 1e-9


@given(st.floats(0.01, 100.0), st.integers(1, 5))
def test_a_gap_shorter_than_a_lift_is_the_same_touch(ohm: float, gap: int) -> None:
    step_s = 0.04
    assert (gap + 1) * step_s <= RULES.lift_s
    stream = [None] * 10 + [ohm] * 10 + [None] * gap + [ohm] * 10
    assert len(run([(k * step_s, one) for k, one in enumerate(stream)])) == 1


@given(st.floats(0.1, 100.0), st.floats(-1e5, 1e5))
def test_the_clocks_zero_does_not_matter(ohm: float, shift_s: float) -> None:
    stream = [None] * 10 + [ohm] * 10
    plain = run([(k * 0.0625, one) for k, one in enumerate(stream)])
    moved = run([(math.floor(shift_s) + k * 0.0625, one) for k, one in enumerate(stream)])
    assert [one.ohm for one in plain] == [one.ohm for one in moved] and len(plain) == 1


def test_tips_that_lie_on_the_board_from_the_start_answer_nothing() -> None:
    assert run([(k * 0.1, 0.3) for k in range(50)]) == []


def test_a_capacitor_that_charges_never_settles_while_it_rises() -> None:
    """R(t) shown while charging rises; 5 % a reading here."""
    stream: list[float | None] = [None] * 6 + [100.0 * 1.05**k for k in range(60)]
    assert run([(k * 0.1, one) for k, one in enumerate(stream)]) == []


@given(st.lists(st.floats(0.05, 0.5), min_size=1, max_size=9), OHMS)
def test_leads_are_taken_off_exactly_once(zeros: list[float], ohm: float) -> None:
    try:
        zero = zero_of(list(zeros))
    except Refusal as err:
        assert err.finding.code == "INS-011"
        assert len(zeros) < 3 or max(zeros) - min(zeros) > 0.05
        return
    assert min(zeros) - 1e-6 <= zero.ohm <= max(zeros) + 1e-6
    found = without_leads(ohm + zero.ohm, zero)
    assert found == pytest.approx(ohm, abs=1e-6)


@given(st.text(max_size=80))
def test_whatever_an_instrument_says_is_a_value_or_a_refusal(text: str) -> None:
    for read in (number_of, identity_of, error_of, volts_of, step_of_answer):
        try:
            read(text)
        except Refusal as err:
            assert err.finding.code == "INS-007" and err.finding.remedy


@given(st.floats(-1e12, 1e12), st.sampled_from(["{:+.8E}", "{:.6f}", "{:+.3e}"]))
def test_numbers_in_the_three_forms_of_the_standard(value: float, form: str) -> None:
    """IEEE 488.2, 8.7.2 to 8.7.4: NR1, NR2, NR3; Python's own reading of the same text is the reference."""
    text = form.format(value)
    assert number_of(text) == float(text)


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=50))
def test_a_block_header_is_read_as_pyvisa_reads_it(volts: list[float]) -> None:
    body = ",".join(f"{v:.6E}" for v in volts)
    block = f"#{len(str(len(body)))}{len(body)}{body}"
    theirs = bytes(from_ieee_block(block.encode(), datatype="B", container=bytes)).decode()
    assert volts_of(block) == volts_of(theirs) == tuple(float(f"{v:.6E}") for v in volts)
