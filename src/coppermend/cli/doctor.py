"""``coppermend doctor``: is this installation fit for work, and what to do where it is not."""

from __future__ import annotations

import click

from coppermend.bootstrap import examine
from coppermend.cli import print_json
from coppermend.cli.shop import JSON

MARK = {"ok": "ok      ", "warning": "warning ", "bad": "bad     "}


@click.command("doctor")
@JSON
@click.pass_context
def doctor_command(ctx: click.Context, as_json: bool) -> int:
    """Look at versions, the store with its hash chains, free space, the board cache. Status 1 when something is bad."""
    looks = examine((ctx.find_root().obj or {}).get("store"))
    well = all(one.state != "bad" for one in looks)
    if as_json:
        print_json({"well": well, "looks": [one.as_dict() for one in looks]})
        return 0 if well else 1
    for one in looks:
        click.echo(f"{MARK[one.state]} {one.name}: {one.found}")
        if one.remedy and one.state != "ok":
            click.echo(f"         {one.remedy}")
    click.echo("No network, GPU or browser is needed. A browser shows the page; every command works without one.")
    return 0 if well else 1
