"""``coppermend board path`` and ``coppermend board graph``: the way through the copper, and one net with all its sites and points."""

from __future__ import annotations

from typing import Any

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.board import Meter, board_command
from coppermend.core.copper.model import CopperGraph
from coppermend.core.copper.provable import all_views
from coppermend.services import graphs

Conditions = tuple[float | None, float | None, float | None]
"""Thickness in um, spread as a share and temperature in degC of the copper; None what the board has."""


def open_graph(package: str, fresh: bool, conditions: Conditions = (None, None, None)) -> CopperGraph:
    """The copper graph of a package named on the command line, with its progress on standard error."""
    meter = Meter()
    try:
        if conditions == (None, None, None):
            return bootstrap.open_shelved(package, fresh=fresh, progress=meter).graph
        return graphs.graph_under(bootstrap.open_board(package, fresh=fresh, progress=meter), *conditions)
    finally:
        meter.clear()


_package = click.argument("package", metavar="PACKAGE")
_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
_fresh = click.option("--fresh", is_flag=True, help="Build anew even when the board is kept in the cache.")


_copper = (
    click.option(
        "--copper-um",
        type=click.FloatRange(1.0, 1000.0),
        help="Thickness of the copper of every layer, um (1 oz/ft2 is about 35); else what the package or its corrections say.",
    ),
    click.option(
        "--copper-spread",
        type=click.FloatRange(0.0, 0.6),
        help="How far the copper may lie from that, as a share (0.1 for 10 %); it gives the band of the resistance.",
    ),
    click.option(
        "--temperature-c", type=click.FloatRange(-60.0, 160.0), help="Temperature of the copper, degC; else 20."
    ),
)


def with_copper(function: Any) -> Any:
    """A command with the options for the copper's thickness, its spread and its temperature."""
    for option in reversed(_copper):
        function = option(function)
    return function


@board_command.command("path")
@_package
@click.argument("first", metavar="POINT")
@click.argument("second", metavar="POINT")
@with_copper
@_json
@_fresh
def path(
    package: str,
    first: str,
    second: str,
    copper_um: float | None,
    copper_spread: float | None,
    temperature_c: float | None,
    as_json: bool,
    fresh: bool,
) -> int:
    """The way through the copper of PACKAGE between two points, such as U1.8 and U7.3.

    Each run with layer, length and width, each barrel, joint and contact; total length; effective resistance between the points.
    Status 1 when no copper joins them.
    """
    graph = open_graph(package, fresh, (copper_um, copper_spread, temperature_c))
    way = graphs.way_between(graph, first, second)
    if way is None:
        a, b = (graphs.net_of_point(graph, word) for word in (first, second))
        if as_json:
            print_json({"from": first, "to": second, "joined": False, "nets": [a, b]})
        else:
            click.echo(f"No copper joins {first} (net {a}) and {second} (net {b}).")
        return 1
    if as_json:
        print_json({"joined": True, **way.as_dict()})
    else:
        click.echo("\n".join(way.lines()))
    return 0


@board_command.command("graph")
@_package
@click.option("--net", "name", metavar="NET", help="The net to show; without it: a count for every net.")
@with_copper
@_json
@_fresh
def graph(
    package: str,
    name: str | None,
    copper_um: float | None,
    copper_spread: float | None,
    temperature_c: float | None,
    as_json: bool,
    fresh: bool,
) -> None:
    """One net of PACKAGE as sites and probe points, and what a continuity check can prove."""
    made = open_graph(package, fresh, (copper_um, copper_spread, temperature_c))
    result = _counts(made) if name is None else graphs.net_graph(made, graphs.net_named(made, name))
    if as_json:
        print_json(result)
    elif name is None:
        _print_counts(result)
    else:
        _print_net(result)


def _counts(made: CopperGraph) -> dict[str, Any]:
    rows = []
    for net, view in all_views(made).items():
        provable = len(view.provable_sites())
        rows.append(
            {
                "net": made.net_names[net],
                "sites": len(view.super_of),
                "provable": provable,
                "places_to_touch": len(view.terminals),
            }
        )
    return {"nets": rows, "findings": [finding.as_dict() for finding in made.findings]}


def _print_counts(result: dict[str, Any]) -> None:
    for row in result["nets"]:
        click.echo(
            f"{row['net']}: {row['sites']} sites, {row['provable']} provable, {row['places_to_touch']} places to touch"
        )
    for finding in result["findings"]:
        click.echo(f"{finding['severity']} {finding['code']}: {finding['words']} {finding['remedy']}")


def _print_net(result: dict[str, Any]) -> None:
    click.echo(f"net {result['net']}: {len(result['sites'])} sites, {len(result['points'])} probe points")
    for site in result["sites"]:
        proof = "" if site["provable"] else f"  [not by continuity: {site['why_not'] or 'rung through, no copper'}]"
        click.echo(f"  {site['words']}, {site['resistance_ohm'] * 1e3:.2f} mohm{proof}")
    for point in result["points"]:
        click.echo(f"  touch {point['id']}" + ("" if point["reachable"] else f"  [out of reach: {point['why_not']}]"))
