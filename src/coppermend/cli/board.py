"""``coppermend board``: build a board from a package, compare its copper with its netlists, list its nets."""

from __future__ import annotations

import sys
from collections import Counter
from typing import Any

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.core.board.model import Board
from coppermend.core.board.pinboard import copper_is_known
from coppermend.core.findings import Severity
from coppermend.services import board_views

SHOWN = 20
"""Disagreements and findings of one kind printed before the rest is only counted; --all prints every one."""


LIST_CODES = ("PIN-030", "PIN-031", "PIN-032", "PIN-033")
"""What differs between the board's parts and a list of the original."""


class Meter:
    """One line on standard error that says what the build does; silent where standard error is no terminal."""

    def __init__(self) -> None:
        self.live = sys.stderr.isatty()
        self.width = 0

    def __call__(self, words: str, share: float) -> None:
        """Show the stage."""
        if not self.live:
            return
        text = f"{share:4.0%} {words}"[:78]
        sys.stderr.write("\r" + text.ljust(self.width))
        sys.stderr.flush()
        self.width = len(text)

    def clear(self) -> None:
        """Take the line away."""
        if self.live and self.width:
            sys.stderr.write("\r" + " " * self.width + "\r")
            sys.stderr.flush()


def open_board(package: str, fresh: bool = False) -> Board:
    """The board of a package named on the command line (folder, zip, or ``demo``), with its progress on standard error; control-C stops it."""
    meter = Meter()
    try:
        return bootstrap.open_board(package, fresh=fresh, progress=meter)
    finally:
        meter.clear()


@click.group(name="board")
def board_command() -> None:
    """Boards: fabrication data in, copper, nets and parts out."""


_package = click.argument("package", metavar="PACKAGE")
_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
_all = click.option("--all", "show_all", is_flag=True, help="Print every finding and disagreement.")
_fresh = click.option("--fresh", is_flag=True, help="Build anew even when the board is kept in the cache.")


@board_command.command("build")
@_package
@_json
@_all
@_fresh
def build(package: str, as_json: bool, show_all: bool, fresh: bool) -> None:
    """Build the board of PACKAGE (a folder or zip of fabrication files) and say what was found and guessed."""
    board = open_board(package, fresh)
    report = board_views.board_report(board)
    if as_json:
        print_json(report)
        return
    kind = f"{len(board.layers)} copper layers" if copper_is_known(board) else "no copper data (a pin list)"
    click.echo(f"{board.title}: {kind}, {report['nets']} nets ({report['named_nets']} named), "
               f"{report['parts']} parts with {report['pins']} pins, {report['holes']} holes ({report['plated_holes']} plated).")  # fmt: skip
    for layer in report["layers"]:
        click.echo(f"  {layer['key']:>3}  {layer['file']}  {layer['pieces']} pieces of copper")
    _print_findings(board, show_all)
    click.echo(_time_words(board))


@board_command.command("compare")
@_package
@_json
@_all
@_fresh
@click.option(
    "--with",
    "lists",
    metavar="LIST",
    multiple=True,
    help="A pin list, netlist or parts list of the original board (CSV, IPC-D-356).",
)
def compare(package: str, as_json: bool, show_all: bool, fresh: bool, lists: tuple[str, ...]) -> int:
    """Compare the copper of PACKAGE with every netlist that it holds, and with the lists of the original. Status 0: they agree; 1: they do not."""
    board = open_board(package, fresh)
    for name in lists:
        board = bootstrap.compared_with(board, name)
    result = board_views.compare_board(board)
    if as_json:
        print_json(result)
    else:
        _print_compare(result, show_all)
        for finding in board.findings:
            if finding.code in LIST_CODES:
                click.echo(finding.line())
    return 0 if result["agrees"] else 1


def _print_compare(result: dict[str, Any], show_all: bool) -> None:
    for row in result["sources"]:
        dx, dy = row["origin_shift_mm"]
        shift = f", origin shifted by {dx:.3f}, {dy:.3f} mm" if (dx, dy) != (0.0, 0.0) else ""
        click.echo(
            f"{row['source']}: {row['nets']} nets, {row['agree']} of {row['points']} points agree; "
            f"{row['missed']} missed, {row['split_nets']} split, {row['joined_nets']} joined{shift}."
        )
        if row["placing"]:
            click.echo(f"  {row['placing']}")
    for kind in ("missed", "split_nets", "joined_nets"):
        rows = result[kind] if show_all else result[kind][:SHOWN]
        for one in rows:
            click.echo(f"  {one['words']}")
        if len(result[kind]) > len(rows):
            click.echo(f"  ... and {len(result[kind]) - len(rows)} more {kind.replace('_', ' ')} (--all prints them).")
    click.echo("Copper and netlists agree." if result["agrees"] else "Copper and netlists do not agree in everything.")


@board_command.command("nets")
@_package
@_json
@_fresh
@click.option(
    "--from", "origin", default="copper", metavar="SOURCE", help="copper (default), x2, or a netlist file's name."
)
@click.option("--net", "wanted", metavar="NAME", help="This net only.")
def nets(package: str, as_json: bool, fresh: bool, origin: str, wanted: str | None) -> None:
    """List what the copper of PACKAGE joins (or what one of its netlists says): each net with its points."""
    board = open_board(package, fresh)
    result = board_views.board_nets(board, origin, wanted)
    if as_json:
        print_json(result)
        return
    for net in result["nets"]:
        pins = [f"{one['part']}.{one['pin']}" for one in net["points"] if one["part"] not in ("VIA", "")]
        vias = len(net["points"]) - len(pins)
        name = net["name"] or "(no net)"
        click.echo(f"{name}: {' '.join(dict.fromkeys(pins)) or 'no pin'}" + (f"  + {vias} vias" if vias else ""))


def _print_findings(board: Board, show_all: bool) -> None:
    order = [Severity.ERROR, Severity.WARNING, Severity.GUESS, Severity.NOTE]
    counts: Counter[str] = Counter()
    for finding in sorted(board.findings, key=lambda one: order.index(one.severity)):
        counts[finding.code] += 1
        if show_all or counts[finding.code] <= 5:
            click.echo(finding.line())
    rest = {code: n - 5 for code, n in counts.items() if n > 5 and not show_all}
    for code, n in rest.items():
        click.echo(f"... and {n} more of {code} (--all prints them).")


def _time_words(board: Board) -> str:
    seconds = dict(board.seconds)
    if "cached" in seconds:
        return f"From the cache in {seconds['total']:.2f} s."
    return f"Built in {seconds['total']:.2f} s."


from coppermend.cli import board_graph  # noqa: E402, F401  (adds the commands path and graph to the group above)
