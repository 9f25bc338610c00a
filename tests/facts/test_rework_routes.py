"""Patch wires led along the board: against a search over every grid step by scipy, and brute force over all wire sets."""

from __future__ import annotations

import itertools
import time
from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import Any

import networkx as nx
import numpy as np
import pytest
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra
from tests.copper_boards import board, pad, part, track
from tests.facts.test_rework_wires import net, pieces_by_networkx, point, restored, run

from coppermend.core.board.model import Board
from coppermend.core.copper.build import build_graph
from coppermend.core.copper.model import CopperGraph, ProbePoint, SiteKind
from coppermend.core.copper.worked import PatchWire, worked
from coppermend.core.rework.bare import keep_clear
from coppermend.core.rework.pieces import Difficulty
from coppermend.core.rework.routes import BEND_MM, KeepOut, Ways, fixing_dots, made_route
from coppermend.core.rework.routes_boxes import Boxes, stops_of
from coppermend.core.rework.routes_lanes import Lanes
from coppermend.core.rework.routes_places import ways_of
from coppermend.core.rework.wires import propose_wires

SIZE = 24
EASE = Difficulty()


def grid_ways(rng: np.random.Generator) -> Ways:
    """A square of whole millimetres with random boxes on both sides and a few free holes."""
    boxes: list[KeepOut] = []
    for side in "cs":
        for _ in range(int(rng.integers(0, 6))):
            x, y = rng.integers(1, SIZE - 4, 2)
            w, h = rng.integers(2, 10, 2)
            boxes.append(
                KeepOut(
                    float(x),
                    float(y),
                    float(min(x + w, SIZE - 1)),
                    float(min(y + h, SIZE - 1)),
                    side,
                    f"box {len(boxes)}",
                )
            )
    holes = tuple((float(x), float(y)) for x, y in rng.integers(2, SIZE - 2, (int(rng.integers(0, 4)), 2)))
    return Ways(tuple(boxes), (0.0, 0.0, float(SIZE), float(SIZE)), holes)


class Grid:
    """The same ground as unit steps: a state is (x, y, direction), a step costs 1, a turn BEND_MM. Solved by scipy's Dijkstra."""

    def __init__(self, ways: Ways, side: str) -> None:
        boxes = [one for one in ways.keep_outs if one.side == side]
        n = SIZE + 1
        rows, columns, costs = [], [], []
        for x, y in itertools.product(range(n), repeat=2):
            here = self.at(x, y)
            rows += [here, here + 1]
            columns += [here + 1, here]
            costs += [BEND_MM, BEND_MM]
            for way, (dx, dy) in enumerate(((1, 0), (0, 1))):
                mx, my = x + dx / 2, y + dy / 2
                if x + dx < n and y + dy < n and not any(b.x0 < mx < b.x1 and b.y0 < my < b.y1 for b in boxes):
                    there = self.at(x + dx, y + dy)
                    rows += [here + way, there + way]
                    columns += [there + way, here + way]
                    costs += [1.0, 1.0]
        self.graph = coo_matrix((costs, (rows, columns)), shape=(2 * n * n, 2 * n * n)).tocsr()

    @staticmethod
    def at(x: float, y: float) -> int:
        return 2 * (int(x) * (SIZE + 1) + int(y))

    def costs(self, spot: tuple[float, float]) -> np.ndarray:
        """(x, y) -> least cost from a place; a wire may leave in either direction."""
        start = self.at(*spot)
        far = dijkstra(self.graph, indices=[start, start + 1]).min(axis=0)
        return np.asarray(far.reshape(SIZE + 1, SIZE + 1, 2).min(axis=2))


def inside(ways: Ways, x: float, y: float, side: str) -> bool:
    return any(one.side == side and one.holds(x, y) for one in ways.keep_outs)


def free_place(rng: np.random.Generator, ways: Ways, side: str) -> tuple[float, float]:
    while True:
        x, y = (float(v) for v in rng.integers(0, SIZE + 1, 2))
        if not inside(ways, x, y, side):
            return x, y


