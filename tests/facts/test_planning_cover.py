"""The fewest checks: ceil(L/2) against brute force on every small tree, and the certificate against a script of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import networkx as nx
import numpy as np
import pytest

from coppermend.core.belief.examples import EXAMPLE_AREA, example_graph
from coppermend.core.belief.model import Basis, Evidence
from coppermend.core.planning.round import plan_round
from coppermend.core.planning.trees import RiskTree, cover, covers, risk_trees
from coppermend.services.practice import PracticeSetting, certificate_data

ROOT = Path(__file__).resolve().parents[2]
CHECKER = ROOT / "tools" / "check_certificate.py"


def path_masks(tree: nx.Graph, ends: list[int]) -> dict[tuple[int, int], int]:
    """Bit mask of the edges on the way between each two ends."""
    number = {frozenset(e): i for i, e in enumerate(tree.edges)}
    masks = {}
    for a, b in combinations(ends, 2):
        way = nx.shortest_path(tree, a, b)
        masks[min(a, b), max(a, b)] = sum(1 << number[frozenset(e)] for e in pairwise(way))
    return masks


def fewest(masks: list[int], wanted: int) -> int:
    """Fewest masks whose union holds ``wanted``, by trying all choices."""
    if not wanted:
        return 0
    for count in range(1, len(masks) + 1):
        for choice in combinations(masks, count):
            union = 0
            for m in choice:
                union |= m
            if union & wanted == wanted:
                return count
    raise AssertionError("no choice covers")


@pytest.mark.parametrize("nodes", range(2, 10))
def test_no_shorter_cover_exists_on_any_tree_of_up_to_nine_nodes(nodes: int) -> None:
    """Trees from networkx' nonisomorphic_trees (95 in all from 2 to 9 nodes); minimum by brute force; ceil(L/2): Kahng, Robins, Walkup 1998."""
    for tree in nx.nonisomorphic_trees(nodes):
        edges = {i: (a, b) for i, (a, b) in enumerate(tree.edges)}
        (risk,), rest = risk_trees(edges, set(edges), (), list(tree.nodes))
        assert rest == ()
        leaves = sum(d == 1 for _, d in tree.degree)
        masks = path_masks(tree, list(tree.nodes))
        want = fewest(sorted(set(masks.values()), key=lambda m: -m.bit_count()), (1 << len(edges)) - 1)
        pairs = cover(risk)
        assert risk.bound == (leaves + 1) // 2 == want == len(pairs)
        assert covered(risk, tree, masks) == (1 << len(edges)) - 1


def covered(risk: RiskTree, tree: nx.Graph, masks: dict[tuple[int, int], int]) -> int:
    """Edges covered by the pairs, and by every stand-in that a pair allows (the worst of them)."""
    node = {g: nodes[0] for g, nodes in enumerate(risk.groups)}
    worst = (1 << tree.number_of_edges()) - 1
    options = [[(p.a, b) for b in (p.b, *p.also)] for p in cover(risk)]
    fixed = 0
    for option in options:
        if len(option) == 1:
            fixed |= masks[tuple(sorted((node[option[0][0]], node[option[0][1]])))]
    free = [o for o in options if len(o) > 1]
    assert len(free) <= 1
    if not free:
        return fixed
    for a, b in free[0]:
        worst &= fixed | masks[tuple(sorted((node[a], node[b])))]
    return worst


def test_with_sound_stretches_and_hidden_nodes_the_bound_is_still_the_brute_force_minimum() -> None:
    """200 random trees of up to 8 edges: some edges need no proof, some nodes cannot be touched. Minimum by brute force over all point pairs."""
    rng = np.random.default_rng(4)
    for _ in range(200):
        n = int(rng.integers(3, 9))
        tree = nx.from_edgelist([(int(rng.integers(0, k)), k) for k in range(1, n)])
        edges = {i: (a, b) for i, (a, b) in enumerate(tree.edges)}
        doubt = {i for i in edges if rng.random() < 0.7}
        touch = [v for v in range(n) if rng.random() < 0.7]
        trees, rest = risk_trees(edges, doubt, (), touch)
        masks = path_masks(tree, touch)
        provable = 0
        for m in masks.values():
            provable |= m
        wanted = provable & sum(1 << i for i in doubt)
        assert set(rest) == {i for i in doubt if not provable >> i & 1}
        assert sum(t.bound for t in trees) == fewest(list(set(masks.values())), wanted)


def test_a_broken_stretch_parts_the_net_and_each_part_is_proven_on_its_own() -> None:
    """A row of five sites with the middle one broken: one check on either side."""
    edges = {k: (k, k + 1) for k in range(5)}
    trees, rest = risk_trees(edges, {0, 1, 3, 4}, {2}, range(6))
    assert [t.bound for t in trees] == [1, 1]
    assert rest == ()


