"""Random tin-lead-bismuth alloys against pycalphad on the same parameters: phases, amounts, compositions and enthalpy at random temperatures."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from coppermend.core.rework.alloy.equilibrium import stable
from coppermend.core.rework.alloy.gibbs import ELEMENTS, MELT, MOLAR_G, PHASES, STABLE, Line, Phase, Pure
from coppermend.core.rework.alloy.melting import enthalpy_j_mol

POWERS = ("1", "T", "T*LN(T)", "T**2", "T**3", "T**(-1)", "T**7", "T**(-9)")
PAIRS = ((0, 1), (0, 2), (1, 2))


def _written(pure: Pure) -> str:
    """A pure element's function in the notation of a TDB file."""
    parts = [
        "".join(f"{value:+.12E}*{power}" for value, power in zip(terms, POWERS, strict=True) if value) + f"; {end} "
        for end, terms in pure.ranges
    ]
    return "Y ".join(parts) + "N !"


def _line(one: Line) -> str:
    return f"{one[0]:+.10E}{one[1]:+.10E}*T"


def database() -> str:
    """The model's parameters as a TDB file."""
    rows = ["ELEMENT VA VACUUM 0 0 0 !"]
    rows += [f"ELEMENT {e.upper()} BLANK {m} 0 0 !" for e, m in zip(ELEMENTS, MOLAR_G, strict=True)]
    for name in ELEMENTS:
        rows.append(f"FUNCTION GHSER{name.upper()} 200 {_written(STABLE[name])}")
        rows.append(f"FUNCTION GMELT{name.upper()} 200 {_written(MELT[name])}")
    rows.append("TYPE_DEFINITION % SEQ * !")
    for phase in PHASES:
        rows += _phase(phase)
    return "\n".join(rows) + "\n"


def _phase(phase: Phase) -> Iterator[str]:
    yield f"PHASE {phase.name} % 1 1.0 !"
    yield f"CONSTITUENT {phase.name} :BI,PB,SN: !"
    for i, name in enumerate(ELEMENTS):
        over = f"+GMELT{name.upper()}#" if phase.above is None else _line(phase.above[i])
        yield f"PARAMETER G({phase.name},{name.upper()};0) 200 +GHSER{name.upper()}#{over}; 1000 N !"
    for pair, (zeroth, first) in zip(PAIRS, zip(phase.order0, phase.order1, strict=True), strict=True):
        names = ",".join(ELEMENTS[i].upper() for i in pair)
        for order, line in enumerate((zeroth, first)):
            if line != (0.0, 0.0):
                yield f"PARAMETER L({phase.name},{names};{order}) 200 {_line(line)}; 1000 N !"
    if phase.three != (0.0, 0.0):
        yield f"PARAMETER L({phase.name},BI,PB,SN;0) 200 {_line(phase.three)}; 1000 N !"


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("seed", range(40))
def test_equilibrium_is_pycalphads(seed: int) -> None:
    from pycalphad import Database, equilibrium, variables

    dice = np.random.default_rng(seed)
    x = dice.dirichlet((0.7, 0.7, 0.7)).clip(0.002)
    x = x / x.sum()
    kelvin = float(dice.uniform(350, 560))
    ours = stable(x, kelvin, PHASES)
    told = equilibrium(
        Database(database()),
        ["BI", "PB", "SN", "VA"],
        [one.name for one in PHASES],
        {variables.X("BI"): float(x[0]), variables.X("PB"): float(x[1]), variables.T: kelvin, variables.P: 101325, variables.N: 1},
        output="HM",
    )  # fmt: skip
    names = [str(one) for one in told.Phase.values.ravel() if one]
    amounts = told.NP.values.ravel()
    fractions = told.X.values.reshape(-1, 3)
    assert sorted(one.phase.name for one in ours.portions if one.amount > 1e-4) == sorted(
        name for name, amount in zip(names, amounts, strict=False) if amount > 1e-4
    )
    for one in ours.portions:
        if one.amount < 1e-3:
            continue
        (at,) = [i for i, name in enumerate(names) if name == one.phase.name]
        assert one.amount == pytest.approx(float(amounts[at]), abs=2e-4)
        assert one.x == pytest.approx(tuple(float(v) for v in fractions[at]), abs=2e-4)
    assert enthalpy_j_mol(ours) == pytest.approx(float(told.HM.values.ravel()[0]), abs=1.0)
    assert ours.potentials == pytest.approx(tuple(float(v) for v in told.MU.values.ravel()), abs=0.5)
