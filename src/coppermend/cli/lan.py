"""``coppermend lan``: tablets and phones that follow the bench: a code to let one in, the list, shutting one out."""

from __future__ import annotations

import click

from coppermend.bootstrap import clock_now, lan_book
from coppermend.cli import print_json
from coppermend.cli.shop import JSON
from coppermend.services.lan import ROLES, LanBook, listed, new_code, revoke, set_role


def _book(ctx: click.Context) -> LanBook:
    return lan_book((ctx.find_root().obj or {}).get("store"))


@click.group("lan")
def lan_command() -> None:
    """Second screens on the local network, for a bench that was started with 'serve --lan'."""


@lan_command.command("code")
@click.option(
    "--role",
    type=click.Choice(ROLES),
    default="work",
    show_default=True,
    help="What the device may: look; work on the cases; manage devices, imports and numbers too.",
)
@JSON
@click.pass_context
def code_command(ctx: click.Context, role: str, as_json: bool) -> None:
    """Make a fresh pairing code: five minutes, one device. Any earlier one is void."""
    code = new_code(_book(ctx), clock_now(), role=role)
    if as_json:
        print_json({"code": code, "role": role})
        return
    click.echo(f"Pairing code, for a device that may {role}: {code}")
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
        click.echo(
            f"{one['id']}  {one['name']}  may {one['role']}, since {one['made_at'][:10]}, until {one['until'][:10]}"
        )
    if not rows:
        click.echo("No device is let in.")


@lan_command.command("role")
@click.argument("device")
@click.argument("role", type=click.Choice(ROLES))
@click.pass_context
def role_command(ctx: click.Context, device: str, role: str) -> None:
    """Give a device (by its id or name, or 'all') another role. It counts from its next request."""
    now = set_role(_book(ctx), device, role)
    click.echo(f"May {role} now: {', '.join(one.name for one in now) or 'nobody was let in'}.")


@lan_command.command("revoke")
@click.argument("device")
@click.pass_context
def revoke_command(ctx: click.Context, device: str) -> None:
    """Shut a device out by its id or name, or 'all'. It counts at once, for live updates under way, too."""
    gone = revoke(_book(ctx), device)
    click.echo(f"Shut out: {', '.join(one.name for one in gone) or 'nobody was let in'}.")
