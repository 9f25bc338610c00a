"""Writes the drill files in XNC (Ucamco, "The XNC Format Specification", revision 2021.11), plated and unplated apart."""

from __future__ import annotations

from demo.copper import Board
from demo.footprints import PITCH_MM
from demo.gerber import PROJECT, SOFTWARE
from demo.placement import MOUNTING_DRILL_MM, MOUNTING_HOLES

Hits = dict[tuple[str, float], list[tuple[float, float]]]


def _xnc(function: str, hits: Hits) -> bytes:
    tools = sorted(hits, key=lambda k: (k[1], k[0]))
    lines = [
        "M48",
        f"; #@! TF.GenerationSoftware,{SOFTWARE}",
        f"; #@! TF.ProjectId,{PROJECT}",
        "; #@! TF.SameCoordinates,Larkenfell64",
        f"; #@! TF.FileFunction,{function}",
        "METRIC",
    ]
    for number, (use, size) in enumerate(tools, 1):
        lines += [f"; #@! TA.AperFunction,{use}", f"T{number:02d}C{size:.3f}"]
    lines += ["%", "G90", "G05"]
    for number, key in enumerate(tools, 1):
        lines += [f"T{number:02d}", *(f"X{x:.4f}Y{y:.4f}" for x, y in sorted(hits[key]))]
    return ("\n".join([*lines, "M30"]) + "\n").encode("ascii")


def drill_files(board: Board) -> dict[str, bytes]:
    """The two drill files: file name to bytes. Tools in order of size, places in order of x, then y."""
    plated: Hits = {}
    for land in board.lands:
        plated.setdefault(("Plated,PTH,ComponentDrill", land.land.hole_mm), []).append((land.x_mm, land.y_mm))
    for via in board.vias:
        plated.setdefault(("Plated,PTH,ViaDrill", via.hole_mm), []).append((via.x_mm, via.y_mm))
    bare: Hits = {
        ("NonPlated,NPTH,MechanicalDrill", MOUNTING_DRILL_MM): [
            (round(x * PITCH_MM, 6), round(y * PITCH_MM, 6)) for x, y in MOUNTING_HOLES
        ]
    }
    return {
        "larkenfell64-drill-plated.xnc": _xnc("Plated,1,2,PTH", plated),
        "larkenfell64-drill-bare.xnc": _xnc("NonPlated,1,2,NPTH", bare),
    }
