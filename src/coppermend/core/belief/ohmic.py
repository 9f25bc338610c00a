"""Ohms readings as linear forms of what is not known: the scale of the copper of two nets, the bridge between them, the zero of the leads.

Current I goes in at one point and out at another, the voltage V is read between two points (the same two for a two-wire meter): V / I is
F' G S with the injections F of the current and S of the voltage tips, G the inverse of the grounded Laplacian, and by reciprocity its change
with the resistance of one site is the product of the currents that F and S drive through it (compensation theorem of network theory, from memory).
With one bridge between nets A and B all current from one net to the other crosses it: V / I = kA fA + kB fB + Rs s, exact for meshes too.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coppermend.core.board.conditions import SPREAD
from coppermend.core.copper.model import CopperGraph, SiteKind
from coppermend.core.copper.provable import joined_nets
from coppermend.core.copper.resistance import BANDS, NetSolver, solver

Array = NDArray[np.float64]

WIDTH_SD = 0.08
"""Local variation of a track's resistance: standard deviation of a stretch of WIDTH_MM (an assumption, common practice, no source)."""
WIDTH_MM = 10.0
SCALE_COMMON_SD = 0.10
"""Thickness and etch of the whole board against its data, known to within SPREAD, and its temperature (an assumption)."""
WARMTH_SD = 0.04
"""What of SCALE_COMMON_SD is temperature: 10 degC at 0.39 % per degC of copper; it stays whatever is said of the thickness (an assumption)."""
SCALE_NET_SD = 0.05
"""The same, of one net against the board (an assumption)."""
LIMIT_MM = 25.0
"""A place whose 90 % width exceeds this is refused: the instrument is too coarse here."""


def common_variance(spread: float = SPREAD) -> float:
    """Variance of the scale that all copper of a board has in common, where thickness and width are known to within ``spread`` (0.1: 10 %).

    >>> round(common_variance() ** 0.5, 3), round(common_variance(0.3) ** 0.5, 3), round(common_variance(0.0) ** 0.5, 3)
    (0.1, 0.278, 0.04)
    """
    share = (SCALE_COMMON_SD**2 - WARMTH_SD**2) / SPREAD**2
    return SCALE_COMMON_SD**2 + share * (spread**2 - SPREAD**2)


@dataclass(frozen=True, slots=True)
class Instrument:
    """What reads ohms. ``wires`` 2 or 4; all others in ohm, standard deviations: ``noise`` of a reading, ``contact`` of the two tips of a
    two-wire reading, ``zero`` of its leads' zero (common to its readings); ``step`` the last digit shown. ``gain`` relative.
    """

    wires: int = 4
    noise_ohm: float = 1e-4
    step_ohm: float = 0.0
    contact_ohm: float = 0.0
    zero_ohm: float = 0.0
    gain: float = 0.02

    @property
    def variance(self) -> float:
        """Variance of one reading in ohm^2; a last digit is uniform over its step."""
        return self.noise_ohm**2 + self.step_ohm**2 / 12.0 + self.contact_ohm**2

    @property
    def common_ohm(self) -> float:
        """Standard deviation of what all its two-wire readings have too much, in ohm; 0 for four wires."""
        return math.hypot(self.contact_ohm, self.zero_ohm) if self.wires == 2 else 0.0

    @property
    def words(self) -> str:
        """The instrument in words."""
        if self.wires == 4:
            return f"four-wire, {self.noise_ohm * 1e3:g} milliohm"
        return f"two-wire, last digit {self.step_ohm * 1e3:g} milliohm"


EACH = 0.005
"""What a reading errs by on its own, as a share of it (standard deviation, an assumption): where along a leg the tips stand, another range, copper a degree
warmer. Beside ``gain``, which all readings of an instrument have in common: without it a few milliohm of such scatter look like an excess."""

FOUR_WIRE = Instrument()
"""A four-wire milliohm meter, or a current-limited supply with a voltmeter at tips of its own: 2 % and 0.1 milliohm (an assumption)."""


