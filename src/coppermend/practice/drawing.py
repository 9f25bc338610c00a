"""Drawing practice patients: standard damage and standard noise (shared bench table), or a truth handed in as JSON."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from coppermend.core.belief.engine import hurt, prior_of
from coppermend.core.belief.model import Basis, WorkArea
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.copper.neighbours import RANKS, Neighbour
from coppermend.core.findings import Place, refuse
from coppermend.practice.patient import Noise, Truth, between

FALSE_OPEN_RANGE = (0.005, 0.06)
FALSE_CLOSED_RANGE = (0.001, 0.02)
OXIDISED_SHARE = 0.1
"""One probe point in ten."""

STANDARD_BASIS = Basis()
LOOSE_KINDS = frozenset((SiteKind.JOINT, SiteKind.CONTACT, SiteKind.LEG))
"""What can be loose and close under a tip."""


def draw_noise(
    graph: CopperGraph,
    seed: int,
    *,
    false_open: float | None = None,
    false_closed: float | None = None,
    oxidised: float | None = None,
    off: bool = False,
) -> Noise:
    """The noise of patient ``seed``: rates log-uniform in 0.5-6 % and 0.1-2 %, one point in ten oxidised, each where nothing fixes it."""
    if off:
        return Noise()
    rng = np.random.default_rng([seed, 2])
    drawn_open = float(np.exp(rng.uniform(*np.log(FALSE_OPEN_RANGE))))
    drawn_closed = float(np.exp(rng.uniform(*np.log(FALSE_CLOSED_RANGE))))
    share = OXIDISED_SHARE if oxidised is None else oxidised
    lots = rng.random(len(graph.points))
    points = frozenset(p.id for p, lot in zip(graph.points, lots.tolist(), strict=True) if lot < share)
    return Noise(
        drawn_open if false_open is None else false_open,
        drawn_closed if false_closed is None else false_closed,
        points,
    )


def draw_breaks(
    graph: CopperGraph, areas: Sequence[WorkArea], seed: int, count: int | None, damage: float = 1.0
) -> tuple[str, ...]:
    """``count`` sites drawn by the standard priors without repetition; None: each site breaks by its own prior.

    ``damage``: factor on the rate of damage inside the areas, 1 - (1 - p)^damage; it matters where ``count`` is None.
    """
    prior = prior_of(graph, areas, STANDARD_BASIS).copy()
    if damage != 1.0:
        prior = np.where(hurt(graph, areas, STANDARD_BASIS), -np.expm1(damage * np.log1p(-prior)), prior)
    for k, site in enumerate(graph.sites):
        if site.kind in (SiteKind.THROUGH, SiteKind.WIRE) or site.a == site.b:
            prior[k] = 0.0
    rng = np.random.default_rng([seed, 1])
    if count is None:
        return tuple(graph.sites[k].id for k in np.flatnonzero(rng.random(len(prior)) < prior).tolist())
    if count > int((prior > 0).sum()):
        raise refuse("PRA-004", f"{count} breaks are more than this board has sites.", "Ask for fewer breaks.")
    picks = rng.choice(len(prior), count, replace=False, p=prior / prior.sum()) if count else np.zeros(0, dtype=int)
    return tuple(graph.sites[k].id for k in sorted(picks.tolist()))


BRIDGE_ODDS = {kind: 2.0 ** (len(RANKS) - k) for k, kind in enumerate(RANKS)}
"""How likely solder joins two nets that lie side by side: adjacent soldered pins first, each kind after it half as often (the order is common practice, the factor ours)."""


def draw_bridges(graph: CopperGraph, near: Sequence[Neighbour], seed: int, count: int) -> tuple[tuple[str, str], ...]:
    """``count`` bridges of solder drawn from pairs of nets that lie near each other, no pair twice: the points on either side of each gap.

    The points are joints, vias or lands, which stay whatever is done to the parts. Refusal PRA-004 for more than there are gaps.
    """
    joints: dict[tuple[str, str], str] = {}
    for p in sorted((p for p in graph.points if p.part and p.kind == "joint"), key=lambda p: (p.side != "s", p.id)):
        joints.setdefault((p.part, p.pin), p.id)
    at = {p.id: p for p in graph.points}

    def stays(name: str) -> str:
        return joints.get((at[name].part, at[name].pin), name) if name in at else ""

    gaps = [one for one in near if one.in_window and stays(one.point_a) and stays(one.point_b)]
    if count > len(gaps):
        raise refuse("PRA-004", f"{count} bridges are more than {len(gaps)} gaps in the work areas.", "Ask for fewer.")
    odds = np.array([BRIDGE_ODDS[one.kind] for one in gaps])
    picks = np.random.default_rng([seed, 4]).choice(len(gaps), count, replace=False, p=odds / odds.sum())
    return tuple((stays(gaps[k].point_a), stays(gaps[k].point_b)) for k in sorted(picks.tolist()))


def draw_patient(
    graph: CopperGraph,
    areas: Sequence[WorkArea],
    seed: int,
    breaks: int | None,
    *,
    false_open: float | None = None,
    false_closed: float | None = None,
    oxidised: float | None = None,
    noise_off: bool = False,
    slips: float = 0.0,
    mixed_up: float = 0.0,
    intermittent: float = 0.0,
    damage: float = 1.0,
) -> Truth:
    """A patient's truth: the same seed gives the same patient, whatever policy meets it.

    ``slips``, ``mixed_up``: rates (``Noise``). ``intermittent``: chance of each broken joint, contact or leg to be one that closes under the tip.
    """
    noise = draw_noise(graph, seed, false_open=false_open, false_closed=false_closed, oxidised=oxidised, off=noise_off)
    broken = draw_breaks(graph, areas, seed, breaks, damage)
    kinds = {s.id: s.kind for s in graph.sites}
    lots = np.random.default_rng([seed, 3]).random(len(broken)).tolist()
    loose = tuple(s for s, lot in zip(broken, lots, strict=True) if kinds[s] in LOOSE_KINDS and lot < intermittent)
    return Truth(broken, noise=replace(noise, slips=slips, mixed_up=mixed_up), intermittent=loose)


def read_truth(
    text: str,
    graph: CopperGraph,
    areas: Sequence[WorkArea],
    name: str = "truth file",
    meant: Callable[[str], str] = str,
) -> Truth:
    """A patient handed in as JSON: ``{"broken": [id or {"between": [point, point]}], "shorts": [[point, point]], "dead": [part], "noise": {...}}``.

    ``noise``: false_open, false_closed, oxidised (list of points), slips, mixed_up. ``intermittent``: those of the breaks (as in ``broken``) that close
    under a tip. ``meant``: the id of the probe point that a name means ("U1.22"). Refusal PRA-005 says what is wrong.
    """
    try:
        data = json.loads(text)
    except json.JSONDecodeError as err:
        raise _bad(name, f"it is not JSON ({err.msg} in line {err.lineno})") from None
    if isinstance(data, list):
        data = {"broken": data}
    if not isinstance(data, dict):
        raise _bad(name, "it holds neither a list of breaks nor an object")
    known = {s.id for s in graph.sites}
    prior = prior_of(graph, areas, STANDARD_BASIS).tolist()
    broken = [_break(one, graph, known, prior, name, meant) for one in data.get("broken", [])]
    shorts = [_pair(one, name, meant) for one in data.get("shorts", [])]
    noise = data.get("noise") or {}
    if not isinstance(noise, dict):
        raise _bad(name, "noise must be an object")
    rates = [noise.get(name, 0.0) for name in ("false_open", "false_closed", "slips", "mixed_up")]
    loose = [_break(one, graph, known, prior, name, meant) for one in data.get("intermittent", [])]
    if not all(isinstance(r, (int, float)) and 0.0 <= r <= 1.0 for r in rates):
        raise _bad(name, f"the rates {rates} must lie between 0 and 1")
    oxidised = noise.get("oxidised", [])
    if not isinstance(oxidised, list):
        raise _bad(name, "noise.oxidised must be a list of points")
    return Truth(
        tuple(dict.fromkeys([*broken, *loose])),
        tuple(shorts),
        tuple(str(d) for d in data.get("dead", [])),
        Noise(
            float(rates[0]),
            float(rates[1]),
            frozenset(meant(str(o)) for o in oxidised),
            float(rates[2]),
            float(rates[3]),
        ),
        tuple(dict.fromkeys(loose)),
    )


def _break(
    one: Any, graph: CopperGraph, known: set[str], prior: Sequence[float], name: str, meant: Callable[[str], str]
) -> str:
    if isinstance(one, dict) and "site" in one:
        one = one["site"]
    if isinstance(one, str):
        if one not in known:
            raise _bad(name, f"there is no site {one} on this board")
        return one
    if isinstance(one, dict) and "between" in one:
        a, b = _pair(one["between"], name, meant)
        return between(graph, prior, a, b)
    raise _bad(name, f"{one!r} is neither a site id nor {{'between': [point, point]}}")


def _pair(one: Any, name: str, meant: Callable[[str], str]) -> tuple[str, str]:
    if isinstance(one, list) and len(one) == 2 and all(isinstance(p, str) for p in one):
        return (meant(one[0]), meant(one[1]))
    raise _bad(name, f"{one!r} is not a pair of points")


def _bad(name: str, what: str) -> Exception:
    return refuse(
        "PRA-005",
        f"The truth file cannot be used: {what}.",
        'Write for example {"broken": [{"between": ["U1.8/leg", "U7.3/leg"]}], "noise": {"false_open": 0.02}}.',
        Place(file=name),
    )
