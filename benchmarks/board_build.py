"""Cold build of a board (parse to nets, and with the copper graph) against the time gerbonara needs to open the same files, in the same run.

``--package FOLDER`` (default: the demonstration machine), ``--pairs N`` (default 5; alternating, the first pair thrown away, medians quoted).
Gerbonara: ``GerberFile.open``, ``ExcellonFile.open``, ``Netlist.open`` on every file that the build opens and it can read, imports excluded.
``seconds`` is wall time, ``cpu_seconds`` the process's own. Peak memory is that of a fresh process that builds once; from cache: in a fresh cache.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

from coppermend.adapters.files.cache import DiskBoards
from coppermend.adapters.files.packages import DiskPackages
from coppermend.services.boards import build_board
from coppermend.services.graphs import graph_of

ROOT = Path(__file__).resolve().parent.parent

_ONCE = """
import resource, sys
from pathlib import Path
from coppermend.adapters.files.packages import DiskPackages
from coppermend.services.boards import build_board
from coppermend.services.graphs import graph_of
graph_of(build_board(DiskPackages(), sys.argv[1]))
status = Path("/proc/self/status")  # there the peak is this program's own; the other counts the process it was started from, too
own = [line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM")] if status.exists() else []
print(own[0] if own else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def run(arguments: list[str]) -> dict[str, Any]:
    """Measure one package; see the module's words."""
    parser = argparse.ArgumentParser(prog="board_build")
    parser.add_argument("--package", default=str(ROOT / "demo" / "package"))
    parser.add_argument("--pairs", type=int, default=5)
    given = parser.parse_args(arguments)
    opened, refused = gerbonara_files(given.package)
    rows = [
        (timed(lambda: build(given.package)), timed(lambda: [one() for one in opened])) for _ in range(given.pairs + 1)
    ][1:]
    board = statistics.median(row[0][0]["board"] for row in rows)
    graph = statistics.median(row[0][0]["graph"] for row in rows)
    theirs = statistics.median(row[1][1] for row in rows)
    pieces = rows[0][0][0]["pieces"]
    ours_cpu = statistics.median(row[0][2] for row in rows)
    theirs_cpu = statistics.median(row[1][2] for row in rows)
    cached = from_cache(given.package)
    return {
        "package": Path(given.package).name,
        "pairs": given.pairs,
        "gerbonara": version("gerbonara"),
        "files_opened_by_both": len(opened),
        "files_gerbonara_cannot_read": refused,
        "copper_pieces": int(pieces),
        "board_cpu_and_graph_cpu_seconds": round(ours_cpu, 3),
        "gerbonara_cpu_seconds": round(theirs_cpu, 3),
        "board_seconds": round(board, 3),
        "graph_seconds": round(graph, 3),
        "gerbonara_seconds": round(theirs, 3),
        "ratio_board": round(board / theirs, 2),
        "ratio_board_and_graph": round((board + graph) / theirs, 2),
        "ratio_board_and_graph_cpu": round(ours_cpu / theirs_cpu, 2),
        "from_cache_seconds": round(cached[0], 3),
        "from_cache_cpu_seconds": round(cached[1], 3),
        "peak_mib": peak_mib(given.package),
    }


def timed(work: Callable[[], Any]) -> tuple[Any, float, float]:
    """What the work gave, its wall seconds and its CPU seconds."""
    wall, cpu = time.perf_counter(), time.process_time()
    result = work()
    return result, time.perf_counter() - wall, time.process_time() - cpu


def build(package: str) -> dict[str, float]:
    """Wall seconds of board and graph, built cold."""
    board, first, _ = timed(lambda: build_board(DiskPackages(), package))
    _, second, _ = timed(lambda: graph_of(board))
    return {"board": first, "graph": second, "pieces": sum(len(layer.shapes) for layer in board.layers)}


def from_cache(package: str) -> tuple[float, float]:
    """Median wall and CPU seconds to have board and graph when both are kept, files read and hashed included."""
    with tempfile.TemporaryDirectory() as folder:
        cache = DiskBoards(Path(folder))

        def take() -> None:
            graph_of(build_board(DiskPackages(), package, cache), cache)

        take()
        rows = [timed(take) for _ in range(5)]
        return statistics.median(row[1] for row in rows), statistics.median(row[2] for row in rows)


def peak_mib(package: str) -> float | None:
    """Peak resident size in MiB of a fresh process that builds board and graph; None where the system does not tell."""
    done = subprocess.run([sys.executable, "-c", _ONCE, package], capture_output=True, text=True, check=False)
    if done.returncode or not done.stdout.strip():
        return None
    return round(int(done.stdout) / (1024 if sys.platform != "darwin" else 1024**2), 1)


def gerbonara_files(package: str) -> tuple[list[Callable[[], Any]], list[str]]:
    """One opener for each file that the build opens and gerbonara can read, and the names of those it cannot."""
    from coppermend.formats.package import Format, RoleKind, plan_package

    warnings.simplefilter("ignore")
    from gerbonara import ExcellonFile, GerberFile
    from gerbonara.ipc356 import Netlist

    plan = plan_package(DiskPackages().read(package).members)
    drawn = (RoleKind.COPPER, RoleKind.MASK, RoleKind.SILK, RoleKind.OUTLINE, RoleKind.DRILL)
    openers = {Format.GERBER: GerberFile.open, Format.DRILL: ExcellonFile.open, Format.IPCD356: Netlist.open}
    out: list[Callable[[], Any]] = []
    refused: list[str] = []
    for file in plan.files:
        if file.format not in openers or (file.format is Format.GERBER and file.role.kind not in drawn):
            continue
        path, opener = str(Path(package) / file.member.name), openers[file.format]
        try:
            opener(path)
        except Exception:  # whatever it raises: it cannot read the file
            refused.append(file.member.base)
            continue
        out.append(lambda path=path, opener=opener: opener(path))
    return out, refused
