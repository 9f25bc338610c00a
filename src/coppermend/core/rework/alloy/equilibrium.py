"""Which phases a tin-lead-bismuth alloy is made of at a temperature: the lowest Gibbs energy of all mixtures of phases.

First on a grid of compositions (the lower convex hull under the alloy, found by the simplex method), then exact by Newton's method on equal
chemical potentials and the balance of the elements; the result is held against the grid again, so no phase is missed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np

from coppermend.core.rework.alloy.gibbs import (
    Energy,
    Floats,
    Phase,
    energy,
    gibbs,
    potential_slopes,
    potentials,
)

SMALLEST = 1e-7
"""Mole fraction that stands for none: far below what changes a temperature by 0.001 K."""

GRID_STEPS = 24
NEAR_EDGE = (1e-6, 1e-4, 1e-3, 4e-3, 0.012, 0.025)
TOLERANCE_J = 1e-6
HULL_TOLERANCE_J = 1e-4
GRID_OFF_J = 200.0
"""A phase's least energy on the grid is never so far above its true least: steps of 1/24, finer at the edges, make at most some 20 J/mol."""


@dataclass(frozen=True, slots=True)
class Portion:
    """One phase of the equilibrium: its mole fractions ``x`` (Bi, Pb, Sn) and its ``amount`` in mole of atoms per mole of the alloy."""

    phase: Phase
    x: tuple[float, float, float]
    amount: float


@dataclass(frozen=True, slots=True)
class Equilibrium:
    """The stable ``portions`` at ``kelvin`` and the chemical ``potentials`` (J/mol) they share."""

    kelvin: float
    portions: tuple[Portion, ...]
    potentials: tuple[float, float, float]


@lru_cache(maxsize=1)
def grid() -> Floats:
    """Compositions all over the triangle, closer together towards its edges and corners; every fraction at least ``SMALLEST``."""
    steps = sorted({*NEAR_EDGE, *(i / GRID_STEPS for i in range(1, GRID_STEPS)), *(1 - one for one in NEAR_EDGE)})
    rows = [(a, b, 1 - a - b) for a in steps for b in steps if 1 - a - b >= NEAR_EDGE[0] * 0.5]
    rows += [(a, 1 - a - c, c) for a in steps for c in NEAR_EDGE if 1 - a - c >= NEAR_EDGE[0] * 0.5]
    rows += [(1 - b - c, b, c) for b in steps for c in NEAR_EDGE if 1 - b - c >= NEAR_EDGE[0] * 0.5]
    tiny = SMALLEST / 10
    rows += [(1 - 2 * tiny, tiny, tiny), (tiny, 1 - 2 * tiny, tiny), (tiny, tiny, 1 - 2 * tiny)]
    found = np.unique(np.round(np.array(rows), 12), axis=0)
    return np.asarray(found / found.sum(axis=1, keepdims=True))


@lru_cache(maxsize=512)
def grid_energies(phase: Phase, kelvin: float) -> Floats:
    """G of a phase on the grid."""
    return np.asarray(gibbs(energy(phase, kelvin), grid()))


def inside(x: Floats) -> Floats:
    """Mole fractions with none below ``SMALLEST``, summing to one."""
    kept = np.maximum(x, SMALLEST)
    return np.asarray(kept / kept.sum())


def stable(x: Floats, kelvin: float, phases: tuple[Phase, ...], *, near: Equilibrium | None = None) -> Equilibrium:
    """The equilibrium of an alloy with mole fractions ``x`` among these ``phases`` at this temperature.

    ``near`` is an equilibrium of the same alloy at a temperature close by: a start that saves time, never a restriction.
    """
    x = inside(x)
    found = None if near is None else newton(x, kelvin, [(p.phase, np.array(p.x), p.amount) for p in near.portions])
    if found is not None and _carries(found) and not _missed(found, kelvin, phases):
        return found
    for rounds in (0, 6, 40):
        basis = _hull(x, kelvin, phases, rounds)
        found = _polish(x, kelvin, _merged(basis, 0.03 if rounds else 0.2))
        if found is not None and not _missed(found, kelvin, phases):
            return found
    return _as_found(basis, kelvin)


def _as_found(basis: list[Point], kelvin: float) -> Equilibrium:
    """The hull's own answer, for phases about to unmix, where Newton's method has no firm ground: exact to ``HULL_TOLERANCE_J``."""
    mu = np.linalg.solve(
        np.array([y for _, y, _ in basis]), [float(gibbs(energy(phase, kelvin), y)) for phase, y, _ in basis]
    )
    portions = tuple(
        Portion(phase, (float(y[0]), float(y[1]), float(y[2])), max(amount, 0.0)) for phase, y, amount in basis
    )
    return Equilibrium(kelvin, portions, (float(mu[0]), float(mu[1]), float(mu[2])))


