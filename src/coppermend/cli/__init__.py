"""The command line: commands and their printing. Every command calls one service.

Exit status: 0 fine, 1 the answer is "no" (disagreement, not proven), 2 the input is refused.
"""

from __future__ import annotations

import importlib
import json
import os
import sys
from typing import Any

import click

from coppermend import __version__
from coppermend.cli.terminal import guard_terminal
from coppermend.core.findings import Refusal

# command -> module of this package that defines a click command or group of that name
COMMANDS = {
    "board": "board",
    "case": "case",
    "area": "case",
    "next": "case",
    "round": "case",
    "note": "case",
    "photo": "case",
    "lay": "lay",
    "record": "record",
    "label": "record",
    "acceptance": "acceptance",
    "bundle": "bundle",
    "store": "store",
    "removal": "removal",
    "care": "care",
    "intake": "intake",
    "supply": "supply",
    "chip": "chip",
    "wire": "wire",
    "short": "short",
    "alloy": "alloy",
    "heat": "heat",
    "map": "map",
    "bench": "bench",
    "ohms": "ohms",
    "meter": "meter",
    "lan": "lan",
    "practice": "practice",
    "belief": "belief",
    "device": "device",
    "expect": "expect",
    "starts": "starts",
    "schematic": "schematic",
    "freerun": "bringup",
    "diagnostic": "bringup",
    "suspects": "suspects",
    "wave": "wave",
    "look": "look",
    "memory": "memory",
    "rom": "rom",
    "compare": "compare",
    "demo": "serve",
    "serve": "serve",
    "doctor": "doctor",
    "learn": "learn",
    "wait": "wait",
}


class LazyGroup(click.Group):
    """A group that imports a command's module only when that command is used: the help stays instant."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all commands."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command, imported now."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"coppermend.cli.{COMMANDS[cmd_name]}")
        found: click.Command = getattr(module, f"{cmd_name}_command")
        return found


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="coppermend")
@click.option(
    "--store",
    metavar="URL",
    envvar="COPPERMEND_STORE",
    help="Where cases are kept: a folder, an SQLite file, or postgresql://SERVER/DATABASE. Default: this user's data folder.",
)
@click.pass_context
def cli(ctx: click.Context, store: str | None) -> None:
    """Find every broken connection on a board, mend it, prove it, hand over a record."""
    ctx.obj = {"store": store}


def print_json(value: Any) -> None:
    """Print one JSON object on standard output."""
    click.echo(json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False))


def main() -> None:
    """Run the command line; a refusal is printed in words and ends with status 2, never with a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    guard_terminal()
    try:
        code = cli(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except click.exceptions.Abort:
        click.echo("Stopped.", err=True)
        sys.exit(130)
    except click.ClickException as err:
        err.show()
        sys.exit(2)
    except Refusal as err:
        click.echo(err.finding.line(), err=True)
        sys.exit(2)
    except BrokenPipeError:
        sys.exit(0)
    except Exception as err:
        if os.environ.get("COPPERMEND_TRACE"):
            raise
        click.echo(
            f"error CLI-900: a fault inside Coppermend ({type(err).__name__}: {err}). Nothing that was acknowledged is lost. "
            "Please report it with the command you gave; COPPERMEND_TRACE=1 prints the details.",
            err=True,
        )
        sys.exit(2)
