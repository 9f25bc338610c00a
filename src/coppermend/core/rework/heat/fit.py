"""The model corrected by a thermocouple: the heater's film and the board's heat are found so that the computed temperature follows the readings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from coppermend.core.findings import refuse
from coppermend.core.rework.heat.plate import Heater, Room, simulate
from coppermend.core.rework.heat.preheat import time_to
from coppermend.core.rework.heat.slab import Floats, Slab

READING_OFF_K = 1.5
"""A type K thermocouple of class 1 is within 1.5 K (IEC 60584, from memory); how well it touches is a matter of the hand."""

FILM_WIDTH, HEAT_WIDTH, LOSS_WIDTH = 0.7, 0.25, 0.3
"""How far film, heat and losses may be from their assumed numbers before readings say otherwise: standard deviations of their logarithms."""

ASSUMED_COVARIANCE = ((FILM_WIDTH**2, 0.0, 0.0), (0.0, HEAT_WIDTH**2, 0.0), (0.0, 0.0, LOSS_WIDTH**2))
"""What is open before any reading."""

FEWEST = 4
MISFIT_K = 5.0
FARTHEST = 2.5
"""Film, heat and losses are looked for from exp(-2.5) to exp(2.5), 0.08 to 12, times their assumed numbers."""


@dataclass(frozen=True, slots=True)
class Fit:
    """Factors on the heater's film, the board's heat and the losses to the room, each with its standard deviation as a part of itself; ``rms_k``
    what is left between readings and model; ``computed_c`` the model at the readings' times; ``follows`` False when more than 5 K are left, when a
    factor ended at the edge of what is looked through, or when the film is less sure after the readings than before them."""

    film_factor: float
    film_width: float
    heat_factor: float
    heat_width: float
    loss_factor: float
    loss_width: float
    rms_k: float
    computed_c: tuple[float, ...]
    follows: bool
    words: str
    covariance: tuple[tuple[float, float, float], ...]
    """Of the logarithms of film, heat and losses, 3 by 3."""


def corrected(slab: Slab, heater: Heater, room: Room, fit: Fit) -> tuple[Slab, Heater, Room]:
    """Board, heater and room with a fit's factors in them."""
    return (
        replace(slab, heat=slab.heat * fit.heat_factor),
        replace(heater, film_w_m2k=heater.film_w_m2k * fit.film_factor),
        replace(room, film_factor=room.film_factor * fit.loss_factor),
    )


def checked_readings(readings: Sequence[tuple[float, float]]) -> tuple[Floats, Floats]:
    """Seconds and degC of a thermocouple; a Refusal for too few, for times that do not rise, for temperatures no board has."""
    if len(readings) < FEWEST:
        raise refuse(
            "HEA-008",
            f"{len(readings)} readings are too few; expected at least {FEWEST}.",
            "Note time and temperature every half minute from switching on.",
        )
    seconds, celsius = (np.array(one, dtype=float) for one in zip(*readings, strict=True))
    if (
        not (np.isfinite(seconds).all() and np.isfinite(celsius).all())
        or seconds[0] < 0
        or np.any(np.diff(seconds) <= 0)
    ):
        raise refuse(
            "HEA-008",
            "The readings' times do not rise from 0 on, or a number is missing.",
            "Write seconds since switching on and degC, a reading a line, in order.",
        )
    if celsius.min() < -30 or celsius.max() > 450 or seconds[-1] > 7200:
        raise refuse(
            "HEA-008",
            f"Readings from {celsius.min():g} to {celsius.max():g} degC over {seconds[-1]:g} s are outside what is followed.",
            "Expected -30 to 450 degC within two hours; check the unit (degC, seconds).",
        )
    return seconds, celsius