def _carries(found: Equilibrium) -> bool:
    """Whether every phase has an amount of its own and no two are one phase at one composition."""
    portions = found.portions
    apart = all(
        one.phase is not other.phase or max(abs(a - b) for a, b in zip(one.x, other.x, strict=True)) > 0.02
        for i, one in enumerate(portions)
        for other in portions[:i]
    )
    return apart and all(one.amount >= 0 for one in portions)


Point = tuple[Phase, Floats, float]  # phase, composition, amount


def _hull(x: Floats, kelvin: float, phases: tuple[Phase, ...], rounds: int) -> list[Point]:
    """The three points that carry ``x`` at the least energy: simplex method with three rows on the grid, then ``rounds`` times with each
    phase's best composition under the prices found so far as a further point."""
    points = np.concatenate([grid()] * len(phases))
    energies = np.concatenate([grid_energies(one, kelvin) for one in phases])
    owners = [one for one in phases for _ in range(len(grid()))]
    corners = [int(np.argmin(np.where(points[:, i] > 0.99999, energies, np.inf))) for i in range(3)]
    basis, amounts = _simplex(x, points, energies, corners)
    for _ in range(rounds):
        mu = np.linalg.solve(points[basis], energies[basis])
        better = [(phase, *lowest(phase, kelvin, mu)) for phase in phases]
        if min(value for _, value, _ in better) > -HULL_TOLERANCE_J:
            break
        points = np.concatenate([points, [y for _, _, y in better]])
        energies = np.concatenate([energies, [float(gibbs(energy(one, kelvin), y)) for one, _, y in better]])
        owners += [one for one, _, _ in better]
        basis, amounts = _simplex(x, points, energies, basis)
    return [(owners[j], points[j], float(amounts[i])) for i, j in enumerate(basis)]


def _simplex(x: Floats, points: Floats, energies: Floats, basis: list[int]) -> tuple[list[int], Floats]:
    """The three points whose mixture is ``x`` at the least energy, and their amounts, from a first such three."""
    basis = list(basis)
    amounts = np.linalg.solve(points[basis].T, x)
    for _ in range(400):
        price = np.linalg.solve(points[basis], energies[basis])
        reduced = energies - points @ price
        enter = int(np.argmin(reduced))
        if reduced[enter] > -1e-7:
            break
        change = np.linalg.solve(points[basis].T, points[enter])
        ratios = [amounts[i] / change[i] if change[i] > 1e-12 else np.inf for i in range(3)]
        leave = int(np.argmin(ratios))
        amounts = amounts - ratios[leave] * change
        amounts[leave] = ratios[leave]
        basis[leave] = enter
    return basis, np.asarray(amounts)


def _merged(basis: list[Point], close: float) -> list[Point]:
    """Points of one phase closer to each other than ``close`` (mole fraction) become one; what carries nothing is left out."""
    kept: list[Point] = []
    for phase, y, amount in sorted(basis, key=lambda one: -one[2]):
        if amount <= 1e-9:
            continue
        for i, (other, z, more) in enumerate(kept):
            if other is phase and float(np.abs(y - z).max()) < close:
                kept[i] = (phase, (y * amount + z * more) / (amount + more), amount + more)
                break
        else:
            kept.append((phase, y, amount))
    return kept


def _polish(x: Floats, kelvin: float, basis: list[Point]) -> Equilibrium | None:
    """Newton's method on the given phases and on each set with one or two fewer: of those that carry the alloy, the one with the least energy."""
    for many in range(len(basis), 0, -1):
        solved = [newton(x, kelvin, list(some)) for some in combinations(basis, many)]
        fit = [one for one in solved if one is not None and _carries(one)]
        if fit:
            return min(fit, key=lambda one: float(x @ np.array(one.potentials)))
    return None


