"""A fabrication package of a chosen size, for speed: rows of 40-pin chips whose facing pins are joined by wandering tracks that change sides half way.

Nobody would make such a board; every file of it is an honest one (Gerber X2, XNC drill, IPC-D-356A, parts list), so that it goes in at the front door.
One net has two pins, a via in its middle, two lands and a via land on each side, and ``2 * BENDS`` strokes of track.
"""

from __future__ import annotations

import math
from pathlib import Path

PITCH_MM, ROWS_MM, PINS = 2.54, 15.24, 40
BENDS = 16
STEP_X_MM, STEP_Y_MM = 22.86, 55.88
HEAD = "%FSLAX46Y46*%\n%MOMM*%\n%LPD*%\nG01*\nG75*\n"


def _u(mm: float) -> str:
    return str(round(mm * 1e6))


def _chips(count: int) -> list[tuple[str, float, float]]:
    across = max(1, round(math.sqrt(count * STEP_Y_MM / STEP_X_MM)))
    return [(f"U{k + 1}", 10.0 + STEP_X_MM * (k % across), 10.0 + STEP_Y_MM * (k // across)) for k in range(count)]


def _ways(x: float, y: float) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """The two halves of a track from the pin at (x, y) to the pin facing it, each of BENDS strokes."""
    step = ROWS_MM / (2 * BENDS)
    spots = [(x + k * step, y + (0.0 if k % 2 == 0 else 0.55 * (-1) ** (k // 2))) for k in range(2 * BENDS + 1)]
    return spots[: BENDS + 1], spots[BENDS:]


def write_big_board(folder: Path, objects: int = 200_000) -> int:
    """Write a package with at least ``objects`` drawn copper objects into ``folder``; the number there are."""
    folder.mkdir(parents=True, exist_ok=True)
    one_net = 6 + 2 * BENDS
    chips = _chips(math.ceil(objects / (one_net * PINS / 2)))
    copper: dict[str, list[str]] = {"c": [], "s": []}
    masks, pads, vias, rows, parts = [], [], [], [], ["ref,type,value,package,state"]
    for ref, x0, y0 in chips:
        parts.append(f"{ref},CPU,Z80A,DIP40,socketed")
        for k in range(PINS // 2):
            y = y0 + (PINS // 2 - 1 - k) * PITCH_MM
            net = f"{ref}N{k + 1}"
            left, right = _ways(x0, y)
            half = left[-1]
            for side, way in (("c", left), ("s", right)):
                copper[side].append(f"D10*\nX{_u(way[0][0])}Y{_u(way[0][1])}D02*")
                copper[side] += [f"X{_u(a)}Y{_u(b)}D01*" for a, b in way[1:]]
            for number, x in ((k + 1, x0), (PINS - k, x0 + ROWS_MM)):
                pads.append((x, y))
                rows.append(
                    f"317{net:<14}   {ref:<6}-{number:<4} D0800PA00X+{round(x * 1000):06d}Y+{round(y * 1000):06d}X1600Y0000R000 S0      "
                )
            vias.append(half)
            rows.append(
                f"317{net:<14}   VIA        MD0400PA00X+{round(half[0] * 1000):06d}Y+{round(half[1] * 1000):06d}X0900Y0000R000 S0      "
            )
    lands = ["D11*", *(f"X{_u(x)}Y{_u(y)}D03*" for x, y in pads), "D12*", *(f"X{_u(x)}Y{_u(y)}D03*" for x, y in vias)]
    masks = ["D13*", *(f"X{_u(x)}Y{_u(y)}D03*" for x, y in pads)]
    width, height = max(x for _, x, _ in chips) + 25.0, max(y for _, _, y in chips) + 60.0
    for side, layer in (("c", "L1,Top"), ("s", "L2,Bot")):
        text = f"%TF.FileFunction,Copper,{layer}*%\n{HEAD}%ADD10C,0.25*%\n%ADD11C,1.6*%\n%ADD12C,0.9*%\n"
        (folder / f"big-copper-{side}.gbr").write_text(
            "\n".join([text + lands[0], *lands[1:], *copper[side], "M02*\n"])
        )
        mask = f"%TF.FileFunction,Soldermask,{layer[3:]}*%\n%TF.FilePolarity,Negative*%\n{HEAD}%ADD13C,1.7*%\n"
        (folder / f"big-mask-{side}.gbr").write_text("\n".join([mask + masks[0], *masks[1:], "M02*\n"]))
    corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height), (0.0, 0.0)]
    edge = f"%TF.FileFunction,Profile,NP*%\n{HEAD}%ADD10C,0.1*%\nD10*\nX0Y0D02*\n"
    (folder / "big-outline.gbr").write_text(
        edge + "".join(f"X{_u(x)}Y{_u(y)}D01*\n" for x, y in corners[1:]) + "M02*\n"
    )
    spots = lambda found: "\n".join(f"X{x:.3f}Y{y:.3f}" for x, y in found)  # noqa: E731
    (folder / "big.xnc").write_text(
        "M48\n; #@! TF.FileFunction,Plated,1,2,PTH\nMETRIC\nT01C0.400\nT02C0.800\n%\nG90\nG05\nT01\n"
        + spots(vias) + "\nT02\n" + spots(pads) + "\nM30\n"
    )  # fmt: skip
    (folder / "big.ipc").write_text(
        "\n".join(["P  JOB   BIG", "P  UNITS CUST 1", "P  VER   IPC-D-356A", *rows, "999\n"])
    )
    (folder / "parts.csv").write_text("\n".join([*parts, ""]))
    return len(chips) * (PINS // 2) * one_net
