"""The exact engine against the plain enumerator (which shares no step with it), and against sums done by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.belief_cases import random_graph, random_readings

from coppermend.core.belief.engine import belief
from coppermend.core.belief.enumerator import enumerate_breaks
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.belief.network import draw
from coppermend.core.findings import Refusal
from coppermend.core.planning.risk import risk_of

AREAS = (EXAMPLE_AREA,)


@pytest.mark.parametrize("contact_bad", [0.0, 0.2])
def test_posteriors_equal_the_sum_over_all_break_patterns(contact_bad: float) -> None:
    """Origin of the expected numbers: the enumerator, straight from the definition. 150 random graphs, up to 3 cycles each."""
    rng = np.random.default_rng(11)
    basis = Basis(false_closed=0.002, contact_bad=contact_bad, contact_shares=(), damage_scales=(), open_scales=())
    worst = worst_evidence = 0.0
    for _ in range(150):
        graph = random_graph(rng, int(rng.integers(2, 9)), int(rng.integers(0, 4)) if rng.random() < 0.6 else 0)
        evidence = random_readings(rng, graph, int(rng.integers(1, 6)))
        got = belief(graph, AREAS, evidence, basis)
        want = enumerate_breaks(graph, got.prior, evidence, basis)
        worst = max(worst, float(np.abs(got.sites - want.sites).max()))
        worst_evidence = max(worst_evidence, abs(got.log_evidence - want.log_evidence))
        assert got.error_bound == 0.0
    assert worst <= 1e-9
    assert worst_evidence <= 1e-9


def test_twelve_sites_with_heavy_damage_agree_with_brute_force() -> None:
    rng = np.random.default_rng(5)
    basis = Basis(
        false_closed=0.002,
        prior_in=dict.fromkeys(Basis().prior_in, 0.2),
        contact_bad=0.0,
        contact_shares=(),
        damage_scales=(),
        open_scales=(),
    )
    for _ in range(4):
        graph = random_graph(rng, 12, 2)
        evidence = random_readings(rng, graph, 8)
        got = belief(graph, AREAS, evidence, basis)
        want = enumerate_breaks(graph, got.prior, evidence, basis)
        assert np.abs(got.sites - want.sites).max() <= 1e-9


def test_joined_equals_the_enumerated_probability() -> None:
    rng = np.random.default_rng(3)
    basis = Basis(false_closed=0.002, contact_shares=(), damage_scales=(), open_scales=())
    for _ in range(25):
        graph = random_graph(rng, 6, 1)
        names = [p.id for p in graph.points]
        evidence = random_readings(rng, graph, 3)
        got = belief(graph, AREAS, evidence, basis)
        a, b = rng.choice(names, 2).tolist()
        want = enumerate_breaks(graph, got.prior, evidence, basis, ask=[(a, b)])
        assert got.joined(a, b) == pytest.approx(want.joined[a, b], abs=1e-9)


def test_one_open_reading_over_one_site_is_bayes_rule() -> None:
    """P = p(1-fc) / (p(1-fc) + (1-p)fo) with p = 0.02, fo = 0.02, fc = 0.002: Bayes by hand."""
    graph = example_graph([(0, 1)], [0, 1])
    got = belief(
        graph,
        AREAS,
        (Evidence("1", "p0", "p1", "open"),),
        Basis(false_closed=0.002, contact_bad=0.0, contact_shares=(), damage_scales=(), open_scales=()),
    )
    assert got.p("s0") == pytest.approx(0.02 * 0.998 / (0.02 * 0.998 + 0.98 * 0.02), rel=1e-12)


def test_a_second_open_through_the_same_bad_contact_says_less_than_one_through_another() -> None:
    """Two points on either end; the second open either repeats the pair or uses the other two points."""
    graph = example_graph([(0, 1)], [0, 0, 1, 1])
    same = (Evidence("1", "p0", "p1", "open"), Evidence("2", "p0", "p1", "open"))
    other = (Evidence("1", "p0", "p1", "open"), Evidence("2", "p0b", "p1b", "open"))
    basis = Basis(false_closed=0.002, contact_bad=0.1, contact_shares=(), damage_scales=(), open_scales=())
    assert belief(graph, AREAS, same, basis).p("s0") < belief(graph, AREAS, other, basis).p("s0") - 0.02


def test_a_reading_taken_before_a_wire_was_fitted_still_speaks_of_the_copper_of_its_day() -> None:
    """Site 1 is the wire beside site 0: an open of before the wire says that site 0 is broken, a beep after it says that the wire holds."""
    graph = example_graph([(0, 1), (0, 1)], [0, 0, 1, 1])
    before = (
        Evidence("1", "p0", "p1", "open", without=("s1",)),
        Evidence("2", "p0b", "p1b", "open", without=("s1",)),
    )
    after = (*before, Evidence("3", "p0", "p1", "closed"))
    basis = Basis(false_closed=0.002, contact_shares=(), damage_scales=(), open_scales=())
    one, two = belief(graph, AREAS, before, basis), belief(graph, AREAS, after, basis)
    want = enumerate_breaks(graph, two.prior, after, basis)
    assert np.abs(two.sites - want.sites).max() <= 1e-9
    assert one.p("s0") > 0.85
    assert one.p("s1") == pytest.approx(0.02, abs=1e-12)
    assert two.p("s1") < 0.02 * 0.11 + 1e-4  # all that is left is that the old track was whole after all (11 %)


def test_the_share_of_bad_contacts_is_averaged_by_how_well_it_explains_the_readings() -> None:
    """Weights and posterior from two enumerations with fixed shares, combined by Bayes' rule by hand."""
    rng = np.random.default_rng(21)
    for _ in range(10):
        graph = random_graph(rng, 6, 1)
        evidence = random_readings(rng, graph, 5)
        got = belief(
            graph,
            AREAS,
            evidence,
            Basis(false_closed=0.002, contact_shares=((0.0, 0.5), (0.1, 0.5)), damage_scales=(), open_scales=()),
        )
        parts = [
            enumerate_breaks(
                graph,
                got.prior,
                evidence,
                Basis(false_closed=0.002, contact_bad=share, contact_shares=(), damage_scales=(), open_scales=()),
            )
            for share in (0.0, 0.1)
        ]
        weights = np.exp([p.log_evidence for p in parts])
        want = sum(w * p.sites for w, p in zip(weights / weights.sum(), parts, strict=True))
        assert np.abs(got.sites - want).max() <= 1e-9
        assert got.log_evidence == pytest.approx(float(np.log(weights.mean())), abs=1e-9)