def newton(x: Floats, kelvin: float, points: list[Point]) -> Equilibrium | None:
    """Equal potentials in all given phases and the balance of the elements, from a first guess; None when it does not converge."""
    many = len(points)
    energies = [energy(phase, kelvin) for phase, _, _ in points]
    logs = np.log(np.array([np.maximum(y, 1e-12) for _, y, _ in points]))
    amounts = np.array([amount for _, _, amount in points])
    if many == 1:
        mu = potentials(energies[0], x)
        return _result(kelvin, points, np.log(x)[None, :], np.ones(1), mu)
    mu = potentials(energies[0], np.exp(logs[0]))
    size = 4 * many + 3
    for _ in range(30):
        y = np.exp(logs)
        left, right = np.zeros((size, size)), np.zeros(size)
        for p in range(many):
            rows = slice(3 * p, 3 * p + 3)
            left[rows, rows] = potential_slopes(energies[p], y[p])
            left[rows, 3 * many : 3 * many + 3] = -np.eye(3)
            right[rows] = mu - potentials(energies[p], y[p])
            balance = slice(3 * many, 3 * many + 3)
            left[balance, rows] = np.diag(amounts[p] * y[p])
            left[balance, 3 * many + 3 + p] = y[p]
            left[3 * many + 3 + p, rows] = y[p]
            right[3 * many + 3 + p] = 1 - y[p].sum()
        right[3 * many : 3 * many + 3] = x - amounts @ y
        try:
            step = np.linalg.solve(left, right)
        except np.linalg.LinAlgError:
            return None
        change = step[: 3 * many].reshape(many, 3)
        largest = float(np.abs(change).max())
        scale = min(1.0, 1.0 / largest) if largest > 0 else 1.0
        logs = logs + scale * change
        mu = mu + scale * step[3 * many : 3 * many + 3]
        amounts = amounts + scale * step[3 * many + 3 :]
        if not np.isfinite(logs).all() or float(logs.max()) > 0.5 or float(amounts.min()) < -3.0:
            return None
        if scale == 1.0 and largest < 1e-10 and float(np.abs(right).max()) < TOLERANCE_J:
            return _result(kelvin, points, logs, amounts, mu)
    return None


def _result(kelvin: float, points: list[Point], logs: Floats, amounts: Floats, mu: Floats) -> Equilibrium:
    y = np.exp(logs)
    portions = tuple(
        Portion(points[p][0], (float(y[p, 0]), float(y[p, 1]), float(y[p, 2])), float(amounts[p]))
        for p in range(len(points))
    )
    return Equilibrium(kelvin, portions, (float(mu[0]), float(mu[1]), float(mu[2])))


def driving(of: Energy, mu: Floats, start: Floats) -> tuple[float, Floats]:
    """The least of g(y) - mu y in a phase near ``start``, in J/mol, and where: negative when the phase would form."""
    y = np.array(start)
    for _ in range(40):
        here = potentials(of, y) - mu
        slope = potential_slopes(of, y)
        left = np.zeros((4, 4))
        left[:3, :3] = slope
        left[:3, 3] = -1.0
        left[3, :3] = y
        try:
            step = np.linalg.solve(left, np.append(-here, 0.0))
        except np.linalg.LinAlgError:
            break
        largest = float(np.abs(step[:3]).max())
        y = y * np.exp(step[:3] * min(1.0, 0.7 / largest if largest > 0 else 1.0))
        y = y / y.sum()
        if largest < 1e-9:
            break
    return float(gibbs(of, y) - y @ mu), np.asarray(y)


def lowest(phase: Phase, kelvin: float, mu: Floats) -> tuple[float, Floats]:
    """The least driving force of a phase over all its compositions: from the best grid point, then exact."""
    reduced = grid_energies(phase, kelvin) - grid() @ mu
    best = int(np.argmin(reduced))
    return _refined(phase, kelvin, mu, float(reduced[best]), grid()[best])


def _refined(phase: Phase, kelvin: float, mu: Floats, rough: float, start: Floats) -> tuple[float, Floats]:
    value, y = driving(energy(phase, kelvin), mu, start)
    return (rough, start) if value > rough else (value, y)


def first_to_form(phases: tuple[Phase, ...], kelvin: float, mu: Floats) -> tuple[float, Phase]:
    """The least driving force of several phases and which has it; those that the grid shows far above the best are not looked at again."""
    planes = grid() @ mu
    rough = []
    for phase in phases:
        reduced = grid_energies(phase, kelvin) - planes
        at = int(np.argmin(reduced))
        rough.append((float(reduced[at]), at, phase))
    rough.sort(key=lambda one: one[0])
    best = (np.inf, phases[0])
    for value, at, phase in rough:
        if value - GRID_OFF_J > best[0]:
            break
        found = _refined(phase, kelvin, mu, value, grid()[at])[0]
        if found < best[0]:
            best = (found, phase)
    return best


def _missed(found: Equilibrium, kelvin: float, phases: tuple[Phase, ...]) -> bool:
    """Whether a phase lies below the plane of the found ones."""
    mu = np.array(found.potentials)
    planes = grid() @ mu
    for phase in phases:
        reduced = grid_energies(phase, kelvin) - planes
        at = int(np.argmin(reduced))
        value, y = float(reduced[at]), grid()[at]
        if value > GRID_OFF_J:
            continue
        known = any(
            one.phase is phase and max(abs(a - b) for a, b in zip(one.x, y.tolist(), strict=True)) < 1.5 / GRID_STEPS
            for one in found.portions
        )
        if value < -1e-4 or (not known and _refined(phase, kelvin, mu, value, y)[0] < -1e-4):
            return True
    return False
