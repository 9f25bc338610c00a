"""``coppermend memory explain``: error words of a memory test, which chip or line explains them."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.files import file_bytes
from coppermend.cli.shop import JSON
from coppermend.core.findings import Place, refuse
from coppermend.core.memory.model import range_words, ranges_of
from coppermend.services.memory import CAUTION, MemoryRead, explain_memory, note_memory

FILE = click.Path(path_type=Path)


@click.group("memory")
def memory_command() -> None:
    """Memory: which chip or line explains what a memory test found."""


@memory_command.command("explain")
@click.option("--board", "package", metavar="PACKAGE", help="The board. With --case its own.")
@click.option("--errors", "errors", type=FILE, required=True, help="Error words, one a line: address, wrote, read.")
@click.option(
    "--map", "map_file", type=FILE, help="The memory map, where the netlist does not give it: U50 0000-FFFF D0."
)
@click.option("--case", "case", metavar="CASE", help="Note it in this case, as evidence for its suspects.")
@JSON
@click.pass_context
def explain_command(
    ctx: click.Context, package: str | None, errors: Path, map_file: Path | None, case: str | None, as_json: bool
) -> None:
    """Name the chip or line that explains the error words of a memory test.

    Three notations: 8000 55 54 (columns, also with commas), 8000: wrote 55 read 54, and 8000 55 -> 54; numbers are hexadecimal. A fourth number or "after 2s"
    is the wait between writing and reading. A line "range 8000-FFFF" says what was tested. What a text screen shows: "screen 2000 80", then
    "picture 3,0 A E" (column, row, should show, shows). Lines that are none are said and left out.
    """
    if package is None and case is None:
        raise refuse("CLI-006", "Which board?", "Name it: --board PACKAGE, or --case CASE.")
    data = file_bytes(errors)
    text = "" if map_file is None else _text(map_file)
    book = bootstrap.device_book(ctx.find_root().obj.get("store"))
    if case is None:
        found = explain_memory(bootstrap.open_board(package or ""), book, data, errors.name, text)
    else:
        from coppermend.cli.shop import shop_and_case

        made, known = shop_and_case(ctx, case)
        found = note_memory(made, known, book, data, errors.name, text)
    if as_json:
        print_json(found.as_dict())
    else:
        _print(found)


def _text(file: Path) -> str:
    try:
        return file_bytes(file).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise refuse(
            "MEM-004",
            f"{file.name} is no text in UTF-8.",
            "Write a chip a line: U50 0000-FFFF D0.",
            Place(file=file.name),
        ) from None


def _print(read: MemoryRead) -> None:
    found, board = read.explained, read.map
    click.echo(
        f"{found.errors} error words of {found.words}; processor {board.processor or 'not known'}, {board.width} data bits."
    )
    for line in found.looks:
        click.echo(f"  {line}")
    for one in found.suspects:
        click.echo(f"{one.p:6.3f}  {one.unit}: {one.mode}")
        if one.pins:
            click.echo(f"          pins {', '.join(one.pins[:8])}{' ...' if len(one.pins) > 8 else ''}")
        for word, lines in (("for", one.pro), ("against", one.con)):
            for line in lines:
                click.echo(f"          {word}: {line}")
        if one.alike:
            click.echo(f"          no error word parts it from {', '.join(one.alike)}")
    for line in found.then:
        click.echo(f"Next: {line}")
    click.echo(f"Mind: {CAUTION}")
    for finding in found.findings:
        click.echo(finding.line())
    held = [f"{one.ref} {range_words(ranges_of(one, board.space), board.space)}" for one in board.rams]
    click.echo(f"Writable memory by the map: {'; '.join(held[:20])}.")
    if read.noted is not None:
        click.echo(f"Noted as {read.noted.entry.bench_seq}.")
