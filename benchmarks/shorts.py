"""Where a short is found: error along the trunk after 1 to 10 readings, two parallel bus nets, simulated.

Trunks of 120 to 260 mm side by side, eight pins each on stubs; copper as it could be: each millimetre of width varies (8 % standard deviation for a
stretch of 10 mm), thickness of the board +-10 % and of a net +-5 % standard deviation, bridge 0 to 80 milliohm. The simulated bench solves its own
network with numpy's pseudo-inverse and shares no line with the model. ``told``: benches whose place is told at all, the 90 % width being at most 25 mm;
the others are refused as too coarse, and ``within_10mm_or_refused`` is what the target asks for. ``--seeds A-B``, ``--readings``, ``--track MM``, ``--meter four|10m|100m|all``.
"""

from __future__ import annotations

import argparse
import itertools
import os
from dataclasses import dataclass
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only get in each other's way

import numpy as np

from coppermend.core.belief.ohmic import FOUR_WIRE, Instrument, OhmsReading, two_wire
from coppermend.core.belief.shorts import ShortModel, locate, short_model
from coppermend.core.copper.bridges import BridgePlace, Spot
from coppermend.core.copper.model import CopperGraph, ProbePoint, Site, SiteKind
from coppermend.core.planning.ohms_next import next_reading

SQUARE_OHM = 0.000491
STUB_MM = (2.0, 25.0)
PINS = 8
METERS = {"four": FOUR_WIRE, "10m": two_wire(0.01), "100m": two_wire(0.1)}


@dataclass(frozen=True)
class Bus:
    """Two parallel nets as the model knows them: trunk junctions at ``pins_mm``, stubs; node = net * 2 PINS + k (trunk), + PINS + k (pin)."""

    graph: CopperGraph
    pins_mm: np.ndarray
    stubs_mm: np.ndarray
    length_mm: float
    track_mm: float


def bus(rng: np.random.Generator, track_mm: float) -> Bus:
    """Two nets with pins at the same places of the trunk, stubs of their own."""
    length = float(rng.uniform(120.0, 260.0))
    inner = np.sort(rng.uniform(8.0, length - 8.0, PINS - 2))
    pins = np.concatenate([[0.0], inner, [length]])
    stubs = rng.uniform(*STUB_MM, (2, PINS))
    sites, points, places, nets = [], [], [], []
    for net in (0, 1):
        base, y = net * 2 * PINS, 0.6 * net
        places += [(x, y, "c") for x in pins] + [
            (x, y + (1 if net else -1) * s, "c") for x, s in zip(pins, stubs[net], strict=True)
        ]
        nets += [net] * (2 * PINS)
        for k in range(PINS):
            sites.append(_run(f"stub{net}.{k}", net, base + k, base + PINS + k, float(stubs[net, k]), track_mm, places))
            x, y2, _ = places[base + PINS + k]
            points.append(ProbePoint(f"X{net}.{k}", base + PINS + k, net, x, y2, "c", f"X{net}", str(k)))
            if k:
                sites.append(
                    _run(
                        f"trunk{net}.{k - 1}",
                        net,
                        base + k - 1,
                        base + k,
                        float(pins[k] - pins[k - 1]),
                        track_mm,
                        places,
                    )
                )
    graph = CopperGraph(
        "bus", ("A", "B"), tuple(nets), tuple(places), ("junction",) * len(nets), tuple(sites), tuple(points), ()
    )
    return Bus(graph, pins, stubs, length, track_mm)


def _run(name: str, net: int, a: int, b: int, length: float, width: float, places: list[Any]) -> Site:
    path = (places[a][:2], places[b][:2])
    return Site(name, SiteKind.RUN, net, a, b, "c", path, (width,), length, width, SQUARE_OHM * length / width)


def candidates(one: Bus) -> list[BridgePlace]:
    """A place each millimetre of the trunk."""
    out = []
    for x in np.arange(0.0, one.length_mm, 1.0):
        k = min(int(np.searchsorted(one.pins_mm, x, side="right")) - 1, PINS - 2)
        t = float((x - one.pins_mm[k]) / (one.pins_mm[k + 1] - one.pins_mm[k]))
        a, b = (Spot(2 * PINS * n + k) if t <= 0 else Spot(-1, f"trunk{n}.{k}", t) for n in (0, 1))
        out.append(BridgePlace(a, b, float(x), 0.3, 0.3, "c", "track and track"))
    return out


