"""Small copper graphs for worked examples: nodes, sites between them, probe points on some of them."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from coppermend.core.belief.model import WorkArea
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind

EXAMPLE_AREA = WorkArea("example", ((-1e4, -1.0), (1e4, -1.0), (1e4, 49.0), (-1e4, 49.0)), "rework", 2, "the example")
"""Holds every site that ``example_graph`` calls hot."""


def example_graph(
    ends: Sequence[tuple[int, int]],
    terminals: Sequence[int],
    *,
    cold: Collection[int] = (),
    nets: Sequence[int] | None = None,
    through: Collection[int] = (),
    ohms: float = 0.01,
    spots: Sequence[tuple[float, float]] | None = None,
) -> CopperGraph:
    """A graph with sites ``s0, s1, ...`` between the node pairs ``ends`` and one probe point ``p<node>`` for each terminal.

    ``cold``: sites outside EXAMPLE_AREA. ``nets``: net of each node (default all 0). ``through``: sites that are parts rung
    through. ``spots``: (x_mm, y_mm) of the nodes (default 2.54 mm apart in a row). A node listed twice in ``terminals`` gets a
    second point, ``p<node>b``.

    >>> graph = example_graph([(0, 1), (1, 2)], [0, 2])
    >>> [s.id for s in graph.sites], [p.id for p in graph.points]
    (['s0', 's1'], ['p0', 'p2'])
    """
    count = max((max(pair) for pair in ends), default=max(terminals, default=0)) + 1
    count = max(count, max(terminals, default=0) + 1)
    net = tuple(nets) if nets is not None else (0,) * count
    at = list(spots) if spots is not None else [(2.54 * n, 0.0) for n in range(count)]
    sites = []
    for k, (a, b) in enumerate(ends):
        y = 60.0 if k in cold else 0.0
        kind = SiteKind.THROUGH if k in through else SiteKind.RUN
        path = ((at[a][0], y), (at[b][0], y))
        sites.append(Site(f"s{k}", kind, net[a], a, b, "c", path, (0.5,), 2.54, 0.5, ohms, words=f"site {k}"))
    seen: set[int] = set()
    points = []
    for node in terminals:
        name = f"p{node}b" if node in seen else f"p{node}"
        seen.add(node)
        points.append(ProbePoint(name, node, net[node], at[node][0], at[node][1], "c", part="X1", pin=str(node)))
    return CopperGraph(
        "example",
        tuple(f"N{i}" for i in range(max(net) + 1)),
        net,
        tuple((x, y, "c") for x, y in at),
        ("junction",) * count,
        tuple(sites),
        tuple(points),
        (),
    )
