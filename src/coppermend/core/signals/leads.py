"""The resistance of the test leads, taken off what a two-wire meter shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from coppermend.core.findings import refuse

MOST_LEAD_OHM = 2.0
"""Two leads with their tips have 0.1 to 0.5 ohm (common practice, no source); with more the tips do not touch or a lead is broken."""
MOST_SPREAD_OHM = 0.05
"""Zero readings that lie further apart are no zero: the tips move or are dirty (an assumption)."""
LEAST_SAMPLES = 3


@dataclass(frozen=True, slots=True)
class LeadZero:
    """What the meter shows with its tips on each other: ``ohm``, and how far the samples lay apart (``spread_ohm``)."""

    ohm: float
    spread_ohm: float


def zero_of(samples: Sequence[float | None]) -> LeadZero:
    """The zero of the leads from readings with both tips on each other, in ohm (None for overload). Refusal INS-011 when it is none.

    >>> zero_of([0.21, 0.22, 0.21])
    LeadZero(ohm=0.21, spread_ohm=0.01)
    """
    values = [one for one in samples if one is not None]
    again = "Press both tips hard onto each other (crossed, not point on point), hold still, then take the zero again."
    if len(values) < LEAST_SAMPLES or len(values) < len(samples):
        raise refuse("INS-011", "The meter shows overload: the tips do not touch each other.", again)
    zero, spread = median(values), max(values) - min(values)
    if abs(zero) > MOST_LEAD_OHM:
        raise refuse(
            "INS-011",
            f"The leads show {zero:.3g} ohm, expected at most {MOST_LEAD_OHM:g}: a lead is broken or the tips do not touch.",
            again,
        )
    if spread > MOST_SPREAD_OHM:
        raise refuse(
            "INS-011",
            f"The zero readings lie {spread:.3g} ohm apart, expected at most {MOST_SPREAD_OHM:g}.",
            again + " Clean the tips if it stays so.",
        )
    return LeadZero(round(zero, 6), round(spread, 6))


def without_leads(ohm: float | None, zero: LeadZero | None) -> float | None:
    """A reading in ohm with the leads taken off; overload (None) stays overload.

    >>> without_leads(0.634, LeadZero(0.21, 0.01)), without_leads(None, LeadZero(0.21, 0.01))
    (0.424, None)
    """
    if ohm is None or zero is None:
        return ohm
    return round(ohm - zero.ohm, 9)