def test_routes_are_the_least_of_all_grid_ways() -> None:
    """1,000 random pairs of places among random boxes: the same cost as scipy's Dijkstra over every unit step, and the path keeps out."""
    rng = np.random.default_rng(5)
    barred = 0
    for _ in range(100):
        ways = grid_ways(rng)
        grid = Grid(ways, "s")
        for _ in range(10):
            a, b = free_place(rng, ways, "s"), free_place(rng, ways, "s")
            want = float(grid.costs(a)[int(b[0]), int(b[1])])
            found = ways.route(a, b, "s")
            if found is None:
                assert want == inf
                continue
            assert found.cost_mm == pytest.approx(want, abs=1e-9)
            assert (found.path[0], found.path[-1]) == (a, b) or a == b
            assert found.length_mm == pytest.approx(
                sum(abs(p[0] - q[0]) + abs(p[1] - q[1]) for p, q in itertools.pairwise(found.path))
            )
            for p, q in itertools.pairwise(found.path):
                assert p[0] == q[0] or p[1] == q[1]
                for t in np.linspace(0, 1, 60):
                    assert not inside(ways, p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]), "s")
            barred += found.cost_mm > ways.lower_mm(a, b) + 1e-9
    assert barred > 60  # the boxes did matter


def test_costs_from_many_places_to_many_are_the_least_of_all_grid_ways() -> None:
    """50 grounds of random boxes: least costs from three places to eight others, each place with a cost of its own, against scipy's Dijkstra over every unit
    step; once to all of the ground, once up to a limit, where what costs more may stay unsaid and nothing is told too cheap."""
    rng = np.random.default_rng(77)
    told = 0
    for _ in range(50):
        ways = grid_ways(rng)
        grid = Grid(ways, "s")
        spots = [free_place(rng, ways, "s") for _ in range(11)]
        own = rng.uniform(0, 4, 11)
        ends = ways.stops(np.array(spots), "s", own)
        starts, goals = ends.some(np.arange(3)), ends.some(np.arange(3, 11))
        far = [grid.costs(spot) + cost for spot, cost in zip(spots[:3], own[:3], strict=True)]
        want = np.array([min(float(one[int(x), int(y)]) for one in far) for x, y in spots[3:]]) + own[3:]
        lanes = Lanes.of(ways.boxes("s"), ways.frame, ends.out)
        found = lanes.spread(starts)
        assert found.to(goals) == pytest.approx(want, abs=1e-9)
        for k in np.flatnonzero(want < inf).tolist():
            source, path = found.way(goals, k)
            cost = made_route(path).cost_mm + own[source] + own[3 + k]
            assert cost == pytest.approx(want[k], abs=1e-9) and path[0] == spots[source] and path[-1] == spots[3 + k]
        limit = float(np.median(want[want < inf])) if (want < inf).any() else 1.0
        upto = lanes.spread(starts, limit).to(goals)
        assert (upto >= want - 1e-9).all()
        inner = want + BEND_MM <= limit
        assert upto[inner] == pytest.approx(want[inner], abs=1e-9)
        told += int(inner.sum())
    assert told > 50


def test_a_walled_in_end_is_known_on_near_ground_unless_a_gap_or_another_end_is_there() -> None:
    """Four walls round an end, wall thickness 2 mm; a slit where two walls meet is a way (a wire may lie along a rim)."""
    ring = [(5, 5, 7, 20), (18, 5, 20, 20), (5, 5, 20, 7), (5, 18, 20, 20)]
    frame = (0.0, 0.0, 60.0, 60.0)

    def known(walls: Sequence[tuple[float, float, float, float]], others: Sequence[tuple[float, float]]) -> bool:
        boxes = Boxes(np.array(walls, dtype=np.float64), np.zeros(len(walls), dtype=bool))
        end = stops_of(np.array([[12.0, 12.0]]), np.zeros(1), boxes, frame)
        ground = (0.0, 0.0, 40.0, 40.0)
        return Lanes.of(boxes, ground, end.out).shut_in(end, frame, np.array(others))

    assert known(ring, [(30.0, 30.0)])
    assert not known(ring, [(30.0, 30.0), (10.0, 16.0)])
    assert not known(ring[:3], [(30.0, 30.0)])
    assert not known([*ring[:3], (5, 18, 12, 20), (12, 18, 20, 20)], [(30.0, 30.0)])
    assert known([*ring[:3], (5, 18, 12, 20), (11.5, 18, 20, 20)], [(30.0, 30.0)])


