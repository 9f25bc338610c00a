"""``coppermend map``: whether the map is of this board."""

from __future__ import annotations

import click

from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, check_line, shop_and_case, step_lines
from coppermend.core.log.kinds import MAP_SAYS
from coppermend.services.bench import step_as_dict
from coppermend.services.map_trust import correct_map, map_as_dict, map_for_case, next_with_map


@click.group("map")
def map_command() -> None:
    """The map: whether the fabrication data is of this very board."""


@map_command.command("check")
@CASE
@JSON
@click.pass_context
def map_check(ctx: click.Context, case: str, as_json: bool) -> None:
    """List up to eight checks on untouched copper that tell whether map and board agree, and what the readings say so far. Status 1 when they do not agree."""
    made, found = shop_and_case(ctx, case)
    trust, step = map_for_case(made, found), next_with_map(made, found)
    if as_json:
        print_json({**map_as_dict(trust), "next": step_as_dict(step)})
    else:
        click.echo(trust.words)
        for check in trust.left:
            click.echo(f"  {check_line(check)}")
            click.echo(f"      {check.reason}")
        for line in step_lines(step):
            click.echo(line)
    if trust.state == "wrong":
        ctx.exit(1)


@map_command.command("fix")
@CASE
@click.argument("says", type=click.Choice(MAP_SAYS))
@click.argument("points", nargs=-1, metavar="[POINT [POINT]]")
@click.option("--words", default="", help="Why, in free words.")
@JSON
@click.pass_context
def map_fix(ctx: click.Context, case: str, says: str, points: tuple[str, ...], words: str, as_json: bool) -> None:
    """Correct the map at one place: joined A B (copper that the map lacks), apart A (A is not on the map's net), agreed (compared, they agree).

    It is an entry of the log; note CASE undo takes it back. All readings are judged on the corrected map.
    """
    made, found = shop_and_case(ctx, case)
    done = correct_map(made, found, says, points, words)
    if as_json:
        print_json(done.as_dict())
        return
    click.echo(f"Noted as {done.entry.bench_seq}: {done.words}.")
    click.echo(map_for_case(made, found).words)
