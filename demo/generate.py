"""Writes the demonstration package: `python -m demo.generate --out DIR`. Seconds of work; the tracks come from routes.json."""

from __future__ import annotations

import argparse
import sys
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


def main() -> int:
    """The command line: checks the board's rules, then writes; exit status 1 when a rule is broken, 2 when DIR can't be written."""
    parser = argparse.ArgumentParser(prog="python -m demo.generate", description=__doc__)
    parser.add_argument("--out", type=Path, default=PACKAGE)
    out: Path = parser.parse_args().out
    made = load_board()
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