def random_net(rng: np.random.Generator, ways: Ways, pieces: int) -> tuple[CopperGraph, list[str]]:
    """A tree net in free places that falls into ``pieces`` pieces; some hold only a via."""
    nodes = int(rng.integers(pieces, 2 * pieces + 1))
    sites = [run(i, int(rng.integers(0, i)), i, 5.0) for i in range(1, nodes)]
    points = []
    for i in range(nodes):
        side = str(rng.choice(["c", "s"], p=[0.25, 0.75]))
        x, y = free_place(rng, ways, side)
        kind = str(rng.choice(["pin", "via", "bare"], p=[0.6, 0.25, 0.15]))
        if kind == "pin":
            points.append(point(i, x, y, side=side))
        elif kind == "via":
            points.append(point(i, x, y, kind="via", side=side, part=""))
    broken = [str(name) for name in rng.choice([s.id for s in sites], pieces - 1, replace=False)]
    return net(nodes, sites, points), broken


def crossing_places(ways: Ways, ends: list[ProbePoint]) -> list[tuple[float, float]]:
    """The stated places to change sides: free holes, and the edge at the height of an end of either piece."""
    edge = [(x, p.y_mm) for x in (0.0, float(SIZE)) for p in ends] + [
        (p.x_mm, y) for y in (0.0, float(SIZE)) for p in ends
    ]
    return [p for p in (*ways.crossings, *edge) if not any(inside(ways, *p, side) for side in "cs")]


def brute_force(graph: CopperGraph, broken: list[str], ways: Ways) -> tuple[float, int]:
    """Least cost over all sets of wires, wire costs from the grid; and how many pieces hold a pin."""
    grids = {side: Grid(ways, side) for side in "cs"}
    far = {p.id: {side: grids[side].costs((p.x_mm, p.y_mm)) for side in "cs"} for p in graph.points}
    ease = {"joint": EASE.leg, "via": EASE.via}

    def cost(a: ProbePoint, b: ProbePoint, ends: list[ProbePoint]) -> float:
        base = ease[a.kind] + ease[b.kind]
        if a.side == b.side:
            return base + float(far[a.id][a.side][int(b.x_mm), int(b.y_mm)])
        both = [
            far[a.id][a.side][int(x), int(y)] + far[b.id][b.side][int(x), int(y)]
            for x, y in crossing_places(ways, ends)
        ]
        return base + EASE.other_side + float(min(both, default=inf))

    pieces = pieces_by_networkx(graph, broken)
    points = [[p for p in graph.points if p.node in piece] for piece in pieces]
    needed = [i for i, here in enumerate(points) if any(p.part for p in here)]
    wires = []
    for i, j in itertools.combinations(range(len(pieces)), 2):
        costs = [
            cost(a, b, [*(p for p in points[i] if p.side == a.side), *(p for p in points[j] if p.side == b.side)])
            for a in points[i]
            for b in points[j]
        ]
        if costs and min(costs) < inf:
            wires.append((min(costs), i, j))
    best = inf if len(needed) > 1 else 0.0
    for count in range(len(wires) + 1):
        for chosen in itertools.combinations(wires, count):
            total = sum(w[0] for w in chosen)
            if total >= best:
                continue
            g = nx.Graph()
            g.add_nodes_from(range(len(pieces)))
            g.add_edges_from((i, j) for _, i, j in chosen)
            if len({frozenset(nx.node_connected_component(g, i)) for i in needed}) <= 1:
                best = total
    return best, len(needed)


def test_equal_to_brute_force_on_500_nets_among_forbidden_places() -> None:
    """Target: the optimum over all wire sets on at least 500 random nets of at most 5 pieces, 100 % of nets restored where a way is left."""
    rng = np.random.default_rng(21)
    counted = 0
    while counted < 500:
        ways = grid_ways(rng)
        graph, broken = random_net(rng, ways, int(rng.integers(2, 6)))
        want, needed = brute_force(graph, broken, ways)
        if needed < 2:
            continue
        plans = propose_wires(graph, broken, ways=ways)
        counted += 1
        if want == inf:
            assert not plans[0].restores
            continue
        assert plans[0].cost_mm == pytest.approx(want, abs=1e-9)
        assert all(plan.restores and restored(graph, broken, plan) for plan in plans)