def test_samples_follow_the_posterior() -> None:
    """20,000 samples: the share of broken lies within five standard errors of the exact posterior, for each site."""
    rng = np.random.default_rng(8)
    for _ in range(6):
        graph = random_graph(rng, 9, 2)
        evidence = random_readings(rng, graph, 4)
        got = belief(
            graph, AREAS, evidence, Basis(false_closed=0.002, contact_shares=(), damage_scales=(), open_scales=())
        )
        for piece, solved in got.benches[0].pieces.items():
            broken, _ = draw(solved, 20_000, seed=1)
            for row, k in enumerate(got.copper.pieces[piece]):
                p = float(got.sites[k])
                assert abs(broken[row].mean() - p) <= 5 * np.sqrt(p * (1 - p) / 20_000) + 1e-4


def test_contradicting_readings_name_their_conflict_and_stay_finite() -> None:
    graph = example_graph([(0, 1), (1, 2), (2, 3)], [0, 1, 2, 3])
    never_wrong = Basis(
        false_open=0.0, false_closed=0.0, contact_bad=0.0, contact_shares=(), damage_scales=(), open_scales=()
    )
    evidence = (
        Evidence("1", "p0", "p3", "closed"),
        Evidence("2", "p1", "p2", "open"),
        Evidence("3", "p0", "p1", "closed"),
    )
    got = belief(graph, AREAS, evidence, never_wrong)
    assert np.isfinite(got.sites).all() and np.isfinite(got.log_evidence)
    (conflict,) = got.conflicts
    assert set(conflict.entries) == {"1", "2"}
    assert conflict.again == ("p1", "p2")


