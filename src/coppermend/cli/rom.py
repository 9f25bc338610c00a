"""``coppermend rom check``: a ROM's read-out against the owner's list of checksums, and what is wrong with it."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.files import file_bytes
from coppermend.cli.shop import JSON
from coppermend.core.findings import Place, refuse
from coppermend.core.rom.check import MOST_BYTES
from coppermend.services.roms import CAUTION, RomRead, note_rom, read_rom

FILE = click.Path(path_type=Path)
RIGHT = ("right", "no list")


@click.group("rom")
def rom_command() -> None:
    """ROMs: a read-out checked, and which pin explains what is wrong with it."""


@rom_command.command("check")
@click.argument("files", nargs=-1, required=True, type=FILE, metavar="FILE")
@click.option("--list", "list_file", type=FILE, help="The owner's checksums, a ROM a line: U5 basic.bin 1a2b3c4d.")
@click.option("--good", "good", type=FILE, help="A read-out known to be right, to compare bit by bit.")
@click.option("--board", "package", metavar="PACKAGE", help="The board the ROM belongs to; with --part.")
@click.option("--part", default="", metavar="REF", help="The part it was read from, such as U5.")
@click.option("--type", "type_name", default="", metavar="TYPE", help="The ROM's type, where no board tells it: 27128.")
@click.option("--case", "case", metavar="CASE", help="Note it in this case, as evidence for its suspects; with --part.")
@JSON
@click.pass_context
def check_command(
    ctx: click.Context,
    files: tuple[Path, ...],
    list_file: Path | None,
    good: Path | None,
    package: str | None,
    part: str,
    type_name: str,
    case: str | None,
    as_json: bool,
) -> None:
    """Check a ROM's read-out: raw bytes; several readings of the same ROM show bits that waver.

    CRC-32, SHA-1 and SHA-256 against the owner's list; then halves or bytes swapped, lines exchanged, a content that stands twice, an address line that
    does nothing, data lines that stand still or touch, one wrong bit, and the pin of the chip that explains it. Status 1 unless it is right.
    """
    readings = [_bytes(one) for one in files]
    listed = "" if list_file is None else _text(list_file)
    list_name = "" if list_file is None else list_file.name
    known = None if good is None else _bytes(good)
    book = bootstrap.device_book(ctx.find_root().obj.get("store"))
    if list_file is not None and not listed.strip():
        raise refuse(
            "ROM-002", "The list is empty.", "Write a ROM a line: U5 basic.bin 1a2b3c4d.", Place(file=list_name)
        )
    if case is None:
        board = None if package is None else bootstrap.open_board(package)
        found = read_rom(
            readings,
            book,
            list_text=listed,
            list_name=list_name,
            good=known,
            board=board,
            part=part,
            type_name=type_name,
        )
    else:
        from coppermend.cli.shop import shop_and_case

        made, number = shop_and_case(ctx, case)
        found = note_rom(
            made, number, readings, book, part,
            names=[one.name for one in files], list_text=listed, list_name=list_name, good=known, type_name=type_name,
        )  # fmt: skip
    if as_json:
        print_json(found.as_dict())
    else:
        _print(found)
    if found.checked.verdict not in RIGHT:
        ctx.exit(1)


def _bytes(file: Path) -> bytes:
    data = file_bytes(file)
    if len(data) > MOST_BYTES:
        raise refuse(
            "ROM-003",
            f"The read-out has {len(data)} bytes, more than {MOST_BYTES}.",
            "Give the read-out of one ROM of up to 1 MiB, as raw bytes.",
            Place(file=file.name),
        )
    return data


def _text(file: Path) -> str:
    return file_bytes(file).decode("utf-8-sig", "replace")


def _print(read: RomRead) -> None:
    one = read.checked
    click.echo(f"{read.part or 'ROM'}: {one.verdict}: {one.words}.")
    for k, sums in enumerate(one.sums, 1):
        which = f"reading {k}: " if one.readings > 1 else ""
        click.echo(f"  {which}{one.size} bytes, CRC-32 {sums.crc32}, SHA-1 {sums.sha1}, SHA-256 {sums.sha256}")
    for sign in one.signs:
        click.echo(f"  {sign.words}")
    for line, pin, where in read.pins:
        click.echo(f"  {line} is pin {pin}{f', on {where}' if where else ''}")
    click.echo(f"Next: {read.then}")
    click.echo(f"Mind: {CAUTION}")
    for finding in read.findings:
        click.echo(finding.line())
    if read.noted is not None:
        click.echo(f"Noted as {read.noted.entry.bench_seq}.")