def test_alternatives_differ_in_their_places_and_cost_what_the_grid_says() -> None:
    """40 random nets of two pieces of four pins: each plan's wire costs what scipy's Dijkstra says for its own two ends, no two plans end at the same
    places, and the second plan is the second cheapest of all pairs of ends on one side where that is at most 15 mm dearer than the best."""
    rng = np.random.default_rng(33)
    others = 0
    for _ in range(40):
        ways = grid_ways(rng)
        grids = {side: Grid(ways, side) for side in "cs"}
        sides = ["s" if rng.random() < 0.75 else "c" for _ in range(8)]
        graph = net(
            8,
            [run(k, k - 1, k) for k in range(1, 8)],
            [point(k, *free_place(rng, ways, side), side=side) for k, side in enumerate(sides)],
        )

        def cost(a: ProbePoint, b: ProbePoint, grids: dict[str, Grid] = grids) -> float:
            return float(grids[a.side].costs((a.x_mm, a.y_mm))[int(b.x_mm), int(b.y_mm)]) + 2 * EASE.leg

        plans = propose_wires(graph, ["run@4"], ways=ways)
        ends = [{wire.a.point, wire.b.point} for plan in plans for wire in plan.wires]
        assert all(one not in ends[:k] for k, one in enumerate(ends))
        for plan in plans:
            for wire in plan.wires:
                if wire.side != "both":
                    want = cost(graph.point(wire.a.point), graph.point(wire.b.point))
                    assert wire.cost_mm == pytest.approx(want, abs=1e-9)
        pairs = itertools.product(graph.points[:4], graph.points[4:])
        costs = sorted(cost(a, b) for a, b in pairs if a.side == b.side)
        if len(costs) > 1 and costs[1] <= plans[0].cost_mm + 15.0:
            others += 1
            assert plans[1].cost_mm <= costs[1] + 1e-9
    assert others > 20


def test_no_way_left_is_said_with_what_can_be_done() -> None:
    """A pin walled in by boxes: the plan says which places bar the way and the nearest thing to do; it never claims to restore the net."""
    ring = [
        KeepOut(5, 5, 7, 20, "s", "under U5"),
        KeepOut(18, 5, 20, 20, "s", "under U6"),
        KeepOut(5, 5, 20, 7, "s", "under U7"),
        KeepOut(5, 18, 20, 20, "s", "under U8"),
    ]
    ways = Ways(tuple(ring), (0, 0, 40, 40))
    graph = net(2, [run(1, 0, 1)], [point(0, 12, 12), point(1, 30, 30)])
    plan = propose_wires(graph, ["run@1"], ways=ways)[0]
    assert not plan.restores and not plan.wires
    said = " ".join(plan.notes)
    assert "No way is left" in said and "U6" in said and "--allow" in said


def test_no_way_to_one_of_three_pieces_is_said_too() -> None:
    """Three pieces, the third under a box: the other two are joined, the net is not called restored, the words name what stays cut off and what bars it."""
    graph = net(3, [run(1, 0, 1), run(2, 1, 2)], [point(0, 2, 2), point(1, 12, 2), point(2, 30, 30)])
    plan = propose_wires(graph, ["run@1", "run@2"], ways=Ways((KeepOut(20, 20, 40, 40, "s", "under U6"),), (0, 0, 40, 40)))[0]  # fmt: skip
    (wire,) = plan.wires
    assert not plan.restores and {wire.a.node, wire.b.node} == {0, 1}
    said = " ".join(plan.notes)
    assert "U2.1 stays cut off" in said and "No way is left" in said and "U6" in said and "--allow" in said


def test_an_end_at_its_own_part_gets_out() -> None:
    """A leg 1 mm inside its part's ground leaves straight out; one 12 mm inside cannot be reached on that side."""
    ways = Ways((KeepOut(10, 10, 40, 40, "c", "under U1"),), (0, 0, 60, 60))
    found = ways.route((11.0, 20.0), (2.0, 50.0), "c")
    assert found is not None and found.path[1] == (2.0, 20.0) and found.length_mm == pytest.approx(39.0)
    assert ways.route((25.0, 25.0), (2.0, 50.0), "c") is None


