"""``coppermend store``: check it, back it up, put a backup back, bring it up to this version, copy it elsewhere."""

from __future__ import annotations

import contextlib
import tempfile
from pathlib import Path
from typing import Any

import click

from coppermend.bootstrap import back_up, migrate, open_store, restore
from coppermend.cli import print_json
from coppermend.cli.files import opened, sha256_of, written_whole
from coppermend.cli.shop import JSON
from coppermend.core.log.words import how_many
from coppermend.services.storekeeping import BackedUp, check_store, copy_store

FILE = click.Path(dir_okay=False, path_type=Path)


@click.group("store")
def store_command() -> None:
    """The store of cases: check it, back it up, restore it, bring it up, copy it between SQLite and PostgreSQL."""


def _counts(done: BackedUp) -> str:
    files = how_many(done.attachments, "attachment")
    return f"{how_many(done.cases, 'case')}, {how_many(done.entries, 'entry', 'entries')}, {files}"


def _url(ctx: click.Context) -> str | None:
    found: str | None = (ctx.find_root().obj or {}).get("store")
    return found


@store_command.command("check")
@click.option(
    "--backup", type=FILE, metavar="FILE", help="Check this backup instead: it is put back into a temporary folder."
)
@click.option(
    "--rebuild", is_flag=True, help="First make the list of cases and the terms they are found by anew from the logs."
)
@click.option(
    "--give-up-lost",
    is_flag=True,
    help="With --rebuild: also where acknowledged entries are missing, which the list alone still knows of.",
)
@JSON
@click.pass_context
def store_check(ctx: click.Context, backup: Path | None, rebuild: bool, give_up_lost: bool, as_json: bool) -> int:
    """Look at every page, entry, hash chain and attachment, and name what is wrong. Status 1 when something is."""
    if backup is not None and rebuild:
        raise click.UsageError("A backup is left as it is: --rebuild goes with the store itself.")
    with tempfile.TemporaryDirectory(prefix="coppermend-check-") as folder:
        if backup is not None:
            with opened(backup) as source:
                restore(folder, source, backup.name)
        with contextlib.closing(open_store(folder if backup is not None else _url(ctx))) as store:
            if rebuild:
                store.rebuild(give_up_lost)
            found = check_store(store, store.version)
    answer = {**found.as_dict(), **({"where": str(backup)} if backup else {})}
    if as_json:
        print_json(answer)
        return 0 if found.well else 1
    click.echo(
        f"{answer['where']}: version {found.version}, {how_many(found.cases, 'case')}, {how_many(found.entries, 'entry', 'entries')}."
    )
    for one in found.findings:
        click.echo(one.line())
    click.echo("Every page, entry, hash chain and attachment is whole." if found.well else f"{how_many(len(found.findings), 'finding')}.")  # fmt: skip
    if not found.writable:
        click.echo("It can only be read.")
    return 0 if found.well else 1


@store_command.command("backup")
@click.option(
    "--to", "file", type=FILE, required=True, metavar="FILE", help="File to write, such as cases-2026-03-01.zip."
)
@JSON
@click.pass_context
def store_backup(ctx: click.Context, file: Path, as_json: bool) -> int:
    """Write the whole store, attachments too, as one file with checksums, while others go on writing. Status 1 when damage was found."""
    with written_whole(file) as sink:
        done = back_up(_url(ctx), sink, file.absolute().parent)
    if as_json:
        print_json({"file": str(file), "bytes": file.stat().st_size, "sha256": sha256_of(file), **done.as_dict()})
        return 1 if done.findings else 0
    click.echo(f"Wrote {file} ({file.stat().st_size} bytes): {_counts(done)}.")
    for one in done.findings:
        click.echo(one.line())
    return 1 if done.findings else 0


@store_command.command("restore")
@click.argument("file", type=FILE)
@click.option(
    "--replace",
    is_flag=True,
    help="Put the store that stands there aside first (it is not deleted). Stop whatever uses it.",
)
@JSON
@click.pass_context
def store_restore(ctx: click.Context, file: Path, replace: bool, as_json: bool) -> int:
    """Put a backup, or a bundle of a whole store, where no store is, and check it. Status 1 when the check finds something."""
    with opened(file) as source:
        done = restore(_url(ctx), source, file.name, replace=replace)
    with contextlib.closing(open_store(_url(ctx))) as store:
        found = check_store(store, store.version)
    answer: dict[str, Any] = {
        **found.as_dict(),
        "bench": done.bench,
        "aside": done.aside,
        "attachments": done.attachments,
    }
    if as_json:
        print_json(answer)
        return 0 if found.well else 1
    click.echo(
        f"Restored to {done.where}: {how_many(found.cases, 'case')}, {how_many(found.entries, 'entry', 'entries')}, {how_many(done.attachments, 'attachment')}."
    )
    if done.aside:
        click.echo(f"What stood there lies in {done.aside} (its attachments were left in their folder).")
    for one in found.findings:
        click.echo(one.line())
    return 0 if found.well else 1


@store_command.command("migrate")
@JSON
@click.pass_context
def store_migrate(ctx: click.Context, as_json: bool) -> None:
    """Bring a store of an older version up to this one, after a backup beside it."""
    done = migrate(_url(ctx))
    if as_json:
        print_json(done.as_dict())
    elif done.backup:
        click.echo(f"{done.where}: from version {done.before} to {done.after}. As it was: {done.backup}")
    else:
        click.echo(f"{done.where}: version {done.after} already; nothing to do.")


@store_command.command("copy")
@click.option(
    "--to",
    "target",
    required=True,
    metavar="URL",
    help="The other store: a folder, an SQLite file, or postgresql://SERVER/DATABASE.",
)
@JSON
@click.pass_context
def store_copy(ctx: click.Context, target: str, as_json: bool) -> None:
    """Copy every case with its number, entries and attachments into another store, then read all of it back and compare.

    A case that is there already is merged; a copy that was stopped is done again.
    """
    with contextlib.closing(open_store(_url(ctx))) as source, contextlib.closing(open_store(target)) as other:
        done = copy_store(source, other)
    if as_json:
        print_json(done.as_dict())
        return
    holds = f"{how_many(done.cases, 'case')}, {how_many(done.entries, 'entry', 'entries')} ({done.new} new there)"
    files = how_many(done.attachments, "attachment")
    click.echo(f"Copied to {done.target}: {holds}, {files}; all read back and compared.")