def two_wire(step_ohm: float = 0.01) -> Instrument:
    """A two-wire meter whose last digit is ``step_ohm``: tips that vary by 20 milliohm, 30 where the digit is 0.1 ohm (an assumption)."""
    return Instrument(2, 0.0, step_ohm, 0.03 if step_ohm > 0.05 else 0.02, 0.02)


LEADS_OHM = 0.3
"""Leads whose zero nobody took off add 0.1 to 0.5 ohm to a two-wire reading, or nothing where the meter was set to zero by hand (common practice,
no source): taken as an error of this standard deviation, common to the readings."""


def step_of(raw: str, otherwise_ohm: float = 0.1) -> float:
    """The last digit of a value as it was typed, in ohm; ``otherwise_ohm`` where that cannot be told.

    >>> step_of("0.31"), step_of("12 mOhm"), step_of("4k7"), step_of("")
    (0.01, 0.001, 0.1, 0.1)
    """
    found = re.fullmatch(r"\s*[+-]?\d+(?:[.,](\d*))?\s*(m?)\s*(?:ohms?|Ohms?|OHM|Ω|Ω|R|r)?\s*", raw)
    if not found:
        return otherwise_ohm
    step = float(10.0 ** -len(found[1] or ""))
    return step * 1e-3 if found[2] else step


@dataclass(frozen=True, slots=True)
class OhmsReading:
    """One reading: current through the nodes ``force``, voltage at the nodes ``sense`` (the same for a plain ohms reading), V / I in ohm.

    ``entry`` its log id. Nodes are those of the graph that is being asked.
    """

    force: tuple[int, int]
    sense: tuple[int, int]
    ohm: float = 0.0
    instrument: Instrument = FOUR_WIRE
    entry: str = ""


@dataclass(frozen=True, slots=True)
class NetOhms:
    """One net prepared for forms: columns of G for the nodes asked (``at`` node -> column), currents through each site and its variance.

    ``g`` (columns, columns); ``current`` (sites, columns) in ampere per ampere; ``variance`` (sites,) of the site's resistance in ohm^2;
    ``common`` the variance of the board's scale.
    """

    nets: frozenset[int]
    at: dict[int, int]
    g: Array
    current: Array
    variance: Array
    piece: NDArray[np.int64]
    common: float = SCALE_COMMON_SD**2


def net_ohms(graph: CopperGraph, net: int, nodes: Sequence[int]) -> NetOhms:
    """A net prepared for readings at the given nodes; nodes without copper of their own are left out."""
    made = solver(graph, net)
    nets = frozenset(joined_nets(graph, net))
    rows: dict[int, int] = {}
    for node in dict.fromkeys(nodes):
        if graph.node_net[node] in nets:
            row = made.row_at(node, *graph.node_place[node][:2])
            if row is not None:
                rows[node] = row
    listed = list(rows.values())
    columns = made.columns(listed) if listed else np.zeros((len(made.row), 0))
    i, j, siemens, variance = site_rows(graph, made, nets)
    current = (columns[i] - columns[j]) * siemens[:, None]
    g = columns[np.array(listed, dtype=np.int64)] if listed else np.zeros((0, 0))
    piece = np.array([made.piece[r] for r in listed], dtype=np.int64)
    at = {n: k for k, n in enumerate(rows)}
    return NetOhms(nets, at, g, current, variance, piece, common_variance(graph.copper_spread))


def site_rows(
    graph: CopperGraph, made: NetSolver, nets: frozenset[int]
) -> tuple[NDArray[np.int64], NDArray[np.int64], Array, Array]:
    """Every site that carries current, in columns: its two rows, conductance in siemens, variance of its resistance in ohm^2 (width, or its band)."""
    rows = []
    for site in graph.sites:
        if site.kind is SiteKind.THROUGH or site.a == site.b or graph.node_net[site.a] not in nets:
            continue
        i, j = made.row_at(site.a, *site.path[0]), made.row_at(site.b, *site.path[-1])
        if i is None or j is None:
            continue
        ohm = max(site.resistance_ohm, 1e-9)
        if site.kind in (SiteKind.RUN, SiteKind.SPOKE):
            spread = WIDTH_SD * (WIDTH_MM / max(site.length_mm, 0.1)) ** 0.5
        else:
            low, high = BANDS.get(site.kind, (0.2, 5.0))
            spread = (high - low) / 4.0
        rows.append((i, j, 1.0 / ohm, (spread * ohm) ** 2))
    table = np.array(rows, dtype=np.float64).reshape(-1, 4)
    return table[:, 0].astype(np.int64), table[:, 1].astype(np.int64), table[:, 2], table[:, 3]


