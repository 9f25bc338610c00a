"""The track search: finds ways for all nets on a two-layer raster, letting nets collide first and part later.

The raster has one node per layer and cell; a track runs from node to node, upright or level; layer 0 (component side)
prefers level tracks, layer 1 (solder side) upright ones. Each net is a tree grown pin by pin with the A* search. In the
first rounds nets may use the same nodes; every round makes shared nodes dearer, now and for good, until no node is
shared (the idea: L. McMurchie, C. Ebeling, "PathFinder: a negotiation-based performance-driven router for FPGAs",
FPGA 1995). All costs are whole numbers and all orders fixed, so that the same input gives the same tracks anywhere.

A via is wider than a track: beside its own cell it keeps other nets' tracks off the four cells around it on both
layers, and other nets' vias off the eight cells around it.
"""

from __future__ import annotations

from heapq import heappop, heappush

FREE, BLOCKED = 0, -1
STEP, AGAINST, BEND, VIA = 10, 30, 6, 110


class Net:
    """One net's task and its present way: pins (cells), a start tree of nodes, and what it occupies."""

    def __init__(self, number: int, name: str, pins: list[int], seed: list[int]) -> None:
        self.number = number
        self.name = name
        self.pins = pins
        self.seed = seed
        self.edges: list[tuple[int, int]] = []
        self.tracks: set[int] = set()
        self.claims: set[int] = set()
        self.vias: set[int] = set()
        self.halo: set[int] = set()
        self.missing = 0


