"""Gibbs energies of tin-lead-bismuth: liquid and four solid solutions, as published in assessments of the CALPHAD kind.

G(x, T) = sum x_i G_i(T) + R T sum x_i ln x_i + sum x_i x_j sum_k L_k(T) (x_i - x_j)^k + x_Bi x_Pb x_Sn L(T), per mole of atoms.

Sources of the numbers (docs/sources.md, section solder):
pure elements A. T. Dinsdale, Calphad 15 (1991) 317; Pb-Sn H. J. Fecht et al., Metall. Trans. A 20A (1989) 795, with (Pb)'s tin after
T. L. Ngai and Y. A. Chang, Calphad 5 (1981) 267; Bi-Sn B. J. Lee, C. S. Oh, J. H. Shim, J. Electron. Mater. 25 (1996) 983; Bi-Pb and the
ternary S. W. Yoon and H. M. Lee, Calphad 22 (1998) 167; the hexagonal phase as readjusted by U. R. Kattner (NIST, 2000).
Valid 300 to 700 K. Order of the elements everywhere: Bi, Pb, Sn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GAS_CONSTANT = 8.314462618
"""J/(mol K), exact since 2019."""

ELEMENTS = ("Bi", "Pb", "Sn")

MOLAR_G = (208.9804, 207.2, 118.71)
"""g/mol (IUPAC standard atomic weights, abridged)."""

ZERO_C_K = 273.15

# powers of a temperature function: 1, T, T ln T, T^2, T^3, 1/T, T^7, T^-9
Terms = tuple[float, float, float, float, float, float, float, float]


@dataclass(frozen=True, slots=True)
class Pure:
    """A pure element's Gibbs energy in J/mol by ranges: ``(upper end in K, terms)``, the lowest first."""

    ranges: tuple[tuple[float, Terms], ...]

    def at(self, kelvin: float) -> tuple[float, float]:
        """G and dG/dT in J/mol and J/(mol K)."""
        for end, terms in self.ranges:
            if kelvin < end:
                return _value(terms, kelvin), _slope(terms, kelvin)
        return _value(self.ranges[-1][1], kelvin), _slope(self.ranges[-1][1], kelvin)


def _value(t: Terms, k: float) -> float:
    return t[0] + t[1] * k + t[2] * k * math.log(k) + t[3] * k**2 + t[4] * k**3 + t[5] / k + t[6] * k**7 + t[7] * k**-9


def _slope(t: Terms, k: float) -> float:
    return (
        t[1]
        + t[2] * (math.log(k) + 1)
        + 2 * t[3] * k
        + 3 * t[4] * k**2
        - t[5] / k**2
        + 7 * t[6] * k**6
        - 9 * t[7] * k**-10
    )


STABLE = {
    "Bi": Pure(
        (
            (544.55, (-7817.776, 128.418925, -28.4096529, 0.012338888, -8.381598e-06, 0.0, 0.0, 0.0)),
            (800.0, (30207.022, -393.650351, 51.8556592, -0.075311163, 1.3499885e-05, -3616168.0, 0.0, 1.661e25)),
        )
    ),
    "Pb": Pure(
        (
            (600.61, (-7650.085, 101.700244, -24.5242231, -0.00365895, -2.4395e-07, 0.0, 0.0, 0.0)),
            (1200.0, (-10531.095, 154.243182, -32.4913959, 0.00154613, 0.0, 0.0, 0.0, 8.054e25)),
        )
    ),
    "Sn": Pure(
        (
            (505.08, (-5855.135, 65.443315, -15.961, -0.0188702, 3.121167e-06, -61960.0, 0.0, 0.0)),
            (800.0, (2524.724, 4.005269, -8.2590486, -0.016814429, 2.623131e-06, -1081244.0, 0.0, -1.2307e25)),
        )
    ),
}
"""The elements in their stable solid state at 25 degC and 1 bar (SGTE)."""

