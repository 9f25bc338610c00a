"""Gates against their truth tables over a record, and starts as timed sequences.

Reset rules: Z80 /RESET low for at least 3 full clocks (Zilog's text), 6502 /RES low for at least 2 cycles, 68000 at least 100 ms after the supply (check values of
the project's notes, read in public texts). An open TTL input reads high: common practice, no source.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from coppermend.core.findings import Refusal
from coppermend.core.signals.gates import check_gate
from coppermend.core.signals.starts import StartRules, read_start
from coppermend.core.signals.wave import HIGH, LOW, UNKNOWN, Trace, Wave
from coppermend.devices.book import shipped
from coppermend.services.wavesets import rules_of

STEP = 1e-8


def trace(name: str, samples: np.ndarray) -> Trace:
    new = np.concatenate([[True], samples[1:] != samples[:-1]])
    return Trace(name, np.flatnonzero(new) * STEP, samples[new].astype(np.int8), (samples.size - 1) * STEP, STEP)


def record(truth: Callable[..., np.ndarray], inputs: int, seed: int = 1) -> list[np.ndarray]:
    """Inputs that change one at a time each 40 samples, all combinations seen, and the output 2 samples late."""
    rng = np.random.default_rng(seed)
    rows = np.array(list(itertools.product([0, 1], repeat=inputs)) * 6)
    rng.shuffle(rows)
    cols = [np.repeat(rows[:, k], 40) for k in range(inputs)]
    out = np.asarray(truth(*cols)).astype(int)
    return [*cols, np.concatenate([out[:2], out[:-2]])]


GATES = {
    "74LS00": (("1A", "1B"), "1Y", lambda a, b: 1 - (a & b)),
    "74LS02": (("1A", "1B"), "1Y", lambda a, b: 1 - (a | b)),
    "74LS08": (("2A", "2B"), "2Y", lambda a, b: a & b),
    "74LS32": (("3A", "3B"), "3Y", lambda a, b: a | b),
    "74LS86": (("4A", "4B"), "4Y", lambda a, b: a ^ b),
    "74LS10": (("1A", "1B", "1C"), "1Y", lambda a, b, c: 1 - (a & b & c)),
    "74LS04": (("6A",), "6Y", lambda a: 1 - a),
}
"""Truth tables from textbooks, written here apart from the device book."""


def pins_of(chip: str, names: tuple[str, ...], samples: list[np.ndarray]) -> dict[str, Trace]:
    book = shipped().get(chip)
    numbers = [next(str(p.number) for p in book.pins if p.name == n) for n in names]
    return {number: trace(n, s) for number, n, s in zip(numbers, names, samples, strict=True)}


@pytest.mark.parametrize("chip", GATES)
def test_good_gates_obey(chip: str) -> None:
    inputs, output, truth = GATES[chip]
    report = check_gate(shipped().get(chip), pins_of(chip, (*inputs, output), record(truth, len(inputs))))
    assert report.disagree == () and [one.obeys for one in report.pins] == [True]
    assert report.pins[0].judged_s > 0


@pytest.mark.parametrize("chip", GATES)
@pytest.mark.parametrize("level", [0, 1])
def test_a_stuck_output_is_named(chip: str, level: int) -> None:
    inputs, output, truth = GATES[chip]
    samples = record(truth, len(inputs))
    samples[-1] = np.full_like(samples[-1], level)
    pins = pins_of(chip, (*inputs, output), samples)
    report = check_gate(shipped().get(chip), pins)
    assert report.disagree == (list(pins)[-1],) and report.pins[0].words == f"stands at {level} where it must change"


@pytest.mark.parametrize("chip", ["74LS00", "74LS08", "74LS32", "74LS86", "74LS10"])
def test_an_input_that_the_chip_does_not_see_is_named(chip: str) -> None:
    """The record shows the pin moving, the output follows as if it were high: an open leg."""
    inputs, output, truth = GATES[chip]
    samples = record(truth, len(inputs))
    ones = np.ones_like(samples[1])
    seen = np.asarray(truth(samples[0], ones, *samples[2:-1]))
    samples[-1] = np.concatenate([seen[:2], seen[:-2]])
    pins = pins_of(chip, (*inputs, output), samples)
    report = check_gate(shipped().get(chip), pins)
    assert report.disagree == (list(pins)[-1],)
    number = list(pins)[1]
    constant = np.ptp(samples[-1]) == 0
    assert ("stands at" if constant else f"as if pin {number} ({inputs[1]}) were always high") in report.pins[0].words


def test_a_tri_state_output_is_judged_only_while_it_drives() -> None:
    book = shipped().get("74LS125")
    a, g = np.tile(np.repeat([0, 1], 50), 20), np.repeat([0, 1], 1000)
    y = np.where(g == 0, a, 1)
    names = {p.name: str(p.number) for p in book.pins}
    enable = next(n for n in names if n.startswith("/1") or n in ("1G", "/1G", "1C", "1OE"))
    report = check_gate(book, {names["1A"]: trace("a", a), names[enable]: trace("g", g), names["1Y"]: trace("y", y)})
    assert report.pins[0].obeys is True
    report = check_gate(
        book, {names["1A"]: trace("a", a), names[enable]: trace("g", g), names["1Y"]: trace("y", 1 - y)}
    )
    assert report.pins[0].obeys is False


def test_what_is_not_known_is_not_judged() -> None:
    book = shipped().get("74LS00")
    low = trace("a", np.zeros(1000, int))
    some = trace("y", np.ones(1000, int))
    assert (
        check_gate(book, {"1": low, "3": some}).pins[0].obeys is True
    )  # NAND with one low input is high, whatever the other
    assert check_gate(book, {"1": trace("a", np.ones(1000, int)), "3": some}).pins[0].obeys is None
    x = Trace("a", np.array([0.0]), np.array([UNKNOWN], np.int8), 1e-5, STEP)
    assert check_gate(book, {"1": x, "2": x, "3": some}).pins[0].obeys is None
    with pytest.raises(Refusal, match="SIG-020"):
        check_gate(shipped().get("74LS74"), {"5": some})
    with pytest.raises(Refusal, match="SIG-021"):
        check_gate(book, {"1": low, "3": Trace("y", np.array([5.0]), np.array([1], np.int8), 6.0, STEP)})


# ---- starts ----
def start(clocks: int, held_s: float = 0.0) -> tuple[Wave, Trace, Trace]:
    """Supply over 4.75 V at 1 ms, a clock of 1 MHz from 2 ms on, reset released so many clocks (and seconds) later."""
    t = np.arange(0, 1e-2, 1e-5)
    rail = Wave("VCC", "V", np.minimum(5.0, 4.75 * t / 1e-3 + 1e-9), 0.0, 1e-5)
    beat = np.arange(2e-3, 1e-2, 0.5e-6)
    clock = Trace("CLK", np.append(0.0, beat), np.append(0, np.arange(beat.size) % 2 == 0).astype(np.int8), 1e-2, 1e-8)
    free = 2e-3 + (clocks - 0.5) * 1e-6 + held_s
    return rail, Trace("/RESET", np.array([0.0, free]), np.array([LOW, HIGH], np.int8), 1e-2, 1e-8), clock


@pytest.mark.parametrize(
    ("chip", "clocks", "verdict"),
    [("Z80", 2, "released too early"), ("Z80", 3, "right"), ("6502", 1, "released too early"), ("6502", 2, "right")],
)
def test_reset_counts_clocks_as_the_data_sheet_wants(chip: str, clocks: int, verdict: str) -> None:
    rail, reset, clock = start(clocks)
    rules = rules_of(shipped().get(chip), StartRules())
    seen = read_start(reset, rail, clock, rules)
    assert seen.verdict == verdict and seen.clocks == clocks and seen.ready_s == pytest.approx(2e-3, abs=1e-6)
    assert [words for _, words in seen.events] == ["VCC above 4.75 V", "CLK runs", "reset released"]


def test_68000_wants_a_tenth_of_a_second() -> None:
    rules = rules_of(shipped().get("68000"), StartRules())
    assert rules.least_s == pytest.approx(0.1)
    line = Trace("/RESET", np.array([0.0, 0.09]), np.array([0, 1], np.int8), 1.0, 1e-5)
    assert read_start(line, rules=rules).verdict == "released too early"
    line = Trace("/RESET", np.array([0.0, 0.11]), np.array([0, 1], np.int8), 1.0, 1e-5)
    assert read_start(line, rules=rules).verdict == "right"


def test_late_never_and_not_active() -> None:
    rail, reset, clock = start(5000)
    assert read_start(reset, rail, clock, StartRules(most_s=1e-3)).verdict == "released too late"
    held = Trace("/RESET", np.array([0.0]), np.array([LOW], np.int8), 1e-2, 1e-8)
    assert read_start(held, rail, clock).verdict == "stuck low"
    assert read_start(held, rail, clock, StartRules(most_s=1e-3)).verdict == "released too late"
    free = Trace("/RESET", np.array([0.0]), np.array([HIGH], np.int8), 1e-2, 1e-8)
    assert read_start(free, rail, clock).verdict == "released too early"
    high = Trace("RESET", np.array([0.0, 5e-3]), np.array([HIGH, LOW], np.int8), 1e-2, 1e-8)
    assert read_start(high, rail, clock, StartRules(active_low=False)).verdict == "right"


def test_without_supply_or_clock_the_reset_says_nothing() -> None:
    rail, reset, clock = start(10)
    low = Wave("VCC", "V", 0.8 * rail.values, 0.0, 1e-5)
    still = Trace("CLK", np.array([0.0]), np.array([0], np.int8), 1e-2, 1e-8)
    for words in ((low, clock), (rail, still)):
        with pytest.raises(Refusal, match="SIG-022"):
            read_start(reset, *words)
