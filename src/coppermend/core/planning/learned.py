"""What past cases say of the priors: how often a kind of site failed on a board model under a kind of damage, shrunk towards what is known elsewhere.

One cell is a kind of damage (rework, corrosion, impact) and a kind of site (run, barrel, joint, ...). Of ``n`` sites of a case that the readings
settled, ``y`` were broken. Two steps of the same conjugate pair (binomial data, Beta prior; Gelman et al., Bayesian Data Analysis, 3rd ed., 2.4 and
5.3, from memory):

* other board models: mean m = (S p0 + Y') / (S + N'), with the default rate p0 worth S sites;
* this board model: Beta(S m + Y, S (1 - m) + N - Y), mean (S m + Y) / (S + N).

A count stands in one of the two only. Sites of one case fail together (one leak wets them all), so n of one case count as n / (1 + (n - 1) r): the
design effect of clusters with intra-class correlation r, which is that of a beta-binomial (Kish, Survey Sampling, 5.4; from memory).
What is learned is a factor on the priors handed to the belief, never a reading: it cannot prove a site by itself (``factors_of`` keeps it above that).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp

from coppermend.core.belief.model import Basis, WorkArea

PART = "part"
"""The damage of cells that count parts: no damage to copper. Their site is the kind of part: a chip's type, resistor, electrolytic, ..."""
WORTH_SITES = 200.0
"""The default rate is worth so many sites, and what other board models say is worth so many of this one (an assumption)."""
TOGETHER = 0.02
"""Intra-class correlation of the sites of one case (an assumption): 100 sites of one case count as 34."""
LEAST_FACTOR, MOST_FACTOR = 0.1, 10.0
UNPROVEN = 1.5
"""A learned prior stays at least so many times above the threshold of "proven": past cases never spare the only reading of a site."""
MIDDLE = 0.9
"""Share of the interval that is shown."""


@dataclass(frozen=True, slots=True)
class Cell:
    """What one case says of one kind of site under one kind of damage: ``sites`` settled, ``broken`` of them (shares of a span add up to 1), ``expected`` by the defaults."""

    damage: str
    site: str
    sites: int
    broken: float
    expected: float


@dataclass(frozen=True, slots=True)
class CaseCounts:
    """What one finished case teaches. ``key`` stands for the case and tells nothing of it; ``board`` the id of its package."""

    key: str
    board: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class LearnedRate:
    """What is known of one cell on one board model: counts of this model and of others, the default rate, the learned one with its interval, their ratio."""

    damage: str
    site: str
    cases: int
    sites: int
    broken: float
    other_cases: int
    other_sites: int
    other_broken: float
    default: float
    elsewhere: float
    rate: float
    low: float
    high: float
    factor: float


def learned_rates(rows: Iterable[CaseCounts], board: str, without: Collection[str] = ()) -> tuple[LearnedRate, ...]:
    """The learned rates of a board model by damage and site. A case counts once, by its key; those of ``without`` (the case at hand) do not.

    >>> past = [CaseCounts("a", "x", (Cell("rework", "joint", 100, 2.0, 0.8),))]
    >>> one = learned_rates(past, "x")[0]
    >>> round(one.default, 4), round(one.rate, 4), one.cases, learned_rates(past, "x", {"a"})
    (0.008, 0.0097, 1, ())
    """
    once = {one.key: one for one in rows if one.key not in without}
    cells: dict[tuple[str, str], list[tuple[bool, Cell]]] = {}
    for case in once.values():
        for cell in case.cells:
            if cell.sites > 0:
                cells.setdefault((cell.damage, cell.site), []).append((case.board == board, cell))
    return tuple(_rate(damage, site, found) for (damage, site), found in sorted(cells.items()))


