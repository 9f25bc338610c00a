"""``coppermend heat read``: a thermal picture laid on the board, temperature per part, what is cold, hot or even."""

from __future__ import annotations

from pathlib import Path

import click

from coppermend import bootstrap
from coppermend.cli import print_json
from coppermend.cli.files import file_bytes
from coppermend.cli.shop import JSON
from coppermend.core.findings import refuse
from coppermend.core.thermal.scale import Mark
from coppermend.services.layphoto import Tap
from coppermend.services.thermal import PLASTIC, HeatAsked, HeatRead, note_heat, read_heat
from coppermend.services.thermalfile import UNITS, ThermalPicture, read_thermal

FILE = click.Path(path_type=Path)


@click.command("read")
@click.argument("picture", type=FILE)
@click.option("--board", "package", metavar="PACKAGE", help="The board. With --case its own.")
@click.option("--case", "case", metavar="CASE", help="Note it in this case, as evidence for its suspects.")
@click.option(
    "--tap", "taps", multiple=True, metavar="PIN=X,Y",
    help="A pin (U1.1) or a part's middle (U1) and its pixel, x right, y down; four or more.",
)  # fmt: skip
@click.option("--whole", is_flag=True, help="Instead of taps: the picture shows the board's outline from edge to edge.")
@click.option("--side", type=click.Choice(["c", "s"]), default="c", show_default=True, help="Side that is seen.")
@click.option(
    "--scale", "marks", multiple=True, metavar="X,Y=CELSIUS",
    help="PNG and JPEG: a point on the colour bar and its temperature; two.",
)  # fmt: skip
@click.option("--unit", type=click.Choice(UNITS), help="CSV and TIFF: degC, kelvin, tenths or hundredths of a kelvin.")
@click.option("--emissivity", type=float, default=PLASTIC, show_default=True, help="Of packages.")
@click.option("--emissivity-of", "own", multiple=True, metavar="PART=E", help="Of one part, such as with tape on it.")
@click.option(
    "--camera-emissivity",
    type=float,
    default=1.0,
    show_default=True,
    help="What the camera was set to when it took the picture.",
)
@click.option("--reflected-c", type=float, help="What the board mirrors, degC. Default: the air.")
@click.option(
    "--air-c", type=float, help="Air round the board, degC. Default: the picture's coldest twentieth, said as a guess."
)
@click.option("--good", type=FILE, help="Picture of a good board of the same type, to compare with.")
@click.option("--before", type=FILE, help="Picture of this board before power, from the same place.")
@click.option(
    "--other-tap", "other", multiple=True, metavar="PIN=X,Y", help="Taps of that picture. Default: those of the first."
)
@JSON
@click.pass_context
def read_command(
    ctx: click.Context, picture: Path, package: str | None, case: str | None, taps: tuple[str, ...], whole: bool, side: str,
    marks: tuple[str, ...], unit: str | None, emissivity: float, own: tuple[str, ...], camera_emissivity: float,
    reflected_c: float | None, air_c: float | None, good: Path | None, before: Path | None, other: tuple[str, ...], as_json: bool,
) -> None:  # fmt: skip
    """Read a thermal picture: temperature of every part, and which is cold that should be warm, hot, or even.

    PICTURE is a radiometric CSV or TIFF, or a PNG or JPEG with its colour bar (two --scale). Judged against what each chip's power makes of it and its
    neighbours, against a good board's picture (--good), or against the same board before power (--before). Status 1 when a part is hot or cold.
    """
    if package is None and case is None:
        raise refuse("CLI-006", "Which board?", "Name it: --board PACKAGE, or --case CASE.")
    if good is not None and before is not None:
        raise refuse("CLI-006", "--good and --before are two questions.", "Ask one after the other.")
    scale = [_mark(one) for one in marks]
    data, read = _picture(picture, scale, unit)
    second = good or before
    compared = None if second is None else _picture(second, scale if read.kind in ("png", "jpeg") else [], unit)[1]
    against = "good" if good is not None else "before" if before is not None else "expected"
    asked = HeatAsked(
        tuple(_tap(one) for one in taps), whole, side, emissivity, dict(_emissivity(one) for one in own), camera_emissivity,
        reflected_c, air_c, tuple(_tap(one) for one in other),
    )  # fmt: skip
    book = bootstrap.device_book(ctx.find_root().obj.get("store"))
    if case is None:
        found = read_heat(bootstrap.open_board(package or ""), book, read, asked, compared, against)
    else:
        from coppermend.cli.shop import shop_and_case

        made, known = shop_and_case(ctx, case)
        found = note_heat(made, known, book, data, read, asked, compared, against, name=picture.name, scale=scale)
    if as_json:
        print_json(found.as_dict())
    else:
        _print(found)
    if found.of("cold") or found.of("hot"):
        ctx.exit(1)


def _print(found: HeatRead) -> None:
    lying = found.lying
    high, wide = found.picture.celsius.shape
    laid = (
        f"moved {lying.moved_mm:.1f} mm to the parts' edges" if lying.gain > 1.0 else "not refined by the parts' edges"
    )
    click.echo(
        f"Read as {found.picture.kind}, {wide} x {high}, {lying.px_per_mm:.2f} pixels a mm; "
        f"{'taken to show the whole board' if found.asked.whole else f'taps miss by {lying.tap_mm:.1f} mm'}, {laid}. "
        f"Air {found.air_c:.1f} degC, reflected {found.reflected_c:.1f} degC."
    )
    for one in found.parts:
        if one.judged.verdict in ("cold", "hot", "even"):
            click.echo(f"  {one.warm.ref:6} {one.warm.celsius:6.1f} degC  {one.judged.words}")
    unknown = found.of("unknown")
    if unknown:
        click.echo(f"Not judged ({len(unknown)}): {', '.join(unknown[:24])}" + (" ..." if len(unknown) > 24 else ""))
    if found.missed:
        click.echo(f"Not seen well enough: {', '.join(found.missed[:24])}.")
    click.echo(f"{found.words}.")
    for finding in found.findings:
        click.echo(finding.line())
    click.echo("Mind:")
    for line in found.cautions:
        click.echo(f"   {line}")
    if found.noted is not None:
        click.echo(f"Noted as {found.noted.entry.bench_seq}.")


def _picture(file: Path, scale: list[Mark], unit: str | None) -> tuple[bytes, ThermalPicture]:
    data = file_bytes(file)
    return data, read_thermal(data, file.name, scale, unit or "")


def _pair(text: str, what: str, example: str) -> tuple[float, float]:
    x, _, y = text.partition(",")
    try:
        return float(x), float(y)
    except ValueError:
        raise refuse("CLI-005", f"{text!r} is no {what}.", f"Write it as {example}.") from None


def _tap(text: str) -> Tap:
    pin, _, place = text.partition("=")
    return Tap(pin.strip(), _pair(place, "pixel", "--tap U1.1=120,45"))


def _mark(text: str) -> Mark:
    place, _, celsius = text.partition("=")
    try:
        return Mark(_pair(place, "pixel", "--scale 630,40=80.5"), float(celsius))
    except ValueError:
        raise refuse(
            "CLI-005", f"--scale {text!r} is no pixel with a temperature.", "Write it as 630,40=80.5."
        ) from None


def _emissivity(text: str) -> tuple[str, float]:
    part, _, value = text.partition("=")
    try:
        return part.strip(), float(value)
    except ValueError:
        raise refuse("CLI-005", f"--emissivity-of {text!r} is no part with a number.", "Write it as Y1=0.95.") from None
