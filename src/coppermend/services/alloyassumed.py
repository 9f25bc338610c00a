"""What the figures of an alloy rest on, in words: each line begins with the figure's name."""

from __future__ import annotations

from coppermend.core.rework.alloy.answer import Melt, modelled_part
from coppermend.core.rework.alloy.caution import soft_remainder
from coppermend.core.rework.alloy.melting import APART_K


def melt_assumed(melt: Melt) -> tuple[str, ...]:
    """What solidus, liquidus, their give or take, and the heat of melting rest on.

    >>> from coppermend.core.rework.alloy.answer import melts_at
    >>> from coppermend.core.rework.alloy.composition import read_alloy
    >>> [one.split(":")[0] for one in melt_assumed(melts_at(read_alloy("Sn63Pb37")))]
    ['Melting', 'Give or take', 'Heat of melting']
    """
    lines = []
    if melt.source == "model":
        lines.append(
            "Melting: a thermodynamic model of tin, lead and bismuth with published Gibbs energies (docs/sources.md), all of the joint run together by mass, in equilibrium."
        )
        lines.append(f"Give or take: {_off_words(melt)}")
    elif melt.table is not None:
        lines.append(f"Melting: a published table ({melt.table.source}); no model here covers all of its elements.")
        lines.append("Give or take: what published tables differ by (our estimate).")
    if melt.enthalpy_j_g is not None:
        lines.append(
            f"Heat of melting: the model's enthalpy from {APART_K:g} K below the solidus to {APART_K:g} K above the liquidus; "
            "for the pure elements within 1 % of their data, for alloys it was held against no calorimeter."
        )
    if soft_remainder(melt.alloy) is not None:
        lines.append(
            "Stays liquid: the most there can be, solids that do not even out while the joint cools (Gulliver and Scheil)."
        )
    return (*lines, *melt.notes)


def _off_words(melt: Melt) -> str:
    """How far the model lies from what was measured, for the elements of this alloy."""
    bismuth, lead, tin = (one > 0 for one in modelled_part(melt.alloy))
    far = f"solidus within {melt.solidus_off_c:g} K and liquidus within {melt.liquidus_off_c:g} K of experiment"
    if melt.notes:
        return f"{far}, the least that is admitted where elements are left out of the model (our estimate)."
    if not bismuth:
        return f"{far}: the model's eutectic of tin and lead is 182.2 degC, tables have 183 and differ among themselves by some K at the liquidus."
    if not (lead and tin):
        return f"{far}, as far as tables of two elements go (our estimate)."
    return f"{far}: the ternary eutectic is 98 degC in the model, 95 to 96 measured; Sn43Pb43Bi14 begins to melt at 135.7 degC in the model, 144 published."