def fit_model(
    slab: Slab,
    heater: Heater,
    readings: Sequence[tuple[float, float]],
    *,
    spot_mm: tuple[float, float] | None = None,
    side: str = "c",
    room: Room | None = None,
    start_c: float | None = None,
    reading_off_k: float = READING_OFF_K,
) -> Fit:
    """The factors under which the model follows ``readings`` (seconds since switching on, degC) of a thermocouple at ``spot_mm`` on ``side``.

    ``spot_mm`` None is the middle of the board; ``start_c`` what the board had at the start (default: a reading within the first 5 s, else the
    room's). Readings and assumed numbers are weighed by their spreads, so few readings move little. A coarse slab (12 cells) does.
    """
    room = Room() if room is None else room
    seconds, celsius = checked_readings(readings)
    if start_c is None:
        start_c = float(celsius[0]) if seconds[0] <= 5 else room.celsius
    if spot_mm is None:
        rows, columns = slab.inside.shape
        spot_mm = (
            slab.origin_mm[0] + 500 * slab.dx_m * columns,
            slab.origin_mm[1] + 500 * slab.dy_m * rows,
        )
    row, column = slab.cell_at(*spot_mm)
    step = min(5.0, max(0.5, float(seconds[-1]) / 200))

    def computed(logs: Floats) -> Floats:
        film, heat, loss = np.exp(logs)
        run = simulate(
            replace(slab, heat=slab.heat * heat),
            [replace(heater, film_w_m2k=heater.film_w_m2k * film)],
            float(seconds[-1]) + step,
            room=replace(room, film_factor=room.film_factor * loss),
            step_s=step,
            start=start_c,
        )
        faces = run.component if side == "c" else run.solder
        return np.asarray(np.interp(seconds, run.seconds, faces[:, row, column]))

    widths = np.array([FILM_WIDTH, HEAT_WIDTH, LOSS_WIDTH])

    def residuals(logs: Floats) -> Floats:
        return np.concatenate([(computed(logs) - celsius) / reading_off_k, logs / widths])

    found = least_squares(
        residuals,
        np.zeros(3),
        bounds=(-FARTHEST, FARTHEST),
        x_scale=widths,
        diff_step=1e-3,
        ftol=1e-4,
        xtol=1e-4,
        max_nfev=15,
    )
    told = computed(found.x)
    rms = float(np.sqrt(np.mean((told - celsius) ** 2)))
    covariance = np.linalg.inv(found.jac.T @ found.jac) * max(1.0, rms / reading_off_k) ** 2
    spread = np.sqrt(np.diag(covariance))
    film, heat, loss = np.exp(found.x).tolist()
    why = _why_not(found.x, float(spread[0]), rms)
    return Fit(
        film,
        float(spread[0]),
        heat,
        float(spread[1]),
        loss,
        float(spread[2]),
        rms,
        tuple(told.tolist()),
        not why,
        _words(film, heat, loss, rms, heater, why),
        _rows(covariance),
    )


def _rows(matrix: Floats) -> tuple[tuple[float, float, float], ...]:
    return tuple((float(one[0]), float(one[1]), float(one[2])) for one in matrix)


def time_width(
    slab: Slab, heater: Heater, room: Room, target_c: float, covariance: Sequence[Sequence[float]]
) -> float | None:
    """Standard deviation of the logarithm of the time to ``target_c``, from that of film, heat and losses; None when the target is not reached.

    By small changes of each (the time's slopes), so it is for moderate widths; a coarse slab does.
    """
    first = time_to(slab, heater, target_c, room=room)
    if first is None or first <= 0:
        return None
    step = 0.1
    changed = (
        (slab, replace(heater, film_w_m2k=heater.film_w_m2k * math.exp(step)), room),
        (replace(slab, heat=slab.heat * math.exp(step)), heater, room),
        (slab, heater, replace(room, film_factor=room.film_factor * math.exp(-step))),
    )
    slopes = []
    for sign, (one, two, three) in zip((1, 1, -1), changed, strict=True):
        then = time_to(one, two, target_c, room=three)
        slopes.append(0.0 if then is None else sign * math.log(then / first) / step)
    gradient = np.array(slopes)
    return float(math.sqrt(max(0.0, gradient @ np.array(covariance) @ gradient)))


def _why_not(logs: Floats, film_width: float, rms: float) -> str:
    """Why a fit is not to be planned with, "" when it is."""
    if rms > MISFIT_K:
        return "The model does not follow these readings"
    if np.abs(logs).max() > 0.98 * FARTHEST:
        return "The readings ask for more than a board and a heater can be, so the model does not follow them"
    if film_width > FILM_WIDTH:
        return (
            "The readings leave the heater's film less sure than it was before them, so the model does not follow them"
        )
    return ""


def _words(film: float, heat: float, loss: float, rms: float, heater: Heater, why: str) -> str:
    """The fit in words."""
    told = (
        f"The heater passes on {film:.2f} times what was assumed ({film * heater.film_w_m2k:.0f} W/m2K), the board holds {heat:.2f} times the heat, "
        f"loses {loss:.2f} times as much; {rms:.1f} K are left between readings and model."
    )
    if why:
        return (
            f"{why}: the plan is made without them. Check that the thermocouple touches the board, that the seconds count from when the heater went on, "
            f"and the heater's temperature. Tried: {told[0].lower()}{told[1:]}"
        )
    return told
