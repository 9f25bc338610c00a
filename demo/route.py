"""Finds the tracks anew and writes routes.json: `python -m demo.route [--out FILE]`; minutes of work, not done by run.py."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from demo import circuit, raster
from demo.copper import Routes, board, routes_to_text
from demo.finish import finish
from demo.maze import negotiate
from demo.placement import placed
from demo.pour import pours

ROUNDS = 80
ROUTES = Path(__file__).with_name("routes.json")


def find_routes(say: bool) -> str:
    """The text of routes.json, searched anew. Raises RuntimeError when some net stays unrouted."""
    maze, nets = raster.build(placed(), circuit.nets(circuit.parts()))
    if negotiate(maze, nets, ROUNDS, say):
        raise RuntimeError("some nets are still in each other's way; change the placement or allow more rounds")
    found = finish(maze, nets)
    return routes_to_text(Routes(found, pours(board(Routes(found)))))


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m demo.route", description=__doc__)
    parser.add_argument("--out", type=Path, default=ROUTES)
    out: Path = parser.parse_args().out
    try:
        out.write_text(find_routes(True), encoding="utf-8", newline="\n")
    except (RuntimeError, OSError) as error:
        print(f"routing failed: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
