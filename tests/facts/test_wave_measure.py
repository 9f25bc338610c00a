"""Pulse measurement against closed forms and an independent library (scipy.signal).

Sources: definitions of IEEE 181 as repeated in makers' texts (docs/sources.md); u(T) = s sqrt(12 / (N (N^2 - 1))), the variance of the slope of least
squares, 0.011634 for s = 0.3 and N = 20 (computed outside, checked there by simulation); second-order step response exp(-pi z / sqrt(1 - z^2)), control textbooks.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from coppermend.core.signals.edges import to_trace, wave_edges
from coppermend.core.signals.levels import state_levels
from coppermend.core.signals.measure import measure
from coppermend.core.signals.model import Expected, Thresholds
from coppermend.core.signals.period import fit_period, slope_uncertainty, typed_frequency, typed_period
from coppermend.core.signals.wave import Trace, Wave

TTL = Thresholds("TTL", 0.8, 2.0)
HC = Thresholds("HC", 1.35, 3.5)


def trapezoid(n: int = 100_000, low: float = 0.2, high: float = 3.6) -> np.ndarray:
    """Rise 50, top 400, fall 80, period 1000 samples."""
    return np.interp(np.arange(n) % 1000, [0, 50, 450, 530, 1000], [low, high, high, low, low])


def wave(values: np.ndarray, step_s: float = 1.0, name: str = "CH1") -> Wave:
    return Wave(name, "V", np.asarray(values, dtype=float), 0.0, step_s)


def test_trapezoid_by_closed_form() -> None:
    """10 to 90 % of a straight rise of 50 is 40, of a fall of 80 is 64; the width at 50 % is 400 + 25 + 40 = 465; duty 0.465; period 1000."""
    f = measure(wave(trapezoid()))
    assert (f.low_v, f.high_v) == pytest.approx((0.2, 3.6), abs=1e-12)
    assert f.rise_s == pytest.approx(40.0, rel=1e-6) and f.fall_s == pytest.approx(64.0, rel=1e-6)
    assert f.width_s == pytest.approx(465.0, rel=1e-6) and f.duty == pytest.approx(0.465, rel=1e-6)
    assert f.period_s == pytest.approx(1000.0, rel=1e-9) and f.frequency_hz == pytest.approx(1e-3, rel=1e-9)
    assert f.overshoot == pytest.approx(0.0, abs=1e-12) and f.edges == 200


def test_widths_agree_with_an_independent_library() -> None:
    """scipy.signal.peak_widths at half height on the same wave, with noise on both."""
    rng = np.random.default_rng(3)
    v = trapezoid(50_000) + rng.normal(0, 0.01, 50_000)
    smooth = signal.savgol_filter(v, 11, 1)
    peaks, _ = signal.find_peaks(smooth, height=3.0, distance=700, prominence=2.0)
    theirs = np.median(signal.peak_widths(smooth, peaks, rel_height=0.5)[0])
    f = measure(wave(v))
    assert f.width_s == pytest.approx(theirs, rel=2e-3)
    spectrum = np.abs(np.fft.rfft(v - v.mean()))
    assert f.frequency_hz == pytest.approx(np.argmax(spectrum) / v.size, rel=1e-3)


@pytest.mark.parametrize("noise", [0.0, 0.02, 0.1])
def test_levels_within_half_a_bin(noise: float) -> None:
    v = trapezoid() + np.random.default_rng(1).normal(0, noise, 100_000)
    levels = state_levels(v)
    bin_v = (v.max() - v.min()) / 100
    assert abs(levels.low - 0.2) <= max(bin_v / 2, 1e-9) and abs(levels.high - 3.6) <= max(bin_v / 2, 1e-9)
    assert levels.noise == pytest.approx(noise, rel=0.15, abs=1e-9)


@pytest.mark.parametrize("zeta", [0.15, 0.3, 0.5])
def test_overshoot_and_ringing_of_a_second_order_step(zeta: float) -> None:
    """The largest excursion is exp(-pi z / sqrt(1 - z^2)); the swings repeat with wn sqrt(1 - z^2) / 2 pi."""
    wn = 2 * math.pi * 20e6
    t = np.arange(0, 1e-6, 1e-10)
    _, step = signal.step(signal.lti([wn**2], [1, 2 * zeta * wn, wn**2]), T=t)
    v = np.concatenate([np.full(5000, 0.2), 0.2 + 3.4 * step, 0.2 + 3.4 * (1 - step)])
    f = measure(wave(v, 1e-10))
    truth = math.exp(-math.pi * zeta / math.sqrt(1 - zeta**2))
    assert f.overshoot == pytest.approx(truth, rel=0.01) and f.undershoot == pytest.approx(truth, rel=0.01)
    if zeta < 0.2:
        assert f.verdict == "ringing"
        assert f.ringing_hz == pytest.approx(wn * math.sqrt(1 - zeta**2) / (2 * math.pi), rel=0.05)
    if zeta == 0.5:
        assert f.verdict == "moving"


def test_period_uncertainty_by_the_formula_and_by_simulation() -> None:
    assert slope_uncertainty(0.3, 20) == pytest.approx(0.011634, abs=5e-7)
    assert slope_uncertainty(1.0, 2) == pytest.approx(math.sqrt(2.0))
    rng = np.random.default_rng(5)
    fits = [fit_period(np.arange(20) * 50.0 + rng.normal(0, 0.3, 20), 0.0) for _ in range(4000)]
    assert all(one is not None for one in fits)
    spread = float(np.std([one.period_s for one in fits if one is not None]))
    assert spread == pytest.approx(0.011634, rel=0.05)
    assert float(np.sqrt(np.mean([one.u_s**2 for one in fits if one is not None]))) == pytest.approx(0.011634, rel=0.05)


@pytest.mark.parametrize("samples_per_period", [10.37, 25.13, 101.7])
def test_stated_uncertainty_covers_the_error(samples_per_period: float) -> None:
    """Over random phases, steps unresolved: the error of the frequency lies within three of its stated uncertainties nearly always, and is not a tenth of it."""
    rng = np.random.default_rng(9)
    ratios = []
    for _ in range(200):
        k = np.arange(2500)
        v = np.where((k / samples_per_period + rng.random()) % 1 < 0.5, 3.6, 0.2)
        f = measure(wave(v, 1e-8))
        assert f.frequency_hz is not None and f.frequency_u_hz is not None
        ratios.append((f.frequency_hz - 1e8 / samples_per_period) / f.frequency_u_hz)
    size = np.abs(ratios)
    assert np.quantile(size, 0.99) < 3.0 and np.sqrt(np.mean(size**2)) > 0.05


def test_typed_figures_by_their_resolution() -> None:
    """A period read as 70 ns on a 2 ns grid is no proof against 14.318182 MHz (69.84 ns), nor for it; over 100 periods it is proof against 14.1 MHz.

    Two cursors of step d: u = d / sqrt(6) (two rectangular distributions, GUM; 0.4085 d by simulation outside).
    """
    coarse = typed_period(70e-9, 2e-9)
    assert coarse.says(14.318182e6, 100) == "right" and not coarse.proves(14.318182e6, 100)
    assert coarse.u_hz * coarse.period_s**2 == pytest.approx(0.4082 * 2e-9, rel=1e-3)
    assert coarse.says(16e6, 100) == "wrong frequency"
    fine = typed_period(6984e-9, 2e-9, 100)
    assert fine.says(14.1e6, 100) == "wrong frequency" and fine.says(14.318182e6, 100) == "right"
    counter = typed_frequency(3.579545e6, 1.0)
    assert counter.says(3579545.4545, 3) == "right" and counter.proves(
        3579545.4545, 3
    )  # NTSC colour subcarrier 315/88 MHz
    assert typed_frequency(4433619.0, 1.0).says(4433618.75, 0) == "right"  # PAL colour subcarrier


@pytest.mark.parametrize(
    ("values", "limits", "verdict"),
    [
        (np.full(1000, 0.15), TTL, "stuck low"),
        (np.full(1000, 4.9), TTL, "stuck high"),
        (np.full(1000, 1.5), TTL, "floating or contention"),
        (np.full(1000, 2.6), TTL, "stuck high"),
        (np.full(1000, 2.6), HC, "floating or contention"),
        (np.zeros(1000), None, "nothing"),
        (np.full(1000, 5.02), None, "stuck high"),
    ],
)
def test_still_lines(values: np.ndarray, limits: Thresholds | None, verdict: str) -> None:
    """TTL and HCT read below 0.8 V as low and above 2.0 V as high (TTL data books); HC at 5 V wants 3.5 V: the same 2.6 V is no level there."""
    noise = np.random.default_rng(2).normal(0, 0.01, values.size)
    assert measure(wave(values + noise, 1e-6), None, limits).verdict == verdict
    assert measure(wave(np.round((values + noise) / 0.04) * 0.04, 1e-6), None, limits).verdict == verdict


def test_contention_of_a_moving_line() -> None:
    """High that reaches 1.6 V only: two outputs against each other."""
    f = measure(wave(trapezoid(20_000, 0.2, 1.6), 1e-9), None, TTL)
    assert f.verdict == "floating or contention" and f.edges == 40
    assert measure(wave(trapezoid(20_000, 0.2, 2.9), 1e-9), None, TTL).verdict == "moving"


def test_frequency_right_and_wrong() -> None:
    right = measure(wave(trapezoid(), 1e-9), Expected(1e6, 100), TTL)
    assert right.verdict == "right" and not [one for one in right.findings if one.code == "SIG-004"]
    assert measure(wave(trapezoid(), 1e-9), Expected(1.001e6, 100), TTL).verdict == "wrong frequency"
    assert measure(wave(trapezoid(), 1e-9), Expected(1.001e6, 2000), TTL).verdict == "right"
    short = measure(wave(trapezoid(3500) + np.random.default_rng(1).normal(0, 0.05, 3500), 1e-9), Expected(1e6, 1), TTL)
    assert short.verdict == "right" and [one.code for one in short.findings] == ["SIG-004"]


def test_runts_and_glitches_are_counted_and_the_period_stands() -> None:
    v = trapezoid()
    v[5700:5760] = 1.6
    v[9700:9760] = 1.7
    f = measure(wave(v, 1e-9), Expected(1e6, 100), TTL)
    assert f.verdict == "runts and glitches" and f.runts == 2 and f.period_s == pytest.approx(1e-6, rel=1e-9)
    w = trapezoid()
    w[20_700:20_710] = 3.6
    g = measure(wave(w, 1e-9), Expected(1e6, 100), TTL)
    assert g.verdict == "runts and glitches" and g.glitches == 1 and g.period_s == pytest.approx(1e-6, rel=1e-6)


def test_a_gated_clock_says_its_missing_periods() -> None:
    v = trapezoid()
    v[30_000:34_000] = 0.2
    f = measure(wave(v, 1e-9), Expected(1e6, 100), TTL)
    assert f.missing == 4 and f.verdict == "runts and glitches" and "SIG-005" in {one.code for one in f.findings}
    v[50_000:60_000] = 0.2
    assert measure(wave(v, 1e-9), Expected(1e6, 100), TTL).verdict == "wrong frequency"
    assert measure(wave(v, 1e-9), None, TTL).verdict == "moving"


def test_a_clock_that_stops_is_wrong() -> None:
    v = trapezoid()
    v[60_000:] = 0.2
    f = measure(wave(v, 1e-9), Expected(1e6, 100), TTL)
    assert f.verdict == "wrong frequency" and f.missing in (39, 40) and f.period_s == pytest.approx(1e-6, rel=1e-9)


def test_a_record_too_short_accuses_nobody() -> None:
    """0.9 periods of the expected clock, and a flat piece of a tenth of one: neither is a wrong frequency nor stuck."""
    short = measure(wave(trapezoid(900), 1e-9), Expected(1e6, 100), TTL)
    assert short.verdict == "moving" and "SIG-013" in {one.code for one in short.findings}
    flat = measure(wave(np.full(100, 0.2), 1e-9), Expected(1e6, 100), TTL)
    assert flat.verdict == "nothing" and [one.code for one in flat.findings] == ["SIG-013"]
    assert measure(wave(np.full(100_000, 0.2), 1e-9), Expected(1e6, 100), TTL).verdict == "stuck low"


def test_data_have_no_period() -> None:
    rng = np.random.default_rng(11)
    bits = np.repeat(rng.integers(0, 2, 400), 50)
    f = measure(wave(np.where(bits, 3.5, 0.2), 1e-8), None, TTL)
    assert f.frequency_hz is None and f.verdict == "moving" and f.edges == int(np.sum(bits[1:] != bits[:-1]))


@pytest.mark.parametrize("offset", [0.0, 1e-3, -5.0])
def test_start_of_time_and_uneven_times_change_nothing(offset: float) -> None:
    v = trapezoid(20_000)
    keep = np.random.default_rng(4).random(v.size) < 0.9
    keep[[0, -1]] = True
    times = offset + 1e-9 * np.flatnonzero(keep)
    uneven = Wave("a", "V", v[keep], float(times[0]), 1e-9, times)
    f = measure(uneven)
    assert f.period_s == pytest.approx(1e-6, rel=1e-6) and f.rise_s == pytest.approx(40e-9, rel=1e-3)


def test_aliasing_is_said() -> None:
    k = np.arange(3000)
    f = measure(wave(np.where((k / 2.7) % 1 < 0.5, 3.6, 0.2), 1e-8))
    assert "SIG-010" in {one.code for one in f.findings}


def test_logic_traces_are_measured_as_waves_are() -> None:
    w = wave(trapezoid(), 1e-9)
    levels = state_levels(w.values)
    trace = to_trace(w, 1.9 - 1e-9, 1.9 + 1e-9)
    assert trace.times_s[1:] == pytest.approx(wave_edges(w, levels).times_s, abs=1e-15)
    f = measure(trace, Expected(1e6, 100))
    assert f.verdict == "right" and f.duty == pytest.approx(0.465, rel=1e-6) and f.low_v is None
    released = Trace("z", np.array([0.0, 1.0]), np.array([3, 0], np.int8), 2.0, 0.1)
    assert measure(released).verdict == "floating or contention"


def test_a_million_samples_in_half_a_second() -> None:
    """Target of the work under power; CPU time, so that a loaded machine does not decide."""
    from time import process_time

    v = np.tile(trapezoid(), 10) + np.random.default_rng(1).normal(0, 0.03, 1_000_000)
    begin = process_time()
    f = measure(wave(v, 1e-9), Expected(1e6, 100), TTL)
    assert process_time() - begin < 0.5 and f.verdict == "right" and f.edges == 2000
