"""k of n starts: the likelihoods against closed forms and scipy, what a condition on one part says, and the next step "start it five times".

Expected values: the binomial and Beta-binomial distributions (scipy.stats as the reference library; 1 / (n + 1) for a uniform prior is T. Bayes' own result),
the rest worked out beside each test. The shares of faults that come and go are assumptions.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import betabinom, binom

from coppermend import bootstrap
from coppermend.core.belief.suspects.field import padded
from coppermend.core.belief.suspects.posterior import Start, State, initial, observed
from coppermend.core.belief.suspects.starts import (
    NOW_AND_THEN,
    SENSITIVE,
    SENSITIVE_BESIDE,
    SENSITIVE_HERE,
    Starts,
    Tally,
    log_binomial,
    log_mixed,
    log_now_and_then,
    now_and_then,
    starts_logs,
    starts_needed,
    summed,
)
from coppermend.core.planning.costs import CostTable
from coppermend.core.planning.suspects_next import BenchNow, ranked_steps
from coppermend.core.planning.suspects_starts import TIMES, repeats
from coppermend.core.planning.suspects_words import step_caution, step_risk, step_words
from coppermend.services.powered import PoweredBoard


@pytest.fixture(scope="module")
def board() -> PoweredBoard:
    return bootstrap.powered_setting("demo", most=20_000)


def after(board: PoweredBoard, *seen: object) -> State:
    return observed(initial(board.field), list(seen), widen=False)  # type: ignore[arg-type]


@pytest.mark.parametrize(("good", "of"), [(0, 1), (3, 5), (5, 5), (7, 20)])
def test_the_likelihoods_are_those_of_scipy(good: int, of: int) -> None:
    one = [Tally("", "", good, of)]
    assert math.exp(log_binomial(one, 0.97)) == pytest.approx(binom.pmf(good, of, 0.97), rel=1e-9)
    assert math.exp(log_mixed(one)) == pytest.approx(betabinom.pmf(good, of, 1, 1), rel=1e-9)
    assert math.exp(log_mixed(one)) == pytest.approx(1 / (of + 1), rel=1e-9)
    assert math.exp(log_now_and_then(one)) == pytest.approx(1 / (of + 1), rel=1e-9)


def test_splitting_a_count_changes_nothing_between_sets() -> None:
    """3 of 5 and then 4 of 5 say what 7 of 10 says: the ratio of the likelihoods is the same (only the ways to order them differ)."""
    parts, whole = [Tally("", "", 3, 5), Tally("", "", 4, 5)], [Tally("", "", 7, 10)]
    assert summed(parts) == tuple(whole)
    assert log_mixed(parts) - log_binomial(parts, 0.5) == pytest.approx(log_mixed(whole) - log_binomial(whole, 0.5))


def test_cold_and_warm_by_hand() -> None:
    """0 of 4 cold, 4 of 4 warm: one q for both 1 / (9 C(8, 4)) = 1 / 630; two q's 1 / 5 * 1 / 5; half and half."""
    rows = [Tally("cold", "", 0, 4), Tally("warm", "", 4, 4)]
    assert math.exp(log_now_and_then(rows)) == pytest.approx((1 - SENSITIVE) / 630 + SENSITIVE / 25)


def test_spray_on_the_part_that_holds_the_fault_by_hand() -> None:
    """5 of 5 without, 0 of 5 with spray on U1. One q: B(6, 6) = 5! 5! / 11! = 1 / 2772; two: 1 / 36."""
    rows = [Tally("", "", 5, 5), Tally("freeze spray", "U1", 0, 5)]
    for here, s in ((("U1",), SENSITIVE_HERE), ((), SENSITIVE_BESIDE)):
        assert math.exp(log_now_and_then(rows, here)) == pytest.approx((1 - s) / 2772 + s / 36)


def test_starts_needed_by_hand() -> None:
    """A fault in one start of three hides from n starts with (2/3)^n: (2/3)^7 = 0.0585, (2/3)^8 = 0.0390."""
    assert starts_needed(1 / 3) == 8 and (2 / 3) ** 7 > 0.05 > (2 / 3) ** 8
    assert starts_needed(0.1) == 29 and 0.9**28 > 0.05 > 0.9**29
    assert starts_needed(0.0) == 1 and starts_needed(1.0) == 1