def test_both_answers_on_one_pair_are_a_conflict_with_the_reading_to_repeat() -> None:
    graph = example_graph([(0, 1)], [0, 1])
    evidence = (Evidence("1", "p0", "p1", "closed"), Evidence("2", "p1", "p0", "open"))
    (conflict,) = belief(graph, AREAS, evidence, Basis(false_closed=0.002)).conflicts
    assert set(conflict.again) == {"p0", "p1"}


def test_both_answers_between_two_nets_are_a_conflict_until_a_third_reading() -> None:
    graph = example_graph([(0, 1), (2, 3)], [0, 1, 2, 3])
    said = [Evidence("1", "p0", "p2", "closed"), Evidence("2", "p2", "p0", "open")]
    (conflict,) = belief(graph, AREAS, said, Basis(false_closed=0.002)).conflicts
    assert conflict.entries == ("1", "2")
    assert set(conflict.again) == {"p0", "p2"}
    assert "two nets" in conflict.words
    assert belief(graph, AREAS, [*said, Evidence("3", "p0", "p2", "open")], Basis(false_closed=0.002)).conflicts == ()
    assert belief(graph, AREAS, said[:1], Basis(false_closed=0.002)).conflicts == ()


def test_rates_that_leave_nothing_to_learn_are_refused_in_words() -> None:
    graph = example_graph([(0, 1)], [0, 1])
    with pytest.raises(Refusal, match="BLF-001"):
        belief(graph, AREAS, (Evidence("1", "p0", "p1", "open"),), Basis(false_open=0.9, false_closed=0.2))


def test_a_reading_on_an_unknown_point_is_set_aside_not_guessed() -> None:
    graph = example_graph([(0, 1)], [0, 1])
    got = belief(graph, AREAS, (Evidence("1", "p0", "nowhere", "open"),), Basis(false_closed=0.002))
    assert got.unknown[0].point_b == "nowhere"
    assert got.p("s0") == 0.02


def test_a_short_between_two_nets_is_a_belief_of_its_own() -> None:
    """Bayes by hand: prior 0.005, a beep 0.98 against 0.002."""
    graph = example_graph([(0, 1), (2, 3)], [0, 1, 2, 3], nets=[0, 0, 1, 1])
    got = belief(graph, AREAS, (Evidence("1", "p0", "p2", "closed"),), Basis(false_closed=0.002))
    assert got.joined("p1", "p3") == pytest.approx(0.005 * 0.98 / (0.005 * 0.98 + 0.995 * 0.002), rel=1e-12)


def test_pruned_states_are_paid_for_in_the_error_bound() -> None:
    """With room for four states only, the answer is off, and its bound is at least what it is off by."""
    from coppermend.core.belief.network import solve

    rng = np.random.default_rng(2)
    tried = 0
    for _ in range(30):
        graph = random_graph(rng, 12, 0)
        evidence = random_readings(rng, graph, 10)
        exact = belief(
            graph, AREAS, evidence, Basis(false_closed=0.002, contact_shares=(), damage_scales=(), open_scales=())
        )
        for piece, solved in exact.benches[0].pieces.items():
            rough = solve(exact.copper, piece, exact.prior, solved.readings, 0.05, 0.3, cap=4)
            off = max(abs(rough.broken[k] - solved.broken[k]) for k in solved.broken) if solved.broken else 0.0
            assert off <= rough.error_bound + 1e-12
            tried += rough.error_bound > 0.0
    assert tried >= 5


