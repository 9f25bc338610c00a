"""``coppermend look``: looking over the work area as a guided step, findings noted where they are."""

from __future__ import annotations

from typing import Any

import click

from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.findings import refuse
from coppermend.services.lookwork import look_view, note_look


@click.command("look")
@CASE
@click.option("--at", "points", multiple=True, metavar="POINT", help="Where: U1.3, a via, a land; a bridge takes two.")
@click.option("--part", default="", metavar="REF", help="On which part: wrong part, wrong way round, missing part.")
@click.option("--seen", multiple=True, metavar="FINDING", help="Seen there: cracked joint, lifted land, corrosion, ...")
@click.option("--not-seen", "unseen", multiple=True, metavar="FINDING", help="Looked for there and not seen.")
@click.option(
    "--over", default=None, metavar="AREA", help="A whole side of this work area was looked over (its number)."
)
@click.option("--side", default="", metavar="c|s", help="Which side: c component, s solder.")
@click.option("--words", default="", help="What else there is to say.")
@JSON
@click.pass_context
def look_command(
    ctx: click.Context,
    case: str,
    points: tuple[str, ...],
    part: str,
    seen: tuple[str, ...],
    unseen: tuple[str, ...],
    over: str | None,
    side: str,
    words: str,
    as_json: bool,
) -> None:
    """Look over the work area: print the tour, or note what was seen.

    Without options it prints, for each side of each work area, the places to look at one after the other, what to look for, and what a look is expected
    to tell. --seen and --not-seen note findings at --at or --part; --over with --side notes that a whole side was looked over. Cleaning is noted with
    note CASE clean POINT. Status 1 when looks contradict each other.
    """
    made, found = shop_and_case(ctx, case)
    if (seen or unseen) and over is not None:
        raise refuse(
            "CLI-006",
            "--over and --seen are two entries.",
            "Note what was seen first, then that the side was looked over.",
        )
    noted = [
        note_look(made, found, points=points, part=part, finding=one, seen=there, side=side, words=words)
        for names, there in ((seen, True), (unseen, False))
        for one in names
    ]
    if over is not None:
        noted.append(note_look(made, found, area=over, side=side, words=words))
    elif not noted and (points or part or side):
        raise refuse(
            "CLI-006", "What was seen there?", "Say --seen FINDING or --not-seen FINDING, or --over AREA --side c."
        )
    view = look_view(made, found)
    if as_json:
        print_json({**view, "noted": [one.as_dict() for one in noted]})
    else:
        for one in noted:
            click.echo(f"{one.entry.bench_seq}  {one.words}")
        _print(view, bool(noted))
    if view["conflicts"]:
        ctx.exit(1)


def _print(view: dict[str, Any], short: bool) -> None:
    for one in view["sides"]:
        state = "looked over" if one["looked"] else f"{one['gain_bits']:.2f} bits in {one['seconds']:.0f} s (modelled)"
        click.echo(f"{one['label']}, {one['side_words']}: {state}")
        for k, stop in enumerate(one["stops"] if not short and not one["looked"] else (), 1):
            x0, y0, x1, y1 = stop["box"]
            names = ", ".join([*stop["parts"], *stop["pins"][:6]]) + (" ..." if len(stop["pins"]) > 6 else "")
            click.echo(
                f"  {k:2}. {x0:.0f},{y0:.0f} to {x1:.0f},{y1:.0f} mm: {names or 'tracks'}; look for {', '.join(stop['ask'])}"
            )
    if not view["sides"]:
        click.echo(
            "No work area is marked: there is nothing to look over. Mark one: coppermend area add CASE --part U1."
        )
    for one in view["said"]:
        gone = f" (speaks no more: {one['why_not']})" if one["why_not"] else ""
        click.echo(
            f"no. {one['ref']}: {one['finding']} at {one['place']} {'seen' if one['seen'] else 'not seen'}{gone}"
        )
        if one["settles"]:
            click.echo(f"      {one['settles']}")
    for one in view["conflicts"]:
        click.echo(f"Contradiction: {one['words']} {one['settles']}")
    click.echo(f"Mind: {view['caution']}")
