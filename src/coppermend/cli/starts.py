"""``coppermend starts``: k of n starts with their condition, what they say, how many prove a repair."""

from __future__ import annotations

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.services.cases import case_state
from coppermend.services.startwork import note_starts, parsed
from coppermend.services.suspects import starts_of_case


@click.command("starts")
@CASE
@click.argument("count", required=False, metavar="[GOOD/OF]")
@click.option(
    "--when", "condition", default="", metavar="CONDITION", help="cold, warm, freeze spray, heat, vibration, minutes."
)
@click.option("--part", default="", metavar="REF", help="Spray or heat: on which part.")
@click.option("--minutes", type=float, help="After how many minutes.")
@click.option("--words", default="", help="What else there is to say.")
@JSON
@click.pass_context
def starts_command(
    ctx: click.Context,
    case: str,
    count: str | None,
    condition: str,
    part: str,
    minutes: float | None,
    words: str,
    as_json: bool,
) -> None:
    """Note how many of several starts were as they should be (3/5), and say what that tells.

    A machine that starts now and then has a fault that comes and goes: contacts and joints do, dead chips seldom. Without a count it prints what was
    counted since the last repair and how many good starts in a row, under which condition, would prove that the fault is gone.
    """
    made, found = shop_and_case(ctx, case)
    noted = None
    if count is not None:
        good, of = parsed(count)
        noted = note_starts(
            made, found, good, of, condition=condition.strip().lower(), part=part, minutes=minutes, words=words
        )
    book = bootstrap.device_book(ctx.find_root().obj.get("store"))
    view = starts_of_case(made, found, book, bootstrap.machine_model(case_state(made, found).package))
    if as_json:
        print_json({**view, "entry": None if noted is None else noted.as_dict()})
        return
    if noted is not None:
        click.echo(f"{noted.entry.bench_seq}  {noted.words}")
    for row in view["tallies"]:
        click.echo(f"  {row['words']}")
    if not view["tallies"]:
        click.echo(
            "No starts were counted since the last repair: start it five times, then: coppermend starts CASE 3/5."
        )
    for words in view["words"]:
        click.echo(words)
    click.echo(f"Mind: {view['caution']}")
