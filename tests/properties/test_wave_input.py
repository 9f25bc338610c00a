"""Whatever bytes come in as a wave, the answer is a record that can be measured, or a refusal in words; bounded in time."""

from __future__ import annotations

from time import process_time

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coppermend.core.findings import Refusal
from coppermend.core.signals.levels import state_levels
from coppermend.core.signals.measure import measure
from coppermend.core.signals.model import VERDICTS, Expected, Thresholds
from coppermend.core.signals.wave import Wave
from coppermend.formats.waves import read_waves
from coppermend.formats.waves.rows import quick_rows

TABLE = b"Time (s),CH1 (V),D0\n" + b"".join(
    b"%.3e,%.2f,%d\n" % (k * 1e-6, 3.4 * (k // 7 % 2), k // 7 % 2) for k in range(60)
)
DUMP = (
    b'$timescale 1ns $end $scope module a $end $var wire 1 ! c $end $var wire 4 " b [3:0] $end $upscope $end $enddefinitions $end\n#0 0! bx "\n'
    + b"".join(b'#%d %d! b%d "\n' % (k * 5, k % 2, k % 2) for k in range(1, 60))
)
SEEDS = (TABLE, DUMP, TABLE.replace(b",", b";").replace(b".", b","))
TTL = Thresholds("TTL", 0.8, 2.0)


def looked_at(data: bytes) -> None:
    begin = process_time()
    try:
        capture = read_waves(data, "w")
        for one in capture.channels[:3]:
            features = measure(one, Expected(1e6, 100), TTL)
            assert features.verdict in VERDICTS and features.words
            features.as_dict()
    except Refusal as err:
        assert err.finding.code[:3] in ("WAV", "SIG") and err.finding.words and err.finding.remedy
    assert process_time() - begin < 5.0


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.binary(max_size=400) | st.text(alphabet="0123456789.,;eE+-\n \t$#!x", max_size=400).map(str.encode))
def test_any_bytes(data: bytes) -> None:
    looked_at(data)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.sampled_from(SEEDS),
    st.lists(
        st.tuples(st.integers(0, 4000), st.integers(0, 3), st.binary(min_size=1, max_size=6)), min_size=1, max_size=6
    ),
)
def test_mutated_records(seed: bytes, edits: list[tuple[int, int, bytes]]) -> None:
    data = bytearray(seed)
    for at, how, what in edits:
        k = at % max(1, len(data))
        if how == 0:
            data[k : k + len(what)] = what
        elif how == 1:
            data[k:k] = what
        elif how == 2:
            del data[k : k + 40 * len(what)]
        else:
            data[k:k] = data[k : k + 200] * 2
    looked_at(bytes(data))


LONG = b"".join(b"%.4e,%.2f,%d\r\n" % (k * 1e-6 - 5e-4, 3.4 * (k // 7 % 2) - 0.3, k) for k in range(1200))


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(LONG) - 1), st.sampled_from(b"0123456789.,-+eE \r\nx;")), max_size=3))
def test_the_quick_reader_reads_right_or_not_at_all(edits: list[tuple[int, int]]) -> None:
    """A few bytes changed anywhere: every number is the one that Python reads from its cell, or the quick reader declines."""
    data = bytearray(LONG)
    for at, byte in edits:
        data[at] = byte
    found = quick_rows(bytes(data), ",", False, (0, 1, 2))
    if found is None:
        return
    cells = [row.strip().split(",") for row in bytes(data).decode().strip().split("\n")]
    assert found.tolist() == [[float(cell) for cell in row] for row in cells]


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.floats(-1e3, 1e3, allow_nan=False), min_size=2, max_size=200),
    st.floats(-50, 50),
    st.floats(0.1, 100),
)
def test_levels_follow_shift_and_scale(values: list[float], shift: float, scale: float) -> None:
    """The state levels lie within the range and in order; shifted and scaled waves have shifted and scaled levels (within a bin of the histogram)."""
    v = np.array(values)
    one = state_levels(v)
    assert one.least <= one.low <= one.high <= one.most
    if one.steady or v.max() - v.min() < 1.0:
        return
    two = state_levels(v * scale + shift)
    bin_v = (v.max() - v.min()) * scale / 20
    if not two.steady:
        assert abs(two.low - (one.low * scale + shift)) <= 10 * bin_v and two.least <= two.low <= two.high <= two.most


@settings(max_examples=100, deadline=None)
@given(st.integers(3, 40), st.integers(20, 200), st.floats(0.2, 0.8), st.floats(0.5, 5.0))
def test_a_turned_wave_is_the_same_wave(periods: int, length: int, duty: float, high: float) -> None:
    """Seen backwards, a wave has the same levels, period and number of edges, and rise and fall change places."""
    width = max(2, min(length - 2, round(duty * length)))
    v = np.tile(np.r_[np.zeros(length - width), np.full(width, high)], periods)
    a, b = (measure(Wave("a", "V", one, 0.0, 1e-6)) for one in (v, v[::-1].copy()))
    assert a.edges == b.edges and a.low_v == b.low_v and a.high_v == b.high_v
    assert a.period_s is not None and b.period_s is not None and abs(a.period_s - b.period_s) < 1e-9 * a.period_s
    assert abs(a.period_s - length * 1e-6) < 1e-9
