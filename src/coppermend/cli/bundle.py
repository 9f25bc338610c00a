"""``coppermend bundle``: cases, boards or the whole store as one open file, and back."""

from __future__ import annotations

from pathlib import Path
from typing import IO

import click

from coppermend.bootstrap import keeper_of_boards, package_source
from coppermend.cli import print_json
from coppermend.cli.files import opened, sha256_of, written_whole
from coppermend.cli.shop import JSON, shop
from coppermend.core.findings import refuse
from coppermend.core.log.words import how_many
from coppermend.services.bundling import layout
from coppermend.services.bundling.reading import Bundle, open_bundle
from coppermend.services.bundling.taking import refuse_faults, take_in, verify
from coppermend.services.bundling.writing import write_bundle
from coppermend.services.cases import find_case

FILE = click.Path(dir_okay=False, path_type=Path)


@click.group("bundle")
def bundle_command() -> None:
    """Cases, boards or the whole store as one open file that can be read without Coppermend."""


@bundle_command.command("export")
@click.argument("cases", metavar="CASE", nargs=-1)
@click.option(
    "--board", "packages", multiple=True, metavar="PACKAGE", help="A board's fabrication files; may be repeated."
)
@click.option("--all", "whole", is_flag=True, help="Every case of the store.")
@click.option("--to", "file", type=FILE, required=True, metavar="FILE", help="File to write.")
@click.option("--without-boards", is_flag=True, help="Leave the cases' fabrication files out.")
@click.option("--rescue", is_flag=True, help="Leave out what cannot be read, and name it, instead of stopping.")
@JSON
@click.pass_context
def bundle_export(
    ctx: click.Context,
    cases: tuple[str, ...],
    packages: tuple[str, ...],
    whole: bool,
    file: Path,
    without_boards: bool,
    rescue: bool,
    as_json: bool,
) -> int:
    """Write cases, boards or the whole store (--all) as one file: logs as JSON lines, files as they came, checksums.

    Status 1 when something was left out by --rescue.
    """
    if bool(cases) + whole > 1 or not (cases or packages or whole):
        raise refuse("BUN-009", "What to export is not clear.", "Name cases, or --all, or --board PACKAGE.")
    files = package_source()
    read = [files.read(one) for one in packages]
    made = shop(ctx) if cases or whole else None
    wanted = [] if made is None else [case for _, case in made.store.numbers()] if whole else [find_case(made, one) for one in cases]  # fmt: skip
    with written_whole(file) as sink:
        done = write_bundle(
            sink, made.store if made else None, dict.fromkeys(wanted), read, None if without_boards else files, rescue
        )
    lost = [one for one in done.left_out if not one[0].startswith("board ")]
    if as_json:
        print_json({"file": str(file), "bytes": file.stat().st_size, "sha256": sha256_of(file), **done.as_dict()})
        return 1 if lost else 0
    kept = f"{how_many(done.attachments, 'attachment')}, {how_many(done.boards, 'board')}"
    click.echo(
        f"Wrote {file} ({file.stat().st_size} bytes): {how_many(done.cases, 'case')}, {how_many(done.entries, 'entry', 'entries')}, {kept}."
    )
    for what, why in done.left_out:
        click.echo(f"Left out: {what}: {why}")
    return 1 if lost else 0


@bundle_command.command("verify")
@click.argument("file", type=FILE)
@JSON
def bundle_verify(file: Path, as_json: bool) -> int:
    """Say what a bundle holds and everything that is wrong with it: checksums, hash chains, payloads, boards. Status 1 when something is."""
    with opened(file) as source:
        found = verify(_bundle(source, file))
    if as_json:
        print_json({"file": str(file), **found.as_dict()})
        return 0 if found.well else 1
    for case, title, entries, last in found.cases:
        click.echo(f"case {case}: {title}, {how_many(entries, 'entry', 'entries')}, last {last}")
    for board, title in found.boards:
        click.echo(f"board {board[:16]}: {title}")
    click.echo(f"{how_many(found.attachments, 'attachment')}.")
    for one in found.left_out:
        click.echo(f"left out when it was written: {one}")
    for fault in found.findings:
        click.echo(fault.line())
    click.echo("Whole." if found.well else f"{how_many(len(found.findings), 'fault')}.")
    return 0 if found.well else 1


@bundle_command.command("import")
@click.argument("file", type=FILE)
@click.option("--boards", type=click.Path(file_okay=False, path_type=Path), metavar="FOLDER", help="Where boards' files are kept; default: boards, beside the store.")  # fmt: skip
@click.option("--without-boards", is_flag=True, help="Leave the boards in the bundle.")
@JSON
@click.pass_context
def bundle_import(ctx: click.Context, file: Path, boards: Path | None, without_boards: bool, as_json: bool) -> None:
    """Take in a bundle. Everything is verified before anything is written; a case that is here already is merged, nothing is doubled."""
    keep = None if without_boards else keeper_of_boards(ctx.find_root().obj.get("store"), boards)
    with opened(file) as source:
        bundle = _bundle(source, file)
        refuse_faults(bundle)  # before a store that is not there yet is made
        done = take_in(shop(ctx).store, bundle, keep, verified=True)
    if as_json:
        print_json(done.as_dict())
        return
    for one in done.cases:
        click.echo(f"Case {one.number}: {one.new} new entries, {one.entries} in all.")
    for _, title, path in done.boards:
        click.echo(f"Board {title} kept: {path}")
    if done.boards and done.cases:
        click.echo(
            "A case whose board is not found here is told where it lies: coppermend case board CASE --board PATH"
        )
    for left in done.left_out:
        click.echo(f"Not in the bundle: {left}")


def _bundle(source: IO[bytes], file: Path) -> Bundle:
    return open_bundle(source, file.name, layout.FROM_DISK)
