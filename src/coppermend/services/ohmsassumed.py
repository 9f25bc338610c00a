"""What a place by ohms rests on, in words: how resistance is reckoned, the copper taken, the meter, its leads' zero, the bridge or the excess."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from coppermend.core.belief.ohmic import (
    LEADS_OHM,
    SCALE_NET_SD,
    WIDTH_MM,
    WIDTH_SD,
    Instrument,
    OhmsReading,
    common_variance,
)
from coppermend.core.belief.partial import EXCESS_OHM, SOUND_PRIOR
from coppermend.core.belief.shorts import BRIDGE_OHM
from coppermend.core.board.model import Board
from coppermend.core.copper.bridges import OPEN_MM
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.places import layer_words
from coppermend.core.units import COPPER_THICKNESS_MM, UM_PER_MM

MODEL = "Resistances of tracks by length, width and foil, of pours by Laplace's equation on their outline (docs/explanation/ohms.md)."
NOMINAL_UM = COPPER_THICKNESS_MM * UM_PER_MM


def short_assumed(
    board: Board, graph: CopperGraph, readings: Sequence[OhmsReading], instrument: Instrument
) -> tuple[str, ...]:
    """What the place of a short rests on; ``instrument`` takes the next reading and is named where no reading was taken yet."""
    solder, hair = BRIDGE_OHM
    return (
        *ohms_assumed(board, graph, readings, instrument),
        f"One bridge, where copper of both nets comes within {OPEN_MM:g} mm on an outer layer; the nearer, the likelier beforehand (assumed). "
        f"Its resistance: half of a bell curve of {solder[0] * 1e3:g} milliohm ({100 * solder[1]:.0f} %) or {hair[0]:g} ohm ({100 * hair[1]:.0f} %), assumed. "
        "No part between the nets carries current.",
    )


def excess_assumed(
    board: Board, graph: CopperGraph, readings: Sequence[OhmsReading], instrument: Instrument
) -> tuple[str, ...]:
    """What the place of too much resistance rests on."""
    return (
        *ohms_assumed(board, graph, readings, instrument),
        f"One stretch has too much, {EXCESS_OHM[0]:g} to {EXCESS_OHM[-1]:g} ohm, each power of ten as likely as the next; chance that all are sound before any "
        f"reading: {100 * SOUND_PRIOR:.0f} % (assumed).",
    )


def ohms_assumed(
    board: Board, graph: CopperGraph, readings: Sequence[OhmsReading], instrument: Instrument
) -> tuple[str, ...]:
    """What every answer by ohms rests on: the model of the copper, its thickness, and each meter that was used."""
    meters = dict.fromkeys(one.instrument for one in readings) or dict.fromkeys([instrument])
    return (MODEL, _copper(board, graph), *(words for one in meters for words in _meter(one)))


def _copper(board: Board, graph: CopperGraph) -> str:
    """The foil that was taken, its temperature, and how far copper may be off."""
    foils: dict[str, list[str]] = {}
    for key, mm in board.copper_thickness_mm:
        foils.setdefault(f"{mm * UM_PER_MM:g} um", []).append(layer_words(key))
    thick = "; ".join(f"{um} ({', '.join(layers)})" for um, layers in foils.items()) or f"{NOMINAL_UM:g} um"
    whole = 100 * common_variance(graph.copper_spread) ** 0.5
    return (
        f"Copper {thick} thick, as the package or a correction states it, else {NOMINAL_UM:g} um; at {graph.copper_c:g} degC. "
        f"Standard deviations: {whole:.0f} % of the whole board, {100 * SCALE_NET_SD:g} % of a net, {100 * WIDTH_SD:g} % of {WIDTH_MM:g} mm of track (assumed)."
    )


def _meter(one: Instrument) -> Iterable[str]:
    """A meter's own error, and its leads' zero."""
    step = f", last digit {one.step_ohm * 1e3:g} milliohm" if one.step_ohm else ""
    if one.wires == 4:
        yield f"Meter: four wires{step}; {one.noise_ohm * 1e3:g} milliohm and {100 * one.gain:g} % standard deviation (assumed)."
        yield "Lead zero: plays no part with four wires; the voltage has tips of its own."
        return
    yield f"Meter: two wires{step}; its tips vary by {one.contact_ohm * 1e3:g} milliohm, its gain by {100 * one.gain:g} % standard deviation (assumed)."
    if one.zero_ohm >= LEADS_OHM:
        yield f"Lead zero: nobody said that the leads were taken off, so readings may have {one.zero_ohm:g} ohm (standard deviation) too much in common (assumed)."
    else:
        yield f"Lead zero: the leads were taken off, to within {one.zero_ohm * 1e3:g} milliohm standard deviation that the readings have in common (assumed)."