MELT = {
    "Bi": Pure(
        (
            (544.55, (11246.067, -20.63651, 0.0, 0.0, 0.0, 0.0, -5.955e-19, 0.0)),
            (800.0, (11336.259, -20.810418, 0.0, 0.0, 0.0, 0.0, 0.0, -1.661e25)),
        )
    ),
    "Pb": Pure(
        (
            (600.61, (4672.123, -7.750683, 0.0, 0.0, 0.0, 0.0, -6.019e-19, 0.0)),
            (1200.0, (4853.138, -8.067136, 0.0, 0.0, 0.0, 0.0, 0.0, -8.054e25)),
        )
    ),
    "Sn": Pure(
        (
            (505.08, (7103.092, -14.087767, 0.0, 0.0, 0.0, 0.0, 1.47031e-18, 0.0)),
            (800.0, (6971.587, -13.814382, 0.0, 0.0, 0.0, 0.0, 0.0, 1.2307e25)),
        )
    ),
}
"""What the melt of an element has above its stable solid."""

Line = tuple[float, float]  # a + b T


@dataclass(frozen=True, slots=True)
class Phase:
    """One solution phase: ``above`` the stable element (a + b T per element; None for the melt), interactions a + b T of zeroth and first order
    for Bi-Pb, Bi-Sn, Pb-Sn, and of the three together."""

    name: str
    words: str
    above: tuple[Line, Line, Line] | None
    order0: tuple[Line, Line, Line]
    order1: tuple[Line, Line, Line] = ((0.0, 0.0), (0.0, 0.0), (0.0, 0.0))
    three: Line = (0.0, 0.0)


NONE = (0.0, 0.0)
LIQUID = Phase(
    "LIQUID",
    "liquid",
    None,
    ((-4807.37, -1.25), (446.6, 0.87696), (5368.0, 0.93414)),
    (NONE, (0.0, -1.2081), (97.8, 0.09354)),
)
FCC = Phase(
    "FCC_A1",
    "lead solid solution (Pb)",
    ((9900.0, -12.5), NONE, (5510.0, -8.46)),
    ((-5208.18, 0.575), NONE, (4758.8, 2.4719)),
    (NONE, NONE, (2293.4, -4.9197)),
    (10000.0, 0.0),
)
HCP = Phase(
    "HCP_A3",
    "lead-bismuth phase (epsilon)",
    ((9900.0, -11.8), (300.0, 1.0), (3900.0, -7.646)),
    ((-7388.9, -0.68), NONE, (2000.0, 17.1)),
    ((0.0, 2.86), NONE, NONE),
)
BCT = Phase(
    "BCT_A5",
    "tin solid solution (Sn)",
    ((13526.3, 0.0), (489.0, 3.52), NONE),
    (NONE, (-4828.9, -18.811), (19693.75, -15.89485)),
    (NONE, (-8134.2, 0.0), NONE),
)
RHOMBO = Phase(
    "RHOMBO_A7",
    "bismuth (Bi)",
    (NONE, (15000.0, 0.0), (2035.0, 0.0)),
    (NONE, (18998.0, 0.0), NONE),
)
SOLIDS = (FCC, HCP, BCT, RHOMBO)
PHASES = (LIQUID, *SOLIDS)


@dataclass(frozen=True, slots=True)
class Energy:
    """A phase at one temperature: ``ends`` (3), ``first``, ``second`` interactions (Bi-Pb, Bi-Sn, Pb-Sn) and ``three``, J/mol, and ``rt`` = R T.

    The same form holds its derivative by temperature: then J/(mol K), and ``rt`` is R.
    """

    ends: tuple[float, float, float]
    first: tuple[float, float, float]
    second: tuple[float, float, float]
    three: float
    rt: float


@lru_cache(maxsize=4096)
def energy(phase: Phase, kelvin: float) -> Energy:
    """The phase's energies at this temperature."""
    return _energy(phase, kelvin, 0)


@lru_cache(maxsize=4096)
def energy_slope(phase: Phase, kelvin: float) -> Energy:
    """Their derivatives by temperature (minus the entropies)."""
    return _energy(phase, kelvin, 1)


