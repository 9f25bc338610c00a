"""Bridges, chains and dead ends against networkx on random nets."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest

from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.copper.provable import all_views, net_view


def random_graph(seed: int) -> CopperGraph:
    """Up to 14 nodes, a few loops, doubled sites, some nodes with a reachable point, some pins without."""
    dice = np.random.default_rng(seed)
    n = int(dice.integers(2, 15))
    edges = [(int(dice.integers(0, k)), k) for k in range(1, n)]
    edges += [tuple(int(v) for v in dice.integers(0, n, 2)) for _ in range(int(dice.integers(0, 4)))]  # type: ignore[misc]
    sites = tuple(
        Site(f"r{k}", SiteKind.RUN, 0, a, b, "c", ((0.0, 0.0), (1.0, 0.0)), (0.3,), 1.0, 0.3, 0.01)
        for k, (a, b) in enumerate(edges)
    )
    tips = [k for k in range(n) if dice.random() < 0.4]
    points = tuple(ProbePoint(f"p{k}", k, 0, float(k), 0.0, "c", reachable=bool(dice.random() < 0.8)) for k in tips)
    kinds = tuple("pin" if dice.random() < 0.3 else "land" for _ in range(n))
    return CopperGraph("x", ("N",), (0,) * n, ((0.0, 0.0, "c"),) * n, kinds, sites, points, ())


def multigraph(graph: CopperGraph, without: str = "") -> nx.MultiGraph:
    out = nx.MultiGraph()
    out.add_nodes_from(range(graph.node_count))
    out.add_edges_from((s.a, s.b, s.id) for s in graph.sites if s.id != without)
    return out


@pytest.mark.parametrize("seed", range(300))
def test_provable_means_that_its_loss_parts_two_points(seed: int) -> None:
    """A site is provable exactly when taking it out leaves reachable points on both sides of it (networkx components)."""
    graph = random_graph(seed)
    view = net_view(graph, 0)
    tips = set(view.terminals)
    for site in graph.sites:
        parted = multigraph(graph, site.id)
        a, b = nx.node_connected_component(parted, site.a), nx.node_connected_component(parted, site.b)
        expected = site.b not in a and bool(tips & a) and bool(tips & b)
        assert (site.id not in view.why_not) == expected, site
        edge = view.super_edges[view.super_of[site.id]]
        assert edge.provable == expected
        pins = {n for n, kind in enumerate(graph.node_kind) if kind == "pin"}
        if site.id in view.idle and site.b not in a:
            far = a if not tips & a else b
            assert not (pins & (far - {site.a, site.b})) or not tips


@pytest.mark.parametrize("seed", range(300))
def test_every_site_is_in_one_super_edge_and_series_sites_share_it(seed: int) -> None:
    graph = random_graph(seed)
    view = net_view(graph, 0)
    held = [site for edge in view.super_edges for site in edge.sites]
    assert sorted(held) == sorted(s.id for s in graph.sites)
    for edge in view.super_edges:
        if not edge.provable:
            continue
        groups = set()
        for site in edge.sites:
            parted = multigraph(graph, site)
            ends = graph.site(site)
            near = frozenset(set(view.terminals) & nx.node_connected_component(parted, ends.a))
            groups.add(frozenset({near, frozenset(set(view.terminals) - near)}))
        assert len(groups) == 1, "sites of one super-edge part the same points from each other"


@pytest.mark.parametrize("seed", range(60))
def test_all_views_are_the_single_views(seed: int) -> None:
    graph = random_graph(seed)
    assert all_views(graph) == {0: net_view(graph, 0)}