def test_dots_hold_the_wire() -> None:
    """Every bend that is not at an end is held, no gap between dots is longer than 25 mm, ends stay free (jumper practice, from memory)."""
    rng = np.random.default_rng(2)
    for _ in range(200):
        x, y, path = 0.0, 0.0, [(0.0, 0.0)]
        for k in range(int(rng.integers(1, 6))):
            step = float(rng.uniform(4, 70))
            x, y = (x + step, y) if k % 2 == 0 else (x, y + step)
            path.append((x, y))
        dots = fixing_dots(path)
        assert set(path[1:-1]) <= set(dots)
        stops = [path[0], *dots, path[-1]]
        assert max(abs(p[0] - q[0]) + abs(p[1] - q[1]) for p, q in itertools.pairwise(stops)) <= 25.0 + 1e-6
        assert all(min(abs(d[0] - e[0]) + abs(d[1] - e[1]) for e in (path[0], path[-1])) >= 3.0 for d in dots)


def test_scraped_tracks_are_ends_where_nothing_else_is_near() -> None:
    """A break 5 mm before J2, the next pin 35 mm off: the wire is lapped on the bared track by the break, two track widths (rework guides,
    docs/sources.md), and the log can hold it there."""
    spots = ((0, 0), (40, 0), (35, 60))
    layers: dict[str, Any] = {
        "c": [pad(x, y, 1.6) for x, y in spots],
        "s": [
            *(pad(x, y, 1.6) for x, y in spots),
            *track(0.4, (0, 0), (35, 0)),
            *track(0.4, (35, 0), (40, 0)),
            *track(0.4, (35, 0), (35, 60)),
        ],
    }
    parts = [part(f"J{k}", "c", [("1", x, y, k - 1)]) for k, (x, y) in enumerate(spots, 1)]
    one = board(layers, [(x, y, 0.8) for x, y in spots], parts)
    graph = build_graph(one)
    (broken,) = [s.id for s in graph.sites if s.kind is SiteKind.RUN and s.length_mm < 10]
    (wire,) = propose_wires(graph, [broken], board=one, scrape=True, ways=ways_of(one, graph))[0].wires
    (end,) = [end for end in (wire.a, wire.b) if end.kind == "track"]
    assert end.lap_mm == pytest.approx(2 * 0.4) and end.x_mm > 30 and wire.straight_mm < 10
    noted = worked(graph, wires=[PatchWire("e", wire.a.point, wire.b.point)])
    assert noted.site("wire@e") and not [f for f in noted.findings if f.code == "GRF-011"]
    joined = nx.Graph((s.a, s.b) for s in noted.sites if s.id != broken)
    assert all(
        nx.has_path(joined, graph.point("J2.1/joint-s").node, graph.point(f"J{k}.1/joint-s").node) for k in (1, 3)
    )
    sheet = 1.724e-8 / 35e-6  # annealed copper of 35 um (docs/sources.md): ohm per square
    along = abs(end.x_mm - 35) + abs(end.y_mm)
    assert wire.replaces_ohm == pytest.approx((along + 5) / 0.4 * sheet, rel=0.3)


def l_shaped() -> Board:
    """A board of 100 x 80 mm without its upper right quarter, with a slot in its lower part; a net from the upper left to the lower right."""
    outline = np.array([(0, 0), (100, 0), (100, 40), (50, 40), (50, 80), (0, 80)], dtype=float)
    slot = np.array([(40, 10), (60, 10), (60, 25), (40, 25)], dtype=float)
    layers: dict[str, Any] = {
        side: [pad(10, 70, 1.6), pad(90, 10, 1.6), *track(0.3, (10, 70), (10, 10), (90, 10))] for side in "cs"
    }
    made = board(layers, [(10, 70, 0.8), (90, 10, 0.8)], [part("J1", "c", [("1", 10, 70, 0), ("2", 90, 10, 1)])])
    return replace(made, outline=(outline, slot))


