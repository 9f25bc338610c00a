"""``coppermend lan``: tablets and phones that follow the bench: a code to let one in, the list, shutting one out."""

from __future__ import annotations

import click

from coppermend.bootstrap import clock_now, lan_book
from coppermend.cli import print_json
from coppermend.cli.shop import JSON
from coppermend.services.lan import LanBook, listed, new_code, revoke


def _book(ctx: click.Context) -> LanBook:
    return lan_book((ctx.find_root().obj or {}).get("store"))


@click.group("lan")
def lan_command() -> None:
    """Second screens on the local network, for a bench that was started with 'serve --lan'."""


@lan_command.command("code")
@JSON
@click.pass_context
def code_command(ctx: click.Context, as_json: bool) -> None:
    """Make a fresh pairing code: five minutes, one device. Any earlier one is void."""
    code = new_code(_book(ctx), clock_now())
    if as_json:
        print_json({"code": code})
        return
    click.echo(f"Pairing code: {code}")
    click.echo("Type it on the tablet at the https address that 'coppermend serve --lan' printed.")


@lan_command.command("list")
@JSON
@click.pass_context
def list_command(ctx: click.Context, as_json: bool) -> None:
    """List the devices that are let in."""
    rows = listed(_book(ctx), clock_now())
    if as_json:
        print_json({"devices": rows})
        return
    for one in rows:
        click.echo(f"{one['id']}  {one['name']}  since {one['made_at'][:10]}, until {one['until'][:10]}")
    if not rows:
        click.echo("No device is let in.")


@lan_command.command("revoke")
@click.argument("device")
@click.pass_context
def revoke_command(ctx: click.Context, device: str) -> None:
    """Shut a device out by its id or name, or 'all'. It counts at once, for live updates under way, too."""
    gone = revoke(_book(ctx), device)
    click.echo(f"Shut out: {', '.join(one.name for one in gone) or 'nobody was let in'}.")