def test_a_crowd_of_states_is_pruned_only_where_nothing_is_lost_by_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve sites, ten readings: pruned early, the answer is the unpruned one within ``FINE``; where that cannot be had, the net is swept anew, exactly."""
    from coppermend.core.belief import diagram
    from coppermend.core.belief.network import solve

    told: list[bool] = []
    forward = diagram._Forward.along

    def along(self: diagram._Forward, order: list[tuple[str, int]], groups: list[diagram.Group], most: float) -> bool:
        told.append(forward(self, order, groups, most))
        return told[-1]

    for name, value in {"CROWD": 24, "KEPT_OF_A_CROWD": 16, "FINE": 1e-4, "SHAPES_KEPT": 0}.items():
        monkeypatch.setattr(diagram, name, value)
    monkeypatch.setattr(diagram._Forward, "along", along)
    rng = np.random.default_rng(2)
    stood = anew = 0
    for _ in range(60):
        graph = random_graph(rng, 12, 0)
        evidence = random_readings(rng, graph, 10)
        basis = Basis(false_closed=0.002, contact_shares=(), damage_scales=(), open_scales=())
        pieces = belief(graph, AREAS, evidence, basis)
        for piece, solved in pieces.benches[0].pieces.items():
            told.clear()
            asked = (pieces.copper, piece, pieces.prior, solved.readings, 0.05, 0.3)
            got = solve(*asked)
            anew += told[:1] == [False]
            with monkeypatch.context() as roomy:
                roomy.setattr(diagram, "CROWD", diagram.STATE_CAP)
                exact = solve(*asked)
            off = max((abs(got.broken[k] - exact.broken[k]) for k in exact.broken), default=0.0)
            assert exact.error_bound == 0.0
            assert off <= got.error_bound + 1e-12
            assert got.error_bound <= 1e-4
            stood += got.error_bound > 0.0
    assert stood >= 5 and anew >= 5


def test_the_bound_over_all_suppositions_holds_and_counts_each_by_its_weight(monkeypatch: pytest.MonkeyPatch) -> None:
    """Room for few states under every supposition about the bench: what the averages are off by lies within the bound, and the bound does not exceed the worst
    piece's by more than several pieces can add up to. The likely suppositions are pruned least, so it is often far below the worst piece's.
    """
    from coppermend.core.belief import engine

    rng = np.random.default_rng(12)
    tried = below = 0
    for _ in range(30):
        graph = random_graph(rng, 12, 0)
        evidence = random_readings(rng, graph, 10)
        exact = belief(graph, AREAS, evidence, Basis(false_closed=0.002))
        with monkeypatch.context() as rough_engine:
            rough_engine.setattr(engine, "_PIECES", type(engine._PIECES)())
            rough_engine.setattr(engine, "_COLUMNS", type(engine._COLUMNS)())
            rough_engine.setattr(engine, "STATE_CAP", 20)
            rough = belief(graph, AREAS, evidence, Basis(false_closed=0.002))
        worst = max(p.error_bound for b in rough.benches for p in b.pieces.values())
        assert float(np.abs(rough.sites - exact.sites).max()) <= rough.error_bound + 1e-12
        assert exact.error_bound == 0.0
        tried += 0.0 < rough.error_bound < 1.0
        below += rough.error_bound < 0.5 * worst < 0.5
    assert tried >= 5
    assert below >= 1


def test_scales_of_the_damage_are_averaged_by_how_well_they_explain_the_readings() -> None:
    """Three scales on small nets: evidence and sites are the weighted sums over enumerations with the priors scaled, and so is a stretch's chance."""
    basis = Basis(false_closed=0.002, contact_shares=(), open_scales=())
    rng = np.random.default_rng(8)
    for _ in range(20):
        graph = random_graph(rng, 7, 1)
        evidence = random_readings(rng, graph, 4)
        got = belief(graph, AREAS, evidence, basis)
        hot = got.prior > basis.prior_out
        weights, rows = [], []
        for scale, weight in basis.damage_scales:
            want = enumerate_breaks(graph, np.where(hot, 1.0 - (1.0 - got.prior) ** scale, got.prior), evidence, basis)
            weights.append(weight * float(np.exp(want.log_evidence)))
            rows.append(want.sites)
        total = sum(weights)
        sites = sum(w / total * row for w, row in zip(weights, rows, strict=True))
        # a site that no reading spoke of keeps the prior that was stated
        assert np.where(got.spoken, got.sites - sites, got.sites - got.prior) == pytest.approx(np.zeros(7), abs=1e-9)
        assert got.log_evidence == pytest.approx(float(np.log(total)), abs=1e-9)


