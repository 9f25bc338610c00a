"""``coppermend wait``: what a case waits for."""

from __future__ import annotations

import click

from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.core.log.kinds import WAITS_FOR
from coppermend.services.waiting import wait_for, wait_over, waits_of


@click.group("wait")
def wait_command() -> None:
    """What a case waits for: a part, the owner, a tool, another case."""


@wait_command.command("for")
@CASE
@click.argument("what", type=click.Choice(WAITS_FOR))
@click.argument("words", nargs=-1)
@click.option("--until", default="", metavar="DATE", help="Until when, such as 2026-12-01.")
@click.option("--other", default="", metavar="CASE", help="The other case, for a wait of the kind case.")
@JSON
@click.pass_context
def for_command(
    ctx: click.Context, case: str, what: str, words: tuple[str, ...], until: str, other: str, as_json: bool
) -> None:
    """Note what a case waits for, e.g. coppermend wait for 3 part EPROM 2764 --until 2026-12-01."""
    made, found = shop_and_case(ctx, case)
    done = wait_for(made, found, what, " ".join(words), until=until, other=other)
    if as_json:
        print_json(done.as_dict())
        return
    click.echo(f"{done.entry.bench_seq}  {done.words}")


@wait_command.command("over")
@CASE
@click.argument("which", required=False, default="", metavar="[NUMBER]")
@click.option("--words", default="", help="What is to be said of it.")
@JSON
@click.pass_context
def over_command(ctx: click.Context, case: str, which: str, words: str, as_json: bool) -> None:
    """Note that a wait is over: the entry NUMBER, or the only one there is."""
    made, found = shop_and_case(ctx, case)
    done = wait_over(made, found, which, words)
    if as_json:
        print_json(done.as_dict())
        return
    click.echo(f"{done.entry.bench_seq}  {done.words}")


@wait_command.command("show")
@CASE
@JSON
@click.pass_context
def show_command(ctx: click.Context, case: str, as_json: bool) -> None:
    """Show what a case waits for and waited for. All cases that wait: coppermend case list --waiting."""
    made, found = shop_and_case(ctx, case)
    rows = waits_of(made, found)
    if as_json:
        print_json({"waits": [one.as_dict() for one in rows]})
        return
    for one in rows:
        click.echo(f"{one.number:>4}  {one.words}")
    if not rows:
        click.echo("It waits for nothing.")
