"""Learning from cases against closed forms and scipy's own distributions: what a Beta prior makes of binomial counts, how much a cluster is worth.

Conjugate update and shrinkage: Gelman et al., Bayesian Data Analysis, 3rd ed., 2.4 and 5.3 (from memory). Beta-binomial: scipy.stats.betabinom.
Design effect: Kish, Survey Sampling, 5.4 (from memory); the intra-class correlation of a beta-binomial is 1 / (a + b + 1).
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from coppermend.adapters.files.learnedbook import FileLearned
from coppermend.cli import cli
from coppermend.core.belief.model import Basis
from coppermend.core.findings import Refusal
from coppermend.core.planning.learned import (
    TOGETHER,
    UNPROVEN,
    WORTH_SITES,
    CaseCounts,
    Cell,
    chance_of,
    factors_of,
    learned_rates,
    mean_scale,
    worth,
)
from coppermend.formats.learned import learned_bytes, read_learned
from coppermend.services.learnednumbers import factors_of_values
from coppermend.services.learning import Learned, MemoryLearned, key_of, take_rows


def row(key: str, board: str, *cells: Cell) -> CaseCounts:
    return CaseCounts(key_of(key), board * 64, cells)


def test_the_learned_rate_is_the_mean_of_the_posterior_worked_out_by_numbers() -> None:
    """One board model, one case: the density prior x likelihood integrated, with binomial counts at the size that the cluster is worth."""
    sites, broken, default = 60, 3.0, 0.008
    found = learned_rates([row("a", "b", Cell("rework", "joint", sites, broken, default * sites))], "b" * 64)[0]
    n = sites / (1 + (sites - 1) * TOGETHER)
    y = broken * n / sites

    def density(p: float) -> float:
        return float(stats.beta.pdf(p, WORTH_SITES * default, WORTH_SITES * (1 - default)) * p**y * (1 - p) ** (n - y))

    mass = integrate.quad(density, 0, 1, points=[0.005, 0.05], limit=400)[0]
    mean = integrate.quad(lambda p: p * density(p), 0, 1, points=[0.005, 0.05], limit=400)[0] / mass
    assert found.rate == pytest.approx(mean, rel=1e-6) and found.default == pytest.approx(default)
    low, high = stats.beta.ppf([0.05, 0.95], WORTH_SITES * default + y, WORTH_SITES * (1 - default) + n - y)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-9)


@given(sites=st.integers(1, 60), mean=st.floats(0.001, 0.4), size=st.floats(5, 2000), share=st.floats(0, 1))
def test_the_chance_of_the_next_failures_is_scipys_beta_binomial(
    sites: int, mean: float, size: float, share: float
) -> None:
    k = round(share * sites)
    assert chance_of(k, sites, mean, size) == pytest.approx(
        float(stats.betabinom.pmf(k, sites, mean * size, (1 - mean) * size)), rel=1e-6, abs=1e-12
    )


def test_a_cluster_is_worth_what_the_variance_of_a_beta_binomial_says() -> None:
    """Var of a mean of n beta-binomial sites = m (1 - m) / worth(n), where 1 / (a + b + 1) is the correlation."""
    s = 1 / TOGETHER - 1
    for n in (1, 10, 100):
        m = 0.05
        assert stats.betabinom.var(n, m * s, (1 - m) * s) / n**2 == pytest.approx(m * (1 - m) / worth(n), rel=1e-9)


def test_a_board_model_is_drawn_from_the_default_to_others_and_from_those_to_its_own() -> None:
    others = [row(f"o{k}", "c", Cell("corrosion", "barrel", 40, 4.0, 0.16)) for k in range(20)]
    own = [row(f"m{k}", "b", Cell("corrosion", "barrel", 40, 0.0, 0.16)) for k in range(20)]
    alone = learned_rates(others, "b" * 64)[0]
    both = learned_rates([*others, *own], "b" * 64)[0]
    mine = learned_rates(own, "b" * 64)[0]
    assert alone.default == pytest.approx(0.004) and alone.cases == 0 and alone.other_cases == 20
    assert alone.elsewhere == pytest.approx(alone.rate) and alone.default < alone.rate < 0.1
    assert mine.rate < mine.default < both.rate < both.elsewhere
    assert (both.cases, both.sites, both.broken, both.other_sites, both.other_broken) == (20, 800, 0.0, 800, 80.0)
    fewer = [row(f"f{k}", "b", Cell("corrosion", "barrel", 40, 0.0, 0.16)) for k in range(5)]
    assert both.rate < learned_rates([*others, *fewer], "b" * 64)[0].rate < alone.rate, (
        "more cases of its own count more"
    )


def test_no_case_counts_twice_and_the_case_at_hand_not_at_all() -> None:
    one = row("a", "b", Cell("rework", "joint", 50, 5.0, 0.4))
    once = learned_rates([one], "b" * 64)
    assert learned_rates([one, one, replace(one)], "b" * 64) == once
    assert learned_rates([one], "b" * 64, {key_of("a")}) == ()
    book = MemoryLearned()
    assert take_rows(book, [one]) == 1 and take_rows(book, [one]) == 0
    assert Learned(own={}, taken=(one,)).rows() == (one,)


@given(st.lists(st.tuples(st.integers(1, 400), st.floats(0, 1)), max_size=30), st.booleans())
def test_learned_priors_never_prove_a_site_by_themselves(cases: list[tuple[int, float]], mine: bool) -> None:
    basis = Basis()
    rows = [
        row(str(k), "b" if mine else "c", *(Cell("rework", site, n, share * n, 0.004 * n) for site in basis.prior_in))
        for k, (n, share) in enumerate(cases)
    ]
    factors = factors_of(learned_rates(rows, "b" * 64), basis)
    for site, factor in factors.get("rework", {}).items():
        default = basis.prior_in[site] * mean_scale(basis)
        assert 0.0 < factor <= 10.0
        assert default * factor >= min(default, UNPROVEN * basis.proven_below) * (1 - 1e-5), site
    values = {
        "rates": [
            {"damage": "rework", "site": s, "factor": f}
            for s, f in factors.get("rework", {}).items()
            if s != "run_narrow"
        ]
    }
    assert factors_of_values(values) == (
        {"rework": {k: v for k, v in factors["rework"].items() if k != "run_narrow"}} if rows else {}
    )


def test_the_file_holds_nothing_of_the_cases_and_bad_files_are_refused() -> None:
    rows = (row("a", "b", Cell("rework", "joint", 50, 5.0, 0.4)), row("b", "c"))
    data = learned_bytes(rows)
    assert set(read_learned(data)) == set(rows) and learned_bytes(reversed(rows)) == data
    value = json.loads(data)
    assert set(value["cases"][0]) == {"case_sha256", "package_id", "cells"}

    def broken(**change: object) -> bytes:
        cell = {"damage": "rework", "site": "joint", "sites": 5, "broken": 1, "expected": 0.1, **change}
        one = {"case_sha256": "a" * 64, "package_id": "b" * 64, "cells": [cell]}
        return json.dumps({"format": "coppermend-learned", "version": 1, "cases": [one]}).encode()

    assert read_learned(broken())
    twice = json.dumps({**value, "cases": [value["cases"][0]] * 2}).encode()
    bad = [
        b"",
        b"[]",
        b"{",
        b"\xff",
        b"[" * 100000,
        twice,
        json.dumps({**value, "version": 3}).encode(),
        broken(owner="ada"),
    ]
    bad += [
        broken(sites=0),
        broken(sites=True),
        broken(broken=6),
        broken(broken=-1),
        broken(expected=0),
        broken(site="<b>"),
        broken(broken=None),
    ]
    bad += [broken().replace(b'"broken": 1', b'"broken": NaN'), broken(sites=10**9)]
    for one in bad:
        with pytest.raises(Refusal) as caught:
            read_learned(one)
        assert caught.value.finding.code == "LRN-001" and caught.value.finding.remedy
    with pytest.raises(Refusal):
        factors_of_values({"rates": [{"damage": "rework", "site": "joint", "factor": 1e9}]})


def test_a_spoilt_book_is_said_and_a_kept_one_is_read_again(tmp_path: Path) -> None:
    book = FileLearned(tmp_path / "learned.json")
    assert book.read() == Learned()
    rows = (row("a", "b", Cell("rework", "joint", 50, 5.0, 0.4)),)
    book.put(Learned(False, {}, rows))
    assert FileLearned(book.file).read() == Learned(False, {}, rows) == book.read()
    for text in ("x", "[]", "{}", '{"version": 1, "on": 1, "own": {}, "taken": [], "costs": null}'):
        book.file.write_text(text)
        with pytest.raises(Refusal) as caught:
            book.read()
        assert caught.value.finding.code == "LRN-002"


def test_by_command_line_switched_exported_and_imported(tmp_path: Path) -> None:
    def run(store: str, *words: str) -> str:
        return (
            CliRunner().invoke(cli, ["--store", str(tmp_path / store), "learn", *words], catch_exceptions=False).output
        )

    assert "0 cases teach" in run("one", "gather") and "Nothing was learned yet" in run("one", "show")
    assert "is off" in run("one", "switch", "off") and "Learning is off" in run("one", "show")
    file = tmp_path / "theirs.json"
    file.write_bytes(learned_bytes([row("a", "b", Cell("rework", "joint", 50, 5.0, 0.4))]))
    assert "1 new here" in run("one", "import", str(file)) and "0 new here" in run("one", "import", str(file))
    run("one", "export", str(tmp_path / "again.json"))
    assert (tmp_path / "again.json").read_bytes() == file.read_bytes()
    shown = run("one", "show")
    assert (
        "joint after rework: 5.0 of 50 broken in 1 case of all board models" in shown
        and "this board model" not in shown
    )
    assert "1 case from elsewhere" in run("one", "forget")


def test_correlation_of_simulated_leaks_is_what_the_design_effect_undoes() -> None:
    """Cases whose rates differ (beta, correlation TOGETHER): the spread of learned means over many stores is that of worth(n) independent sites."""
    rng = np.random.default_rng(1)
    m, n, cases, s = 0.05, 80, 12, 1 / TOGETHER - 1
    rates = rng.beta(m * s, (1 - m) * s, (2000, cases))
    means = rng.binomial(n, rates).mean(axis=1) / n
    assert means.var() == pytest.approx(m * (1 - m) / (cases * worth(n)), rel=0.1)
