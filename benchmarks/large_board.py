"""A made-up board of many layers, once and two up, built cold to its graph in fresh processes: seconds, growth, peak memory of the process tree.

``--layers N`` (default 14), ``--objects N`` copper objects of the single board (default 156262), ``--runs N`` (default 1; alternating, medians).
The board is a grid of equal cells: a chip's lands, vias through all layers, tracks with bends; every third inner layer is a plane drawn as a region
with clear antipads. The two-up board is written out twice, not repeated by a statement. Seconds are processor time.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

CELL_MM, ROWS, PITCH_MM = 8.0, 6, 1.0
VIA_MM, DRILL_MM, LAND_MM, TRACK_MM = 0.5, 0.25, (0.6, 1.2), 0.15
HEAD = "%FSLAX46Y46*%\n%MOMM*%\n%LPD*%\nG01*\n"

_ONCE = """
import json, resource, sys, time
from coppermend.adapters.files.packages import DiskPackages
from coppermend.services.boards import build_board
from coppermend.services.graphs import graph_of
begun = time.process_time()
board = build_board(DiskPackages(), sys.argv[1])
middle = time.process_time()
graph = graph_of(board)
peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
print(json.dumps({"board": middle - begun, "graph": time.process_time() - middle, "pieces": sum(len(one.shapes) for one in board.layers),
                  "nets": len(board.nets), "sites": len(graph.sites), "peak_mib": peak / (1024 if sys.platform != "darwin" else 1024**2)}))
"""


def cell(layer: int, layers: int, x: float, y: float) -> Iterator[str]:
    """The copper of one cell on one layer, as Gerber statements; ``x``, ``y`` its corner in mm."""
    outer = layer in (0, layers - 1)
    rows = [y + 1.0 + PITCH_MM * k for k in range(ROWS)]
    if not outer and layer % 3 == 0:
        yield "%LPC*%\nD13*\n"
        yield from (f"{at(x + 3.0, v)}D03*\n" for v in rows[1:])
        yield "%LPD*%\nD11*\n"
        yield f"{at(x + 3.0, rows[0])}D03*\n"
        return
    yield "D11*\n"
    yield from (f"{at(x + 3.0, v)}D03*\n" for v in rows)
    if outer:
        yield "D12*\n"
        yield from (f"{at(u, v)}D03*\n" for v in rows for u in (x + 1.2, x + 5.2))
    yield "D10*\n"
    for v in rows:
        corner = x + (5.2 if outer else 4.0 + 0.3 * (layer % 5))
        yield f"{at(x + 3.0, v)}D02*\n{at(corner - 0.4, v)}D01*\n{at(corner, v + 0.4)}D01*\n"
        if outer:
            yield f"{at(x + 1.2, v)}D02*\n{at(x + 3.0, v)}D01*\n"


def at(x: float, y: float) -> str:
    """A place as Gerber writes it, 4.6 mm."""
    return f"X{round(x * 1e6)}Y{round(y * 1e6)}"


def write(folder: Path, layers: int, cells: int, copies: int) -> None:
    """The package: one Gerber file a layer, an outline, plated holes; ``copies`` boards side by side."""
    across = math.ceil(math.sqrt(cells))
    width, height = across * CELL_MM, math.ceil(cells / across) * CELL_MM
    places = [
        (n * (width + 5.0) + CELL_MM * (k % across), CELL_MM * (k // across))
        for n in range(copies)
        for k in range(cells)
    ]
    for layer in range(layers):
        side = "Top" if layer == 0 else "Bot" if layer == layers - 1 else "Inr"
        text = [f"%TF.FileFunction,Copper,L{layer + 1},{side}*%\n{HEAD}%ADD10C,{TRACK_MM}*%\n%ADD11C,{VIA_MM}*%\n"]
        text.append(f"%ADD12R,{LAND_MM[1]}X{LAND_MM[0]}*%\n%ADD13C,{VIA_MM + 0.4}*%\n")
        if side == "Inr" and layer % 3 == 0:
            for n in range(copies):
                text.append(f"G36*\n{ring(n * (width + 5.0) + 0.3, 0.3, width - 0.6, height - 0.6)}G37*\n")
        for x, y in places:
            text += cell(layer, layers, x, y)
        (folder / f"board-copper-{layer + 1}.gbr").write_text("".join([*text, "M02*\n"]))
    edge = "".join(ring(n * (width + 5.0), 0.0, width, height) for n in range(copies))
    profile = f"%TF.FileFunction,Profile,NP*%\n{HEAD}%ADD10C,0.1*%\nD10*\n{edge}M02*\n"
    (folder / "board-outline.gbr").write_text(profile)
    holes = "".join(f"X{x + 3.0:.3f}Y{y + 1.0 + PITCH_MM * k:.3f}\n" for x, y in places for k in range(ROWS))
    (folder / "board.drl").write_text(f"M48\nMETRIC,TZ\nT1C{DRILL_MM}\n%\nT1\n{holes}M30\n")


def ring(x: float, y: float, width: float, height: float) -> str:
    """A rectangle as Gerber draws it."""
    return f"{at(x, y)}D02*\n{at(x + width, y)}D01*\n{at(x + width, y + height)}D01*\n{at(x, y + height)}D01*\n{at(x, y)}D01*\n"


def objects_of(layers: int) -> int:
    """Copper objects of one cell on all layers."""
    return sum("".join(cell(k, layers, 0.0, 0.0)).count(f"D0{d}*") for k in range(layers) for d in (1, 3))


def once(folder: str) -> dict[str, Any]:
    """What a fresh process says of one build."""
    done = subprocess.run([sys.executable, "-c", _ONCE, folder], capture_output=True, text=True, check=True)
    return dict(json.loads(done.stdout))


def run(arguments: list[str]) -> dict[str, Any]:
    """Both boards, alternating."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks large_board")
    parser.add_argument("--layers", type=int, default=14)
    parser.add_argument("--objects", type=int, default=156262)
    parser.add_argument("--runs", type=int, default=1)
    asked = parser.parse_args(arguments)
    each = objects_of(asked.layers)
    cells = math.ceil(asked.objects / each)
    with tempfile.TemporaryDirectory() as single, tempfile.TemporaryDirectory() as double:
        write(Path(single), asked.layers, cells, 1)
        write(Path(double), asked.layers, cells, 2)
        rows = [(once(single), once(double)) for _ in range(asked.runs)]

    def median(n: int, name: str) -> float:
        return statistics.median(row[n][name] for row in rows)

    total = [median(n, "board") + median(n, "graph") for n in (0, 1)]
    return {
        "layers": asked.layers,
        "objects": cells * each,
        "runs": asked.runs,
        "nets": rows[0][0]["nets"],
        "sites": rows[0][0]["sites"],
        "board_seconds": round(median(0, "board"), 2),
        "graph_seconds": round(median(0, "graph"), 2),
        "two_up_board_seconds": round(median(1, "board"), 2),
        "two_up_graph_seconds": round(median(1, "graph"), 2),
        "two_up_times": round(total[1] / total[0], 3),
        "two_up_nets": rows[0][1]["nets"],
        "peak_mib": round(median(0, "peak_mib")),
        "two_up_peak_mib": round(median(1, "peak_mib")),
    }