def test_closed_readings_shrink_the_round_whether_planned_or_not() -> None:
    star = example_graph([(0, k) for k in range(1, 6)], [1, 2, 3, 4, 5])
    whole = plan_round(star, (EXAMPLE_AREA,), (), Basis())
    assert (whole.bound, len(whole.checks)) == (3, 3)
    after = plan_round(star, (EXAMPLE_AREA,), (Evidence("1", "p1", "p2", "closed"),), Basis())
    assert (after.bound, len(after.checks)) == (2, 2)
    assert {"s2", "s3", "s4"} <= {s for c in after.checks for s in c.sites}


def test_sites_with_two_ways_round_or_no_point_beyond_are_listed_with_what_would_prove_them() -> None:
    ring = example_graph([(0, 1), (1, 2), (2, 0), (2, 3), (3, 4)], [0, 1, 2, 3])
    plan = plan_round(ring, (EXAMPLE_AREA,), (), Basis())
    why = {site: (words, what) for site, words, what in plan.unprovable}
    assert set(why) == {"s0", "s1", "s2", "s4"}
    assert "two ways round" in why["s0"][0] and why["s0"][1]
    assert "beyond it" in why["s4"][0]
    assert plan.provable == ("s3",)


def random_setting(seed: int) -> PracticeSetting:
    """A random board of a few nets with rings, sound stretches and nodes that cannot be touched."""
    rng = np.random.default_rng(seed)
    ends: list[tuple[int, int]] = []
    nets: list[int] = []
    terminals: list[int] = []
    for net in range(6):
        first, count = len(nets), int(rng.integers(2, 12))
        ends += [(first + int(rng.integers(0, k)), first + k) for k in range(1, count)]
        if rng.random() < 0.5 and count > 3:
            ends.append((first, first + count - 1))
        nets += [net] * count
        terminals += [first + k for k in range(count) if rng.random() < 0.7]
    cold = {k for k in range(len(ends)) if rng.random() < 0.3}
    return PracticeSetting(example_graph(ends, terminals, cold=cold, nets=nets), (EXAMPLE_AREA,))


def check(data: dict[str, Any], tmp_path: Path) -> subprocess.CompletedProcess[str]:
    file = tmp_path / "certificate.json"
    file.write_text(json.dumps(data), encoding="utf-8")
    return subprocess.run([sys.executable, "-I", str(CHECKER), str(file)], capture_output=True, text=True, check=False)


def test_the_certificate_is_confirmed_by_a_script_that_imports_nothing_of_ours(tmp_path: Path) -> None:
    source = CHECKER.read_text(encoding="utf-8")
    assert "import coppermend" not in source and "from coppermend" not in source
    for seed in range(12):
        done = check(certificate_data(random_setting(seed)), tmp_path)
        assert done.returncode == 0, done.stdout + done.stderr


def test_the_script_notices_a_missing_check_a_wrong_count_and_an_empty_file(tmp_path: Path) -> None:
    data = certificate_data(random_setting(3))
    spoiled = json.loads(json.dumps(data))
    next(n for n in spoiled["nets"] if n["checks"])["checks"].pop()
    assert check(spoiled, tmp_path).returncode == 1
    spoiled = json.loads(json.dumps(data))
    spoiled["terms"][0]["leaves"] += 2
    assert check(spoiled, tmp_path).returncode == 1
    spoiled = json.loads(json.dumps(data))
    spoiled["bound"] -= 1
    assert check(spoiled, tmp_path).returncode == 1
    (tmp_path / "certificate.json").write_text("", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-I", str(CHECKER), str(tmp_path / "certificate.json")], capture_output=True, check=False
    )
    assert done.returncode == 2


def test_every_cover_on_offer_is_a_minimal_cover_and_the_usual_one_is_among_them() -> None:
    """ceil(L/2) paths whose union is every edge (Kahng, Robins, Walkup 1998), checked by walking each path with networkx on random trees."""
    for seed in range(60):
        rng = np.random.default_rng([23, seed])
        n = int(rng.integers(3, 10))
        graph = nx.Graph((int(rng.integers(0, k)), k) for k in range(1, n))
        leaves = tuple(sorted(v for v in graph if graph.degree(v) == 1))
        tree = RiskTree(tuple((v,) for v in range(n)), tuple((a, b, i) for i, (a, b) in enumerate(graph.edges)), leaves)
        offered = list(covers(tree))
        assert cover(tree) in offered
        for paths in offered:
            assert len(paths) == (len(leaves) + 1) // 2
            for last in (paths[-1].b, *paths[-1].also):
                ends = [*((p.a, p.b) for p in paths[:-1]), (paths[-1].a, last)]
                seen = {frozenset(e) for a, b in ends for e in pairwise(nx.shortest_path(graph, a, b))}
                assert seen == {frozenset(e) for e in graph.edges}