def test_ways_stay_on_a_board_that_is_no_rectangle() -> None:
    """500 random ways on an L-shaped board with a slot: none leaves the board or comes nearer than 2 mm to its edge (shapely)."""
    made = l_shaped()
    ways = ways_of(made, build_graph(made))
    ground = shapely.Polygon(made.outline[0]).difference(shapely.Polygon(made.outline[1]))
    allowed = shapely.buffer(ground, -2.0 + 1e-6, join_style="mitre")
    rng = np.random.default_rng(4)
    found = 0
    while found < 500:
        a, b = (tuple(float(v) for v in rng.uniform((3, 3), (97, 77))) for _ in range(2))
        if not all(allowed.contains(shapely.Point(spot).buffer(3.2)) for spot in (a, b)):
            continue
        way = ways.route((a[0], a[1]), (b[0], b[1]), "s")
        assert way is not None
        assert allowed.covers(shapely.LineString([*way.path]) if len(way.path) > 1 else shapely.Point(way.path[0]))
        found += 1


def test_no_way_on_the_demonstration_board_lies_under_a_part() -> None:
    """40 random breaks: shapely finds no planned wire under a part or off the board, but where it leaves its own end (at most 8 mm)."""
    from coppermend.bootstrap import open_board

    made = open_board("demo")
    graph = build_graph(made)
    ways = ways_of(made, graph)
    runs = [s for s in graph.sites if s.kind is SiteKind.RUN and s.length_mm > 20]
    bodies = {
        side: shapely.union_all(
            [shapely.Polygon(p.outline) for p in made.parts if p.side == side and len(p.outline) >= 3]
        )
        for side in "cs"
    }
    rng = np.random.default_rng(6)
    seen = 0
    for site in rng.choice(np.array(runs, dtype=object), 40, replace=False):
        for plan in propose_wires(graph, [site.id], board=made, ways=ways, scrape=True):
            for wire in plan.wires:
                if wire.side not in ("c", "s"):
                    continue
                line = shapely.LineString(wire.path)
                ends = shapely.union_all([shapely.Point(p).buffer(8.0) for p in (wire.path[0], wire.path[-1])])
                seen += 1
                assert shapely.intersection(line.difference(ends), bodies[wire.side]).length < 1e-6
    assert seen > 40


def test_under_200_ms_with_forbidden_places() -> None:
    """Target: under 200 ms a net with forbidden places (CPU time): 60 boxes a side, 20 ends a piece, 4 pieces."""
    rng = np.random.default_rng(8)
    boxes: list[KeepOut] = []
    for side in "cs":
        for k in range(60):
            x, y = rng.uniform(5, 280), rng.uniform(5, 180)
            w, h = rng.uniform(6, 24), rng.uniform(6, 24)
            boxes.append(KeepOut(x, y, x + w, y + h, side, f"under U{k}"))
    spent = []
    for _ in range(12):
        ways = Ways(tuple(boxes), (0, 0, 300, 200))
        nodes = 80
        sites = [run(i, i - 1, i) for i in range(1, nodes)]
        points = [point(i, *(float(v) for v in rng.uniform((0, 0), (300, 200))), side="s") for i in range(nodes)]
        broken = [f"run@{k}" for k in (20, 40, 60)]
        graph = net(nodes, sites, points)
        before = time.process_time()
        plan = propose_wires(graph, broken, ways=ways)[0]
        spent.append(time.process_time() - before)
        assert plan.restores
    assert float(np.median(spent)) < 0.2


def test_insulation_by_heat_and_length() -> None:
    """Near a hot part ETFE or PTFE; bare is named only below 12.7 mm (jumper practice after IPC-A-610, docs/sources.md)."""
    hot = KeepOut(20, 5, 30, 12, "s", "the heat of VR1")
    ways = Ways((hot,), (0, 0, 100, 100))
    for y, wanted in ((2.0, "VR1"), (60.0, "wrap wire")):
        graph = net(2, [run(1, 0, 1)], [point(0, 5, y), point(1, 60, y)])
        wire = propose_wires(graph, ["run@1"], ways=ways)[0].wires[0]
        assert wanted in wire.insulation and "bare only" not in wire.insulation
        assert wire.as_dict()["change_ohm"] == pytest.approx(wire.gauge.resistance_ohm - 0.01)
    graph = net(2, [run(1, 0, 1)], [point(0, 5, 60), point(1, 12, 60)])
    assert "bare only" in propose_wires(graph, ["run@1"], ways=ways)[0].wires[0].insulation