class SimulatedBench:
    """The copper as it really is, in pieces of at most 1 mm, and a bridge; answers V / I of any four tips, with the meter's error."""

    def __init__(self, one: Bus, rng: np.random.Generator) -> None:
        self.rng = rng
        self.at_mm = float(rng.uniform(0.0, one.length_mm))
        self.bridge_ohm = float(rng.uniform(0.0, 0.08))
        self.gain = float(rng.normal(0.0, 1.0))
        self.zero = float(rng.normal(0.0, 1.0))
        whole = float(rng.normal(1.0, 0.10))
        self.edges: list[tuple[Any, Any, float]] = []
        for net in (0, 1):
            scale = max(whole * float(rng.normal(1.0, 0.05)), 0.5)
            marks = np.unique(np.concatenate([one.pins_mm, np.arange(0.0, one.length_mm, 1.0), [self.at_mm]]))
            noise = self._width(one.length_mm)
            for x1, x2 in itertools.pairwise(marks):
                self._edge((net, "t", x1), (net, "t", x2), (x2 - x1) / one.track_mm * scale * noise[int(x1)])
            for k in range(PINS):
                own = self._width(float(one.stubs_mm[net, k]))
                whole_stub = float(one.stubs_mm[net, k]) * float(np.mean(own))
                self._edge((net, "t", one.pins_mm[k]), (net, "p", k), whole_stub / one.track_mm * scale)
        self.edges.append(((0, "t", self.at_mm), (1, "t", self.at_mm), max(self.bridge_ohm, 1e-7)))
        self._solve()

    def _width(self, length: float) -> np.ndarray:
        """Resistance of each millimetre against nominal: 8 % for the mean of 10 mm, so 8 % * sqrt(10) for one."""
        return np.maximum(1.0 + self.rng.normal(0.0, 0.08 * 10**0.5, int(length) + 2), 0.3)

    def _edge(self, a: Any, b: Any, squares: float) -> None:
        self.edges.append((a, b, max(SQUARE_OHM * squares, 1e-9)))

    def _solve(self) -> None:
        names = {n: k for k, n in enumerate(dict.fromkeys(x for e in self.edges for x in e[:2]))}
        matrix = np.zeros((len(names), len(names)))
        for a, b, ohm in self.edges:
            i, j = names[a], names[b]
            matrix[[i, j], [i, j]] += 1.0 / ohm
            matrix[i, j] -= 1.0 / ohm
            matrix[j, i] -= 1.0 / ohm
        inverse = np.zeros_like(matrix)
        inverse[1:, 1:] = np.linalg.inv(matrix[1:, 1:])
        self.names, self.g = names, inverse

    def read(self, force: tuple[int, int], sense: tuple[int, int], meter: Instrument) -> float:
        """V / I as the meter shows it."""
        a, b, p, q = (self.names[n // (2 * PINS), "p", n % (2 * PINS) - PINS] for n in (*force, *sense))
        true = float(self.g[p, a] - self.g[p, b] - self.g[q, a] + self.g[q, b])
        shown = true * (1.0 + meter.gain * self.gain) + self.rng.normal(0.0, meter.noise_ohm)
        if meter.wires == 2:
            shown += self.rng.normal(0.0, meter.contact_ohm)
            shown = max(round(shown / meter.step_ohm) * meter.step_ohm, 0.0)
        return float(shown)


def one_case(seed: int, track_mm: float, meter: Instrument, most: int) -> list[tuple[float, float]]:
    """(error mm, 90 % width mm) after each reading."""
    rng = np.random.default_rng([seed, int(track_mm * 10)])
    one = bus(rng, track_mm)
    bench = SimulatedBench(one, rng)
    model: ShortModel = short_model(one.graph, 0, 1, candidates(one), [p.node for p in one.graph.points])
    readings: list[OhmsReading] = []
    out = []
    now = locate(model, readings)
    for _ in range(most):
        plan = next_reading(model, readings, now, one.graph.points, meter)
        assert plan is not None
        readings.append(OhmsReading(plan.force, plan.sense, bench.read(plan.force, plan.sense, meter), meter))
        now = locate(model, readings)
        out.append((abs(model.places[now.best].x_mm - bench.at_mm), now.width_mm))
    return out


def run(arguments: list[str]) -> dict[str, Any]:
    """Runs the simulation."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks shorts")
    parser.add_argument("--seeds", default="1-60")
    parser.add_argument("--readings", type=int, default=6)
    parser.add_argument("--track", type=float, nargs="*", default=[0.3, 1.0])
    parser.add_argument("--meter", choices=[*METERS, "all"], default="all")
    o = parser.parse_args(arguments)
    first, last = (int(x) for x in o.seeds.split("-"))
    rows = []
    for track in o.track:
        for name in METERS if o.meter == "all" else (o.meter,):
            cases = np.array([one_case(seed, track, METERS[name], o.readings) for seed in range(first, last + 1)])
            for k in range(o.readings):
                error, width = cases[:, k, 0], cases[:, k, 1]
                told = width <= 25.0
                rows.append(
                    {
                        "track_mm": track,
                        "meter": METERS[name].words,
                        "readings": k + 1,
                        "median_mm": round(float(np.median(error)), 1),
                        "p90_mm": round(float(np.percentile(error, 90)), 1),
                        "within_2mm": round(float((error <= 2.0).mean()), 3),
                        "within_10mm": round(float((error <= 10.0).mean()), 3),
                        "too_coarse": round(float((~told).mean()), 3),
                        "told": int(told.sum()),
                        "told_within_10mm": round(float((error[told] <= 10.0).mean()), 3) if told.any() else None,
                        "within_10mm_or_refused": round(float(((error <= 10.0) | ~told).mean()), 3),
                        "inside_90": round(float((error <= np.maximum(width, 1.0)).mean()), 3),
                    }
                )
    return {"seeds": o.seeds, "rows": rows}