def _energy(phase: Phase, kelvin: float, order: int) -> Energy:
    def line(one: Line) -> float:
        return one[1] if order else one[0] + one[1] * kelvin

    ends = []
    for i, name in enumerate(ELEMENTS):
        here = STABLE[name].at(kelvin)[order]
        here += MELT[name].at(kelvin)[order] if phase.above is None else line(phase.above[i])
        ends.append(here)
    a, b, c = (line(one) for one in phase.order0)
    d, e, f = (line(one) for one in phase.order1)
    return Energy(
        (ends[0], ends[1], ends[2]),
        (a, b, c),
        (d, e, f),
        line(phase.three),
        GAS_CONSTANT if order else GAS_CONSTANT * kelvin,
    )


def gibbs(of: Energy, x: Any) -> Any:
    """G in J/mol at mole fractions ``x`` (last axis Bi, Pb, Sn; each above zero)."""
    b, p, s = x[..., 0], x[..., 1], x[..., 2]
    ideal = of.rt * (b * np.log(b) + p * np.log(p) + s * np.log(s))
    return b * of.ends[0] + p * of.ends[1] + s * of.ends[2] + ideal + _excess(of, b, p, s)


def potentials(of: Energy, x: Floats) -> Floats:
    """Chemical potentials in J/mol at one composition ``x`` (Bi, Pb, Sn; each above zero)."""
    b, p, s = x.tolist()
    slope = _excess_slope(of, b, p, s)
    mean = _excess(of, b, p, s) - (b * slope[0] + p * slope[1] + s * slope[2])
    return np.array([of.ends[i] + of.rt * math.log(one) + slope[i] + mean for i, one in enumerate((b, p, s))])


def potentials_all(of: Energy, x: Floats) -> Floats:
    """Chemical potentials in J/mol at many compositions, one a row."""
    b, p, s = x[:, 0], x[:, 1], x[:, 2]
    slope = _excess_slope(of, b, p, s)
    mean = _excess(of, b, p, s) - (b * slope[0] + p * slope[1] + s * slope[2])
    return np.stack([of.ends[i] + of.rt * np.log(x[:, i]) + slope[i] + mean for i in range(3)], axis=1)


def _excess(of: Energy, b: Any, p: Any, s: Any) -> Any:
    """What the mixture has over an ideal one, J/mol."""
    (f0, f1, f2), (g0, g1, g2) = of.first, of.second
    pairs = b * p * (f0 + g0 * (b - p)) + b * s * (f1 + g1 * (b - s)) + p * s * (f2 + g2 * (p - s))
    return pairs + b * p * s * of.three


def _excess_slope(of: Energy, b: Any, p: Any, s: Any) -> tuple[Any, Any, Any]:
    """Derivatives of the excess energy by each mole fraction, the others held."""
    (f0, f1, f2), (g0, g1, g2), t = of.first, of.second, of.three
    by_b = p * (f0 + g0 * (2 * b - p)) + s * (f1 + g1 * (2 * b - s)) + p * s * t
    by_p = b * (f0 + g0 * (b - 2 * p)) + s * (f2 + g2 * (2 * p - s)) + b * s * t
    by_s = b * (f1 + g1 * (b - 2 * s)) + p * (f2 + g2 * (p - 2 * s)) + b * p * t
    return by_b, by_p, by_s


def potential_slopes(of: Energy, x: Floats) -> Floats:
    """How the chemical potentials change with ln x: d mu_i / d ln x_k at one composition, 3 by 3, J/mol."""
    b, p, s = x.tolist()
    (f0, f1, f2), (g0, g1, g2), t = of.first, of.second, of.three
    bp = f0 + 2 * g0 * (b - p) + s * t
    bs = f1 + 2 * g1 * (b - s) + p * t
    ps = f2 + 2 * g2 * (p - s) + b * t
    bb = of.rt / b + 2 * (p * g0 + s * g1)
    pp = of.rt / p + 2 * (s * g2 - b * g0)
    ss = of.rt / s - 2 * (b * g1 + p * g2)
    mean_b, mean_p, mean_s = b * bb + p * bp + s * bs, b * bp + p * pp + s * ps, b * bs + p * ps + s * ss
    return np.array(
        [
            [(bb - mean_b) * b, (bp - mean_p) * p, (bs - mean_s) * s],
            [(bp - mean_b) * b, (pp - mean_p) * p, (ps - mean_s) * s],
            [(bs - mean_b) * b, (ps - mean_p) * p, (ss - mean_s) * s],
        ]
    )
