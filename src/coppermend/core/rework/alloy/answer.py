"""Solidus, liquidus and heat of melting of any solder alloy that can be answered for, with its uncertainty against experiment and where it is from."""

from __future__ import annotations

from dataclasses import dataclass

from coppermend.core.findings import refuse
from coppermend.core.rework.alloy.composition import Alloy
from coppermend.core.rework.alloy.melting import melting
from coppermend.core.rework.alloy.published import ROWS, Row, published

MODELLED = ("Bi", "Pb", "Sn")

SMALL_WT = 6.0
"""Silver, copper and antimony together may be so many percent: they are left out of the model and make its answer wider."""

SMALL_OFF_C = 15.0
"""How far that moves solidus and liquidus: silver and copper take tin (232 degC) down to 217 degC, tin-lead from 183 to 179 degC."""

TRACE_WT = 0.05

TIN_LEAD_OFF_C = (1.0, 4.0)
"""Model against published tables, tin-lead: eutectic 182.2 against 183 degC; liquidus of Sn60, Sn50 and Sn40 within the tables' own spread."""

BISMUTH_TIN_OFF_C = (1.5, 3.0)
TERNARY_OFF_C = (9.0, 5.0)
"""Tin-lead-bismuth: ternary eutectic 98 against 95 to 96 degC measured; onset of Sn43Pb43Bi14 135.7 against 144 degC published."""


@dataclass(frozen=True, slots=True)
class Melt:
    """What an alloy melts at. Temperatures in degC, ``enthalpy_j_g`` None where no model covers the alloy.

    ``uncertainty_c`` is the larger of ``solidus_off_c`` and ``liquidus_off_c``: how far experiment may lie from the number.
    ``source`` is "model" or "published"; ``table`` the published row of this very alloy, if there is one; ``notes`` say what was left out.
    """

    alloy: Alloy
    solidus_c: float
    liquidus_c: float
    enthalpy_j_g: float | None
    solidus_off_c: float
    liquidus_off_c: float
    source: str
    table: Row | None
    notes: tuple[str, ...]

    @property
    def uncertainty_c(self) -> float:
        """The larger of both uncertainties, K."""
        return max(self.solidus_off_c, self.liquidus_off_c)


def modelled_part(of: Alloy) -> tuple[float, float, float]:
    """Bismuth, lead and tin of an alloy in percent by mass, brought to 100 together.

    >>> from coppermend.core.rework.alloy.composition import read_alloy
    >>> modelled_part(read_alloy("Sn63Pb37"))
    (0.0, 37.0, 63.0)
    """
    total = sum(of.share(one) for one in MODELLED)
    b, p, s = (round(100.0 * of.share(one) / total, 6) for one in MODELLED)
    return b, p, s


def melts_at(of: Alloy) -> Melt:
    """What the alloy melts at: from the model of tin, lead and bismuth, or from a published table where that holds this alloy and the model does not.

    A Refusal for alloys that neither covers, with the nearest thing that can be answered.

    >>> from coppermend.core.rework.alloy.composition import read_alloy
    >>> found = melts_at(read_alloy("Sn50Pb50"))
    >>> round(found.solidus_c, 1), round(found.liquidus_c), found.uncertainty_c   # tables: 183, 212 to 215 degC
    (182.2, 214, 4.0)
    """
    table = published(of)
    others = {element: percent for element, percent in of.wt if element not in MODELLED and percent > TRACE_WT}
    if table is not None and others:
        return Melt(
            of, table.solidus_c, table.liquidus_c, None, 1.0, 3.0, "published", table,
            ("No model here covers all of its elements: the figures are a published table's.",),
        )  # fmt: skip
    if "In" in others or sum(others.values()) > SMALL_WT or sum(of.share(one) for one in MODELLED) <= 0:
        near = ", ".join(row.name for row in ROWS if any(row.name.count(one) for one in others))
        raise refuse(
            "ALY-005",
            f"No model or table here answers for {of.name}: {' and '.join(others)} beside tin, lead and bismuth.",
            f"Ask for tin, lead and bismuth with at most {SMALL_WT:g} percent of silver, copper and antimony, or one of {near or 'the listed alloys'}.",
        )
    return _modelled(of, table, others)


def _modelled(of: Alloy, table: Row | None, others: dict[str, float]) -> Melt:
    """The model's answer, its uncertainty and what was left out."""
    part = modelled_part(of)
    found = melting(part)
    below, above = _off(part)
    notes: tuple[str, ...] = ()
    if others:
        names = ", ".join(f"{percent:.2g} % {element}" for element, percent in others.items())
        notes = (
            f"Left out of the model: {names}. They move solidus and liquidus by up to {SMALL_OFF_C:g} K, mostly down.",
        )
        below, above = max(below, SMALL_OFF_C), max(above, SMALL_OFF_C)
    return Melt(
        of,
        found.solidus_c,
        found.liquidus_c,
        found.enthalpy_j_g,
        below,
        above,
        "model",
        table,
        notes,
    )


def _off(part: tuple[float, float, float]) -> tuple[float, float]:
    """Uncertainty of solidus and liquidus in K, by which elements are there."""
    bismuth, lead, tin = part
    if bismuth <= TRACE_WT:
        return TIN_LEAD_OFF_C
    if lead <= TRACE_WT or tin <= TRACE_WT:
        return BISMUTH_TIN_OFF_C
    return TERNARY_OFF_C