def test_rates_of_false_opens_are_averaged_by_how_well_they_explain_the_readings() -> None:
    """Two factors on the rate on small nets: evidence and sites are the weighted sums over enumerations with 1 and 4 %."""
    basis = Basis(false_closed=0.002, contact_shares=(), damage_scales=(), open_scales=((0.5, 0.5), (2.0, 0.5)))
    rng = np.random.default_rng(9)
    for _ in range(20):
        graph = random_graph(rng, 7, 1)
        evidence = random_readings(rng, graph, 6)
        got = belief(graph, AREAS, evidence, basis)
        rates = (0.01, 0.04)
        each = [enumerate_breaks(graph, got.prior, evidence, replace(basis, false_open=rate)) for rate in rates]
        weights = [0.5 * float(np.exp(one.log_evidence)) for one in each]
        sites = sum(w / sum(weights) * one.sites for w, one in zip(weights, each, strict=True))
        assert got.sites == pytest.approx(sites, abs=1e-9)
        assert got.log_evidence == pytest.approx(float(np.log(sum(weights))), abs=1e-9)


def test_that_the_damage_is_mild_is_no_proof_of_a_site() -> None:
    """A joint (prior 0.04) read open, then closed: with the priors as stated the odds are 0.04 / 0.96 times what the two readings say.

    By hand, with one scale beside 1 and contacts that always bite: open 0.998 / 0.02, closed 0.002 / 0.98 a reading (basis of the table).
    """
    graph = example_graph([(0, 1)], [0, 1])
    basis = Basis(
        false_closed=0.002,
        prior_in=dict.fromkeys(Basis().prior_in, 0.04),
        contact_shares=(),
        contact_bad=0.0,
        open_scales=(),
        damage_scales=((0.03, 0.9), (1.0, 0.1)),
    )
    said = [Evidence("1", "p0", "p1", "open"), Evidence("2", "p0", "p1", "closed")]
    got = belief(graph, AREAS, said, basis)
    odds = 0.04 / 0.96 * (0.998 / 0.02) * (0.002 / 0.98)
    assert float(got.unproven[0]) == pytest.approx(odds / (1.0 + odds), rel=0.1)
    assert got.p("s0") < basis.proven_below < got.unproven[0]
    assert not got.proven("s0")
    assert belief(graph, AREAS, [*said, Evidence("3", "p0", "p1", "closed")], basis).proven("s0")


def test_a_stretch_of_several_sites_is_broken_when_one_of_them_is() -> None:
    """Ten sites of 0.02 in series, one open reading: P(any) by Bayes under each scale, averaged by the evidence of each (by hand)."""
    graph = example_graph([(k, k + 1) for k in range(10)], [0, 10])
    basis = Basis(false_closed=0.002, contact_shares=(), contact_bad=0.0, open_scales=())
    got = belief(graph, AREAS, [Evidence("1", "p0", "p10", "open")], basis)
    top = bottom = 0.0
    for scale, weight in basis.damage_scales:
        any_broken = 1.0 - 0.98 ** (10 * scale)
        bottom += weight * (any_broken * 0.998 + (1.0 - any_broken) * 0.02)
        top += weight * any_broken * 0.998
    assert float(risk_of(got).chance[0]) == pytest.approx(top / bottom, rel=1e-9)
