"""``coppermend case list|find``: cases at a glance, filtered, and found again by anything that was said of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import click

from coppermend.cli import print_json
from coppermend.cli.shop import JSON, shop
from coppermend.core.log.kinds import PROGRESS
from coppermend.core.log.words import how_many
from coppermend.services.acceptance import LEAVING
from coppermend.services.casefinding import MOST_ROWS, ORDERS, Asked, CasePage, all_found, find_cases
from coppermend.services.cases import CaseRow

Command = Callable[..., Any]


def filters(command: Command) -> Command:
    """The options that list and search share."""
    for one in reversed(
        (
            click.option(
                "--state",
                "states",
                multiple=True,
                type=click.Choice(PROGRESS),
                help="Only cases in this state. May be repeated.",
            ),
            click.option(
                "--waiting/--not-waiting",
                "waits",
                default=None,
                help="Only cases that wait for something, or for nothing.",
            ),
            click.option("--board-of", default="", metavar="CASE", help="Only cases on the same board as this one."),
            click.option(
                "--since", default="", metavar="DAY", help="Only cases worked on since then: 2026-03-01, 2026-03, 2026."
            ),
            click.option(
                "--by",
                "order",
                type=click.Choice(ORDERS),
                default="number",
                show_default=True,
                help="Newest case first, or last worked on first.",
            ),
            click.option(
                "--limit",
                type=click.IntRange(1, MOST_ROWS),
                default=None,
                help="At most so many; without it 50 in words, all as JSON.",
            ),
            click.option(
                "--after", default="", metavar="PLACE", help="The page after this place: what the page before said."
            ),
        )
    ):
        command = one(command)
    return command


@click.command("list")
@filters
@JSON
@click.pass_context
def case_list(ctx: click.Context, /, as_json: bool, limit: int | None, **asked: Any) -> None:
    """List the cases of this store: state, what each waits for, where it stands, hours at the bench, parts used."""
    made = shop(ctx)
    if as_json and limit is None:
        rows = all_found(made, Asked(**asked))
        print_json([row.as_dict() for row in (reversed(rows) if asked["order"] == "number" else rows)])
        return
    page = find_cases(made, Asked(**asked, limit=limit or 50))
    if as_json:
        print_json(page.as_dict())
        return
    if not page.in_all:
        click.echo("No cases yet. Open one: coppermend case new --board PACKAGE --title TITLE")
        return
    _print_page(page, "No case is like that.")


@click.command("find")
@click.argument("words", nargs=-1, required=True)
@filters
@JSON
@click.pass_context
def case_find(ctx: click.Context, /, words: Sequence[str], as_json: bool, limit: int | None, **asked: Any) -> None:
    """Find cases by anything that was ever said of them.

    \b
    Every word has to be said somewhere in the case:
    machine, serial number, owner, complaint    quillmere  E031234  muller
    part, pin, net                              U1  U1.8  RESET
    what was found there                        d3:open  u1.8:stuck  u7:corrosion
    reading, remark, kind of entry, author      4.7k  isopropanol  "patch wire"  anna
    day                                         2026-03-01
    A word that nobody said is taken as the beginning of one; so is one that ends in *.
    """
    made = shop(ctx)
    question = Asked(" ".join(words), **asked, limit=limit or (MOST_ROWS if as_json else 50))
    page = find_cases(made, question)
    if as_json:
        print_json(page.as_dict())
        return
    filtered = any(value for name, value in asked.items() if name != "order")
    _print_page(page, "No case says that and is like that." if filtered else f"No case says all of: {' '.join(words)}.")


def _print_page(page: CasePage, nothing: str) -> None:
    for row in page.cases:
        for line in _lines(row):
            click.echo(line)
    if not page.cases:
        click.echo(nothing)
    for note in page.notes:
        click.echo(note)
    if page.after:
        click.echo(f"More follow: add --after {page.after}")
    cases = how_many(page.in_all, "case")
    click.echo(f"{cases} in all: {', '.join(f'{count} {state}' for state, count in page.states)}.")


def _lines(row: CaseRow) -> Sequence[str]:
    """A case in a line, and what does not fit into one below it."""
    serial = f", serial {row.serial}" if row.serial else ""
    owner = f", {row.owner}" if row.owner else ""
    used = [
        f"{row.hours:g} h" if row.hours else "",
        *row.parts,
        how_many(row.wires, "wire") if row.wires else "",
    ]
    below = [
        f"      waits for {row.waits}" if row.waits else "",
        f"      does not work: {', '.join(row.fails)}" if row.fails else "",
        f"      {row.hit_at[:10]}  {row.hit}" if row.hit else "",
        f"      {', '.join(one for one in used if one)}" if any(used) else "",
    ]
    against = [words for words, holds in (("it waits", row.waits), ("not all works", row.fails)) if holds]
    though = f", though {' and '.join(against)}" if against and row.state in LEAVING else ""
    stands = f"{row.state}{though}; {how_many(row.entries, 'entry', 'entries')}, last {row.last_at}: {row.where}"
    head = f"{row.number:>4}  {row.title}{serial}{owner}  [{row.board}]  {stands}"
    return [head, *(one for one in below if one)]
