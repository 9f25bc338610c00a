"""Words and ohms of a check: what it proves, what it should read, what it needs."""

from __future__ import annotations

from collections import OrderedDict

import numpy as np
from numpy.typing import NDArray

from coppermend.core.belief.copper import Copper
from coppermend.core.belief.network import block_chains
from coppermend.core.copper.model import ProbePoint, SiteKind
from coppermend.core.planning.model import Check

SIDE_WORDS = {"c": "component side", "s": "solder side"}

_BLOCK_OHMS: OrderedDict[tuple[int, int], tuple[Copper, NDArray[np.float64], dict[int, int]]] = OrderedDict()


def way_ohm(copper: Copper, node_a: int, node_b: int) -> float:
    """Resistance of sound copper between two nodes of one piece, in ohm: bridges in series, blocks by their Laplacian.

    Source: resistance distance, Klein and Randic, J. Math. Chem. 12 (1993) (from memory).
    """
    total = 0.0
    for block, a, b in copper.tree.route(node_a, node_b):
        sites = copper.block_sites[block]
        if len(sites) == 1:
            total += copper.graph.sites[sites[0]].resistance_ohm
        else:
            total += _block_ohm(copper, block, a, b)
    return total


def _block_ohm(copper: Copper, block: int, a: int, b: int) -> float:
    key = (id(copper), block)
    hit = _BLOCK_OHMS.get(key)
    if hit is None or hit[0] is not copper:
        chains = block_chains(copper, block)
        n = len(chains.nodes)
        laplacian = np.zeros((n, n))
        for (i, j), sites in zip(chains.ends, chains.sites, strict=True):
            g = 1.0 / max(sum(copper.graph.sites[k].resistance_ohm for k in sites), 1e-9)
            laplacian[[i, j], [i, j]] += g if i != j else 0.0
            if i != j:
                laplacian[i, j] -= g
                laplacian[j, i] -= g
        inverse = np.zeros((n, n))
        inverse[1:, 1:] = np.linalg.inv(laplacian[1:, 1:])
        hit = (copper, inverse, chains.nodes)
        _BLOCK_OHMS[key] = hit
        while len(_BLOCK_OHMS) > 200:
            _BLOCK_OHMS.popitem(last=False)
    _, inverse, at = hit
    i, j = at[a], at[b]
    return float(inverse[i, i] + inverse[j, j] - 2.0 * inverse[i, j])


def bridges_between(copper: Copper, node_a: int, node_b: int) -> tuple[str, ...]:
    """Ids of the sites that are the only way between two nodes of one piece: what a closed reading speaks for."""
    return tuple(
        copper.graph.sites[copper.block_sites[block][0]].id
        for block, _, _ in copper.tree.route(node_a, node_b)
        if len(copper.block_sites[block]) == 1
    )


def needs_words(*points: ProbePoint) -> tuple[str, ...]:
    """Part states that the points need: ``("U1 socketed",)``."""
    found = {f"{part} {state}" for point in points for part, state in point.needs}
    return tuple(sorted(found))


def point_words(point: ProbePoint) -> str:
    """A probe point as a person finds it: ``U1.8 (leg), component side``."""
    side = SIDE_WORDS.get(point.side, point.side)
    if point.part:
        kind = {"leg": "leg", "contact": "socket contact", "joint": "joint", "hole": "hole"}.get(point.kind, point.kind)
        return f"{point.part}.{point.pin} ({kind}), {side}"
    return f"{point.kind} at {point.x_mm:.1f}, {point.y_mm:.1f} mm, {side}"


def tips_words(a: ProbePoint, b: ProbePoint, turn_over: bool = False) -> str:
    """Where the two tips go: "One tip on U1.4, the other on J2.7."; before it that the board is turned."""
    return f"{'Turn the board over. ' if turn_over else ''}One tip on {point_words(a)}, the other on {point_words(b)}."


def clip_words(check: Check) -> str:
    """What to do with a clipped lead at a check: "Clip a lead on U1.29/leg and leave it"; "" when both tips are held by hand."""
    if not check.clip:
        return ""
    return f"Clip a lead on {check.clip} and leave it" if check.clip_now else f"The lead stays on {check.clip}"


def continuity_check(
    copper: Copper, point_a: ProbePoint, point_b: ProbePoint, seconds: float, reason: str, turn_over: bool = False
) -> Check:
    """A continuity check between two points of one piece of copper. No ohms are expected of copper that nobody has seen."""
    names = copper.graph.net_names
    ways = bridges_between(copper, point_a.node, point_b.node)
    unseen = any(copper.graph.sites[copper.site[one]].kind is SiteKind.UNKNOWN for one in ways)
    return Check(
        f"continuity:{point_a.id}:{point_b.id}",
        "continuity",
        point_a.id,
        point_b.id,
        names[point_a.net],
        names[point_b.net],
        None if unseen else way_ohm(copper, point_a.node, point_b.node),
        ways,
        seconds,
        reason,
        needs_words(point_a, point_b),
        turn_over,
    )