def test_sets_of_faults_by_hand(board: PoweredBoard) -> None:
    """One dead chip, one joint, both: (1 - s) Binomial(k; n, e) + s / (n + 1), s the product of their shares; a set that starts as it should: Binomial(k; n, 1 - e)."""
    made = board.field
    works = next(k for k, s in enumerate(made.screens) if s.name == "works")
    other = 0 if works else 1
    chip = next(k for k, c in enumerate(made.causes) if c.key == ("float", "U1"))
    joint = next(k for k, c in enumerate(made.causes) if len(c.sites) == 1 and c.sites[0].startswith("joint@"))
    assert (
        now_and_then(made.causes[chip]) == NOW_AND_THEN["part"]
        and now_and_then(made.causes[joint]) == NOW_AND_THEN["joint"]
    )
    members = padded([(chip,), (joint,), (chip, joint), (chip,)])
    screens = np.array([other, other, other, works], np.uint8)
    e = made.table.screen_misread
    got = np.exp(starts_logs(made, members, screens, [Tally("", "", 3, 5)]))
    shares = (NOW_AND_THEN["part"], NOW_AND_THEN["joint"], NOW_AND_THEN["part"] * NOW_AND_THEN["joint"])
    want = [(1 - s) * binom.pmf(3, 5, e) + s / 6 for s in shares] + [binom.pmf(3, 5, 1 - e)]
    assert got == pytest.approx(want, rel=1e-9)


def test_a_machine_that_starts_now_and_then_has_no_dead_chip(board: PoweredBoard) -> None:
    """Three of five good: what comes and goes (joints) gains on what does not (dead chips), by the ratio of their likelihoods."""
    field = board.field
    chips = [k for k, c in enumerate(field.causes) if c.kind == "part"]
    spans = [k for k, c in enumerate(field.causes) if c.kind == "span"]
    hard, loose = after(board, Start(-1)), after(board, Start(-1), Starts((Tally("", "", 3, 5),)))

    def ratio(state: State) -> float:
        p = state.causes()
        return float(p[spans].sum() / p[chips].sum())

    assert ratio(loose) > 2 * ratio(hard)
    never = after(board, Start(-1), Starts((Tally("", "", 0, 5),)))
    assert ratio(never) < ratio(hard)


def test_starting_again_is_a_step_once_it_comes_and_goes(board: PoweredBoard) -> None:
    tallies = (Tally("", "", 1, 2),)
    state = after(board, Start(-1), Starts(tallies))
    bench = BenchNow(powered=False, analyser=False, camera=False, tallies=tallies)
    found = {one.kind: one for one in ranked_steps(state, bench, CostTable(), 999) if one.kind in ("repeat", "spray")}
    assert found and "repeat" not in {one.kind for one in ranked_steps(state, BenchNow(), CostTable(), 999)}
    for kind, step in found.items():
        assert step.seconds >= TIMES * 2 * CostTable().power_s and step.gain_bits > 0 and "power-ups" in step_risk(step)
        assert str(TIMES) in step_words(board.field, step) and "qualified" in step_caution(step)
        assert (kind == "spray") == bool(step.part)


def test_the_gain_of_five_starts_by_hand(board: PoweredBoard) -> None:
    """Two sets of weight one half, a dead chip and a joint, nothing counted yet: mutual information summed from its joint table."""
    made = board.field
    chip = next(k for k, c in enumerate(made.causes) if c.key == ("float", "U1"))
    joint = next(k for k, c in enumerate(made.causes) if len(c.sites) == 1 and c.sites[0].startswith("joint@"))
    members, screens = padded([(chip,), (joint,)]), np.array([1, 1], np.uint8)
    works = next(k for k, s in enumerate(made.screens) if s.name == "works")
    screens[:] = 0 if works else 1
    e = made.table.screen_misread
    k = np.arange(TIMES + 1)
    joint_table = np.array(
        [
            0.5 * ((1 - s) * binom.pmf(k, TIMES, e) + s / (TIMES + 1))
            for s in (NOW_AND_THEN["part"], NOW_AND_THEN["joint"])
        ]
    )
    outer = joint_table.sum(axis=1, keepdims=True) * joint_table.sum(axis=0, keepdims=True)
    want = float((joint_table * np.log2(joint_table / outer)).sum())
    got = repeats(made, members, screens, np.array([0.5, 0.5]), np.zeros(len(made.causes)), [], 45.0)
    assert got[0].gain_bits == pytest.approx(want, rel=1e-9) and len(got) == 1
    told = [Tally("", "", 2, 4)]
    more = repeats(made, members, screens, np.array([0.5, 0.5]), np.zeros(len(made.causes)), told, 45.0)
    plain = next(one for one in more if not one.part)
    assert 0 < plain.gain_bits < want
