"""``coppermend acceptance``: what must work before the machine goes back."""

from __future__ import annotations

import click

from coppermend.bootstrap import machine_model
from coppermend.cli import print_json
from coppermend.cli.shop import CASE, JSON, shop_and_case
from coppermend.services.acceptance import CAUTION, acceptance
from coppermend.services.cases import case_state


@click.command("acceptance")
@CASE
@JSON
@click.pass_context
def acceptance_command(ctx: click.Context, case: str, as_json: bool) -> None:
    """What must work before the machine goes back: its model's checklist, and what was noted since the last repair.

    Note a result with: coppermend note CASE test NAME works (or fails, or "not tested").
    """
    made, found = shop_and_case(ctx, case)
    state = case_state(made, found)
    now = acceptance(state, machine_model(state.package))
    if as_json:
        print_json(now.as_dict())
        return
    click.echo(now.words)
    for one in now.functions:
        mark = {"works": "+", "fails": "!"}.get(one.result, " ")
        said = f": {one.words}" if one.words else f" ({one.before})" if one.before else ""
        click.echo(f" {mark} {one.name}: {one.result}{said}")
        if one.open and one.how:
            click.echo(f"     {one.how}")
    if not now.ready:
        first = next(one.name for one in now.functions if one.open)
        name = f'"{first}"' if " " in first else first
        click.echo(f"Note one: coppermend note {case} test {name} works")
        click.echo(f"Caution: {CAUTION}")
