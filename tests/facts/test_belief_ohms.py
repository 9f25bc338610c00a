"""Ohms readings as evidence in the one belief: against brute force over every break pattern, excess, contact and set of true values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import networkx as nx
import numpy as np
import pytest
from tests.belief_cases import random_graph

from coppermend.core.belief import valued
from coppermend.core.belief.engine import belief
from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.belief.network import draw
from coppermend.core.belief.ohmic import (
    FOUR_WIRE,
    SCALE_COMMON_SD,
    SCALE_NET_SD,
    WIDTH_MM,
    WIDTH_SD,
    OhmsReading,
    two_wire,
)
from coppermend.core.belief.partial import CELL, EXCESS_OHM
from coppermend.core.belief.shorts import ShortModel, locate, short_evidence, short_model
from coppermend.core.belief.valued import TIP_ADDS, flat, through_parts
from coppermend.core.copper.bridges import BridgePlace, Spot
from coppermend.core.copper.model import CopperGraph

AREAS = (EXAMPLE_AREA,)
BASIS = Basis(false_closed=0.002, contact_shares=(), damage_scales=(), open_scales=(), contact_bad=0.1)


def reaches(graph: CopperGraph, ohm: Sequence[float], pairs: Sequence[tuple[int, int]]) -> np.ndarray:
    """Resistance between pairs of nodes by the pseudo-inverse of the Laplacian (Klein and Randic 1993); inf where no copper joins them."""
    laplacian = np.zeros((graph.node_count, graph.node_count))
    joined = nx.Graph()
    joined.add_nodes_from(range(graph.node_count))
    for site, r in zip(graph.sites, ohm, strict=True):
        if site.a != site.b and np.isfinite(r):
            joined.add_edge(site.a, site.b)
            for i, j, sign in ((site.a, site.a, 1), (site.b, site.b, 1), (site.a, site.b, -1), (site.b, site.a, -1)):
                laplacian[i, j] += sign / r
    inverse = np.linalg.pinv(laplacian)
    out = []
    for a, b in pairs:
        way = nx.has_path(joined, a, b)
        out.append(inverse[a, a] + inverse[b, b] - 2 * inverse[a, b] if way else np.inf)
    return np.array(out)


def in_blocks(graph: CopperGraph, pairs: Sequence[tuple[int, int]]) -> set[int]:
    """Sites of the blocks with two ways round that lie between the pairs (networkx's biconnected components)."""
    multi = nx.MultiGraph()
    for k, site in enumerate(graph.sites):
        if site.a != site.b:
            multi.add_edge(site.a, site.b, key=k)
    found = set()
    for component in nx.biconnected_components(nx.Graph(multi)):
        inner = [k for a, b, k in multi.edges(keys=True) if a in component and b in component]
        if len(inner) < 2:
            continue
        rest = multi.edge_subgraph([e for e in multi.edges(keys=True) if e[2] not in inner]).copy()
        rest.add_nodes_from(range(graph.node_count))
        if any(nx.has_path(multi, a, b) and not nx.has_path(rest, a, b) for a, b in pairs):
            found.update(inner)
    return found


def normal(off: np.ndarray, cover: np.ndarray) -> float:
    """Density of the multivariate normal distribution, by Cholesky of the correlation matrix."""
    sd = np.sqrt(np.diag(cover))
    root = np.linalg.cholesky(cover / np.outer(sd, sd))
    z = np.linalg.solve(root, off / sd)
    return float(np.exp(-0.5 * z @ z) / (np.prod(sd) * np.prod(np.diag(root)) * (2 * np.pi) ** (len(off) / 2)))


def common_of(graph: CopperGraph) -> float:
    """Variance of the board's scale: 4 % of temperature beside what of the usual 10 % is thickness, which goes with the spread that was given."""
    return 0.04**2 + (SCALE_COMMON_SD**2 - 0.04**2) * (graph.copper_spread / 0.1) ** 2


def brute_force(
    graph: CopperGraph, prior: np.ndarray, evidence: Sequence[Evidence], basis: Basis
) -> tuple[np.ndarray, float, np.ndarray]:
    """Posterior of every site, evidence, and chance of an excess by site, from the definition in ``core.belief.valued``. Every node has a tip."""
    node = {p.id: p.node for p in graph.points}
    pairs = [(node[e.point_a], node[e.point_b]) for e in evidence]
    values = [i for i, e in enumerate(evidence) if e.ohms is not None]
    base = np.array([s.resistance_ohm for s in graph.sites])
    n = len(base)
    wanted = [pairs[i] for i in values]
    sound = reaches(graph, base, wanted)
    slope = np.zeros((len(values), n))
    for k in range(n):
        up, down = base.copy(), base.copy()
        up[k] *= 1.0 + 1e-5
        down[k] *= 1.0 - 1e-5
        slope[:, k] = (reaches(graph, up, wanted) - reaches(graph, down, wanted)) / (2e-5 * base[k])
    spread = slope * np.array([WIDTH_SD * (WIDTH_MM / s.length_mm) ** 0.5 * s.resistance_ohm for s in graph.sites])
    means = [evidence[i].instrument for i in values]
    zero = np.array([(m.contact_ohm**2 + m.zero_ohm**2) ** 0.5 if m.wires == 2 else 0.0 for m in means])
    scale = np.array([np.sqrt(common_of(graph) + SCALE_NET_SD**2 + m.gain**2) for m in means])
    noise = spread @ spread.T + np.outer(zero, zero) + np.diag([m.variance for m in means])
    ohm = np.array([evidence[i].ohms for i in values])
    blocks = in_blocks(graph, wanted)
    excesses = [(k, r, basis.partial_share * prior[k] / len(EXCESS_OHM)) for k in range(n) for r in EXCESS_OHM]
    none = 1.0 - basis.partial_share * float(prior.sum())
    more = np.array([reaches(graph, base + r * (np.arange(n) == k), wanted) - sound for k, r, _ in excesses])

    def density(mean: np.ndarray, rows: list[int], step: np.ndarray | None = None) -> float:
        cover = noise[np.ix_(rows, rows)] + np.outer(scale[rows] * mean[rows], scale[rows] * mean[rows])
        if step is not None:
            cover = (
                noise[np.ix_(rows, rows)]
                + np.outer(scale[rows] * sound[rows], scale[rows] * sound[rows])
                + np.outer(step[rows], step[rows])
            )
        return normal(ohm[rows] - mean[rows], cover)

    whole_kept: dict[tuple[int, ...], tuple[float, np.ndarray]] = {}

    def whole(rows: list[int]) -> tuple[float, np.ndarray]:
        key = tuple(rows)
        if key not in whole_kept:
            parts = np.array(
                [q * density(sound + m, rows, CELL * m) for (_, _, q), m in zip(excesses, more, strict=True)]
            )
            whole_kept[key] = (none * density(sound, rows) + float(parts.sum()), parts)
        return whole_kept[key]

    points = sorted({p for e in evidence for p in (e.point_a, e.point_b)})
    total, site, excess = 0.0, np.zeros(n), np.zeros(n)
    for gone in product((False, True), repeat=n):
        broken = np.array(gone)
        chance = float(np.prod(np.where(broken, prior, 1.0 - prior)))
        reach = reaches(graph, np.where(broken, np.inf, base), pairs)
        mean = reach[values]
        for bad in product((False, True), repeat=len(points)):
            state = dict(zip(points, bad, strict=True))
            weight = chance * float(np.prod([basis.contact_bad if b else 1.0 - basis.contact_bad for b in bad]))
            bites = [
                np.prod([1.0 - basis.contact_false_open * state[p] for p in {e.point_a, e.point_b}]) for e in evidence
            ]
            for i, e in enumerate(evidence):
                if e.ohms is None:
                    closes = (
                        bites[i] * (1 - basis.false_open) + (1 - bites[i]) * basis.false_closed
                        if np.isfinite(reach[i])
                        else basis.false_closed
                    )
                    weight *= closes if e.says == "closed" else 1.0 - closes
            for true in product((False, True), repeat=len(values)):
                term = weight
                for v, i in enumerate(values):
                    adds = TIP_ADDS[means[v].wires]
                    r = float(ohm[v])
                    apart = max(basis.false_closed * flat(r) + (1 - basis.false_closed) * through_parts(r), 1e-12)
                    meets = bites[i] if np.isfinite(reach[i]) else 0.0
                    if true[v]:
                        term *= meets * (1 - basis.false_open) * (1 - adds)
                    else:
                        term *= (
                            meets * (basis.false_open * apart + (1 - basis.false_open) * adds * flat(r))
                            + (1 - meets) * apart
                        )
                rows = [v for v in range(len(values)) if true[v]]
                if term == 0.0:
                    continue
                if not rows:
                    parts = np.array([q for _, _, q in excesses])
                    weighed = 1.0
                elif any(broken[k] for k in blocks):
                    parts, weighed = np.zeros(len(excesses)), density(mean, rows)
                else:
                    weighed, parts = whole(rows)
                if not rows and any(broken[k] for k in blocks):
                    parts = np.zeros(len(excesses))
                total += term * weighed
                site += term * weighed * broken
                for (k, _, _), p in zip(excesses, parts, strict=True):
                    excess[k] += term * p
    return site / total, float(np.log(total)), excess / total


def some_readings(rng: np.random.Generator, graph: CopperGraph) -> list[Evidence]:
    """One to three ohms readings of any value beside one to three beeps."""
    names = [p.id for p in graph.points]
    node = {p.id: p.node for p in graph.points}
    base = [s.resistance_ohm for s in graph.sites]
    found = []
    for i in range(int(rng.integers(1, 4))):
        a, b = rng.choice(names, 2, replace=False).tolist()
        value = float(reaches(graph, base, [(node[a], node[b])])[0]) * float(rng.choice([1.0, 1.06, 2.0, 10.0, 300.0]))
        found.append(
            Evidence(f"o{i}", a, b, "ohms", value, instrument=FOUR_WIRE if rng.random() < 0.6 else two_wire(0.01))
        )
    for i in range(int(rng.integers(1, 3))):
        a, b = rng.choice(names, 2, replace=False).tolist()
        found.append(Evidence(f"b{i}", a, b, "open" if rng.random() < 0.5 else "closed"))
    return found


def with_tips(graph: CopperGraph, rng: np.random.Generator) -> CopperGraph:
    """The same sites with a tip on every node and resistances of all sizes."""
    ends = [(s.a, s.b) for s in graph.sites]
    cold = {k for k, s in enumerate(graph.sites) if s.path[0][1] > 0}
    made = example_graph(ends, list(range(graph.node_count)), cold=cold)
    return replace(made, sites=tuple(replace(s, resistance_ohm=float(rng.uniform(0.005, 0.2))) for s in made.sites))


def test_ohms_readings_equal_brute_force() -> None:
    """Thirty nets of up to 6 sites and 2 cycles: sites, evidence, excesses to 1e-6 (the brute force differentiates numerically; values left out are within the stated bound)."""
    rng = np.random.default_rng(5)
    for case in range(30):
        graph = with_tips(random_graph(rng, int(rng.integers(3, 7)), int(rng.integers(0, 3))), rng)
        graph = replace(graph, copper_spread=(0.1, 0.3, 0.02)[case % 3], memo={})
        evidence = some_readings(rng, graph)
        got = belief(graph, AREAS, evidence, BASIS)
        want, log_evidence, excess = brute_force(graph, got.prior, evidence, BASIS)
        assert got.error_bound <= 1e-4
        room = 1e-6 + got.error_bound
        assert np.abs(got.sites - want).max() <= room
        assert got.log_evidence == pytest.approx(log_evidence, abs=1e-5)
        found = {s: e.p for solved in got.benches[0].pieces.values() for e in solved.excess for s in e.sites}
        assert max(abs(found.get(s.id, excess[k]) - excess[k]) for k, s in enumerate(graph.sites)) <= room


def test_large_blocks_keep_their_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same nets with every block taken as a large one and every change of a value noticed: off by no more than the bound says."""
    monkeypatch.setattr(valued, "SMALL_UP_TO", 0)
    monkeypatch.setattr(valued, "NOTICED", 0.0)
    monkeypatch.setattr(valued, "SMALL_SHARE", 0.0)
    rng = np.random.default_rng(17)
    seen = 0
    for _ in range(12):
        graph = with_tips(random_graph(rng, int(rng.integers(4, 7)), int(rng.integers(1, 3))), rng)
        evidence = some_readings(rng, graph)
        got = belief(graph, AREAS, evidence, BASIS)
        want, _, _ = brute_force(graph, got.prior, evidence, BASIS)
        seen += got.error_bound == 0.0
        assert np.abs(got.sites - want).max() <= 1e-6 + got.error_bound
    assert seen < 12  # the bound is asked for


def test_samples_follow_the_posterior() -> None:
    """A ring with one way that reads half as much again: 20,000 samples within five standard errors of the exact chances."""
    graph = example_graph([(0, 1), (1, 2), (2, 0), (2, 3)], [0, 1, 2, 3], ohms=0.05)
    got = belief(graph, AREAS, [Evidence("1", "p0", "p2", "ohms", 0.045, instrument=FOUR_WIRE)], BASIS)
    broken, _ = draw(got.benches[0].pieces[0], 20_000, 3)
    share = broken.mean(axis=1)
    want = got.sites[list(got.copper.pieces[0])]
    assert np.abs(share - want).max() <= 5 * np.sqrt(0.25 / 20_000)
    assert want.max() > 0.05


@pytest.mark.parametrize(("ohm", "broken"), [(0.0333, False), (0.1, True)])
def test_a_way_round_is_proven_by_its_ohms(ohm: float, broken: bool) -> None:
    """Three equal stretches of 50 milliohm in a ring: 1/3 more across one when it is whole, the two others in series when it is not (Ohm's law)."""
    graph = example_graph([(0, 1), (1, 2), (2, 0), (2, 3)], [0, 1, 2, 3], ohms=0.05)
    said = [Evidence("1", "p0", "p2", "ohms", ohm, instrument=FOUR_WIRE), Evidence("2", "p0", "p2", "closed")]
    p = belief(graph, AREAS, said, Basis(false_closed=0.002)).p("s2")
    assert p > 0.8 if broken else p < 1e-3


def test_ohms_above_the_beep_are_no_proof_of_copper() -> None:
    """4.7 kilohm between two points is a way through parts: the copper counts as open, nearly as with no beep."""
    graph = example_graph([(0, 1), (1, 2)], [0, 2])
    through = belief(graph, AREAS, [Evidence("1", "p0", "p2", "ohms", 4700.0)], BASIS).p("s0")
    silent = belief(graph, AREAS, [Evidence("1", "p0", "p2", "open")], BASIS).p("s0")
    assert through == pytest.approx(silent, abs=0.02)
    assert silent > 0.15


def two_nets() -> CopperGraph:
    """Two straight nets of five nodes side by side: 40 milliohm between neighbours, tips everywhere."""
    ends = [(k, k + 1) for k in range(4)] + [(5 + k, 6 + k) for k in range(4)]
    spots = [(10.0 * k, 0.0) for k in range(5)] + [(10.0 * k, 1.0) for k in range(5)]
    return example_graph(ends, range(10), nets=[0] * 5 + [1] * 5, ohms=0.04, spots=spots)


def bridged(graph: CopperGraph) -> ShortModel:
    places = [BridgePlace(Spot(k), Spot(5 + k), 10.0 * k, 0.5, 0.2, "c", "land") for k in range(5)]
    return short_model(graph, 0, 1, places, list(range(10)))


def test_ohms_across_two_nets_say_whether_and_where_they_are_joined() -> None:
    """A bridge of 20 milliohm at the fourth place, four-wire: by hand 3 x 40 + 20 + 3 x 40 and 40 + 20 + 40; beside it two values that fit no place."""
    graph = two_nets()
    model = bridged(graph)
    true = [
        Evidence("1", "p0", "p5", "ohms", 0.26, instrument=FOUR_WIRE),
        Evidence("2", "p4", "p9", "ohms", 0.10, instrument=FOUR_WIRE),
    ]
    got = belief(graph, AREAS, true, Basis(false_closed=0.002), {frozenset((0, 1)): model}).shorts[0]
    alone = locate(model, [OhmsReading((0, 5), (0, 5), 0.26), OhmsReading((4, 9), (4, 9), 0.10)])
    assert int(np.argmax(got.places)) == 3 == alone.best
    assert got.places == pytest.approx(tuple(alone.p), abs=0.02)
    assert got.p > 0.999
    odd = [replace(one, ohms=value) for one, value in zip(true, (8.0, 0.001), strict=True)]
    beeps = [replace(one, says="closed", ohms=None) for one in true]
    assert belief(graph, AREAS, odd, Basis(false_closed=0.002), {frozenset((0, 1)): model}).shorts[0].p < 0.9
    assert belief(graph, AREAS, beeps, Basis(false_closed=0.002)).shorts[0].p > 0.999


@pytest.mark.parametrize("spread", [0.1, 0.25])
def test_one_value_across_against_its_formula(spread: float) -> None:
    """One four-wire reading: joined, (1 - fo)((1 - t) N + t flat) + fo apart; apart, fc flat; N summed over places and bridges by hand."""
    graph = replace(two_nets(), copper_spread=spread, memo={})
    model = bridged(graph)
    basis = Basis(false_closed=0.002)
    got = belief(
        graph, AREAS, [Evidence("1", "p0", "p8", "ohms", 0.3, instrument=FOUR_WIRE)], basis, {frozenset((0, 1)): model}
    ).shorts[0]
    low_open, low_closed, t = basis.false_open, basis.false_closed, TIP_ADDS[4]
    density = float(np.exp(short_evidence(model, [OhmsReading((0, 8), (0, 8), 0.3)])[0]))
    # the same density by numbers: the bridge's resistance half-normal, everything else Gaussian, on a fine grid
    rs = np.linspace(0.0, 12.0, 120_001)
    by_hand = 0.0
    for k in range(5):
        a, b = 0.04 * k, 0.04 * abs(3 - k)
        width = 0.08 * (10.0 / 2.54) ** 0.5 * 0.04
        var = (
            1e-8
            + (a + b) ** 2 * (common_of(graph) + 0.02**2)
            + (a**2 + b**2) * SCALE_NET_SD**2
            + (k + abs(3 - k)) * width**2
        )
        value = np.exp(-0.5 * (0.3 - a - b - rs) ** 2 / var) / np.sqrt(2 * np.pi * var)
        for size, w in ((0.05, 0.7), (2.0, 0.3)):
            half = 2.0 * np.exp(-0.5 * (rs / size) ** 2) / (size * np.sqrt(2 * np.pi))
            by_hand += 0.2 * w * float(np.trapezoid(value * half, rs))
    assert density == pytest.approx(by_hand, rel=2e-3)
    joined = basis.short_prior * (
        (1 - low_open) * ((1 - t) * density + t * flat(0.3)) + low_open * low_closed * flat(0.3)
    )
    apart = (1 - basis.short_prior) * low_closed * flat(0.3)
    assert got.p == pytest.approx(joined / (joined + apart), rel=1e-9)