def _rate(damage: str, site: str, found: Sequence[tuple[bool, Cell]]) -> LearnedRate:
    from scipy.special import betaincinv

    own, other = ([cell for mine, cell in found if mine is which] for which in (True, False))
    default = sum(one.expected for _, one in found) / sum(one.sites for _, one in found)
    a, n = _pooled(WORTH_SITES * default, WORTH_SITES, other)
    elsewhere = a / n
    a, n = _pooled(WORTH_SITES * elsewhere, WORTH_SITES, own)
    rate = a / n
    tail = (1.0 - MIDDLE) / 2.0
    low, high = (float(betaincinv(a, n - a, q)) for q in (tail, 1.0 - tail))
    return LearnedRate(
        damage, site,
        len(own), sum(one.sites for one in own), sum(one.broken for one in own),
        len(other), sum(one.sites for one in other), sum(one.broken for one in other),
        default, elsewhere, rate, low, high, min(max(rate / default, LEAST_FACTOR), MOST_FACTOR) if default > 0 else 1.0,
    )  # fmt: skip


def _pooled(a: float, n: float, cells: Iterable[Cell]) -> tuple[float, float]:
    """Failures and sites after these cells, each at the size that its sites are worth together."""
    for one in cells:
        size = worth(one.sites)
        a += min(max(one.broken, 0.0), one.sites) * size / one.sites
        n += size
    return a, n


def worth(sites: int) -> float:
    """So many independent sites are ``sites`` of one case worth.

    >>> worth(1), round(worth(100), 1)
    (1.0, 33.6)
    """
    return sites / (1.0 + (sites - 1) * TOGETHER)


def chance_of(broken: int, sites: int, mean: float, worth_sites: float) -> float:
    """Probability that ``broken`` of the next ``sites`` fail: beta-binomial with that mean, known as if from ``worth_sites`` sites.

    >>> round(chance_of(0, 10, 0.02, 200.0), 4)
    0.8207
    """
    from scipy.special import betaln, gammaln

    a, b = mean * worth_sites, (1.0 - mean) * worth_sites
    choose = gammaln(sites + 1) - gammaln(broken + 1) - gammaln(sites - broken + 1)
    return exp(float(choose + betaln(broken + a, sites - broken + b) - betaln(a, b)))


def mean_scale(basis: Basis) -> float:
    """What a prior inside a work area is worth on average: the belief supposes that all of them may be too high, by so much.

    >>> round(mean_scale(Basis()), 3)
    0.202
    """
    total = sum(weight for _, weight in basis.damage_scales)
    return sum(scale * weight for scale, weight in basis.damage_scales) / total if total else 1.0


def factors_of(rates: Iterable[LearnedRate], basis: Basis) -> dict[str, dict[str, float]]:
    """Factor on the priors by damage and site, never so low that a site would count as proven without a reading."""
    out: dict[str, dict[str, float]] = {}
    for one in rates:
        if one.damage == PART:
            out.setdefault(PART, {})[one.site] = round(one.factor, 6)
            continue
        default = basis.prior_in.get(one.site, basis.prior_out) * mean_scale(basis)
        least = min(1.0, UNPROVEN * basis.proven_below / default) if default > 0 else 1.0
        out.setdefault(one.damage, {})[one.site] = round(max(one.factor, least), 6)
    return out


def with_learned(areas: Sequence[WorkArea], factors: Mapping[str, Mapping[str, float]]) -> tuple[WorkArea, ...]:
    """The work areas with learned factors on their priors, beside what looks make of them; areas of other kinds as they are.

    >>> area = WorkArea("a", ((0, 0), (1, 0), (1, 1)), "rework", 2, scale=(("run@c", 0.5),))
    >>> with_learned((area,), {"rework": {"run": 3.0}})[0].scale
    (('run@c', 1.5), ('run', 3.0))
    """
    return tuple(_scaled(one, factors[one.kind]) if factors.get(one.kind) else one for one in areas)


def _scaled(area: WorkArea, factors: Mapping[str, float]) -> WorkArea:
    looked = dict(area.scale)
    scale = [(key, value * factors.get(key.partition("@")[0], 1.0)) for key, value in looked.items()]
    scale += [(site, factor * area.rest) for site, factor in sorted(factors.items()) if site not in looked]
    return replace(area, scale=tuple(scale))