A5_BROKEN, A4_BROKEN = "run@c:86360,119380>129540,118110", "run@c:137160,114300>153670,113030"
"""Runs of address lines of the demonstration board between two rows of legs."""


@pytest.mark.parametrize("broken", [A5_BROKEN, A4_BROKEN])
def test_no_wire_lies_on_a_joint_leg_or_via_of_another_net(broken: str) -> None:
    """Jumper wires lie not over leads nor test points (jumper-wire practice after IPC-A-610, docs/sources.md): shapely, on the shapes of the
    board's own copper, finds every planned wire of 0.5 mm clear of all round lands of other nets that the mask leaves bare."""
    from coppermend.bootstrap import open_board

    made = open_board("demo")
    graph = build_graph(made)
    net_of = graph.site(broken).net
    ways = ways_of(made, graph).clear_of(keep_clear(graph, made, net_of))
    bare = [p for p in graph.points if p.net != net_of and p.why_not != "covered by the solder mask"]
    lands = {
        side: shapely.union_all([shapely.Point(p.x_mm, p.y_mm).buffer(0.52) for p in bare if p.side == side])
        for side in "cs"
    }
    seen = 0
    for plan in propose_wires(graph, [broken], board=made, ways=ways, scrape=True):
        for wire in plan.wires:
            seen += 1
            assert wire.side in ("c", "s") and not wire.over
            assert shapely.LineString(wire.path).buffer(0.25).intersection(lands[wire.side]).area == 0
    assert seen >= 2


def test_a_wire_passes_over_a_foreign_joint_only_where_no_way_is_left_and_says_so() -> None:
    """A wall of parts with one gap that a foreign land fills: over it, named and dearer; with the wall open, round it and without a word."""
    spots = ((5, 10), (35, 10), (20, 10))
    layers: dict[str, Any] = {side: [pad(x, y, 1.6) for x, y in spots] for side in "cs"}
    layers["c"] += track(0.4, (5, 10), (5, 16), (35, 16), (35, 10))
    parts = [part(f"J{k}", "c", [("1", x, y, k - 1)]) for k, (x, y) in enumerate(spots, 1)]
    made = board(layers, [(x, y, 0.8) for x, y in spots], parts)
    graph = build_graph(made)
    broken = [s.id for s in graph.sites if s.kind is SiteKind.RUN]
    home = graph.point("J1.1/joint-s").net
    wall = tuple(KeepOut(18, y0, 22, y1, "s", "under U5") for y0, y1 in ((-1, 9), (11, 21)))
    clear = Ways(wall, (0, 0, 40, 20))
    filled = clear.clear_of(keep_clear(graph, made, home))
    straight = propose_wires(graph, broken, board=made, ways=clear, side="s")[0]
    over = propose_wires(graph, broken, board=made, ways=filled, side="s")[0]
    assert straight.restores and over.restores
    assert over.cost_mm == pytest.approx(straight.cost_mm + 25.0)
    open_wall = replace(filled, keep_outs=wall[:1], kept={})
    round_it = propose_wires(graph, broken, board=made, ways=open_wall, side="s")[0]
    assert round_it.wires[0].bends >= 2 and round_it.cost_mm > straight.cost_mm
    assert not round_it.wires[0].over
    (name,) = over.wires[0].over
    assert name.startswith("J3.1") and any("Raise the wire or sleeve it" in one for one in over.wires[0].notes)


def test_an_end_between_fine_legs_leaves_without_crossing_its_neighbours() -> None:
    """Legs at 0.5 mm pitch (SMD lands 0.3 x 1.5 mm): the wire leaves along its own land, not over the neighbours'."""
    row = [KeepOut(10 + k * 0.5 - 0.6, 8.8, 10 + k * 0.5 + 0.6, 11.2, "c", f"over U1.{k}") for k in range(-5, 6) if k]
    found = Ways((), (0, 0, 40, 40), bare=tuple(row)).route((10.0, 10.0), (30.0, 10.5), "c")
    assert found is not None and found.path[1][0] == 10.0 and found.bends >= 2
    assert found.path[1][1] <= 8.8 or found.path[1][1] >= 11.2
