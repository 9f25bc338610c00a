"""What would clear a suspect: P(symbol) with it and without it, against a direct count of both (Bayes' rule over the sets)."""

from __future__ import annotations

import numpy as np
import pytest

from coppermend.core.belief.suspects.reasons import symbol_mass, with_and_without


@pytest.mark.parametrize("weight", [1e-200, 1e-12, 0.01, 0.5, 0.99, 1.0 - 1e-12])
def test_shares_equal_a_direct_count(weight: float) -> None:
    """From a unit that is all but excluded to one that is all but certain: the lighter part is counted, what is left of all is the other."""
    rng = np.random.default_rng(5)
    symbols = rng.integers(0, 6, (40, 300)).astype(np.uint8)
    holds = rng.random(300) < 0.2
    weights = rng.random(300)
    weights[holds] *= weight / weights[holds].sum()
    weights[~holds] *= (1.0 - weight) / weights[~holds].sum()
    found = with_and_without(symbols, weights, holds, symbol_mass(symbols, weights))
    assert found is not None
    for shares, mine in zip(found, (holds, ~holds), strict=True):
        direct = np.stack([((symbols == s) * weights)[:, mine].sum(axis=1) for s in range(6)], axis=1)
        assert np.allclose(shares, direct / weights[mine].sum(), rtol=1e-9, atol=1e-14)


def test_nothing_where_all_sets_hold_it_or_none() -> None:
    symbols, weights = np.zeros((2, 3), np.uint8), np.array([0.5, 0.5, 0.0])
    every = symbol_mass(symbols, weights)
    for holds in ([True, True, False], [False, False, True]):
        assert with_and_without(symbols, weights, np.array(holds), every) is None