class Maze:
    """The raster with its owners, its present use and its memory of trouble.

    `width` and `height` in cells; a cell's number is y * width + x, a node's number layer * width * height + cell.
    `owner[node]` says whose track may pass (0: anybody's, -1: nobody's, else the net's number), `via_owner[cell]`
    the same for vias.
    """

    def __init__(self, width: int, height: int, owner: list[int], via_owner: list[int]) -> None:
        self.width = width
        self.height = height
        self.cells = width * height
        self.owner = owner
        self.via_owner = via_owner
        nodes = 2 * self.cells
        self.used: list[int] = [0] * nodes
        self.claimed: list[int] = [0] * nodes
        self.halo: list[int] = [0] * self.cells
        self.history: list[int] = [0] * nodes
        self.cost: list[int] = [0] * nodes
        self.seen: list[int] = [0] * nodes
        self.parent: list[int] = [0] * nodes
        self.goal: list[int] = [0] * nodes
        self.own_via: list[int] = [0] * self.cells
        self.stamp = 0

    def _around(self, cell: int) -> list[int]:
        w = self.width
        return [cell - 1, cell + 1, cell - w, cell + w]

    def _eight(self, cell: int) -> list[int]:
        w = self.width
        return [cell - 1, cell + 1, cell - w, cell + w, cell - w - 1, cell - w + 1, cell + w - 1, cell + w + 1]

    def _search(self, net: Net, sources: list[int], target: int, goals: list[int], price: int) -> list[int]:
        """The cheapest way from any source to the target cell (either layer), or, with target < 0, to any of the goals."""
        self.stamp += 1
        stamp = self.stamp
        width = self.width
        cells = self.cells
        owner = self.owner
        used = self.used
        claimed = self.claimed
        history = self.history
        cost = self.cost
        seen = self.seen
        parent = self.parent
        goal = self.goal
        number = net.number
        aimed = target >= 0
        tx = target % width if aimed else 0
        ty = target // width if aimed else 0
        for node in goals:
            goal[node] = stamp
        if aimed:
            goal[target] = stamp
            goal[target + cells] = stamp
        heap: list[tuple[int, int]] = []
        for node in sources:
            cost[node] = 0
            seen[node] = stamp
            parent[node] = -1
            cell = node % cells
            estimate = 0
            if aimed:
                estimate = STEP * (abs(cell % width - tx) + abs(cell // width - ty))
            heappush(heap, (estimate, node))
        while heap:
            f, u = heappop(heap)
            layer = 1 if u >= cells else 0
            cell = u - cells if layer else u
            x = cell % width
            y = cell // width
            here = cost[u]
            estimate = STEP * (abs(x - tx) + abs(y - ty)) if aimed else 0
            if f > here + estimate:
                continue
            if goal[u] == stamp:
                way = [u]
                while parent[u] >= 0:
                    u = parent[u]
                    way.append(u)
                return way
            before = parent[u]
            came = u - before if before >= 0 else 0
            for direction in range(4):
                if direction == 0:
                    step, level = 1, True
                elif direction == 1:
                    step, level = -1, True
                elif direction == 2:
                    step, level = width, False
                else:
                    step, level = -width, False
                v = u + step
                if v == before:
                    continue
                who = owner[v]
                if who != FREE and who != number:
                    continue
                price_here = STEP if level == (layer == 0) else AGAINST
                if came != step and came != 0 and came != cells and came != -cells:
                    price_here += BEND
                crowd = used[v] + claimed[v]
                new = here + price_here + history[v] + crowd * price
                if seen[v] == stamp and cost[v] <= new:
                    continue
                seen[v] = stamp
                cost[v] = new
                parent[v] = u
                vx = x
                vy = y
                if aimed:
                    if direction == 0:
                        vx = x + 1
                    elif direction == 1:
                        vx = x - 1
                    elif direction == 2:
                        vy = y + 1
                    else:
                        vy = y - 1
                    heappush(heap, (new + STEP * (abs(vx - tx) + abs(vy - ty)), v))
                else:
                    heappush(heap, (new, v))
            who = self.via_owner[cell]
            if who != FREE and who != number:
                continue
            if self.own_via[cell] == number:
                continue
            v = cell if layer else u + cells
            if owner[v] != FREE and owner[v] != number:
                continue
            if before >= 0:
                if before == v:
                    continue
                grand = parent[before]
                if grand >= 0 and (grand - before == cells or before - grand == cells):
                    continue
            crowd = used[v] + claimed[v] + 2 * self.halo[cell]
            for a in (cell - 1, cell + 1, cell - width, cell + width):
                crowd += used[a] + used[a + cells]
            new = here + VIA + history[v] + crowd * price
            if seen[v] == stamp and cost[v] <= new:
                continue
            seen[v] = stamp
            cost[v] = new
            parent[v] = u
            heappush(heap, (new + estimate, v))
        return []

    def lift(self, net: Net) -> None:
        """Takes the net off the raster."""
        for node in net.tracks:
            self.used[node] -= 1
        for node in net.claims:
            self.claimed[node] -= 1
        for cell in net.halo:
            self.halo[cell] -= 1
        net.edges = []
        net.tracks = set()
        net.claims = set()
        net.vias = set()
        net.halo = set()

    def _lay(self, net: Net) -> None:
        for a, b in net.edges:
            net.tracks.add(a)
            net.tracks.add(b)
            if b - a == self.cells or a - b == self.cells:
                net.vias.add(a % self.cells)
        for cell in net.vias:
            for near in self._around(cell):
                for node in (near, near + self.cells):
                    if node not in net.tracks:
                        net.claims.add(node)
            net.halo.update(self._eight(cell))
        for node in net.tracks:
            self.used[node] += 1
        for node in net.claims:
            self.claimed[node] += 1
        for cell in net.halo:
            self.halo[cell] += 1

    def _note_vias(self, net: Net, way: list[int]) -> None:
        """Remembers where the net may not drill again: a hole beside a hole of its own."""
        for i in range(len(way) - 1):
            if way[i] - way[i + 1] == self.cells or way[i + 1] - way[i] == self.cells:
                cell = way[i] % self.cells
                self.own_via[cell] = net.number
                for near in self._eight(cell):
                    self.own_via[near] = net.number

    def connect(self, net: Net, price: int) -> None:
        """Routes the whole net anew at the given price of a shared node."""
        self.lift(net)
        for cell in range(self.cells):
            if self.own_via[cell] == net.number:
                self.own_via[cell] = 0
        width = self.width
        net.missing = 0
        tree: list[int] = list(net.seed)
        joined: set[int] = set(tree)
        todo = list(net.pins)
        done: list[int] = []
        if not net.seed:
            first = todo.pop(0)
            tree.extend([first, first + self.cells])
            joined.update(tree)
            done.append(first)
        while todo:
            pick = 0
            if net.seed:
                pin = todo[0]
                if pin in joined or pin + self.cells in joined:
                    todo.pop(0)
                    for node in (pin, pin + self.cells):
                        if node not in joined:
                            joined.add(node)
                            tree.append(node)
                    continue
                way = self._search(net, [pin, pin + self.cells], -1, tree, price)
            else:
                best = 1 << 60
                for i, cell in enumerate(todo):
                    for other in done:
                        far = abs(cell % width - other % width) + abs(cell // width - other // width)
                        if far < best:
                            best = far
                            pick = i
                pin = todo[pick]
                if pin in joined or pin + self.cells in joined:
                    way = [pin]
                else:
                    way = self._search(net, tree, pin, [], price)
            todo.pop(pick)
            done.append(pin)
            if not way:
                net.missing += 1
                continue
            for i in range(len(way) - 1):
                net.edges.append((way[i], way[i + 1]))
            self._note_vias(net, way)
            for node in [*way, pin, pin + self.cells]:
                if node not in joined:
                    joined.add(node)
                    tree.append(node)
        self._lay(net)

    def restore(self, net: Net, edges: list[tuple[int, int]]) -> None:
        """Puts an earlier way of the net back."""
        self.lift(net)
        net.edges = edges
        net.missing = 0
        self._lay(net)

    def trouble(self, net: Net) -> list[int]:
        """The nodes at which the net stands too close to another."""
        found: list[int] = []
        for node in net.tracks:
            if self.used[node] > 1 or self.claimed[node] > 0:
                found.append(node)
        for node in net.claims:
            if self.used[node] > 0:
                found.append(node)
        for cell in net.vias:
            if self.halo[cell] > (1 if cell in net.halo else 0):
                found.append(cell)
                found.append(cell + self.cells)
        return found


def negotiate(maze: Maze, nets: list[Net], rounds: int, say: bool) -> int:
    """Routes all nets in rounds until none is in another's way; the number of nets in trouble at the end."""
    price = 6
    todo = list(nets)
    left = len(nets)
    for turn in range(rounds):
        for net in todo:
            maze.connect(net, price)
        bad: list[Net] = []
        nodes: set[int] = set()
        missing = 0
        for net in nets:
            missing += net.missing
            spots = maze.trouble(net)
            if spots:
                bad.append(net)
                nodes.update(spots)
        for node in nodes:
            maze.history[node] += 3 + price // 8
        left = len(bad)
        if say:
            print(
                f"round {turn + 1}: {left} nets in trouble at {len(nodes)} nodes, {missing} pins without a way",
                flush=True,
            )
        if left == 0 and missing == 0:
            polish(maze, nets, 2)
            return 0
        todo = bad if turn >= 2 else list(nets)
        price = min(3000, price + price // 4 + 2)
    return left


def polish(maze: Maze, nets: list[Net], rounds: int) -> None:
    """Routes every net once more with all others in place and the memory of trouble wiped: detours go, nothing collides."""
    for node in range(2 * maze.cells):
        maze.history[node] = 0
    for _ in range(rounds):
        for net in nets:
            before = list(net.edges)
            maze.connect(net, 1 << 20)
            if net.missing or maze.trouble(net):
                maze.restore(net, before)