@dataclass(frozen=True, slots=True)
class Forms:
    """Readings as linear forms for every candidate: ``x`` (candidates, readings, 3) in (kA, kB, Rs); ``width`` (candidates, readings, sites) how each
    varies with the resistance of single sites, scaled to unit variance. ``possible`` (candidates, readings): the current has a way.
    ``common`` the variance of the scale that both nets share.
    """

    x: Array
    width: Array
    possible: NDArray[np.bool_]
    common: float = SCALE_COMMON_SD**2


def short_forms(a: NetOhms, b: NetOhms, ends: Sequence[tuple[int, int]], readings: Sequence[OhmsReading]) -> Forms:
    """The forms of readings when the nets are bridged between the nodes of ``ends`` (one pair a candidate).

    Raises KeyError for a node that is on neither net.
    """
    count, many = len(ends), len(readings)
    x = np.zeros((count, many, 3))
    possible = np.ones((count, many), dtype=bool)
    widths = []
    for side, (net, spot) in enumerate(((a, [e[0] for e in ends]), (b, [e[1] for e in ends]))):
        here = np.array([net.at[n] for n in spot], dtype=np.int64)
        width = np.empty((count, many, len(net.variance)))
        for r, reading in enumerate(readings):
            ends_in, ends_read = (_injection(net, pair, a, b, here, side) for pair in (reading.force, reading.sense))
            x[:, r, side] = sum(p * q * net.g[i, j] for (i, p), (j, q) in itertools.product(ends_in, ends_read))
            possible[:, r] &= _balanced(ends_in, net.piece) & _balanced(ends_read, net.piece)
            width[:, r] = _flow(net, ends_in, count) * _flow(net, ends_read, count) * np.sqrt(net.variance)
            if side == 0:
                x[:, r, 2] = _crossing(reading.force, a, b) * _crossing(reading.sense, a, b)
        widths.append(width)
    return Forms(x, np.concatenate(widths, axis=2), possible, a.common)


Injection = list[tuple[NDArray[np.int64], float]]
"""Where current goes in: for each of at most three ends the column (candidates,) and the ampere. No matrix product: three columns are added up."""


def _balanced(ends: Injection, piece: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(candidates,) whether what goes into each connected piece comes out of it again."""
    out = np.ones(len(ends[0][0]) if ends else 1, dtype=bool)
    for i, _ in ends:
        total = sum((q * (piece[j] == piece[i]) for j, q in ends), np.zeros(len(i)))
        out &= np.abs(total) < 0.5
    return out


def _flow(net: NetOhms, ends: Injection, count: int) -> Array:
    """(candidates, sites) the currents that an injection drives."""
    out = np.zeros((count, len(net.variance)))
    for i, ampere in ends:
        out += ampere * net.current.T[i]
    return out


def _crossing(pair: tuple[int, int], a: NetOhms, b: NetOhms) -> float:
    """Current from net A through the bridge for one ampere in at the first node and out at the second: 1, 0 or -1."""
    for node in pair:
        if node not in a.at and node not in b.at:
            raise KeyError(node)
    return float(pair[0] in a.at) - float(pair[1] in a.at)


def _injection(
    net: NetOhms, pair: tuple[int, int], a: NetOhms, b: NetOhms, here: NDArray[np.int64], side: int
) -> Injection:
    """The balanced injection on one net: its own tips, and the bridge where current crosses it."""
    crossing = _crossing(pair, a, b)
    out: Injection = [
        (np.full(len(here), net.at[node], dtype=np.int64), sign)
        for node, sign in zip(pair, (1.0, -1.0), strict=True)
        if node in net.at
    ]
    if crossing:
        out.append((here, -crossing if side == 0 else crossing))
    return out
