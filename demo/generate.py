"""Writes the demonstration package: `python -m demo.generate --out DIR`. Seconds of work; the tracks come from routes.json."""

from __future__ import annotations

import argparse
import sys
from itertools import pairwise
from math import hypot
from pathlib import Path

from demo.copper import Board, board, routes_from_text
from demo.drill import drill_files
from demo.gerber import gerber_files
from demo.netlist import ipc_d_356a, job_file, parts_csv
from demo.route import ROUTES
from demo.spacing import check

PACKAGE = Path(__file__).with_name("package")


def load_board() -> Board:
    """The board with the committed tracks."""
    return board(routes_from_text(ROUTES.read_text(encoding="utf-8")))


def package_files(of: Board) -> dict[str, bytes]:
    """Every file of the package: name to bytes, the same bytes at every call."""
    return {
        **gerber_files(of),
        **drill_files(of),
        "larkenfell64.gbrjob": job_file(),
        "larkenfell64.ipc": ipc_d_356a(of),
        "parts.csv": parts_csv(of),
    }


def sizes(of: Board) -> dict[str, float]:
    """How large the board is: parts, chips, lands, nets, tracks, vias, metres of track, share of the track in its side's own direction."""
    own = total = 0.0
    for track in of.tracks:
        for (ax, ay), (bx, by) in pairwise(track.points):
            total += hypot(bx - ax, by - ay)
            own += hypot(bx - ax, by - ay) if (ay == by if track.side == "c" else ax == bx) else 0.0
    return {
        "parts": len(of.parts),
        "chips": sum(p.part.ref.startswith("U") for p in of.parts),
        "lands": len(of.lands),
        "nets": len({p.net for p in of.lands if p.net}),
        "tracks": len(of.tracks),
        "vias": len(of.vias),
        "track_metres": round(total / 1000, 2),
        "own_direction_share": round(own / total, 3),
    }


def main() -> int:
    """The command line: checks the board's rules, then writes; exit status 1 when a rule is broken, 2 when DIR can't be written."""
    parser = argparse.ArgumentParser(prog="python -m demo.generate", description=__doc__)
    parser.add_argument("--out", type=Path, default=PACKAGE)
    parser.add_argument("--size", action="store_true", help="only print how large the board is")
    given = parser.parse_args()
    out: Path = given.out
    made = load_board()
    if given.size:
        print("\n".join(f"{name} {value:g}" for name, value in sizes(made).items()))
        return 0
    broken = check(made)
    for violation in broken:
        print(
            f"{violation.rule} at ({violation.x_mm:.2f}, {violation.y_mm:.2f}) mm: {violation.words}", file=sys.stderr
        )
    if broken:
        return 1
    try:
        out.mkdir(parents=True, exist_ok=True)
        for name, data in package_files(made).items():
            (out / name).write_bytes(data)
    except OSError as error:
        print(f"cannot write to {out}: {error.strerror}; choose another folder with --out", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
