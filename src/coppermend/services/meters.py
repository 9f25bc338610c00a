"""What a reading in the log was taken with."""

from __future__ import annotations

from dataclasses import replace

from coppermend.core.belief.model import Basis
from coppermend.core.belief.ohmic import FOUR_WIRE, LEADS_OHM, Instrument, step_of, two_wire
from coppermend.core.log.state import Reading


def instrument_of(reading: Reading) -> Instrument:
    """What a reading was taken with: as it says, else two-wire with the last digit that was typed, its leads not taken off where nobody said so."""
    if reading.wires == 4 or reading.sense:
        return replace(FOUR_WIRE, step_ohm=reading.step_ohm or 0.0)
    meter = two_wire(reading.step_ohm or step_of(reading.raw))
    return meter if reading.lead_ohm is not None else replace(meter, zero_ohm=LEADS_OHM)


def meter_of(basis: Basis) -> Instrument | None:
    """What ohms can be read with at this bench, by the case's numbers; None = nothing fine enough is there."""
    if basis.ohms_wires >= 4:
        return FOUR_WIRE
    return two_wire(basis.ohms_step_ohm or 0.01) if basis.ohms_wires >= 2 else None


def options_of(meter: Instrument) -> dict[str, float]:
    """How an ohms reading with this meter is entered: the options that ``instrument_of`` reads back. A two-wire meter was zeroed with its leads held together.

    >>> options_of(FOUR_WIRE), options_of(two_wire(0.01))
    ({'wires': 4}, {'wires': 2, 'step_ohm': 0.01, 'lead_ohm': 0.0})
    """
    return {"wires": 4} if meter.wires == 4 else {"wires": 2, "step_ohm": meter.step_ohm, "lead_ohm": 0.0}
